"""Which crook is in force where: every source compared, one believed, the rest reported.

The rules, in the order they are applied:

1. A ``<transpose>`` is in force from its position on. It says how the notes were meant to sound, so it is
   believed over a heading that disagrees.
2. A change word believes nothing but itself where the ``<transpose>`` in force is older than it: the file
   was not kept up with the page, and the player reads the page.
3. Without any ``<transpose>`` the heading and the change words are believed, unless the notes show
   that the file holds the sounding pitches already (see ``is_at_concert_pitch``).
4. With neither, the part sounds as written.
5. ``<instrument-sound>`` chooses a sound for playback. It never decides; it is compared.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace

from annotator.findings import Finding
from annotator.pitch import Interval
from annotator.reading.concert_pitch import written_or_sounding
from annotator.reading.crooks import BY_ID, C, Crook, crook_for, same_but_octave
from annotator.reading.evidence import NoteTimes, Source, WordChange, changes, headings, number_of
from annotator.reading.interval_words import in_words
from annotator.reading.model import Stage
from annotator.reading.said import Named
from annotator.reading.vocabulary import table
from annotator.score.model import Part, Transposition


@dataclass(frozen=True, slots=True)
class _Event:
    position: float
    measure: int
    word: WordChange | None
    transposition: Transposition | None


def timeline(part: Part) -> tuple[tuple[Stage, ...], tuple[Finding, ...]]:
    """The stages of a part, the first from position 0, and what disagreed."""
    times = NoteTimes(part)
    sources = headings(part)
    builder = _Builder(part, times, sources)
    builder.begin()
    for event in _events(part, times):
        builder.meet(event)
    builder.compare_headings()
    if part.transpositions or not any(_moves(stage) for stage in builder.stages):
        return tuple(builder.stages), tuple(builder.findings)
    stages, finding = written_or_sounding(part, builder.stages)
    return stages, (*builder.findings, finding)


def _moves(stage: Stage) -> bool:
    return stage.named and stage.crook.sounding != C.sounding


def sounds_as_written(part: Part) -> bool:
    """True when nothing in the part names a crook: it sounds as it stands."""
    return not any(stage.named for stage in timeline(part)[0])


def _events(part: Part, times: NoteTimes) -> list[_Event]:
    """Change words and transpositions in order; those with no note between them are one event."""
    later = [item for item in part.transpositions if item.position > 0]
    events: list[_Event] = []
    for word in changes(part, times):
        partner = next(
            (
                item
                for item in later
                if times.silent_between(item.position, word.position)
                or times.silent_between(item.position, word.words.position)
            ),
            None,
        )
        if partner is None:
            events.append(_Event(word.position, _measure_at(part, word), word, None))
        else:
            later.remove(partner)
            events.append(_Event(partner.position, partner.measure, word, partner))
    events += [_Event(item.position, item.measure, None, item) for item in later]
    return sorted(events, key=lambda event: event.position)


def _measure_at(part: Part, word: WordChange) -> int:
    first = word.words.measure
    after = bisect_right(part.measures, word.position, lo=first, key=lambda measure: measure.start)
    return max(first, after - 1)


class _Builder:
    """Walks the events of one part; ``stages`` and ``findings`` are what comes out."""

    def __init__(self, part: Part, times: NoteTimes, sources: tuple[Source, ...]) -> None:
        self.part = part
        self.times = times
        self.sources = sources
        self.stages: list[Stage] = []
        self.findings: list[Finding] = []
        self.transpose: Interval | None = None  # in force by the file

    def find(self, code: str, message: str, measure: int | None = None) -> None:
        number = None if measure is None else number_of(self.part, measure)
        self.findings.append(Finding(code, message, self.part.id, number))

    def begin(self) -> None:
        """The crook the part begins with."""
        first = [item for item in self.part.transpositions if item.position <= 0]
        said = self._heading()
        family = next((source.named.family for source in self.sources if source.named.family), "")
        if first:
            self.transpose = first[-1].interval
            crook, evidence = self._by_transpose(first[-1], said)
            self.stages.append(Stage(0.0, 0, crook, evidence, family))
        elif said is not None and said.named.crook is not None:
            self.stages.append(Stage(0.0, 0, said.named.crook, said.label, family))
        else:
            evidence = "no transpose element and no crook named: it sounds as written"
            self.stages.append(Stage(0.0, 0, C, evidence, family, named=False))

    def _heading(self) -> Source | None:
        """The heading believed; others that disagree, and crooks nobody builds, are reported."""
        believed: Source | None = None
        for source in self.sources:
            if source.named.crook is None:
                self.find(
                    "unknown-crook",
                    f"{source.label} names {source.named.note}, and no trumpet crook has that name; "
                    "if it is one, say how it sounds with the crook option",
                    0,
                )
            elif believed is None:
                believed = source
                if source.named.also:
                    others = ", ".join(crook.name for crook in source.named.also)
                    self.find(
                        "several-crooks",
                        f"{source.label} names more than one crook; {source.named.crook.name} was believed, "
                        f"being the first ({others} after it)",
                        0,
                    )
        return believed

    def compare_headings(self) -> None:
        """Headings that disagree, unless the other crook is one the part changes to later."""
        named = [source for source in self.sources if source.named.crook is not None]
        later = [stage.crook for stage in self.stages[1:]]
        for source in named[1:]:
            if not _compatible(source.named, named[0].named) and not any(map(source.named.allows, later)):
                self.find(
                    "headings-disagree",
                    f"{named[0].label} and {source.label} name different crooks; the first was believed, "
                    "being closer to the music",
                    0,
                )

    def _by_transpose(self, item: Transposition, said: Source | None) -> tuple[Crook, str]:
        crook = crook_for(item.interval)
        evidence = f"transpose element in measure {number_of(self.part, item.measure)}"
        if said is None or not said.named.note:
            return crook, evidence
        if said.named.allows(crook) or _is_octave_of(said.named, item.interval):
            return crook, f"{evidence}; {said.label}"
        named = said.named.crook.name if said.named.crook else said.named.note
        self.find(
            "crook-disagreement",
            f"{said.label} says {named}, the transpose element says {crook.name} "
            f"({in_words(item.interval)}); the transpose element was believed, since it says how the notes "
            f"sound. If the words are right, set the crook to {named} for these measures",
            item.measure,
        )
        return crook, evidence

    def meet(self, event: _Event) -> None:
        """One change: by words, by a transpose element, or by both."""
        word, item = event.word, event.transposition
        now = self.stages[-1]
        source = Source(word.label, word.change.named) if word is not None else None
        family = (source.named.family if source else "") or now.family
        if item is not None:
            before, self.transpose = self.transpose, item.interval
            crook, evidence = self._by_transpose(item, source)
            if source is not None and not source.named.note:
                evidence = f"{evidence}; {source.label}"
            changed = crook.sounding != now.crook.sounding
            if changed and source is None:
                self.find(
                    "unannounced-change",
                    f"the transpose element changes the crook from {now.crook.name} to {crook.name}, "
                    "and no words tell the player; it was believed",
                    item.measure,
                )
            if changed or before is None or family != now.family:
                self._change(Stage(event.position, event.measure, crook, evidence, family))
        elif source is not None and word is not None and not word.change.bare:
            self._by_words(event, word, source, family)
        if word is not None and word.change.one_player and len(self.part.lines) > 1:
            self.find(
                "one-player-changes",
                f"{word.label} speaks to one player, and the staff has {len(self.part.lines)} lines; "
                "the change was read for all of them",
                word.words.measure,
            )

    def _by_words(self, event: _Event, word: WordChange, source: Source, family: str) -> None:
        now = self.stages[-1]
        named = source.named
        crook = named.crook
        if named.note and crook is None:
            self.find(
                "unknown-crook",
                f"{source.label} names {named.note}, and no trumpet crook has that name; "
                f"{now.crook.name} was kept",
                word.words.measure,
            )
            return
        evidence = source.label
        if crook is None:
            crook, why = self._crook_of_family(family)
            evidence = f"{source.label}, {why}"
            self.find(
                "change-without-crook",
                f"{source.label} names an instrument and no crook; {crook.name} was read, {why}",
                word.words.measure,
            )
        elif self.transpose is not None and (
            named.allows(by_file := crook_for(self.transpose)) or _is_octave_of(named, self.transpose)
        ):
            crook = by_file
        elif self.transpose is not None:
            self.find(
                "change-without-transpose",
                f"{source.label} changes to {crook.name}, and the transpose element still says "
                f"{crook_for(self.transpose).name}; the words were believed, since the transpose element is "
                "older than they are",
                word.words.measure,
            )
        if crook.sounding != now.crook.sounding or family != now.family:
            self._change(Stage(event.position, event.measure, crook, evidence, family))

    def _crook_of_family(self, family: str) -> tuple[Crook, str]:
        if self.transpose is not None:
            return crook_for(self.transpose), "by the transpose element in force"
        usual = table()["usual"].get(family)
        if usual is not None:
            return BY_ID[usual], f"the usual key of a {family}"
        if family == "trumpet":
            return self.stages[0].crook, "the crook the part began with"
        return self.stages[-1].crook, "the crook in force"

    def _change(self, stage: Stage) -> None:
        now = self.stages[-1]
        if stage.position <= now.position:
            self.stages[-1] = replace(stage, position=now.position, measure=now.measure)
            return
        self.stages.append(stage)
        ended, following = self.times.before(stage.position), self.times.next_onset(stage.position)
        changed = stage.crook.sounding != now.crook.sounding
        if changed and ended > float("-inf") and following < float("inf") and following <= ended:
            self.find(
                "no-rest-to-change",
                f"the crook changes from {now.crook.name} to {stage.crook.name} with no rest to change it in",
                stage.measure,
            )


def _compatible(one: Named, other: Named) -> bool:
    return (one.crook is not None and other.allows(one.crook)) or (
        other.crook is not None and one.allows(other.crook)
    )


def _is_octave_of(named: Named, interval: Interval) -> bool:
    return any(
        crook is not None and same_but_octave(crook.sounding, interval)
        for crook in (named.crook, *named.may_be)
    )
