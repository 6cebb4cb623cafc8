"""Words in mid-part that change crook or instrument: "muta in C", "nach B umstimmen", "to Flugelhorn"."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

from annotator.reading.headings import Statement, instrument, is_other, statements
from annotator.reading.lexemes import Lexeme, Sentence, number_of, sentence
from annotator.reading.mutes import mute_in
from annotator.reading.names import is_title, named
from annotator.reading.note_names import Note, note_at, stands
from annotator.reading.player_words import players_in
from annotator.reading.said import Change, Named, Said, Span

_VERBS = ("announce", "change", "take")
# What may stand between a change word and what it changes to.
_BETWEEN = (
    "article",
    "small",
    "key",
    "manner",
    "ordinal",
    "count",
    "all",
    "both",
    "high",
    "low",
    "bass",
    "kind",
    "solo",
    "piccolo",
    "case",
)
# What may stand beside a crook that no verb announces, being no part of its sentence.
_BESIDE = (
    *(
        "mute",
        "mute_off",
        "open",
        "manner",
        "together",
        "divided",
        "solo",
        "both",
        "all",
        "article",
        "small",
        "key",
        "and",
    ),
    *("ordinal", "count", "high", "low", "bass", "kind", "case", "take"),
)


@dataclass(frozen=True, slots=True)
class _Target:
    """What a change leads to, by the lexemes ``first`` to ``last`` (not included)."""

    statement: Statement
    first: int
    last: int
    announces: bool = False
    bare: bool = False


@dataclass(slots=True)
class _Clause:
    """Lexemes ``first`` to ``last`` (not included) between two punctuation marks."""

    first: int
    last: int


@lru_cache(maxsize=4096)
def read_words(text: str) -> Said:
    """All that a text in mid-part says of crooks, players and mutes."""
    said = sentence(text)
    if not said.lexemes:
        return Said(text)
    targets: list[_Target] = []
    not_read = ""
    others = False
    for clause in _clauses(said):
        lexemes = said.lexemes[clause.first : clause.last]
        if _is_others(said, clause, targets):
            others = True
            continue
        target = _read(said, clause, others=others)
        if target is not None:
            targets.append(target)
        elif not others and _speaks_of_crooks(said, clause, lexemes):
            not_read = not_read or text[lexemes[0].start : lexemes[-1].end]
    change = _change(said, targets) if targets else None
    return Said(text, change, players_in(said), mute_in(said), " ".join(not_read.split()))


def read_change(text: str) -> Change | None:
    """What a text in mid-part changes, or None ("in tempo", "nach und nach", "prenez la sourdine")."""
    return read_words(text).change


def _clauses(said: Sentence) -> Iterator[_Clause]:
    lexemes = said.lexemes
    first = 0
    for at, lexeme in enumerate(lexemes):
        if lexeme.kind != "mark":
            continue
        following = lexemes[at + 1] if at + 1 < len(lexemes) else None
        ends = lexeme.text in ",;()[]!|:?\u2026" or (
            lexeme.text == "-" and lexeme.gap == " " and following is not None and following.gap == " "
        )
        if lexeme.text == "." and following is not None:
            before = lexemes[at - 1] if at else None
            ends = (
                following.gap == " "
                and following.capital
                and before is not None
                and not number_of(before)
                and not instrument(lexemes, at - 1)
                and not before.can_be("flat", "natural", "and", "piccolo")
            )
        if ends:
            if first < at:
                yield _Clause(first, at)
            first = at + 1
    if first < len(lexemes):
        yield _Clause(first, len(lexemes))


def _is_others(said: Sentence, clause: _Clause, targets: list[_Target]) -> bool:
    """True for words meant for another instrument ("Cor. muta in E", "muta in corno inglese")."""
    trumpet = any(
        (instrument(said.lexemes, at) and said.lexemes[at].family) or said.lexemes[at].can_be("piccolo")
        for at in range(clause.first, clause.last)
    )
    for at in range(clause.first, clause.last):
        if is_other(said.lexemes, at):
            before = any(said.lexemes[i].family for i in range(clause.first, at))
            if not before and not (trumpet and said.lexemes[at].can_be("piccolo")):
                return True
    return False


def _read(said: Sentence, clause: _Clause, *, others: bool) -> _Target | None:
    verb = next(
        (
            at
            for at in range(clause.first, clause.last)
            if said.lexemes[at].can_be(*_VERBS) and not _is_note_word(said, at)
        ),
        None,
    )
    if verb is not None:
        found = _with_verb(said, clause, verb)
        if found is not None or not said.lexemes[verb].can_be("take"):
            return found
    return None if others else _without_verb(said, clause)


def _is_note_word(said: Sentence, at: int) -> bool:
    return note_at(said.lexemes, at) is not None and not said.lexemes[at].can_be("announce")


def _with_verb(said: Sentence, clause: _Clause, verb: int) -> _Target | None:
    strong = said.lexemes[verb].can_be("announce", "change")
    found = _behind(said, clause, verb, strong=strong) or _ahead(said, clause, verb, strong=strong)
    if found is None:
        return None
    return found


def _behind(said: Sentence, clause: _Clause, verb: int, *, strong: bool) -> _Target | None:
    """The target behind its verb: "muta in C", "change F to E♭", "prenez la trompette en ut"."""
    lexemes = said.lexemes
    trumpets = statements(said, verb + 1, clause.last)
    index = verb + 1
    preposition = False
    found: Note | None = None
    while index < clause.last:
        lexeme = lexemes[index]
        if trumpets and index >= trumpets[0].first:
            return _of_statement(said, clause, trumpets[0], verb)
        if lexeme.can_be("to", "in", "from") and not _is_target(said, index, clause, preposition=True):
            preposition = True
            index += 1
            continue
        note = note_at(lexemes, index)
        if (
            note is not None
            and note.last <= clause.last
            and stands(
                lexemes,
                note,
                after_preposition=preposition or (strong and not note.little),
                shouts=said.shouts,
            )
        ):
            further = _towards(said, clause, note)
            found = further or note
            if not strong and not preposition and not _ends_clause(said, clause, found):
                return None
            break
        if lexeme.can_be("piccolo"):
            return _piccolo(said, clause, index, verb)
        if lexeme.kind == "mark" or lexeme.can_be(*_BETWEEN) or number_of(lexeme):
            index += 1
            continue
        break
    if found is None:
        # "muta la vecchia tromba in Fa"
        return (
            _of_statement(said, clause, trumpets[0], verb)
            if trumpets and strong and trumpets[0].notes
            else None
        )
    return _of_note(said, clause, found, min(verb, found.first), announces=True)


def _is_target(said: Sentence, index: int, clause: _Clause, *, preposition: bool) -> bool:
    """Whether a preposition that is a note's name too ("do", "a") is the note here: nothing follows to lead to."""  # noqa: E501
    note = note_at(said.lexemes, index)
    if note is None:
        return False
    following = note.last
    if following < clause.last and note_at(said.lexemes, following) is not None:
        return False
    if note.letter and note.little and said.lexemes[index].capital is False and following < clause.last:
        return False
    return stands(said.lexemes, note, after_preposition=preposition, shouts=said.shouts) and not (
        following < clause.last
        and said.lexemes[following].can_be("trumpet", "cornet", "flugelhorn", "posthorn")
    )


