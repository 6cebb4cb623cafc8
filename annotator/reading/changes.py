"""Words in mid-part that change the crook or the instrument: "muta in C", "to Flugelhorn"."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache

from annotator.lazy_pattern import LazyPattern
from annotator.reading.names import crook_of, family_in, read_heading
from annotator.reading.said import Change, Named, Players, Said
from annotator.reading.vocabulary import (
    INSTRUMENT,
    NOTE,
    REGISTER,
    TABLE,
    TRIGGER,
    alternation,
    normalise,
    whole_word,
)

_THEN = rf"(?>{whole_word(TABLE['changes']['then'])}|{REGISTER}|[\s.:-])*?"
_ANNOUNCING = whole_word(TABLE["changes"]["announces"])
_ALONE_WORDS = whole_word(TABLE["changes"]["alone"])
_NUMBERED = (
    r"(?>\d++(?:a|o|st|nd|rd|da|do|ma|mo|er|re)?+(?![a-z])|(?<![a-z])[ivx]++(?:a|o)?+[.\s]|[\s.,:;()\[\]-])*"
)
# These, as first word, announce too: "to Picc.", "nach B".
_OPENING = LazyPattern(r"[\s(]*(?:to|nach|zu|zur|zum)(?![a-z])")
_END = r"(?:[\s.,;:()\[\]!-]|\d)*\Z"
_AFTER = rf"(?P<after>[\s-]*\(?{REGISTER}(?![a-z]))?"
# "Prenez la sourdine", "change to a straight mute": these names of notes are little words as well, and
# are notes only where the sentence ends after them.
_LITTLE = {"a", "e", "la", "do", "as", "des", "es"}

_TO_NOTE = LazyPattern(rf"{_ANNOUNCING}(?P<gap>{_THEN})(?<![a-z♭♮♯]){NOTE}{_AFTER}(?P<rest>.*)")
_TO_INSTRUMENT = LazyPattern(rf"{_ANNOUNCING}(?>{whole_word(TABLE['changes']['then'])}|[\s.:-])*(?P<what>.*)")
_FROM_TO = LazyPattern(rf"\s*(?:to|in|nach|auf|en|zu)\s+{NOTE}{_AFTER}")
_ALONE = LazyPattern(rf"{_NUMBERED}{_ALONE_WORDS}[\s.:-]*(?:{REGISTER})?{NOTE}{_AFTER}{_END}")
_ALONE_INSTRUMENT = LazyPattern(rf"{_NUMBERED}(?:{_ALONE_WORDS}[\s.:-]*)?(?P<what>.*)")
_PICCOLO = LazyPattern(rf"(?:{alternation(TABLE['piccolo']['words'])})\.?{_END}")
_JUST_INSTRUMENT = LazyPattern(rf"{INSTRUMENT}{_END}")
_ONE = LazyPattern(
    r"[(\s]*(\d(?:a|o|st|nd|rd|th|da|do|ma|mo)?|[iv]+|primo|prima|secondo|seconda|erste|zweite)[\s.:]+"
    rf"(?:{_ANNOUNCING})"
)


def _instrument_in(text: str, *, whole: bool) -> Named | None:
    """The instrument a text names, its crook too where it names one."""
    heading = read_heading(text)
    if heading is not None and heading.family:
        return heading
    piccolo = _PICCOLO.match(text)
    if piccolo is not None:
        return Named(None, piccolo[0].strip(), "piccolo")
    match = _JUST_INSTRUMENT.match(text) if whole else re.match(INSTRUMENT, text)
    if match is not None:
        return Named(None, match[0].strip(), family_in(match[0]))
    # "to Picc. in A": the small trumpet by its adjective alone
    if (
        small := re.match(rf"(?:{alternation(TABLE['piccolo']['words'])})\.?\s*(?P<rest>.*)", text)
    ) is not None:
        rest = read_heading(small["rest"])
        if rest is not None:
            named = read_heading(f"piccolo trumpet {small['rest']}")
            if named is not None:
                return replace(named, words=small[0].strip(), family="piccolo")
    return None


def _announced_note(plain: str) -> Named | None:
    """The crook after an announcing word: "muta in C", "change F to E♭"."""
    for match in _TO_NOTE.finditer(plain):
        rest = match["rest"]
        if (further := _FROM_TO.match(rest)) is not None:
            return crook_of(further)
        if match["note"] in _LITTLE and re.match(r"\s*[a-z']", rest):
            continue
        # "change to B♭ Cornet": the instrument behind the note belongs to it.
        behind = read_heading(plain[match.start("note") :])
        end = match.end("after") if match["after"] else match.end("note")
        named = crook_of(match, words=f"{match['note']} {match['after'] or ''} {match['gap']}")
        if behind is not None and behind.family:
            named = behind
        return replace(named, words=plain[match.start() : end])
    return None


@lru_cache(maxsize=4096)
def read_change(text: str) -> Change | None:
    """What a text in mid-part changes, or None ("in tempo", "nach und nach", "prenez la sourdine")."""
    plain = normalise(text)
    if not TRIGGER.search(plain):
        return None
    announced = _announced_note(plain)
    if announced is None and (to := _TO_INSTRUMENT.search(plain)) is not None:
        announced = _instrument_in(to["what"], whole=False)
        if announced is None:
            return None
    if announced is not None:
        one = _ONE.match(plain)
        if one is not None:
            announced = replace(announced, players=(_number(one[1]),))
        return Change(announced, text, True, spans=((0, len(text)),))
    return _unannounced(plain, text)


def _number(word: str) -> int:
    first = word[:1]
    if first.isdigit():
        return int(first)
    return {"i": 1, "ii": 2, "iii": 3, "iv": 4}.get(word, 2 if word.startswith(("sec", "zw")) else 1)


_PLAYERS = LazyPattern(
    r"(?:(?P<both>a ?(?P<count>[23])|zu ?2|unis(?:ono)?|tutti)|(?P<divided>div(?:isi)?)"
    r"|(?P<one>[1-4])[.ao]*(?: ?solo)?|(?P<roman>i{1,3}|iv)\.(?: ?solo)?|(?P<solo>solo))\.?\Z"
)


def read_words(text: str) -> Said:
    """All that a text in mid-part says of crooks, players and mutes."""
    return Said(text, read_change(text), _players(text))


def _players(text: str) -> Players | None:
    match = _PLAYERS.match(normalise(text))
    if match is None:
        return None
    if match["both"]:
        return Players((1, 2, 3) if match["count"] == "3" else (1, 2), "together")
    if match["divided"]:
        return Players((), "divided")
    if match["solo"]:
        return Players((), "solo")
    return Players((_number(match["one"] or match["roman"]),), "one")


def _unannounced(plain: str, text: str) -> Change | None:
    """A change that no announcing word makes: "in C", "Trombe in Re", "to Picc."."""
    opening = _OPENING.match(plain) is not None
    if (alone := _ALONE.match(plain)) is not None:
        return Change(crook_of(alone), text, opening, spans=((0, len(text)),))
    if (heading := read_heading(text, title=True)) is not None:
        return Change(heading, text, opening, spans=((0, len(text)),))
    bare = _ALONE_INSTRUMENT.match(plain)
    instrument = _instrument_in(bare["what"], whole=True) if bare is not None else None
    return (
        None
        if instrument is None
        else Change(instrument, text, opening, bare=not opening, spans=((0, len(text)),))
    )
