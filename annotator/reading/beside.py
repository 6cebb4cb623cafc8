"""The crook beside an instrument's name: "Tromba sul palco in Mi♭", "C-Trompete", "Trompete (B)"."""

from __future__ import annotations

from dataclasses import dataclass

from annotator.reading.clauses import REGISTERS, WHICH, Clause
from annotator.reading.note_names import Note

# Between an instrument and its crook these are no strange words.
_BETWEEN = (
    *WHICH,
    "article",
    "small",
    "and",
    "solo",
    "all",
    "ordinal",
    "count",
    "key",
    "together",
    "in",
    "numbering",
)
# With these a sentence goes on to something else.
_GOES_ON = ("announce", "change", "take", "to", "mute", "muted", "muted_alone", "manner", "tempo")
_MAY_FOLLOW = (*WHICH, *_GOES_ON, "key", "and", "solo", "open")
_PLAYERS = "AB"  # the letters that players have where they have any
_LEADS = ("announce", "change", "take", "to")
# A letter behind one of these may begin an instrument's name: "3 C Trumpets", "to C Tpt.".
_OPENS = (
    *(*WHICH, "announce", "change", "take", "to", "from", "in", "article", "small", "solo", "all", "ordinal"),
    *("and", "mute"),
)


@dataclass(frozen=True, slots=True)
class Key:
    """The crook an instrument has by the lexemes ``first`` to ``last`` (not included), then its alternatives.

    ``strong``: a preposition, a bracket or more than a letter shows that it is one.
    """

    notes: tuple[Note, ...]
    first: int
    last: int
    strong: bool


def key_beside(clause: Clause, at: int, begin: int) -> Key | None:
    """The crook of the instrument at ``at``, looked for from ``begin`` on."""
    after = _behind(clause, at)
    if after is not None and after.strong:
        return after
    return _before(clause, at, begin) or after


def _behind(clause: Clause, at: int) -> Key | None:
    strange = False
    for place in range(at + 1, clause.last):
        if _another_begins(clause, place):
            return None
        key = _led_by_preposition(clause, place, at) or _by_itself(clause, place, at, strange=strange)
        if key is not None:
            return key
        lexeme = clause.at(place)
        assert lexeme is not None  # places are the clause's
        if lexeme.kind == "word" and not lexeme.can_be(*_BETWEEN) and not clause.number(place):
            if lexeme.can_be(*_GOES_ON):
                return None
            strange = True
    return None


def _another_begins(clause: Clause, place: int) -> bool:
    lexeme = clause.at(place)
    return lexeme is not None and (
        bool(lexeme.family)
        or clause.other(place)
        or lexeme.can_be("title", "not_these")
        or clause.is_mark(place, ";|")
    )


def _led_by_preposition(clause: Clause, place: int, at: int) -> Key | None:
    if not is_preposition(clause, place, at):
        return None
    note = clause.note_standing(clause.register_before(place + 1), after_preposition=True)
    return None if note is None else with_others(clause, note, strong=True)


def _by_itself(clause: Clause, place: int, at: int, *, strange: bool) -> Key | None:
    """A crook without a preposition: bracketed, or right behind the name and what says which one it is."""
    note, first = clause.note(place), clause.at(place)
    if note is None or first is None:
        return None
    shown = not note.letter or first.capital
    if (
        clause.is_mark(place - 1, "([")
        and shown
        and (
            clause.at(note.last) is None
            or clause.is_mark(note.last, ")],/&+")
            or clause.can_be(note.last, "key", "and")
        )
    ):
        return with_others(clause, note, strong=True)
    if strange or not _holds_behind(clause, note, at):
        return None
    return with_others(clause, note, strong=not note.letter)


def is_preposition(clause: Clause, place: int, at: int) -> bool:
    """Whether the word at ``place`` leads to the key of the instrument at ``at``.

    A single letter does only in the instrument's own language, and not where it is a numeral (I e II).
    """
    lexeme, name = clause.at(place), clause.at(at)
    if lexeme is None or name is None or not lexeme.can_be("in"):
        return False
    if len(lexeme.text) > 1:
        return True
    numeral = clause.can_be(place + 1, "and") and clause.number(place + 2)
    return not (lexeme.capital or numeral) and bool(
        lexeme.languages("in") & name.languages(clause.instrument(at))
    )


