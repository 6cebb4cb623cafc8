"""Words above a staff raised over the figures: directions, tempo, rehearsal letters, brackets of endings."""

from __future__ import annotations

from annotator.engraving.figures import BESIDE
from annotator.engraving.ink import Ink, Piece, move
from annotator.engraving.skyline import Skyline

WORDS_CLEAR = 70.0
# Between a letter and the tempo beside it; how far apart the two may begin to be of one barline.
_APART, _NEAR = 150.0, 2000.0
# A letter's own baseline over the lower edge of its frame, and what a tempo reaches below its baseline.
_LETTER_FOOT, _TEMPO_FALL = 130.0, 85.0


def raise_words(ink: Ink, staff: int, outline: Skyline, scale: float) -> None:
    """Raise what stands above a staff clear of its ``outline``, the nearest first, and add it to that."""
    middle = sum(ink.lines[staff]) / 2
    pieces = [piece for piece in ink.pieces if piece.staff == staff and piece.box.bottom <= middle]
    for piece in pieces:
        _fit(piece, ink.right)
    for group in _groups(pieces):
        if len(group) > 1:
            letter, tempo = group
            _side_by_side(letter, tempo, ink.right, scale)
        beside = 3 * BESIDE * scale
        dy = min(
            outline.over(piece.now.left - beside, piece.now.right + beside) - piece.now.bottom
            for piece in group
        )
        dy -= WORDS_CLEAR * scale
        for piece in group:
            piece.dy += dy if len(group) > 1 else min(dy, 0.0)
            move(piece.element, piece.dx, piece.dy)
            outline.add(piece.now)


def _fit(piece: Piece, right: float) -> None:
    """Words that run off the sheet begin earlier; what is longer than the staff is set smaller."""
    width = piece.box.right - piece.box.left
    if width > right:
        piece.shrink(right / width)
    piece.dx = min(0.0, right - piece.box.right)


def _groups(pieces: list[Piece]) -> list[list[Piece]]:
    """What is raised together, from the staff outwards: each piece alone, but a letter with its tempo."""
    letters = {id(piece): piece for piece in pieces if piece.kind == "reh"}
    paired: list[list[Piece]] = []
    for tempo in [piece for piece in pieces if piece.kind == "tempo"]:
        near = [each for each in letters.values() if abs(each.box.left - tempo.box.left) < _NEAR]
        if near:
            paired.append([letters.pop(id(near[0])), tempo])
    taken = {id(piece) for pair in paired for piece in pair}
    groups = [*([piece] for piece in pieces if id(piece) not in taken), *paired]
    return sorted(groups, key=lambda group: (-group[-1].box.bottom, group[-1].box.left))


def _side_by_side(letter: Piece, tempo: Piece, right: float, scale: float) -> None:
    """A tempo begins where its letter ends, on the letter's floor. Where it would run off the sheet, the
    letter goes before it."""
    apart = letter.box.right + _APART * scale - tempo.box.left
    if tempo.dx == 0:
        tempo.dx = max(0.0, min(apart, right - tempo.box.right))
    letter.dx = min(0.0, tempo.dx - apart)
    tempo.dy = letter.box.bottom - tempo.box.bottom - (_LETTER_FOOT - _TEMPO_FALL) * scale
