"""What stands beside a trumpet's name: which crook, which trumpet, which player."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from annotator.reading.lexemes import Lexeme, Sentence, number_of
from annotator.reading.note_names import Note, note_at, stands

_REGISTERS = ("high", "bass")
_SHORT_LATIN = 2
_BESIDE = (
    "kind",
    "piccolo",
    "high",
    "low",
    "bass",
    "article",
    "small",
    "and",
    "solo",
    "all",
    "ordinal",
    "count",
    "key",
    "form",
    "no",
)


@dataclass(frozen=True, slots=True)
class Statement:
    """An instrument and the crook said of it, by the lexemes from ``first`` to ``last`` (not included).

    ``notes``: the crook named, and after it those named as alternatives. ``strong``: a preposition, a
    bracket or an accidental shows that the note is a crook.
    """

    family: str
    notes: tuple[Note, ...]
    registers: tuple[str, ...]
    players: tuple[int, ...]
    first: int
    last: int
    strong: bool = True


@dataclass(slots=True)
class _Found:
    notes: list[Note] = field(default_factory=list)
    first: int = 0
    last: int = 0
    strong: bool = True


def statements(said: Sentence, first: int = 0, last: int | None = None) -> list[Statement]:
    """What the lexemes from ``first`` to ``last`` say of trumpets, one statement for each trumpet named."""
    lexemes = said.lexemes[: last if last is not None else len(said.lexemes)]
    found: list[Statement] = []
    begin = first
    for at in range(first, len(lexemes)):
        family = instrument(lexemes, at)
        if not family:
            continue
        key = _key(said, lexemes, at, begin)
        if not lexemes[at].family and (key is None or not key.strong):
            continue  # an abbreviation too short to stand alone
        start = _start(lexemes, at if key is None else min(at, key.first), begin)
        end = at + 1 if key is None else max(at + 1, key.last)
        end = _end(lexemes, end)
        around = lexemes[start:end]
        registers = tuple(kind for kind in _REGISTERS if any(each.can_be(kind) for each in around))
        if family == "trumpet" and any(each.can_be("piccolo") for each in around):
            family = "piccolo"
        notes = () if key is None else tuple(key.notes)
        found.append(
            Statement(
                family,
                notes,
                registers,
                _players(lexemes, start, end, at),
                start,
                end,
                key is None or key.strong,
            )
        )
        begin = end
    return found


def instrument(lexemes: tuple[Lexeme, ...], at: int) -> str:
    """The family lexeme ``at`` names, abbreviations too; ``""`` where it names another instrument's."""
    lexeme = lexemes[at]
    return lexeme.family or lexeme.short_family


def is_other(lexemes: tuple[Lexeme, ...], at: int) -> bool:
    """True where lexeme ``at`` is the name of another instrument, and no word beside a trumpet's."""
    lexeme = lexemes[at]
    if not lexeme.can_be("other") or lexeme.family or lexeme.can_be("notes"):
        return False
    if lexeme.short_family and not lexeme.can_be("other"):
        return False
    beside = lexeme.can_be("high", "bass", "low", "kind", "piccolo")
    return not (beside and any(lexemes[i].family for i in range(max(at - 2, 0), min(at + 3, len(lexemes)))))


def _key(said: Sentence, lexemes: tuple[Lexeme, ...], at: int, begin: int) -> _Found | None:
    after = _after(said, lexemes, at)
    if after is not None and after.strong:
        return after
    before = _before(said, lexemes, at, begin)
    return before if before is not None else after


