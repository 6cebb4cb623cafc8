"""Headings, changes, mutes and texts that are none, in 30 languages: tables written before the grammar.

Common practice, no source; the tables are in ``tests/unit/words``. What others publish is in
``tests/reference/test_instrument_names.py`` and ``test_note_names.py``.
"""

from __future__ import annotations

import tomllib
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import annotator.reading
from annotator.options import Options
from annotator.reading.changes import read_words
from annotator.reading.lexemes import sentence
from annotator.reading.names import heading_not_read, may_be_trumpet
from annotator.reading.note_names import note_at
from tests.unit.parts import NoteText, part_xml
from tests.unit.word_tables import left, misses, table


@pytest.mark.parametrize(("name", "least"), [("headings", 300), ("changes", 250), ("no_changes", 200)])
def test_the_tables_are_read(name: str, least: int) -> None:
    assert len(table(name)) >= least
    assert [(row["text"], said) for row, said in misses(name)] == []


@pytest.mark.parametrize("row", table("mutes"), ids=lambda row: row["text"])
def test_mutes(row: dict[str, str]) -> None:
    assert (read_words(row["text"]).mute or "-") == row["mute"]


@pytest.mark.parametrize(
    ("text", "numbers", "manner"),
    [
        ("a 2", (1, 2), "together"),
        ("zu 2", (1, 2), "together"),
        ("à 2", (1, 2), "together"),
        ("a 3", (1, 2, 3), "together"),
        ("a due", (1, 2), "together"),
        ("unis.", (1, 2), "together"),
        ("tutti", (1, 2), "together"),
        ("beide", (1, 2), "together"),
        ("1.", (1,), "one"),
        ("2. Solo", (2,), "one"),
        ("I.", (1,), "one"),
        ("II", (2,), "one"),
        ("1. con sord.", (1,), "one"),
        ("1° solo dolce", (1,), "one"),
        ("Solo", (), "solo"),
        ("div.", (), "divided"),
    ],
)
def test_players(text: str, numbers: tuple[int, ...], manner: str) -> None:
    players = read_words(text).players
    assert players is not None
    assert (players.numbers, players.manner) == (numbers, manner)


@pytest.mark.parametrize(
    "text", ["1. Allegro", "II. Andante", "1. Satz", "in 3", "4/4", "No. 3", "dolce", "Ob. solo"]
)
def test_numbers_that_are_no_players(text: str) -> None:
    assert read_words(text).players is None


@pytest.mark.parametrize(
    "text",
    [
        "muta in X",
        "muta in",
        "muta",
        "umstimmen",
        "nach Z umstimmen",
        "wechseln",
        "change",
        "change crook",
        "change trumpets",
        "change instrument",
        "cambia strumento",
        "in Es irgendwie anders",
        "Trompete irgendwo irgendwann B♭",
        "muta in F, poi in D",
        "C to D",
        "changez de ton",
    ],
)
def test_what_may_be_a_change_is_never_passed_over(text: str) -> None:
    assert read_words(text).not_read


PATTERNS = ["muta in {}", "mutano {}", "umstimmen {}", "{} umstimmen", "change to {}", "changez en {}"]
STRANGE = st.text("qxzjkw", min_size=3, max_size=7)


@settings(deadline=None)
@given(st.sampled_from(PATTERNS), STRANGE)
def test_a_change_to_something_strange_is_told(pattern: str, strange: str) -> None:
    text = pattern.format(strange)
    said = read_words(text)
    assert said.change is not None or said.not_read, text


PIECES = "muta in E♭ con sord. 1. , 2. F ( ) – nach B a2".split()  # noqa: SIM905 - it reads as a text


@settings(deadline=None)
@given(st.text(max_size=120) | st.lists(st.sampled_from(PIECES), max_size=9).map(" ".join))
def test_spans_are_pieces_of_the_text_in_order(text: str) -> None:
    change = read_words(text).change
    if change is None:
        return
    assert change.spans
    for start, end in change.spans:
        assert 0 <= start < end <= len(text)
    assert all(one[1] <= other[0] for one, other in pairwise(change.spans))


