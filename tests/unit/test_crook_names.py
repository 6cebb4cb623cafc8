"""Names of crooks and instruments in four languages. Common practice, no source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotator.reading import CROOKS, crook_in_heading, is_trumpet, read_change, read_heading
from annotator.reading.names import family_in, sound_crook
from tests.unit.crook_table import CHANGES, HEADINGS, NO_CHANGES


@pytest.mark.parametrize(("text", "crook", "family"), HEADINGS)
def test_heading(text: str, crook: str | None, family: str) -> None:
    named = read_heading(text)
    assert (named.crook.id if named and named.crook else None) == crook
    assert (named.family if named else "") == family


@pytest.mark.parametrize(("text", "crook", "family", "announces"), CHANGES)
def test_change(text: str, crook: str | None, family: str, announces: bool) -> None:
    change = read_change(text)
    assert change is not None
    assert (change.named.crook.id if change.named.crook else None) == crook
    assert change.named.family == family
    assert change.announces == announces


@pytest.mark.parametrize("text", NO_CHANGES)
def test_words_that_change_nothing(text: str) -> None:
    assert read_change(text) is None


# Every way the four languages write the crooks of natural trumpets.
ENGLISH = {
    "F": ["F"],
    "E": ["E", "E natural", "E♮"],
    "Eb": ["Eb", "E♭", "E flat", "E-flat", "E Flat"],
    "D": ["D"],
    "Db": ["Db", "D♭", "D-flat"],
    "C": ["C"],
    "B": ["B natural", "B♮", "B-natural"],
    "Bb": ["Bb", "B♭", "B flat", "B-flat", "B ♭"],
    "A": ["A"],
    "Ab": ["Ab", "A♭", "A flat"],
    "G": ["G"],
}
GERMAN = {
    "F": ["F"],
    "E": ["E"],
    "Eb": ["Es"],
    "D": ["D"],
    "Db": ["Des"],
    "C": ["C"],
    "B": ["H"],
    "Bb": ["B"],
    "A": ["A"],
    "Ab": ["As"],
    "G": ["G"],
}
ITALIAN = {
    "F": ["Fa"],
    "E": ["Mi", "Mi naturale"],
    "Eb": ["Mi♭", "Mib", "Mi b", "Mi bemolle"],
    "D": ["Re"],
    "Db": ["Re♭", "Reb"],
    "C": ["Do"],
    "B": ["Si", "Si naturale"],
    "Bb": ["Si♭", "Sib", "Si bem."],
    "A": ["La"],
    "Ab": ["La♭", "Lab", "La bemolle"],
    "G": ["Sol"],
}
FRENCH = {
    "F": ["fa"],
    "E": ["mi", "mi naturel"],
    "Eb": ["mi♭", "mi bémol"],
    "D": ["ré"],
    "Db": ["ré♭", "ré bémol"],
    "C": ["ut", "do"],
    "B": ["si", "si bécarre"],
    "Bb": ["si♭", "sib", "si bémol"],
    "A": ["la"],
    "Ab": ["la♭", "la bémol"],
    "G": ["sol"],
}
LANGUAGES = (
    (["Trumpet", "Trumpets", "Tpt.", "Tpts", "Trp.", "Cornet", "Flugelhorn"], "in", ENGLISH),
    (["Trompete", "Trompeten", "Trp.", "Kornett", "Flügelhorn"], "in", GERMAN),
    (["Tromba", "Trombe", "Trba", "Clarino", "Clarini", "Cornetta"], "in", ITALIAN),
    (["Trompette", "Trompettes", "Cornet à pistons", "Cornets à pistons"], "en", FRENCH),
)
CASES = [
    (instrument, preposition, name, crook)
    for instruments, preposition, names in LANGUAGES
    for instrument in instruments
    for crook, written in names.items()
    for name in written
]
case = st.sampled_from(CASES)
number_before = st.sampled_from(["", "2 ", "3 ", "I. ", "1. ", "1re ", "1st "])
number_between = st.sampled_from(
    ["", " 1", " I", " II", " 1ª", " 1.2", " I/II", " 1 & 2", " I e II", " 1°", " solo"]
)
number_after = st.sampled_from(["", " 1", " II", ".", " (1.)", " 1/2"])
space = st.sampled_from([" ", "  ", "\n", "\u00a0", " \t"])
change_case = st.sampled_from([str, str.upper, str.lower, str.title])


@given(case, number_before, number_between, number_after, space, change_case, st.booleans())
def test_headings_of_all_languages(  # noqa: PLR0917 - one argument for each thing that varies
    row: tuple[str, str, str, str],
    before: str,
    between: str,
    after: str,
    gap: str,
    cased: object,
    bracketed: bool,
) -> None:
    instrument, preposition, name, crook = row
    named = f"{preposition}{gap}{name}"
    text = f"{before}{instrument}{between}{gap}{f'({named})' if bracketed else named}{after}"
    assert callable(cased)
    text = cased(text)
    found = crook_in_heading(text)
    assert found is not None, text
    assert found.id == crook, text
    assert is_trumpet(text), text


@given(case, st.sampled_from(["muta", "change", "wechselt", "changez", "mutano", "wechseln"]), change_case)
def test_change_words_of_all_languages(row: tuple[str, str, str, str], word: str, cased: object) -> None:
    _, preposition, name, crook = row
    assert callable(cased)
    change = read_change(cased(f"{word} {preposition} {name}"))
    assert change is not None
    assert change.named.crook is not None
    assert change.named.crook.id == crook
    assert change.announces


@given(case)
def test_no_space_before_the_crook(row: tuple[str, str, str, str]) -> None:
    instrument, preposition, name, crook = row
    for text in (f"{instrument} {preposition}{name}", f"{instrument}{preposition} {name}"):
        if "." in instrument and not text.startswith(f"{instrument} "):
            continue
        found = crook_in_heading(text)
        assert found is not None, text
        assert found.id == crook, text


@given(st.text(max_size=300))
def test_any_text_is_read_without_harm(text: str) -> None:
    read_heading(text)
    read_heading(text, title=True)
    read_change(text)
    is_trumpet(text)


PIECES = [
    "1",
    "11a",
    "in",
    "i.",
    "iv.",
    "e",
    "solo.",
    "alto.",
    "trumpet",
    "tromba",
    "muta.",
    "la",
    "(",
    ".",
    " ",
    "b",
]


@given(
    st.sampled_from(["", "trumpet ", "muta ", "in ", "tromba in "]),
    st.lists(st.sampled_from(PIECES), min_size=1, max_size=4),
    st.sampled_from(["", " "]),
    st.sampled_from(["", " q", "!"]),
)
def test_no_text_takes_exponential_time(start: str, unit: list[str], space: str, end: str) -> None:
    """Words repeated to the length that is looked at; the test's own deadline fails where one is slow."""
    text = start + space.join(unit * 80)[:230] + end
    read_heading(text)
    read_change(text)
    is_trumpet(text)


