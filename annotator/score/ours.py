"""What is ours in a score's text, and the text without it.

Every insertion stands between two processing instructions, which all readers of XML ignore, and the
first of them says which kind of mark it is; taking out what is between them gives the original text
back, character for character.
"""

from __future__ import annotations

import re
from collections.abc import Collection

TARGET = "crookline"
BEGIN = "<?crookline begin"
END = "<?crookline end?>"

# An insertion of before there were kinds has none.
_OURS = re.compile(r"<\?crookline begin(?: ([a-z]+))?\?>.*?<\?crookline end\?>", re.DOTALL)


def begin(kind: str) -> str:
    """The sign before an insertion for a mark of this kind (a word of ``Options.mark``)."""
    return f"{BEGIN} {kind}?>"


def kind_begun(instruction: str) -> str:
    """The kind a processing instruction's content (``begin cue``) begins, "" when it begins none."""
    first, _, kind = instruction.partition(" ")
    return kind.strip() if first == "begin" else ""


def without_marks(text: str, kinds: Collection[str] = ()) -> str:
    """``text`` as it was before any marks were put in; with ``kinds``, without these only."""
    if BEGIN not in text:
        return text
    if not kinds:
        return _OURS.sub("", text)
    return _OURS.sub(lambda found: "" if found.group(1) in kinds else found.group(), text)
