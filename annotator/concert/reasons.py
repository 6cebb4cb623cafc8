"""Why this instrument: a sentence for each piece."""

from __future__ import annotations

from collections.abc import Sequence

from annotator.concert.fitness import Fitness, weight
from annotator.instruments import Instrument

_NOTICED = 500  # thousandths of an awkwardness that are worth a word


def piece_sentence(
    fits: Sequence[Sequence[Fitness]],
    taken: Sequence[int],
    case: Sequence[Instrument],
    before: int | None = None,
) -> str:
    """Why the instruments ``taken`` (indices of ``case``, one a stretch) were taken.

    ``fits``: for each stretch how it lies on every instrument of the case, the usual one first.
    ``before``: the instrument in hand before the piece, None at the beginning.
    """
    clauses = []
    for row, k in zip(fits, taken, strict=True):
        clause = _usual(row, case) if k == 0 else _other(row, k, case, before)
        if clause not in clauses:
            clauses.append(clause)
        before = k
    return "; then ".join(clauses)


def _usual(row: Sequence[Fitness], case: Sequence[Instrument]) -> str:
    own = row[0]
    words = f"{case[0].name}, the usual one: {_facts(own)}"
    easier = min(range(len(row)), key=lambda k: (row[k].cost, k))
    saved = own.cost - row[easier].cost
    if easier and saved >= _NOTICED:
        return (
            f"{words}; the {case[easier].name} would lie better ({_why(row[easier], own, case[0])}), "
            "but not by as much as taking it would cost"
        )
    return words


def _other(row: Sequence[Fitness], k: int, case: Sequence[Instrument], before: int | None) -> str:
    name, usual = case[k].name, case[0]
    if row[0].cost - row[k].cost <= weight("taking") and before == k:
        return f"{name}, still in hand: {_facts(row[k])}; changing back for this alone costs more"
    return f"{name} instead of the {usual.name}: {_why(row[k], row[0], usual)}; {_facts(row[k])}"


def _why(own: Fitness, usual: Fitness, instrument: Instrument) -> str:
    """What ``own`` saves against ``usual``, the two heaviest first."""
    name = instrument.name
    savings = [
        (usual.range - own.range, f"{_notes(usual.out_of_reach)} out of reach on the {name}"),
        (usual.octave - own.octave, f"the {name} would have to read it an octave away"),
        (usual.height - own.height, _lower(own, usual, name)),
        (
            usual.crossing - own.crossing,
            f"{_crossings(usual.flagged)} on the {name}, {own.flagged or 'none'} on this",
        ),
        (usual.cents - own.cents, "better in tune"),
        (usual.family - own.family, f"the part asks for a {own.asked or 'trumpet'}"),
        (usual.transposing - own.transposing, "read as written"),
    ]
    savings.sort(key=lambda item: -item[0])
    told = [text for saved, text in savings if saved > 0]
    return " and ".join(told[:2]) if told else "it lies as well"


def _lower(own: Fitness, usual: Fitness, name: str) -> str:
    if usual.high <= own.high:
        return f"lower partials than on the {name}"
    return f"{_notes(usual.high)} on partial 9 or higher on the {name}, {own.high or 'none'} on this"


def _facts(own: Fitness) -> str:
    facts = [_crossings(own.flagged)]
    facts.append(
        f"{_notes(own.out_of_reach)} out of reach" if own.out_of_reach else "everything within reach"
    )
    if own.octave:
        facts.append("read an octave away")
    if own.high:
        facts.append(f"{_notes(own.high)} on partial 9 or higher")
    return ", ".join(facts)


def _crossings(count: int) -> str:
    return f"{count or 'no'} awkward crossing{'' if count == 1 else 's'}"


def _notes(count: int) -> str:
    return f"{count} note{'' if count == 1 else 's'}"
