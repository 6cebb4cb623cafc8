"""A concert plan as JSON (``crookline.plan/1``) and as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from annotator.concert.load import CAUTION, Load
from annotator.concert.plan import ConcertPlan, PlannedPiece

SCHEMA = "crookline.plan/1"
WIDTH = 78


def document(
    made: ConcertPlan,
    left_out: Sequence[tuple[str, str]] = (),
    others: Sequence[ConcertPlan] = (),
) -> dict[str, Any]:
    """The plan as plain JSON values. Times in seconds. ``left_out``: files not planned, and why; ``others``:
    the plans of who plays the second line of the files, the third and so on."""
    return {
        "schema": SCHEMA,
        "case": [instrument.id for instrument in made.case],
        **_evening(made),
        "other_lines": [_evening(each) for each in others],
        "left_out": [{"name": name, "reason": reason} for name, reason in left_out],
        "caution": CAUTION,
    }


def _evening(made: ConcertPlan) -> dict[str, Any]:
    return {
        "cost": made.cost,
        "usual_share": round(made.share, 4),
        "pieces": [_piece(each) for each in made.pieces],
        "load": load_values(made.load),
    }


def _piece(planned: PlannedPiece) -> dict[str, Any]:
    piece = planned.piece
    return {
        "name": piece.name,
        "title": piece.title,
        "part": piece.part,
        "line": piece.line,
        "lines": piece.lines,
        "instruments": [
            {
                "from_measure": each.from_measure,
                "to_measure": each.to_measure,
                "instrument": each.instrument.id,
                "cost": each.fit.cost / 1000,
                "awkward_crossings": each.fit.flagged,
                "out_of_reach": each.fit.out_of_reach,
                "high": each.fit.high,
            }
            for each in planned.chosen
        ],
        "change": planned.change,
        "sentence": planned.sentence,
        "load": load_values(planned.load),
        "course": list(piece.course),
        "warnings": [each.document() for each in piece.findings],
    }


def load_values(load: Load) -> dict[str, Any]:
    """A load as JSON values, seconds to a tenth."""
    return {
        "duration": round(load.duration, 1),
        "playing": round(load.playing, 1),
        "rest": round(load.rest, 1),
        "above_g5_written": round(load.high, 1),
        "above_g5_sounding": round(load.high_sounding, 1),
        "loud": None if load.loud is None else round(load.loud, 1),
        "longest_without_rest": {
            "seconds": round(load.longest, 1),
            "from_measure": load.longest_from,
            "to_measure": load.longest_to,
        },
    }


def text(made: ConcertPlan, others: Sequence[ConcertPlan] = ()) -> str:
    """The plan in lines of under 80 characters; ``others`` as in ``document``."""
    lines: list[str] = []
    for number, each in enumerate((made, *others), start=1):
        if others:
            lines += [f"Player {number}", ""]
        lines += [*_evening_lines(each), ""]
    lines += _wrapped(CAUTION, "", "")
    return "\n".join(lines)


def _evening_lines(made: ConcertPlan) -> list[str]:
    lines: list[str] = []
    for number, planned in enumerate(made.pieces, start=1):
        piece = planned.piece
        of = f", line {piece.line} of {piece.lines}" if piece.lines > 1 else ""
        lines += _wrapped(f"{number}. {piece.title} ({piece.part}{of})", "", "   ")
        sign = "> " if planned.change else "  "
        lines += _wrapped(planned.sentence, f" {sign}", "   ")
        lines += _wrapped(_load_words(planned.load), "   ", "   ")
        for said in piece.course:
            lines += _wrapped(said, "   ", "   ")
        for finding in piece.findings:
            lines += _wrapped(f"measure {finding.measure}: {finding.message}", "   ! ", "     ")
        lines.append("")
    changes = sum(planned.change for planned in made.pieces)
    within = sum(
        one.instrument is not other.instrument
        for planned in made.pieces
        for one, other in zip(planned.chosen, planned.chosen[1:], strict=False)
    )
    summary = (
        f"{made.share:.0%} of the playing on the {made.case[0].name}; {_count(changes, 'change')} of "
        f"instrument between pieces (>), {within or 'none'} within"
    )
    lines += _wrapped(summary, "", "")
    return lines + _wrapped(f"In all: {_load_words(made.load)}", "", "")


def _load_words(load: Load) -> str:
    loud = "no dynamics to say how loud" if load.loud is None else f"{clock(load.loud)} at f and above"
    bars = f" ({_measures(load.longest_from, load.longest_to)})" if load.longest_from else ""
    return (
        f"plays {clock(load.playing)} of {clock(load.duration)}, rests {clock(load.rest)}; "
        f"{clock(load.high)} above written G5, {loud}; longest without a rest {clock(load.longest)}{bars}"
    )


def _measures(first: str, last: str) -> str:
    """``measures 5 to 8``; where the music goes back on the way, that is said."""
    if first == last:
        return f"measure {first}"
    if first.isdigit() and last.isdigit() and int(first) > int(last):
        return f"from measure {first}, going back, to measure {last}"
    return f"measures {first} to {last}"


def clock(seconds: float) -> str:
    """``2:05`` for 125 seconds, ``1:02:05`` past the hour."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02}:{left:02}" if hours else f"{minutes}:{left:02}"


def _count(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"


def _wrapped(words: str, first: str, later: str) -> list[str]:
    from textwrap import wrap  # noqa: PLC0415 - text only

    return wrap(words, WIDTH, initial_indent=first, subsequent_indent=later, break_on_hyphens=False)
