"""Trumpets as data, and the acoustics of their tubes.

One TOML file per trumpet in this folder; to add one, add a file.
"""

from __future__ import annotations

from annotator.instruments.catalogue import available, from_toml, load
from annotator.instruments.model import Combination, Instrument
from annotator.instruments.natural import natural_partial

__all__ = ["Combination", "Instrument", "available", "from_toml", "load", "natural_partial"]
