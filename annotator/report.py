"""The report: everything decided about every note, as plain JSON values (``crookline.report/1``)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from annotator.findings import Finding
from annotator.fingering import sentences
from annotator.fingering.model import Auxiliary, Fingering, PlayedNote
from annotator.instruments import Instrument
from annotator.options import Options
from annotator.pitch import Pitch, transpose
from annotator.played import PlayedLine, PlayedPart
from annotator.reading import Inference, Segment, natural_partial
from annotator.reading.stretches import Stretch
from annotator.score.model import Measure, Score
from annotator.timing import Clock

SCHEMA = "crookline.report/1"


def report(
    *,
    score: Score,
    played: Sequence[PlayedPart],
    instrument: Instrument,
    clock: Clock,
    name: str,
    digest: str,
    options: Options,
) -> dict[str, Any]:
    """The report of one file. ``digest`` is the SHA-256 of its bytes, in hexadecimal; ``options`` those it
    was marked with."""
    parts = [_part(each, instrument) for each in played]
    findings = [*score.warnings]
    for each in played:
        findings += (*each.part.warnings, *each.findings)
    return {
        "schema": SCHEMA,
        "source": {"name": name, "sha256": digest, "software": list(score.software)},
        "title": score.title,
        "instrument": instrument.id,
        "options": options.document(),
        "tempo": {"sources": list(clock.sources), "words": clock.sentence},
        "parts": parts,
        "warnings": [each.document() for each in findings],
        "summary": _summary(played, findings),
    }


def _part(played: PlayedPart, instrument: Instrument) -> dict[str, Any]:
    part = played.part
    return {
        "id": part.id,
        "name": part.name,
        "segments": [_segment(segment) for segment in played.reading.segments],
        "inference": _inference(played.reading.inference),
        "demands": [each for line in played.lines for each in _demands(played, line)],
        "lines": [
            {
                "line": line.line.number,
                "staff": line.line.staff,
                "voice": line.line.voice,
                "notes": _notes(played, line, instrument),
                **({} if line.second is None else {"second_best": list(line.second)}),
            }
            for line in played.lines
        ],
    }


def _demands(played: PlayedPart, line: PlayedLine) -> Iterator[dict[str, Any]]:
    """What a line asks for besides crossings, with its measures and figures."""
    measures, notes = played.part.measures, line.line.notes
    if line is played.lines[0]:
        yield from _quarter_tones(played)
    for how in line.how:
        for each in how.demands:
            first, last = notes[each.first], notes[each.last]
            yield {
                "kind": each.kind,
                "line": line.line.number,
                "place": first.place,
                "from_measure": measures[first.measure].number,
                "beat": beat(measures[first.measure], first.offset),
                "to_measure": measures[last.measure].number,
                "amount": each.amount,
                "sentence": each.sentence,
            }


def _quarter_tones(played: PlayedPart) -> Iterator[dict[str, Any]]:
    """The notes that no valves play are in no line: the part's findings tell of them."""
    for finding in played.part.warnings:
        if finding.code == "unplayable-pitch":
            yield {
                "kind": "quarter-tone",
                "line": None,
                "place": None,
                "from_measure": finding.measure,
                "beat": None,
                "to_measure": finding.measure,
                "amount": 1.0,
                "sentence": finding.message,
            }


def _segment(segment: Segment) -> dict[str, Any]:
    return {
        "from_measure": segment.from_measure,
        "to_measure": segment.to_measure,
        "crook": segment.crook.id,
        "evidence": segment.evidence,
        "natural_crook": segment.natural_crook.id,
        "read": {
            "diatonic": segment.read.diatonic,
            "chromatic": segment.read.chromatic,
            "words": segment.words,
        },
        **({"lines": list(segment.lines)} if segment.lines else {}),
    }


def _inference(inference: Inference | None) -> dict[str, Any] | None:
    """What the notes say about the crook, where they were asked; ``crook`` is None where they can't tell."""
    if inference is None:
        return None
    best, second = inference.best, inference.runner_up
    return {
        "crook": inference.crook.id if inference.crook else None,
        "best": best.id if best else None,
        "score": round(inference.score, 3),
        "runner_up": second.id if second else None,
        "runner_up_score": round(inference.runner_up_score, 3),
        "not_natural": [{"pitch": pitch.name, "times": times} for pitch, times in inference.unnatural],
        "words": inference.words,
    }


