"""Text cut into lexemes: words and phrases with what they can be, numbers, signs and punctuation."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

from annotator.reading.vocabulary import FAMILIES, LONGEST, Vocabulary, Word, fold, vocabulary

# Scripts that put no spaces between words: kana, Chinese characters, and Hangul (here as its letters).
_UNSPACED = "\u1100-\u11ff\u3040-\u30ff\u3400-\u9fff"
_TOKEN = re.compile(rf"[{_UNSPACED}]+|[^\W\d_{_UNSPACED}]+|\d+|\S")
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5, "vi": 6}
_SMALL_NUMERALS = ("i", "v")
_JOINERS = ".-'"
_ALL: frozenset[str] = frozenset()
_WRITTEN = {"flat": "b", "sharp": "#", "natural": "!"}


@dataclass(frozen=True, slots=True)
class Lexeme:
    """A word or phrase, a number, a sign or a punctuation mark.

    ``text`` folded; ``kind``: ``word``, ``number`` or ``mark``; ``start`` to ``end``: characters of the
    text as it came; ``gap``: what stands before it (``""`` nothing, ``"-"`` a hyphen alone, ``" "`` else);
    ``capital``: it begins with a capital. ``glued``: it is the front half of a compound (*Ventil*trompete).
    """

    text: str
    kind: str
    start: int
    end: int
    gap: str
    capital: bool
    word: Word | None = None
    glued: bool = False

    def can_be(self, *classes: str) -> bool:
        """True where the word stands in one of these rows."""
        return self.word is not None and not self.word.values.keys().isdisjoint(classes)

    def value(self, kind: str) -> str:
        """The value the word has in a row (a note, a number)."""
        return "" if self.word is None else self.word.values.get(kind, "")

    def languages(self, kind: str) -> frozenset[str]:
        """The languages that have the word in a row."""
        return _ALL if self.word is None else self.word.languages.get(kind, _ALL)

    @property
    def family(self) -> str:
        """The instrument it names in full: ``trumpet``, ``cornet`` … or ``""``."""
        return next((family for family in FAMILIES if self.can_be(family)), "")

    @property
    def short_family(self) -> str:
        """The instrument it may name, being an abbreviation of something else as well."""
        return next((family for family in FAMILIES if self.can_be(f"short_{family}")), "")

    @property
    def known(self) -> bool:
        """True for what the tables know: not a word of somebody else's sentence."""
        return self.word is not None or self.kind != "word"


class Sentence(NamedTuple):
    """A text and its lexemes. ``shouts``: it is all in capitals, so that they say nothing."""

    text: str
    lexemes: tuple[Lexeme, ...]
    shouts: bool


class _Token(NamedTuple):
    text: str
    start: int
    end: int
    gap: str


@lru_cache(maxsize=2048)
def sentence(text: str) -> Sentence:
    """``text`` as lexemes."""
    words = vocabulary()
    folded, where = fold(text)
    tokens = list(_tokens(folded[:LONGEST], words))
    lexemes = []
    at = 0
    while at < len(tokens):
        count, word = _phrase(tokens, at, words)
        first, last = tokens[at], tokens[at + count - 1]
        start, end = where[first.start], where[last.end - 1] + 1
        shown = " ".join(token.text for token in tokens[at : at + count])
        lexemes.append(_lexeme(first, shown, text[start], (start, end), word))
        at += count
    letters = [char for char in text if char.isalpha()]
    shouts = len(letters) > 3 and not any(char.islower() for char in letters)
    return Sentence(text, tuple(_joined(lexemes, words)), shouts)


def _tokens(folded: str, words: Vocabulary) -> Iterator[_Token]:
    end = 0
    previous = None
    for match in _TOKEN.finditer(folded):
        between = folded[end : match.start()]
        gap = " " if between else ""
        if previous is not None and previous.text == "-" and not between and previous.gap == "":
            gap = "-"
        for token in _pieces(match[0], match.start(), gap, words):
            yield token
            previous = token
        end = match.end()


