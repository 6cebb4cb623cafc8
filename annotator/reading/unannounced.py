"""Changes without a verb: "in C", "nach B", "B nach C", "Trombe in Re", "to Picc.", "Es-Bogen"."""

from __future__ import annotations

from dataclasses import replace

from annotator.reading.clauses import Clause
from annotator.reading.headings import Statement, statements
from annotator.reading.note_names import Note
from annotator.reading.targets import (
    BESIDE,
    Target,
    crook_target,
    instrument_target,
    is_mark,
    leads_on,
    led_from,
    piccolo_target,
)

_WAY = ("form", "manner", "tempo", "title")


def without_verb(clause: Clause) -> Target | None:
    """A change that no verb announces, or None."""
    if _is_title(clause):
        return None
    named = statements(clause)
    if named:
        return _instrument_alone(clause, named)
    return _piccolo_alone(clause) or _crook_alone(clause) or _crook_by_key(clause)


def _is_title(clause: Clause) -> bool:
    instrument = any(clause.instrument(place) for place in clause.places())
    behind = False  # a note that something leads to: "in C until letter D"
    for place in clause.places():
        lexeme = clause.at(place)
        assert lexeme is not None  # places are the clause's
        behind = behind or (clause.note(place) is not None and clause.can_be(place - 1, "in", "to"))
        title = lexeme.can_be("title") and not lexeme.glued
        form = lexeme.can_be("form") and not (instrument or behind or lexeme.can_be("manner", "kind"))
        numbered = (
            lexeme.can_be("numbering")
            and not instrument
            and clause.number(place + 1 + clause.is_mark(place + 1, "."))
        )
        if title or form or numbered:
            return True
    return False


def _instrument_alone(clause: Clause, named: list[Statement]) -> Target | None:
    first = next((each for each in named if each.notes), named[0])
    start = first.first
    while start > clause.first and clause.can_be(start - 1, "to", "article", "small"):
        start -= 1
    led = clause.can_be(first.first - 1, "to") and not clause.can_be(first.first - 1, "in")
    led = led or (clause.can_be(first.first - 1, "article") and clause.can_be(first.first - 2, "to"))
    # "Bb Tpt. to Flugel"
    if len(named) > 1 and clause.can_be(named[1].first - 1, "to") and named[0].last >= named[1].first - 1:
        goes = replace(named[1], players=named[1].players or named[0].players)
        if _all_explained(clause, named[0].first, named[1].last):
            return instrument_target(clause, goes, named[0].first, announces=True)
    # "Tpt. 1 to C", "Tpt. in C to B♭"
    away = clause.note(first.last)
    place = first.last if away is None else away.last
    if clause.can_be(place, "to", "in"):
        note = clause.note_standing(place + 1, after_preposition=True)
        if note is not None and _all_explained(clause, start, note.last):
            to = clause.can_be(place, "to") and not clause.can_be(place, "in")
            return crook_target(
                clause, note, start if first.notes else first.last, announces=to, subject=first
            )
    explained = _all_explained(clause, start, first.last)
    if first.notes:
        return instrument_target(clause, first, start, announces=led) if explained or first.strong else None
    everything = all(
        lexeme.kind == "mark"
        for at, lexeme in enumerate(clause.said.lexemes)
        if not clause.first <= at < clause.last
    )
    if not explained or not (led or everything):
        return None
    return instrument_target(clause, first, start, announces=led, bare=not led)


def _piccolo_alone(clause: Clause) -> Target | None:
    """ "to Picc.", "Picc. in A", "to B♭ picc.": the small trumpet by its adjective."""
    for at in clause.places():
        if not clause.can_be(at, "piccolo") or clause.can_be(at, "high", "kind"):
            continue
        note = clause.note_ending(at - 1)
        start = at if note is None else note.first
        while clause.can_be(start - 1, "to", "article", "small"):
            start -= 1
        led = clause.can_be(start, "to")
        found = piccolo_target(clause, at, start, note)
        whole = at == clause.first and found.last >= clause.last - 1
        if not (led or whole or note is not None) or not _all_explained(clause, start, found.last):
            return None
        return replace(found, announces=led, bare=not found.statement.notes and not led)
    return None


def _crook_alone(clause: Clause) -> Target | None:
    for place in clause.places():
        lexeme = clause.at(place)
        if (
            lexeme is None
            or not lexeme.can_be("to", "in")
            or (clause.note(place) and not leads_on(clause, place))
        ):
            continue
        note = clause.note_standing(clause.register_before(place + 1), after_preposition=True)
        if note is None:
            continue
        if len(lexeme.text) == 1 and clause.note_ending(place - 1) is None:
            continue  # one letter is a preposition only between two notes
        first = led_from(clause, note.first)
        announces = _announces(clause, first, note)
        if announces is None or not _all_explained(clause, first, note.last):
            return None
        return crook_target(clause, note, first, announces=announces)
    return None


def _announces(clause: Clause, first: int, note: Note) -> bool | None:
    """True for a way to a crook ("nach B", "F nach Es"), False for its name ("in F"), None for neither.

    Neither are a tempo in a key ("Andante in C") and the way to a letter of the score ("rit. to C", "A to B",
    "back to A").
    """
    leads = clause.part(first, note.first)
    before = first - 1 - clause.is_mark(first - 1, ".")
    if clause.can_be(before, *_WAY) and not clause.can_be(before, "small"):
        return None
    notes = [each for each in leads.notes() if not (each.little and leads_on(clause, each.first))]
    away = bool(notes)
    taken = {each.first for each in notes}
    to = [
        lexeme
        for place in leads.places()
        if place not in taken and (lexeme := clause.at(place)) is not None
        if lexeme.can_be("to") and not lexeme.can_be("in")
    ]
    if note.letter and any(lexeme.can_be("through") for lexeme in to):
        plain = all(each.letter for each in notes)
        if (away and plain) or any(" " in lexeme.text for lexeme in to):
            return None
    return bool(to) or away


def _crook_by_key(clause: Clause) -> Target | None:
    """ "ton de fa", "Es-Bogen", "crook E♭": a note with the word for a crook beside it."""
    for place in clause.places():
        if not clause.can_be(place, "key"):
            continue
        after = clause.note(
            clause.register_before(place) + clause.can_be(clause.register_before(place), "in")
        )
        before = clause.note_ending(place - 1 - clause.is_mark(place - 1, "-"))
        note = after or before
        if note is None:
            continue
        first = min(place, note.first)
        last = max(place + 1, note.last)
        if _all_explained(clause, first, last):
            return crook_target(clause, note, first, announces=False, last=last)
    return None


def _all_explained(clause: Clause, first: int, last: int) -> bool:
    """True where all other words of the clause may stand beside a crook: players, mutes, manners."""
    return all(
        is_mark(clause, place)
        or clause.number(place)
        or clause.instrument(place)
        or clause.can_be(place, *BESIDE)
        or (place >= last and clause.can_be(place, "in"))
        for place in (*range(clause.first, first), *range(last, clause.last))
    )
