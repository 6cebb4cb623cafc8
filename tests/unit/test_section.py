"""Written or sounding is decided for all the trumpets of a score: by key signatures, neighbours, partials.

What a key signature becomes under a crook is computed (and held against music21 in ``tests/reference``);
that parts at concert pitch have one signature and written parts each their own is what MusicXML 4.0 says of
``<concert-score/>`` and ``<transpose>``.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import music21
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import annotator
from annotator import Options
from annotator.pitch import Pitch
from annotator.reading.crooks import CROOKS
from annotator.reading.section import is_transposing

CHROMATIC = "F4 G4 A4 Bb4 C5 C#5 D5 Eb5 F5 E5 D5 C5"
# Partials 4, 5, 6, 8, 9, 10, 12 of a trumpet in B♭ as they sound: natural as sounding, not as written.
SOUNDING_B_FLAT = "Bb3 D4 F4 Bb4 C5 D5 F5 D5 C5 Bb4 F4 D4"


class Player(NamedTuple):
    name: str
    fifths: int | None = None
    music: str = CHROMATIC
    transpose: tuple[int, int] | None = None


def note(name: str) -> str:
    pitch = Pitch.parse(name)
    alter = f"<alter>{pitch.alter}</alter>" if pitch.alter else ""
    inside = f"<step>{pitch.step}</step>{alter}<octave>{pitch.octave}</octave>"
    return f"<note><pitch>{inside}</pitch><duration>1</duration></note>"


def score(*players: Player) -> bytes:
    names = parts = ""
    for number, (name, fifths, music, transpose) in enumerate(players):
        names += f'<score-part id="P{number}"><part-name>{name}</part-name></score-part>'
        key = "" if fifths is None else f"<key><fifths>{fifths}</fifths></key>"
        move = ""
        if transpose is not None:
            steps, semitones = transpose
            move = f"<transpose><diatonic>{steps}</diatonic><chromatic>{semitones}</chromatic></transpose>"
        head = f"<attributes><divisions>1</divisions>{key}{move}</attributes>"
        inside = "".join(map(note, music.split()))
        parts += f'<part id="P{number}"><measure number="1">{head}{inside}</measure></part>'
    return (f'<score-partwise version="4.0"><part-list>{names}</part-list>{parts}</score-partwise>').encode()


def read(*players: Player, **options: Any) -> dict[str, str]:
    """The crook each trumpet was read in, by the part's name."""
    report = annotator.annotate(score(*players), Options(**options)).report
    return {part["name"]: part["segments"][0]["crook"] for part in report["parts"]}


def test_one_signature_for_all_is_concert_pitch() -> None:
    crooks = read(
        Player("Flute", -1),
        Player("Trumpet in Bb 1", -1),
        Player("Trumpet in Bb 2", -1, SOUNDING_B_FLAT),
        Player("Trumpet in F", -1),
    )
    assert set(crooks.values()) == {"C"}


def test_a_signature_of_its_own_is_written() -> None:
    crooks = read(
        Player("Violin I", -1),
        Player("Trumpet in Bb 1", 1),
        # By its notes alone this one would be taken for sounding, a tone apart from its neighbour.
        Player("Trumpet in Bb 2", 1, SOUNDING_B_FLAT),
    )
    assert set(crooks.values()) == {"Bb"}


def test_old_parts_without_signature_are_written() -> None:
    assert read(Player("Violino I", 2), Player("Tromba in D", 0), Player("Timpani in D, A", 2)) == {
        "Tromba in D": "D"
    }
    # Also where its notes would be natural as they stand.
    assert read(Player("Violino I", 2), Player("Tromba in B", 0, SOUNDING_B_FLAT)) == {"Tromba in B": "Bb"}


def test_drums_without_a_signature_do_not_say_that_it_is_c_major() -> None:
    drums = (Player("Timpani", 0), Player("Bass Drum", 0), Player("Cymbals", 0))
    assert read(*drums, Player("Flute", -1), Player("Trumpet in Bb", -1)) == {"Trumpet in Bb": "C"}


def test_partials_are_counted_over_the_section() -> None:
    crooks = read(
        Player("Tromba I in B", None, SOUNDING_B_FLAT),
        Player("Tromba II in B", None, "F4 F4 F4 F4 Bb4 Bb4"),
        Player("Tromba III in B", None, "D5 D5 Bb4 Bb4"),
    )
    assert set(crooks.values()) == {"C"}


def test_other_transposing_instruments_tell_too() -> None:
    assert read(Player("Flute", -1), Player("Clarinet in Bb", 1), Player("Trumpet in Bb", 0)) == {
        "Trumpet in Bb": "Bb"
    }
    clarinet = Player("Clarinet in Bb", 1, transpose=(-1, -2))
    assert read(clarinet, Player("Trumpet in Bb", -1)) == {"Trumpet in Bb": "C"}
    assert read(clarinet, Player("Trumpet in Bb", 1)) == {"Trumpet in Bb": "Bb"}


def test_one_trumpet_asked_for_is_read_as_among_its_fellows() -> None:
    players = (Player("Trumpet in Bb", 2), Player("Trumpet in Eb", 2), Player("Trumpet in D", 2))
    together = read(*players)
    assert set(together.values()) == {"C"}
    for player in players:
        assert read(*players, part=(player.name,)) == {player.name: "C"}


def test_where_nothing_tells_the_words_are_believed_and_said() -> None:
    report = annotator.annotate(score(Player("Trumpet in Bb"), Player("Trumpet in Eb"))).report
    assert [part["segments"][0]["crook"] for part in report["parts"]] == ["Bb", "Eb"]
    told = [each["code"] for each in report["warnings"] if each["code"] in ("no-transpose", "concert-pitch")]
    assert told == ["no-transpose", "no-transpose"]


named = st.lists(
    st.sampled_from([crook for crook in CROOKS if crook.id in ("F", "E", "Eb", "D", "Bb", "A")]),
    min_size=1,
    max_size=4,
)


@settings(max_examples=25, deadline=None)
@given(named, st.integers(-3, 3).filter(bool), st.booleans(), st.permutations(["Flute", "Oboe", "Viola"]))
def test_the_whole_section_comes_out_in_one_key(
    crooks: list[Any], fifths: int, sounding: bool, others: list[str]
) -> None:
    """Whatever the notes: with signatures that tell, every part is sounding, or every part is written."""
    players = [Player(name, fifths) for name in others[:2]]
    for number, crook in enumerate(crooks, start=1):
        tonic = music21.key.KeySignature(fifths).asKey("major").tonic
        own = tonic.transpose(-crook.sounding.chromatic)
        sharps = (music21.key.pitchToSharps(own) + 6) % 12 - 6
        music = SOUNDING_B_FLAT if number % 2 else CHROMATIC
        players.append(Player(f"Trumpet {number} in {crook.name}", fifths if sounding else sharps, music))
    found = read(*players)
    for number, crook in enumerate(crooks, start=1):
        assert found[f"Trumpet {number} in {crook.name}"] == ("C" if sounding else crook.id)


@pytest.mark.parametrize(
    ("name", "expected"),
    [("Clarinet in A", True), ("F Horn 2", True), ("Corno I", True), ("Alto Saxophone", True),
     ("Flute", False), ("Violino I", False), ("Viola", False), ("Trombone", False), ("Contrabass", False)],
)  # fmt: skip
def test_which_neighbours_transpose(name: str, expected: bool) -> None:
    assert is_transposing(name) is expected
