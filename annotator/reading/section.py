"""The trumpets of a score taken together: do parts that name crooks hold written or sounding pitches?

Asked only of parts without a ``<transpose>``, and answered once for all of them, so that neighbours never
come out in different keys. The evidence, in the order it is believed:

1. The file says that it is a score at concert pitch (``<concert-score/>``, MusicXML 4.0).
2. Key signatures. In a score at concert pitch every part has the same; a part for a trumpet in B♭ that is
   written as such has two sharps more than the strings. Other instruments whose names say a key (clarinets,
   horns) are asked too. Parts without a signature say nothing against others that have none. [computed from
   the intervals of the crooks]
3. Natural partials, counted over all these parts: clearly more of them natural as they stand than as written.
4. Else the words are believed, since the player reads the page.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

from annotator.instruments.natural import natural_partial as partial_as_written
from annotator.keys import read_key
from annotator.pitch import UNISON
from annotator.reading.crooks import Crook
from annotator.reading.inference import ENOUGH, NEARLY_ALL, natural_partial
from annotator.reading.model import Pitches, Shares, Stage
from annotator.reading.names import read_heading
from annotator.reading.players import own_number
from annotator.reading.timeline import Timeline, timeline
from annotator.reading.vocabulary import normalise
from annotator.score.model import Neighbour, Part
from annotator.timing import Clock

_CLEARLY = 0.2  # by this share more notes must be natural as sounding than as written


@dataclass(frozen=True, slots=True)
class _Signed:
    """A part by its key signature and by how far, in fifths, it would sound from what is written."""

    fifths: int
    moves: int


class Section:
    """The trumpet parts of a score, and ``others``: the parts that are not read."""

    def __init__(
        self, parts: Iterable[Part], others: Iterable[Neighbour] = (), clock: Clock | None = None
    ) -> None:
        self.parts = tuple(parts)
        self.others = tuple(others)
        self.clock = clock or Clock()
        self._timelines: dict[str, Timeline] = {}

    def timeline(self, part: Part) -> Timeline:
        """The timeline of one of the parts as a whole, worked out once."""
        found = self._timelines.get(part.id)
        if found is None or found.part is not part:
            found = self._timelines[part.id] = timeline(part, self.clock, own_number(part))
        return found

    def sounding(self) -> list[Part]:
        """The parts in which nothing names a crook: they sound as they stand."""
        return [part for part in self.parts if not any(stage.named for stage in self.timeline(part).stages)]

    @cached_property
    def pitches(self) -> Pitches:
        """What the parts hold that name crooks and have no ``<transpose>``."""
        open_parts = [part for part in self.parts if self.timeline(part).is_open]
        if any(part.concert for part in open_parts):
            return Pitches(sounding=True, by="concert-score")
        told = self._by_keys(open_parts)
        if told is not None:
            return told
        shares = _shares((part, self.timeline(part).stages) for part in open_parts)
        if (
            shares.notes >= ENOUGH
            and shares.as_sounding >= NEARLY_ALL
            and round(shares.as_sounding - shares.as_written, 9) >= _CLEARLY
        ):
            return Pitches(sounding=True, by="partials", shares=shares)
        return Pitches(sounding=False, by="words", shares=shares)

    def _by_keys(self, open_parts: Sequence[Part]) -> Pitches | None:
        signed = [
            _Signed(part.keys[0].fifths if part.keys else 0, read_key(0, stages[0].crook.sounding))
            for part in open_parts
            if (stages := self.timeline(part).stages)
        ]
        signed += [
            _Signed(other.fifths or 0, read_key(0, crook.sounding))
            for other in self.others
            if other.interval is None and (crook := crook_of_neighbour(other.name)) is not None
        ]
        signed = [each for each in signed if each.moves % 12]
        key = self._concert_key(open_parts)
        if key is None:
            return _among_themselves(signed)
        sounding = sum(each.fifths == key != 0 for each in signed)
        written = sum((each.fifths + each.moves - key) % 12 == 0 and each.fifths != key for each in signed)
        if key and not sounding:
            # Old parts have no signature, whatever the key of the piece.
            written += sum(each.fifths == 0 for each in signed)
        if sounding == written:
            return None
        return Pitches(sounding=sounding > written, by="keys", key=key)

    def _concert_key(self, open_parts: Sequence[Part]) -> int | None:
        """The key signature that sounds, by the parts that can tell; None where there are none."""
        keys = Counter(
            read_key(other.fifths, other.interval or UNISON)
            for other in self.others
            if other.fifths is not None and (other.interval is not None or not is_transposing(other.name))
        )
        for part in self.parts:
            stages = self.timeline(part).stages
            if part not in open_parts and part.keys:
                keys[read_key(part.keys[0].fifths, stages[0].crook.sounding)] += 1
        if not keys:
            return None
        # Horns, drums and old trumpets have no signature in any key.
        with_signs = Counter({key: times for key, times in keys.items() if key})
        return (with_signs or keys).most_common(1)[0][0]


def _among_themselves(signed: Sequence[_Signed]) -> Pitches | None:
    """What signatures tell where nobody says which key sounds: trumpets in two keys at least are needed."""
    if len({each.moves % 12 for each in signed}) < 2:
        return None
    keys = {each.fifths for each in signed}
    if len(keys) == 1:
        key = keys.pop()
        return Pitches(sounding=True, by="keys", key=key) if key else None
    sounds = {(each.fifths + each.moves) % 12 for each in signed}
    return Pitches(sounding=False, by="keys") if len(sounds) == 1 else None


def _shares(parts: Iterable[tuple[Part, Sequence[Stage]]]) -> Shares:
    """How natural the notes of parts are, read in the two ways, under the crooks of their stages."""
    notes = written = sounding = 0
    for part, stages in parts:
        for semitone, crook in _notes(part, stages):
            notes += 1
            written += partial_as_written(semitone) is not None
            sounding += natural_partial(semitone, crook) is not None
    return Shares(notes, written / max(notes, 1), sounding / max(notes, 1))


def _notes(part: Part, stages: Sequence[Stage]) -> Iterator[tuple[int, Crook]]:
    for line in part.lines:
        index = 0
        for note in line.notes:
            while index + 1 < len(stages) and stages[index + 1].position <= note.onset:
                index += 1
            yield note.pitch.semitone, stages[index].crook


@lru_cache(maxsize=512)
def key_named(name: str) -> Crook | None:
    """The crook a trumpet would have in the key that a part's name gives its instrument ("Clarinet in A")."""
    own = read_heading(name)
    if own is not None and own.family:
        return own.crook
    words = name.split()
    # A key stands beside any instrument as beside a trumpet.
    for at in range(len(words)):
        named = read_heading(" ".join([*words[:at], "trumpet", *words[at + 1 :]]))
        if named is not None and named.crook is not None:
            return named.crook
    return None


def crook_of_neighbour(name: str) -> Crook | None:
    """As ``key_named``, for instruments that do transpose: drums in D and A do not."""
    own = read_heading(name)
    if _has_transposing_word(name) or (own is not None and own.family):
        return key_named(name)
    return None


def is_transposing(name: str) -> bool:
    """Whether a part is one that may transpose: "Clarinet in A", "B♭ Cornet", "Horn"."""
    return key_named(name) is not None or _has_transposing_word(name)


@lru_cache(maxsize=512)
def _has_transposing_word(name: str) -> bool:
    plain = normalise(name)
    return any(re.search(rf"(?<!\w){re.escape(word)}", plain) for word in _words())


@lru_cache(maxsize=1)
def _words() -> tuple[str, ...]:
    with Path(__file__).with_name("section.toml").open("rb") as file:
        return tuple(tomllib.load(file)["transposing"])
