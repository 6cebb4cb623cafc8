"""Names of notes in a sentence: "E♭", "Mi bemolle", "H", "降B"."""

from __future__ import annotations

from dataclasses import dataclass

from annotator.reading.lexemes import Lexeme, number_of

_ALTER = {"flat": -1, "sharp": 1, "natural": 0}
# Rows whose words are part of any sentence: a note's name that is one of them is a note only where the
# sentence shows it.
LITTLE = (
    "article",
    "small",
    "and",
    "to",
    "from",
    "in",
    "mute_off",
    "case",
    "announce",
    "change",
    "take",
    "kind",
)
# What may follow a note at the end of its phrase.
ENDING = (
    *(
        "mute",
        "muted",
        "muted_alone",
        "tempo",
        "particle",
        "mute_off",
        "open",
        "manner",
        "together",
        "divided",
        "solo",
        "key",
        "and",
        "to",
        "in",
        "from",
        "all",
        "both",
    ),
    *(
        "announce",
        "change",
        "take",
        "trumpet",
        "cornet",
        "flugelhorn",
        "posthorn",
        "high",
        "low",
        "bass",
        "form",
        "small",
    ),
    *("ordinal", "count", "other"),
)
# What an article stands before.
_NOUNS = ("mute", "muted_alone", "trumpet", "cornet", "flugelhorn", "posthorn", "key")


@dataclass(frozen=True, slots=True)
class Note:
    """A note named by lexemes ``first`` to ``last`` (not included).

    ``two_edged``: the B that is B♭ in one language and B♮ in another. ``letter``: one letter alone, which
    may be a player or a rehearsal letter too. ``little``: its name is also a little word ("la", "a").
    """

    step: str
    alter: int
    first: int
    last: int
    two_edged: bool = False
    letter: bool = False
    little: bool = False

    @property
    def name(self) -> str:
        """``Eb``, ``F#``, ``C``."""
        return self.step + ("#" * self.alter if self.alter > 0 else "b" * -self.alter)


def note_at(lexemes: tuple[Lexeme, ...], at: int) -> Note | None:  # noqa: PLR0911
    """The note that lexeme ``at`` names, its accidental with it; None where it names none.

    A note with a mode behind it is the key of a piece, and none.
    """
    if at >= len(lexemes):
        return None
    first = lexemes[at]
    if (before := "flat_before" if first.can_be("flat_before") else "sharp_before") and first.can_be(before):
        note = note_at(lexemes, at + 1)
        if note is None:
            return None
        return Note(note.step, -1 if before == "flat_before" else 1, at, note.last)
    if first.text in ("♭", "♯") and at + 1 < len(lexemes) and lexemes[at + 1].gap == "":
        note = note_at(lexemes, at + 1)
        if note is not None and note.letter:
            return Note(note.step, -1 if first.text == "♭" else 1, at, note.last)
    if at + 1 < len(lexemes) and lexemes[at + 1].text == "'" and lexemes[at + 1].gap == "":
        return None  # d'instrument
    glued = at > 1 and lexemes[at - 1].text == "'" and first.gap == "" and len(first.text) == 1
    if glued and len(lexemes[at - 2].text) > 1:
        return None  # return'd
    value = first.value("notes") or first.value("letters")
    if not value or (first.glued and not first.can_be("notes") and not _joins_note(lexemes, at)):
        return None
    step, sign = value[0], value[1:]
    letter = first.can_be("letters") and len(first.text) == 1
    little = first.can_be(*LITTLE)
    if not sign or sign == "?":
        after = _accidental(lexemes, at + 1, first)
        if after is not None:
            alter, last = after
            return None if _mode(lexemes, last) else Note(step, alter, at, last)
        alter = -1 if sign == "?" else 0
    else:
        alter = {"b": -1, "#": 1, "!": 0}[sign]
    if _mode(lexemes, at + 1):
        return None
    return Note(step, alter, at, at + 1, two_edged=sign == "?", letter=letter, little=little)


def _joins_note(lexemes: tuple[Lexeme, ...], at: int) -> bool:
    """Whether what is written together with a letter lets it be a note: "B" before トランペット, "btrompete"."""  # noqa: E501
    return at + 1 < len(lexemes) and lexemes[at + 1].can_be(
        "key", "trumpet", "cornet", "flugelhorn", "flat", "sharp", "natural"
    )


def _accidental(lexemes: tuple[Lexeme, ...], at: int, name: Lexeme) -> tuple[int, int] | None:
    index = at
    if index < len(lexemes) and lexemes[index].text == "-" and lexemes[index].gap == "":
        index += 1  # B-flat
    if index >= len(lexemes):
        return None
    lexeme = lexemes[index]
    kind = next((kind for kind in _ALTER if lexeme.can_be(kind)), "")
    if not kind:
        return None
    if lexeme.text == "b" and (
        (lexeme.capital and (len(name.text) == 1 or not name.capital))
        or index > at
        or (lexeme.gap and len(name.text) == 1)
    ):
        return None
    last = index + 1
    if last < len(lexemes) and lexemes[last].text == "." and lexemes[last].gap == "" and len(lexeme.text) > 1:
        last += 1
    return _ALTER[kind], last


def _mode(lexemes: tuple[Lexeme, ...], at: int) -> bool:
    while at < len(lexemes) and lexemes[at].text == "-":
        at += 1
    return at < len(lexemes) and lexemes[at].can_be("mode")


def stands(lexemes: tuple[Lexeme, ...], note: Note, *, after_preposition: bool, shouts: bool) -> bool:
    """Whether ``note`` is a note where it stands, and no article or conjunction.

    "prenez la sourdine", "in a dream": a little word with another word behind it is one, unless a capital
    after a preposition shows it ("muta in E tacet").
    """
    following = lexemes[note.last] if note.last < len(lexemes) else None
    if not note.little or following is None or following.kind != "word":
        return True
    first = lexemes[note.first]
    if number_of(following) and not following.can_be("letters"):
        return after_preposition or not first.can_be("article")  # "muta la IIa"
    noun = next((kind for kind in _NOUNS if following.can_be(kind)), "")
    if noun and first.languages("article") & following.languages(noun):
        # "changez en la, sourdine" without its comma: no article follows "en" there.
        after_in = note.first > 0 and lexemes[note.first - 1].can_be("in") and not note.letter
        return after_preposition and (after_in or (first.capital and not shouts))
    if after_preposition:
        return (first.capital and not shouts) or following.can_be(*ENDING)
    return following.can_be("to", "announce", "change", "and")