def _towards(said: Sentence, clause: _Clause, note: Note) -> Note | None:
    """The second note of "F to E♭", "von B nach C", "F in Es"."""
    lexemes = said.lexemes
    index = note.last
    if index >= clause.last or not lexemes[index].can_be("to", "in"):
        return None
    following = note_at(lexemes, index + 1)
    if following is None or following.last > clause.last:
        return None
    return following if stands(lexemes, following, after_preposition=True, shouts=said.shouts) else None


def _ends_clause(said: Sentence, clause: _Clause, note: Note) -> bool:
    return note.last >= clause.last or all(
        lexeme.kind == "mark" or lexeme.can_be(*_BESIDE) for lexeme in said.lexemes[note.last : clause.last]
    )


def _ahead(said: Sentence, clause: _Clause, verb: int, *, strong: bool) -> _Target | None:
    """The target ahead of its verb: "nach B umstimmen", "F in Es umstimmen", "C-Trompete nehmen"."""
    lexemes = said.lexemes
    trumpets = statements(said, clause.first, verb)
    if trumpets and (trumpets[-1].notes or trumpets[-1].last >= verb - 1):
        last = trumpets[-1]
        return _of_statement(said, clause, replace(last), last.first, end=verb + 1)
    found: Note | None = None
    for index in range(clause.first, verb):
        note = note_at(lexemes, index)
        before = index > clause.first and lexemes[index - 1].can_be("to", "in")
        if (
            note is not None
            and note.last <= verb
            and stands(lexemes, note, after_preposition=before, shouts=said.shouts)
            and (before or not note.little)
        ):
            found = note
    if found is None:
        if any(lexemes[index].can_be("piccolo") for index in range(clause.first, verb)):
            at = next(index for index in range(clause.first, verb) if lexemes[index].can_be("piccolo"))
            return _piccolo(said, clause, at, at, end=verb + 1)
        return None
    if not strong and not lexemes[found.first - 1].can_be("to", "in"):
        return None
    return _of_note(said, clause, found, _phrase_start(said, clause, found), announces=True, end=verb + 1)


