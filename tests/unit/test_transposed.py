"""The transposed part is one a player could put on the stand."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from lxml import etree

import annotator
from annotator.instruments import from_toml
from annotator.transposed import transposed_part
from tests.unit.parts import NoteText, part_xml

DEMO = Path(__file__).parents[2] / "demo_scores"
IN_C = annotator.Options(instrument="c-trumpet", mark=())


def demo(number: str) -> bytes:
    (path,) = DEMO.glob(f"{number}_*")
    return path.read_bytes()


def test_headings_name_the_trumpet_in_hand() -> None:
    root = etree.fromstring(transposed_part(demo("01"), IN_C))
    assert [name.text for name in root.iter("part-name")] == ["Trumpet I in C"]
    credits = [words.text or "" for words in root.iter("credit-words")]
    assert not any(re.search(r"in E\b", words) for words in credits)
    assert root.find(".//transpose") is None


@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("Tromba 1ª in Mi", "1 "),
        ("1re Trompette en ré", "1 "),
        ("2nd Trumpet in D", "2 "),
        ("Trombe 1 e 2 in Re", "1 e 2 "),
        ("1re et 2e Trompettes en ré", "1 et 2 "),
        ("Tromba II in E", "II "),
        ("3. Trompete in D", "3 "),
        ("Trumpets 1/2 in D", "1/2 "),
        ("Tromba in E", ""),
    ],
)
def test_the_players_number_stays_in_the_heading(name: str, number: str) -> None:
    data = part_xml([NoteText("C", 0, 5)], transpose=(2, 4), name=name)
    root = etree.fromstring(transposed_part(data, IN_C))
    assert root.findtext(".//part-name") == f"Trumpet {number}in C"


def test_headings_are_the_instruments_own_words() -> None:
    """No name is taken apart, so a trumpet of any language may be brought along."""
    text = (Path(annotator.__file__).parent / "instruments/c-trumpet.toml").read_text()
    plain = re.sub(r"^(heading|short) = .*\n", "", text, flags=re.MULTILINE)
    data = part_xml([NoteText("C", 0, 5)], transpose=(2, 4), name="Tromba 2 in E")

    def heading(toml: str) -> str | None:
        hand = from_toml(toml)
        options = annotator.Options(instrument=hand, mark=())
        return etree.fromstring(transposed_part(data, options)).findtext(".//part-name")

    assert heading(plain.replace("Trumpet in C", "Trompete in C alta")) == "Trompete in C alta 2"
    own = 'heading = "{number}. Trompete in C"\n' + plain
    assert heading(own) == "2. Trompete in C"
    with pytest.raises(annotator.BadInstrument, match="heading: must say with"):
        from_toml('heading = "Trompete"\n' + plain)


def test_of_a_full_score_only_the_trumpets_are_left() -> None:
    root = etree.fromstring(transposed_part(demo("07"), IN_C))
    ids = [part.get("id") for part in root.iter("score-part")]
    assert len(ids) == 1
    assert [part.get("id") for part in root.iterchildren("part")] == ids
    assert root.find("part-list/part-group") is None


def test_words_that_changed_the_crook_go_and_their_neighbours_stay() -> None:
    before, after = demo("02").decode(), transposed_part(demo("02"), IN_C).decode()
    assert "muta in C, senza sord." in before
    assert "muta in" not in after
    assert ">senza sord.<" in after


def test_layout_dynamics_and_lyrics_stay_as_they_were() -> None:
    data = demo("04")
    before, after = etree.fromstring(data), etree.fromstring(transposed_part(data, IN_C))
    for tag in ("dynamics", "wedge", "slur", "beam", "lyric", "print", "measure", "duration", "credit"):
        assert len(list(after.iter(tag))) == len(list(before.iter(tag))), tag


def test_fingering_only_when_asked_for_and_for_the_new_reading() -> None:
    printed = "<notations><technical><fingering>1-3</fingering></technical></notations>"
    data = part_xml([NoteText("D", 0, 4, printed)], transpose=(-1, -2), name="Trumpet in B♭")
    assert b"<fingering" not in transposed_part(data, IN_C)
    marked = transposed_part(data, annotator.Options(mark=("fingering", "cue")))
    root = etree.fromstring(marked)
    assert [mark.text for mark in root.iter("fingering")] == ["0"]
    assert len(list(root.iterchildren("part"))) == 1, "nothing is left to transpose, so no cue line"


def test_chord_symbols_move_too() -> None:
    harmony = "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"
    data = part_xml([NoteText("C", 0, 5, lead=harmony)], transpose=(2, 3), name="Tromba in Mi♭")
    root = etree.fromstring(transposed_part(data, IN_C))
    assert (root.findtext(".//root-step"), root.findtext(".//root-alter")) == ("E", "-1")


def test_a_key_signature_comes_where_there_was_one_or_where_it_is_asked_for() -> None:
    def fifths(data: bytes, key: str) -> list[str | None]:
        root = etree.fromstring(transposed_part(data, annotator.Options(mark=(), key=key)))
        return [each.text for each in root.iter("fifths")]

    old = part_xml([NoteText("C", 0, 5)], transpose=(2, 4), name="Tromba in E")
    assert fifths(old, "auto") == ["0"]
    assert fifths(old, "signature") == ["4"]
    new = part_xml([NoteText("C", 0, 5)], transpose=(2, 4), name="Tromba in E", fifths=1)
    assert fifths(new, "auto") == ["5"]
    assert fifths(new, "none") == ["0"]


def with_direction(direction: str) -> bytes:
    """A part in F with ``direction`` over its first note."""
    data = part_xml([NoteText("C", 0, 5)], transpose=(3, 5), name="Trumpet in F")
    first = data.index(b"<note>")
    return data[:first] + direction.encode() + data[first:]


@pytest.mark.parametrize(
    ("words", "left"),
    [
        ("to C Tpt. (cup mute)", ["(cup mute)"]),
        ("muta in E. Tempo I", ["Tempo I"]),
        ("Solo – muta in E", ["Solo"]),
        ("II. Andante – Trombe in D", ["II. Andante"]),
        ("take D.S. al Coda", ["take D.S. al Coda"]),
        ("muta in C, senza sord.", ["senza sord."]),
        ("muta in E e con sord.", ["con sord."]),
        ("dolce, muta in C, espressivo", ["dolce, espressivo"]),
        ("Dpf. ab, nach B", ["Dpf. ab"]),
        ("1. muta in F, con sord.; 2. muta in C, senza sord.", ["1. con sord.; 2. senza sord."]),
        ("1. in F, 2. in C", []),
        ("(muta in F)", []),
        ("muta in X", ["muta in X"]),
        ("muta in B&#9837; &amp; a 2", ["a 2"]),
        ("Cor. muta in E", ["Cor. muta in E"]),
        ("Flugelhorn", ["Flugelhorn"]),
        ("muta in</words><words>E♭, con sord.", ["con sord."]),
    ],
)
def test_exactly_the_words_of_the_change_go(words: str, left: list[str]) -> None:
    direction = f"<direction><direction-type><words>{words}</words></direction-type></direction>"
    after = transposed_part(with_direction(direction), IN_C).decode()
    assert re.findall("<words>(.*?)</words>", after) == left


def test_what_else_stands_in_a_direction_stays() -> None:
    direction = (
        "<direction><direction-type><words>muta in E</words></direction-type>"
        "<direction-type><symbol>accidentalFlat</symbol></direction-type>"
        "<direction-type><dynamics><p/></dynamics></direction-type></direction>"
    )
    after = transposed_part(with_direction(direction), IN_C).decode()
    assert "muta" not in after
    assert "accidentalFlat" not in after
    assert "<direction><direction-type><dynamics><p/></dynamics></direction-type></direction>" in after


def test_a_change_in_two_directions_goes_from_both() -> None:
    one = "<direction><direction-type><words>{}</words></direction-type></direction>"
    data = with_direction(one.format("muta in") + one.format("E♭, con sord."))
    assert re.findall("<words>(.*?)</words>", transposed_part(data, IN_C).decode()) == ["con sord."]
