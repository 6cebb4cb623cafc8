"""Which crook is in force where: every source compared, one believed, the rest noticed.

The rules, in the order they are applied:

1. A ``<transpose>`` is in force from its position on. It says how the notes were meant to sound, so it is
   believed over a heading that disagrees.
2. A change word believes nothing but itself where the ``<transpose>`` in force is older than it: the file
   was not kept up with the page, and the player reads the page.
3. Without any ``<transpose>`` the heading and the change words are believed, unless the trumpets of the
   score together show that the file holds the sounding pitches already (see ``section``).
4. With neither, the part sounds as written.
5. ``<instrument-sound>`` chooses a sound for playback. It never decides; it is compared.
6. A piccolo or bass trumpet stays one when a change names only a note ("in A").
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from annotator.pitch import Interval
from annotator.reading.agreement import agrees, compatible, of_register
from annotator.reading.crooks import BY_ID, C, Crook, crook_for, same_but_octave
from annotator.reading.events import Event, events
from annotator.reading.evidence import (
    PlacedChange,
    Source,
    headings,
    others_changes,
)
from annotator.reading.model import Evidence, Noticed, Stage
from annotator.reading.names import family_in
from annotator.reading.note_times import NoteTimes
from annotator.reading.spoken import heading_texts, headings_not_read, words_not_read
from annotator.reading.vocabulary import table
from annotator.score.model import Part, Transposition
from annotator.timing import Clock

_NO_CLOCK = Clock()
_NOBODY = (0,)  # no player has this number


@dataclass(frozen=True, slots=True)
class Timeline:
    """The stages of a ``part``, the first from position 0, and what was noticed.

    ``is_open``: the part names a crook that moves it and has no ``<transpose>``, so that it may hold
    written or sounding pitches. ``by_player``: something in it may be read by one player and not another.
    """

    part: Part
    stages: tuple[Stage, ...]
    noticed: tuple[Noticed, ...]
    is_open: bool
    by_player: bool


def timeline(part: Part, clock: Clock = _NO_CLOCK, players: Sequence[int] = ()) -> Timeline:
    """The timeline of a part, for the players with these numbers (none: for whoever reads it)."""
    times = NoteTimes(part, clock)
    builder = _Builder(part, times, headings(part, players), anyone=not players)
    builder.begin()
    for event in events(part, times, players):
        builder.meet(event)
    builder.compare_headings()
    for kind, text, which in headings_not_read(part):
        builder.notice("heading-not-read", 0, source=Evidence(kind, " ".join(text.split())), words=which)
    for words, which in words_not_read(part):
        builder.notice("change-not-read", words.measure, text=words.text, words=which)
    stages = tuple(builder.stages)
    moves = any(stage.named and stage.crook.sounding != C.sounding for stage in stages)
    by_player = (
        len(stages) > 1
        or any(item.staff for item in part.transpositions)
        or any(source.named.further for source in builder.sources)
        or next(others_changes(part, _NOBODY), None) is not None
    )
    return Timeline(part, stages, tuple(builder.noticed), moves and not part.transpositions, by_player)


class _Builder:
    """Walks the events of one part; ``stages`` and ``noticed`` are what comes out."""

    def __init__(self, part: Part, times: NoteTimes, sources: tuple[Source, ...], *, anyone: bool) -> None:
        self.part = part
        self.anyone = anyone  # whoever reads it, so that crooks of several players are several crooks
        self.times = times
        self.sources = sources
        self.stages: list[Stage] = []
        self.noticed: list[Noticed] = []
        self.transpose: Interval | None = None  # in force by the file
        self._event = self._last = 0  # where what was noticed of this event, and of the last stage's, begins

    def notice(self, code: str, measure: int | None = None, how: str = "", **about: object) -> None:
        self.noticed.append(Noticed(code, measure, about, how))

    def begin(self) -> None:
        """The crook the part begins with."""
        first = [item for item in self.part.transpositions if item.position <= 0]
        said = self._heading()
        family = next((source.named.family for source in self.sources if source.named.family), "")
        if first:
            self.transpose = first[-1].interval
            crook, grounds = self._by_transpose(first[-1], said)
            self.stages.append(Stage(0.0, 0, crook, grounds, family))
        elif said is not None and said.named.crook is not None:
            self.stages.append(Stage(0.0, 0, said.named.crook, (said.evidence,), family))
        elif (usual := self._usual()) is not None:
            self.stages.append(usual)
        else:
            self.stages.append(Stage(0.0, 0, C, (Evidence("nothing"),), family, named=False))

    def _usual(self) -> Stage | None:
        """The first stage of a part that names an instrument built in one key ("Cornet") and no key."""
        for kind, text, title in heading_texts(self.part):
            family = family_in(text) if text and not title else ""
            if family and family in table()["usual"]:
                crook = BY_ID[table()["usual"][family]]
                source, why = Evidence(kind, " ".join(text.split())), Evidence("usual", family)
                self.notice("change-without-crook", 0, source=source, crook=crook, why=why)
                return Stage(0.0, 0, crook, (source, why), family)
        return None

    def _heading(self) -> Source | None:
        """The heading believed; others that disagree, and crooks nobody builds, are noticed."""
        believed: Source | None = None
        for source in self.sources:
            named = source.named
            if named.crook is None:
                self.notice("unknown-crook", 0, "heading", source=source.evidence, note=named.note)
            elif believed is None:
                believed = source
                others = [*named.also, *(each.crook for each in named.further if self.anyone and each.crook)]
                others = [crook for crook in others if crook != named.crook]
                if others:
                    self.notice("several-crooks", 0, source=source.evidence, crook=named.crook, others=others)
        return believed

    def compare_headings(self) -> None:
        """Headings that disagree, unless the other crook is one the part changes to later."""
        named = [source for source in self.sources if source.named.crook is not None]
        later = [stage.crook for stage in self.stages[1:]]
        for source in named[1:]:
            if not compatible(source.named, named[0].named) and not any(map(source.named.allows, later)):
                self.notice("headings-disagree", 0, first=named[0].evidence, other=source.evidence)

    def _by_transpose(self, item: Transposition, said: Source | None) -> tuple[Crook, tuple[Evidence, ...]]:
        crook = crook_for(item.interval)
        evidence = Evidence("transpose", measure=self.part.measure_number(item.measure))
        if said is None or not said.named.note:
            return crook, (evidence,)
        if agrees(said.named, item.interval):
            return crook, (evidence, said.evidence)
        self.notice(
            "crook-disagreement",
            item.measure,
            source=said.evidence,
            named=said.named.crook or said.named.note,
            crook=crook,
            interval=item.interval,
        )
        return crook, (evidence,)

    def meet(self, event: Event) -> None:
        """One change: by words, by a transpose element, or by both."""
        word, item = event.word, event.transposition
        now = self.stages[-1]
        self._event = len(self.noticed)
        source = Source(word.evidence, word.named) if word is not None else None
        family = (source.named.family if source else "") or now.family
        if item is not None:
            before, self.transpose = self.transpose, item.interval
            crook, grounds = self._by_transpose(item, source)
            if source is not None and not source.named.note:
                grounds = (*grounds, source.evidence)
            changed = crook.sounding != now.crook.sounding
            if changed and source is None:
                self.notice("unannounced-change", item.measure, before=now.crook, crook=crook)
            if changed or before is None or family != now.family:
                self._change(Stage(event.position, event.measure, crook, grounds, family), word)
        elif source is not None and word is not None and not word.change.bare:
            self._by_words(event, word, source, family)

    def _by_words(self, event: Event, word: PlacedChange, source: Source, family: str) -> None:
        now = self.stages[-1]
        named = source.named
        crook = named.crook
        measure = word.words.measure
        if named.note and crook is None:
            self.notice(
                "unknown-crook", measure, "change", source=source.evidence, note=named.note, kept=now.crook
            )
            return
        grounds: tuple[Evidence, ...] = (source.evidence,)
        if crook is None:
            crook, why = self._crook_of_family(family)
            grounds = (source.evidence, why)
            self.notice("change-without-crook", measure, source=source.evidence, crook=crook, why=why)
        else:
            crook = of_register(crook, named, now)
            if (
                self.transpose is not None
                and agrees(named, self.transpose)
                and (same_but_octave(crook.sounding, self.transpose))
            ):
                crook = crook_for(self.transpose)
            elif self.transpose is not None:
                self.notice(
                    "change-without-transpose",
                    measure,
                    source=source.evidence,
                    crook=crook,
                    file=crook_for(self.transpose),
                )
        if crook.sounding != now.crook.sounding or family != now.family:
            self._change(Stage(event.position, event.measure, crook, grounds, family), word)

    def _comes_after_all(self, word: PlacedChange, stage: Stage) -> bool:
        """Whether no note is left that would be read in the new crook."""
        return word.words.position < stage.position >= self.times.last_end

    def _crook_of_family(self, family: str) -> tuple[Crook, Evidence]:
        if self.transpose is not None:
            return crook_for(self.transpose), Evidence("by-transpose")
        usual = table()["usual"].get(family)
        if usual is not None:
            return BY_ID[usual], Evidence("usual", family)
        if family == "trumpet":
            return self.stages[0].crook, Evidence("first")
        return self.stages[-1].crook, Evidence("in-force")

    def _change(self, stage: Stage, word: PlacedChange | None) -> None:
        now = self.stages[-1]
        if stage.position <= now.position:
            if len(self.stages) > 1:
                # No note was read in the crook before: nothing is said of it.
                del self.noticed[self._last : self._event]
                self._event = self._last
            self.stages[-1] = replace(stage, position=now.position, measure=now.measure)
            return
        if word is not None and self._comes_after_all(word, stage):
            # It is for what comes after this part: no note here is read in it.
            del self.noticed[self._event :]
            if stage.crook.sounding != now.crook.sounding:
                about = {"source": word.evidence, "kept": now.crook}
                self.notice("no-rest-to-change", word.words.measure, "after", **about)
            return
        self._last = self._event
        self.stages.append(stage)
        if stage.crook.sounding == now.crook.sounding:
            return
        rest = self.times.around(stage.position)
        # What only names a crook (the heading of a movement) leaves the time to the concert.
        wanted = word.need if word is not None and word.change.announces else 0.0
        if rest.seconds == 0 or rest.seconds < wanted:
            how = "no rest" if rest.seconds == 0 else ""
            self.notice(
                "no-rest-to-change",
                stage.measure,
                how,
                before=now.crook,
                crook=stage.crook,
                seconds=rest.seconds,
                wanted=wanted,
            )
        if word is not None and word.passed_over and stage.position == word.position:
            self._passed_over(word, stage)

    def _passed_over(self, word: PlacedChange, stage: Stage) -> None:
        """A rest that was too short for the change, and might still have been meant."""
        longest = max(word.passed_over, key=lambda rest: rest.seconds)
        after = bisect_right(self.part.measures, longest.start, key=lambda each: each.start)
        measure = max(after - 1, 0)
        self.notice(
            "rest-too-short",
            word.words.measure,
            source=word.evidence,
            crook=stage.crook,
            seconds=longest.seconds,
            there=self.part.measure_number(measure),
            made=self.part.measure_number(stage.measure),
            wanted=word.need,
        )
