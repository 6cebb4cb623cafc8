"""What is ours in a score's text, and the text without it.

Every insertion stands between two processing instructions, which all readers of XML ignore; taking
out what is between them gives the original text back, character for character.
"""

from __future__ import annotations

import re

BEGIN = "<?crookline begin?>"
END = "<?crookline end?>"

_OURS = re.compile(re.escape(BEGIN) + ".*?" + re.escape(END), re.DOTALL)


def without_marks(text: str) -> str:
    """``text`` as it was before any marks were put in."""
    return _OURS.sub("", text) if BEGIN in text else text
