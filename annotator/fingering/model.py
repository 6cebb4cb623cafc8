"""The values that go into the planner and come out of it. Words are made of them in ``sentences``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from annotator.pitch import Pitch
from annotator.score.model import Ornament

if TYPE_CHECKING:
    from annotator.fingering.demands import Demand


@dataclass(frozen=True, slots=True)
class Fingering:
    """One way to play a pitch: ``valves`` as printed (``0``, ``1-2``), partial, and how far it is off.

    ``cents`` against equal temperament, before slides and lip; positive is sharp.
    """

    valves: str
    partial: int
    cents: float


class ReadNote(NamedTuple):
    """A note as the player reads it, in real time. (A tuple, since one is made for every note.)

    ``pitch`` is in the written pitch of the instrument in hand. ``onset`` and ``duration`` in seconds.
    ``slurred``: reached under a slur. ``joined``: follows the note before it with no rest or breath
    between. ``fifths``: the key signature as read (sharps; flats negative), for the upper and lower
    notes of ornaments; accidentals of ``ornaments`` are as read too. ``quarters``: the duration in
    quarter notes, so that sentences can speak of sixteenth notes at a tempo (0: they give seconds).
    """

    pitch: Pitch
    onset: float
    duration: float
    slurred: bool = False
    joined: bool = True
    grace: bool = False
    ornaments: tuple[Ornament, ...] = ()
    fifths: int = 0
    quarters: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """A fingering of a pitch with what costs are made from. A costing has one of each.

    ``semitone`` of the written pitch, ``place`` among its candidates (0: the chart's); ``mask`` has bit 0
    for the first valve; ``tubing`` is what the valves lower by, in semitones; ``departure`` from the usual
    chart in thousandths of an awkwardness, and ``flag_departure``, what of it counts when a crossing is
    graded.
    """

    fingering: Fingering
    semitone: int
    place: int
    mask: int
    tubing: int
    departure: int
    flag_departure: int

    @property
    def partial(self) -> int:
        return self.fingering.partial


class Pace(NamedTuple):
    """How fast one note follows another: ``seconds`` between the onsets, ``quarters`` of the first note.

    ``kind``: ``notes``, ``grace`` (one of them is a grace note) or ``tremolo``.
    """

    seconds: float
    quarters: float
    kind: str = "notes"


@dataclass(frozen=True, slots=True)
class Move:
    """A crossing as it happens: the two pitches as read, how each is played, and how the second is reached.

    ``milliseconds`` between the onsets, as urgency counts them; None where the line breaks.
    """

    before: Pitch
    note: Pitch
    left: Way
    reached: Way
    slurred: bool
    milliseconds: int | None
    pace: Pace


@dataclass(frozen=True, slots=True)
class TrillPair:
    """A note and the one it is trilled to, as read, and how they go best. ``other`` is None: out of reach.

    ``clean``: one partial and one finger. ``lip``: one fingering, the lips alone.
    """

    pitch: Pitch
    auxiliary: Pitch
    main: Way
    other: Way | None
    clean: bool = False
    lip: bool = False


@dataclass(frozen=True, slots=True)
class Instead:
    """Another fingering for one of a crossing's notes: ``note`` is ``left``, ``reached`` or ``auxiliary``."""

    note: str
    pitch: Pitch
    fingering: Fingering


@dataclass(frozen=True, slots=True)
class Crossing:
    """An awkward move onto a note, or a trill on it. ``grade`` 1 (mild) to 3; ``reasons`` in trade words.

    ``cost`` of getting across, in the units of the cost table (1.0: a plain finger exchange at eight
    notes a second). ``instead``: the fingerings that would ease it, none when nothing would; ``gain``:
    how much they take off the cost. ``moves``: the crossing it speaks of (none for a trill);
    ``taken``: the fingerings that carry the plan over where it speaks of the chart's. ``trills``:
    the trill it speaks of.
    """

    grade: int
    reasons: tuple[str, ...]
    cost: float = 0.0
    instead: tuple[Instead, ...] = ()
    gain: float = 0.0
    moves: tuple[Move, ...] = ()
    taken: tuple[Fingering, Fingering] | None = None
    trills: tuple[TrillPair, ...] = ()


@dataclass(frozen=True, slots=True)
class Departure:
    """Why a note is not played as the chart says. ``kind``:

    ``crossing``: it spares the crossing ``move`` (told with the chart's fingerings), hard by ``reason``;
    ``trill``: for the sake of ``trill``; ``tune``: nearer in tune than the chart's ``chart``;
    ``figure``: as the same pitch is played beside it.
    """

    kind: str
    way: Way
    chart: Way
    move: Move | None = None
    reason: str = ""
    trill: TrillPair | None = None
    trilled: bool = True


@dataclass(frozen=True, slots=True)
class Auxiliary:
    """The other note of an ornament: its pitch as read, how to finger it, and ``above`` or ``below``.

    ``fingering`` is None when the instrument does not reach it. ``cents_left`` with the slides as they
    stand on the main note.
    """

    pitch: Pitch
    fingering: Fingering | None
    side: str
    cents_left: float = 0.0


@dataclass(frozen=True, slots=True)
class Slides:
    """Where the hand slides stand on a note: ``first`` and ``third``, whole millimetres pulled.

    ``wanted``: the pull in all that would put the note in tune, 0.0 where none is asked for;
    ``cents_left`` off equal temperament as they stand; ``moved``: they are set anew for this note;
    ``matters``: the note is held long enough for its cents to be heard. ``trouble``: ``too far for this
    slide``, ``no time to move it``, or empty.
    """

    first: int = 0
    third: int = 0
    wanted: float = 0.0
    cents_left: float = 0.0
    moved: bool = False
    matters: bool = False
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """What the player does. ``fingering`` is None when the note cannot be played.

    ``departure``: why it is not the usual chart's, None where it is. ``auxiliaries``: the other notes of
    the note's ornament; ``trill`` is the fingering of the first. ``held``: another fingering that many
    players take for this note when it is held. ``demands``: those of the line that begin here.
    """

    fingering: Fingering | None
    alternates: tuple[Fingering, ...] = ()
    crossing: Crossing | None = None
    departure: Departure | None = None
    slides: Slides = Slides()
    auxiliaries: tuple[Auxiliary, ...] = ()
    held: Fingering | None = None
    demands: tuple[Demand, ...] = ()

    @property
    def trill(self) -> Fingering | None:
        """The fingering of the other note of a trill (of any ornament's first auxiliary note)."""
        return self.auxiliaries[0].fingering if self.auxiliaries else None

    @property
    def cents_left(self) -> float:
        return self.slides.cents_left
