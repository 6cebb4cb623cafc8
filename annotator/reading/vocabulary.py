"""The words of words.toml, and text folded so that it can be compared with them."""

from __future__ import annotations

import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

FAMILIES = ("trumpet", "cornet", "flugelhorn", "posthorn")
# Rows whose entries end with a value: "ut C", "erste 1".
_VALUED = {"notes", "letters", "ordinal", "count"}
_NO_LANGUAGE = {"usual", "sounds"}
_NO_WORDS = {"name", "source"}

# Signs that headings carry in several codings: SMuFL's accidentals (U+E260 and following, those for
# chord symbols and figured bass, the small ones of its text fonts; from memory), ordinal signs, the many
# hyphens and spaces, and what takes no room.
_SIGNS = str.maketrans(
    {
        **dict.fromkeys("\ue260\ued60\uea64\ue9e0\ue9e1\ue9e4\uf427", "♭"),
        **dict.fromkeys("\ue261\ued61\uea65\ue9e2\ue9e5\uf428", "♮"),
        **dict.fromkeys("\ue262\ued62\uea66\ue9e3\ue9e6\uf429\uff03\ufe5f", "♯"),
        **dict.fromkeys("ªº°", "°"),
        **dict.fromkeys("_\u00a0\u202f\u2007\u2009\u3000", " "),
        **dict.fromkeys("‐‑‒–—−－", "-"),
        **dict.fromkeys("’‘ʼ′", "'"),
        **dict.fromkeys("（［【", "("),
        **dict.fromkeys("）］】", ")"),
        "ß": "ss",
        "ł": "l",
        "Ł": "L",
        "ø": "o",
        "Ø": "O",
        "đ": "d",
        "Đ": "D",
        "æ": "ae",
        "œ": "oe",
        "ı": "i",
        "№": "no ",
        "・": " ",
        **dict.fromkeys("\u00ad\u200b\u200c\u200d\u200e\u200f\u2060\ufe0e\ufe0f\ufeff", ""),
    }
)
_JOINERS = str.maketrans("-'", "  ")
LONGEST = 240  # characters looked at: longer texts are prefaces, not headings


def fold(text: str) -> tuple[str, list[int]]:
    """``text`` in lower case without accents (é is e), and for each character where it stood.

    ♭ ♯ ♮ are kept, whatever coding they came in.
    """
    text = text[: 4 * LONGEST]
    if text.isascii():
        return text.lower(), list(range(len(text)))
    folded: list[str] = []
    where: list[int] = []
    for at, char in enumerate(text):
        if char.isascii():
            folded.append(char.lower())
            where.append(at)
            continue
        for piece in unicodedata.normalize("NFKD", char.translate(_SIGNS)):
            if not unicodedata.combining(piece):
                for letter in piece.casefold():
                    folded.append(letter)
                    where.append(at)
    return "".join(folded), where


def normalise(text: str) -> str:
    """``text`` folded, with one space between words."""
    return " ".join(fold(text)[0].split())[:LONGEST]


@dataclass(slots=True)
class Word:
    """What a word or phrase can be: for each class (a row's name) its value and the languages that say so."""

    values: dict[str, str] = field(default_factory=dict)
    languages: dict[str, frozenset[str]] = field(default_factory=dict)

    def add(self, kind: str, value: str, languages: frozenset[str]) -> None:
        if kind in self.values:
            self.languages[kind] |= languages
        else:
            self.values[kind] = value
            self.languages[kind] = languages


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """All words: ``phrases`` by their pieces, ``longest`` the most pieces of those that begin with a piece.

    ``endings``: the last part of a compound and the family it makes it; ``unspaced`` the longest word, in
    characters, of the scripts that put no spaces between words.
    """

    phrases: Mapping[tuple[str, ...], Word]
    longest: Mapping[str, int]
    endings: Mapping[str, str]
    unspaced: int

    def word(self, text: str) -> Word | None:
        """The entry of a single word."""
        return self.phrases.get((text,))


@lru_cache(maxsize=1)
def table() -> dict[str, Any]:
    """words.toml as it stands."""
    found: dict[str, Any] = tomllib.loads(Path(__file__).with_name("words.toml").read_text("utf-8"))
    return found


@lru_cache(maxsize=1)
def vocabulary() -> Vocabulary:
    """The words of all languages."""
    phrases: dict[tuple[str, ...], Word] = {}
    longest: dict[str, int] = {}
    endings: dict[str, str] = {}
    for language, rows in table().items():
        if language in _NO_LANGUAGE:
            continue
        spoken = frozenset((language,))
        for kind, row in rows.items():
            if kind in _NO_WORDS:
                continue
            if kind.startswith("ending_"):
                endings.update((pieces[0], value) for pieces, value in _entries(kind, row))
                continue
            for pieces, value in _entries(kind, row):
                word = phrases.get(pieces)
                if word is None:
                    phrases[pieces] = Word({kind: value}, {kind: spoken})
                    if len(pieces) > longest.get(pieces[0], 0):
                        longest[pieces[0]] = len(pieces)
                else:
                    word.add(kind, value, spoken)
    unspaced = max((len(first) for first in longest if first > "\u1100"), default=1)
    return Vocabulary(phrases, longest, endings, unspaced)


def _entries(kind: str, row: str) -> list[tuple[tuple[str, ...], str]]:
    entries = [tuple(entry.split()) for entry in _plain(row).split(",")]
    if kind in _VALUED:
        return [(pieces[:-1], pieces[-1].capitalize()) for pieces in entries]
    value = kind.rpartition("_")[2]
    return [(pieces, value) for pieces in entries]


def _plain(row: str) -> str:
    """A row folded as texts are, with blanks for what joins the words of an entry."""
    if not row.isascii():
        letters = unicodedata.normalize("NFKD", row.translate(_SIGNS))
        row = "".join(
            [char for char in letters if char.isascii() or not unicodedata.combining(char)]
        ).casefold()
    return row.lower().translate(_JOINERS)
