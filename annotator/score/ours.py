"""What is ours in a score's text, and the text without it.

Every insertion stands between two processing instructions, which all readers of XML ignore, and the
first of them says which kind of mark it is; taking out what is between them gives the original text
back, character for character.

A notation program that opens a file and saves it again drops processing instructions. So the marks also
carry signs that nobody sees and that were tried to survive: ``SIGN`` behind words and in the cue part's
abbreviation, the last bits of a lyric's colour and the last decimals of its size (some programs keep the one,
some the other), and for the fingerings, which keep nothing but their text, a record among the file's sources
(``record.py``). ``resaved.py`` finds them again.
"""

from __future__ import annotations

import re
from collections.abc import Collection

TARGET = "crookline"
BEGIN = "<?crookline begin"
END = "<?crookline end?>"

SIGN = "\u2060"
"""WORD JOINER (Unicode), which has no width and is drawn by no program."""
SIGN_REFERENCE = "&#8288;"
"""The same as a character reference, so that a file of plain ASCII stays one."""
RECORD = "crookline-marks:"
"""What a record of fingerings begins with, among other text."""

# An insertion of before there were kinds has none.
_INSTRUCTION = re.compile(r"<\?crookline (?:begin(?: ([a-z]+))?|(end))\?>")
# The last three bits of red, green and blue: no eye sees them.
_SIGNED = {"partial": (1, 3, 5), "intonation": (1, 3, 6)}
# The second to the fourth decimal of a size in points.
_DECIMALS = {"partial": "313", "intonation": "717"}


def begin(kind: str) -> str:
    """The sign before an insertion for a mark of this kind (a word of ``Options.mark``)."""
    return f"{BEGIN} {kind}?>"


def kind_begun(instruction: str) -> str:
    """The kind a processing instruction's content (``begin cue``) begins, "" when it begins none."""
    first, _, kind = instruction.partition(" ")
    return kind.strip() if first == "begin" else ""


def between_signs(text: str, kinds: Collection[str] = ()) -> str:
    """``text`` without what stands between our processing instructions; of ``kinds`` only, if given."""
    if BEGIN not in text:
        return text
    pieces: list[str] = []
    done = 0
    for start, end in _insertions(text, kinds):
        pieces.append(text[done:start])
        done = end
    pieces.append(text[done:])
    return "".join(pieces)


def _insertions(text: str, kinds: Collection[str]) -> list[tuple[int, int]]:
    """Where what we put in stands: from each beginning to the end that answers it, the outermost ones.

    A beginning without an end or an end without a beginning is no sign of ours and stays.
    """
    found: list[tuple[int, int]] = []
    open_: list[tuple[int, str | None]] = []
    for sign in _INSTRUCTION.finditer(text):
        kind, ends = sign.groups()
        if not ends:
            open_.append((sign.start(), kind))
        elif open_:
            start, kind = open_.pop()
            if not kinds or kind in kinds:
                while found and found[-1][0] > start:
                    found.pop()
                found.append((start, sign.end()))
    return found


def without_signs(text: str) -> str:
    """``text`` without any sign of ours, what stands between them left."""
    return _INSTRUCTION.sub("", text) if f"<?{TARGET}" in text else text


def signed_colour(colour: str, kind: str) -> str:
    """``colour`` (``#rrggbb``), as good as unchanged, that says its lyric is a mark of this kind."""
    channels = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return "#" + "".join(
        f"{value & ~7 | bits:02X}" for value, bits in zip(channels, _SIGNED[kind], strict=True)
    )


def kind_of_colour(colour: str) -> str:
    """The kind of mark that a lyric's ``colour`` (``rrggbb``) says it is, "" when it says nothing."""
    bits = tuple(int(colour[place : place + 2], 16) & 7 for place in (0, 2, 4))
    return next((kind for kind, signed in _SIGNED.items() if signed == bits), "")


def signed_size(size: float, kind: str) -> str:
    """``size`` in points, to the tenth, that says its lyric is a mark of this kind."""
    return f"{size:.1f}{_DECIMALS[kind]}"


def kind_of_size(size: str) -> str:
    """The kind of mark that a lyric's font size says it is, "" when it says nothing."""
    decimals = size.partition(".")[2]
    return next((kind for kind, signed in _DECIMALS.items() if decimals[1:] == signed), "")
