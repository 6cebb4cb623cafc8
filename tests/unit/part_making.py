"""Parts built by hand for the tests of reading: 4/4, four quarters a measure."""

from __future__ import annotations

from collections.abc import Sequence

from annotator.pitch import Interval, Pitch
from annotator.score.model import Clef, Key, Line, Measure, Note, Part, Sound, Transposition, Words


def part(
    music: str = "C5 D5 E5 G5",
    *,
    name: str = "Trumpet",
    abbreviation: str = "",
    instrument_names: Sequence[str] = (),
    headings: Sequence[str] = (),
    transposes: Sequence[tuple[int, tuple[int, int]]] = (),
    words: Sequence[tuple[float, str]] = (),
    keys: Sequence[tuple[int, int]] = (),
    sounds: Sequence[tuple[int, str]] = (),
    clefs: Sequence[tuple[float, str]] = (),
    lines: int = 1,
) -> Part:
    """A part whose ``music`` is quarters: pitch names, ``-`` for a rest, ``|`` between measures for the eye.

    ``transposes``, ``keys`` and ``sounds`` stand at the beginning of measures (numbered from 1);
    ``words`` and ``clefs`` at a measure plus quarters divided by four: 3.5 is the third quarter of measure 3.
    """
    notes = []
    beats = [token for token in music.split() if token != "|"]
    for place, token in enumerate(beats):
        if token != "-":
            notes.append(
                Note(
                    place, place, Pitch.parse(token), place // 4, offset=place % 4, onset=place, duration=1.0
                )
            )
    measures = tuple(
        Measure(str(number + 1), 4.0 * number, 4.0) for number in range(max(1, -(-len(beats) // 4)))
    )
    return Part(
        id="P1",
        name=name,
        abbreviation=abbreviation,
        instrument_names=tuple(instrument_names),
        headings=tuple(headings),
        measures=measures,
        lines=tuple(Line(number + 1, "1", 1, number, tuple(notes)) for number in range(lines)),
        keys=tuple(Key(4.0 * (measure - 1), measure - 1, fifths) for measure, fifths in keys),
        transpositions=tuple(
            Transposition(4.0 * (measure - 1), measure - 1, Interval(*interval))
            for measure, interval in transposes
        ),
        words=tuple(Words(4 * (at - 1), int(at) - 1, text) for at, text in words),
        sounds=tuple(Sound(4.0 * (measure - 1), measure - 1, sound) for measure, sound in sounds),
        clefs=tuple(Clef(4 * (at - 1), int(at) - 1, sign, 4 if sign == "F" else 2) for at, sign in clefs),
    )
