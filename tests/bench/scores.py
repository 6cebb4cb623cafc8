"""Parts of any length: a demo part with its measures repeated."""

from __future__ import annotations

import re
from pathlib import Path

DEMO = Path(__file__).parents[2] / "demo_scores"
_MEASURES = re.compile(r"<measure\b.*</measure>", re.DOTALL)
_ATTRIBUTES = re.compile(r"<attributes>.*?</attributes>", re.DOTALL)


def part_of(notes: int, name: str = "01_weir_keeper_overture_trumpet_1_in_E.musicxml") -> bytes:
    """The demo part ``name`` made about ``notes`` notes long (rests not counted), as UTF-8."""
    text = (DEMO / name).read_text("utf-8")
    music = _MEASURES.search(text)
    assert music is not None
    once = len(re.findall(r"<pitch>", music.group(0)))
    again = _ATTRIBUTES.sub("", music.group(0), count=1)
    times = max(1, round(notes / once))
    whole = music.group(0) + f"\n{again}" * (times - 1)
    return (text[: music.start()] + whole + text[music.end() :]).encode()


def pitched(data: bytes) -> int:
    return data.count(b"<pitch>")
