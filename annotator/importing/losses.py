"""What stands in a file of another format and is missing in its import, by kind."""

from __future__ import annotations

import re
from collections.abc import Callable

from annotator.findings import Finding
from annotator.importing.formats import Format

# What, how it looks in the format, and the MusicXML element that would carry it.
_ABC = (
    ("slurs", r"\((?!\d)", "slur"),
    ("ties", r"[A-Ga-g][,']*\d*-", "tie"),
    ("dynamics", r"[!+](?:p{1,4}|f{1,4}|m[pf]|sfz)[!+]", "dynamics"),
    ("hairpins", r"!(?:crescendo|diminuendo|<|>)[()]!", "wedge"),
    ("staccato dots", r"\.(?=[_^=]?[A-Ga-g])", "staccato"),
    ("accents", r"!(?:accent|emphasis|>)!|L(?=[_^=]?[A-Ga-g])", "accent"),
    (
        "ornaments",
        r"!(?:trill|mordent|turn|\w*mordent|roll)!|[T~](?=[_^=]?[A-Ga-g])",
        "ornaments",
    ),
    ("fermatas", r"!fermata!|H(?=[_^=]?[A-Ga-g])", "fermata"),
    ("fingerings", r"![0-5]!", "fingering"),
    ("grace notes", r"\{", "grace"),
    ("chord symbols", r'"[A-G][^"]*"', "harmony"),
    ("words", r'"[\^_<>@][^"]*"', "words"),
    ("breath marks", r"!breath!", "breath-mark"),
    ("lyrics", r"(?m)^[wW]:", "lyric"),
    ("tempo marks", r"(?m)^Q:", "sound"),
    ("repeats", r":\||\|:|::", "repeat"),
    ("a transposition", r"(?m)^(?:[KV]:|%%MIDI).*\btranspose\b", "transpose"),
)
_HUMDRUM = (
    ("slurs", r"\(", "slur"),
    ("ties", r"\[", "tie"),
    ("staccato dots", r"'", "staccato"),
    ("accents", r"\^", "accent"),
    ("ornaments", r"[a-gA-G][#n-]*[TtMmWwS]", "ornaments"),
    ("fermatas", r";", "fermata"),
    ("grace notes", r"[qQ]", "grace"),
    ("dynamics", r"\*\*dynam", "dynamics"),
    ("lyrics", r"\*\*(?:text|silbe|lyrics)", "lyric"),
    ("fingerings", r"\*\*fing", "fingering"),
    ("harmony", r"\*\*(?:harm|mxhm|cdata)", "harmony"),
    ("tempo marks", r"\*MM\d", "sound"),
    ("the transposition of the instrument", r"\*ITr", "transpose"),
)
_MEI = (
    ("slurs", r"<(?:\w+:)?slur\b|\bslur=", "slur"),
    ("ties", r"<(?:\w+:)?tie\b|\btie=", "tie"),
    ("dynamics", r"<(?:\w+:)?dynam\b", "dynamics"),
    ("hairpins", r"<(?:\w+:)?hairpin\b", "wedge"),
    ("articulations", r"<(?:\w+:)?artic\b|\bartic=", "articulations"),
    ("ornaments", r"<(?:\w+:)?(?:trill|mordent|turn)\b", "ornaments"),
    ("fermatas", r"<(?:\w+:)?fermata\b|\bfermata=", "fermata"),
    ("fingerings", r"<(?:\w+:)?fing\b", "fingering"),
    ("grace notes", r"\bgrace=", "grace"),
    ("harmony", r"<(?:\w+:)?harm\b", "harmony"),
    ("lyrics", r"<(?:\w+:)?(?:verse|syl)\b", "lyric"),
    ("words", r"<(?:\w+:)?(?:dir|reh)\b", "words"),
    ("tempo marks", r"<(?:\w+:)?tempo\b", "sound"),
    ("breath marks", r"<(?:\w+:)?breath\b", "breath-mark"),
    ("octave lines", r"<(?:\w+:)?octave\b", "octave-shift"),
    ("repeats", r"=\"(?:rptstart|rptend|rptboth)\"", "repeat"),
)
_FEATURES = {"abc": _ABC, "humdrum": _HUMDRUM, "mei": _MEI}


def lost(found: Format, text: str, xml: bytes) -> list[Finding]:
    """One finding naming every kind of sign the file has and the import has none of."""
    music = _MUSIC.get(found.id, str)(text)
    missing = [
        what
        for what, looks, tag in _FEATURES.get(found.id, ())
        if re.search(looks, text if looks.startswith(_ANYWHERE) else music)
        and not re.search(rb"<%s\b" % tag.encode(), xml)
    ]
    if not missing:
        return []
    message = f"the {found.name} file has {_listed(missing)}, which the import does not carry over"
    return [Finding("import-lost", message)]


# These look in the whole file, the others only where notes are.
_ANYWHERE = ("(?m)^", '"', r"\*")


def _abc_music(text: str) -> str:
    """The lines of music of an ABC tune, without fields, comments and quoted texts."""
    return re.sub(r'(?m)^[A-Za-z]:[^\n]*$|%[^\n]*$|"[^"\n]*"', "", text)


def _humdrum_music(text: str) -> str:
    """The tokens of the ``**kern`` spines of a Humdrum file, followed through splits and joins."""
    kinds: list[str] = []
    tokens: list[str] = []
    for line in text.splitlines():
        fields = line.split("\t")
        if line.startswith("**"):
            kinds = fields
        elif line.startswith("*"):
            kinds = _followed(kinds, fields)
        elif line and line[0] not in "!=":
            tokens += [field for kind, field in zip(kinds, fields, strict=False) if kind == "**kern"]
    return "\n".join(tokens)


def _followed(kinds: list[str], fields: list[str]) -> list[str]:
    """The spines after a line of spine paths: ``*^`` splits, ``*v`` side by side join, ``*-`` ends."""
    after: list[str] = []
    joining = False
    for kind, field in zip(kinds, fields, strict=False):
        if field == "*^":
            after += [kind, kind]
        elif field == "*-" or (field == "*v" and joining):
            pass
        else:
            after.append(field if field.startswith("**") else kind)
        joining = field == "*v"
    return after


_MUSIC: dict[str, Callable[[str], str]] = {"abc": _abc_music, "humdrum": _humdrum_music}


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