def _after(said: Sentence, lexemes: tuple[Lexeme, ...], at: int) -> _Found | None:  # noqa: PLR0911
    """The crook behind the instrument: "Tromba sul palco in Mi♭", "Trp. (B)", "Trompete 1 F"."""
    strange = 0
    bracket = False
    index = at + 1
    while index < len(lexemes):
        lexeme = lexemes[index]
        if lexeme.family or is_other(lexemes, index) or lexeme.can_be("title", "not_these"):
            return None
        if _is_preposition(lexemes, index, at):
            skip = index + 1
            while (
                skip < len(lexemes)
                and (lexemes[skip].can_be("high", "low", "bass", "key") or lexemes[skip].text in ".:-")
                and note_at(lexemes, skip) is None
            ):
                skip += 1
            note = note_at(lexemes, skip)
            if note is not None and stands(lexemes, note, after_preposition=True, shouts=said.shouts):
                return _with_others(said, lexemes, note, strong=True)
        note = note_at(lexemes, index)
        if note is not None and (bracket or not strange):
            if bracket and _closes(lexemes, note):
                return _with_others(said, lexemes, note, strong=True)
            if not strange and _holds_behind(said, lexemes, note, at):
                return _with_others(said, lexemes, note, strong=not note.letter)
        if lexeme.text in ("(", "["):
            bracket = True
        elif lexeme.kind == "word" and not lexeme.can_be(*_BESIDE, "in") and not number_of(lexeme):
            if lexeme.can_be("announce", "change", "take", "to", "mute", "manner"):
                return None
            strange += 1
        if lexeme.text in (";", "|"):
            return None
        index += 1
    return None


def _is_preposition(lexemes: tuple[Lexeme, ...], index: int, at: int) -> bool:
    """Whether lexeme ``index`` leads to the key of instrument ``at``; one letter does in its own language only."""  # noqa: E501
    lexeme = lexemes[index]
    if not lexeme.can_be("in"):
        return False
    if len(lexeme.text) > 1:
        return True
    joins = index + 2 < len(lexemes) and lexemes[index + 1].can_be("and") and number_of(lexemes[index + 2])
    if lexeme.capital or joins:  # I e II
        return False
    family = instrument(lexemes, at)
    return bool(lexeme.languages("in") & lexemes[at].languages(family))


def _closes(lexemes: tuple[Lexeme, ...], note: Note) -> bool:
    return (
        note.last >= len(lexemes)
        or lexemes[note.last].kind == "mark"
        or lexemes[note.last].can_be("key", "and")
    )


def _holds_behind(said: Sentence, lexemes: tuple[Lexeme, ...], note: Note, at: int) -> bool:
    """Whether a note right behind the instrument's name is its crook: "Trompete F" is, "Trumpet A" isn't sure."""  # noqa: E501
    if note.last < len(lexemes) and lexemes[note.last].kind == "word" and not _may_follow(lexemes, note.last):
        return False
    first = lexemes[note.first]
    if (
        first.can_be("and")
        and number_of(lexemes[note.first - 1])
        and note.last < len(lexemes)
        and number_of(lexemes[note.last])
    ):
        return False  # I E II
    if note.letter:
        if not first.capital and first.gap != "-":
            return False
        family = instrument(lexemes, at)
        english = lexemes[at].languages(family) == {"en"} or lexemes[at].text in (
            "trumpet",
            "trumpets",
            "cornet",
            "cornets",
        )
        return not (english and note.name in ("A", "Bb") and lexemes[note.first].text in "ab")
    return stands(lexemes, note, after_preposition=False, shouts=said.shouts)


def _may_follow(lexemes: tuple[Lexeme, ...], at: int) -> bool:
    lexeme = lexemes[at]
    return bool(number_of(lexeme)) or lexeme.can_be(
        *(
            "high",
            "low",
            "bass",
            "key",
            "and",
            "solo",
            "kind",
            "mute",
            "open",
            "to",
            "announce",
            "change",
            "take",
            "manner",
        )
    )


