"""What to read, from where to where: the crook in force against the instrument in hand."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from annotator.findings import Finding
from annotator.keys import interval_in_key
from annotator.pitch import Interval
from annotator.reading.crooks import C, Crook
from annotator.reading.evidence import number_of
from annotator.reading.inference import Inference, infer_part, natural_partial
from annotator.reading.interval_words import in_words
from annotator.reading.model import Reading, Segment, Stage
from annotator.reading.names import sound_crook
from annotator.reading.overrides import Span, parse_crook_option, place
from annotator.reading.ranges import Ranged, in_range
from annotator.reading.timeline import sounds_as_written, timeline
from annotator.score.model import Part


class Transposing(Protocol):
    """What is needed of an instrument: sounding minus written."""

    @property
    def transposition(self) -> Interval: ...


def segments(
    part: Part,
    instrument: Transposing | Interval,
    crook: str = "auto",
    section: Sequence[Part] = (),
) -> Reading:
    """How a player with ``instrument`` reads ``part``.

    ``crook``: ``auto`` (believe the file), ``infer`` (also ask the notes), a crook (``F``) or crooks
    with measures (``F@1-84,C@85-``; ``auto`` elsewhere). ``section``: the trumpet parts of the score,
    asked together where one part's notes can't tell its crook. Raises BadOption (field ``crook``).
    """
    held = instrument if isinstance(instrument, Interval) else instrument.transposition
    overrides = parse_crook_option(crook)
    stages, found = timeline(part)
    findings = list(found)
    inference: Inference | None = None
    if overrides:
        spans = place(overrides, part)
        stages, replaced = _overridden(part, stages, spans)
        if len(spans) == 1 and spans[0].first == 0 and spans[0].last >= len(part.measures) - 1:
            findings = []
        findings += replaced
    elif crook.strip().lower() == "infer" or not any(stage.named for stage in stages):
        stages, inference, told = _inferred(part, stages, section, asked=crook.strip().lower() == "infer")
        findings += told
    made = _made(part, stages, held)
    findings += _sounds(part, made)
    if isinstance(instrument, Ranged):
        made, moved = in_range(part, made, instrument)
        findings += moved
    return Reading(made, tuple(findings), inference)


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
                from_measure=number_of(part, stage.measure),
                to_measure=number_of(part, to_measure),
                from_measure_index=stage.measure,
                to_measure_index=to_measure,
                crook=stage.crook,
                evidence=stage.evidence,
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
) -> tuple[tuple[Stage, ...], list[Finding]]:
    """The stages with the user's crooks laid over them, and where these differ from the file."""
    cuts: list[Stage] = []
    findings = []
    position = 0.0
    for span in spans:
        start = part.measures[span.first].start if span.first else 0.0
        end = part.measures[span.last + 1].start if span.last + 1 < len(part.measures) else math.inf
        cuts += _clipped(part, stages, position, start)
        cuts.append(
            Stage(start, span.first, span.crook, f"the crook option '{span.text}'", _family(stages, start))
        )
        for stage in _clipped(part, stages, start, end):
            if stage.named and stage.crook.sounding != span.crook.sounding:
                findings.append(
                    Finding(
                        "crook-overridden",
                        f"the crook option says {span.crook.name}, the file {stage.crook.name} "
                        f"({stage.evidence}); the option was believed",
                        part.id,
                        number_of(part, stage.measure),
                    )
                )
        position = end
    cuts += _clipped(part, stages, position, math.inf)
    return tuple(cuts), findings


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
    part: Part, stages: tuple[Stage, ...], section: Sequence[Part], *, asked: bool
) -> tuple[tuple[Stage, ...], Inference, list[Finding]]:
    """What the notes say about the crook. It is said, and no pitch is moved."""
    findings: list[Finding] = []
    if any(stage.named for stage in stages):
        inference = infer_part(part, tuple((stage.position, stage.crook) for stage in stages))
        crooks = {(stage.natural or stage.crook).id for stage in stages}
        if inference.crook is not None and crooks != {inference.crook.id}:
            findings.append(
                Finding(
                    "inference-disagrees",
                    f"the notes suggest a crook in {inference.crook.name} ({inference.words}), the file says "
                    f"{', '.join(sorted(crooks))}; the file was believed",
                    part.id,
                    number_of(part, 0),
                )
            )
        return stages, inference, findings
    inference = infer_part(part, section=[each for each in section if sounds_as_written(each)])
    if inference.crook is None or inference.crook == C:
        if asked:
            findings.append(
                Finding("crook-inferred", f"the crook asked of the notes: {inference.words}", part.id)
            )
        return stages, inference, findings
    crook = inference.crook
    findings.append(
        Finding(
            "crook-inferred",
            f"no crook is named and the part sounds as written; it was probably written for a trumpet in "
            f"{crook.name}: {inference.words}. No note was moved{_not_natural(part, crook)}",
            part.id,
        )
    )
    evidence = f"{stages[0].evidence}; {crook.name} inferred from the notes"
    return tuple(replace(stage, natural=crook, evidence=evidence) for stage in stages), inference, findings


def _not_natural(part: Part, crook: Crook) -> str:
    """The notes that are no natural partials of ``crook``, with their measures, as the end of a sentence."""
    places: dict[str, list[str]] = {}
    for line in part.lines:
        for note in line.notes:
            if natural_partial(note.pitch.semitone, crook) is None:
                places.setdefault(note.pitch.name, []).append(number_of(part, note.measure))
    if not places:
        return ""
    each = [f"{name} in measure {', '.join(dict.fromkeys(numbers))}" for name, numbers in places.items()]
    return f". Not natural on it: {'; '.join(each)}"


def _sounds(part: Part, made: tuple[Segment, ...]) -> list[Finding]:
    """Playback sounds that name another key than the crook believed."""
    findings = []
    told: set[tuple[str, str]] = set()
    for sound in part.sounds:
        named = sound_crook(sound.name)
        segment = next((item for item in reversed(made) if item.from_position <= sound.position), made[0])
        if named is None or named == segment.crook or (sound.name, segment.crook.id) in told:
            continue
        told.add((sound.name, segment.crook.id))
        findings.append(
            Finding(
                "sound-disagrees",
                f"the playback sound is {sound.name}, the part is in {segment.crook.name} "
                f"({segment.evidence}); a sound only chooses what is heard in playback, so the part "
                "was believed",
                part.id,
                number_of(part, sound.measure),
            )
        )
    return findings


def read_interval_in_key(segment: Segment, fifths: int) -> Interval:
    """What is read in ``segment`` under the written key ``fifths``.

    Where the key read would pass six sharps or flats it is the enharmonic interval.
    """
    return interval_in_key(segment.read, fifths)
