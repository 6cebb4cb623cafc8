"""The findings: a row for everything that can be noticed about a part without stopping the work."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FindingRow:
    """A kind of finding. ``code``: stable, for programs. ``means``: what was noticed. ``do``: what a person
    can do about it. ``out_of_reach``: it is about notes that the trumpet or the player does not reach.
    """

    code: str
    means: str
    do: str
    out_of_reach: bool = False


_COMPARE = "Compare the import with the original before anything is printed."
_NAME_IT = "Say the crook with the crook option if the words are right."
_REST = "Talk with the conductor or the desk; another player or another trumpet may solve it."

FINDING_ROWS = (
    # The file.
    FindingRow(
        "not-named-trumpet",
        "a lone part does not say what it is for",
        "Name the part in the file if it is no trumpet's.",
    ),
    FindingRow(
        "part-not-taken",
        "a part may be for a trumpet and was not marked",
        "Name the part with the part option if it is a trumpet's.",
    ),
    FindingRow(
        "no-music",
        "the part list names a part that has no notes",
        "Export the score again, with that part.",
    ),
    FindingRow(
        "encoding",
        "the file says another encoding than it is in",
        "Save it again; some programs may refuse it as it is.",
    ),
    FindingRow("divisions", "a length of the file cannot be read", "Export the score again."),
    FindingRow("number", "a length or a staff number is none that music has", "Export the score again."),
    FindingRow("transpose", "a transposition is none that music has", "Set the crook."),
    FindingRow("key", "a key signature cannot be transposed", "Check the accidentals of the line as read."),
    FindingRow(
        "no-accidentals",
        "the file has altered notes and prints no accidental at all",
        "Let the program that wrote the file put accidentals in; our sheets have them.",
    ),
    FindingRow("time", "a time signature cannot be read", "Check beats and tempo where it stands."),
    FindingRow(
        "unreadable-pitch",
        "a note's step, alteration or octave is none",
        "Correct the note: it is left unmarked, and the part is not written out with it.",
    ),
    FindingRow(
        "unplayable-pitch",
        "a pitch that no valve plays, a quarter tone for example",
        "Find the fingering by ear; it is left unmarked.",
    ),
    FindingRow(
        "marks-not-recognised",
        "marks of ours may be in the file, and nothing tells them from the part's own",
        "Mark the file as it was before, or take the figures out with strip --force.",
    ),
    FindingRow(
        "players-not-told",
        "several players share a staff, and nothing says who plays",
        "Write a 2, 1. or 2. where single notes begin.",
    ),
    FindingRow("printed-fingering", "the part prints another fingering", "Choose; the printed one stays."),
    # Other formats.
    FindingRow("import-lost", "the format or the import leaves something out", _COMPARE),
    FindingRow("import-rounded", "notes were moved onto a grid", _COMPARE),
    FindingRow("import-notes", "notes were lost or added by the import", _COMPARE),
    FindingRow("import-doubt", "the import met something it did not understand", _COMPARE),
    FindingRow("import-sounding", "the format holds the pitches that sound", "Check the first notes."),
    FindingRow("import-pieces", "the file holds several pieces", "Split it if another one was meant."),
    FindingRow("spelling-guessed", "the format does not spell its notes", "Check the accidentals."),
    # The crook.
    FindingRow(
        "no-transpose",
        "a crook is named, and nothing says how the notes sound",
        "Check whether the file holds written or sounding pitches.",
    ),
    FindingRow("concert-pitch", "the file holds the pitches that sound", "Check the first notes."),
    FindingRow("unknown-crook", "a heading or change names no crook that is known", _NAME_IT),
    FindingRow("several-crooks", "a heading names more than one crook", _NAME_IT),
    FindingRow("headings-disagree", "two headings name different crooks", _NAME_IT),
    FindingRow("crook-disagreement", "words and transpose element name different crooks", _NAME_IT),
    FindingRow("crook-inferred", "the crook was asked of the notes", "Set the crook if you know it."),
    FindingRow("crook-overridden", "the crook option says another crook than the file", "Check the option."),
    FindingRow(
        "inference-disagrees", "the notes suggest another crook than the file", "Compare with the score."
    ),
    FindingRow("sound-disagrees", "the playback sound names another key", "Nothing, if the part is right."),
    FindingRow("change-not-read", "words speak of a crook and were not understood", _NAME_IT),
    FindingRow("unannounced-change", "the crook changes and no words say so", "Write the change in."),
    FindingRow("change-without-transpose", "words change the crook, the sounding key stays", _NAME_IT),
    FindingRow("change-without-crook", "words name an instrument and no crook", _NAME_IT),
    FindingRow(
        "change-for-nobody", "a change speaks to a player the part does not have", "Check the part's name."
    ),
    FindingRow(
        "shared-note-two-crooks",
        "players in different crooks share a note",
        "Have a part for each of them, or read the second crook at sight there.",
    ),
    FindingRow("no-rest-to-change", "the crook changes without rest enough", _REST),
    FindingRow("rest-too-short", "a change was taken for a later rest, the first one being short", _NAME_IT),
    FindingRow("short-rest-to-change", "the rest is short for a change of trumpet", _REST),
    FindingRow("short-rest-for-mute", "the rest is short for a mute", _REST),
    # The range.
    FindingRow("old-bass-clef", "a bass clef was read in the old way", "Compare with the score."),
    FindingRow("octave-moved", "a stretch was read in another octave", "Set the crook if it is wrong."),
    FindingRow(
        "below-range", "notes lie below the instrument's range", "Try another trumpet.", out_of_reach=True
    ),
    FindingRow(
        "above-range", "notes lie above the instrument's range", "Try another trumpet.", out_of_reach=True
    ),
    FindingRow("out-of-range", "no fingering reaches the note", "Try another trumpet.", out_of_reach=True),
)
FINDING = {row.code: row for row in FINDING_ROWS}
