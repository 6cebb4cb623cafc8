"""Stretches of a sentence: a heading as a whole, or what stands between two marks of a direction."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from annotator.reading.lexemes import Lexeme, Sentence, number_of
from annotator.reading.note_names import Note, note_at, stands

REGISTERS = ("high", "bass", "low")
# Words beside an instrument's name that say which one it is.
WHICH = ("kind", "piccolo", *REGISTERS)
_MARKS = ",;()[]!|?\u2026"
_NO_STOP = ("flat", "natural", "and", "piccolo", "kind", "mute_off")


@dataclass(frozen=True, slots=True)
class Clause:
    """Lexemes ``first`` to ``last`` (not included) of a sentence; all places are the sentence's."""

    said: Sentence
    first: int
    last: int

    def at(self, place: int) -> Lexeme | None:
        """The lexeme at a place, None outside of the clause."""
        return self.said.lexemes[place] if self.first <= place < self.last else None

    def places(self) -> range:
        """All places."""
        return range(self.first, self.last)

    def lexemes(self) -> tuple[Lexeme, ...]:
        """All lexemes."""
        return self.said.lexemes[self.first : self.last]

    def part(self, first: int, last: int) -> Clause:
        """The clause from ``first`` to ``last`` (not included)."""
        return Clause(self.said, max(first, self.first), min(last, self.last))

    @property
    def text(self) -> str:
        """What stands there, as it came, in one line."""
        lexemes = self.lexemes()
        return " ".join(self.said.text[lexemes[0].start : lexemes[-1].end].split()) if lexemes else ""

    def can_be(self, place: int, *classes: str) -> bool:
        """True where the word at a place stands in one of these rows."""
        lexeme = self.at(place)
        return lexeme is not None and lexeme.can_be(*classes)

    def has(self, *classes: str) -> bool:
        """True where any word stands in one of these rows."""
        return any(lexeme.can_be(*classes) for lexeme in self.lexemes())

    def is_mark(self, place: int, marks: str) -> bool:
        """True where one of ``marks`` stands at a place."""
        lexeme = self.at(place)
        return lexeme is not None and lexeme.kind == "mark" and lexeme.text in marks

    def number(self, place: int) -> int:
        """The number at a place, or 0."""
        lexeme = self.at(place)
        return 0 if lexeme is None else number_of(lexeme)

    def note(self, place: int) -> Note | None:
        """The note named at a place, wholly inside the clause."""
        if not self.first <= place < self.last:
            return None
        found = note_at(self.said.lexemes, place)
        return found if found is not None and found.last <= self.last else None

    def note_standing(self, place: int, *, after_preposition: bool) -> Note | None:
        """As ``note``, where the sentence shows that it is a note and no little word."""
        found = self.note(place)
        if found is None:
            return None
        shown = stands(self.said.lexemes, found, after_preposition=after_preposition, shouts=self.said.shouts)
        return found if shown else None

    def note_ending(self, place: int) -> Note | None:
        """The note whose name ends at a place, the longest ("降B")."""
        found = None
        for first in range(place, max(self.first - 1, place - 4), -1):
            note = self.note(first)
            if note is not None and note.last == place + 1:
                found = note
        return found

    def notes(self) -> Iterator[Note]:
        """All that may be notes, in order."""
        return (note for place in self.places() if (note := self.note(place)) is not None)

    def instrument(self, place: int) -> str:
        """The family named at a place, by an abbreviation too, or ``""``."""
        lexeme = self.at(place)
        return "" if lexeme is None else lexeme.family or lexeme.short_family

    def other(self, place: int) -> bool:
        """True for the name of another instrument, if it is no word beside a trumpet's ("bass trumpet")."""
        lexeme = self.at(place)
        if lexeme is None or not lexeme.can_be("other") or lexeme.family or lexeme.can_be("notes"):
            return False
        if not lexeme.can_be(*WHICH):
            return True
        near = (self.at(each) for each in range(place - 2, place + 3))
        return not any(each is not None and each.family for each in near)

    def register_after(self, place: int) -> int:
        """Where a note's register, bracketed perhaps, its "crook" or its case ending ends behind it."""
        while True:
            if self.can_be(place, "key", *REGISTERS) and self.note(place) is None:
                place += 1
            elif self.is_mark(place, "([") and self.can_be(place + 1, "piccolo", *REGISTERS):
                place += 2
                place += self.is_mark(place, ")]")
            elif self.is_mark(place, "-") and self.can_be(place + 1, "case"):
                place += 2
            else:
                return place

    def register_before(self, place: int) -> int:
        """Where the note after a preposition at ``place - 1`` begins: "in tief B", "ton de fa"."""
        while (self.can_be(place, "key", *REGISTERS) and self.note(place) is None) or self.is_mark(
            place, ".:-"
        ):
            place += 1
        return place


def whole(said: Sentence) -> Clause:
    """A sentence as one clause."""
    return Clause(said, 0, len(said.lexemes))


def clauses(said: Sentence) -> Iterator[Clause]:
    """A direction cut at its punctuation, and where another player is spoken to ("1. in F 2. in C")."""
    everything = whole(said)
    first = 0
    for place in everything.places():
        if _ends_at(everything, place):
            if first < place:
                yield everything.part(first, place)
            first = place + 1
        elif place > first and _speaks_to_another(everything, first, place):
            yield everything.part(first, place)
            first = place
    if first < everything.last:
        yield everything.part(first, everything.last)


def _ends_at(clause: Clause, place: int) -> bool:
    lexeme, following = clause.at(place), clause.at(place + 1)
    if lexeme is None or lexeme.kind != "mark":
        return False
    if lexeme.text in "([" and _goes_into(clause, place):
        return False
    if lexeme.text in _MARKS:
        return True
    if following is None or following.gap != " ":
        return False
    if lexeme.text in "-/":
        return lexeme.gap == " "
    # A full stop ends a sentence where a capital follows, but for abbreviations.
    return (
        lexeme.text == "."
        and following.capital
        and not clause.number(place - 1)
        and not clause.instrument(place - 1)
        and not clause.can_be(place - 1, *_NO_STOP)
        and not _is_initial(clause, place - 1)
    )


def _goes_into(clause: Clause, place: int) -> bool:
    """Whether a bracket belongs to what stands before it: "Trombe (in Mi)", "in B (hoch)"."""
    named = clause.instrument(place - 1 - clause.is_mark(place - 1, "."))
    key = clause.note(place + 1) is not None or (
        clause.can_be(place + 1, "in") and clause.note(place + 2) is not None
    )
    return bool(named and key) or (
        clause.note_ending(place - 1) is not None and clause.can_be(place + 1, "piccolo", *REGISTERS)
    )


def _is_initial(clause: Clause, place: int) -> bool:
    """Whether a small letter is short for a word: "m. Dpf.", and no note."""
    lexeme = clause.at(place)
    return lexeme is not None and len(lexeme.text) == 1 and not lexeme.can_be("notes", "letters")


def _speaks_to_another(clause: Clause, first: int, place: int) -> bool:
    lexeme = clause.at(place)
    if (
        lexeme is None
        or not lexeme.can_be("ordinal")
        or clause.number(place - 1)
        or clause.can_be(place - 1, "and")
    ):
        return False
    leads = clause.can_be(place + 1, "in", "to") and clause.note(place + 2) is not None
    return leads and any(True for _ in clause.part(first, place).notes())