def _pieces(text: str, start: int, gap: str, words: Vocabulary) -> Iterator[_Token]:
    """A token cut where words are written together: scripts without spaces, compounds, "TrombainMib"."""
    if text[0] >= "\u1100" and re.match(rf"[{_UNSPACED}]", text):
        cuts = list(_unspaced(text, words))
    elif len(text) > 5 and (text,) not in words.phrases:
        cuts = _compound(text, words) or [text]
    else:
        cuts = [text]
    for cut in cuts:
        yield _Token(cut, start, start + len(cut), gap)
        start += len(cut)
        gap = ""


def _unspaced(text: str, words: Vocabulary) -> Iterator[str]:
    at, unknown = 0, 0
    while at < len(text):
        size = next(
            (
                size
                for size in range(min(words.unspaced, len(text) - at), 0, -1)
                if (text[at : at + size],) in words.phrases
            ),
            0,
        )
        if size:
            if unknown < at:
                yield text[unknown:at]
            yield text[at : at + size]
            at += size
            unknown = at
        else:
            at += 1
    if unknown < at:
        yield text[unknown:at]


def _compound(text: str, words: Vocabulary) -> list[str] | None:
    """ "ventiltrompete" → ventil, trompete; "trombainmib" → tromba, in, mib; "trumpet1" is two tokens."""
    for size in range(len(text) - 1, 4, -1):
        if text[-size:] in words.endings:
            return [text[:-size], text[-size:]]
    for size in range(len(text) - 2, 2, -1):
        head = words.word(text[:size])
        if head is None or not any(family in head.values for family in FAMILIES):
            continue
        rest = text[size:]
        for length in (2, 1):
            preposition = words.word(rest[:length])
            if preposition is None or "in" not in preposition.values or length < 2:
                continue
            family = next(family for family in FAMILIES if family in head.values)
            if not preposition.languages["in"] & head.languages[family]:
                continue
            if not rest[length:] or note_word(rest[length:]) is not None:
                return [piece for piece in (text[:size], rest[:length], rest[length:]) if piece]
    return None


def _phrase(tokens: list[_Token], at: int, words: Vocabulary) -> tuple[int, Word | None]:
    """The longest phrase that begins here: how many tokens it takes, and its entry."""
    first = tokens[at].text
    most = words.longest.get(first, 0)
    found: tuple[int, Word | None] = (1, None)
    pieces: list[str] = []
    for index in range(at, len(tokens)):
        text = tokens[index].text
        if text in _JOINERS and pieces and len(pieces) < most:
            continue
        pieces.append(text)
        if len(pieces) > most:
            break
        word = words.phrases.get(tuple(pieces))
        if word is not None:
            found = index - at + 1, word
    if found[1] is None:
        found = 1, note_word(first)
    return found


@lru_cache(maxsize=1024)
def note_word(text: str) -> Word | None:
    """A note's name written together with its accidental ("mib", "bb", "sibemol"), as a word."""
    words = vocabulary()
    known = words.word(text)
    if known is not None and ("notes" in known.values or "letters" in known.values):
        return known
    for size in range(len(text) - 1, 0, -1):
        name, accidental = words.word(text[:size]), words.word(text[size:])
        if name is None or accidental is None:
            continue
        note = name.values.get("notes") or name.values.get("letters", "")
        kind = next((kind for kind in _WRITTEN if kind in accidental.values), "")
        if note and len(note.rstrip("?")) == 1 and kind:
            languages = name.languages.get("notes") or name.languages["letters"]
            return Word(
                {"notes": note[0] + {"flat": "b", "sharp": "#", "natural": "!"}[kind]}, {"notes": languages}
            )
    return None


@lru_cache(maxsize=256)
def _also_note(text: str) -> Word | None:
    """The entry of a word that is a note's name with its accidental too (German "ab", A♭)."""
    note, known = note_word(text), vocabulary().word(text)
    if note is None or known is None or note is known:
        return None
    return Word({**known.values, **note.values}, {**known.languages, **note.languages})


