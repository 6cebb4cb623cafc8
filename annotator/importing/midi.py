"""MIDI, which knows neither spelling nor notation: the key guesses the one, and roundings are said."""

from __future__ import annotations

from typing import Any

import music21

from annotator.findings import Finding
from annotator.keys import SHARP_ORDER
from annotator.pitch import STEP_INDEX, STEP_SEMITONES

# Written from the key's tonic along the line of fifths: three flatward for the flat 7th, 3rd and the fourth,
# eight sharpward for the scale and its raised degrees (in C: E♭ B♭ F C G D A E B F♯ C♯ G♯). Common practice.
_FLATWARD = -3
_GRID = (4, 3)  # music21 rounds onsets to sixteenths and to triplet eighths
_OFF = 1 / 24  # quarters from the grid that count as rounded


def _spelling(semitone: int, fifths: int) -> tuple[str, int]:
    """Step and alteration of a pitch class in a key of ``fifths`` sharps."""
    position = semitone * 7 % 12  # on the line of fifths from C, up to 12
    lowest = fifths + _FLATWARD
    position = lowest + (position - lowest) % 12
    # F is one fifth below C; seven fifths up is the same step a sharp higher.
    alter, index = divmod(position + 1, 7)
    return SHARP_ORDER[index], alter


def guess_spelling(score: Any) -> list[Finding]:
    """Spells every note by the key signature in force, or else by the key the notes suggest."""
    grounds: dict[str, list[str]] = {}
    for part in score.parts:
        signatures = [
            (float(each.getOffsetInHierarchy(part)), each.sharps)
            for each in part.recurse().getElementsByClass(music21.key.KeySignature)
        ]
        ground = "the key signature"
        if not signatures:
            key = part.analyze("key")
            signatures = [(0.0, key.sharps)]
            ground = f"{key.name.replace('-', '♭')}, which the notes suggest, there being no key signature"
        for note in part.recurse().notes:
            offset = float(note.getOffsetInHierarchy(part))
            fifths = next((each for at, each in reversed(signatures) if at <= offset), signatures[0][1])
            for pitch in note.pitches:
                _spell(pitch, fifths)
        grounds.setdefault(ground, []).append(part.partName or "a part without name")
    message = "MIDI has no spelling; it was guessed: " + "; ".join(
        f"{', '.join(dict.fromkeys(names))} by {ground}" for ground, names in grounds.items()
    )
    return [Finding("spelling-guessed", message)]


def _spell(pitch: Any, fifths: int) -> None:
    sound = int(pitch.midi)
    step, alter = _spelling(sound % 12, fifths)
    natural = STEP_SEMITONES[STEP_INDEX[step]]
    pitch.step = step
    pitch.accidental = music21.pitch.Accidental(alter) if alter else None
    pitch.octave = (sound - natural - alter) // 12 - 1
    pitch.spellingIsInferred = True


def midi_findings(data: bytes, kept: int) -> list[Finding]:
    """What a MIDI file cannot say, notes whose rhythm was rounded, and notes not among the ``kept`` ones."""
    findings = [
        Finding(
            "import-lost",
            "MIDI has no slurs, articulations, written dynamics or beams; lengths and rests are as played",
        )
    ]
    midi = music21.midi.MidiFile()
    midi.readstr(data)
    rounded = notes = 0
    for track in midi.tracks:
        time = 0
        for event in track.events:
            if event.isDeltaTime():
                time += event.time
            elif event.isNoteOn() and event.velocity:
                notes += 1
                quarters = time / midi.ticksPerQuarterNote
                rounded += min(abs(quarters * grid - round(quarters * grid)) / grid for grid in _GRID) > _OFF
    if rounded:
        findings.append(
            Finding(
                "import-rounded",
                f"{rounded} of {notes} notes begin off the grid of sixteenths and triplets; they were moved",
            )
        )
    if kept != notes:
        findings.append(
            Finding("import-notes", f"the MIDI file has {notes} notes, the import {kept}; compare them")
        )
    return findings
