"""General notation programs as consumers of what we write: each opens a file, draws it or saves it again.

MuseScore 3 and LilyPond as Debian has them, verovio, music21 and partitura from the package index.
"""

from __future__ import annotations

import base64
import io
import json
import os
import re
import shutil
import subprocess
import warnings
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import mido
import music21
import partitura
import verovio
from lxml import etree

from annotator.score.ours import SIGN
from annotator.score.source import open_source

Notes = list[tuple[str, float]]
"""Pitch (step, alteration, octave; "" for a rest) and length in quarters."""

SECONDS = 240


def installed() -> list[str]:
    """The programs of the system that are missing."""
    return [name for name in ("musescore3", "musicxml2ly", "lilypond") if shutil.which(name) is None]


@dataclass(frozen=True)
class Opened:
    """What a consumer made of a file: ``shown`` and ``kept`` count marks by kind, None where it does neither.

    ``notes`` part by part, cue staves of ours left out; ``saved`` what it writes when it saves.
    """

    notes: list[Notes]
    shown: Mapping[str, int] | None
    kept: Mapping[str, int] | None
    saved: bytes | None = None


def musescore(files: Sequence[Path]) -> dict[Path, Path]:
    """Each file saved again by MuseScore, all in one run: as MusicXML, and beside it as .mscx."""
    environment = os.environ | {"QT_QPA_PLATFORM": "offscreen", "XDG_RUNTIME_DIR": str(files[0].parent)}
    saved = {file: file.with_suffix(".ms.musicxml") for file in files}
    job = [
        {"in": str(file), "out": [str(target), str(target.with_suffix(".mscx"))]}
        for file, target in saved.items()
    ]
    jobs = files[0].parent / "jobs.json"
    jobs.write_text(json.dumps(job))
    done = subprocess.run(
        ["musescore3", "-j", str(jobs)], capture_output=True, timeout=SECONDS, env=environment, check=False
    )
    missing = [file.name for file, target in saved.items() if not target.exists()]
    assert not missing, f"MuseScore did not open {missing}: {done.stderr[-2000:]!r}"
    return saved


def with_music21(file: Path) -> bytes:
    """The file read and written by music21."""
    target = file.with_suffix(".m21.musicxml")
    score = music21.converter.parse(str(file), forceSource=True)
    score.write("musicxml", str(target))  # type: ignore[no-untyped-call]
    return target.read_bytes()


def with_partitura(file: Path) -> bytes:
    """The file read and written by partitura."""
    target = file.with_suffix(".pt.musicxml")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        partitura.save_musicxml(partitura.load_musicxml(str(file)), str(target))
    return target.read_bytes()


def with_lilypond(file: Path) -> tuple[str, list[list[int]]]:
    """The file in LilyPond's own language, and the notes of each track of the MIDI file LilyPond makes."""
    source = file.with_suffix(".ly")
    subprocess.run(
        ["musicxml2ly", "--midi", "-o", str(source), str(file)],
        capture_output=True,
        timeout=SECONDS,
        check=True,
    )
    drawn = subprocess.run(
        ["lilypond", "-dno-print-pages", "-o", str(file.with_suffix(".lily")), str(source)],
        capture_output=True,
        timeout=SECONDS,
        check=False,
    )
    assert drawn.returncode == 0, f"{file.name}: {drawn.stderr[-2000:]!r}"
    tracks = mido.MidiFile(file.with_suffix(".lily.midi")).tracks
    return source.read_text(encoding="utf-8"), [found for track in tracks if (found := sounding(track))]


def with_verovio(file: Path) -> tuple[str, list[list[int]]]:
    """All pages verovio draws, and the notes it plays, track by track."""
    toolkit = loaded(file)
    pages = "".join(toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1))
    midi = mido.MidiFile(file=io.BytesIO(base64.b64decode(toolkit.renderToMIDI())))
    return pages, [sounding(track) for track in midi.tracks[1:]]


def loaded(file: Path) -> verovio.toolkit:
    """The file in verovio's hands."""
    toolkit = verovio.toolkit()
    toolkit.setInputFrom("musicxml")
    assert toolkit.loadData(open_source(file.read_bytes()).text.lstrip("\ufeff")), file.name
    return toolkit


def sounding(track: mido.MidiTrack) -> list[int]:
    """The numbers of the notes of a track that are struck to be heard."""
    return [each.note for each in track if each.type == "note_on" and each.velocity]


def parts(data: bytes) -> list[etree._Element]:
    """The parts of a score but for cue staves of ours, known by what stands in their abbreviation."""
    root = etree.fromstring(data)
    ours = {
        listed.get("id")
        for listed in root.iterfind("part-list/score-part")
        if "as read" in (listed.findtext("part-abbreviation") or "")
    }
    return [part for part in root.findall("part") if part.get("id") not in ours]


def notes_of(data: bytes) -> list[Notes]:
    """The notes of every part, by its own part of the standard (MusicXML 4.0, note): pitch and duration."""
    found = []
    for part in parts(data):
        divisions = 1.0
        notes: Notes = []
        for element in part.iter("divisions", "note"):
            if element.tag == "divisions":
                divisions = float(element.text or 1)
                continue
            pitch = element.find("pitch")
            name = ""
            if pitch is not None:
                alter = float(pitch.findtext("alter") or 0)
                name = f"{pitch.findtext('step')}{alter:g}{pitch.findtext('octave')}"
                notes.append((name, round(float(element.findtext("duration") or 0) / divisions, 3)))
        found.append(notes)
    return found


def marks_in(data: bytes) -> Counter[str]:
    """The marks in a file, counted by what they say: ``fingering:1-2``, ``lyric:5``, ``words:! …``."""
    found: Counter[str] = Counter()
    for part in parts(data):
        for note in part.iter("note"):
            for fingering in note.iter("fingering"):
                found[f"fingering:{(fingering.text or '').strip()}"] += 1
            for text in note.iterfind("lyric/text"):
                found[f"lyric:{(text.text or '').strip()}"] += 1
        for words in part.iter("words"):
            if (words.text or "").startswith("!"):
                found[f"words:{(words.text or '').strip()}"] += 1
    return found


LILYPOND_FINGERING = re.compile(r"(?<=[\s>])[\^_-](\d(?:-\d)*)(?=\s)")


def ly_blocks(source: str, what: str) -> str:
    """The texts of all ``\\lyricmode`` or ``\\relative`` blocks of a LilyPond source, cue staves left out."""
    blocks = re.findall(rf"^(\w+) *= *\\{what}(.*?)^    \}}", source, re.DOTALL | re.MULTILINE)
    return "\n".join(text for name, text in blocks if "cue" not in name)


def ly_syllables(source: str) -> list[str]:
    """The syllables of all lyrics of a LilyPond source: in quotes, inside of which its lines may break, or
    plain words."""
    lyrics = re.sub(r"\\set\s+ignoreMelismata\s*=\s*##[tf]", " ", ly_blocks(source, "lyricmode"))
    found = re.findall(r'"([^"]*)"|(?<![\\\w])([^\W\d_]+)(?!\w)', lyrics)
    return [" ".join((quoted or plain).split()) for quoted, plain in found]


def ly_music(source: str) -> str:
    """The notes of a LilyPond source without fingerings and words of ours, cue staves left out."""
    words = rf"[\^_-]\\markup\{{[^{{}}]*\{{[^{{}}]*{SIGN}\}}\s*\}}"
    music = re.sub(words, "", ly_blocks(source, "relative"))
    return " ".join(LILYPOND_FINGERING.sub("", music).split())
