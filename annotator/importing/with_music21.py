"""What music21 reads of another format, as MusicXML: names and transpositions put right, losses named."""

from __future__ import annotations

import json
import os
import re
import sys
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import astuple
from typing import Any, cast

import music21
from lxml import etree
from music21.musicxml.m21ToXml import GeneralObjectExporter

from annotator.errors import UnreadableScore
from annotator.findings import Finding
from annotator.importing.formats import FORMATS, LONGEST, MEMORY, Format, decoded
from annotator.importing.losses import lost
from annotator.importing.midi import guess_spelling, midi_findings

if sys.platform != "win32":
    import resource

_PARSER = etree.XMLParser(resolve_entities=False, no_network=True, recover=True)
_NOT_XML = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f]")  # control characters that XML 1.0 forbids
# Humdrum's instrument codes, from memory of its reference.
_HUMDRUM_CODES = {
    "trumpt": "Trumpet",
    "cornt": "Cornet",
    "flugh": "Flugelhorn",
    "clarno": "Clarino",
    "tromt": "Trombone",
}


def to_musicxml(data: bytes, found: Format) -> tuple[bytes, tuple[Finding, ...]]:
    """As ``importing.to_musicxml``, the format known. Raises UnreadableScore."""
    text = "" if found.binary else decoded(data)
    doubts: list[str] = []
    stream = _parsed(data if found.binary else text, found, doubts)
    notes = _struck(stream)
    score, findings = _one_score(stream, found)
    _name_parts(score, found, text)
    _forget_transpositions(score, found, text)
    if found.id == "midi":
        findings += guess_spelling(score)
        findings += midi_findings(data, notes)
    findings += _doubts(doubts, found)
    xml = _written(score, found)
    if (written := _struck_in(xml)) != notes:
        message = f"music21 read {notes} notes of the {found.name} file, and {written} came out; compare them"
        findings.append(Finding("import-notes", message))
    findings += lost(found, text, xml)
    if found.sounding:
        findings.append(
            Finding(
                "import-sounding",
                f"{found.name} holds the pitches that sound, so the part was imported as sounding as "
                "written, whatever its heading says",
            )
        )
    return xml, tuple(findings)


@contextmanager
def _heard(doubts: list[str]) -> Iterator[None]:
    """Adds to ``doubts`` what music21 would tell its standard error stream ("assuming C")."""

    def hear(_: object, message: object, header: object = None) -> None:
        words = message if isinstance(message, str) else " ".join(map(str, cast("Iterable[object]", message)))
        doubts.append(" ".join(words.split()))

    environment: Any = music21.environment.Environment
    told = environment.warn
    environment.warn = hear
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            yield
        doubts += [" ".join(str(warning.message).split()) for warning in caught]
    finally:
        environment.warn = told


def _doubts(doubts: list[str], found: Format) -> list[Finding]:
    if not doubts:
        return []
    different = list(dict.fromkeys(doubts))
    shown = "; ".join(words[:120] for words in different[:5])
    more = f"; and {len(different) - 5} more" if len(different) > 5 else ""
    return [Finding("import-doubt", f"while reading the {found.name} file: {shown}{more}. Compare the notes")]


def _parsed(data: bytes | str, found: Format, doubts: list[str]) -> Any:
    converter = music21.converter.Converter()
    try:
        with _heard(doubts):
            converter.parseData(data, format=found.id)
    except Exception as error:
        raise UnreadableScore(
            f"the file could not be read as {found.name}: {_told(error)}; check it, or export it as MusicXML"
        ) from error
    stream = converter.stream
    if stream is None or not stream.recurse().notes:
        raise UnreadableScore(f"the {found.name} file has no notes on staves; export it as MusicXML")
    if stream.highestTime > LONGEST:
        raise UnreadableScore(f"the {found.name} file lasts more than {LONGEST:,.0f} quarter notes")
    return stream


def _told(error: Exception) -> str:
    words = " ".join(str(error).split())
    return f"{words[:200]}" if words else type(error).__name__


