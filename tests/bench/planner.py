"""How fast the planner is, in notes a second on one core, beside networkx on the same lattice.

    python -m tests.bench.planner

``plain`` are scales, arpeggios and repeated notes in steady note values; ``parts`` the trumpet parts of
demo_scores/ as the program itself reads them; ``leaping`` random notes in four note values; ``rubato``
random notes with every onset at its own moment, so that nothing repeats. ``first`` is a planner that
remembers nothing yet; ``again`` the same notes once more. Processor time; best and median of the repeats.
"""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import networkx

from annotator import Options
from annotator.deciding import prepare, read_notes
from annotator.fingering import ReadNote
from annotator.fingering.alternatives import line_lattice
from annotator.fingering.planner import Planner, planner_for
from annotator.instruments import load
from annotator.pitch import Pitch

REPEATS = 7
NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def pitch(semitone: int) -> Pitch:
    """A pitch by its semitone, C4 = 60."""
    return Pitch.parse(f"{NAMES[semitone % 12]}{semitone // 12 - 1}")


def line(semitones: Sequence[int], values: Sequence[float], tempo: float) -> list[ReadNote]:
    """Notes in a row; ``values`` in quarters."""
    notes, onset = [], 0.0
    for place, (semitone, quarters) in enumerate(zip(semitones, values, strict=True)):
        seconds = 60 * quarters / tempo
        notes.append(
            ReadNote(pitch(semitone), onset, seconds, place % 4 == 1, place % 32 != 0, quarters=quarters)
        )
        onset += seconds
    return notes


def plain(count: int) -> list[ReadNote]:
    """Scales and arpeggios up and down in all keys, eighth notes and sixteenth notes at 108."""
    semitones: list[int] = []
    for key in range(12):
        for steps in ((0, 2, 4, 5, 7, 9, 11), (0, 4, 7), (0, 2, 3, 5, 7, 8, 11), (0, 3, 7)):
            up = [semitone for semitone in range(55, 85) if (semitone - key) % 12 in steps]
            semitones += up + up[::-1]
    while len(semitones) < count:
        semitones += semitones
    return line(semitones[:count], [0.5 if place // 64 % 2 else 0.25 for place in range(count)], 108)


def leaping(count: int) -> list[ReadNote]:
    """Random notes, F♯3 to C6, in four note values at 120."""
    chance = random.Random(1)
    return line(
        [chance.randint(54, 84) for _ in range(count)],
        [chance.choice([0.25, 0.5, 0.125, 1.0]) for _ in range(count)],
        120,
    )


def rubato(count: int) -> list[ReadNote]:
    """Random steps, each with a duration of its own."""
    chance = random.Random(2)
    return line(
        [chance.randint(60, 79) for _ in range(count)], [chance.uniform(0.1, 1.5) for _ in range(count)], 120
    )


def parts() -> list[list[ReadNote]]:
    """The lines of the demo parts, as read on a C trumpet."""
    found = []
    for file in sorted(Path("demo_scores").iterdir()):
        if file.suffix in (".musicxml", ".mxl", ".xml"):
            prepared = prepare(file.read_bytes(), Options())
            for part in prepared.played:
                for each in part.lines:
                    found.append(read_notes(part.part, each.line, each.pitches, prepared.clock))
    return found


def shortest_path(notes: Sequence[ReadNote]) -> None:
    """The same plan by networkx: the lattice built and Dijkstra run."""
    graph: networkx.DiGraph[object] = networkx.DiGraph()
    for index, arrival in enumerate(line_lattice(notes, load("c-trumpet"))):
        for state, sources in enumerate(arrival.sources):
            for source, cost in sources:
                graph.add_edge((index - 1, source), (index, state), weight=cost)
    networkx.multi_source_dijkstra_path_length(graph, {(-1, 0)})


def report(name: str, count: int, work: Callable[[], object], repeats: int = REPEATS) -> None:
    """Time ``work`` and print its notes a second."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    print(
        f"{name:<28}{count:>9} notes  {count / min(times):>12,.0f}/s best  "
        f"{count / statistics.median(times):>12,.0f}/s median"
    )


def main() -> None:
    """Print the table."""
    instrument = load("c-trumpet")
    planner = planner_for(instrument)

    def first(lines: Sequence[Sequence[ReadNote]]) -> None:
        fresh = Planner(planner.costing)
        for each in lines:
            fresh.plan(each)

    def again(lines: Sequence[Sequence[ReadNote]]) -> None:
        for each in lines:
            planner.plan(each)

    for name, lines in (
        ("plain", [plain(100_000)]),
        ("parts", parts()),
        ("leaping", [leaping(50_000)]),
        ("rubato", [rubato(20_000)]),
    ):
        count = sum(len(each) for each in lines)
        report(f"{name}, first", count, lambda lines=lines: first(lines))  # type: ignore[misc]
        again(lines)
        report(f"{name}, again", count, lambda lines=lines: again(lines))  # type: ignore[misc]
    some = plain(2_000)
    report("plain, networkx", len(some), lambda: shortest_path(some), 3)


if __name__ == "__main__":
    main()
