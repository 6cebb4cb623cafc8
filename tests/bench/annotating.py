"""Annotating beside the limit (lxml's parse and serialise) and the rival (music21's parse and write).

python -m tests.bench.annotating
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import music21
from lxml import etree

import annotator
from tests.bench.clockwork import in_turn, ratio
from tests.bench.scores import DEMO, part_of, pitched

LIMIT = "lxml parse and serialise"
GROWTH = (1_000, 10_000, 100_000)


def lxml_pass(data: bytes) -> Callable[[], object]:
    return lambda: etree.tostring(etree.fromstring(data, etree.XMLParser(huge_tree=True)))


def music21_pass(data: bytes, folder: str) -> Callable[[], object]:
    """What a user would write instead, without even adding fingerings."""

    def work() -> object:
        score = music21.converter.parse(data.decode(), format="musicxml", forceSource=True)
        written: object = score.write("musicxml", fp=Path(folder) / "out.musicxml")  # type: ignore[no-untyped-call]
        return written

    return work


def one_part(name: str, data: bytes, with_music21: bool = True) -> None:
    with tempfile.TemporaryDirectory() as folder:
        rivals: dict[str, Callable[[], object]] = {
            LIMIT: lxml_pass(data),
            "annotate, all marks": lambda: annotator.annotate(data, annotator.Options()),
        }
        if with_music21:
            rivals["music21 parse and write"] = music21_pass(data, folder)
        found = in_turn(rivals, rounds=5 if with_music21 else 7)
    print(f"\n{name}: {pitched(data)} notes, {len(data):,} bytes")
    for rival, timing in found.items():
        print(f"  {rival:26} {timing}")
    ours = found["annotate, all marks"]
    print(f"  annotate / lxml pass       {ratio(ours, found[LIMIT]):.2f}  (goal: at most 4)")
    if with_music21:
        times = ratio(found["music21 parse and write"], ours)
        print(f"  music21 / annotate         {times:.1f}  (goal: at least 25)")


def growth() -> None:
    print("\nGrowth (one part; memory as peak of a process of its own, less that of a short part)")
    base = _peak(part_of(4))
    for notes in GROWTH:
        data = part_of(notes)
        rounds = 5 if notes < 50_000 else 2
        found = in_turn(
            {"lxml": lxml_pass(data), "annotate": lambda data=data: annotator.annotate(data)},  # type: ignore[misc]
            rounds,
        )
        ours = found["annotate"]
        peak = _peak(data) - base
        print(
            f"  {pitched(data):7,} notes  {ours.median * 1e3:9.1f} ms"
            f"  {ours.median / pitched(data) * 1e6:6.1f} µs a note"
            f"  {ratio(ours, found['lxml']):5.2f} lxml passes  memory {peak / len(data):5.1f} times the file"
        )


def _peak(data: bytes) -> int:
    """Peak memory, in bytes, of a process that reads a file with ``data`` and annotates it."""
    code = (
        "import resource, sys, annotator; from pathlib import Path; "
        "annotator.annotate(Path(sys.argv[1]).read_bytes()); "
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.musicxml"
        path.write_bytes(data)
        words = [sys.executable, "-c", code, str(path)]
        done = subprocess.run(words, capture_output=True, text=True, check=True)
    return int(done.stdout) * (1 if sys.platform == "darwin" else 1024)


def main() -> None:
    one_part("A real part", part_of(700))
    for name in ("02_sinfonia_drammatica_finale_trumpet_1_in_F_and_C", "06_locksman_study_trumpet_in_Bb"):
        one_part(name, (DEMO / f"{name}.musicxml").read_bytes())
    for name in ("bwv69.6.xml",):
        path = Path(music21.__file__).parent / "corpus" / "bach" / name
        one_part(f"{name} (a full score, three parts marked)", path.read_bytes())
    growth()


if __name__ == "__main__":
    main()
