"""What to read, from where to where: the crook in force against the instrument in hand."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from annotator.findings import Finding
from annotator.keys import interval_in_key
from annotator.pitch import Interval
from annotator.reading.crooks import C, Crook
from annotator.reading.inference import Inference, infer_part, is_at_home, natural_partial
from annotator.reading.interval_words import in_words
from annotator.reading.model import Evidence, Noticed, Reading, Segment, Stage
from annotator.reading.names import sound_crook
from annotator.reading.overrides import Span, place, read_crook_option
from annotator.reading.players import is_one_players, own_number
from annotator.reading.ranges import Ranged, in_range
from annotator.reading.section import Section
from annotator.reading.sharing import changes_for_nobody, read_alike
from annotator.reading.timeline import Timeline, timeline
from annotator.reading.views import View, views
from annotator.reading.wording import evidence, finding
from annotator.score.model import Part
from annotator.timing import Clock


class Transposing(Protocol):
    """What is needed of an instrument: sounding minus written."""

    @property
    def transposition(self) -> Interval: ...


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is asked of every part: to be read on ``instrument``, by a ``crook`` option, in a ``section``."""

    instrument: Transposing | Interval
    crook: str
    section: Section
    clock: Clock

    @property
    def held(self) -> Interval:
        return self.instrument if isinstance(self.instrument, Interval) else self.instrument.transposition

    @property
    def infer(self) -> bool:
        return self.crook.strip().lower() == "infer"


def segments(
    part: Part,
    instrument: Transposing | Interval,
    crook: str = "auto",
    section: Sequence[Part] | Section = (),
    clock: Clock | None = None,
) -> Reading:
    """How a player with ``instrument`` reads ``part``.

    ``crook``: ``auto`` (believe the file), ``infer`` (also ask the notes), a crook (``F``) or crooks
    with measures (``F@1-84,C@85-``; ``auto`` elsewhere). ``section``: the trumpet parts of the score,
    asked together where one part alone can't tell its crook, or whether it is written or sounding.
    ``clock`` gives the seconds of rests. Raises BadOption (field ``crook``).
    """
    clock = clock or Clock()
    together = section if isinstance(section, Section) else Section(section or (part,), clock=clock)
    asked = _Asked(instrument, crook, together, clock)
    told = together.timeline(part)
    whole = _read(told, part, asked)
    if is_one_players(part) or not told.by_player:
        others = changes_for_nobody(part, own_number(part))
        return replace(whole, findings=(*whole.findings, *others))
    return read_alike(part, whole, [(view, _read_view(view, asked)) for view in views(part)])


def _read_view(view: View, asked: _Asked) -> Reading:
    return _read(timeline(view.part, asked.clock, view.players), view.staff, asked)


def _read(told: Timeline, staff: Part, asked: _Asked) -> Reading:
    """How a timeline is read. ``staff`` has all the notes whose range counts: octaves are moved together."""
    part = told.part
    overrides = read_crook_option(asked.crook)
    noticed = list(told.noticed)
    stages, more = _pitches(told, asked.section)
    noticed += more
    inference: Inference | None = None
    if overrides:
        spans = place(overrides, part)
        stages, replaced = _overridden(part, stages, spans)
        if len(spans) == 1 and spans[0].first == 0 and spans[0].last >= len(part.measures) - 1:
            noticed = []
        noticed += replaced
    elif asked.infer or not any(stage.named for stage in stages):
        unread = any(each.code in ("heading-not-read", "unknown-crook") for each in noticed)
        stages, inference, more = _inferred(part, stages, asked, unread=unread)
        noticed += more
    made = _made(part, stages, asked.held)
    noticed += _sounds(part, made)
    findings: list[Finding] = [finding(each, part) for each in noticed]
    if isinstance(asked.instrument, Ranged):
        made, moved = in_range(staff, made, asked.instrument)
        findings += moved
    return Reading(made, tuple(findings), inference)


def _pitches(told: Timeline, section: Section) -> tuple[tuple[Stage, ...], list[Noticed]]:
    """The stages of a part that names crooks and has no ``<transpose>``, and what was decided of them."""
    if not told.is_open:
        return told.stages, []
    pitches = section.pitches
    source = next(stage.grounds for stage in told.stages if stage.named and stage.crook != C)
    if not pitches.sounding:
        return told.stages, [Noticed("no-transpose", 0, {"source": source}, pitches.by)]
    sounding = Evidence("sounding", pitches=pitches)
    stages = tuple(
        replace(stage, crook=C, natural=stage.crook, grounds=(*stage.grounds, sounding))
        for stage in told.stages
    )
    return stages, [Noticed("concert-pitch", 0, {"source": source, "pitches": pitches})]


def _made(part: Part, stages: tuple[Stage, ...], held: Interval) -> tuple[Segment, ...]:
    made = []
    last = max(len(part.measures) - 1, 0)
    for index, stage in enumerate(stages):
        following = stages[index + 1] if index + 1 < len(stages) else None
        to_measure = last
        if following is not None:
            begins = (
                part.measures[following.measure].start if following.measure < len(part.measures) else math.inf
            )
            to_measure = max(
                following.measure - 1 if following.position <= begins else following.measure, stage.measure
            )
        natural = stage.natural or stage.crook
        read = stage.crook.sounding - held
        made.append(
            Segment(
                from_position=stage.position,
                to_position=following.position if following is not None else math.inf,
                from_measure=part.measure_number(stage.measure),
                to_measure=part.measure_number(to_measure),
                from_measure_index=stage.measure,
                to_measure_index=to_measure,
                crook=stage.crook,
                grounds=stage.grounds,
                evidence=evidence(stage.grounds),
                sounding=stage.crook.sounding,
                read=read,
                words=in_words(read),
                natural_crook=natural,
                family=stage.family,
                old_part=stage.crook.sounding - natural.sounding if natural != stage.crook else None,
            )
        )
    return tuple(made)