def _holds_behind(clause: Clause, note: Note, at: int) -> bool:
    """Whether a note right behind an instrument's name is its crook.

    "Trompete F" is; English "Trumpet A" and "Trumpet B" may be two players.
    """
    following, first, name = clause.at(note.last), clause.at(note.first), clause.at(at)
    assert first is not None  # the note is inside
    assert name is not None
    after = note.last + clause.is_mark(note.last, "-")
    if clause.instrument(after):
        return False  # it is the other one's: "Trp. Es-Trompete nehmen"
    if following is not None and following.kind == "word":
        if not (clause.number(note.last) or following.can_be(*_MAY_FOLLOW)):
            return False
        if clause.number(note.last) and clause.number(note.first - 1) and first.can_be("and"):
            return False  # I E II
    if not note.letter:
        return clause.note_standing(note.first, after_preposition=False) is not None
    if not first.capital and first.gap != "-":
        return False
    players = name.can_be("lettered") and note.step in _PLAYERS
    return not players or clause.part(at, note.first).has("piccolo", *REGISTERS)


def _before(clause: Clause, at: int, begin: int) -> Key | None:
    place, hyphen = _over_which(clause, at, begin)
    note = clause.part(begin, clause.last).note_ending(place)
    if note is None or not (hyphen or _holds_before(clause, note, at, begin)):
        return None
    notes = [note]
    first = note.first
    # "D/E♭ Trumpet"
    while (
        clause.is_mark(first - 1, "/") or (clause.can_be(first - 1, "and") and not clause.note(first - 1))
    ) and (earlier := clause.part(begin, clause.last).note_ending(first - 2)) is not None:
        notes.insert(0, earlier)
        first = earlier.first
    return Key(tuple(notes), first, clause.register_after(note.last), strong=True)


def _over_which(clause: Clause, at: int, begin: int) -> tuple[int, bool]:
    """The place before an instrument's name and what says which one it is; whether a hyphen ties the two."""
    name = clause.at(at)
    hyphen = name is not None and name.gap == "-"
    place = at - 1
    while place >= begin:
        mark = clause.is_mark(place, "-'")
        if not mark and not (
            clause.can_be(place, *WHICH, "key", "article", "small", "case")
            and clause.part(begin, clause.last).note_ending(place) is None
        ):
            break
        lexeme = clause.at(place)
        hyphen = hyphen or (mark and lexeme is not None and lexeme.gap == "")
        place -= 1
    return place, hyphen


def _holds_before(clause: Clause, note: Note, at: int, begin: int) -> bool:
    """Whether a note before an instrument is its crook: not "Corni e Trombe", "la trompette", "a trumpet"."""
    first, name = clause.at(note.first), clause.at(at)
    assert first is not None  # the note is inside
    assert name is not None
    article = bool(first.languages("article") & name.languages(clause.instrument(at)))
    if not note.letter:
        return not (note.little and (article or (first.can_be("and") and note.first > begin)))
    led = clause.can_be(note.first - 1, *_LEADS) and not first.can_be("article", "to", "in", "from")
    if not (first.capital or led):
        return False
    begins = note.first == begin or clause.said.shouts
    if article and begins and not _ends(clause, at + 1):
        return False
    return note.first <= begin or _opens(clause, note.first - 1)


def _opens(clause: Clause, place: int) -> bool:
    lexeme = clause.at(place)
    return lexeme is None or lexeme.kind != "word" or bool(clause.number(place)) or lexeme.can_be(*_OPENS)


def _ends(clause: Clause, place: int) -> bool:
    return all(
        lexeme.kind != "word" or clause.number(each) or lexeme.can_be(*WHICH, "solo")
        for each in range(place, clause.last)
        if (lexeme := clause.at(each)) is not None
    )


def with_others(clause: Clause, note: Note, *, strong: bool) -> Key:
    """A crook, and those named after it as alternatives: "in F/C", "in Fa e Do", "(Bb/C)"."""
    notes = [note]
    last = place = note.last
    while True:
        place = last
        while _joins(clause, place, first=place == last):
            place += 1
        if place == last:
            break
        place += clause.can_be(place, "in")
        other = clause.note_standing(place, after_preposition=True)
        if other is None or clause.instrument(other.last) or not _same_case(clause, note, other):
            break
        notes.append(other)
        last = other.last
    return Key(tuple(notes), note.first, clause.register_after(last), strong)


def _joins(clause: Clause, place: int, *, first: bool) -> bool:
    lexeme = clause.at(place)
    if lexeme is None:
        return False
    return clause.is_mark(place, ",(/&+") or (lexeme.can_be("and") and (first or not lexeme.capital))


def _same_case(clause: Clause, note: Note, other: Note) -> bool:
    first, second = clause.at(note.first), clause.at(other.first)
    assert first is not None  # the notes are inside
    assert second is not None
    return not other.letter or second.capital or not first.capital
