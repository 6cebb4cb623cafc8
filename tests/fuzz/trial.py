"""What every file is put through, and what must hold whatever it is."""

from __future__ import annotations

import resource
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from random import Random
from types import FrameType
from typing import TypeVar

import orjson
from lxml import etree

import annotator
from annotator.concert.plan import plan, read_piece
from annotator.engraving.copy_source import copy_part, parse, part_ids
from annotator.errors import CrooklineError
from annotator.exercises.exercises import exercises
from annotator.instruments import load
from annotator.score.source import open_source
from annotator.transposed import transposed_part

SECONDS = 5.0
"""Of the processor's time, for everything a file is put through together."""
TIMES_ITS_SIZE, MEMORY = 40, 100_000_000
_PARSER = etree.XMLParser(huge_tree=True, resolve_entities=False, no_network=True, encoding="utf-8")
_CROOKS = ("auto", "auto", "auto", "infer", "F", "Eb@1-2,C@3-")
T = TypeVar("T")
_INSTRUMENTS = ("c-trumpet", "c-trumpet", "bb-trumpet", "a-piccolo")


class TooSlow(BaseException):
    """A file took longer than ``SECONDS``; no handler of errors may take it for one."""


def tried(data: bytes, seed: int) -> str:
    """Put a file through everything; gives ``marked`` or ``refused``. Raises what must not happen."""
    with bounded(len(data)):
        return _tried(data, Random(seed))


@contextmanager
def bounded(size: int) -> Iterator[None]:
    """What is done with so many bytes has an end in time and in memory. Raises TooSlow, AssertionError."""
    before = _peak()
    with _in_time():
        yield
    grown = _peak() - before
    assert grown <= TIMES_ITS_SIZE * size + MEMORY, f"{grown:,} bytes of memory"


def _tried(data: bytes, random: Random) -> str:
    options = annotator.Options(
        instrument=random.choice(_INSTRUMENTS),
        crook=random.choice(_CROOKS),
        show=random.choice(("every", "first", "awkward")),
        key=random.choice(("auto", "signature", "none")),
        second_best=random.random() < 0.1,
    )
    marked = _or_refused(lambda: annotator.annotate(data, options, "x.musicxml"))
    plain = _or_refused(lambda: annotator.strip(data))
    if marked is not None:
        assert plain is not None, "marked, and not stripped"
        orjson.dumps(marked.report)
        assert _text(annotator.strip(marked.data)) == _text(plain), "strip is not the inverse"
        etree.fromstring(_text(marked.data).encode(), _PARSER)
        assert annotator.annotate(marked.data, options, "x.musicxml").data == marked.data, "twice is not once"
    written = _or_refused(lambda: transposed_part(data, options))
    if written is not None:
        etree.fromstring(_text(written).encode(), _PARSER)
    which = random.random()
    if which < 0.2:
        _or_refused(lambda: exercises(data, options, "x"))
    elif which < 0.4:
        trumpet = load("c-trumpet")
        piece = _or_refused(lambda: read_piece("x", data, (trumpet,), options))
        if piece is not None:
            plan([piece], (trumpet,))
    elif which < 0.6:
        _or_refused(lambda: _copied(data if marked is None else marked.data))
    return "refused" if marked is None else "marked"


def _copied(data: bytes) -> None:
    root = parse(data)
    for part in part_ids(root)[:1]:
        copy_part(root, part)


def _or_refused(work: Callable[[], T]) -> T | None:
    try:
        return work()
    except CrooklineError as refusal:
        words = str(refusal)
    assert 0 < len(words) < 2000, "no refusal a person would read"
    return None


def _text(data: bytes) -> str:
    return open_source(data).text


def _peak() -> int:
    """The most memory this process ever had, in bytes."""
    found = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return found if sys.platform == "darwin" else found * 1024


@contextmanager
def _in_time() -> Iterator[None]:
    def over(number: int, frame: FrameType | None) -> None:
        raise TooSlow(f"more than {SECONDS:g} s")

    before = signal.signal(signal.SIGVTALRM, over)
    signal.setitimer(signal.ITIMER_VIRTUAL, SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)
