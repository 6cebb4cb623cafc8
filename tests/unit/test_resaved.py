"""Marks in a file that another program has saved: known again by what programs keep, and nothing else taken.

What each program keeps was found by trying (the table in DEVELOPERS.md); the two here drop the same things.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree

import annotator
from annotator.annotation import stripped
from annotator.cli import crookline
from annotator.registry.mark_rows import MARK_NAMES, WORD_MARKS
from annotator.score import record
from annotator.score.ours import SIGN, kind_of_colour, kind_of_size, signed_colour, signed_size
from tests.unit.parts import NoteText, part_xml
from tests.unit.test_annotation import NOTES
from tests.unit.tunes import demo

ALL = annotator.Options(mark=MARK_NAMES)


def parsed(data: bytes) -> etree._Element:
    return etree.fromstring(data, etree.XMLParser(remove_pis=True, remove_comments=True))


def keeps_sizes(data: bytes) -> bytes:
    """As an editor saves that drops names of lyrics, every other line's colours, and fields unknown to it."""
    root = parsed(data)
    for lyric in root.iter("lyric"):
        lyric.attrib.pop("name", "")
        if int(lyric.get("number", "1")) % 2 == 0:
            for element in lyric.iter():
                element.attrib.pop("color", "")
    for fingering in root.iter("fingering"):
        for name in list(fingering.attrib):
            del fingering.attrib[name]
    for notations in root.iter("technical"):
        # Of two fingerings on a note it keeps the last.
        for extra in notations.findall("fingering")[:-1]:
            notations.remove(extra)
    for fields in list(root.iter("miscellaneous")):
        fields.getparent().remove(fields)  # type: ignore[union-attr]
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True)


def keeps_colours(data: bytes) -> bytes:
    """As a program saves that drops sizes and sources."""
    root = parsed(data)
    for text in root.iter("text"):
        text.attrib.pop("font-size", "")
        text.attrib.pop("color", "")
    for source in list(root.iter("source")):
        source.getparent().remove(source)  # type: ignore[union-attr]
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True)


SAVES = [keeps_sizes, keeps_colours]
Save = Callable[[bytes], bytes]
Notes = list[list[tuple[str, ...]]]


def shape(data: bytes) -> list[tuple[str, str, tuple[tuple[str, str], ...]]]:
    """The elements of a score in order, but for the ones that are empty without marks."""
    dull = ("identification", "miscellaneous", "notations", "technical")
    return [
        (str(each.tag), (each.text or "").strip(), tuple(map(tuple, sorted(each.attrib.items()))))  # type: ignore[arg-type]
        for each in parsed(data).iter()
        if each.tag not in dull or len(each)
    ]


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=60)
@given(
    notes=NOTES,
    save=st.sampled_from(SAVES),
    transpose=st.sampled_from([(0, 0), (2, 4)]),
    marks=st.sets(st.sampled_from(MARK_NAMES), min_size=1),
)
def test_what_a_program_saved_is_stripped_to_what_it_makes_of_the_plain_file(
    notes: list[NoteText], save: Save, transpose: tuple[int, int], marks: set[str]
) -> None:
    data = part_xml(notes, transpose=transpose, name="Tromba in E")
    options = annotator.Options(mark=tuple(sorted(marks)))
    saved = save(annotator.annotate(data, options).data)
    assert shape(annotator.strip(saved)) == shape(save(data))
    again = annotator.annotate(saved, options).data
    assert annotator.annotate(again, options).data == again
    assert annotator.strip(again) == annotator.strip(saved)
    assert len(parsed(again).findall("part")) <= 2


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=60)
@given(notes=NOTES, save=st.sampled_from(SAVES), kinds=st.sets(st.sampled_from(MARK_NAMES), min_size=1))
def test_some_kinds_go_and_the_others_stay(notes: list[NoteText], save: Save, kinds: set[str]) -> None:
    data = part_xml(notes, transpose=(2, 4), name="Tromba in E")
    rest = tuple(name for name in MARK_NAMES if name not in kinds)
    marked = annotator.annotate(data, ALL).data
    left = stripped(save(marked), kinds).data
    only_rest = save(annotator.annotate(data, annotator.Options(mark=rest)).data) if rest else save(data)

    def tags(score: bytes) -> list[tuple[str, str]]:
        kept = ("part", "fingering", "text", "words", "pitch")
        return [(str(e.tag), (e.text or "").strip()) for e in parsed(score).iter() if e.tag in kept]

    assert tags(left) == tags(only_rest)


@settings(deadline=None, max_examples=60)
@given(
    measures=st.lists(st.lists(st.sampled_from(["0", "1", "1-2", "-"]), max_size=6).map(tuple), max_size=12),
    at=st.integers(0, 100),
    new=st.sampled_from(["3", "1-3", "2-3"]),
)
def test_what_was_changed_is_not_ours(measures: list[tuple[str, ...]], at: int, new: str) -> None:
    there: Notes = [[() if each == record.NONE else (each,) for each in measure] for measure in measures]
    places = [(m, n) for m, measure in enumerate(there) for n in range(len(measure))]
    if places:
        m, n = places[at % len(places)]
        there[m][n] = (new,)
    known = record.ours(measures, there)
    for m, measure in enumerate(there):
        for n, on in enumerate(measure):
            was = measures[m][n]
            assert known[m][n] == (on == (was,))


def test_bars_and_notes_may_come_and_go() -> None:
    was = [("0", "1"), ("1-2", "2"), ("0", "0"), ("1", "2-3")]
    there: Notes = [[("0",), ("1",)], [("3",)], [("1-2",), (), ("2",)], [("0",), ("0",)], [("1",)]]
    assert record.ours(was, there) == [[True, True], [False], [True, False, True], [True, True], [True]]


