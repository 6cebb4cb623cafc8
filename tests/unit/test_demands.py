"""What a line asks for besides crossings: each kind, at its threshold, on the page and in the report."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from lxml import etree

import annotator
from annotator.fingering import ReadNote
from annotator.fingering.demands import Demand, demands, rows
from annotator.instruments import available, load
from annotator.pitch import Pitch
from tests.unit.tunes import dynamic, note, rest, tune

EDITOR = Path("/usr/share/mscore3-3.2/instruments/instruments.xml")
"""A general notation editor's list of instruments, from the Debian package musescore3-common."""


def line(names: str, seconds: float, slurred: bool = False) -> list[ReadNote]:
    return [
        ReadNote(
            Pitch.parse(name.lstrip("|")), i * seconds, seconds, slurred, joined=name[0] != "|", quarters=0.25
        )
        for i, name in enumerate(names.split())
    ]


def found(notes: Sequence[ReadNote], level: int | None = None, name: str = "c-trumpet") -> list[Demand]:
    return list(demands(notes, load(name), lambda index: level))


def kinds(*given: Demand) -> list[str]:
    return [each.kind for each in given]


@pytest.mark.parametrize(
    ("seconds", "expected"), [(0.13, []), (0.12, ["double-tongue"]), (0.1, ["double-tongue"])]
)
def test_repeated_notes_faster_than_a_single_tongue(seconds: float, expected: list[str]) -> None:
    """A single tongue ends at 8 to 9 a second ("Tonguing", contemporarytuba.com; common practice)."""
    assert kinds(*found(line("C5 C5 C5 C5 C5 C5 E5", seconds))) == expected


def test_a_run_under_a_slur_or_of_different_notes_needs_no_double_tongue() -> None:
    assert not found(line("C5 C5 C5 C5", 0.1, slurred=True))
    assert not found(line("C5 D5 C5 D5 C5 D5", 0.1))
    assert not found(line("C5 C5 C5", 0.1))


def test_threes_are_triple_tongued() -> None:
    notes = [each._replace(quarters=1 / 3) for each in line("C5 C5 C5 C5 C5 C5", 0.11)]
    (only,) = found(notes)
    assert only.kind == "triple-tongue"
    assert "triple tongue" in only.sentence
    assert (only.first, only.last) == (0, 5)


def test_a_long_phrase_has_no_place_to_breathe_until_there_is_one() -> None:
    long = line("C5 D5 " * 40, 0.2)
    (only,) = found(long)
    assert only.kind == "breath"
    assert only.amount == 16.0
    broken = [each._replace(joined=False) if place == 40 else each for place, each in enumerate(long)]
    assert not found(broken)
    held = [each._replace(duration=0.7) if place == 40 else each for place, each in enumerate(long)]
    assert not found(held)


def test_a_soft_high_entry_wants_all_three() -> None:
    high = line("A5 B5", 1.0)
    assert kinds(*found(high, -1)) == ["soft-entry"]
    assert not found(high, 1)
    assert not found(high, None)
    assert not found(line("G5 A5", 1.0), -2)


def test_notes_above_what_players_own_are_told_once_a_phrase_and_higher_each_time() -> None:
    notes = line("C6 C#6 D6 |C6 |E6 F6 |F6", 0.5)
    told = [(each.kind, each.pitch.name) for each in found(notes) if each.pitch is not None]
    assert told == [("beyond", "D6"), ("beyond", "F6")]
    assert kinds(*found(line("C6", 1.0))) == ["top"]
    assert not found(line("A5 B5 G5", 0.5))


def test_a_pedal_note() -> None:
    (only,) = found(line("C4 F3 C4", 1.0))
    assert only.kind == "pedal"
    assert only.sentence.startswith("F3 is a pedal note")


@pytest.mark.skipif(not EDITOR.exists(), reason="the Debian package musescore3-common is not installed")
@pytest.mark.parametrize(
    "name", sorted(set(available()) - {"g-trumpet", "a-piccolo", "bb-piccolo", "f-trumpet"})
)
def test_what_players_own_beside_a_general_editors_list(name: str) -> None:
    """Its amateur's and professional's highest notes (sounding, MIDI) lie within a minor third of ours."""
    listed = etree.parse(str(EDITOR)).getroot()
    instrument = load(name)
    entry = listed.find(f".//Instrument[@id='{name.replace('bb-flugelhorn', 'flugelhorn')}']")
    assert entry is not None
    for kind, ours in (("a", instrument.amateur), ("p", instrument.professional)):
        highest = int((entry.findtext(f"{kind}PitchRange") or "").split("-")[1])
        assert abs(highest - instrument.transposition.chromatic - ours.semitone) <= 3
    lowest = int((entry.findtext("pPitchRange") or "").split("-")[0])
    assert lowest - instrument.transposition.chromatic == instrument.low.semitone


def test_demands_are_in_the_report_and_wanted_on_the_page() -> None:
    mute = "<direction><direction-type><words>con sord.</words></direction-type></direction>"
    music = note("C5") + mute + note("D5") + rest() + dynamic("p") + note("A5")
    data = tune(music)
    plain = annotator.annotate(data)
    told = plain.report["parts"][0]["demands"]
    assert [(each["kind"], each["from_measure"]) for each in told] == [("mute", "1"), ("soft-entry", "1")]
    assert all(each["sentence"] for each in told)
    assert b"soft" not in plain.data
    marked = annotator.annotate(data, annotator.Options(mark=("demands",)))
    words = " ".join(each.text or "" for each in etree.fromstring(marked.data).iter("words"))
    assert "soft" in words
    assert "mute" in words
    assert annotator.strip(marked.data) == data


def test_a_quarter_tone_is_said_in_a_players_words() -> None:
    data = tune(note("C5").replace("</step>", "</step><alter>-0.5</alter>") + note("D5"))
    (told,) = annotator.annotate(data).report["parts"][0]["demands"]
    assert told["kind"] == "quarter-tone"
    assert "C5 a quarter tone lower" in told["sentence"]
    assert "alter" not in told["sentence"]


def test_every_row_has_its_words_and_its_source() -> None:
    for row in rows().values():
        assert row.word
        assert len(row.word) <= 12
        assert row.source
        assert row.says.format(amount=1.0, pitch="C6", name="x")
