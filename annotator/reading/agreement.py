"""Whether what words name and what the file sounds are the same instrument."""

from __future__ import annotations

from annotator.pitch import Interval
from annotator.reading.crooks import Crook, crook_for, crook_named_after, same_but_octave
from annotator.reading.model import Stage
from annotator.reading.said import Named


def of_register(crook: Crook, named: Named, now: Stage) -> Crook:
    """``crook`` as the instrument in hand has it: a piccolo in B♭ goes to A on a piccolo in A."""
    if named.register or named.family:
        return crook
    register = "high" if now.family == "piccolo" else now.crook.register
    if register == "bass" or now.family == "piccolo":
        return crook_named_after(crook.step, crook.alter, register) or crook
    return crook


def agrees(named: Named, interval: Interval) -> bool:
    """Whether words can mean an instrument that sounds so; octaves tell only where the words name none."""
    if named.register and named.crook is not None and named.crook.register:
        return named.crook.sounding == interval
    return named.allows(crook_for(interval)) or any(
        crook is not None and same_but_octave(crook.sounding, interval)
        for crook in (named.crook, *named.may_be)
    )


def compatible(one: Named, other: Named) -> bool:
    return (one.crook is not None and other.allows(one.crook)) or (
        other.crook is not None and one.allows(other.crook)
    )
