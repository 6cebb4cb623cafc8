"""Intervals in the words of players: "up a major third", "as written"."""

from __future__ import annotations

from functools import lru_cache

from annotator.pitch import STEP_SEMITONES, Interval

_NUMBERS = (
    "unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave",
    "ninth", "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth",
)  # fmt: skip
_PERFECT = {0, 3, 4}
_PLAIN = {(1, 2): "a tone", (1, 1): "a semitone", (0, 1): "a chromatic semitone"}


def _quality(steps: int, semitones: int) -> str:
    """``perfect``, ``major``, ``minor``, ``augmented`` … of an interval upwards."""
    octaves, step = divmod(steps, 7)
    excess = semitones - 12 * octaves - STEP_SEMITONES[step]
    if step in _PERFECT:
        names = {0: "perfect", 1: "augmented", -1: "diminished"}
    else:
        names = {0: "major", -1: "minor", 1: "augmented", -2: "diminished"}
    if excess in names:
        return names[excess]
    times = excess if excess > 0 else -excess - (step not in _PERFECT)
    return f"{times}-fold {'augmented' if excess > 0 else 'diminished'}"


def _article(words: str) -> str:
    return f"{'an' if words[0] in 'aeiou' else 'a'} {words}"


@lru_cache(maxsize=1024)
def in_words(interval: Interval) -> str:
    """The interval as a player says it; ``perfect`` is left out, seconds are tones and semitones."""
    steps, semitones = interval.diatonic, interval.chromatic
    if (steps, semitones) == (0, 0):
        return "as written"
    down = semitones < 0 or (semitones == 0 and steps < 0)
    if down:
        steps, semitones = -steps, -semitones
    direction = "down" if down else "up"
    if semitones == 0 or steps < 0:
        # An enharmonic change: the same key on the piano, or a step the other way.
        size = (
            "as it sounds" if semitones == 0 else f"{direction} {semitones} semitone{'s' * (semitones > 1)}"
        )
        by = (
            "on the same step"
            if steps == 0
            else f"{abs(steps)} step{'s' * (abs(steps) > 1)} {'lower' if (steps < 0) != down else 'higher'}"
        )
        return f"{size}, spelled {by}"
    if (steps, semitones) in _PLAIN:
        return f"{direction} {_PLAIN[steps, semitones]}"
    if steps >= len(_NUMBERS):
        octaves, rest = divmod(steps, 7)
        size = f"{octaves} octaves"
        if (rest, semitones - 12 * octaves) != (0, 0):
            size += f" and {_article(_simple(rest, semitones - 12 * octaves))}"
        return f"{direction} {size}"
    return f"{direction} {_article(_simple(steps, semitones))}"


def _simple(steps: int, semitones: int) -> str:
    quality = _quality(steps, semitones)
    return _NUMBERS[steps] if quality == "perfect" else f"{quality} {_NUMBERS[steps]}"