def _phrase_start(said: Sentence, clause: _Clause, note: Note) -> int:
    """Where the words that lead to a note begin: "F in Es", "von B nach C", "in tief B"."""
    lexemes = said.lexemes
    index = note.first
    while index > clause.first:
        before = lexemes[index - 1]
        ends_note = any(
            (one := note_at(lexemes, index - back)) is not None and one.last == index
            for back in (1, 2, 3)
            if index - back >= clause.first
        )
        if number_of(before):
            break
        if (
            before.can_be("to", "in", "from", "article", "small", "high", "low", "bass", "key")
            or ends_note
            or (before.kind == "mark" and before.text == "-")
        ):
            index -= 1
        else:
            break
    return index


def _piccolo(said: Sentence, clause: _Clause, at: int, first: int, *, end: int = 0) -> _Target:
    """The small trumpet by its adjective alone: "to Picc. in A", "Piccolo nehmen"."""
    lexemes = said.lexemes
    index = at + 1
    while index < clause.last and (
        lexemes[index].text == "."
        or (lexemes[index].can_be("in", "to") and not _is_target(said, index, clause, preposition=True))
    ):
        index += 1
    note = note_at(lexemes, index)
    notes = (note,) if note is not None and note.last <= clause.last and index > at + 1 else ()
    last = notes[0].last if notes else at + 1
    players = _players_before(said, clause, first)
    statement = Statement("piccolo", notes, ("high",), players, min(first, at), last)
    return _Target(statement, _with_players(said, clause, min(first, at)), max(last, end), announces=True)


def _of_statement(
    said: Sentence,
    clause: _Clause,
    statement: Statement,
    first: int,
    *,
    end: int = 0,
    announces: bool = True,
    bare: bool = False,
) -> _Target:
    players = _players_before(said, clause, min(first, statement.first)) or statement.players
    first = _with_players(said, clause, min(first, statement.first))
    return _Target(replace(statement, players=players), first, max(statement.last, end), announces, bare)


def _of_note(
    said: Sentence, clause: _Clause, note: Note, first: int, *, announces: bool, end: int = 0
) -> _Target:
    lexemes = said.lexemes
    # The instrument whose crook it is may stand before: "Tr. 1 muta in Es".
    subject = list(_subjects(said, clause, first))
    family = subject[-1][1] if subject else ""
    last = note.last
    while last < clause.last and (
        (lexemes[last].can_be("high", "low", "bass", "case") and note_at(lexemes, last) is None)
        or lexemes[last].can_be("key")
        or (lexemes[last].text == "-" and last + 1 < clause.last and lexemes[last + 1].can_be("case"))
        or (
            announces
            and lexemes[last].can_be("small")
            and (last + 1 >= clause.last or lexemes[last + 1].kind == "mark")
        )
    ):
        last += 1
    around = lexemes[first:last]
    registers = tuple(kind for kind in ("high", "bass") if any(each.can_be(kind) for each in around))
    players = _players_before(said, clause, first)
    statement = Statement(family, (note,), registers, players, first, last)
    return _Target(statement, _with_players(said, clause, first), max(last, end), announces)


def _subjects(said: Sentence, clause: _Clause, before: int) -> list[tuple[int, str]]:
    return [
        (at, found)
        for at in range(clause.first, before)
        if (found := instrument(said.lexemes, at)) and not note_at(said.lexemes, at)
    ]


def _addressed(said: Sentence, clause: _Clause, at: int) -> bool:
    """Whether lexeme ``at`` belongs to whom the words speak to: "1.", "Tr. II", "both", "2nd Tpt."."""
    lexeme = said.lexemes[at]
    return (
        bool(number_of(lexeme))
        or lexeme.can_be("ordinal", "and", "both", "all", "count", "article", "small")
        or bool(instrument(said.lexemes, at))
        or (lexeme.kind == "mark" and lexeme.text in ".-+&/°")
        or (lexeme.text == "," and at > clause.first)
    )


