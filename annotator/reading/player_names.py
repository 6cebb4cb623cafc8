"""The players that a part's name speaks of."""

from __future__ import annotations

import re

_NUMBER = r"(?:\d+|IV|I{1,3})"
_SEVERAL = re.compile(rf"\b({_NUMBER})\.?\s*([,.+&/–-]|\b(?:e|et|u|und|and)\b\.?)\s*({_NUMBER})\b")
_ONE = re.compile(r"(?<!\w)(?:(\d+)|(IV|I{1,3})(?![^\W\d_]))")
_COUNTED = re.compile(r"\s*([2-9])\s+[^\W\d]")
_ROMAN = {"I": 1, "II": 2, "III": 3, "IV": 4}
_MOST = 8  # players on a staff; a larger number in a name is something else


def players_named(name: str) -> tuple[int, ...]:
    """The numbers of the players a part's name speaks of: (1, 2) for "Trumpets 1, 2" and "2 Trompeten", (2,)
    for "Trumpet 2"; none where it has no number."""
    several = _SEVERAL.search(name)
    if several is not None:
        first, last = (_ROMAN.get(word) or int(word) for word in (several[1], several[3]))
        if 0 < last - first < _MOST:
            return tuple(range(first, last + 1))
    counted = _COUNTED.match(name)
    if counted is not None:
        return tuple(range(1, int(counted[1]) + 1))
    found = [int(one[1]) if one[1] else _ROMAN[one[2]] for one in _ONE.finditer(name)]
    return tuple(dict.fromkeys(number for number in found if 0 < number <= _MOST)) or ((1,) if found else ())