def _overridden(
    part: Part, stages: tuple[Stage, ...], spans: tuple[Span, ...]
) -> tuple[tuple[Stage, ...], list[Noticed]]:
    """The stages with the user's crooks laid over them, and where these differ from the file."""
    cuts: list[Stage] = []
    noticed = []
    position = 0.0
    for span in spans:
        start = part.measures[span.first].start if span.first else 0.0
        end = part.measures[span.last + 1].start if span.last + 1 < len(part.measures) else math.inf
        cuts += _clipped(part, stages, position, start)
        cuts.append(
            Stage(start, span.first, span.crook, (Evidence("option", span.text),), _family(stages, start))
        )
        for stage in _clipped(part, stages, start, end):
            if stage.named and stage.crook.sounding != span.crook.sounding:
                about = {"option": span.crook, "crook": stage.crook, "grounds": stage.grounds}
                noticed.append(Noticed("crook-overridden", stage.measure, about))
        position = end
    cuts += _clipped(part, stages, position, math.inf)
    return tuple(cuts), noticed


def _clipped(part: Part, stages: tuple[Stage, ...], start: float, end: float) -> list[Stage]:
    """The stages between two positions, the first one beginning at ``start``."""
    if start >= end:
        return []
    inside = [stage for stage in stages if start < stage.position < end]
    before = [stage for stage in stages if stage.position <= start]
    if before:
        measure = bisect_right([item.start for item in part.measures], start) - 1
        inside.insert(0, replace(before[-1], position=start, measure=max(measure, 0)))
    return inside


def _family(stages: tuple[Stage, ...], position: float) -> str:
    return next((stage.family for stage in reversed(stages) if stage.position <= position), "")


def _inferred(
    part: Part, stages: tuple[Stage, ...], asked: _Asked, *, unread: bool
) -> tuple[tuple[Stage, ...], Inference, list[Noticed]]:
    """What the notes say about the crook. It is said, and no pitch is moved.

    ``unread``: the part names a crook, and it was not understood.
    """
    if any(stage.named for stage in stages):
        inference = infer_part(part, tuple((stage.position, stage.crook) for stage in stages))
        crooks = {(stage.natural or stage.crook).id for stage in stages}
        if inference.crook is None or crooks == {inference.crook.id}:
            return stages, inference, []
        about: dict[str, object] = {"crook": inference.crook, "words": inference.words}
        return stages, inference, [Noticed("inference-disagrees", 0, {**about, "file": sorted(crooks)})]
    inference = infer_part(part, section=asked.section.sounding())
    crook = inference.crook
    if crook is None or crook == C:
        said = [Noticed("crook-inferred", None, {"words": inference.words}, "asked")] if asked.infer else []
        return stages, inference, said
    if not asked.infer and not is_at_home(part, crook):
        return stages, inference, []
    unnatural = _not_natural(part, crook)
    about = {"crook": crook, "words": inference.words, "unnatural": unnatural}
    inferred = Evidence("inferred", crook.name)
    marked = tuple(replace(stage, natural=crook, grounds=(*stage.grounds, inferred)) for stage in stages)
    return marked, inference, [Noticed("crook-inferred", None, about, "not read" if unread else "")]


def _not_natural(part: Part, crook: Crook) -> str:
    """The notes that are no natural partials of ``crook``, with their measures, as the end of a sentence."""
    places: dict[str, list[str]] = {}
    for line in part.lines:
        for note in line.notes:
            if natural_partial(note.pitch.semitone, crook) is None:
                places.setdefault(note.pitch.name, []).append(part.measure_number(note.measure))
    if not places:
        return ""
    each = [f"{name} in measure {', '.join(dict.fromkeys(numbers))}" for name, numbers in places.items()]
    return f". Not natural on it: {'; '.join(each)}"


def _sounds(part: Part, made: tuple[Segment, ...]) -> list[Noticed]:
    """Playback sounds that name another key than the crook believed."""
    noticed = []
    told: set[tuple[str, str]] = set()
    for sound in part.sounds:
        named = sound_crook(sound.name)
        segment = next((item for item in reversed(made) if item.from_position <= sound.position), made[0])
        if named is None or named == segment.crook or (sound.name, segment.crook.id) in told:
            continue
        told.add((sound.name, segment.crook.id))
        about = {"sound": sound.name, "crook": segment.crook, "grounds": segment.grounds}
        noticed.append(Noticed("sound-disagrees", sound.measure, about))
    return noticed


def read_interval_in_key(segment: Segment, fifths: int) -> Interval:
    """What is read in ``segment`` under the written key ``fifths``.

    Where the key read would pass six sharps or flats it is the enharmonic interval.
    """
    return interval_in_key(segment.read, fifths)
