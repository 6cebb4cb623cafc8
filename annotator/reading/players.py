"""Who plays what on a staff that several players share, by voices, chords and words ("a 2", "1.", "Solo").

What is asked, in this order (common practice, no source):

1. Two voices with notes in a bar are two players, the upper voice the first; a chord is as many players as
   it has notes, the upper note the first player's.
2. A single note belongs to whom the last words name: to all after "a 2", "unis." and "div." (a unison
   inside a divided passage), to one after "1." or "Solo". Words hold until others come, or until the
   players part again.
3. A single note in a lower voice is that voice's player's. In the upper voice it can't be told: in a part
   that names several players it is given to all of them, and that is a finding; elsewhere to the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from annotator.findings import Finding
from annotator.reading.changes import read_words
from annotator.reading.player_names import players_named
from annotator.reading.said import Players
from annotator.score.model import SAME_PLACE, Line, Note, Part


@dataclass(frozen=True, slots=True)
class _Unit:
    """What one voice strikes at once: a note or a chord, the upper note first."""

    onset: float
    measure: int
    voice: str
    notes: tuple[Note, ...]

    @property
    def grace(self) -> bool:
        return self.notes[0].grace


@dataclass(frozen=True, slots=True)
class _Call:
    """Words that say whose notes follow."""

    position: float
    said: Players


def is_one_players(part: Part) -> bool:
    """Whether all of a part's notes are one player's: a chord in "Trumpet 1" makes no second one."""
    staves = {line.staff for line in part.lines}
    return len(part.lines) < 2 or (len(staves) == 1 and len(players_named(part.name)) == 1)


def own_number(part: Part) -> tuple[int, ...]:
    """The number of the player whose part this is, where it is one player's and has one."""
    numbers = players_named(part.name)
    return numbers if len(numbers) == 1 and is_one_players(part) else ()


def with_players(part: Part) -> Part:
    """``part`` with one line for each player; as it is where its voices are its players already."""
    numbers = players_named(part.name)
    named = max(len(numbers), len(players_named(part.abbreviation)))
    if not part.lines or (len(part.lines) == 1 and named == 1):
        return part
    calls = [
        (words.staff, _Call(words.position, said))
        for words in part.words
        if (said := read_words(words.text).players) is not None
    ]
    if named == 0:
        named = max((number for _, call in calls for number in call.said.numbers), default=1)
    if len(part.lines) == 1 and named < 2:
        return part
    found: list[Line] = []
    unclear: list[Note] = []
    for staff, group in groupby(part.lines, key=lambda line: line.staff):
        lines = list(group)
        own = [call for where, call in calls if where in (0, staff)]
        shared = _Staff(part, lines, own, numbers if len(numbers) == named else tuple(range(1, named + 1)))
        if shared.is_told_already:
            found += lines
        else:
            found += shared.lines()
            unclear += shared.unclear
    numbered = tuple(replace(line, number=number) for number, line in enumerate(found, start=1))
    if numbered == part.lines:
        return part
    warnings = (*part.warnings, _not_told(part, unclear)) if unclear else part.warnings
    return replace(part, lines=numbered, warnings=warnings)


