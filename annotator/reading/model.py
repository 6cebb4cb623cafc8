"""The values that reading gives."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field

from annotator.findings import Finding
from annotator.pitch import UNISON, Interval
from annotator.reading.crooks import Crook
from annotator.reading.inference import Inference


@dataclass(frozen=True, slots=True)
class Shares:
    """The share (0–1) of ``notes`` that are natural partials of the crooks named, read in the two ways."""

    notes: int
    as_written: float
    as_sounding: float


@dataclass(frozen=True, slots=True)
class Pitches:
    """What the pitches are of parts that name crooks and have no ``<transpose>``.

    ``sounding``: they sound as they stand. ``by``: what told it, ``concert-score``, ``keys``, ``partials``
    or ``words`` (nothing else did). ``key``: the key signature that sounds, where keys told it.
    """

    sounding: bool
    by: str
    key: int | None = None
    shares: Shares | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing that speaks for a crook; ``wording.evidence`` says it in words.

    ``kind``: ``transpose`` (in ``measure``, as the file numbers it), ``words`` (``text`` in ``measure``), a
    place of a name (``part name``, ``part abbreviation``, ``instrument name``, ``heading``), ``option``,
    ``nothing`` (no crook is named); or how a crook was found that the words did not name (``by-transpose``,
    ``usual``, ``first``, ``in-force``); or ``sounding`` (``pitches`` says why) and ``inferred`` (``text``
    is the crook).
    """

    kind: str
    text: str = ""
    measure: str = ""
    pitches: Pitches | None = None


@dataclass(frozen=True, slots=True)
class Noticed:
    """What was noticed on the way, to be said at the end (``wording.finding``).

    ``code`` is the finding's, ``how`` chooses among its sentences, ``about`` is what they speak of.
    ``measure`` is an index, None where it is the whole part's.
    """

    code: str
    measure: int | None
    about: dict[str, object] = field(default_factory=dict)
    how: str = ""


@dataclass(frozen=True, slots=True)
class Stage:
    """A crook in force from ``position`` (quarters) in measure index ``measure`` on.

    ``natural`` is the crook whose partials the player of a natural trumpet would use: the crook
    itself, except in a part that holds sounding pitches. ``named``: something in the part names it.
    """

    position: float
    measure: int
    crook: Crook
    grounds: tuple[Evidence, ...]
    family: str = ""
    natural: Crook | None = None
    named: bool = True


@dataclass(frozen=True, slots=True)
class Segment:
    """A stage of a part with what is read in it.

    Positions in quarters from the start of the part, ``to_position`` of the last one infinite; measures,
    the last one included, as the file numbers them and as indices. ``sounding`` is the crook's
    (sounding − written), ``read`` what the player adds to each written note (crook − instrument,
    octaves moved where a finding says so), ``words`` the same in words. ``natural_crook`` is the crook
    whose natural partials the notes are counted by: the crook itself, except in a part that holds
    sounding pitches, where it is the one named or inferred. There ``old_part`` leads from the notes to how
    an old part would have been written for that crook; None elsewhere. ``family``: the
    instrument asked for (``trumpet``, ``piccolo``, ``cornet``, ``flugelhorn`` or ``""``). ``grounds``: what
    speaks for the crook, ``evidence`` the same in words. ``lines``: the numbers of the lines it is for,
    none where all the part's lines are read alike.
    """

    from_position: float
    to_position: float
    from_measure: str
    to_measure: str
    from_measure_index: int
    to_measure_index: int
    crook: Crook
    grounds: tuple[Evidence, ...]
    evidence: str
    sounding: Interval
    read: Interval
    words: str
    natural_crook: Crook
    family: str = ""
    old_part: Interval | None = None
    lines: tuple[int, ...] = ()

    @property
    def differs(self) -> bool:
        """True when what is read differs from what is written."""
        return self.read != UNISON


@dataclass(frozen=True, slots=True)
class Reading:
    """How to read a part: its segments, what was noticed, and what the notes tell.

    ``segments`` are in order; where players of one staff, or two staves, are read differently, those of
    each follow one another, with ``Segment.lines`` saying whose they are. ``inference`` is there where
    the notes were asked: a part without crook, or ``infer``.
    """

    segments: tuple[Segment, ...]
    findings: tuple[Finding, ...] = ()
    inference: Inference | None = None

    @property
    def differs(self) -> bool:
        return any(segment.differs for segment in self.segments)

    @property
    def shared(self) -> bool:
        """Whether all lines are read alike."""
        return not self.segments or not self.segments[0].lines

    def of_line(self, number: int) -> tuple[Segment, ...]:
        """The segments of the line with this number."""
        if self.shared:
            return self.segments
        found = tuple(segment for segment in self.segments if number in segment.lines)
        return found or self.of_line(self.segments[0].lines[0])

    def groups(self) -> Iterator[tuple[tuple[int, ...], tuple[Segment, ...]]]:
        """Lines that are read alike, by their numbers (none: all of them), and their segments."""
        for lines in dict.fromkeys(segment.lines for segment in self.segments):
            yield lines, tuple(segment for segment in self.segments if segment.lines == lines)

    def at(self, position: float, line: int = 0) -> Segment:
        """The segment in force at a position (quarters), for a line where lines differ."""
        segments = self.of_line(line)
        index = bisect_right(segments, position, key=lambda segment: segment.from_position)
        return segments[max(index - 1, 0)]