# Language, what a crook is called in it, whom it is said to, how, and what stands beside it.
FLAT = {"F": "F", "E": "E", "Eb": "Eb", "D": "D", "C": "C", "Bb": "Bb", "A": "A"}
GERMAN = {"F": "F", "Es": "Eb", "E": "E", "H": "B", "B": "Bb", "As": "Ab", "Des": "Db", "A": "A", "C": "C"}
ITALIAN = {"Fa": "F", "mi♭": "Eb", "Mi": "E", "Do": "C", "la": "A", "Si bemolle": "Bb", "re": "D", "sol": "G"}
FRENCH = {"fa": "F", "ut": "C", "ré": "D", "mi bémol": "Eb", "la": "A", "Si♭": "Bb", "si bécarre": "B"}
ENGLISH_SAYS = [
    "change to {}",
    "Change to {} Tpt.",
    "switch to {}",
    "change to trumpet in {}",
    "change F to {}",
]
GERMAN_SAYS = [
    "nach {} umstimmen",
    "in {} umstimmen",
    "umstimmen in {}",
    "wechselt nach {}",
    "{}-Trompete nehmen",
]
GERMAN_SAYS += [
    "stimmt in {} um",
    "G nach {}",
    "nimmt Trompete in {}",
    "in {}",
    "nach {}",
    "muta in {}",
    "in {} muta",
]
ITALIAN_SAYS = [
    "muta in {}",
    "mutano in {}",
    "cambia in {}",
    "prende la tromba in {}",
    "in {}",
    "Trombe in {}",
]
FRENCH_SAYS = [
    "changez en {}",
    "prenez la trompette en {}",
    "prenez le ton de {}",
    "en {}",
    "Trompettes en {}",
]
SPOKEN = [
    (
        FLAT,
        ENGLISH_SAYS,
        ["1. ", "2nd ", "Tpt. 1 ", ""],
        ["con sord.", "muted", "solo", "(straight mute)", "ff"],
    ),
    (GERMAN, GERMAN_SAYS, ["1. ", "II. ", "1. Trp. ", ""], ["m. Dpf.", "Dpf. ab", "zu 2", "(offen)", "get."]),
    (
        ITALIAN,
        ITALIAN_SAYS,
        ["I. ", "2º ", "Tr. II ", ""],
        ["con sord.", "a 2", "Tempo I", "dolce", "(senza sord.)"],
    ),
    (FRENCH, FRENCH_SAYS, ["1re ", "2e ", "1. ", ""], ["avec sourdine", "à 2", "Solo", "(ôtez la sourdine)"]),
]
JOINED = ["{0}", "({0})", "{0}.", "{0}, {1}", "{0} {1}", "{0} – {1}", "{0}. {1}", "{1}, {0}", "{1} – {0}"]


@settings(deadline=None)
@given(st.data())
def test_words_in_every_order_and_company(data: st.DataObject) -> None:
    """The crook, the player and the neighbours' words, whatever the language, the order and the case."""
    names, says, players, beside = data.draw(st.sampled_from(SPOKEN))
    name = data.draw(st.sampled_from(sorted(names)))
    player, neighbour = data.draw(st.sampled_from(players)), data.draw(st.sampled_from(beside))
    joined = data.draw(st.sampled_from(JOINED))
    text = joined.format(player + data.draw(st.sampled_from(says)).format(name), neighbour)
    text = text.upper() if data.draw(st.booleans()) else text
    said = read_words(text)
    assert said.change is not None, text
    assert said.change.named.crook is not None, text
    assert said.change.named.crook.id == names[name], text
    assert said.not_read == "", text
    assert bool(said.change.named.players) == bool(player), text
    rest = left(text, said.change.spans).strip("() .").casefold()
    wanted = neighbour.strip("() .").casefold() if "{1}" in joined else ""
    assert rest.endswith(wanted), text
    assert wanted or not rest, text


