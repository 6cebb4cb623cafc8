"""A part cut into stretches of one crook and one key: what each written pitch is read as there."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from annotator.keys import interval_in_key, read_key
from annotator.pitch import UNISON, Interval
from annotator.reading.model import Reading, Segment
from annotator.reading.spelling import ReadPitches, may_vary, one_spelling, phrases, starts_at
from annotator.score.model import SAME_PLACE, Head, Key, Line, Part, key_at


def signature_of(part: Part, key: str = "auto") -> Part:
    """``part`` with the key signatures its reading is to have.

    ``key`` is ``auto``, ``signature`` or ``none``.

    Old parts have none, and a transposed line then keeps to accidentals; programs write such a part
    as zero sharps or flats throughout, which looks the same on the page.
    """
    if key == "signature":
        return part if part.keys else replace(part, keys=(Key(0.0, 0, 0),))
    if key == "auto" and any(each.fifths for each in part.keys):
        return part
    return replace(part, keys=()) if part.keys else part


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of a part with one segment and one key: what a cue line is written by.

    ``read_fifths`` is the key signature read, None where there is none. ``interval`` is the segment's,
    or its enharmonic where the key would pass six sharps or flats. ``read`` gives the pitch read for a
    pitch written.
    """

    position: float
    measure: int
    segment: Segment
    interval: Interval
    read_fifths: int | None
    read: ReadPitches


class StretchAt:
    """Looks up the stretch in force at a position of a part.

    ``lines``: where lines are read differently (players in different crooks, staves in different keys), the
    stretches of each by its number; what is looked up without a line is then the first line's.
    """

    def __init__(self, found: Sequence[Stretch], lines: Mapping[int, StretchAt] | None = None) -> None:
        self.stretches = tuple(found)
        self.lines = lines or {}
        self._starts = [stretch.position for stretch in found]
        self._only = found[0] if len(found) == 1 else None

    def __call__(self, position: float) -> Stretch:
        if self._only is not None:
            return self._only
        return self.stretches[max(0, bisect_right(self._starts, position + SAME_PLACE) - 1)]

    def line(self, number: int) -> StretchAt:
        """The stretches of one line."""
        return self.lines.get(number, self)

    def staff(self, part: Part, number: int) -> StretchAt:
        """The stretches that the signatures of a staff follow: those of its first line."""
        first = next((line for line in part.lines if line.staff == number), None)
        return self if first is None else self.line(first.number)

    def of_head(self, part: Part) -> Callable[[Head], Stretch]:
        """Looks up the stretch a note head is read in: its line's, the first one's where it is in two."""
        if not self.lines:
            return lambda head: self(head.onset)
        places: dict[int, int] = {}
        for line in part.lines:
            for note in line.notes:
                places.setdefault(note.place, line.number)

        def found(head: Head) -> Stretch:
            number = places.get(head.place)
            if number is None:
                number = next((line.number for line in part.lines if _holds(line, head)), 0)
            at = self.line(number) if number else self.staff(part, head.staff)
            return at(head.onset)

        return found


def _holds(line: Line, head: Head) -> bool:
    """Whether a tied head continues a note of the line."""
    index = bisect_right(line.notes, head.onset, key=lambda note: note.onset) - 1
    if index < 0 or line.staff != head.staff:
        return False
    note = line.notes[index]
    return note.pitch.semitone == head.pitch.semitone and head.onset < note.onset + note.duration


def stretch_at(part: Part, reading: Reading, key: str = "auto", *, old_part: bool = False) -> StretchAt:
    """The stretches of ``part``, with key signatures as ``key`` asks (see ``signature_of``).

    ``old_part``: instead of what the player reads, how an old part would have been written for the
    crook named or inferred, where that can be said.
    """
    keys = signature_of(part, key).keys
    groups: dict[tuple[tuple[Segment, ...], tuple[Key, ...]], list[Line]] = {}
    of_staff = {
        staff: tuple(each for each in keys if each.staff in (0, staff))
        for staff in {line.staff for line in part.lines}
    }
    for line in part.lines:
        groups.setdefault((reading.of_line(line.number), of_staff[line.staff]), []).append(line)
    if not groups:
        return StretchAt(_stretches((), reading.segments, keys, old_part=old_part))
    found = [
        (lines, _stretches(lines, segments, own, old_part=old_part))
        for (segments, own), lines in groups.items()
    ]
    if len(found) == 1:
        return StretchAt(found[0][1])
    return StretchAt(
        found[0][1], {line.number: at for lines, made in found for at in [StretchAt(made)] for line in lines}
    )


def _stretches(
    lines: Sequence[Line], segments: Sequence[Segment], keys: Sequence[Key], *, old_part: bool
) -> list[Stretch]:
    """The stretches of lines that are read alike."""
    cuts = {segment.from_position: segment.from_measure_index for segment in segments}
    cuts |= {each.position: each.measure for each in keys}
    found: list[Stretch] = []
    for position, measure in sorted(cuts.items()):
        written = key_at(keys, position)
        index = bisect_right(segments, position, key=lambda segment: segment.from_position) - 1
        segment = segments[max(index, 0)]
        wanted = segment.old_part if old_part and segment.old_part is not None else segment.read
        interval = interval_in_key(wanted, written or 0)
        fifths = None if written is None else read_key(written, interval)
        read = ReadPitches(interval, fifths, other_key=interval != wanted)
        found.append(Stretch(position, measure, segment, interval, fifths, read))
    return _with_one_spelling(lines, found)


def _with_one_spelling(lines: Sequence[Line], stretches: list[Stretch]) -> list[Stretch]:
    """The stretches cut further where a phrase had a sound in more than one spelling."""
    pitches = {note.pitch for line in lines for note in line.notes}
    if not any(each.interval != UNISON and may_vary(pitches, each.read) for each in stretches):
        return stretches
    at = StretchAt(stretches)
    starts = [each.position for each in stretches]
    cuts: dict[float, Stretch] = {each.position: each for each in stretches}
    for whole in phrases(note for line in lines for note in line.notes):
        for notes in starts_at(whole, starts):
            first = notes[0]
            stretch = at(first.onset)
            fifths = stretch.read_fifths
            instead = {} if stretch.interval == UNISON else one_spelling(notes, stretch.read, fifths)
            cuts[first.onset] = replace(
                stretch,
                position=first.onset,
                measure=first.measure,
                read=stretch.read.but(instead) if instead else stretch.read,
            )
    found: list[Stretch] = []
    for _, stretch in sorted(cuts.items()):
        if not found or found[-1].read is not stretch.read:
            found.append(stretch)
    return found
