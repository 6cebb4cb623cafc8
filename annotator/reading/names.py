"""Names of instruments and crooks as they stand in part headings."""

from __future__ import annotations

import re
from dataclasses import replace
from difflib import get_close_matches
from functools import lru_cache

from annotator.reading.clauses import Clause, whole
from annotator.reading.crooks import BY_ID, CROOKS, Crook, crook_named_after
from annotator.reading.headings import Statement, bare_crooks, statements
from annotator.reading.lexemes import Sentence, sentence
from annotator.reading.note_names import Note
from annotator.reading.said import Named
from annotator.reading.vocabulary import FAMILIES, table, vocabulary

_PIPES = re.compile(r"\b\d+\s*['′’]")  # an organ stop: Trompete 8'


@lru_cache(maxsize=2048)
def read_heading(text: str, *, title: bool = False) -> Named | None:
    """What a heading says, or None when it names no crook.

    ``title``: the text may be the title of a work (credits), in which "Concerto in E♭ for trumpet"
    is a key and no crook; such texts are passed over.
    """
    said = sentence(text)
    if title and is_title(said):
        return None
    heading = whole(said)
    trumpets = statements(heading)
    found = [each for each in trumpets if each.notes]
    if found and not trumpets[0].notes:
        # "Trumpet or Cornet in B♭"
        found[0] = replace(found[0], family=trumpets[0].family)
    if found and found[-1].players:
        # "Trompete I in C, II in F"
        rest = bare_crooks(heading.part(found[-1].last, heading.last))
        found += [replace(each, family=found[-1].family) for each in rest if each.players]
    if not found and not any(_is_name(heading, place) for place in heading.places()):
        found = list(bare_crooks(heading))
    return None if not found else named(said, found)


def heading_span(text: str) -> tuple[int, int] | None:
    """The characters in which a heading names its trumpets and their crooks; None where it names no crook."""
    said = sentence(text)
    heading = whole(said)
    found = [each for each in statements(heading) if each.notes] or (
        [] if is_title(said) else list(bare_crooks(heading))
    )
    if not found or read_heading(text, title=True) is None:
        return None
    first, last = said.lexemes[found[0].first], said.lexemes[found[-1].last - 1]
    return first.start, last.end


def heading_not_read(text: str, *, title: bool = False) -> str:
    """The words of a heading that look like a trumpet's key and were not understood, or ``""``.

    They are a trumpet's name with a note's name somewhere behind it, none of which was read.
    """
    said = sentence(text)
    if is_title(said) or read_heading(text) is not None:
        return ""
    heading = whole(said)
    for place in heading.places():
        lexeme = said.lexemes[place]
        if lexeme.family:
            behind = heading.part(place + 1, heading.last)
            letters = (note for note in behind.notes() if not note.little or said.lexemes[note.first].capital)
            if any(not note.letter or said.lexemes[note.first].capital for note in letters):
                return heading.text
    return ""


def is_title(said: Sentence) -> bool:
    """True where a word says that the text is the title of a work."""
    return any(lexeme.can_be("title") for lexeme in said.lexemes)


def _is_name(clause: Clause, place: int) -> bool:
    return bool(clause.instrument(place)) or clause.other(place)


def named(said: Sentence, found: list[Statement]) -> Named:
    """Statements as what the text says: the first of them, the others behind it."""
    first, *rest = (_named(said, each) for each in found)
    if len({each.players for each in (first, *rest)}) > 1:
        return replace(first, further=tuple(rest))
    also = [*first.also]
    for each in rest:
        if each.crook is not None and each.crook not in (first.crook, *also):
            also.append(each.crook)
    return replace(first, also=tuple(also))


def _named(said: Sentence, statement: Statement) -> Named:
    lexemes = said.lexemes[statement.first : statement.last]
    words = " ".join(lexeme.text for lexeme in lexemes)
    register = next(iter(statement.registers), "")
    if statement.family == "piccolo":
        register = "high"
    if not statement.notes:
        return Named(None, words, statement.family, register=register, players=statement.players)
    first = crooks_named(statement.notes[0], register)
    also = [
        each.crook for note in statement.notes[1:] if (each := crooks_named(note, register)).crook is not None
    ]
    # A "tromba piccola in Re" is the small trumpet of that key, no piccolo.
    small = statement.family == "piccolo" and first.crook is not None and first.crook.register != "high"
    return replace(
        first,
        words=words,
        family="trumpet" if small else statement.family,
        also=tuple(crook for crook in also if crook is not None and crook != first.crook),
        players=statement.players,
    )


