"""A score-timewise text turned into score-partwise, which every program reads.

The two hold the same, nested otherwise (MusicXML 4.0): a measure of all parts, or a part of all measures.
"""

from __future__ import annotations

import re

from annotator.score.places import Places, elements_only, find_places

_ROOT = re.compile(r"<(/?)score-timewise(?=[\s>])")
_DOCTYPE = re.compile(
    r"(<!DOCTYPE\s+)score-timewise(\s+PUBLIC\s+[\"']-//Recordare//DTD MusicXML [0-9.]+ )Timewise"
    r"(//EN[\"']\s+[\"'][^\"']*?)timewise(\.dtd[\"']\s*>)"
)
_PLAIN_DOCTYPE = re.compile(r"(<!DOCTYPE\s+)score-timewise\b")
_MEASURE = re.compile(r"""<measure(?=[\s>])(?:[^>"']|"[^"]*"|'[^']*')*>""")
_ID = re.compile(r"""\bid\s*=\s*(?:"([^"]*)"|'([^']*)')""")


def is_timewise(text: str) -> bool:
    """Whether the score's text is score-timewise."""
    return "<score-timewise" in text and _ROOT.search(elements_only(text)) is not None


def as_partwise(text: str) -> str:
    """The text of a score-timewise score as score-partwise; the notes' own text stays as it was."""
    places: Places = find_places(text)
    clean = elements_only(text)
    measures = [
        (found.start(), found.end(), found.group())
        for found in _MEASURE.finditer(clean)
        if not found.group().endswith("/>")
    ]
    parts: dict[str, list[str]] = {}
    starts = iter(measures)
    current = next(starts, None)
    following = next(starts, None)
    for part in places.parts:
        while following is not None and following[0] < part.start:
            current, following = following, next(starts, None)
        named = _ID.search(text, part.start, part.opened)
        part_id = (named[1] or named[2] or "") if named is not None else ""
        closing = clean.rfind("</part", part.opened, part.end)
        inside = text[part.opened : closing] if closing >= 0 else ""
        opening = current[2] if current is not None else "<measure>"
        parts.setdefault(part_id, []).append(f"    {opening}{inside}</measure>")
    first = measures[0][0] if measures else clean.rfind("</score-timewise")
    last = clean.rfind("</score-timewise")
    music = "\n".join(
        f'  <part id="{part_id}">\n' + "\n".join(each) + "\n  </part>" for part_id, each in parts.items()
    )
    head = _DOCTYPE.sub(r"\1score-partwise\2Partwise\3partwise\4", text[:first])
    head = _PLAIN_DOCTYPE.sub(r"\1score-partwise", head)
    head = _ROOT.sub(r"<\1score-partwise", head)
    tail = _ROOT.sub(r"<\1score-partwise", text[last:])
    return f"{head.rstrip(' ')}{music}\n{tail}" if music else text
