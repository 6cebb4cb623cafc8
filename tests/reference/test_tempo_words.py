"""Tempo words against music21's table (music21.tempo.defaultTempoValues, BSD 3-Clause)."""

from __future__ import annotations

import tomllib
from pathlib import Path

import annotator
from annotator.timing import meaning


def test_the_table_is_music21s() -> None:
    from music21.tempo import defaultTempoValues

    text = (Path(annotator.__file__).parent / "tempo_words.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text)["tempo"] == defaultTempoValues


def test_every_word_means_its_value() -> None:
    from music21.tempo import defaultTempoValues

    for word, value in defaultTempoValues.items():
        for text in (word, word.title(), f"{word.capitalize()}, dolce"):
            found = meaning(text)
            assert found is not None, text
            assert (found.kind, found.value) == ("tempo", value), text