def _lexeme(token: _Token, shown: str, letter: str, span: tuple[int, int], word: Word | None) -> Lexeme:
    """A lexeme that begins with ``token``; ``letter`` is its first one as it came."""
    whole = shown == token.text
    kind = "number" if token.text.isdigit() and whole else "word" if token.text[0].isalpha() else "mark"
    if kind == "word" and whole and word is not None and "notes" not in word.values and len(token.text) > 1:
        word = _also_note(token.text) or word
    return Lexeme(shown, kind, *span, token.gap, letter.isupper(), word)


def _joined(lexemes: list[Lexeme], words: Vocabulary) -> Iterator[Lexeme]:
    """The lexemes with what only the neighbours tell: compounds, "inF" after an instrument, "1st"."""
    skip = False
    for index, lexeme in enumerate(lexemes):
        if skip:
            skip = False
            continue
        following = lexemes[index + 1] if index + 1 < len(lexemes) else None
        if following is not None and following.gap == "" and lexeme.kind == "word" == following.kind:
            lexeme = replace(lexeme, glued=True)  # noqa: PLW2901
        if lexeme.kind == "number" and following is not None and following.gap == "":
            ordinal = following.text == "°" or following.can_be("ordinal_ending")
            if ordinal or following.text == ".":
                word = Word({"ordinal": lexeme.text}, {"ordinal": _ALL})
                yield replace(lexeme, end=following.end, word=word)
                skip = True
                continue
        if lexeme.text in _SMALL_NUMERALS and _is_numeral(lexemes, index):
            yield replace(lexeme, word=Word({"ordinal": str(_ROMAN[lexeme.text])}, {"ordinal": _ALL}))
            continue
        if lexeme.kind == "word" and lexeme.word is None:
            yield from _taken_apart(lexeme, words, after_instrument=_instrument_before(lexemes, index))
            continue
        yield lexeme


def _is_numeral(lexemes: list[Lexeme], index: int) -> bool:
    """Whether a small i or v is a numeral: "i. muta", "i e ii"."""
    following = lexemes[index + 1] if index + 1 < len(lexemes) else None
    if following is None or lexemes[index].capital:
        return False
    if following.text == ".":
        return following.gap == ""
    return following.can_be("and") and index + 2 < len(lexemes) and lexemes[index + 2].text in _ROMAN


def _instrument_before(lexemes: list[Lexeme], index: int) -> bool:
    index -= 1
    if index > 0 and lexemes[index].text == ".":
        index -= 1
    return index >= 0 and bool(lexemes[index].family or lexemes[index].short_family)


def _taken_apart(lexeme: Lexeme, words: Vocabulary, *, after_instrument: bool) -> Iterator[Lexeme]:
    """An unknown word as preposition and note, where a language or a slip writes them together."""
    for size in range(1, min(len(lexeme.text), 5)):
        head = words.word(lexeme.text[:size])
        if head is None:
            continue
        written_so = "prefix_in" in head.values or (after_instrument and size > 1 and "in" in head.values)
        note = note_word(lexeme.text[size:]) if written_so else None
        if note is not None:
            middle = lexeme.start + size
            word = Word({"in": "in"}, {"in": _ALL})
            yield replace(lexeme, text=lexeme.text[:size], end=middle, word=word)
            yield replace(lexeme, text=lexeme.text[size:], start=middle, gap="", capital=True, word=note)
            return
    yield lexeme


def number_of(lexeme: Lexeme) -> int:
    """The number a lexeme says (3, "3.", III, "third", "drei"), or 0."""
    if lexeme.kind == "number":
        return int(lexeme.text) if len(lexeme.text) < 3 else 0
    value = lexeme.value("ordinal") or lexeme.value("count")
    if value:
        return int(value)
    if lexeme.capital and lexeme.text not in _ROMAN and lexeme.text[:-1] in _ROMAN:
        ending = vocabulary().word(lexeme.text[-1])  # IIa
        return _ROMAN[lexeme.text[:-1]] if ending is not None and "ordinal_ending" in ending.values else 0
    return _ROMAN.get(lexeme.text, 0) if lexeme.capital or lexeme.text not in _SMALL_NUMERALS else 0
