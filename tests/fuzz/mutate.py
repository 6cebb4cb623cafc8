"""Scores changed at random: their elements, their values and their bytes."""

from __future__ import annotations

import re
from collections.abc import Callable
from random import Random

from tests.fuzz.seeds import seeds, zipped

_TAG = re.compile(r"<(/?)([A-Za-z][\w.-]*)((?:[^<>\"']|\"[^\"]*\"|'[^']*')*?)(/?)>")
_TEXT = re.compile(r">([^<>]+)<")
_VALUE = re.compile(r"""=\s*(?:"([^"]*)"|'([^']*)')""")
_NUMBERS = (
    *("0", "-1", "1", "2", "7", "-7", "13", "99", "5.0", "1,0", "0.5", "-0.0", "1e300", "-1e300", "1e-300"),
    *("nan", "inf", "9" * 30, "9" * 5000, "½", "²", "٣", "3+2", "3+", "+", "0x10", "1_000", "3000000"),
)
_WORDS = (
    *(
        "",
        " ",
        "\t\n",
        "C",
        "H",
        "c",
        "B",
        "muta in F",
        "in Es",
        "Tromba in Mi♭",
        "Trumpet in Q",
        "1.",
        "a 2",
    ),
    *(
        "a 2",
        "Solo",
        "div.",
        "con sord.",
        "senza sord.",
        "rit.",
        "Allegro",
        "D.C. al Fine",
        "to Coda",
        "fine",
    ),
    *("12", "1-2", "o", "!", "!! x", "\u2060", "&amp;&lt;", "&#0;", "&nope;", "]]>", "<!--", "-->"),
    *(
        "<?crookline begin cue?>",
        "<?x?>",
        "x" * 3000,
        "\ufdd0",
        "\x00",
        "\ud7ff",
        "𝄞",
        "yes",
        "no",
        "start",
        "stop",
    ),
)
_SNIPPETS = (
    "<chord/>",
    "<grace/>",
    "<cue/>",
    "<rest/>",
    "<staff>2</staff>",
    "<voice>9</voice>",
    '<tie type="stop"/>',
    "<backup><duration>9</duration></backup>",
    "<forward><duration>1</duration></forward>",
    "<attributes><divisions>3</divisions><key><fifths>-5</fifths></key></attributes>",
    "<attributes><transpose><chromatic>-3</chromatic></transpose></attributes>",
    "<attributes><clef><sign>F</sign><line>4</line></clef></attributes>",
    "<direction><direction-type><words>muta in D</words></direction-type></direction>",
    "<direction><direction-type><words>2.</words></direction-type><staff>1</staff></direction>",
    '<barline><ending number="1,2" type="start"/><repeat direction="backward"/></barline>',
    "<notations><ornaments><trill-mark/></ornaments><slur type='start'/></notations>",
    "<notations><technical><fingering>1+2</fingering></technical></notations>",
    '<lyric number="1"><text>la</text></lyric>',
    "<note><pitch><step>A</step><octave>5</octave></pitch><duration>2</duration></note>",
    "<measure/>",
    '<part id="P1"/>',
    "<![CDATA[<note>]]>",
    "<!-- <note> -->",
)

Change = Callable[[Random, str], str]


def mutant(number: int, seed: int) -> bytes:
    """File ``number`` of a run with ``seed``: the same every time."""
    random = Random(f"{seed}/{number}")
    data = random.choice(seeds())
    if data.startswith(b"PK"):
        return damaged(random, data)
    text = data.decode("utf-8", "replace")
    for _ in range(random.choice((1, 1, 1, 2, 3, 5))):
        text = random.choice(_CHANGES)(random, text)
    changed = text.encode("utf-8", "surrogatepass")
    kind = random.random()
    if kind < 0.1:
        changed = damaged(random, changed)
    elif kind < 0.15:
        changed = damaged(random, zipped(changed)) if random.random() < 0.5 else zipped(changed)
    elif kind < 0.2:
        encoding = random.choice(("utf-16", "utf-32", "latin-1", "cp1252", "shift_jis", "utf-16-be"))
        changed = text.encode(encoding, "xmlcharrefreplace" if encoding[:3] != "utf" else "surrogatepass")
    return changed


