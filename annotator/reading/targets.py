"""What a verb of a clause changes to: "muta in C", "nach B umstimmen", "prenez la trompette en ut"."""

from __future__ import annotations

from dataclasses import dataclass, replace

from annotator.reading.beside import with_others
from annotator.reading.clauses import REGISTERS, WHICH, Clause
from annotator.reading.headings import Statement, registers, statements
from annotator.reading.note_names import Note

# What may stand between a change word and what it changes to.
_BETWEEN = (
    *(
        *WHICH,
        "article",
        "small",
        "key",
        "manner",
        "tempo",
        "ordinal",
        "count",
        "all",
        "both",
        "solo",
        "case",
        "numbering",
    ),
)
# What may stand beside a crook that no verb announces: it is somebody else's, and explained.
BESIDE = (*_BETWEEN, "mute", "muted", "muted_alone", "mute_off", "open", "together", "divided", "and", "take")


@dataclass(frozen=True, slots=True)
class Target:
    """What a change leads to, by the lexemes ``first`` to ``last`` (not included).

    ``words``: where it says what changes, after those it speaks to ("2. *muta in F*").
    ``announces``: in the coming rest. ``bare``: no more than an instrument's name.
    """

    statement: Statement
    first: int
    last: int
    announces: bool = False
    bare: bool = False
    words: int = 0


def by_verb(clause: Clause) -> tuple[Target | None, bool]:
    """What a verb of the clause changes to, and whether there is a verb that changes something."""
    strong = False
    for verb in clause.places():
        lexeme = clause.at(verb)
        assert lexeme is not None  # places are the clause's
        if lexeme.can_be("announce", "change", "take") and (
            clause.note(verb) is None or lexeme.can_be("announce")
        ):
            found = _behind(clause, verb) or _ahead(clause, verb)
            if found is not None:
                return found, True
            strong = strong or lexeme.can_be("announce", "change")
    return None, strong


def _is_strong(clause: Clause, verb: int) -> bool:
    return clause.can_be(verb, "announce", "change")


def _behind(clause: Clause, verb: int) -> Target | None:
    """The target behind its verb: "muta in C", "change F to E♭", "prenez la trompette en ut"."""
    named = statements(clause.part(verb, clause.last))
    strong = _is_strong(clause, verb)
    led = False
    place = verb + 1
    while place < clause.last:
        if named and place >= named[0].first:
            return _instrument(clause, verb, named[0], led=led)
        if clause.can_be(place, "from") and not clause.can_be(place, "to", "in"):
            pass
        elif leads_on(clause, place) or (clause.can_be(place, "key") and clause.note(place) is None):
            led = True
        elif (note := clause.note_standing(place, after_preposition=led)) is not None:
            note = _towards(clause, note) or note
            if not (strong or led or _stands_alone(clause, verb, note)):
                return None
            if clause.can_be(note.last, "piccolo"):
                return piccolo_target(clause, note.last, verb, note)
            return crook_target(clause, note, verb, announces=True)
        elif clause.can_be(place, "piccolo"):
            return piccolo_target(clause, place, verb)
        elif not (clause.can_be(place, *_BETWEEN) or clause.number(place) or is_mark(clause, place)):
            break
        place += 1
    # "muta la vecchia tromba in Fa"
    return _instrument(clause, verb, named[0], led=led) if named and strong and named[0].notes else None


def is_mark(clause: Clause, place: int) -> bool:
    lexeme = clause.at(place)
    return lexeme is not None and lexeme.kind == "mark"


def leads_on(clause: Clause, place: int) -> bool:
    """Whether a preposition stands here, and no note of the same name ("do", "a", "la")."""
    if not clause.can_be(place, "to", "in", "from"):
        return False
    note, lexeme = clause.note(place), clause.at(place)
    if note is not None and note.letter and lexeme is not None and lexeme.capital and not clause.said.shouts:
        return False
    if note is None or clause.instrument(note.last) or clause.can_be(note.last, "piccolo", "key"):
        return True
    if clause.note_standing(note.last, after_preposition=True) is not None:
        return True
    return clause.note_standing(place, after_preposition=True) is None


def _towards(clause: Clause, note: Note) -> Note | None:
    """The second note of "F to E♭", "von B nach C", "F in Es"."""
    if not clause.can_be(note.last, "to", "in"):
        return None
    return clause.note_standing(note.last + 1, after_preposition=True)


def _stands_alone(clause: Clause, verb: int, note: Note) -> bool:
    """Whether nothing strange stands before a verb that takes anything and behind a note ("prenez ut")."""
    return all(
        is_mark(clause, place) or clause.number(place) or clause.can_be(place, *BESIDE)
        for place in (*range(clause.first, verb), *range(note.last, clause.last))
    )


def _instrument(clause: Clause, verb: int, named: Statement, *, led: bool) -> Target | None:
    """A change to an instrument. "Change trumpets" says nothing of which; "change trumpet to C" does."""
    if not named.notes:
        note = onwards(clause, named)
        if note is not None:
            return crook_target(clause, note, verb, announces=True, subject=named)
        if not led and _is_strong(clause, verb):
            return None
        if not _is_strong(clause, verb) and not _only_takes(clause, verb, named):
            return None
    return instrument_target(clause, named, verb, announces=True)


def _only_takes(clause: Clause, verb: int, named: Statement) -> bool:
    """Whether nothing strange stands beside a verb that takes anything: "nimmt Flügelhorn"."""
    return all(
        is_mark(clause, place)
        or clause.number(place)
        or clause.instrument(place)
        or clause.can_be(place, *BESIDE, "in", "to")
        for place in clause.places()
        if place != verb and not named.first <= place < named.last
    )