def test_a_record_is_read_back_among_other_text_and_a_broken_one_is_none() -> None:
    parts = [record.RecordedPart("Tromba 1 in E♭ & co.", (("0", "1-2~3"), (), ("-",)))]
    text = record.written(parts)
    assert text.isascii()
    assert record.found(f"Urtext, 1912 {text}") == tuple(parts)
    assert record.without(f"Urtext, 1912 {text}").strip() == "Urtext, 1912"
    assert record.found(text[:-9]) is None
    assert record.found(text.replace(text[20:30], "AAAAAAAAAA")) is None
    assert record.found("crookline-marks:") is None


def test_a_source_that_was_there_stays() -> None:
    data = part_xml([NoteText("C", 0, 5)])
    data = data.replace(
        b"<part-list>",
        b"<identification><source>Urtext, 1912</source><miscellaneous><miscellaneous-field name='a'>b"
        b"</miscellaneous-field></miscellaneous></identification><part-list>",
    )
    marked = annotator.annotate(data, ALL).data
    assert annotator.strip(marked) == data
    for save in SAVES:
        assert shape(annotator.strip(save(marked))) == shape(save(data))


@pytest.mark.parametrize(
    "foreign",
    [
        '<lyric number="1" color="#112233"><text>la</text></lyric>',
        '<lyric number="1"><text font-size="9.53">la</text></lyric>',
        '<lyric number="1"><text font-size="8.9717647">la</text></lyric>',
        "<notations><technical><fingering>2</fingering></technical></notations>",
    ],
)
def test_what_others_wrote_is_left_alone(foreign: str) -> None:
    """Colours and sizes of others, and a zero-width sign inside a word, are no marks of ours."""
    words = f"<direction><direction-type><words>dol{SIGN}ce</words></direction-type></direction>"
    data = part_xml([NoteText("C", 0, 5, foreign, lead=words)])
    assert annotator.strip(data) == data
    marked = annotator.annotate(data, ALL).data
    assert annotator.strip(marked) == data


@given(st.integers(0, 0xFFFFFF), st.floats(4, 36))
def test_signs_in_colours_and_sizes_are_too_small_to_be_seen(colour: int, size: float) -> None:
    for kind in ("partial", "intonation"):
        signed = signed_colour(f"#{colour:06x}", kind)
        assert kind_of_colour(signed[1:]) == kind
        for shift in (0, 8, 16):
            assert abs((int(signed[1:], 16) >> shift & 255) - (colour >> shift & 255)) <= 7
        assert kind_of_size(signed_size(size, kind)) == kind
        assert abs(float(signed_size(size, kind)) - size) < 0.13


def test_strip_says_what_it_did_not_recognise(tmp_path: Path) -> None:
    plain = tmp_path / "plain.musicxml"
    plain.write_bytes(part_xml([NoteText("C", 0, 5)]))
    done = CliRunner().invoke(crookline, ["strip", str(plain), "-o", str(tmp_path / "out.musicxml")])
    assert done.exit_code == 0
    assert "no marks were recognised" in done.stderr
    assert "--force" in done.stderr
    assert (tmp_path / "out.musicxml").read_bytes() == plain.read_bytes()

    # Of everything only the cue staff is still known: the fingerings may be anybody's.
    root = parsed(annotator.annotate(demo("01").read_bytes(), ALL).data)
    for tag in ("lyric", "source", "miscellaneous"):
        for element in list(root.iter(tag)):
            element.getparent().remove(element)  # type: ignore[union-attr]
    poor = tmp_path / "poor.musicxml"
    poor.write_bytes(etree.tostring(root))
    done = CliRunner().invoke(crookline, ["strip", str(poor), "-o", str(tmp_path / "out.musicxml")])
    assert "fingerings stay" in done.stderr
    left = parsed((tmp_path / "out.musicxml").read_bytes())
    assert len(left.findall("part")) == 1
    assert list(left.iter("fingering"))
    report = annotator.annotate(poor.read_bytes(), ALL).report
    assert "marks-not-recognised" in [each["code"] for each in report["warnings"]]
    assert len(report["parts"]) == 1
    out = str(tmp_path / "out.musicxml")
    forced = CliRunner().invoke(crookline, ["strip", "--force", str(poor), "-o", out])
    assert forced.exit_code == 0
    assert not list(parsed((tmp_path / "out.musicxml").read_bytes()).iter("fingering"))


def test_force_takes_what_looks_like_a_mark_and_leaves_words_that_are_sung() -> None:
    sung = '<lyric number="1"><text>la</text></lyric>'
    data = part_xml([NoteText(step, 0, 5, sung) for step in "CDEF"], transpose=(2, 4), name="Tromba in E")
    root = parsed(annotator.annotate(data, ALL).data)
    for element in root.iter("lyric", "text"):
        element.attrib.pop("color", "")
        element.attrib.pop("font-size", "")
    found = stripped(etree.tostring(root), force=True)
    after = parsed(found.data)
    assert "la" in {text.text for text in after.iter("text")}
    assert not list(after.iter("fingering"))
    assert len(after.findall("part")) == 1


def test_only_kinds_there_are_can_be_taken_out() -> None:
    with pytest.raises(annotator.BadOption, match="'hat' is no mark"):
        stripped(part_xml([NoteText("C", 0, 5)]), ("hat",))


def test_words_of_each_kind_are_told_apart() -> None:
    saved = keeps_sizes(annotator.annotate(demo("06").read_bytes(), ALL).data)
    counts = stripped(saved).counts
    for kind in WORD_MARKS:
        assert stripped(saved, (kind,)).counts.get(kind, 0) == counts.get(kind, 0)
    assert sum(kind in counts for kind in WORD_MARKS) == 2