def test_german_b_may_be_the_english_one() -> None:
    named = read_heading("Trumpet in B")
    assert named is not None
    assert named.crook is not None
    assert named.crook.id == "Bb"
    assert [crook.id for crook in named.may_be if named.allows(crook)] == ["piccolo Bb", "bass Bb", "B"]
    flat = read_heading("Trumpet in B flat")
    assert flat is not None
    assert all(crook.id != "B" for crook in flat.may_be)


def test_several_crooks_in_one_heading() -> None:
    named = read_heading("Trombe in Fa e Do")
    assert named is not None
    assert [crook.id for crook in named.also] == ["C"]


def test_titles_of_works_name_no_crook() -> None:
    assert read_heading("Concerto in E♭ for Trumpet in B♭", title=True) is None
    assert read_heading("Trumpet in E♭", title=True) is not None


@pytest.mark.parametrize(
    ("name", "sound", "expected"),
    [
        ("Trumpet", "", True),
        ("Trombe", "", True),
        ("2 Trompeten", "", True),
        ("Trompette solo", "", True),
        ("Clarino I", "", True),
        ("Cornet à pistons", "", True),
        ("Cornetta", "", True),
        ("Flügelhorn", "", True),
        ("Bass Trumpet", "", True),
        ("Piccolo Trumpet", "", True),
        ("Tr. 1 in F", "", True),
        ("", "brass.trumpet", True),
        ("1", "brass.trumpet.piccolo", True),
        ("Part 1", "brass.cornet", True),
        ("Part 1", "brass.flugelhorn", True),
        ("Part 1", "brass.cornett", False),
        ("Part 1", "brass.trombone", False),
        ("Trombone", "", False),
        ("Tromboni", "brass.trumpet", False),
        ("Posaune", "", False),
        ("English Horn", "brass.trumpet", False),
        ("Cor", "", False),
        ("Corno in F", "", False),
        ("Clarinet in B♭", "", False),
        ("Clarinetto", "", False),
        ("Cornetto", "", False),
        ("Tromba marina", "", False),
        ("Organ: Trumpet 8'", "", False),
        ("Trompete 8'", "keyboard.organ", False),
        ("Piccolo", "", False),
        ("Bassoon", "", False),
        ("", "", False),
    ],
)
def test_is_trumpet(name: str, sound: str, expected: bool) -> None:
    assert is_trumpet(name, sound) is expected


def test_sounds_name_crooks() -> None:
    bflat = sound_crook("brass.trumpet.bflat")
    assert bflat is not None
    assert bflat.id == "Bb"
    assert sound_crook("brass.trumpet") is None


def test_family() -> None:
    assert family_in("Piccolo Trumpet") == "piccolo"
    assert family_in("2 Cornets à pistons") == "cornet"
    assert family_in("Violino") == ""


def test_ids_are_unique_and_start_with_their_note() -> None:
    assert len({crook.id for crook in CROOKS}) == len(CROOKS)
    assert len({crook.sounding for crook in CROOKS}) == len(CROOKS)
