"""Words that may change the crook and were not understood: to be told, never passed over."""

from __future__ import annotations

from annotator.reading.clauses import Clause
from annotator.reading.note_names import Note

# Beside a word for a change these say nothing of what is changed.
_NOTHING = ("change", "article", "small", "ordinal", "count", "both", "all")


def speaks_of_crooks(clause: Clause, *, after_change: bool = False) -> bool:
    """True where words that were not understood may change the crook.

    A change word, a preposition with a note's name, or a trumpet's name with a key; not where a key of the
    piece, a title, a mute, a sign of the form or anything else that may be changed or taken stands there.
    ``after_change``: they are what is left behind a change that was read.
    """
    if clause.has("title", "mode") or (
        clause.has("mute", "muted", "muted_alone", "object") and not clause.has("key")
    ):
        return False
    notes = [note for note in clause.notes() if _shows(clause, note)]
    led = any(_is_led(clause, note) for note in notes)
    if clause.has("announce") and not after_change:
        return True
    first = notes[0].first if notes else clause.last
    if clause.part(clause.first, first).has("form") or (
        clause.has("from") and all(note.letter for note in notes)
    ):
        return False  # a way through the score, from letter to letter
    return led if after_change else _by_verb(clause, notes, led=led)


def _by_verb(clause: Clause, notes: list[Note], *, led: bool) -> bool:
    trumpet = any(clause.instrument(place) and clause.note(place) is None for place in clause.places())
    if clause.has("change"):
        alone = all(lexeme.kind != "word" or lexeme.can_be(*_NOTHING) for lexeme in clause.lexemes())
        return alone or trumpet or bool(notes) or clause.has("to", "key")
    if clause.has("take"):
        return (trumpet and bool(notes)) or led or clause.has("key")
    named = any(lexeme.family for lexeme in clause.lexemes())
    taken = {place for note in clause.notes() for place in range(note.first, note.last)}
    others = [place for place in clause.places() if place not in taken]
    if not named and any(clause.can_be(place, "tempo", "manner", "numbering") for place in others):
        return False
    return led or (bool(notes) and (named or clause.has("key")))


def _shows(clause: Clause, note: Note) -> bool:
    """Whether a note's name is no little word and, where it is a letter, a capital.

    A little word with a capital is one behind a preposition, with nothing but small letters after it: "in Es
    anders", not "In A Persian Market".
    """
    lexeme, following = clause.at(note.first), clause.at(note.last)
    capital = lexeme is not None and lexeme.capital and not clause.said.shouts
    if note.little:
        return capital and _is_led(clause, note) and not (following is not None and following.capital)
    return capital or not note.letter or clause.said.shouts


def _is_led(clause: Clause, note: Note) -> bool:
    """Whether a preposition leads to a note: "in Es", and neither "Polonaise in A" nor "back to C"."""
    lexeme, before = clause.at(note.first - 1), clause.at(note.first - 2)
    if lexeme is None or not lexeme.can_be("in", "to") or len(lexeme.text) == 1:
        return False
    title = before is not None and before.kind == "word" and before.word is None and before.capital
    return not title and not (note.letter and " " in lexeme.text)