def _one_score(stream: Any, found: Format) -> tuple[Any, list[Finding]]:
    """A file of several pieces as one score, one after the other."""
    if not isinstance(stream, music21.stream.Opus):
        if not stream.getElementsByClass(music21.stream.Part):
            score = music21.stream.Score()
            score.insert(0, stream)
            return score, []
        return stream, []
    scores = list(stream.scores)
    first = scores[0]
    if len(scores) == 1:
        return first, []
    if any(len(each.parts) != len(first.parts) for each in scores):
        raise UnreadableScore(
            f"the {found.name} file holds {len(scores)} pieces with different numbers of parts; "
            "make a file of each"
        )
    for index, begun in enumerate(list(first.parts)):
        part = _in_measures(begun)
        first.replace(begun, part)
        for each in scores[1:]:
            title = each.metadata.bestTitle if each.metadata else None
            further = _in_measures(each.parts[index])
            for number, measure in enumerate(further.getElementsByClass(music21.stream.Measure)):
                if number == 0 and title:
                    measure.insert(0, _words(title))
                part.append(measure)
            for spanner in further.spanners:
                part.insert(0, spanner)
    message = f"the {found.name} file holds {len(scores)} pieces; they follow one another in one part"
    return first, [Finding("import-pieces", message)]


def _in_measures(part: Any) -> Any:
    """The part with bars, which a piece of one bar may lack."""
    return part if part.getElementsByClass(music21.stream.Measure) else part.makeMeasures()


def _struck(stream: Any) -> int:
    """The notes that are struck: those a tie only holds on are not counted, nor chord symbols."""
    return sum(
        len(note.pitches)
        for note in stream.recurse().notes
        if not isinstance(note, music21.harmony.Harmony) and (note.tie is None or note.tie.type == "start")
    )


def _struck_in(xml: bytes) -> int:
    notes = etree.fromstring(xml).iter("note")
    return sum(
        note.find("pitch") is not None and all(tie.get("type") != "stop" for tie in note.iter("tie"))
        for note in notes
    )


def _words(text: str) -> Any:
    made: Any = music21.expressions.TextExpression
    return made(text)


def _name_parts(score: Any, found: Format, text: str) -> None:
    """The names that music21 leaves in the file."""
    parts = list(score.parts)
    names: list[str] = []
    if found.id == "abc":
        names = list(_abc_voices(text).values())
    elif found.id == "humdrum":
        names = [_humdrum_name(part) for part in parts]
    for part, name in zip(parts, names, strict=False):
        if name:
            part.partName = name


def _abc_voices(text: str) -> dict[str, str]:
    """The voices of an ABC tune in order, with their names (ABC 2.1, "V: voice")."""
    voices: dict[str, str] = {}
    for match in re.finditer(r"(?m)^\s*\[?V:\s*([^\s\]]+)([^\n\]]*)", text):
        name = re.search(r"""\b(?:name|nm)\s*=\s*(?:"([^"]*)"|(\S+))""", match[2])
        told = (name[1] or name[2] or "") if name else ""
        if told or match[1] not in voices:
            voices[match[1]] = told
    return voices


def _humdrum_name(part: Any) -> str:
    """The name of a spine: ``*I"Trumpet in F``, or the instrument's code ``*Itrumpt``."""
    code = ""
    for tandem in part.recurse().getElementsByClass(music21.humdrum.spineParser.MiscTandem):
        told = str(tandem.tandem).removeprefix("*I")
        if told.startswith('"'):
            return told.strip('"')
        code = code or _HUMDRUM_CODES.get(told.lower(), "")
    return code


