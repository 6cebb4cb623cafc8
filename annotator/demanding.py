"""What a part's lines ask for besides crossings, found with what else the part says: dynamics, mutes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from annotator.change_times import MUTE_IN, MUTE_OUT, needs
from annotator.fingering.demands import Demand, demands
from annotator.fingering.model import PlayedNote, ReadNote
from annotator.instruments import Instrument
from annotator.reading.changes import read_words
from annotator.score.loudness import Loudness
from annotator.score.model import Line, Part


def with_demands(
    part: Part,
    line: Line,
    read: Sequence[ReadNote],
    how: Sequence[PlayedNote],
    *,
    instrument: Instrument,
    loudness: Loudness,
) -> tuple[PlayedNote, ...]:
    """``how`` with the demands of the line, each on its first note."""
    first = min((head.place for each in part.lines for head in each.notes[:1]), default=0)
    found = [
        *demands(read, instrument, lambda index: loudness.level(line.notes[index].place, first)),
        *_mutes(part, line, read),
    ]
    told = list(how)
    for each in found:
        told[each.first] = replace(told[each.first], demands=(*told[each.first].demands, each))
    return tuple(told)


def _mutes(part: Part, line: Line, read: Sequence[ReadNote]) -> Iterator[Demand]:
    """Places where the mute goes in or out with too little rest."""
    muted = False
    for words in part.words:
        kind = {"in": MUTE_IN, "out": MUTE_OUT}.get(read_words(words.text).mute)
        if kind is None or muted == (kind == MUTE_IN):
            continue  # "open" speaks of something else where no mute is in
        muted = kind == MUTE_IN
        after = next((n for n, note in enumerate(line.notes) if note.onset >= words.position - 1e-6), None)
        if not after:
            continue
        rest = read[after].onset - read[after - 1].onset - read[after - 1].duration
        if rest < needs()[kind].seconds:
            yield Demand("mute", after, after, round(max(0.0, rest), 1), name=" ".join(words.text.split()))
