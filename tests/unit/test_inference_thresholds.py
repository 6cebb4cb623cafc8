"""Inference at its thresholds: what just suffices, and what just does not.

The thresholds are this program's own; natural partials are computed (``tests/reference/test_inference.py``).
"""

from __future__ import annotations

import pytest

from annotator.instruments import load
from annotator.pitch import Pitch
from annotator.reading import infer, segments
from annotator.reading.inference import CLEARLY, DIFFERENT, ENOUGH, NEARLY_ALL
from tests.unit.part_making import part

# Partials 4 to 12 of a trumpet in D as they sound, and two notes it does not have.
NATURAL = ["D4", "F#4", "A4", "D5", "E5", "F#5", "G5", "A5"]
STRANGE = ["Eb4", "F4"]


def told(names: list[str]) -> str | None:
    crook = infer(map(Pitch.parse, names)).crook
    return crook.id if crook else None


Moves = list[tuple[int, tuple[int, int]]]


def codes(
    names: list[str], name: str, transposes: list[tuple[int, tuple[int, int]]] | None = None
) -> list[str]:
    made = part(" ".join(names), name=name, transposes=transposes or [])
    found = segments(made, load("c-trumpet")).findings
    return [finding.code for finding in found if not finding.code.endswith("range")]


def test_the_thresholds() -> None:
    assert (NEARLY_ALL, CLEARLY, ENOUGH, DIFFERENT) == (0.95, 0.05, 8, 3)


@pytest.mark.parametrize(("strange", "crook"), [(0, "D"), (1, "D"), (2, None), (4, None)])
def test_nineteen_of_twenty_notes_are_nearly_all(strange: int, crook: str | None) -> None:
    names = (NATURAL * 3)[: 20 - strange] + (STRANGE * 2)[:strange]
    assert len(names) == 20
    assert told(names) == crook
    assert codes(names, "Tromba") == (["crook-inferred"] if crook else [])


def test_eight_notes_are_enough_and_seven_are_not() -> None:
    assert told(NATURAL) == "D"
    assert told(NATURAL[:7]) is None
    assert "too few notes to go by" in infer(map(Pitch.parse, NATURAL[:7])).words


def test_three_pitches_are_needed() -> None:
    # Of all crooks only A♭ has both C4 (partial 5) and E♭4 (6); two pitches say nothing however often.
    assert told(["C4", "Eb4"] * 10) is None
    assert told(["C4", "Eb4", "Ab4"] * 10) == "Ab"


def test_the_runner_up_must_stay_behind() -> None:
    # All are partials of D, all but D4 of A too: one in thirty-six keeps them 3 % apart, two 5.
    both = ["A4", "D5", "E5", "F#5", "G5", "G#5", "A5"] * 5
    close = infer(map(Pitch.parse, [*both, "D4"]))
    assert close.crook is None
    assert "several crooks fit about as well" in close.words
    assert told([*both, "D4", "D4"]) == "D"


def test_a_tune_in_c_is_no_part_for_a_trumpet_in_g() -> None:
    """From G4 to G5 a low trumpet in G has every note of C major, and few of them are of its triad."""
    tune = ["C5", "D5", "E5", "F5", "E5", "D5", "C5", "A4", "C5", "D5", "E5", "C5", "F5", "E5", "D5", "G4"]
    assert told(tune) == "G"
    assert codes(tune, "Trumpet") == []
    made = part(" ".join(tune), name="Trumpet")
    assert [each.code for each in segments(made, load("c-trumpet"), "infer").findings] == ["crook-inferred"]


def test_a_crook_that_was_not_understood_is_not_said_to_be_missing() -> None:
    made = part(" ".join(NATURAL * 2), name="Tromba quux Fa")
    found = {each.code: each.message for each in segments(made, load("c-trumpet")).findings}
    assert set(found) == {"change-not-read", "crook-inferred"}
    assert "no crook is named" not in found["crook-inferred"]
    assert "not understood" in found["crook-inferred"]


def shares(unnatural: int, total: int) -> list[str]:
    """Notes natural as they sound on D, save ``unnatural`` of them; few of them natural as written."""
    names = [name for name in ("F#4", "A4", "D5", "F#5") for _ in range(total)]
    return names[: total - unnatural] + ["Eb4"] * unnatural


def concert(names: list[str]) -> bool:
    return "concert-pitch" in codes(names, "Tromba in D")


def test_sounding_pitches_are_believed_from_nineteen_of_twenty() -> None:
    assert concert(shares(0, 20))
    assert concert(shares(1, 20))
    assert not concert(shares(2, 20))
    assert "no-transpose" in codes(shares(2, 20), "Tromba in D")


def test_and_only_where_clearly_more_are_natural_than_as_written() -> None:
    # D5, E5, G5 and C5 are partials of D and of C alike; F♯4 is one of D only.
    alike = ["D5", "E5", "G5", "A5"]
    assert not concert(alike * 4 + ["F#4"] * 3)  # 16 % more
    assert concert(alike * 4 + ["F#4"] * 4)  # 20 % more


@pytest.mark.parametrize(
    ("name", "transposes", "expected"),
    [
        ("Tromba in D", [(1, (1, 2))], []),
        ("Tromba in D", [(1, (2, 3))], ["crook-disagreement"]),
        ("Tromba in D", [(1, (-6, -10))], []),  # an octave lower is no other crook
        ("Trumpet in G", [(1, (4, 7))], []),
        ("Tromba in D", [], ["no-transpose"]),
        ("Tromba in C", [], []),
        ("Tromba in C", [(1, (0, 0))], []),
        ("Tromba in C", [(1, (-1, -2))], ["crook-disagreement"]),
        ("Tromba", [(1, (-1, -2))], []),
    ],
)
def test_when_words_and_transposition_disagree(name: str, transposes: Moves, expected: list[str]) -> None:
    found = codes(["C5", "C#5", "D5", "Eb5"], name, transposes)
    assert [code for code in found if code != "octave-moved"] == expected
