"""Whose notes follow on a shared staff: "1.", "a 2", "Solo", "div."."""

from __future__ import annotations

from annotator.reading.lexemes import Sentence, number_of
from annotator.reading.said import Players

_BESIDE = ("mute", "muted", "muted_alone", "mute_off", "open", "manner", "article", "small", "in", "to")


_MOST = 4  # players on a staff


def _names_a_player(said: Sentence, index: int) -> bool:
    """Whether a number is a player's: not "in 3", "4/4", "No. 3"."""
    before = said.lexemes[index - 1] if index else None
    if before is not None and before.text == "." and index > 1:
        before = said.lexemes[index - 2]
    after = said.lexemes[index + 1] if index + 1 < len(said.lexemes) else None
    return not (
        (before is not None and (before.can_be("in", "numbering") or before.text == "/"))
        or (after is not None and after.text == "/")
    )


def players_in(said: Sentence) -> Players | None:
    """The players a text names, or None where it names nobody or speaks of something else.

    A number alone is a player where no word is left unexplained: "1." and "1. con sord.", not "1. Satz".
    """
    numbers: list[int] = []
    manner = ""
    strange = False
    count = 0
    for index, lexeme in enumerate(said.lexemes):
        if lexeme.can_be("other") and not lexeme.can_be("notes", "kind", *_BESIDE):
            return None
        number = number_of(lexeme)
        if lexeme.can_be("together"):
            digits = [int(char) for char in lexeme.text if char.isdigit()]
            count = max(count, *digits, 2) if digits else 2
            manner = "together"
        elif lexeme.can_be("both"):
            manner, count = "together", 2
        elif lexeme.can_be("divided"):
            manner = manner or "divided"
        elif lexeme.can_be("solo"):
            manner = manner or "solo"
        elif 0 < number <= _MOST and not lexeme.can_be("notes", "count") and _names_a_player(said, index):
            numbers.append(number)
        elif lexeme.kind == "word" and not lexeme.can_be(*_BESIDE, "and"):
            strange = True
    if manner == "together":
        return None if strange else Players(tuple(range(1, count + 1)), manner)
    if numbers and (manner == "solo" or not strange) and len(numbers) < 4:
        return Players(tuple(dict.fromkeys(numbers)), "one" if len(numbers) == 1 else "together")
    if (manner and not strange) or (manner == "solo" and len(said.lexemes) < 6):
        return Players((), manner)
    return None
