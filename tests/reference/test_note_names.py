"""Names of notes against music21's: ``Pitch.german``, ``.italian``, ``.french``, ``.spanish``."""

from __future__ import annotations

import music21
import pytest

from annotator.reading import CROOKS, Crook
from annotator.reading.changes import read_change
from annotator.reading.names import read_heading

HEADINGS = {
    "german": ("Trompete in {}", "umstimmen in {}", "nach {} umstimmen"),
    "italian": ("Tromba in {}", "muta in {}", "Trombe I e II in {}"),
    "french": ("Trompette en {}", "changez en {}", "prenez la trompette en {}"),
    "spanish": ("Trompeta en {}", "cambia a {}", "cambiar a trompeta en {}"),
}
USUAL = [crook for crook in CROOKS if not crook.register]


@pytest.mark.parametrize("language", HEADINGS)
@pytest.mark.parametrize("crook", USUAL, ids=lambda crook: crook.id)
def test_notes_are_called_as_music21_calls_them(language: str, crook: Crook) -> None:
    pitch = music21.pitch.Pitch(crook.step + "#" * crook.alter + "-" * -crook.alter)
    name = getattr(pitch, language)
    for cased in (name, name.capitalize(), name.upper()):
        for pattern in HEADINGS[language]:
            text = pattern.format(cased)
            change, heading = read_change(text), read_heading(text)
            named = heading if heading is not None else change.named if change is not None else None
            assert named is not None, text
            assert named.crook == crook, text