class _Staff:
    """One staff of a part: its notes given out to players."""

    def __init__(
        self, part: Part, lines: Sequence[Line], calls: Sequence[_Call], numbers: Sequence[int]
    ) -> None:
        self.part = part
        self.voices = list(dict.fromkeys(line.voice for line in lines))
        self.given = lines
        self.calls = sorted(calls, key=lambda call: call.position)
        self.numbers = numbers
        self.named = named = max(len(numbers), 1)
        singled = max((self._place(number) + 1 for call in calls for number in call.said.numbers), default=1)
        together = all(call.said.manner == "together" for call in calls)
        self.units = _units(lines)
        chord = max(len(unit.notes) for unit in self.units)
        self.count = max(_most_at_once(lines), chord, 1 if together else min(singled, named))
        self.unclear: list[Note] = []

    @property
    def is_told_already(self) -> bool:
        """Whether each line is one player's, with nothing to share."""
        if self.count == 1:
            return len(self.given) == 1
        return len(self.given) == self.count and not self.calls and self.named == 1

    def lines(self) -> Iterator[Line]:
        """One line for each player, the first player's first; numbers to be given."""
        units = self.units
        present = self._voices_by_measure(units)
        played: list[list[Note]] = [[] for _ in range(self.count)]
        call: Players | None = None
        coming = 0
        for index, unit in enumerate(units):
            while coming < len(self.calls) and self.calls[coming].position <= unit.onset + SAME_PLACE:
                call = self.calls[coming].said
                coming += 1
            model = _main(units, index)
            voices = present[unit.measure]
            sounding = [voice for voice, most in voices.items() if most]
            together = call is not None and call.manner == "together" and len(sounding) == 1
            if len(voices) > 1 and not together:
                wanted = self._by_voice(unit, voices)
                parted = len(sounding) > 1
            elif len(model.notes) > 1:
                wanted = list(range(len(unit.notes)))
                parted = True
            else:
                wanted = self._single(unit, call, played)
                parted = False
            if parted and call is not None and call.manner != "divided":
                call = None
            self._give(unit, wanted, played)
        for player, notes in enumerate(played):
            if notes:
                voice = self._voice_of(notes)
                yield Line(0, voice, self.given[0].staff, player, tuple(notes), player + 1)

    def _by_voice(self, unit: _Unit, voices: dict[str, int]) -> list[int]:
        """Players by voice: each voice has as many as its largest chord of the bar, at least one."""
        first = 0
        for voice, most in voices.items():
            if voice == unit.voice:
                break
            first += max(most, 1)
        first = max(0, min(first, self.count - max(voices[unit.voice], 1)))
        return list(range(first, min(first + len(unit.notes), self.count)))

    def _place(self, number: int) -> int:
        """The place on this staff, from 0, of the player with a number: 3 is the first of "Trumpets 3, 4"."""
        return self.numbers.index(number) if number in self.numbers else number - 1

    def _single(self, unit: _Unit, call: Players | None, played: list[list[Note]]) -> list[int]:
        everyone = list(range(self.count))
        if call is not None:
            if call.manner in ("together", "divided"):
                places = [self._place(number) for number in call.numbers]
                return [place for place in places if place < self.count] or everyone
            place = self._place(call.numbers[0]) if call.numbers else 0
            if place < self.count:
                return [place]
        lower = self.voices.index(unit.voice)
        if lower or self.named < 2:
            return [min(lower, self.count - 1)]
        free = [player for player in everyone if _is_free(played[player], unit.onset)]
        if 0 < len(free) < self.count:
            return free[:1]  # the others still hold their notes
        if not unit.grace:
            self.unclear.append(unit.notes[0])
        return everyone

    def _give(self, unit: _Unit, wanted: list[int], played: list[list[Note]]) -> None:
        """Add the unit's notes to the players wanted, or to who is free where one still plays."""
        if len(unit.notes) == 1 and len(wanted) > 1:
            for player in wanted:
                if _is_free(played[player], unit.onset):
                    played[player].append(unit.notes[0])
            return
        taken: set[int] = set()
        for note, player in zip(unit.notes, wanted, strict=False):
            choice = [player, *(other for other in range(self.count) if other not in wanted)]
            free = [each for each in choice if each not in taken and _is_free(played[each], unit.onset)]
            chosen = free[0] if free else player
            taken.add(chosen)
            played[chosen].append(note)

    def _voices_by_measure(self, units: Sequence[_Unit]) -> dict[int, dict[str, int]]:
        """For each measure its voices from the top, and the largest chord of each (0: it only rests)."""
        found: dict[int, dict[str, int]] = {}
        ends = [measure.start + measure.length for measure in self.part.measures]
        for unit in units:
            last = max(note.onset + note.duration for note in unit.notes)
            measure = unit.measure
            while True:
                most = found.setdefault(measure, {})
                most[unit.voice] = max(most.get(unit.voice, 0), len(unit.notes))
                measure += 1
                if measure >= len(ends) or last <= ends[measure - 1] + SAME_PLACE:
                    break
        for measure, staff, voice in self.part.rests:
            if staff == self.given[0].staff and voice in self.voices:
                found.setdefault(measure, {}).setdefault(voice, 0)
        order = {voice: place for place, voice in enumerate(self.voices)}
        return {
            measure: dict(sorted(most.items(), key=lambda item: order[item[0]]))
            for measure, most in found.items()
        }

    def _voice_of(self, notes: Sequence[Note]) -> str:
        """The voice that has most of these notes."""
        places = {note.place for note in notes}
        return max(
            (line for line in self.given), key=lambda line: sum(each.place in places for each in line.notes)
        ).voice


def _units(lines: Iterable[Line]) -> list[_Unit]:
    chords: dict[tuple[str, int], list[Note]] = {}
    for line in lines:
        for note in line.notes:
            chords.setdefault((line.voice, note.chord), []).append(note)
    units = [
        _Unit(notes[0].onset, notes[0].measure, voice, tuple(notes)) for (voice, _), notes in chords.items()
    ]
    return sorted(units, key=lambda unit: (unit.onset, not unit.grace, unit.notes[0].place))


def _main(units: Sequence[_Unit], index: int) -> _Unit:
    """The unit itself, or the one that a grace note leads to."""
    unit = units[index]
    if not unit.grace:
        return unit
    following = (other for other in units[index + 1 :] if other.voice == unit.voice and not other.grace)
    return next(following, unit)


def _most_at_once(lines: Iterable[Line]) -> int:
    """How many notes sound at once at the most."""
    edges = []
    for line in lines:
        for note in line.notes:
            if not note.grace:
                edges += [(note.onset + SAME_PLACE, 1), (note.onset + note.duration - SAME_PLACE, -1)]
    now = most = 0
    for _, step in sorted(edges):
        now += step
        most = max(most, now)
    return max(most, 1)


def _is_free(notes: Sequence[Note], onset: float) -> bool:
    return not notes or notes[-1].onset + notes[-1].duration <= onset + SAME_PLACE


def _not_told(part: Part, notes: Sequence[Note]) -> Finding:
    numbers = list(dict.fromkeys(part.measures[note.measure].number for note in notes))
    where = _runs([note.measure for note in notes], part)
    return Finding(
        "players-not-told",
        f"several players share the staff, and nothing says who plays the single notes in measure {where}; "
        "they were given to all of them. Write a 2, 1. or 2. there",
        part.id,
        numbers[0],
    )


def _runs(measures: Sequence[int], part: Part) -> str:
    """Measures as people write them: "3–7, 12"."""
    runs: list[list[int]] = []
    for measure in sorted(set(measures)):
        if runs and measure <= runs[-1][-1] + 1:
            runs[-1].append(measure)
        else:
            runs.append([measure])
    number = [each.number for each in part.measures]
    return ", ".join(
        number[run[0]] if len(run) == 1 else f"{number[run[0]]}–{number[run[-1]]}" for run in runs
    )
