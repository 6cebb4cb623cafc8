"""The engraver's words made fit to be seen: in faces that have all their letters, music signs drawn.

A strict web page allows no style element, so weight and slant become attributes.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from lxml import etree

from annotator.engraving import faces
from annotator.engraving.drawing import ACCIDENTALS, SIGN_FACE
from annotator.engraving.glyphs import EM, SIGN, glyph_box, outline
from annotator.engraving.skyline import Box

SVG = "{http://www.w3.org/2000/svg}"
_BOLD = frozenset(("fing", "reh", "tempo", "voltaBracket"))
_ITALIC = frozenset(("dir", "dynam", "mNum"))
# Beside letters a music sign is set smaller than on a staff.
SIGN_SIZE = 0.7

SPACE = "{http://www.w3.org/XML/1998/namespace}space"
Run = tuple[str, float, str]
"""Words, their size, their face."""


def settle(text: Any) -> Box | None:
    """Set a ``<text>`` as it shall be seen, in its place; its box, or None where there is nothing in it."""
    runs = [piece for run in _spaced(_runs(text)) for piece in _pieces(run)]
    while runs and not runs[-1][0].strip():
        runs.pop()
    if not runs:
        text.getparent().remove(text)
        return None
    runs[-1] = (runs[-1][0].rstrip(), *runs[-1][1:])
    x, y = float(text.get("x", 0)), float(text.get("y", 0))
    anchor = text.get("text-anchor", "start")
    whole = sum(_advance(run) + (_before_sign(runs, run) if _apart(run) else 0.0) for run in runs)
    left = x - whole * {"middle": 0.5, "end": 1.0}.get(anchor, 0.0)
    if any(_apart(run) for run in runs):
        text.getparent().replace(text, _with_signs(left, y, runs))
    else:
        # Anchored as the engraver had it: centred words stay centred in any face.
        text.getparent().replace(text, line(x, y, runs, anchor))
    tops = [y - faces.rise(words, size, face) for words, size, face in runs]
    falls = [y + faces.fall(words, size, face) for words, size, face in runs if not SIGN.search(words)]
    return Box(left, min(tops), left + whole, max(falls, default=y))


def _with_signs(left: float, y: float, runs: list[Run]) -> Any:
    """Words with signs among them: each sign on its own, the words ending and beginning where it stands."""
    group = etree.Element(f"{SVG}g")
    at = left
    pending: list[Run] = []
    for run in [*runs, None]:
        if run is not None and not _apart(run):
            pending.append(run)
            continue
        if pending:
            width = sum(_advance(each) for each in pending)
            ends = run is not None
            group.append(line(at + width if ends else at, y, pending, "end" if ends else "start"))
            at += width
            pending = []
        if run is None:
            break
        at += _before_sign(runs, run)
        if SIGN.search(run[0]):
            for letter in SIGN.findall(run[0]):
                group.append(_sign(f"{ord(letter):04X}", at, y, run[1] / EM * SIGN_SIZE))
                at += _sign_width(letter, run[1])
        else:
            group.append(line(at, y, [run], "start"))
            group[-1].set("font-family", SIGN_FACE)
            at += _advance(run)
    return group


def _before_sign(runs: list[Run], sign: Run) -> float:
    """The room between a sign and the words before it: slanted letters lean into it, a note wants a space."""
    place = next(index for index, run in enumerate(runs) if run is sign)
    words, size, face = runs[place - 1] if place else ("", 0.0, "")
    if not words:
        return 0.0
    if SIGN.search(sign[0]):
        return 0.0 if words[-1] in " (" else 0.3 * size
    return 0.12 * size if "italic" in face else 0.03 * size


def _apart(run: Run) -> bool:
    return bool(SIGN.search(run[0]) or ACCIDENTALS.fullmatch(run[0]))


def line(x: float, y: float, runs: list[Run], anchor: str) -> Any:
    """A ``<text>`` of runs, one after the other."""
    element = etree.Element(f"{SVG}text", {"x": f"{x:.0f}", "y": f"{y:.0f}", SPACE: "preserve"})
    if anchor != "start":
        element.set("text-anchor", anchor)
    words = runs
    if len(words) == 1:
        _dress(element, words[0])
        element.text = words[0][0]
        return element
    for piece in words:
        span = etree.SubElement(element, f"{SVG}tspan")
        _dress(span, piece)
        span.text = piece[0]
    return element


def _dress(element: Any, run: Run) -> None:
    element.set("font-size", f"{run[1]:.0f}")
    if "bold" in run[2]:
        element.set("font-weight", "bold")
    if "italic" in run[2]:
        element.set("font-style", "italic")


def _pieces(run: Run) -> Iterator[Run]:
    """The run cut at its accidentals, which are set in a face of their own."""
    words, size, face = run
    for piece in ACCIDENTALS.split(words):
        if piece:
            yield piece, size, faces.REGULAR if ACCIDENTALS.fullmatch(piece) else face


def _runs(text: Any) -> Iterator[Run]:
    classes = set()
    for ancestor in text.iterancestors(f"{SVG}g"):
        classes = set((ancestor.get("class") or "").split())
        break
    weight = "bold" if classes & _BOLD else "normal"
    style = "italic" if classes & _ITALIC else "normal"
    yield from _spans(text, 300.0, weight, style)


def _spans(element: Any, size: float, weight: str, style: str) -> Iterator[Run]:
    given = element.get("font-size", "0px").removesuffix("px")
    size = float(given) or size
    weight = element.get("font-weight") or weight
    style = element.get("font-style") or style
    if element.text and len(element) == 0:
        words = " ".join(element.text.split())
        before = " " if element.text[:1].isspace() else ""
        after = " " if element.text[-1:].isspace() and words else ""
        yield (
            f"{before}{words}{after}",
            size,
            faces.face(bold=weight == "bold", italic=style in ("italic", "oblique")),
        )
    for child in element:
        if isinstance(child.tag, str):
            yield from _spans(child, size, weight, style)


def _spaced(runs: Iterator[Run]) -> Iterator[Run]:
    """The runs that print something. The engraver joins words and a figure in brackets without a space."""
    before = ""
    for words, size, face in runs:
        sign = SIGN.search(words)
        if not words.strip() and (not before or before.endswith(" ")):
            continue
        if sign:
            before = words.strip()
        elif not before:
            before = words.lstrip()
        elif words.startswith("(") and not before.endswith(" "):
            before = f" {words}"
        else:
            before = words
        yield before, size, face


def _advance(run: Run) -> float:
    words, size, face = run
    if SIGN.search(words):
        return sum(_sign_width(letter, size) for letter in SIGN.findall(words))
    return faces.width(words, size, face)


def _sign_width(letter: str, size: float) -> float:
    left, _, width, _ = glyph_box(f"{ord(letter):04X}")
    return (left + width) / EM * size * SIGN_SIZE + 40


def _sign(code: str, x: float, y: float, scale: float) -> Any:
    return etree.Element(
        f"{SVG}path",
        {
            "transform": f"translate({x + 20:.0f}, {y - 10:.0f}) scale({scale:g} -{scale:g})",
            "d": outline(code),
        },
    )
