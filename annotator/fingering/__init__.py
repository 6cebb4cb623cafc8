"""Fingerings: the ways to play a note, what a crossing costs, and the plan over a line."""

from __future__ import annotations

from annotator.fingering.alternatives import OtherPlan, second_best
from annotator.fingering.candidates import candidates, usual
from annotator.fingering.model import Auxiliary, Crossing, Fingering, PlayedNote, ReadNote
from annotator.fingering.planner import plan
from annotator.fingering.profile import Profile, available_profiles, load_profile, profile_from_toml

__all__ = [
    "Auxiliary",
    "Crossing",
    "Fingering",
    "OtherPlan",
    "PlayedNote",
    "Profile",
    "ReadNote",
    "available_profiles",
    "candidates",
    "load_profile",
    "plan",
    "profile_from_toml",
    "second_best",
    "usual",
]