def _before(said: Sentence, lexemes: tuple[Lexeme, ...], at: int, begin: int) -> _Found | None:  # noqa: PLR0911
    """The crook before the instrument: "B♭ Bass Trumpet", "C-Trompete", "Si bemol Trompet"."""
    index = at - 1
    hyphen = at > 0 and lexemes[at].gap == "-"
    while index >= begin and (
        lexemes[index].text in ("-", "'")
        or (
            lexemes[index].can_be("kind", "piccolo", "high", "low", "bass", "key", "article", "small", "case")
            and not _note_ending(lexemes, index, begin)
        )
    ):
        hyphen = hyphen or (lexemes[index].text == "-" and lexemes[index].gap == "")
        index -= 1
    note = _note_ending(lexemes, index, begin)
    if note is None:
        return None
    first = lexemes[note.first]
    if not note.letter:
        article = bool(first.languages("article") & lexemes[at].languages(instrument(lexemes, at)))
        if note.little and article and not hyphen:
            return None
        if note.little and first.can_be("and") and not hyphen and note.first > begin:
            return None
    elif not hyphen:
        if not first.capital and first.gap == " ":
            return None
        if first.text == "a" and ((said.shouts is False and not first.capital) or not _ends(lexemes, at + 1)):
            return None
        if note.first > begin and not _opens(lexemes, note.first - 1):
            return None
    return _with_register(_Found([note], note.first, note.last, True), lexemes, note.first)


def _note_ending(lexemes: tuple[Lexeme, ...], index: int, begin: int) -> Note | None:
    """The note whose name ends with lexeme ``index``."""
    for first in range(index, max(begin - 1, index - 4), -1):
        note = note_at(lexemes, first)
        if note is not None and note.last == index + 1:
            # "降B": the accidental before belongs to it.
            longer = note_at(lexemes, first - 1) if first > begin else None
            return (
                longer
                if longer is not None and longer.last == note.last and longer.first < note.first
                else note
            )
    return None


def _opens(lexemes: tuple[Lexeme, ...], index: int) -> bool:
    """Whether a letter behind lexeme ``index`` may begin the name of an instrument: "3 C Trumpets", "to C Tpt."."""  # noqa: E501
    lexeme = lexemes[index]
    return (
        lexeme.kind != "word"
        or bool(number_of(lexeme))
        or lexeme.can_be(
            "announce",
            "change",
            "take",
            "to",
            "article",
            "small",
            "in",
            "solo",
            "kind",
            "all",
            "ordinal",
            "and",
        )
        or lexeme.can_be("mute", "from", "high", "low", "bass", "piccolo")
    )


def _ends(lexemes: tuple[Lexeme, ...], index: int) -> bool:
    return all(
        each.kind != "word" or number_of(each) or each.can_be("kind", "solo") for each in lexemes[index:]
    )


def _with_others(said: Sentence, lexemes: tuple[Lexeme, ...], note: Note, *, strong: bool) -> _Found:
    """The crook, and those named after it as alternatives: "in F/C", "in Fa e Do", "(Bb/C)"."""
    found = _Found([note], note.first, note.last, strong)
    index = note.last
    while index < len(lexemes):
        joined = False
        while index < len(lexemes) and (
            (lexemes[index].can_be("and") and (not joined or not lexemes[index].capital))
            or lexemes[index].text in (",", "(")
        ):
            # "in F, 2. in C" is another player's
            joined = True
            index += 1
        if index < len(lexemes) and joined and lexemes[index].can_be("in"):
            index += 1
        other = note_at(lexemes, index) if joined else None
        if other is None or not stands(lexemes, other, after_preposition=True, shouts=said.shouts):
            break
        if instrument(lexemes, other.last) if other.last < len(lexemes) else "":
            break
        if (
            other.letter
            and not lexemes[other.first].capital
            and not said.shouts
            and lexemes[note.first].capital
        ):
            break
        found.notes.append(other)
        index = found.last = other.last
    return _with_register(found, lexemes, note.first)


def _with_register(found: _Found, lexemes: tuple[Lexeme, ...], first: int) -> _Found:
    index = found.last
    while index < len(lexemes) and (
        lexemes[index].can_be("key", "high", "low", "bass", "case")
        or lexemes[index].text in ("(", ")", "]")
        or (lexemes[index].text == "-" and index + 1 < len(lexemes) and lexemes[index + 1].can_be("case"))
    ):
        if lexemes[index].text == "(" and not (
            index + 1 < len(lexemes) and lexemes[index + 1].can_be("high", "low", "bass")
        ):
            break
        index += 1
    found.last = index
    found.first = min(found.first, first)
    return found