def _with_players(said: Sentence, clause: _Clause, first: int) -> int:
    index = first
    while index > clause.first and _addressed(said, clause, index - 1):
        index -= 1
    while index < first and said.lexemes[index].kind == "mark":
        index += 1
    return index


def _players_before(said: Sentence, clause: _Clause, first: int) -> tuple[int, ...]:
    start = _with_players(said, clause, first)
    found = []
    for index in range(start, first):
        if said.lexemes[index].can_be("both"):
            return 1, 2
        number = number_of(said.lexemes[index])
        if number and not said.lexemes[index].can_be("count"):
            found.append(number)
    return tuple(dict.fromkeys(found))


def _without_verb(said: Sentence, clause: _Clause) -> _Target | None:  # noqa: PLR0911
    """A change that no verb announces: "in C", "nach B", "B nach C", "Trombe in Re", "to Picc."."""
    lexemes = said.lexemes
    inside = lexemes[clause.first : clause.last]
    if any(
        (lexeme.can_be("title") and not lexeme.glued)
        or (lexeme.can_be("form") and not lexeme.can_be("manner", "kind"))
        for lexeme in inside
    ):
        return None
    trumpets = statements(said, clause.first, clause.last)
    if trumpets:
        return _instrument_alone(said, clause, trumpets)
    if (small := _piccolo_alone(said, clause)) is not None:
        return small
    for index in range(clause.first, clause.last):
        lexeme = lexemes[index]
        if not lexeme.can_be("to", "in") or (
            _is_target(said, index, clause, preposition=False) and not lexeme.can_be("in")
        ):
            continue
        skip = index + 1
        while (
            skip < clause.last
            and lexemes[skip].can_be("high", "low", "bass")
            and note_at(lexemes, skip) is None
        ):
            skip += 1
        note = note_at(lexemes, skip)
        if (
            note is None
            or note.last > clause.last
            or not stands(lexemes, note, after_preposition=True, shouts=said.shouts)
        ):
            continue
        if not _short_preposition_holds(lexemes, index, clause):
            continue
        start = _phrase_start(said, clause, note)
        if not _all_beside(said, clause, start, note.last):
            return None
        # "from A to B" is a way through the piece.
        leads = _leads(lexemes, start, note)
        if leads is None:
            return None
        return _of_note(said, clause, note, start, announces=leads)
    return None


def _short_preposition_holds(lexemes: tuple[Lexeme, ...], index: int, clause: _Clause) -> bool:
    """One letter ("i", "u", "a") is a preposition only beside a verb or an instrument, or between two notes."""  # noqa: E501
    if len(lexemes[index].text) > 1:
        return True
    return index > clause.first and any(note_at(lexemes, at) is not None for at in range(clause.first, index))


def _leads(lexemes: tuple[Lexeme, ...], start: int, note: Note) -> bool | None:
    """True for a way to a crook ("nach B", "F nach Es"), False for its name ("in F"), None for neither."""
    words = lexemes[start : note.first]
    to = [word for word in words if word.can_be("to")]
    only_in = all(word.can_be("in") for word in to)
    notes = sum(1 for at in range(start, note.first) if note_at(lexemes, at) is not None)
    english = any("en" in word.languages("to") for word in to)
    if notes and english and note.letter and any(word.can_be("from") for word in words):
        return None
    return (bool(to) and not only_in) or bool(notes)


def _all_beside(said: Sentence, clause: _Clause, first: int, last: int) -> bool:
    """True where all other words of the clause may stand beside a crook: players, mutes, manners."""
    for index in (*range(clause.first, first), *range(last, clause.last)):
        lexeme = said.lexemes[index]
        if (
            lexeme.kind == "mark"
            or number_of(lexeme)
            or lexeme.can_be(*_BESIDE)
            or (lexeme.can_be("in") and index >= last)
        ):
            continue
        if instrument(said.lexemes, index):
            continue
        return False
    return True


