"""What words say of the mute: in, out, or nothing."""

from __future__ import annotations

from annotator.reading.lexemes import Sentence, number_of

_STRANGE = 2  # unknown words that a sentence about a mute may hold
_BESIDE = (
    "article",
    "small",
    "solo",
    "ordinal",
    "count",
    "together",
    "divided",
    "both",
    "all",
    "manner",
    "and",
    "in",
    "to",
    "key",
    "change",
    "take",
)


def mute_in(said: Sentence) -> str:
    """``in``, ``out`` or ``""``. A mute with a word of removal beside it is out ("senza sord.", "Dpf. ab").

    Words for the open bell ("offen", "nat.") count where they stand alone or beside players and manners.
    """
    lexemes = said.lexemes
    strange = [lexeme for lexeme in lexemes if lexeme.kind == "word" and lexeme.word is None]
    muted = [at for at, lexeme in enumerate(lexemes) if lexeme.can_be("mute", "muted")]
    if muted and len(strange) <= _STRANGE:
        near = range(max(muted[0] - 3, 0), min(muted[-1] + 3, len(lexemes)))
        removed = any(
            lexemes[at].can_be("mute_off") and not _leads_elsewhere(said, at)
            for at in near
            if at not in muted
        )
        return "out" if removed else "in"
    for kind, said_so in (("open", "out"), ("muted_alone", "in")):
        if any(lexeme.can_be(kind) for lexeme in lexemes) and all(
            lexeme.kind == "mark" or number_of(lexeme) or lexeme.can_be(kind, *_BESIDE) for lexeme in lexemes
        ):
            return said_so
    return ""


def _leads_elsewhere(said: Sentence, at: int) -> bool:
    """A short word of removal that is a conjunction or preposition as well, and not next to the mute."""
    lexeme = said.lexemes[at]
    if len(lexeme.text) > 2 or not lexeme.can_be("and", "article", "small", "in", "kind"):
        return False
    following = said.lexemes[at + 1] if at + 1 < len(said.lexemes) else None
    if following is not None and following.text == "." and at + 2 < len(said.lexemes):
        following = said.lexemes[at + 2]
    return following is None or not following.can_be("mute")
