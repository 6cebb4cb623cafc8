"""Which instrument for which piece of a concert, where to change, and how much there is to play.

>>> pieces = [read_piece(path.name, path.read_bytes(), case) for path in programme]
>>> plan(pieces, case).pieces[0].sentence
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from annotator.change_times import needs
from annotator.concert.choice import cheapest
from annotator.concert.fitness import UNIT, Fitness, fitness, weight
from annotator.concert.load import Load, course_of, load_of_line, together
from annotator.concert.reasons import piece_sentence
from annotator.concert.rests import crook_changes, rest_findings
from annotator.deciding import Prepared, prepare, prepare_tree
from annotator.errors import BadOption, NoTrumpetPart
from annotator.findings import Finding
from annotator.instruments import Instrument
from annotator.options import Options


@dataclass(frozen=True, slots=True)
class Stretch:
    """What is played on one instrument at a time: a piece, or the music between two rests long enough to
    change in. ``fits``: how it lies on each instrument of the case."""

    from_measure: str
    to_measure: str
    fits: tuple[Fitness, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """A file of the programme, read for every instrument of the case. ``loads`` in the order of the case.

    ``part`` and ``lines`` say what was read: the first trumpet part, its first line of so many.
    ``course`` tells in words how repeats were unfolded.
    """

    name: str
    title: str
    part: str
    lines: int
    stretches: tuple[Stretch, ...]
    loads: tuple[Load, ...]
    findings: tuple[Finding, ...] = ()
    course: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Chosen:
    """An instrument for a stretch, and how it lies there."""

    from_measure: str
    to_measure: str
    instrument: Instrument
    fit: Fitness


@dataclass(frozen=True, slots=True)
class PlannedPiece:
    """A piece with its instruments; ``sentence`` says why. ``change``: the instrument is another one than
    at the end of the piece before."""

    piece: Piece
    chosen: tuple[Chosen, ...]
    load: Load
    change: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class ConcertPlan:
    """The programme in order. ``cost`` in the planner's awkwardness; ``share`` of the playing time on the
    usual instrument (the first of the case), 0 to 1; ``load`` of the whole concert."""

    case: tuple[Instrument, ...]
    pieces: tuple[PlannedPiece, ...]
    cost: float
    share: float
    load: Load


def read_piece(name: str, data: bytes, case: Sequence[Instrument], options: Options | None = None) -> Piece:
    """A file read for every instrument of ``case``.

    The first trumpet part (or the first that ``options.part`` names), its first line. Raises BadOption for an
    empty case, and as ``annotate`` does.
    """
    if not case:
        raise BadOption("the case holds no instrument", field="case")
    options = options or Options()
    first, root = prepare_tree(data, replace(options, instrument=case[0]))
    prepared = [first, *(prepare(data, replace(options, instrument=instrument)) for instrument in case[1:])]
    if not first.played or not first.played[0].lines:
        raise NoTrumpetPart("the trumpet part has no notes")
    part = first.played[0]
    loads = tuple(
        load_of_line(root, each.played[0], each.played[0].lines[0], each.clock) for each in prepared
    )
    return Piece(
        name,
        first.score.title or name,
        part.part.name or part.part.id,
        len(part.lines),
        tuple(_stretches(prepared, case)),
        loads,
        rest_findings(part, first.clock),
        course_of(root, part).notes,
    )


def _stretches(prepared: Sequence[Prepared], case: Sequence[Instrument]) -> list[Stretch]:
    """The piece cut where the crook changes with rest enough to take another instrument."""
    part, clock = prepared[0].played[0], prepared[0].clock
    wanted = needs()["instrument"].seconds
    cuts = [change for change in crook_changes(part, clock) if wanted <= change.rest < float("inf")]
    starts = [0.0, *(change.position for change in cuts)]
    ends = [*starts[1:], float("inf")]
    measures = part.part.measures
    firsts = [0, *(change.measure for change in cuts)]
    lasts = [*(max(first - 1, 0) for first in firsts[1:]), len(measures) - 1]
    return [
        Stretch(
            measures[first].number,
            measures[last].number,
            tuple(
                fitness(each.played[0], each.played[0].lines[0], instrument, start, end)
                for each, instrument in zip(prepared, case, strict=True)
            ),
        )
        for start, end, first, last in zip(starts, ends, firsts, lasts, strict=True)
    ]


def plan(pieces: Sequence[Piece], case: Sequence[Instrument]) -> ConcertPlan:
    """The instruments of a concert, ``pieces`` in the order they are played.

    The first instrument of ``case`` is the usual one. The sum of what every stretch costs on its
    instrument and of what the changes cost is the least there is. Raises BadOption for an empty case.
    """
    if not case:
        raise BadOption("the case holds no instrument", field="case")
    costs: list[list[int]] = []
    changes: list[int] = []
    for piece in pieces:
        for number, stretch in enumerate(piece.stretches):
            costs.append([fit.cost + (weight("taking") if k else 0) for k, fit in enumerate(stretch.fits)])
            changes.append(weight("change.within" if number else "change.between"))
    chosen, total = cheapest(costs, changes)
    planned: list[PlannedPiece] = []
    left = list(chosen)
    before: int | None = None
    usual_seconds = 0.0
    for piece in pieces:
        taken, left = left[: len(piece.stretches)], left[len(piece.stretches) :]
        longest = max(range(len(taken)), key=lambda number: piece.stretches[number].fits[0].notes)
        load = piece.loads[taken[longest]]
        usual_seconds += load.playing * _usual_share(piece, taken)
        planned.append(
            PlannedPiece(
                piece,
                tuple(
                    Chosen(stretch.from_measure, stretch.to_measure, case[k], stretch.fits[k])
                    for stretch, k in zip(piece.stretches, taken, strict=True)
                ),
                load,
                before is not None and taken[0] != before,
                piece_sentence([each.fits for each in piece.stretches], taken, case, before),
            )
        )
        before = taken[-1]
    load = together([each.load for each in planned])
    share = usual_seconds / load.playing if load.playing else 1.0
    return ConcertPlan(tuple(case), tuple(planned), total / UNIT, share, load)


def _usual_share(piece: Piece, taken: Sequence[int]) -> float:
    """The share of a piece's notes that is played on the usual instrument."""
    counts = [stretch.fits[0].notes for stretch in piece.stretches]
    usual = sum(count for count, k in zip(counts, taken, strict=True) if k == 0)
    return usual / sum(counts) if sum(counts) else 1.0