def _spans(text: str) -> list[tuple[int, int]]:
    """Where the elements of a text stand."""
    found: list[tuple[int, int]] = []
    open_: list[tuple[str, int]] = []
    for tag in _TAG.finditer(text):
        closing, name, _, empty = tag.groups()
        if empty:
            found.append(tag.span())
        elif not closing:
            open_.append((name, tag.start()))
        elif open_ and open_[-1][0] == name:
            found.append((open_.pop()[1], tag.end()))
    # A change of the whole music at once says little.
    return [(start, end) for start, end in found if end - start < 0.6 * len(text)] or [(0, len(text))]


def _removed(random: Random, text: str) -> str:
    start, end = random.choice(_spans(text))
    return text[:start] + text[end:]


def _doubled(random: Random, text: str) -> str:
    start, end = random.choice(_spans(text))
    times = random.choice((1, 1, 1, 2, 40))
    return text[:end] + text[start:end] * (times if end - start < 2000 else 1) + text[end:]


def _moved(random: Random, text: str) -> str:
    start, end = random.choice(_spans(text))
    left = text[:start] + text[end:]
    place = random.choice(random.choice(_spans(left)))
    return left[:place] + text[start:end] + left[place:]


def _from_another(random: Random, text: str) -> str:
    other = random.choice(seeds()).decode("utf-8", "replace")
    start, end = random.choice(_spans(other))
    place = random.choice(random.choice(_spans(text)))
    return text[:place] + other[start:end][:3000] + text[place:]


def _snippet(random: Random, text: str) -> str:
    place = random.choice(random.choice(_spans(text)))
    return text[:place] + random.choice(_SNIPPETS) + text[place:]


def _other_value(random: Random, text: str) -> str:
    pattern = random.choice((_TEXT, _TEXT, _VALUE))
    found = [match for match in pattern.finditer(text) if (match.group(1) or "").strip()]
    if not found:
        return text
    match = random.choice(found)
    number = match.group(1).strip().lstrip("-").isdigit()
    new = random.choice(_NUMBERS if number and random.random() < 0.8 else _WORDS)
    return text[: match.start(1)] + new + text[match.end(1) :]


def _renamed(random: Random, text: str) -> str:
    names = sorted({tag.group(2) for tag in _TAG.finditer(text)})
    old, new = random.choice(names or ["note"]), random.choice(names or ["note"])
    return re.sub(rf"(</?){re.escape(old)}(?=[\s/>])", rf"\g<1>{new}", text)


def _untagged(random: Random, text: str) -> str:
    tags = list(_TAG.finditer(text))
    if not tags:
        return text
    tag = random.choice(tags)
    return text[: tag.start()] + text[tag.end() :]


def _word(random: Random, text: str) -> str:
    place = random.randrange(len(text) + 1)
    return text[:place] + random.choice(_WORDS) + text[place:]


_CHANGES: tuple[Change, ...] = (
    *(_removed, _doubled, _moved, _from_another, _snippet, _snippet),
    *(_other_value, _other_value, _other_value, _renamed, _untagged, _word),
)


def damaged(random: Random, data: bytes) -> bytes:
    """Some bytes turned, dropped, put in or repeated, or the end cut off."""
    changed = bytearray(data)
    for _ in range(random.choice((1, 1, 2, 4, 16))):
        place = random.randrange(len(changed) + 1)
        kind = random.randrange(5)
        if kind == 0 and place < len(changed):
            changed[place] ^= 1 << random.randrange(8)
        elif kind == 1:
            del changed[place : place + random.choice((1, 2, 10, 300))]
        elif kind == 2:
            changed[place:place] = bytes(random.randrange(256) for _ in range(random.choice((1, 2, 8))))
        elif kind == 3:
            changed[place:place] = changed[place : place + random.choice((1, 10, 300))]
        elif random.random() < 0.3:
            del changed[place:]
    return bytes(changed)
