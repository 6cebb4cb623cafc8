"""A part as each of its players has it: his line, his staff, the words that speak to him."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby

from annotator.reading.player_names import players_named
from annotator.score.model import Part


@dataclass(frozen=True, slots=True)
class View:
    """``part`` with one player's line only, and with what is for his staff; ``staff`` the same with all lines
    of the staff. ``players`` are the numbers he answers to."""

    part: Part
    staff: Part
    players: tuple[int, ...]

    @property
    def lines(self) -> tuple[int, ...]:
        """The numbers of the lines."""
        return tuple(line.number for line in self.part.lines)


def views(part: Part) -> Iterator[View]:
    """The views of a part, staff by staff and player by player."""
    numbers = players_named(part.name)
    for staff, group in groupby(part.lines, key=lambda line: line.staff):
        lines = list(group)
        of_staff = replace(
            part,
            lines=tuple(lines),
            transpositions=tuple(item for item in part.transpositions if item.staff in (0, staff)),
            keys=tuple(key for key in part.keys if key.staff in (0, staff)),
            words=tuple(words for words in part.words if words.staff in (0, staff)),
            clefs=tuple(clef for clef in part.clefs if clef.staff == staff),
        )
        for place, line in enumerate(lines, start=1):
            yield View(replace(of_staff, lines=(line,)), of_staff, _answers_to(line.player or place, numbers))


def _answers_to(place: int, numbers: tuple[int, ...]) -> tuple[int, ...]:
    if place <= len(numbers):
        own = numbers[place - 1]
        return (own,) if place in numbers else (own, place)
    return (place,)
