"""From positions in quarter notes to seconds: the tempo marks of a score as a clock.

Metronome marks rule, then what ``<sound tempo>`` says, then words (``tempo_words.toml``); a rit. or
accel. moves the tempo evenly over the quarters it covers. Words count quarters a minute whatever the
metre, as music21 takes them. The clock can say what it went by.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import expm1, log1p
from pathlib import Path
from typing import Any

from annotator.score.model import Tempo

_RANK = {"metronome": 0, "sound": 1, "words": 2}
_SLOWEST, _FASTEST = 5.0, 600.0


@dataclass(frozen=True, slots=True)
class TempoUsed:
    """A tempo the clock goes by: from ``position`` (quarters) on, ``quarters_per_minute``.

    ``source``: ``metronome``, ``sound``, ``words`` or ``default``; ``text`` the words, if any.
    ``until``: where a gradual change has reached ``target``; equal to ``position`` for a steady tempo.
    ``measure`` indexes the part's measures.
    """

    position: float
    measure: int
    quarters_per_minute: float
    source: str
    text: str = ""
    until: float = 0.0
    target: float = 0.0


@dataclass(frozen=True, slots=True)
class TempoMeaning:
    """What tempo words mean: ``kind`` is ``tempo`` (``value`` quarters a minute), ``gradual`` or
    ``at-once`` (``value`` multiplies the tempo in force), ``back`` or ``first``."""

    kind: str
    value: float = 0.0


def meaning(text: str) -> TempoMeaning | None:
    """What ``text`` says of the tempo, by the longest tempo word in it; None when nothing.

    A word for a tempo outweighs one for a change beside it ("Allegro, poco rit." is an Allegro).
    """
    folded = " ".join(text.lower().split())
    if not folded:
        return None
    pattern, meanings = _words()
    found = [meanings[match] for match in pattern.findall(folded)]
    if not found:
        return None
    return min(found, key=lambda item: item[0])[1]


class Clock:
    """Seconds at positions of a score.

    ``tempos`` as ``Score.tempos`` gives them, in any order; words without a meaning for the tempo
    are passed over, and after the beginning those for a tempo too unless they have a capital, as
    headings do (common practice, no source): "largamente" in mid-phrase is expression. Where several
    stand at one place the metronome mark counts, then the sound, then the words. ``used`` lists what
    the clock goes by.
    """

    def __init__(self, tempos: Iterable[Tempo] = ()) -> None:
        self.used: tuple[TempoUsed, ...] = tuple(_used(tempos))
        self._starts: list[float] = []
        self._pieces: list[tuple[float, float, float, float]] = []
        self._build()

    @property
    def source(self) -> str:
        """What the tempo comes from, the first source named first (``metronome, words``)."""
        return ", ".join(self.sources)

    @property
    def sources(self) -> tuple[str, ...]:
        """Each source in use once, in order of appearance; ``("default",)`` when nothing is marked."""
        return tuple(dict.fromkeys(tempo.source for tempo in self.used))

    @property
    def sentence(self) -> str:
        """What the clock goes by, for a person."""
        first = self.used[0]
        speed = f"quarter = {first.quarters_per_minute:g}"
        if self.sources == ("default",):
            return f"no tempo is marked: {speed} assumed"
        words = {
            "metronome": f"metronome mark, {speed}",
            "sound": f"playback tempo of the file, {speed}",
            "words": f"“{first.text}”, taken as {speed}",
            "default": f"{speed} assumed until the first mark",
        }[first.source]
        more = len(self.used) - 1
        return f"{words}{f', and {more} more tempo mark' if more else ''}{'s' if more > 1 else ''}"

    def seconds(self, position: float) -> float:
        """Seconds from the start of the score to ``position`` (quarters). O(log tempos)."""
        start, begin, pace, slope = self._pieces[max(0, bisect_right(self._starts, position) - 1)]
        quarters = position - start
        if slope == 0.0:
            return begin + quarters * pace
        # Tempo even in quarters: q(x) = q0 + k·x, so the time is 60/k · ln(1 + k·x / q0).
        return begin + 60.0 / slope * log1p(slope * quarters * pace / 60.0)

    def position(self, seconds: float) -> float:
        """The position (quarters) reached after ``seconds``: the inverse of ``seconds``."""
        begins = [piece[1] for piece in self._pieces]
        start, begin, pace, slope = self._pieces[max(0, bisect_right(begins, seconds) - 1)]
        if slope == 0.0:
            return start + (seconds - begin) / pace
        return start + expm1((seconds - begin) * slope / 60.0) * 60.0 / (slope * pace)

    def quarters_per_minute(self, position: float) -> float:
        """The tempo in force at ``position``."""
        start, _, pace, slope = self._pieces[max(0, bisect_right(self._starts, position) - 1)]
        return 60.0 / pace + slope * (position - start)

    def _build(self) -> None:
        """Pieces of the time line: (start in quarters, seconds there, seconds a quarter, slope)."""
        begin = 0.0
        start = min(0.0, self.used[0].position)
        marks = [*self.used]
        for index, tempo in enumerate(marks):
            end = marks[index + 1].position if index + 1 < len(marks) else None
            spans = [(max(start, tempo.position) if index else start, tempo.quarters_per_minute, 0.0)]
            if tempo.until > tempo.position:
                slope = (tempo.target - tempo.quarters_per_minute) / (tempo.until - tempo.position)
                spans = [(tempo.position, tempo.quarters_per_minute, slope)]
                if end is None or end > tempo.until:
                    spans.append((tempo.until, tempo.target, 0.0))
            for place, speed, slope in spans:
                if self._pieces:
                    begin = self.seconds(place)
                self._starts.append(place)
                self._pieces.append((place, begin, 60.0 / speed, slope))


def _used(tempos: Iterable[Tempo]) -> list[TempoUsed]:
    defaults = _table()["defaults"]
    marks: dict[float, tuple[Tempo, TempoMeaning | None]] = {}
    for tempo in sorted(tempos, key=lambda item: (item.position, _RANK.get(item.source, 3))):
        place = round(tempo.position, 6)
        speed = tempo.quarters_per_minute
        said = meaning(tempo.text) if tempo.text else None
        if speed is None or not 0.0 < speed < float("inf"):
            if said is None or place in marks or _is_expression(tempo, said):
                continue
            marks[place] = (tempo, said)
        elif place not in marks:
            marks[place] = (tempo, None)
    used: list[TempoUsed] = []
    speed = first = steady = float(defaults["quarters_per_minute"])
    ordered = sorted(marks.items())
    if not ordered or ordered[0][0] > 0.0:
        used.append(TempoUsed(0.0, 0, speed, "default"))
    known = False
    for index, (place, (tempo, said)) in enumerate(ordered):
        if said is None or said.kind == "tempo":
            value = tempo.quarters_per_minute if said is None else said.value
            speed = steady = _bounded(value or speed)
        elif said.kind == "gradual":
            until, target = _gradual(place, tempo.text, speed * said.value, ordered[index + 1 : index + 2])
            target = _bounded(target if (target - speed) * (said.value - 1) > 0 else speed * said.value)
            used.append(TempoUsed(place, tempo.measure, speed, "words", tempo.text, until, target))
            speed = target
            continue
        elif said.kind == "at-once":
            speed = steady = _bounded(speed * said.value)
        else:
            speed = steady = first if said.kind == "first" else steady
        if not known:
            first, known = speed, True
        used.append(TempoUsed(place, tempo.measure, speed, tempo.source, tempo.text, place, speed))
    return used


def _gradual(
    place: float, text: str, target: float, later: Sequence[tuple[float, tuple[Tempo, TempoMeaning | None]]]
) -> tuple[float, float]:
    """Where a gradual change ends, and at what tempo: that of the next mark if it goes all the way there."""
    quarters = float(_table()["defaults"]["gradual_quarters"])
    little_by_little = any(words in text.lower() for words in _table()["little-by-little"]["words"])
    if not later:
        return place + quarters * (2 if little_by_little else 1), target
    end, (tempo, said) = later[0]
    if end > place + quarters and not little_by_little:
        return place + quarters, target
    if said is not None:
        return end, said.value if said.kind == "tempo" else target
    return end, tempo.quarters_per_minute or target


def _is_expression(tempo: Tempo, said: TempoMeaning) -> bool:
    """Whether words in the course of the music ("largamente") only colour it: headings have a capital."""
    return said.kind == "tempo" and tempo.position > 0 and tempo.text.lstrip(" ([").islower()


def _bounded(speed: float) -> float:
    return min(_FASTEST, max(_SLOWEST, float(speed)))


@lru_cache(maxsize=1)
def _table() -> Mapping[str, Any]:
    with (Path(__file__).parent / "tempo_words.toml").open("rb") as file:
        return tomllib.load(file)


@lru_cache(maxsize=1)
def _words() -> tuple[re.Pattern[str], Mapping[str, tuple[int, TempoMeaning]]]:
    table = _table()
    meanings: dict[str, tuple[int, TempoMeaning]] = {}
    for rank, (section, kind) in enumerate(
        (("tempo", "tempo"), ("more", "tempo"), ("at-once", "at-once"), ("gradual", "gradual"))
    ):
        for word, value in table[section].items():
            meanings.setdefault(word, (min(rank, 1), TempoMeaning(kind, float(value))))
    for kind in ("back", "first"):
        for word in table[kind]["words"]:
            meanings[word] = (0, TempoMeaning(kind))
    longest_first = sorted(meanings, key=len, reverse=True)
    return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, longest_first))})(?!\w)"), {
        word: meanings[word] for word in longest_first
    }
