"""From a line of notes to what the player does on each."""

from __future__ import annotations

from collections.abc import Sequence

from annotator.fingering.candidates import candidates, out_of_reach
from annotator.fingering.model import Crossing, Fingering, PlayedNote, ReadNote
from annotator.instruments import Instrument


def plan(
    notes: Sequence[ReadNote], instrument: Instrument, profile: str = "orchestral"
) -> tuple[PlayedNote, ...]:
    """What to do on each of ``notes``, in order."""
    played = []
    before: tuple[ReadNote, Fingering] | None = None
    for note in notes:
        found = candidates(note.pitch.semitone, instrument)
        if not found:
            played.append(PlayedNote(None, why=out_of_reach(note.pitch.semitone, instrument)))
            before = None
            continue
        crossing = None
        if before is not None and note.joined:
            crossing = _crossing(before[1], found[0], note.onset - before[0].onset, note.slurred)
        played.append(PlayedNote(found[0], found[1:], crossing))
        before = (note, found[0])
    return tuple(played)


def _crossing(left: Fingering, reached: Fingering, seconds: float, slurred: bool) -> Crossing | None:
    before, after = set(left.valves) - {"0", "-"}, set(reached.valves) - {"0", "-"}
    down, up = after - before, before - after
    rise = reached.partial - left.partial
    weight, reasons, short = 0.0, [], ""
    if down and up:
        weight += 1.0 if "3" in down | up else 0.4
        reasons.append("finger exchange")
        short = "swap"
    if slurred and rise * (len(down) - len(up)) > 0:
        weight += 0.4
        reasons.append("contrary motion")
        short = short or "contrary"
    if slurred and abs(rise) > 1:
        weight += 0.5
        reasons.append("partial skip")
        short = short or "skip"
    if slurred and abs(rise) == 1 and before == after:
        weight += 0.6
        reasons.append("lip slur")
        short = short or "lip"
    load = weight * 0.125 / max(seconds, 0.03)
    if load < 0.9:
        return None
    grade = 1 if load < 1.5 else 2 if load < 2.5 else 3
    sentence = f"{left.valves} to {reached.valves} in {seconds:.2f} s: {' and '.join(reasons)}"
    return Crossing(grade, tuple(reasons), sentence, None, short, round(load, 2))
