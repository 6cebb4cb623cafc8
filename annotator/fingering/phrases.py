"""The next-best way through each phrase of a line, for those who want to know what else would go."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from annotator.fingering import PlayedNote, Profile, ReadNote, second_best
from annotator.instruments import Instrument
from annotator.score.model import Measure, Note


def phrases(notes: Sequence[ReadNote]) -> Iterator[slice]:
    """The stretches of ``notes`` that no rest and no breath breaks."""
    start = 0
    for index in range(1, len(notes) + 1):
        if index == len(notes) or not notes[index].joined:
            yield slice(start, index)
            start = index


def second_plans(
    notes: Sequence[Note],
    *,
    read: Sequence[ReadNote],
    how: Sequence[PlayedNote],
    measures: Sequence[Measure],
    instrument: Instrument,
    profile: Profile | str,
) -> list[dict[str, Any]]:
    """For each phrase with more than one way through, the second-best plan as a report shows it.

    ``cost`` and ``second_cost`` in awkwardness (the unit of the cost table); ``changes``: the notes that
    would be fingered otherwise.
    """
    found = []
    for where in phrases(read):
        other = second_best(read[where], instrument, profile)
        if other is None:
            continue
        changes = []
        for index in other.changed:
            note, new = notes[where.start + index], other.fingerings[index]
            old = how[where.start + index].fingering
            if new is not None and old is not None:
                changes.append(
                    {
                        "place": note.place,
                        "measure": measures[note.measure].number,
                        "reading": read[where.start + index].pitch.name,
                        "fingering": old.valves,
                        "instead": {"fingering": new.valves, "partial": new.partial},
                    }
                )
        found.append(
            {
                "from_measure": measures[notes[where.start].measure].number,
                "to_measure": measures[notes[where.stop - 1].measure].number,
                "cost": round(other.best_cost, 3),
                "second_cost": round(other.cost, 3),
                "changes": changes,
            }
        )
    return found
