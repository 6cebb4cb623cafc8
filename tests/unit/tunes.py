"""Small parts in which a beat is a second, for the tests of what is played how long."""

from __future__ import annotations

from pathlib import Path

DEMO_FOLDER = Path(__file__).parents[2] / "demo_scores"
DEMO = sorted([*DEMO_FOLDER.glob("*.musicxml"), *DEMO_FOLDER.glob("*.mxl")])


def demo(number: str) -> Path:
    """The demo score whose name begins with this number."""
    return next(path for path in DEMO if path.name.startswith(number))


def tune(notes: str, *, head: str = "", measures: int = 1) -> bytes:
    """A part of one measure of 4/4 at a quarter of 60 (a beat a second), repeated as often as asked."""
    attributes = (
        "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
        '<direction><direction-type><words>Slow</words></direction-type><sound tempo="60"/></direction>'
    )
    inside = "".join(
        f'<measure number="{number}">{attributes + head if number == 1 else ""}{notes}</measure>'
        for number in range(1, measures + 1)
    )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Trumpet</part-name>'
        f'</score-part></part-list><part id="P1">{inside}</part></score-partwise>'
    ).encode()


def note(pitch: str, beats: int = 1) -> str:
    return (
        f"<note><pitch><step>{pitch[0]}</step><octave>{pitch[1]}</octave></pitch>"
        f"<duration>{beats}</duration><voice>1</voice></note>"
    )


def rest(beats: int = 1) -> str:
    return f"<note><rest/><duration>{beats}</duration><voice>1</voice></note>"


def dynamic(mark: str) -> str:
    return f"<direction><direction-type><dynamics><{mark}/></dynamics></direction-type></direction>"
