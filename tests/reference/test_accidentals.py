"""Printed accidentals against music21's, which has its own reading of the engraver's rules.

Both must print every accidental a reader needs. They may differ in courtesy ones: music21 prints more of
them (it repeats an accidental within a bar when another note came between).
"""

from __future__ import annotations

from typing import Any

import music21 as untyped
from hypothesis import given
from hypothesis import strategies as st

from annotator.pitch import STEPS, Pitch
from annotator.reading.accidentals import Staff, accidentals

pitches = st.builds(Pitch, st.sampled_from(STEPS), st.integers(-1, 1), st.integers(4, 5))
narrow = st.builds(Pitch, st.sampled_from("FB"), st.integers(-1, 1), st.integers(4, 5))
bars = st.lists(st.lists(st.one_of(pitches, narrow), min_size=1, max_size=6), min_size=1, max_size=5)

music21: Any = untyped  # its streams carry no types


def theirs(bars: list[list[Pitch]], fifths: int) -> list[list[bool]]:
    part = music21.stream.Part()
    for number, bar in enumerate(bars):
        measure = music21.stream.Measure(number=number + 1)
        if number == 0:
            measure.append(music21.key.KeySignature(fifths))
        for pitch in bar:
            measure.append(music21.note.Note(pitch.name.replace("b", "-")))
        part.append(measure)
    music21.stream.makeNotation.makeAccidentalsInMeasureStream(part, overrideStatus=True)
    return [
        [
            note.pitch.accidental is not None and bool(note.pitch.accidental.displayStatus)
            for note in measure.getElementsByClass(music21.note.Note)
        ]
        for measure in part.getElementsByClass(music21.stream.Measure)
    ]


@given(bars, st.integers(-4, 4))
def test_what_must_be_printed_is(bars: list[list[Pitch]], fifths: int) -> None:
    staff = Staff()
    ours = [accidentals([(pitch, False) for pitch in bar], fifths, staff) for bar in bars]
    for bar, signs, printed in zip(bars, ours, theirs(bars, fifths), strict=True):
        for pitch, sign, shown in zip(bar, signs, printed, strict=True):
            if sign is not None and not sign.cautionary:
                assert shown, (pitch.name, bar)
