"""The words of words.toml as regular expressions over normalised text, built once."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable
from pathlib import Path
from typing import Any

TABLE: dict[str, Any] = tomllib.loads(Path(__file__).with_name("words.toml").read_text("utf-8"))

# Signs that part headings carry in several codings: SMuFL's accidentals (E260–E262), ordinal signs,
# the many hyphens and spaces.
_SIGNS = str.maketrans(
    {
        "\ue260": "♭",
        "\ue261": "♮",
        "\ue262": "♯",
        "ª": " ",
        "º": " ",
        "°": " ",
        "_": " ",
        "\u00a0": " ",
        "\u202f": " ",
        "‐": "-",
        "‑": "-",
        "‒": "-",
        "–": "-",
        "—": "-",
        "−": "-",
        "’": "'",
        "ß": "ss",
        "\u200b": "",
        "\ufeff": "",
    }
)
_MARKS = "♭♮♯"
LONGEST = 240  # characters looked at: longer texts are prefaces, not headings


def normalise(text: str) -> str:
    """Lower case, no accents (é → e), one space between words; ♭ ♯ ♮ kept."""
    text = text[: 4 * LONGEST]
    if text.isascii():
        return " ".join(text.replace("_", " ").lower().split())[:LONGEST]
    text = text.translate(_SIGNS)
    text = "".join(
        char for char in unicodedata.normalize("NFKD", text) if not unicodedata.combining(char)
    ).casefold()
    return " ".join(text.split())[:LONGEST]


def alternation(words: Iterable[str]) -> str:
    """A regular expression matching any of ``words``, the longest first."""
    ordered = sorted(set(words), key=lambda word: (-len(word), word))
    return "|".join(r"[\s-]+".join(re.escape(piece) for piece in word.split()) for word in ordered)


def whole_word(words: Iterable[str]) -> str:
    """As ``alternation``, matching whole words, with the dot of an abbreviation."""
    return rf"(?<![a-z])(?:{alternation(words)})(?![a-z])\.?"


_ACCIDENTALS = alternation(word for words in TABLE["accidentals"].values() for word in words)

# A note's name: after a compound (Es, As) no accidental, after any other perhaps one. It ends where
# no letter or sign follows, and it is no key of a piece ("in E flat major").
NOTE = (
    rf"(?P<note>(?:(?P<compound>{alternation(TABLE['compounds'])})"
    rf"|(?P<base>{alternation(TABLE['notes'])})(?:[\s-]*(?P<accidental>{_ACCIDENTALS})\.?)?)"
    rf"(?![a-z{_MARKS}#])(?![\s-]*{whole_word(TABLE['modes']['words'])}))"
)

FAMILY_OF: dict[str, str] = {
    " ".join(re.split(r"[\s-]+", word)): family
    for group in ("instruments", "short")
    for family, words in TABLE[group].items()
    for word in words
}
_REGISTERS = [word for words in TABLE["registers"].values() for word in words]
REGISTER = rf"(?>(?:{alternation(_REGISTERS)})\.?[\s-]*)"
_PREPOSITIONS = alternation(TABLE["prepositions"]["words"])
PREPOSITION = rf"(?:{_PREPOSITIONS})[\s.:]*(?:{REGISTER})?"
# An instrument's name ends where no letter follows, or where "in" does without a space.
_GLUED = rf"(?=(?:{_PREPOSITIONS})(?:[\s-]|{alternation(TABLE['notes'])}|{alternation(TABLE['compounds'])}))"
INSTRUMENT = (
    rf"(?<![a-z])(?P<register>{REGISTER}*)"
    rf"(?P<instrument>{alternation(FAMILY_OF)})(?:(?![a-z])|{_GLUED})\.?"
)
# Every piece is atomic (?>…): text is cut up in one way only, so no text takes exponential time.
BETWEEN = (
    r"(?>"
    r"\d++(?:st|nd|rd|th|ere|er|re|eme|e|a|o|ma|da|za|ta|mo|do|to)?+(?![a-z])"
    r"|(?<![a-z])[ivx]++(?:a|o|e)?+(?![a-z])"
    rf"|{whole_word([*TABLE['between']['words'], *_REGISTERS])}"
    r"|[\s.,:;/&+()\[\]-])*"
)
# No text without one of these names an instrument or a crook; most words in a part have none.
TRIGGER = re.compile(
    r"(?<![a-z])(?:"
    + alternation(
        [
            *FAMILY_OF,
            *_REGISTERS,
            *TABLE["prepositions"]["words"],
            *TABLE["piccolo"]["words"],
            *TABLE["changes"]["announces"],
            *TABLE["changes"]["alone"],
        ]
    )
    + ")"
)