def crooks_named(note: Note, register: str = "") -> Named:
    """The crook named after a note, in a register, and those that the same name can mean."""
    crook = crook_named_after(note.step, note.alter, register)
    natural = crook_named_after("B", 0, register) if note.two_edged else None
    # A heading may leave out that a small trumpet is meant, and G says nothing of high or low.
    other = [row for row in CROOKS if (row.step, row.alter) == (note.step, note.alter) and row != crook]
    return Named(
        crook, "", may_be=tuple(other + ([natural] if natural else [])), note=note.name, register=register
    )


def crook_in_heading(text: str) -> Crook | None:
    """The crook a heading names ("2 Trompeten in Es" → E♭), or None."""
    found = read_heading(text)
    return found.crook if found else None


def sound_crook(sound: str) -> Crook | None:
    """The crook an ``<instrument-sound>`` names (``brass.trumpet.bflat``), or None."""
    _, crook = table()["sounds"].get(sound.strip().lower(), ("", ""))
    return BY_ID.get(crook)


@lru_cache(maxsize=2048)
def family_in(text: str) -> str:
    """``trumpet``, ``piccolo``, ``cornet``, ``flugelhorn``, ``posthorn`` as a text names it, or ``""``."""
    return next((each.family for each in statements(whole(sentence(text)))), "")


@lru_cache(maxsize=4096)
def is_trumpet(name: str, sound: str = "") -> bool:
    """Whether a part of this name and ``<instrument-sound>`` is for a trumpet, cornet or flugelhorn.

    The name is what people see and is believed first; the sound decides where the name says nothing.
    """
    said = sentence(name)
    if _is_none(said, name):
        return False
    heading = whole(said)
    if statements(heading):
        return True
    if any(map(heading.other, heading.places())):
        return False
    return sound.strip().lower() in table()["sounds"]


@lru_cache(maxsize=4096)
def is_other_instrument(name: str, sound: str = "") -> bool:
    """Whether a part of this name and ``<instrument-sound>`` says that it is for something else."""
    said = sentence(name)
    heading = whole(said)
    if _is_none(said, name) or any(map(heading.other, heading.places())):
        return True
    return bool(sound.strip()) and sound.strip().lower() not in table()["sounds"]


@lru_cache(maxsize=2048)
def may_be_trumpet(name: str, sound: str = "") -> bool:
    """Whether a part that ``is_trumpet`` does not take may be for one after all.

    It has an abbreviation of which a trumpet's is one ("Tr. 1"), a word for brass of any kind, or a name that
    is a trumpet's but for a letter or two ("Trumpt").
    """
    said = sentence(name)
    heading = whole(said)
    if _is_none(said, name) or any(map(heading.other, heading.places())):
        return False
    if any(map(heading.instrument, heading.places())) or heading.has("brass"):
        return True
    strange = [lexeme.text for lexeme in said.lexemes if lexeme.kind == "word" and lexeme.word is None]
    return any(_nearly_trumpet(word) for word in strange if len(word) >= _LONG_ENOUGH)


_LONG_ENOUGH, _ALIKE = 5, 0.82  # letters of a name; difflib's ratio from which two are alike


def _nearly_trumpet(word: str) -> bool:
    return bool(get_close_matches(word, _full_names(), 1, _ALIKE))


@lru_cache(maxsize=1)
def _full_names() -> tuple[str, ...]:
    phrases = vocabulary().phrases
    return tuple(
        pieces[0]
        for pieces, word in phrases.items()
        if len(pieces) == 1
        and len(pieces[0]) >= _LONG_ENOUGH
        and any(family in word.values for family in FAMILIES)
    )


def _is_none(said: Sentence, name: str) -> bool:
    return any(lexeme.can_be("not_these") for lexeme in said.lexemes) or _PIPES.search(name) is not None