def _forget_transpositions(score: Any, found: Format, text: str) -> None:
    """Transpositions that music21 assumes from an instrument's name and the file does not give.

    Only MEI gives them (``trans.diat``, ``trans.semi``), to pitches as written.
    """
    parts = list(score.parts)
    given = _mei_transposed(text) if found.id == "mei" else []
    if len(given) != len(parts):
        # Staves and parts do not pair off: what music21 made of the transpositions stands if there are any.
        given = [any(given)] * len(parts)
    for part, keeps in zip(parts, given, strict=True):
        instruments = list(part.recurse().getElementsByClass(music21.instrument.Instrument))
        for instrument in instruments:
            if not keeps:
                instrument.transposition = None
        # One instrument a part is enough; MIDI repeats it for every name and program change.
        for instrument in instruments[1:]:
            if found.id == "midi":
                part.remove(instrument, recurse=True)


def _mei_transposed(text: str) -> list[bool]:
    """For each staff of an MEI file in order, whether it gives a transposition."""
    root = etree.fromstring(re.sub(r"\A\s*<\?xml[^>]*\?>", "", text), _PARSER)
    staves: dict[str, bool] = {}
    for element in root.iter("{*}staffDef"):
        number = element.get("n", "")
        staves[number] = staves.get(number, False) or "trans.semi" in element.attrib
    return list(staves.values())


def _written(score: Any, found: Format) -> bytes:
    if score.metadata is None:
        score.metadata = music21.metadata.Metadata()
    if not score.metadata.bestTitle:
        score.metadata.title = " "
    if not score.metadata.composer:
        score.metadata.composer = " "
    score.metadata.addCustom("imported from", found.name)
    if found.id == "midi":
        score.metadata.addCustom("spelling", "guessed from the key")
    try:
        with _heard([]):
            xml = GeneralObjectExporter().parse(score)
    except Exception as error:
        raise UnreadableScore(
            f"the {found.name} file was read and cannot be written as MusicXML: {_told(error)}"
        ) from error
    return _tidied(xml, found)


def _tidied(xml: bytes, found: Format) -> bytes:
    """Short ids in place of random ones, no date, no blank titles, and the sounding pitches said to be so."""
    root = etree.fromstring(_NOT_XML.sub(b"", xml))
    for path in ("movement-title", "identification/creator", "identification/encoding/encoding-date"):
        for element in root.findall(path):
            parent = element.getparent()
            if parent is not None and (path.endswith("date") or not (element.text or "").strip()):
                parent.remove(element)
    for old, new in _new_ids(root):
        for element in root.iter():
            if element.get("id") == old:
                element.set("id", new)
    if found.sounding:
        _say_at_concert_pitch(root)
    tree: Any = root.getroottree()
    doctype: str = tree.docinfo.doctype
    return bytes(etree.tostring(root, encoding="UTF-8", xml_declaration=True, doctype=doctype))


def _new_ids(root: Any) -> Iterator[tuple[str, str]]:
    for number, part in enumerate(root.findall("part-list/score-part"), 1):
        yield part.get("id"), f"P{number}"
        for count, instrument in enumerate(part.findall("score-instrument"), 1):
            yield instrument.get("id"), f"P{number}-I{count}"


def _say_at_concert_pitch(root: Any) -> None:
    """``<concert-score/>`` (MusicXML 4.0): every part holds the sounding pitches, whatever its heading."""
    defaults = root.find("defaults")
    if defaults is None:
        defaults = etree.Element("defaults")
        root.find("part-list").addprevious(defaults)
    scaling = defaults.find("scaling")
    defaults.insert(0 if scaling is None else 1, etree.Element("concert-score"))


def main() -> None:
    """The process of its own: the file on standard input, the answer as JSON on standard output."""
    answer_to = os.dup(sys.stdout.fileno())
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # whatever music21 prints is no answer
    if sys.platform != "win32":
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    found = next(each for each in FORMATS if each.id == sys.argv[1])
    try:
        xml, findings = to_musicxml(sys.stdin.buffer.read(), found)
        answer: dict[str, Any] = {"xml": xml.decode(), "findings": [astuple(each) for each in findings]}
    except UnreadableScore as error:
        answer = {"error": error.message}
    with os.fdopen(answer_to, "wb") as out:
        out.write(json.dumps(answer).encode())


if __name__ == "__main__":
    main()
