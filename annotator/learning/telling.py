"""What was learnt, in a player's words, and as the TOML file that profiles are written in."""

from __future__ import annotations

from json import dumps  # a TOML string is written as JSON's are
from math import sqrt

from annotator.fingering.profile import Profile
from annotator.learning.weights import Learnt

# What it means when a weight falls; when it rises the sentence says "less readily".
_READILY = {
    "departure.third-for-first-second": "takes 3 for 1-2",
    "departure.same-partial": "takes another fingering on the same partial",
    "departure.other-partial": "takes a fingering on another partial",
    "departure.ninth-partial-up": "takes alternates from the ninth partial up",
    "departure.high": "takes alternates above the staff",
    "departure.held": "stays on an alternate when the note is held",
    "departure.further-valve": "puts a further valve down for an alternate",
    "departure.cent": "takes alternates that are out of tune",
    "figure.change": "changes the fingering of a pitch within a figure",
    "exchange.first-second": "exchanges first and second finger",
    "exchange.second-third": "exchanges second and third finger",
    "exchange.first-third": "exchanges first and third finger",
    "exchange.further-finger": "exchanges more than two fingers",
    "contrary.rising-slurred": "adds valves while slurring up to a higher partial",
    "contrary.falling-slurred": "lifts valves while slurring down to a lower partial",
    "partial.slurred": "changes the partial under a slur",
    "partial.tongued": "changes the partial, tongued",
    "skip.slurred": "leaps over a partial under a slur",
    "lip-slur.rising": "slurs up with the lip alone",
    "lip-slur.falling": "slurs down with the lip alone",
    "weak-partial": "plays on the weak partials",
    "intonation.held": "bears a held note out of tune",
    "intonation.settled": "bears notes out of tune",
    "finger.third": "moves the third finger",
}


def sentence(key: str, before: float, after: float) -> str:
    """A change in words: "takes 3 for 1-2 more readily: 0.5 → 0.2"."""
    what = _READILY.get(key, f"minds {key} {'less' if after < before else 'more'}")
    how = "" if key not in _READILY else " more readily" if after < before else " less readily"
    return f"{what}{how}: {before:g} → {after:g}"


def likely(agreed: int, marked: int) -> tuple[float, float]:
    """Between which shares the true agreement lies in nineteen of twenty such cases (Wilson 1927)."""
    if not marked:
        return 0.0, 1.0
    z, share = 1.96, agreed / marked
    middle = share + z * z / (2 * marked)
    spread = z * sqrt(share * (1 - share) / marked + z * z / (4 * marked * marked))
    whole = 1 + z * z / marked
    return max(0.0, (middle - spread) / whole), min(1.0, (middle + spread) / whole)


def to_toml(learnt: Learnt, base: Profile, notes: int) -> str:
    """The profile as a file for ``--profile``: what differs from ``base``, each with its words."""
    lines = [
        f"# Learnt from {notes} marked notes, starting from {base.name}. Change what you know better.",
        f"name = {dumps(learnt.profile.name, ensure_ascii=False)}",
        f"base = {dumps(base.name, ensure_ascii=False)}",
    ]
    if base.chart_only:
        lines.append("chart-only = false")
    sections: dict[str, list[str]] = {}
    for key, before, after in sorted(learnt.changes):
        section, _, name = key.rpartition(".")
        sections.setdefault(section, []).append(f"{name} = {after}  # {sentence(key, before, after)}")
    lines += sections.pop("", [])
    for section, rows in sections.items():
        lines += ["", f"[{section}]", *rows]
    return "\n".join(lines) + "\n"
