"""Words in mid-part that change crook or instrument: "muta in C", "nach B umstimmen", "to Flugelhorn"."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from annotator.reading.clauses import Clause, clauses
from annotator.reading.lexemes import Sentence, sentence
from annotator.reading.mutes import mute_in
from annotator.reading.names import named
from annotator.reading.player_words import players_in
from annotator.reading.said import Change, Said, Span
from annotator.reading.targets import Target, by_verb
from annotator.reading.unannounced import without_verb
from annotator.reading.unread import speaks_of_crooks
from annotator.reading.vocabulary import FAMILIES

_SHORT = tuple(f"short_{family}" for family in FAMILIES)
_SPEAK = ("announce", "change", "take", "to", "in", "key", "piccolo", *FAMILIES, *_SHORT)


@lru_cache(maxsize=4096)
def read_words(text: str) -> Said:
    """All that a text in mid-part says of crooks, players and mutes."""
    said = sentence(text)
    targets: list[Target] = []
    labels: list[Target] = []
    not_read: list[str] = []
    others = False
    # Most words of a part speak of no crook.
    speaks = any(lexeme.can_be(*_SPEAK) for lexeme in said.lexemes)
    for clause in clauses(said) if speaks else ():
        others = is_for_others(clause) or (others and not any(map(clause.instrument, clause.places())))
        if others:
            continue
        target = _read(clause)
        rest = clause
        if target is not None and not _says_again(targets, target):
            if targets and target.announces and not targets[-1].announces and not _goes_with(targets, target):
                # "Tr. in Fa (muta in Do)": what the part is in, and what it changes to.
                labels.append(targets.pop())
            if _goes_with(targets, target):
                targets.append(target)
            else:
                not_read.append(clause.part(target.first, target.last).text)
            rest = clause.part(target.last, clause.last)
        again = target is not None and rest is clause
        if not again and speaks_of_crooks(rest, after_change=target is not None):
            not_read.append(rest.text)
        if targets and not targets[-1].statement.players and (target is None or target is targets[-1]):
            targets[-1] = _said_to(targets[-1], rest)
    change = _change(said, targets, labels) if targets else None
    return Said(text, change, players_in(said), mute_in(said), ", ".join(not_read))


def read_change(text: str) -> Change | None:
    """What a text in mid-part changes, or None ("in tempo", "nach und nach", "prenez la sourdine")."""
    return read_words(text).change


def _read(clause: Clause) -> Target | None:
    target, changes = by_verb(clause)
    return target if target is not None or changes else without_verb(clause)


def is_for_others(clause: Clause) -> bool:
    """True for words meant for another instrument ("Cor. muta in E", "muta in corno inglese")."""
    trumpets = [place for place in clause.places() if clause.instrument(place) and clause.note(place) is None]
    small = any(clause.can_be(place, "piccolo") for place in clause.places())
    for place in clause.places():
        if clause.other(place):
            first = not any(trumpet < place for trumpet in trumpets)
            return first and not (small and clause.can_be(place, "piccolo"))
    return False


def _goes_with(targets: list[Target], target: Target) -> bool:
    """Whether a target is another player's: of two for the same player one can't be told."""
    return all(set(each.statement.players).isdisjoint(target.statement.players) for each in targets) and (
        not targets or all(each.statement.players for each in (*targets, target))
    )


def _says_again(targets: list[Target], target: Target) -> bool:
    """True where the same crook was named before: "Trombe in F (in F)"."""
    names = [[note.name for note in each.statement.notes] for each in targets]
    return bool(target.statement.notes) and [note.name for note in target.statement.notes] in names


def _said_to(target: Target, clause: Clause) -> Target:
    """A target with the players that are named alone behind it: "muta in C (Tromba II)"."""
    players = [number for place in clause.places() if (number := clause.number(place))]
    only = all(
        lexeme.kind == "mark" or clause.number(place) or clause.instrument(place)
        for place, lexeme in zip(clause.places(), clause.lexemes(), strict=True)
    )
    if not players or not only:
        return target
    statement = replace(target.statement, players=tuple(dict.fromkeys(players)))
    return replace(target, statement=statement, last=clause.last)


def _change(said: Sentence, targets: list[Target], labels: list[Target]) -> Change:
    return Change(
        named(said, [target.statement for target in targets]),
        said.text,
        any(target.announces for target in targets),
        bare=targets[0].bare,
        spans=tuple(sorted(_span(said, target, [*targets, *labels]) for target in (*labels, *targets))),
    )


def _span(said: Sentence, target: Target, targets: list[Target]) -> Span:
    """The characters of a target, its full stop and its brackets with them.

    Those it speaks to stay where more is said to them ("1. muta in F, con sord.").
    """
    lexemes = said.lexemes
    first, last = target.first, target.last
    until = min((each.first for each in targets if each.first >= last), default=len(lexemes))
    if any(lexeme.kind != "mark" for lexeme in lexemes[last:until]):
        first = target.words
    if last < len(lexemes) and lexemes[last].text == "." and lexemes[last].gap == "":
        last += 1
    opened = sum(1 for lexeme in lexemes[first:last] if lexeme.text in "([") - sum(
        1 for lexeme in lexemes[first:last] if lexeme.text in ")]"
    )
    if opened and last < len(lexemes) and lexemes[last].text in ")]":
        last += 1
    bracketed = (
        first > 0 and last < len(lexemes) and lexemes[first - 1].text in "([" and lexemes[last].text in ")]"
    )
    if bracketed:
        first, last = first - 1, last + 1
    # "muta in E e con sord.": the conjunction joined the two.
    elif last < until and lexemes[last].can_be("and") and not lexemes[last].can_be("mute_off"):
        last += 1
    elif first > 1 and lexemes[first - 1].can_be("and") and not lexemes[first - 1].can_be("mute_off"):
        first -= 1
    return lexemes[first].start, lexemes[last - 1].end