def test_signs_of_other_codings() -> None:
    for sign in "♭\ue260\ued60\uea64\uf427":
        said = read_words(f"muta in E{sign}").change
        assert said is not None
        assert said.named.note == "Eb", hex(ord(sign))
    hyphen = read_words("muta in Mi be\u00admolle").change
    assert hyphen is not None
    assert hyphen.named.note == "Eb"


def test_a_heading_that_may_name_a_key_is_told() -> None:
    assert heading_not_read("Trumpet 1 B") == "Trumpet 1 B"
    for text in (
        "Trumpet 1",
        "Trumpet in F",
        "Trumpet Concerto in E♭",
        "Trumpet in E minor",
        "Violin in F",
        "Cornet",
    ):
        assert heading_not_read(text) == "", text


@pytest.mark.parametrize(
    ("name", "maybe"),
    [
        *((name, True) for name in ("Tr. 1", "Trumpt", "Brass", "Blechbläser")),
        *(
            (name, False)
            for name in ("Triangle", "Horn", "Trombone", "Tromba marina", "Violin", "Glocken", "")
        ),
    ],
)
def test_what_may_be_a_trumpets_part(name: str, maybe: bool) -> None:
    assert may_be_trumpet(name) is maybe


def test_a_part_that_may_be_a_trumpets_is_told_of() -> None:
    data = part_xml([NoteText("C", 0, 5)], name="Trumpet in F").decode()
    other = '<score-part id="P2"><part-name>Tr. 2</part-name></score-part></part-list>'
    score = data.replace("</part-list>", other).replace(
        "</score-partwise>", '<part id="P2"><measure number="1"/></part></score-partwise>'
    )
    found = annotator.annotate(score.encode(), Options()).report["warnings"]
    assert [(each["code"], each["part"]) for each in found if each["code"] == "part-not-taken"] == [
        ("part-not-taken", "P2")
    ]
    named = annotator.annotate(score.encode(), Options(part=("P1",))).report["warnings"]
    assert not any(each["code"] == "part-not-taken" for each in named)


def test_names_for_show_and_signs_among_words_are_read() -> None:
    data = part_xml([NoteText("C", 0, 5)], name="Tpt").decode()
    shown = (
        "<part-name>Tpt</part-name><part-name-display><display-text>Trumpet in E</display-text>"
        "<accidental-text>flat</accidental-text></part-name-display>"
    )
    report = annotator.annotate(data.replace("<part-name>Tpt</part-name>", shown).encode()).report
    assert [each["crook"] for each in report["parts"][0]["segments"]] == ["Eb"]
    symbol = (
        "<direction><direction-type><words>Trumpet in B</words></direction-type>"
        "<direction-type><symbol>accidentalNatural</symbol></direction-type></direction><note>"
    )
    report = annotator.annotate(data.replace("<note>", symbol, 1).encode()).report
    assert [each["crook"] for each in report["parts"][0]["segments"]] == ["B"]


TABLE = tomllib.loads((Path(annotator.reading.__file__).parent / "words.toml").read_text("utf-8"))
LANGUAGES = {key: rows for key, rows in TABLE.items() if key not in ("usual", "sounds")}


def test_every_language_says_where_its_rows_come_from() -> None:
    assert len(LANGUAGES) > 30
    for key, rows in LANGUAGES.items():
        assert rows["source"], key
        assert key == "all" or rows["name"], key


@pytest.mark.parametrize("language", [key for key, rows in LANGUAGES.items() if "notes" in rows])
def test_every_name_of_a_note_is_read_as_one(language: str) -> None:
    for entry in LANGUAGES[language]["notes"].split(","):
        *name, note = entry.split()
        found = note_at(sentence(" ".join(name)).lexemes, 0)
        assert found is not None, entry
        assert found.name == note.replace("B?", "Bb"), entry
