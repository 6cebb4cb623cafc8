"""Players of one part put together: read alike as far as their notes are, apart where they are not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from annotator.findings import Finding
from annotator.reading.evidence import others_changes
from annotator.reading.model import Evidence, Noticed, Reading, Segment
from annotator.reading.views import View
from annotator.reading.wording import finding
from annotator.score.model import Note, Part


def read_alike(part: Part, whole: Reading, own: Sequence[tuple[View, Reading]]) -> Reading:
    """The reading of a part whose players were read one by one (``own``) and as one (``whole``).

    Where every player's notes are read as those of the whole part are, the whole part's segments stand;
    else each has his own.
    """
    findings = tuple(dict.fromkeys(each for _, reading in own for each in reading.findings))
    if all(_same(view, reading, whole) for view, reading in own):
        return replace(whole, findings=(*findings, *_for_nobody(part, own)))
    groups: dict[tuple[Segment, ...], list[int]] = {}
    for view, reading in own:
        groups.setdefault(reading.segments, []).extend(view.lines)
    segments = tuple(
        replace(segment, lines=tuple(numbers)) for found, numbers in groups.items() for segment in found
    )
    made = replace(whole, segments=segments, findings=(*findings, *_for_nobody(part, own)))
    return replace(made, findings=(*made.findings, *_shared_notes(part, made)))


def _same(view: View, reading: Reading, whole: Reading) -> bool:
    if len(reading.segments) == len(whole.segments) == 1:
        one, other = reading.segments[0], whole.segments[0]
        return (one.crook, one.read) == (other.crook, other.read)
    return all(
        (one.crook, one.read, one.family) == (other.crook, other.read, other.family)
        for line in view.part.lines
        for one, other in zip(
            _along(line.notes, reading.segments), _along(line.notes, whole.segments), strict=True
        )
    )


def _along(notes: Sequence[Note], segments: Sequence[Segment]) -> Iterator[Segment]:
    """The segment each note stands in."""
    index = 0
    for note in notes:
        while index + 1 < len(segments) and segments[index + 1].from_position <= note.onset:
            index += 1
        yield segments[index]


def _for_nobody(part: Part, own: Sequence[tuple[View, Reading]]) -> Iterator[Finding]:
    """Changes that speak to a player this part does not have."""
    everyone = [number for view, _ in own for number in view.players]
    yield from changes_for_nobody(part, everyone)


def changes_for_nobody(part: Part, players: Sequence[int]) -> Iterator[Finding]:
    """Changes that speak by number to none of ``players``."""
    for words, change in others_changes(part, players):
        source = Evidence("words", " ".join(words.text.split()), part.measure_number(words.measure))
        about: dict[str, object] = {"source": source, "players": change.named.players}
        yield finding(Noticed("change-for-nobody", words.measure, about), part)


def _shared_notes(part: Part, reading: Reading) -> Iterator[Finding]:
    """Notes in two players' lines that the two read differently: said once, at the first."""
    read: dict[int, Segment] = {}
    for line in part.lines:
        for note, segment in zip(line.notes, _along(line.notes, reading.of_line(line.number)), strict=True):
            first = read.setdefault(note.place, segment)
            if first.read != segment.read:
                crooks = (first.crook, segment.crook)
                yield finding(Noticed("shared-note-two-crooks", note.measure, {"crooks": crooks}), part)
                return
