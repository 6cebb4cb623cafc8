"""What is read from where to where: evidence, changes, disagreement, the crook option."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

import annotator
from annotator.errors import BadOption
from annotator.instruments import load
from annotator.pitch import UNISON, Interval
from annotator.reading import CROOKS, Reading, in_words, read_interval_in_key, read_key, segments
from annotator.reading.overrides import crook_by_name
from annotator.score.model import Part
from tests.unit.part_making import part

C_TRUMPET = load("c-trumpet")
B_FLAT_TRUMPET = load("bb-trumpet")
F, E, E_FLAT, B_FLAT = (3, 5), (2, 4), (2, 3), (-1, -2)


def read(made: Part, crook: str = "auto") -> Reading:
    return segments(made, C_TRUMPET, crook)


def crooks(reading: Reading) -> list[tuple[str, str, str]]:
    return [(segment.crook.id, segment.from_measure, segment.to_measure) for segment in reading.segments]


def codes(reading: Reading) -> list[str]:
    return [finding.code for finding in reading.findings]


def test_transpose_and_heading_agree() -> None:
    reading = read(part(name="Tromba in E", transposes=[(1, E)]))
    (segment,) = reading.segments
    assert segment.crook.id == "E"
    assert segment.evidence == "transpose element in measure 1; part name 'Tromba in E'"
    assert segment.sounding == Interval(2, 4)
    assert segment.read == Interval(2, 4)
    assert segment.words == "up a major third"
    assert segment.differs
    assert (segment.from_position, segment.to_position) == (0, math.inf)
    assert reading.findings == ()


def test_nothing_said_sounds_as_written() -> None:
    reading = read(part("C5 C#5 D5 F#4 | G#4 B4 D#5 F5 | Bb4 A4"))
    (segment,) = reading.segments
    assert segment.crook.id == "C"
    assert not segment.differs
    assert segment.words == "as written"
    assert "as written" in segment.evidence


def test_every_crook_on_every_instrument() -> None:
    for crook in CROOKS:
        made = part(
            "C5", name="Trumpet", transposes=[(1, (crook.sounding.diatonic, crook.sounding.chromatic))]
        )
        for other in CROOKS:
            (segment,) = segments(made, other.sounding).segments
            assert segment.crook == crook
            assert segment.read == crook.sounding - other.sounding
            assert segment.differs == (crook != other)


@pytest.mark.parametrize(
    ("crook", "words"),
    # TRADE: what is read on a B♭ trumpet; common practice, no source.
    [("F", "up a fifth"), ("E", "up an augmented fourth"), ("Eb", "up a fourth"), ("D", "up a major third"),
     ("C", "up a tone"), ("A", "down a semitone"), ("Bb", "as written")],
)  # fmt: skip
def test_words_on_the_b_flat_trumpet(crook: str, words: str) -> None:
    assert segments(part(), B_FLAT_TRUMPET, crook).segments[0].words == words


@pytest.mark.parametrize(
    ("crook", "words"),
    [("E", "up a major third"), ("Bb", "down a tone"), ("A", "down a minor third"), ("F", "up a fourth")],
)
def test_words_on_the_c_trumpet(crook: str, words: str) -> None:
    assert read(part(), crook).segments[0].words == words


def test_octave_apart_is_no_disagreement() -> None:
    reading = read(part(name="Trumpet in E♭", transposes=[(1, (-5, -9))]))
    assert reading.segments[0].sounding == Interval(-5, -9)
    assert "crook-disagreement" not in codes(reading)


def test_heading_against_transpose() -> None:
    reading = read(part(name="Tromba in F", transposes=[(1, E)]))
    assert crooks(reading) == [("E", "1", "1")]
    finding = next(item for item in reading.findings if item.code == "crook-disagreement")
    assert finding.part == "P1"
    assert finding.measure == "1"
    assert "Tromba in F" in finding.message
    assert "believed" in finding.message


@pytest.mark.parametrize(
    ("named", "crook"),
    [("B", "Bb"), ("H", "B"), ("B♮", "B"), ("B natural", "B"), ("Bb", "Bb"), ("si bémol", "Bb"), ("ut", "C")],
)
def test_the_option_names_crooks_as_headings_do(named: str, crook: str) -> None:
    assert crook_by_name(named).id == crook


def test_every_crook_is_named_by_its_own_name() -> None:
    assert [crook_by_name(crook.name) for crook in CROOKS] == list(CROOKS)


def test_b_alone_is_b_natural_where_the_transpose_says_so() -> None:
    reading = read(part(name="Trumpet in B", transposes=[(1, (-1, -1))]))
    assert crooks(reading) == [("B", "1", "1")]
    assert codes(reading) == []
    assert crooks(read(part(name="Trumpet in B"))) == [("Bb", "1", "1")]


def test_heading_without_transpose_is_believed_and_said() -> None:
    reading = read(part("C5 C#5 F5 A5", name="Tromba in Mi♭"))
    assert crooks(reading) == [("Eb", "1", "1")]
    assert reading.segments[0].words == "up a minor third"
    assert codes(reading) == ["no-transpose"]


def test_heading_over_sounding_pitches_is_noticed() -> None:
    # The partials 4, 5, 6, 8, 9, 10, 11, 12 of a trumpet in D, as they sound.
    music = "D4 F#4 A4 D5 E5 F#5 G5 A5"
    reading = read(part(f"{music} {music}", name="Tromba in D"))
    (segment,) = reading.segments
    assert not segment.differs
    assert segment.natural_crook.id == "D"
    assert segment.old_part == Interval(-1, -2)
    assert codes(reading) == ["concert-pitch"]


def test_concert_score_holds_sounding_pitches() -> None:
    made = replace(part("C5 C#5 F5 A5", name="Trumpet in B♭"), concert=True)
    reading = read(made)
    assert not reading.differs
    assert reading.segments[0].natural_crook.id == "Bb"
    assert codes(reading) == ["concert-pitch"]


def test_instruments_of_later_changes_are_no_disagreement() -> None:
    made = part(
        "C5 - - - | - - - - | - - - - | C5",
        name="Trumpet in F",
        instrument_names=["Trumpet in F", "Trumpet in C"],
        transposes=[(1, F), (4, (0, 0))],
        words=[(1.5, "muta in C")],
    )
    assert codes(read(made)) == []


def test_written_natural_partials_are_no_concert_pitch() -> None:
    music = "C4 E4 G4 C5 D5 E5 F5 G5"
    reading = read(part(f"{music} {music}", name="Tromba in D"))
    assert crooks(reading) == [("D", "1", "4")]
    assert codes(reading) == ["no-transpose"]


def test_words_at_the_start_before_the_name() -> None:
    reading = read(part(name="Trumpet in C", words=[(1, "in F")], transposes=[(1, F)]))
    assert crooks(reading) == [("F", "1", "1")]
    assert "'in F' in measure 1" in reading.segments[0].evidence
    assert codes(reading) == ["headings-disagree"]


def test_credit_names_the_crook() -> None:
    reading = read(part("C5 C#5 F5 A5", headings=["Concerto in D for Trumpet", "Tromba I in Mi♭"]))
    assert reading.segments[0].crook.id == "Eb"
    assert reading.segments[0].evidence == "heading 'Tromba I in Mi♭'"


def test_credit_of_another_instrument_is_passed_over() -> None:
    assert read(part("C5 C#5", headings=["in F", "Corno in F"])).segments[0].crook.id == "C"


@pytest.mark.parametrize(
    "word", ["muta in C", "Muta in Do", "change to C", "wechselt nach C", "changez en ut"]
)
def test_change_announced_in_rests(word: str) -> None:
    made = part(
        "C5 C5 C5 C5 | - - - - | - - - - | C5 D5 E5 C5",
        name="Tromba in F",
        transposes=[(1, F), (4, (0, 0))],
        words=[(2, word)],
    )
    reading = read(made)
    assert crooks(reading) == [("F", "1", "3"), ("C", "4", "4")]
    assert reading.segments[1].evidence == f"transpose element in measure 4; '{word}' in measure 2"
    assert reading.segments[1].from_position == 12
    assert codes(reading) == []


def test_announced_and_named_again_at_the_entry() -> None:
    made = part(
        "C5 C5 C5 C5 | - - - - | - - - - | C5 D5 E5 C5",
        name="Tromba in F",
        transposes=[(1, F), (4, (0, 0))],
        words=[(2, "muta in Do"), (4, "in Do")],
    )
    reading = read(made)
    assert crooks(reading) == [("F", "1", "3"), ("C", "4", "4")]
    assert codes(reading) == []


def test_change_by_words_alone_starts_at_the_words() -> None:
    music = "C5 C5 C5 C5 | - - - - | - - - - | C5 D5 E5 C5"
    reading = read(part(music, name="Tromba in F", words=[(2, "muta in D")]))
    assert crooks(reading) == [("F", "1", "1"), ("D", "2", "4")]
    assert codes(reading) == ["no-transpose"]


def test_change_words_newer_than_the_transpose_are_believed() -> None:
    made = part(
        "C5 C5 C5 C5 | - - - - | C5 D5 E5 C5",
        name="Tromba in F",
        transposes=[(1, F)],
        words=[(2, "muta in D")],
    )
    reading = read(made)
    assert crooks(reading) == [("F", "1", "1"), ("D", "2", "3")]
    finding = next(item for item in reading.findings if item.code == "change-without-transpose")
    assert finding.measure == "2"


def test_change_words_against_a_new_transpose() -> None:
    made = part(
        "C5 C5 C5 C5 | - - - - | C5 D5 E5 C5",
        name="Tromba in F",
        transposes=[(1, F), (3, E)],
        words=[(2, "muta in D")],
    )
    reading = read(made)
    assert crooks(reading) == [("F", "1", "2"), ("E", "3", "3")]
    finding = next(item for item in reading.findings if item.code == "crook-disagreement")
    assert finding.measure == "3"


def test_transpose_changes_without_words() -> None:
    reading = read(part("C5 - - - | C5 D5 E5 C5", name="Tromba in F", transposes=[(1, F), (2, E)]))
    assert crooks(reading) == [("F", "1", "1"), ("E", "2", "2")]
    assert codes(reading) == ["unannounced-change"]


def test_announcement_over_notes_takes_effect_in_the_next_rest() -> None:
    music = "C5 C5 C5 C5 | C5 C5 - - | - - - - | - - - - | C5 D5 E5 C5"
    reading = read(part(music, name="Tromba in F", words=[(2, "muta in D")]))
    assert [segment.from_position for segment in reading.segments] == [0, 6]
    assert crooks(reading) == [("F", "1", "2"), ("D", "2", "5")]
    assert codes(reading) == ["no-transpose"]


def test_plain_crook_over_an_entry_takes_effect_there() -> None:
    made = part("C5 C5 C5 C5 | C5 D5 E5 C5", name="Tromba in F", words=[(2, "in D")])
    reading = read(made)
    assert crooks(reading) == [("F", "1", "1"), ("D", "2", "2")]
    assert "no-rest-to-change" in codes(reading)


def test_announced_before_the_first_note() -> None:
    made = part("- - - - | - - - - | C5 D5", name="Tromba in F", words=[(2, "muta in Es")])
    assert crooks(read(made)) == [("F", "1", "1"), ("Eb", "2", "3")]


def test_movements_with_headings_of_their_own() -> None:
    made = part(
        "C5 C5 C5 - | G4 C5 E5 - | C5 D5 E5 C5",
        name="Trombe",
        words=[
            (1, "I. Allegro – Trombe in C"),
            (2, "II. Andante – Trombe in F"),
            (3, "III. Finale – Trombe in D"),
        ],
    )
    assert crooks(read(made)) == [("C", "1", "1"), ("F", "2", "2"), ("D", "3", "3")]


def test_change_and_back() -> None:
    made = part(
        "C5 - - - | C5 - - - | C5 - - -",
        name="Tromba in F",
        transposes=[(1, F)],
        words=[(1.5, "muta in D"), (2.5, "muta in F")],
    )
    reading = read(made)
    assert [segment.crook.id for segment in reading.segments] == ["F", "D", "F"]


def test_change_of_instrument() -> None:
    made = part(
        "C5 - - - | C5 - - - | C5 - - - | C5",
        name="Trumpet in C",
        words=[(1.5, "to Flugelhorn"), (2.5, "to Picc. in A"), (3.5, "to Trumpet")],
    )
    reading = read(made)
    assert [(segment.crook.id, segment.family) for segment in reading.segments] == [
        ("C", "trumpet"), ("Bb", "flugelhorn"), ("piccolo A", "piccolo"), ("C", "trumpet"),
    ]  # fmt: skip
    assert "change-without-crook" in codes(reading)


def test_change_of_instrument_with_transpose() -> None:
    made = part(
        "C5 - - - | - - - - | - - - - | - - - - | - - - - | - - - - | C5 - - -",
        name="Trumpet in B♭",
        transposes=[(1, B_FLAT), (7, (6, 10))],
        words=[(1.5, "to Piccolo Trumpet")],
    )
    reading = read(made)
    assert [(segment.crook.id, segment.family) for segment in reading.segments] == [
        ("Bb", "trumpet"), ("piccolo Bb", "piccolo"),
    ]  # fmt: skip
    assert codes(reading) == []


def test_cue_label_changes_nothing() -> None:
    made = part("C5 - - - | C5", name="Trumpet in C", words=[(1.5, "Cornet"), (1.75, "Flugelhorn")])
    assert crooks(read(made)) == [("C", "1", "2")]


def test_sound_is_compared() -> None:
    reading = read(part(name="Tromba in F", transposes=[(1, F)], sounds=[(1, "brass.trumpet.bflat")]))
    assert crooks(reading) == [("F", "1", "1")]
    assert codes(reading) == ["sound-disagrees"]
    assert codes(read(part(name="Tromba in F", transposes=[(1, F)], sounds=[(1, "brass.trumpet")]))) == []


def test_unknown_crook_is_said() -> None:
    reading = read(part("C5 C#5", name="Trumpet in G#"))
    assert crooks(reading) == [("C", "1", "1")]
    assert codes(reading) == ["unknown-crook"]


def test_strange_transpose_is_still_read() -> None:
    reading = read(part(transposes=[(1, (-4, -6))]))
    assert reading.segments[0].read == Interval(-4, -6)


def test_part_without_notes_and_measures() -> None:
    assert read(Part("P1", "Tromba in F")).segments[0].crook.id == "F"
    assert segments(Part("P1", "Tromba"), UNISON, "infer").segments[0].crook.id == "C"


@pytest.mark.parametrize("option", ["F", "f", "E♭", "Es", "mi♭", "high G", "piccolo A", "Bb@1-", "F@1-2"])
def test_crook_option_names(option: str) -> None:
    reading = read(part("C5 C5 C5 C5 | C5"), option)
    assert reading.segments[0].evidence.startswith("the crook option")


@pytest.mark.parametrize("name", ["Cornet", "Flugelhorn 1", "2 Cornets", "Flügelhorn"])
def test_an_instrument_built_in_one_key_has_it_and_it_is_said(name: str) -> None:
    """Cornets and flugelhorns stand in B♭; common practice."""
    made = part("C5 C#5 D5 Eb5", name=name)
    assert crooks(read(made)) == [("Bb", "1", "1")]
    assert codes(read(made)) == ["change-without-crook", "no-transpose"]
    assert codes(read(part("C5 C#5", name=name, transposes=[(1, (0, 0))]))) == []


def test_two_crooks_for_two_players_on_one_line_are_several() -> None:
    made = part("C5 C#5 D5 Eb5", name="Trompete 1 in F, Trompete 2 in C")
    assert codes(read(made)) == ["several-crooks", "no-transpose"]


def test_crook_option_with_measures() -> None:
    made = part(" ".join(["C5 C5 C5 C5"] * 5), name="Tromba in E", transposes=[(1, E)])
    reading = read(made, "F@1-2,C@4-")
    assert crooks(reading) == [("F", "1", "2"), ("E", "3", "3"), ("C", "4", "5")]
    assert codes(reading) == ["crook-overridden", "crook-overridden"]
    assert [item.measure for item in reading.findings] == ["1", "4"]
    assert reading.at(8).crook.id == "E"
    assert crooks(read(made, "D@3")) == [("E", "1", "2"), ("D", "3", "3"), ("E", "4", "5")]


@pytest.mark.parametrize(
    "option",
    [
        "X",
        "",
        "F@",
        "F@1-2-3",
        "F@a-b",
        "F,C",
        "F@1-84,C@85-",
        "F@2-1",
        "F@1-2,C@2-",
        "F@1-2,,C@3-",
        "auto@1-2",
        "G#",
    ],
)
def test_bad_crook_options(option: str) -> None:
    with pytest.raises(BadOption) as caught:
        read(part(" ".join(["C5 C5 C5 C5"] * 3)), option)
    assert caught.value.field == "crook"


def test_inference_moves_nothing() -> None:
    music = "D4 F#4 A4 D5 E5 F#5 G5 A5 D5 A4"
    for option in ("auto", "infer"):
        reading = read(part(music, name="Tromba"), option)
        (segment,) = reading.segments
        assert not segment.differs
        assert segment.natural_crook.id == "D"
        assert segment.old_part == Interval(-1, -2)
        assert codes(reading) == ["crook-inferred"]
        assert reading.inference is not None
        assert reading.inference.score == 1


def test_inference_compares_with_the_heading() -> None:
    music = "C4 E4 G4 C5 D5 E5 F5 G5 A5 B5"
    assert codes(read(part(music, name="Tromba in F", transposes=[(1, F)]), "infer")) == []
    sounding = "D4 F#4 A4 D5 E5 F#5 G5 A5 A4 F#4"
    assert codes(read(part(sounding, name="Tromba in C", transposes=[(1, (0, 0))]), "infer")) == [
        "inference-disagrees"
    ]


def test_not_natural_notes_are_listed() -> None:
    music = "D4 F#4 A4 D5 E5 F#5 G5 A5 " * 4 + "C#4"
    finding = read(part(music, name="Tromba")).findings[0]
    assert finding.message.endswith("Not natural on it: C#4 in measure 9")


def test_octave_moved_where_most_lies_below() -> None:
    reading = segments(part("C4 E4 G4 C4", name="Trumpet in C", transposes=[(1, (-7, -12))]), C_TRUMPET)
    (segment,) = reading.segments
    assert segment.read == UNISON
    assert codes(reading) == ["octave-moved"]


@pytest.mark.parametrize(
    ("music", "moved"),
    [
        # An octave below the trumpet, C5 is still in reach and C4 not: half of the notes decide.
        ("C5 C5 C5 C5 C4 C4 C4 C4 C4", True),
        ("C5 C5 C5 C5 C5 C4 C4 C4 C4", False),
        # And nearly all of them must be in reach when moved: C3 is not.
        ("C4 " * 19 + "C3", True),
        ("C4 " * 17 + "C3 C3 C3", False),
    ],
)
def test_when_an_octave_is_moved(music: str, moved: bool) -> None:
    reading = segments(part(music, name="Trumpet in C", transposes=[(1, (-7, -12))]), C_TRUMPET)
    assert ("octave-moved" in codes(reading)) == moved


def test_few_notes_out_of_range_are_said_and_kept() -> None:
    reading = segments(part("C5 E5 G5 C4 | E3"), C_TRUMPET)
    assert not reading.differs
    assert codes(reading) == ["below-range"]
    assert reading.findings[0].measure == "2"


def test_piccolo_reads_an_octave_below_sound() -> None:
    (segment,) = segments(
        part("D5 E5 F#5 A5", name="Tromba in D", transposes=[(1, (1, 2))]), load("bb-piccolo")
    ).segments
    assert segment.read == Interval(-5, -8)
    assert segment.words == "down a minor sixth"


def test_old_bass_clef() -> None:
    made = part("C5 G4 E4 C4 | G2 C3 G2 - | C5 G4", name="Trumpet in C", clefs=[(1, "G"), (2, "F"), (3, "G")])
    reading = segments(made, C_TRUMPET)
    assert [(segment.words, segment.from_measure, segment.to_measure) for segment in reading.segments] == [
        ("as written", "1", "1"), ("up an octave", "2", "2"), ("as written", "3", "3"),
    ]  # fmt: skip
    assert codes(reading)[0] == "old-bass-clef"
    assert reading.segments[1].sounding == Interval(7, 12)


def test_bass_clef_within_the_range_is_left() -> None:
    made = part("C5 G4 E4 C4 | G3 B3 C4 - | C5 G4", name="Trumpet in C", clefs=[(1, "G"), (2, "F"), (3, "G")])
    assert crooks(segments(made, C_TRUMPET)) == [("C", "1", "3")]


intervals = st.sampled_from([crook.sounding for crook in CROOKS])


@given(intervals, intervals, st.integers(-7, 7))
def test_keys_stay_within_six_accidentals(one: Interval, other: Interval, fifths: int) -> None:
    made = part(transposes=[(1, (one.diatonic, one.chromatic))])
    (segment,) = segments(made, other).segments
    interval = read_interval_in_key(segment, fifths)
    assert abs(read_key(fifths, interval)) <= 6
    assert interval.chromatic == segment.read.chromatic
    if abs(read_key(fifths, segment.read)) <= 6:
        assert interval == segment.read


@given(st.lists(st.sampled_from(["C5", "G4", "-"]), min_size=1, max_size=40), st.data())
def test_segments_cover_the_part(beats: list[str], data: st.DataObject) -> None:
    count = -(-len(beats) // 4)
    at = st.integers(4, 4 * count + 3).map(lambda quarter: quarter / 4)
    texts = st.sampled_from(
        ["muta in F", "in D", "to Flugelhorn", "to Picc. in A", "II. Trombe in E", "muta in C", "dolce"]
    )
    words = data.draw(st.lists(st.tuples(at, texts), max_size=5).map(sorted))
    transposes = data.draw(
        st.lists(
            st.tuples(st.integers(1, count), st.sampled_from([F, E, E_FLAT, B_FLAT])),
            max_size=4,
            unique_by=lambda item: item[0],
        ).map(sorted)
    )
    made = part(" ".join(beats), name="Tromba in F", words=words, transposes=transposes)
    option = data.draw(st.sampled_from(["auto", "infer", "F", f"D@1-{count}", f"E@{count}-"]))
    reading = segments(made, C_TRUMPET, option)
    assert reading.segments[0].from_position == 0
    assert reading.segments[-1].to_position == math.inf
    assert reading.segments[-1].to_measure_index == count - 1
    for before, after in zip(reading.segments, reading.segments[1:], strict=False):
        assert before.from_position < before.to_position == after.from_position
        assert before.to_measure_index in (after.from_measure_index - 1, after.from_measure_index)
    for segment in reading.segments:
        assert segment.from_measure == str(segment.from_measure_index + 1)
        assert segment.evidence


@pytest.mark.parametrize(
    ("interval", "words"),
    [
        ((2, 4), "up a major third"), ((-2, -3), "down a minor third"), ((3, 6), "up an augmented fourth"),
        ((1, 2), "up a tone"), ((-1, -1), "down a semitone"), ((4, 7), "up a fifth"),
        ((4, 6), "up a diminished fifth"),
        ((7, 12), "up an octave"), ((-8, -14), "down a major ninth"), ((-6, -10), "down a minor seventh"),
        ((0, 1), "up a chromatic semitone"), ((1, 3), "up an augmented second"), ((14, 24), "up 2 octaves"),
        ((15, 26), "up 2 octaves and a major second"), ((1, 0), "as it sounds, spelled 1 step higher"),
    ],
)  # fmt: skip
def test_intervals_in_words(interval: tuple[int, int], words: str) -> None:
    assert in_words(Interval(*interval)) == words


@pytest.mark.parametrize(("sign", "line", "said"), [("G", 2, False), ("F", 4, True)])
def test_the_old_bass_clef_is_spoken_of_where_there_is_one(sign: str, line: int, said: bool) -> None:
    low = "".join(
        f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>1</duration></note>"
        for step, octave in (("C", 4), ("G", 4), ("E", 4), ("D", 3))
    )
    data = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Trumpet in C</part-name>'
        '</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions>'
        f"<clef><sign>{sign}</sign><line>{line}</line></clef></attributes>{low}</measure></part></score-partwise>"
    ).encode()
    report = annotator.annotate(data).report
    (below,) = [each["message"] for each in report["warnings"] if each["code"] == "below-range"]
    assert ("bass-clef" in below) is said
