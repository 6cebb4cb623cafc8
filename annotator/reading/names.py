"""Names of instruments and crooks as they stand in part headings, in four languages."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from annotator.lazy_pattern import LazyPattern
from annotator.reading.crooks import BY_ID, CROOKS, Crook, crook_named_after
from annotator.reading.said import Named
from annotator.reading.vocabulary import (
    BETWEEN,
    FAMILY_OF,
    INSTRUMENT,
    NOTE,
    PREPOSITION,
    REGISTER,
    TABLE,
    TRIGGER,
    alternation,
    normalise,
    whole_word,
)

_AFTER = rf"(?P<after>[\s-]*\(?{REGISTER}(?![a-z]))?"
_LOOSE = r"[\s.,:;()\[\]\d-]"
# The shapes a heading has, in the order they are tried.
_IN = LazyPattern(rf"{INSTRUMENT}{BETWEEN}{PREPOSITION}{NOTE}{_AFTER}")
_BRACKET = LazyPattern(rf"{INSTRUMENT}{BETWEEN}(?<=[(\[])\s*{NOTE}\s*[)\]]")
_BEFORE = LazyPattern(rf"(?<![a-z♭♮♯#]){NOTE}(?P<dash>[\s-]*){BETWEEN}{INSTRUMENT}")
_BEHIND = LazyPattern(rf"{INSTRUMENT}{BETWEEN}(?<=[\s.-]){NOTE}(?=[\s.,;:)\]\d]|$)")
_ALONE = LazyPattern(rf"(?>(?<![a-z])[ivx]++[.\s]|{_LOOSE})*{PREPOSITION}{NOTE}{_AFTER}{_LOOSE}*\Z")
_ANOTHER = LazyPattern(
    rf"\s*(?:/|,|;|&|\+|\(|\bor\b|\bo\b|\bou\b|\boder\b|\bund\b|\band\b|\be\b|\bet\b|\bpoi\b|\bpuis\b|\bdann\b|\bthen\b)"
    rf"\s*(?:\d+\W*)?(?:{PREPOSITION})?{NOTE}"
)
_TITLE = LazyPattern(whole_word(TABLE["titles"]["words"]))
_TRUMPET = LazyPattern(
    rf"(?<![a-z])(?:{REGISTER}*)(?:{whole_word(w for ws in TABLE['instruments'].values() for w in ws)})"
    rf"|{INSTRUMENT}(?={BETWEEN}{PREPOSITION}{re.sub('[?]P<[a-z]+>', '?:', NOTE)})"
)
_NOT_THESE = LazyPattern(rf"{whole_word(TABLE['not_these']['words'])}|\b\d+\s*'")
_OTHERS = LazyPattern(whole_word(TABLE["others"]["words"]))
_PICCOLO = LazyPattern(rf"(?<![a-z])(?:{alternation(TABLE['piccolo']['words'])})")
_REGISTER_OF = {word: kind for kind, words in TABLE["registers"].items() for word in words}
_ALTER = {
    word: alter
    for kind, alter in (("flat", -1), ("sharp", 1), ("natural", 0))
    for word in TABLE["accidentals"][kind]
}


def _register(words: str) -> str:
    """``high`` or ``bass`` when one of these words stands in the heading; a low one is the usual one."""
    for word in re.split(r"[\s().-]+", words):
        kind: str = _REGISTER_OF.get(word, "")
        if kind in ("high", "bass"):
            return kind
    return ""


def _note(match: re.Match[str]) -> tuple[str, int, bool]:
    """Step, alter, and whether the name is the two-edged B."""
    compound = match["compound"]
    if compound:
        held: tuple[str, int] = tuple(TABLE["compounds"][compound])
        return *held, False
    step: str = TABLE["notes"][match["base"]]
    word = match["accidental"]
    if word is None:
        return (step, -1, True) if match["base"] == "b" else (step, 0, False)
    return step, _ALTER[" ".join(re.split(r"[\s-]+", word))], False


def _is_bare_letter(match: re.Match[str]) -> bool:
    return match["compound"] is None and len(match["base"]) == 1 and match["accidental"] is None


def _family(match: re.Match[str]) -> str:
    words = match.groupdict()
    if words.get("instrument") is None:
        return ""
    family = FAMILY_OF[" ".join(re.split(r"[\s-]+", words["instrument"]))]
    return "piccolo" if family == "trumpet" and _PICCOLO.search(match[0]) else family


def crook_of(match: re.Match[str], *, words: str = "") -> Named:
    """The crook a match of a NOTE means, the register taken from ``words`` (or the match itself)."""
    step, alter, two_edged = _note(match)
    register = _register(f"{match.groupdict().get('register') or ''} {words or match[0]}")
    crook = crook_named_after(step, alter, register)
    natural = crook_named_after("B", 0, register) if two_edged else None
    # A heading may leave out that a small trumpet is meant, and G says nothing of high or low.
    other = [row for row in CROOKS if (row.step, row.alter) == (step, alter) and row != crook] + (
        [natural] if natural else []
    )
    note = step + ("#" * alter if alter > 0 else "b" * -alter)
    return Named(crook, match[0].strip(" ,.;:-"), _family(match), tuple(other), note=note, register=register)


def _candidates(text: str) -> Iterator[re.Match[str]]:
    """The matches of the shapes of a heading that hold, best shape first."""
    for shape in (_IN, _BRACKET, _BEFORE, _BEHIND, _ALONE):
        for match in filter(None, [_ALONE.match(text)]) if shape is _ALONE else shape.finditer(text):
            if shape is _BEHIND and _is_bare_letter(match):
                continue  # Trumpet A, Trumpet B: players, not crooks
            if shape is _BEFORE and not _holds_before(match, text):
                continue
            yield match


def _holds_before(match: re.Match[str], text: str) -> bool:
    """Whether a note before the instrument names its crook: "C Trumpet" does, "Corni e Trombe" doesn't."""
    if match["accidental"] or match["dash"].strip() == "-":
        return True
    if not _is_bare_letter(match):
        return match["compound"] == "es" and match.start() == 0
    before = text[: match.start()].strip(" .,;:()[]-")
    numbered = not before or re.fullmatch(r"(?:\d+(?:st|nd|rd|th)?|[ivx]+|solo)", before) is not None
    if match["base"] == "a":  # the article of "A Trumpet's Tale"; a heading ends after it
        return numbered and re.fullmatch(r"[\s.\divx]*", text[match.end() :]) is not None
    return numbered