def _instrument_alone(said: Sentence, clause: _Clause, trumpets: list[Statement]) -> _Target | None:
    lexemes = said.lexemes
    first = next((each for each in trumpets if each.notes), trumpets[0])
    index = first.first
    led = False
    while index > clause.first and (
        lexemes[index - 1].can_be("to", "article", "small") or lexemes[index - 1].text == "."
    ):
        led = led or (lexemes[index - 1].can_be("to") and not lexemes[index - 1].can_be("in"))
        index -= 1
    # "Tpt. 1 to C"
    if not first.notes and len(trumpets) == 1:
        for at in range(first.last, clause.last):
            note = note_at(lexemes, at + 1)
            if (
                lexemes[at].can_be("to", "in")
                and note is not None
                and note.last <= clause.last
                and _all_beside(said, clause, first.first, note.last)
            ):
                return _of_note(said, clause, note, at, announces=lexemes[at].can_be("to"))
    beside = _all_beside(said, clause, index, first.last)
    if first.notes:
        if not beside and not first.strong:
            return None
        return _of_statement(said, clause, first, index, announces=led)
    if not beside:
        return None
    whole = (clause.first == 0 and clause.last == len(lexemes)) or led
    return _of_statement(said, clause, first, index, announces=led, bare=not led) if whole or led else None


def _piccolo_alone(said: Sentence, clause: _Clause) -> _Target | None:
    """ "to Picc.", "Picc. in A": the small trumpet by its adjective."""
    lexemes = said.lexemes
    for at in range(clause.first, clause.last):
        if lexemes[at].can_be("piccolo") and not lexemes[at].can_be("high", "kind"):
            start = at
            while start > clause.first and lexemes[start - 1].can_be("to", "article", "small"):
                start -= 1
            found = _piccolo(said, clause, at, start)
            if start == at and not (clause.first == at and found.last >= clause.last - 1):
                return None
            return (
                replace(found, announces=start < at, bare=start == at)
                if _all_beside(said, clause, start, found.last)
                else None
            )
    return None


def _speaks_of_crooks(said: Sentence, clause: _Clause, lexemes: tuple[Lexeme, ...]) -> bool:  # noqa: PLR0911
    """True where words that were not understood may change the crook."""
    if any(lexeme.can_be("title", "mode") for lexeme in lexemes):
        return False
    mute = any(lexeme.can_be("mute", "object") for lexeme in lexemes)
    notes = [
        note
        for at in range(clause.first, clause.last)
        if (note := note_at(said.lexemes, at)) is not None and note.last <= clause.last
    ]
    plain = [
        note for note in notes if not note.little and (not note.letter or said.lexemes[note.first].capital)
    ]
    trumpet = any(lexeme.family or lexeme.can_be("key") for lexeme in lexemes)
    if any(lexeme.can_be("announce") for lexeme in lexemes):
        return not mute
    form = any(lexeme.can_be("form") for lexeme in lexemes)
    if form:
        return False
    if any(lexeme.can_be("change") and not lexeme.can_be("form") for lexeme in lexemes):
        to = any(lexeme.can_be("to") for lexeme in lexemes)
        alone = all(
            lexeme.can_be("change", "article", "small", "ordinal")
            or lexeme.kind != "word"
            or number_of(lexeme)
            for lexeme in lexemes
        )
        return not mute and (trumpet or bool(plain) or to or alone)
    if any(lexeme.can_be("take") for lexeme in lexemes):
        return not mute and (trumpet or bool(plain))
    if trumpet and any(lexeme.family for lexeme in lexemes) and plain:
        return True
    return any(
        note.first > clause.first
        and said.lexemes[note.first - 1].can_be("in", "to")
        and len(said.lexemes[note.first - 1].text) > 1
        for note in plain
    )


def _change(said: Sentence, targets: list[_Target]) -> Change:
    first = targets[0]
    statements_of = [target.statement for target in targets]
    if len({target.statement.players for target in targets}) == 1:
        statements_of = statements_of[-1:] if any(t.announces for t in targets) else statements_of[:1]
        keep = [t for t in targets if t.statement in statements_of]
    else:
        keep = targets
    spans = tuple(_span(said, target) for target in keep)
    what: Named = named(said, statements_of)
    return Change(what, said.text, any(target.announces for target in keep), first.bare, spans)


def _span(said: Sentence, target: _Target) -> Span:
    """The characters of a target, its closing full stop and brackets with them."""
    lexemes = said.lexemes
    first, last = target.first, target.last
    if last < len(lexemes) and lexemes[last].text == "." and lexemes[last].gap == "":
        last += 1
    if first > 0 and lexemes[first - 1].text in "([" and last < len(lexemes) and lexemes[last].text in ")]":
        first, last = first - 1, last + 1
    return lexemes[first].start, lexemes[last - 1].end


__all__ = ["Change", "Said", "is_title", "read_change", "read_words"]
