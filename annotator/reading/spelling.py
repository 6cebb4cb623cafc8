"""How a pitch read at an interval is spelled: as the interval says, save where nobody would print that.

Two rules, for the cue line, the transposed part and the report alike; both are what editors of parts do
(common practice, no source):

- A double accidental stays only where the key signature obliges: on a step the signature alters the same
  way already (F𝄪 under four sharps). Where the key itself was changed for its enharmonic, only the leading
  note of its minor key has that claim. Any other is printed as its simple enharmonic.
- A phrase has one spelling of a sound, however many the part had: the one in the key, else the commonest.

A line that is read as it stands keeps the spelling it has.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from operator import attrgetter

from annotator.keys import alters_of_key, read_pitch, simplest
from annotator.pitch import STEP_INDEX, UNISON, Interval, Pitch
from annotator.score.model import SAME_PLACE, Note

_JOINED = 0.02  # quarters of gap that still count as joined: programs round what they play
_DOUBLE = 2
_ONSET = attrgetter("onset")


def spell(pitch: Pitch, interval: Interval, fifths: int | None, *, other_key: bool = False) -> Pitch:
    """``pitch`` as read at ``interval`` under the key signature ``fifths`` (None: there is none).

    ``other_key``: the signature is the enharmonic of what the written key becomes.
    """
    if interval == UNISON:
        return pitch
    read = read_pitch(pitch, interval)
    if abs(read.alter) < _DOUBLE:
        return read
    obliges = _is_leading_note if other_key else _is_altered_already
    return read if obliges(read, fifths or 0) else simplest(read)


def _is_altered_already(pitch: Pitch, fifths: int) -> bool:
    """Whether the signature gives the step of ``pitch`` one sign of the same kind."""
    return alters_of_key(fifths)[STEP_INDEX[pitch.step]] * _DOUBLE == pitch.alter


def _is_leading_note(pitch: Pitch, fifths: int) -> bool:
    """Whether ``pitch`` is the raised seventh of the minor key with this signature."""
    # The fifth degree of the major key; the tonic moves four steps with each sharp.
    step = (4 + 4 * fifths) % 7
    return STEP_INDEX[pitch.step] == step and pitch.alter == alters_of_key(fifths)[step] + 1


class ReadPitches(dict[Pitch, Pitch]):
    """Pitches as read at ``interval`` under ``fifths``, each worked out once (see ``spell``).

    ``instead``: spellings ((step, alter) as ``spell`` has them) and those to take for them.
    """

    def __init__(
        self,
        interval: Interval,
        fifths: int | None = None,
        *,
        other_key: bool = False,
        instead: dict[tuple[str, int], tuple[str, int]] | None = None,
    ) -> None:
        super().__init__()
        self._interval = interval
        self._fifths = fifths
        self._other_key = other_key
        self._instead = instead or {}

    def but(self, instead: dict[tuple[str, int], tuple[str, int]]) -> ReadPitches:
        """The same with other spellings."""
        return ReadPitches(self._interval, self._fifths, other_key=self._other_key, instead=instead)

    def __missing__(self, pitch: Pitch) -> Pitch:
        read = spell(pitch, self._interval, self._fifths, other_key=self._other_key)
        other = self._instead.get(read[:2])
        if other is not None:
            step, alter = other
            # The octave is that of the note nearest in sound: B♯3 is C4.
            read = min(
                (Pitch(step, alter, read.octave + octaves) for octaves in (-1, 0, 1)),
                key=lambda each: abs(each.semitone - read.semitone),
            )
        self[pitch] = read
        return read


def phrases(notes: Iterable[Note]) -> Iterator[list[Note]]:
    """The notes of one or several lines cut where all of them rest, in the order of their onsets."""
    found: list[Note] = []
    end = float("-inf")
    for note in sorted(notes, key=_ONSET):
        if found and note.onset - end >= _JOINED:
            yield found
            found = []
        found.append(note)
        end = max(end, note.onset + note.duration)
    if found:
        yield found


def may_vary(pitches: Iterable[Pitch], read: ReadPitches) -> bool:
    """Whether any sound among ``pitches`` is read in more than one spelling."""
    spellings = {read[pitch][:2] for pitch in pitches}
    return len({_sound(each) for each in spellings}) < len(spellings)


def one_spelling(
    notes: Sequence[Note], read: ReadPitches, fifths: int | None
) -> dict[tuple[str, int], tuple[str, int]]:
    """For a phrase read by ``read``: the spellings to give up, and what to take for each."""
    counts: Counter[tuple[str, int]] = Counter(read[note.pitch][:2] for note in notes)
    by_sound: dict[int, list[tuple[str, int]]] = {}
    for spelling in counts:
        by_sound.setdefault(_sound(spelling), []).append(spelling)
    key = alters_of_key(fifths or 0)
    instead: dict[tuple[str, int], tuple[str, int]] = {}
    for spellings in by_sound.values():
        if len(spellings) > 1:
            # min keeps the first of equals: what the eye met first.
            best = min(
                spellings, key=lambda each: (key[STEP_INDEX[each[0]]] != each[1], -counts[each], abs(each[1]))
            )
            instead |= {each: best for each in spellings if each != best}
    return instead


def _sound(spelling: tuple[str, int]) -> int:
    return Pitch(*spelling, 4).semitone % 12


def starts_at(notes: Sequence[Note], cuts: Sequence[float]) -> Iterator[list[Note]]:
    """A phrase's ``notes`` cut again at the positions ``cuts`` (in order), where another key begins."""
    found: list[Note] = []
    index = 0
    for note in notes:
        here = index
        while here < len(cuts) and cuts[here] <= note.onset + SAME_PLACE:
            here += 1
        if here != index and found:
            yield found
            found = []
        index = here
        found.append(note)
    if found:
        yield found
