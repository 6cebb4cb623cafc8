"""Instruments in a heading or a direction, each with its crook, its register and its players."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from annotator.reading.beside import key_beside, with_others
from annotator.reading.clauses import WHICH, Clause
from annotator.reading.note_names import Note

_RANGE = "-"
_REGISTERS = {"high": ("high", "piccolo"), "bass": ("bass",)}


@dataclass(frozen=True, slots=True)
class Statement:
    """An instrument and the crook said of it, by the lexemes from ``first`` to ``last`` (not included).

    ``notes``: the crook named, and after it those named as alternatives. ``strong``: more than a letter
    shows that the note is a crook.
    """

    family: str
    notes: tuple[Note, ...]
    registers: tuple[str, ...]
    players: tuple[int, ...]
    first: int
    last: int
    strong: bool = True


def statements(clause: Clause) -> list[Statement]:
    """What a clause says of trumpets, one statement for each trumpet named."""
    found: list[Statement] = []
    begin = clause.first
    for at in clause.places():
        family = clause.instrument(at)
        if not family or at < begin:
            continue
        key = key_beside(clause, at, begin)
        lexeme = clause.at(at)
        if (
            lexeme is not None
            and not lexeme.family
            and not (key is not None and (key.strong or key.last == clause.last))
        ):
            continue  # an abbreviation too short to stand alone
        first = _start(clause, at if key is None else min(at, key.first), begin)
        last = _end(clause, at + 1 if key is None else max(at + 1, key.last))
        around = clause.part(first, last)
        if family == "trumpet" and around.has("piccolo"):
            family = "piccolo"
        found.append(
            Statement(
                family,
                () if key is None else key.notes,
                registers(around),
                _players(clause, first, last, at),
                first,
                last,
                key is None or key.strong,
            )
        )
        begin = last
    return found


def registers(clause: Clause) -> tuple[str, ...]:
    """``high`` or ``bass`` where a word of the clause says so; a low one is the usual one."""
    return tuple(kind for kind, rows in _REGISTERS.items() if clause.has(*rows))


def _start(clause: Clause, at: int, begin: int) -> int:
    """Where a statement begins: numbers and what says which instrument belong to it."""
    first = at
    while first > begin:
        lexeme = clause.at(first - 1)
        assert lexeme is not None  # begin is inside
        if lexeme.kind == "mark":
            list_goes_on = lexeme.text == "," and clause.number(first - 2)
            if lexeme.text not in ".-°&/+'" and not list_goes_on:
                break
        elif not (
            clause.number(first - 1)
            or lexeme.glued
            or lexeme.can_be(*WHICH, "ordinal", "count", "and", "solo")
        ):
            break
        first -= 1
    while (
        first < at
        and not clause.number(first)
        and (clause.can_be(first, "and") or clause.is_mark(first, ".-/&+'"))
    ):
        first += 1
    return first


def _end(clause: Clause, at: int) -> int:
    """Where a statement ends: players' numbers, registers and closing signs behind it belong to it."""
    place = last = at
    while (lexeme := clause.at(place)) is not None:
        closes = lexeme.kind == "mark" and lexeme.text in ")]"
        stop = lexeme.text == "." and lexeme.gap == "" and place == at
        which = lexeme.can_be(*WHICH) and clause.note(place) is None
        number = (
            clause.number(place)
            and not clause.can_be(place + 1, "in")
            and (lexeme.kind == "number" or lexeme.capital)
        )
        if closes or stop or which or number:
            place += 1
            last = place
        elif (clause.is_mark(place, "./&+,-(") or lexeme.can_be("and")) and clause.number(place + 1):
            place += 1
        else:
            break
    return last


def _players(clause: Clause, first: int, last: int, at: int) -> tuple[int, ...]:
    """The players' numbers in a statement; how many they are ("2 Trombe", "Trumpets (3)") is none of them."""
    found: list[int] = []
    for place in range(first, last):
        number, lexeme = clause.number(place), clause.at(place)
        if not number or lexeme is None or lexeme.can_be("notes", "letters"):
            continue
        counted = lexeme.can_be("count") or (lexeme.kind == "number" and not lexeme.can_be("ordinal"))
        joined = clause.can_be(place + 1, "and") or clause.is_mark(place + 1, ".,/&+-")
        if place < at and counted and not joined and not found:
            continue
        if clause.is_mark(place - 1, "(") and clause.is_mark(place + 1, ")") and lexeme.kind == "number":
            continue
        if found and clause.is_mark(place - 1, _RANGE):
            found += range(found[-1] + 1, number)
        found.append(number)
    return tuple(dict.fromkeys(found))


def bare_crooks(clause: Clause) -> Iterator[Statement]:
    """The crooks that a heading names without an instrument: "in F", "1. in Es"."""
    players: list[int] = []
    place = first = clause.first
    while place < clause.last:
        note = None
        lexeme = clause.at(place)
        if lexeme is not None and len(lexeme.text) > 1 and lexeme.can_be("in"):
            note = clause.note_standing(clause.register_before(place + 1), after_preposition=True)
        if note is not None:
            key = with_others(clause, note, strong=True)
            said = registers(clause.part(first, key.last))
            yield Statement("", key.notes, said, tuple(players), first, key.last)
            place = first = key.last
            players = []
            continue
        number = clause.number(place)
        if number:
            players.append(number)
        elif lexeme is not None and lexeme.kind == "word" and not lexeme.can_be("and", "solo"):
            return
        place += 1
