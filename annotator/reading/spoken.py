"""The words of a part, those put together that make one sentence, and what of them was not understood."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from annotator.reading.changes import read_words
from annotator.reading.lexemes import sentence
from annotator.reading.names import heading_not_read
from annotator.score.model import Part, Words


def part_words(part: Part) -> tuple[Words, ...]:
    """The words of ``part`` in order, a sentence in several directions as one ("muta in" and "E♭")."""
    return tuple(_joined(part.words))


def _joined(words: tuple[Words, ...]) -> Iterator[Words]:
    waiting: Words | None = None
    for item in words:
        if waiting is None:
            waiting = item
        elif _near(waiting, item) and goes_on(waiting.text, item.text):
            waiting = replace(waiting, text=f"{waiting.text} {item.text}")
        else:
            yield waiting
            waiting = item
    if waiting is not None:
        yield waiting


def _near(one: Words, other: Words) -> bool:
    return one.staff == other.staff and other.measure - one.measure <= 1


def goes_on(text: str, following: str) -> bool:
    """Whether a text that has not said what to change to is finished by the one after it."""
    if not _is_unfinished(text) or any(
        lexeme.can_be("announce", "change") for lexeme in sentence(following).lexemes
    ):
        return False
    together = f"{text} {following}"
    change = read_words(together).change
    return change is not None or _is_unfinished(together)


def _is_unfinished(text: str) -> bool:
    """True where a text ends with a change word or a preposition and nothing is changed by it."""
    lexemes = sentence(text).lexemes
    ends = lexemes[-1:] if not lexemes or lexemes[-1].text != "." else lexemes[-2:-1]
    return (
        any(lexeme.can_be("announce", "change", "take", "to", "in") for lexeme in ends)
        and read_words(text).change is None
    )


def words_not_read(part: Part) -> Iterator[tuple[Words, str]]:
    """Words that speak of a crook or a change and were not understood, and which of them."""
    for words in part_words(part):
        said = read_words(words.text).not_read
        if said:
            yield words, said


def headings_not_read(part: Part) -> Iterator[tuple[str, str, str]]:
    """Headings that may name a crook and were not understood: what each is, its text, and which words."""
    told: set[str] = set()
    for kind, text, title in heading_texts(part):
        said = heading_not_read(text, title=title) if text else ""
        if said and said not in told:
            told.add(said)
            yield kind, text, said


def heading_texts(part: Part) -> Iterator[tuple[str, str, bool]]:
    """The texts that may name a part's crook: what they are, the text, whether it may be a work's title."""
    yield from (("name as printed", name, False) for name in part.printed_names)
    yield "part name", part.name, False
    yield "part abbreviation", part.abbreviation, False
    yield from (("instrument name", name, False) for name in part.instrument_names)
    yield from (("heading", text, True) for text in part.headings)