@lru_cache(maxsize=2048)
def read_heading(text: str, *, title: bool = False) -> Named | None:
    """What a heading says, or None when it names no crook.

    ``title``: the text may be the title of a work (credits), in which "Concerto in E♭ for trumpet"
    is a key and no crook; such texts are passed over.
    """
    plain = normalise(text)
    if not TRIGGER.search(plain):
        return None
    if title and _TITLE.search(plain):
        return None
    for match in _candidates(plain):
        named = crook_of(match)
        also = []
        end = match.end()
        while (more := _ANOTHER.match(plain, end)) is not None:
            other = crook_of(more).crook
            if other is not None and other != named.crook:
                also.append(other)
            end = more.end()
        return replace(named, also=tuple(also))
    return None


def crook_in_heading(text: str) -> Crook | None:
    """The crook a heading names ("2 Trompeten in Es" → E♭), or None."""
    named = read_heading(text)
    return named.crook if named else None


def sound_crook(sound: str) -> Crook | None:
    """The crook an ``<instrument-sound>`` names (``brass.trumpet.bflat``), or None."""
    _, crook = TABLE["sounds"].get(sound.strip().lower(), ("", ""))
    return BY_ID.get(crook)


@lru_cache(maxsize=2048)
def family_in(text: str) -> str:
    """``trumpet``, ``piccolo``, ``cornet``, ``flugelhorn`` as a text names it, or ``""``."""
    plain = _NOT_THESE.sub(" ", normalise(text))
    match = re.search(INSTRUMENT, plain)
    return _family(match) if match else ""


@lru_cache(maxsize=4096)
def is_trumpet(name: str, sound: str = "") -> bool:
    """Whether a part of this name and ``<instrument-sound>`` is for a trumpet, cornet or flugelhorn.

    The name is what people see and is believed first; the sound decides where the name says nothing.
    """
    plain = normalise(name)
    if _NOT_THESE.search(plain):
        return False
    if _TRUMPET.search(plain):
        return True
    if _OTHERS.search(plain):
        return False
    return sound.strip().lower() in TABLE["sounds"]


@lru_cache(maxsize=4096)
def is_other_instrument(name: str, sound: str = "") -> bool:
    """Whether a part of this name and ``<instrument-sound>`` says that it is for something else."""
    plain = normalise(name)
    if _NOT_THESE.search(plain) or _OTHERS.search(plain):
        return True
    return bool(sound.strip()) and sound.strip().lower() not in TABLE["sounds"]
