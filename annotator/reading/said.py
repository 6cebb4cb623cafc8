"""What words say about crooks, players and mutes: the values that ``names`` and ``changes`` give."""

from __future__ import annotations

from dataclasses import dataclass

from annotator.reading.crooks import Crook

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Named:
    """What a text says about instrument and crook.

    ``crook`` is None where a note was named that no trumpet is built in, or none was named.
    ``may_be``: crooks the same words can mean ("in B": B♭, or B♮ in English). ``also``: further
    crooks in the same text ("Trumpet in F/C"). ``family``: ``trumpet``, ``cornet``, ``flugelhorn``,
    ``piccolo`` or ``""`` where only a crook was named. ``words``: the words, as normalised.
    ``note``: the note named (``Eb``), also where no crook is known by it. ``register``: ``high``,
    ``bass`` or ``""`` where the words say nothing of it. ``players``: the numbers of the players it is
    for ("1. in F"), none for all. ``further``: what the same words tell other players ("1. in F, 2. in C"),
    each with its own ``players``.
    """

    crook: Crook | None
    words: str
    family: str = ""
    may_be: tuple[Crook, ...] = ()
    also: tuple[Crook, ...] = ()
    note: str = ""
    register: str = ""
    players: tuple[int, ...] = ()
    further: tuple[Named, ...] = ()

    def allows(self, crook: Crook) -> bool:
        """True when the words can mean ``crook``."""
        return crook == self.crook or crook in self.may_be


@dataclass(frozen=True, slots=True)
class Players:
    """Whose notes follow on a shared staff.

    ``numbers``: "1." is (1,), "a 2" is (1, 2), "a 3" (1, 2, 3); none where the words name nobody
    ("div."). ``manner``: ``one`` ("1.", "2. Solo"), ``solo`` ("Solo", no number), ``together`` ("a 2",
    "unis.", "tutti") or ``divided`` ("div.").
    """

    numbers: tuple[int, ...]
    manner: str


@dataclass(frozen=True, slots=True)
class Change:
    """A change of crook or instrument in mid-part.

    ``announces``: made in the coming rest; otherwise from here on. ``named.crook`` is None where only
    an instrument is named. ``bare``: no more than an instrument's name, which may also be the label
    of cue notes. ``spans``: the characters of ``text`` that belong to the change, in order; all others
    are somebody else's.
    """

    named: Named
    text: str
    announces: bool
    bare: bool = False
    spans: tuple[Span, ...] = ()

    @property
    def one_player(self) -> bool:
        """True when the words speak to one of several players ("2. muta in F")."""
        return len(self.named.players) == 1


@dataclass(frozen=True, slots=True)
class Said:
    """All that a text in mid-part says that the reading knows of.

    ``players``: whose notes follow, where the text says so. ``mute``: ``in``, ``out`` or ``""``.
    ``not_read``: words that speak of a crook or a change and were not understood, as they stand; ``""``
    where there are none.
    """

    text: str
    change: Change | None = None
    players: Players | None = None
    mute: str = ""
    not_read: str = ""
