"""Which accidentals are printed: what is on the page must read back as the notes meant."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from annotator.keys import alters_of_key
from annotator.pitch import STEPS, Pitch
from annotator.reading.accidentals import Accidental, Staff, accidentals

ALTERS = {"flat-flat": -2, "flat": -1, "natural": 0, "sharp": 1, "double-sharp": 2}
pitches = st.builds(Pitch, st.sampled_from(STEPS), st.integers(-2, 2), st.integers(4, 5))
narrow = st.builds(Pitch, st.sampled_from("FG"), st.integers(-1, 1), st.integers(4, 5))
bars = st.lists(st.lists(st.one_of(pitches, narrow), max_size=8), max_size=6)


def printed(*bars: str, fifths: int = 0) -> list[list[str]]:
    """The accidentals of bars like ``"F#4 F#4 ~F#4"`` (``~``: a tie ends here); courtesy ones in brackets."""
    staff = Staff()
    found = []
    for bar in bars:
        notes = [(Pitch.parse(token.removeprefix("~")), token.startswith("~")) for token in bar.split()]
        found.append([shown(item) for item in accidentals(notes, fifths, staff)])
    return found


def shown(accidental: Accidental | None) -> str:
    if accidental is None:
        return "-"
    return f"({accidental.name})" if accidental.cautionary else accidental.name


def test_holds_to_the_barline() -> None:
    assert printed("F#4 F#4 F4 F4", "F4") == [["sharp", "-", "natural", "-"], ["-"]]


def test_after_the_barline_printed_again_or_taken_back() -> None:
    assert printed("F#4", "F#4", "F4 F4", "F4") == [["sharp"], ["sharp"], ["(natural)", "-"], ["-"]]


def test_each_octave_for_itself() -> None:
    assert printed("F#4 F#5 F5 F4") == [["sharp", "sharp", "natural", "natural"]]
    assert printed("F#4 F5 F5") == [["sharp", "(natural)", "-"]]
    assert printed("F#4", "F5") == [["sharp"], ["(natural)"]]


def test_key_signature() -> None:
    assert printed("F#4 C#5 F4 F#4", "F#4 C5", "C#5", fifths=2) == [
        ["-", "-", "natural", "sharp"],
        ["-", "natural"],
        ["(sharp)"],
    ]


def test_tied_over_the_barline() -> None:
    assert printed("F#4", "~F#4 F#4") == [["sharp"], ["-", "sharp"]]
    assert printed("F#4", "~F#4 F4") == [["sharp"], ["-", "(natural)"]]
    assert printed("F#4", "~F#4", "F4") == [["sharp"], ["-"], ["(natural)"]]


def test_double_accidentals() -> None:
    assert printed("F##4 F#4 Bbb4 Bb4 B4") == [["double-sharp", "sharp", "flat-flat", "flat", "natural"]]
    assert printed("F##4", "F#4", fifths=1) == [["double-sharp"], ["(sharp)"]]


def test_key_change_in_mid_bar() -> None:
    staff = Staff()
    first = accidentals([(Pitch.parse("F#4"), False)], 0, staff)
    second = accidentals([(Pitch.parse("F#4"), False)], 1, staff, new_bar=False)
    assert [shown(item) for item in first + second] == ["sharp", "-"]


def read_back(
    bars: list[list[tuple[Pitch, bool]]], shown: list[list[Accidental | None]], fifths: int
) -> None:
    """Reads as a player does: key, then what was printed in this bar at this place; ties hold on."""
    key = alters_of_key(fifths)
    for bar, signs in zip(bars, shown, strict=True):
        in_force: dict[tuple[str, int], int] = {}
        for (pitch, tied), sign in zip(bar, signs, strict=True):
            place = (pitch.step, pitch.octave)
            if sign is not None:
                in_force[place] = ALTERS[sign.name]
            if tied:
                assert sign is None
                continue
            read = in_force.get(place, key[STEPS.index(pitch.step)])
            assert read == pitch.alter


@given(bars, st.integers(-6, 6), st.data())
def test_reads_back(bars: list[list[Pitch]], fifths: int, data: st.DataObject) -> None:
    notes: list[list[tuple[Pitch, bool]]] = []
    last: Pitch | None = None
    for bar in bars:
        made = []
        for pitch in bar:
            tied = last is not None and data.draw(st.integers(0, 3)) == 0
            note = last if tied and last is not None else pitch
            made.append((note, tied))
            last = note
        notes.append(made)
    staff = Staff()
    read_back(notes, [accidentals(bar, fifths, staff) for bar in notes], fifths)


@given(bars, st.integers(-6, 6))
def test_nothing_is_printed_needlessly(bars: list[list[Pitch]], fifths: int) -> None:
    """An accidental that is no courtesy changes what the place read as."""
    staff = Staff()
    key = alters_of_key(fifths)
    for bar in bars:
        in_force: dict[tuple[str, int], int] = {}
        for pitch, sign in zip(bar, accidentals([(each, False) for each in bar], fifths, staff), strict=True):
            place = (pitch.step, pitch.octave)
            before = in_force.get(place, key[STEPS.index(pitch.step)])
            if sign is not None:
                assert ALTERS[sign.name] == pitch.alter
                assert (before == pitch.alter) == sign.cautionary
                in_force[place] = pitch.alter


@given(st.lists(narrow, max_size=12))
def test_one_courtesy_is_enough(bar: list[Pitch]) -> None:
    """The same note twice running carries at most one sign."""
    notes = [(pitch, False) for pitch in bar for _ in range(2)]
    signs = accidentals(notes, 0)
    assert all(second is None for second in signs[1::2])