def onwards(clause: Clause, named: Statement) -> Note | None:
    """The crook an instrument goes on to: "Tpt. 1 to C", "Trp. B in As", "trumpet … to D"."""
    for place in range(named.last, clause.last):
        if clause.can_be(place, "to", "in"):
            note = clause.note_standing(clause.register_before(place + 1), after_preposition=True)
            if note is not None:
                return note
    return None


def _ahead(clause: Clause, verb: int) -> Target | None:
    """The target ahead of its verb: "nach B umstimmen", "F in Es umstimmen", "C-Trompete nehmen"."""
    before = clause.part(clause.first, verb)
    named = statements(before)
    if named and (further := onwards(before, named[-1])) is not None:
        return crook_target(
            clause, further, named[-1].first, announces=True, subject=named[-1], last=verb + 1
        )
    if named and (named[-1].notes or (named[-1].last >= verb - 1 and not _is_strong(clause, verb))):
        return instrument_target(
            clause, named[-1], led_from(clause, named[-1].first), announces=True, last=verb + 1
        )
    found = None
    for place in before.places():
        led = place > clause.first and clause.can_be(place - 1, "to", "in")
        note = before.note_standing(place, after_preposition=led)
        tied = note is not None and clause.can_be(note.last + clause.is_mark(note.last, "-"), "key")
        if note is not None and (led or tied or (not note.little and _is_strong(clause, verb))):
            found = note
    if found is not None:
        return crook_target(clause, found, led_from(clause, found.first), announces=True, last=verb + 1)
    small = next((place for place in before.places() if clause.can_be(place, "piccolo")), None)
    return None if small is None else piccolo_target(clause, small, small, last=verb + 1)


def led_from(clause: Clause, first: int) -> int:
    """Where the words that lead to a target begin: "auf C-Trompete", "von B nach C", "in tief B"."""
    while first > clause.first and not clause.number(first - 1):
        note = clause.note_ending(first - 1)
        if clause.can_be(first - 1, "to", "in", "from", "article", "small", "key", *REGISTERS):
            first -= 1
        elif note is not None and clause.can_be(first, "to", "in"):
            first = note.first
        elif clause.is_mark(first - 1, "-") and clause.can_be(first - 2, "key"):
            first -= 1
        else:
            break
    return first


def crook_target(
    clause: Clause,
    note: Note,
    first: int,
    *,
    announces: bool,
    subject: Statement | None = None,
    last: int = 0,
) -> Target:
    """A change to a crook; ``subject``: the instrument that is spoken of, where it is known."""
    key = with_others(clause, note, strong=True)
    end = key.last
    while clause.can_be(end, "particle"):
        end += 1
    while announces and clause.can_be(end, "small") and _closes(clause, end + 1):
        end += 1
    # "F muta in Es", "Tromba in Fa muta in Mi"
    from_note = clause.note_ending(first - 1)
    if from_note is not None:
        away = [each.first for each in statements(clause.part(clause.first, first)) if each.last == first]
        first = away[-1] if away else from_note.first if from_note.first == clause.first else first
    named = [clause.instrument(place) for place in range(clause.first, first) if clause.note(place) is None]
    family = subject.family if subject is not None else next(filter(None, reversed(named)), "")
    players = subject.players if subject is not None else ()
    said = registers(clause.part(first, end))
    statement = Statement(family, key.notes, said, players, first, end)
    return instrument_target(clause, statement, first, announces=announces, last=last)


def _closes(clause: Clause, place: int) -> bool:
    """Whether a clause ends here, but for a full stop; that of an abbreviation ("m. Dpf.") ends nothing."""
    if place >= clause.last - 1:
        return place >= clause.last or is_mark(clause, place)
    return is_mark(clause, place) and not clause.is_mark(place, ".")


def piccolo_target(
    clause: Clause, at: int, first: int, before: Note | None = None, *, last: int = 0
) -> Target:
    """The small trumpet by its adjective alone: "to Picc. in A", "change to B♭ picc.", "Piccolo nehmen"."""
    end = at + 1
    notes: tuple[Note, ...] = () if before is None else (before,)
    place = end + clause.is_mark(end, ".")
    if before is None and clause.can_be(place, "in", "to"):
        note = clause.note_standing(place + 1, after_preposition=True)
        if note is not None:
            notes, end = (note,), note.last
    return instrument_target(
        clause,
        Statement("piccolo", notes, ("high",), (), min(first, at), end),
        first,
        announces=True,
        last=last,
    )


def instrument_target(
    clause: Clause, statement: Statement, first: int, *, announces: bool, last: int = 0, bare: bool = False
) -> Target:
    """A target with whom it speaks to: "1.", "Tr. II", "both" before it belong to the change."""
    first = min(first, statement.first)
    begin = first
    while begin > clause.first and _addresses(clause, begin - 1):
        begin -= 1
    while begin < first and is_mark(clause, begin):
        begin += 1
    players: list[int] = []
    for place in range(begin, first):
        if clause.can_be(place, "both"):
            players += (1, 2)
        elif (number := clause.number(place)) and not clause.can_be(place, "count"):
            if players and clause.is_mark(place - 1, "-"):
                players += range(players[-1] + 1, number)
            players.append(number)
    spoken_to = tuple(dict.fromkeys(players)) or statement.players
    return Target(
        replace(statement, players=spoken_to), begin, max(statement.last, last), announces, bare, first
    )


def _addresses(clause: Clause, place: int) -> bool:
    return (
        bool(clause.number(place) or clause.instrument(place))
        or clause.can_be(place, "ordinal", "and", "both", "all", "count", "article", "small")
        or clause.is_mark(place, ".-+&/°,:")
    )
