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
from annotator.deciding import prepare, prepare_tree
from annotator.errors import BadOption, NoTrumpetPart
from annotator.findings import Finding
from annotator.instruments import Instrument
from annotator.options import Options
from annotator.played import PlayedLine, PlayedPart
from annotator.timing import Clock


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

    ``part``, ``line`` and ``lines`` say what was read: a trumpet part, which line (from 1) of so many.
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
    line: int = 1


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
    """The first line of a file's first trumpet part that has notes; raises as ``read_pieces`` does."""
    return read_pieces(name, data, case, options)[0]


def read_pieces(
    name: str, data: bytes, case: Sequence[Instrument], options: Options | None = None
) -> tuple[Piece, ...]:
    """Every line of every trumpet part of a file (or of those that ``options.part`` names), read for every
    instrument of ``case``.

    Raises BadOption for an empty case, NoTrumpetPart where there are no notes, and as ``annotate`` does.
    """
    if not case:
        raise BadOption("the case holds no instrument", field="case")
    options = options or Options()
    first, root = prepare_tree(data, replace(options, instrument=case[0]))
    prepared = [first, *(prepare(data, replace(options, instrument=instrument)) for instrument in case[1:])]
    pieces = []
    for number, part in enumerate(first.played):
        for index, line in enumerate(part.lines):
            own = [(each.played[number], each.played[number].lines[index]) for each in prepared]
            pieces.append(
                Piece(
                    name,
                    first.score.title or name,
                    part.part.name or part.part.id,
                    len(part.lines),
                    tuple(_stretches(own, first.clock, case)),
                    tuple(
                        load_of_line(root, *read, each.clock)
                        for read, each in zip(own, prepared, strict=True)
                    ),
                    rest_findings(part, first.clock, line.line.number),
                    course_of(root, part).notes,
                    index + 1,
                )
            )
    if not pieces:
        raise NoTrumpetPart("the trumpet part has no notes")
    return tuple(pieces)


def _stretches(
    read: Sequence[tuple[PlayedPart, PlayedLine]], clock: Clock, case: Sequence[Instrument]
) -> list[Stretch]:
    """The line cut where its crook changes with rest enough to take another instrument; ``read`` as each
    instrument of the case plays it."""
    part, line = read[0]
    wanted = needs()["instrument"].seconds
    changes = crook_changes(part, clock, line.line.number)
    cuts = [change for change in changes if wanted <= change.rest < float("inf")]
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
                fitness(*each, instrument, start, end) for each, instrument in zip(read, case, strict=True)
            ),
        )
        for start, end, first, last in zip(starts, ends, firsts, lasts, strict=True)
    ]


def plan_lines(files: Sequence[Sequence[Piece]], case: Sequence[Instrument]) -> tuple[ConcertPlan, ...]:
    """A plan for each player: who plays the n-th line plays it in every file that has so many.

    ``files``: the lines of each, in the order they are played. Raises BadOption for an empty case.
    """
    most = max(map(len, files), default=0)
    return tuple(plan([lines[n] for lines in files if n < len(lines)], case) for n in range(most))


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