def _notes(played: PlayedPart, line: PlayedLine, instrument: Instrument) -> list[dict[str, Any]]:
    measures = played.part.measures
    at = played.at.line(line.line.number)
    # Most notes are read and played like others: what is the same is worked out once.
    read: dict[tuple[Pitch, int], dict[str, Any]] = {}
    ways: dict[tuple[int, Pitch], dict[str, Any]] = {}
    found = []
    for note, how, pitch in zip(line.line.notes, line.how, line.pitches, strict=True):
        measure = measures[note.measure]
        stretch = at(note.onset)
        key = (note.pitch, id(stretch))
        as_read = read.get(key)
        if as_read is None:
            as_read = read[key] = _as_read(note.pitch, stretch)
        way = ways.get((id(how), pitch))
        if way is None:
            way = ways[id(how), pitch] = _way(how, pitch, instrument)
        found.append(
            {
                "place": note.place,
                "measure": measure.number,
                "beat": beat(measure, note.offset),
                **as_read,
                "printed": list(note.printed),
                **way,
            }
        )
    return found


def _as_read(pitch: Pitch, stretch: Stretch) -> dict[str, Any]:
    """A pitch as written, as it sounds, as read on the instrument, and its partial on the crook."""
    sounding = transpose(pitch, stretch.segment.sounding)
    return {
        "written": pitch.name,
        "sounding": sounding.name,
        "reading": stretch.read[pitch].name,
        "natural_partial": natural_partial(sounding.semitone, stretch.segment.natural_crook),
    }


def _way(how: PlayedNote, pitch: Pitch, instrument: Instrument) -> dict[str, Any]:
    """What is done on a note read as ``pitch``."""
    fingering, crossing, slides = how.fingering, how.crossing, how.slides
    return {
        "fingering": fingering.valves if fingering else None,
        "partial": fingering.partial if fingering else None,
        "cents": round(fingering.cents, 1) if fingering else None,
        "alternates": [_alternate(other) for other in how.alternates],
        "slide_mm": slides.wanted,
        "slide": sentences.slide_words(slides),
        "slides": {"first": slides.first, "third": slides.third, "moved": slides.moved},
        "slide_trouble": slides.trouble,
        "cents_left": slides.cents_left,
        "auxiliaries": [_auxiliary(other) for other in how.auxiliaries],
        "why": sentences.why(how, pitch, instrument),
        "held": sentences.held_words(how, pitch),
        "demands": [each.kind for each in how.demands],
        "crossing": None
        if crossing is None
        else {
            "grade": crossing.grade,
            "reasons": list(crossing.reasons),
            "sentence": sentences.crossing_sentence(crossing),
            "instead": sentences.instead_words(crossing.instead),
            "cost": crossing.cost,
            "gain": crossing.gain,
        },
    }


def _alternate(fingering: Fingering) -> dict[str, Any]:
    return {"fingering": fingering.valves, "partial": fingering.partial, "cents": round(fingering.cents, 1)}


def _auxiliary(other: Auxiliary) -> dict[str, Any]:
    """The other note of an ornament, as read, and its fingering (None: out of reach)."""
    found = other.fingering
    return {
        "side": other.side,
        "reading": other.pitch.name,
        "fingering": found.valves if found else None,
        "cents_left": other.cents_left if found else None,
    }


def beat(measure: Measure, offset: float) -> float:
    """The beat (from 1, in the time signature's own beats) ``offset`` quarters into ``measure``."""
    return round(1 + (offset + measure.pickup) * measure.beat_type / 4, 3)


def _once(part: PlayedPart) -> Iterator[PlayedNote]:
    """What is done on every note of a part; a note that stands in two players' lines counts once."""
    seen: set[int] = set()
    for line in part.lines:
        for note, how in zip(line.line.notes, line.how, strict=True):
            if note.place not in seen:
                seen.add(note.place)
                yield how


def _summary(played: Sequence[PlayedPart], findings: Sequence[Finding]) -> dict[str, Any]:
    notes = [how for part in played for how in _once(part)]
    grades = Counter(how.crossing.grade for how in notes if how.crossing is not None)
    return {
        "parts": len(played),
        "lines": sum(len(part.lines) for part in played),
        "notes": len(notes),
        "crossings": {str(grade): grades.get(grade, 0) for grade in (1, 2, 3)},
        "out_of_range": sum(how.fingering is None for how in notes),
        "warnings": len(findings),
    }
