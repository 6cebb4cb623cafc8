"""Fingerings: the ways to play a note, what a crossing costs, and the plan over a line."""

from __future__ import annotations

from annotator.fingering.candidates import candidates, usual
from annotator.fingering.model import Auxiliary, Crossing, Fingering, PlayedNote, ReadNote
from annotator.fingering.planner import plan

__all__ = [
    "Auxiliary",
    "Crossing",
    "Fingering",
    "PlayedNote",
    "ReadNote",
    "candidates",
    "plan",
    "usual",
]
