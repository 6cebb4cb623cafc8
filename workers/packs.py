"""Packs: the results of several parts and what became of them in one file, for a file (or an object) costs
more than what is in it.

A pack is a head, which is the outcomes as JSON, and the results end to end after it. Its name tells how long
the head is, so the outcomes of a job are had by listing its packs and reading their heads. A pack is written
whole or not at all, so its outcomes vouch for its results. What can be deflated is: an archive then takes the
bytes as they lie.
"""

from __future__ import annotations

import secrets
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from workers.jobs import Outcome, Piece
from workers.stored import Unreadable, outcomes_from_json, outcomes_to_json

FOLDER = "output/packs"
LEVEL = 4  # of zlib: marking a part takes ten times as long; higher levels win little


@dataclass(frozen=True, slots=True)
class Stored:
    """A result as it is to lie in a pack."""

    data: bytes
    size: int
    crc: int
    deflated: bool = True


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of a part, and its results by name."""

    outcome: Outcome
    results: Mapping[str, Stored]


def stored(data: bytes, *, deflate: bool = True) -> Stored:
    """A result made ready; what is compressed already (an .mxl) is left as it is."""
    lies = data
    if deflate:
        packer = zlib.compressobj(LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS)
        lies = packer.compress(data) + packer.flush()
    return Stored(lies, len(data), zlib.crc32(data), deflate)


def plain(lies: bytes, piece: Piece | Stored) -> bytes:
    """A result as it was made. Raises OSError when it is damaged."""
    try:
        data = zlib.decompress(lies, -zlib.MAX_WBITS) if piece.deflated else lies
    except zlib.error as error:
        raise OSError(f"a result in the store is damaged: {error}") from None
    if len(data) != piece.size or zlib.crc32(data) != piece.crc:
        raise OSError("a result in the store is damaged: other bytes than were kept")
    return data


def packed(kept: Sequence[Kept]) -> tuple[str, list[bytes], list[Outcome]]:
    """A new pack: its name, the bytes in pieces, and the outcomes with their places in it."""
    at, bodies, outcomes = 0, [], []
    for one in kept:
        pieces = {}
        for name, result in one.results.items():
            pieces[name] = Piece(at, len(result.data), result.size, result.crc, result.deflated)
            bodies.append(result.data)
            at += len(result.data)
        outcomes.append(replace(one.outcome, pieces=pieces))
    head = outcomes_to_json(outcomes)
    name = f"{kept[0].outcome.n:04d}-{len(kept)}-{len(head)}-{secrets.token_hex(6)}"
    return name, [head, *bodies], [replace(outcome, pack=name) for outcome in outcomes]


def head_size(name: str) -> int | None:
    """How many bytes a pack's head has, by its name; None when it is no pack's."""
    words = name.split("-")
    return int(words[2]) if len(words) == 4 and words[2].isdigit() else None


def outcomes(names: Iterable[tuple[str, bytes]]) -> dict[int, Outcome]:
    """The outcomes in packs (name, head), by the part's number. Of a part that was done twice the pack first
    by name counts. A head that cannot be read is as good as none: its parts are done again."""
    found: dict[int, Outcome] = {}
    for name, head in sorted(names):
        try:
            for outcome in outcomes_from_json(head):
                found.setdefault(outcome.n, replace(outcome, pack=name))
        except Unreadable:
            continue
    return found