def _start(lexemes: tuple[Lexeme, ...], at: int, begin: int) -> int:
    """Where the statement begins: numbers, registers and kinds before the name belong to it."""
    index = at
    while index > begin:
        before = lexemes[index - 1]
        if before.kind == "word" and not (
            number_of(before)
            or before.glued
            or before.can_be("kind", "piccolo", "high", "low", "bass", "ordinal", "count", "and", "solo")
        ):
            break
        if before.kind == "mark" and before.text not in ".-°&/+'":  # noqa: SIM102
            if not (before.text == "," and index > begin + 1 and number_of(lexemes[index - 2])):
                break
        index -= 1
    while index < at and (lexemes[index].can_be("and") or lexemes[index].text in ".-/&+"):
        index += 1
    return index


def _end(lexemes: tuple[Lexeme, ...], at: int) -> int:
    """Where the statement ends: player numbers and closing signs behind it belong to it."""
    index = at
    best = at
    while index < len(lexemes):
        lexeme = lexemes[index]
        following = lexemes[index + 1] if index + 1 < len(lexemes) else None
        if (
            lexeme.text in (")", "]")
            or (lexeme.text == "." and lexeme.gap == "" and index == at)
            or (lexeme.can_be("high", "bass", "piccolo", "kind") and note_at(lexemes, index) is None)
            or (
                number_of(lexeme)
                and lexeme.kind == "number"
                and not (following is not None and following.can_be("in"))
            )
            or (lexeme.kind == "word" and number_of(lexeme) and lexeme.capital)
        ):
            index += 1
            best = index
        elif lexeme.text in "./&+,-(" or lexeme.can_be("and"):
            if following is None or not number_of(following):
                break
            index += 1
        else:
            break
    return best


def _players(lexemes: tuple[Lexeme, ...], start: int, end: int, at: int) -> tuple[int, ...]:
    """The players' numbers in a statement; how many there are ("2 Trombe") is none of them."""
    found: list[int] = []
    for index in range(start, end):
        lexeme = lexemes[index]
        number = number_of(lexeme)
        if not number or lexeme.can_be("notes", "letters"):
            continue
        plain = lexeme.kind == "number" and not lexeme.can_be("ordinal")
        if index < at and (plain or lexeme.can_be("count")):
            joined = index + 1 < at and (lexemes[index + 1].can_be("and") or lexemes[index + 1].text in ".,")
            if not joined and not found:
                continue
        found.append(number)
    return tuple(dict.fromkeys(found))


def bare_crooks(said: Sentence) -> Iterator[Statement]:
    """The crooks that a heading names without an instrument: "in F", "1. in Es"."""
    lexemes = said.lexemes
    index = 0
    players: list[int] = []
    start = 0
    while index < len(lexemes):
        lexeme = lexemes[index]
        if lexeme.can_be("in"):
            skip = index + 1
            while (
                skip < len(lexemes)
                and lexemes[skip].can_be("high", "low", "bass")
                and note_at(lexemes, skip) is None
            ):
                skip += 1
            note = note_at(lexemes, skip)
            if note is not None and stands(lexemes, note, after_preposition=True, shouts=said.shouts):
                found = _with_others(said, lexemes, note, strong=True)
                around = lexemes[start : found.last]
                registers = tuple(kind for kind in _REGISTERS if any(each.can_be(kind) for each in around))
                yield Statement("", tuple(found.notes), registers, tuple(players), start, found.last)
                index = start = found.last
                players = []
                continue
        number = number_of(lexeme)
        if number:
            players.append(number)
        elif lexeme.kind == "word" and not lexeme.can_be("and", "solo"):
            return
        index += 1
