"""Trumpets from TOML: those that come with the program, and a user's own."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any, NoReturn

from annotator.errors import BadInstrument, BadOption
from annotator.instruments import tube
from annotator.instruments.model import FUNDAMENTAL, NUMBER, Instrument, combination_name
from annotator.pitch import Interval, Pitch

_FOLDER = Path(__file__).parent
# In the order a player's case is thought of; a new trumpet's file joins at the end.
_ORDER = (
    "c-trumpet",
    "bb-trumpet",
    "d-trumpet",
    "eb-trumpet",
    "f-trumpet",
    "g-trumpet",
    "a-piccolo",
    "bb-piccolo",
    "bb-cornet",
    "bb-flugelhorn",
)
_KEYS: Mapping[str, frozenset[str]] = {
    "": frozenset(
        {"id", "name", "heading", "short", "key", "family", "words", "sound"}
        | {"transposition", "valves", "partials", "range", "slides", "held"}
    ),
    "transposition": frozenset({"diatonic", "chromatic"}),
    "valves": frozenset({"semitones", "lengths", "preferred"}),
    "partials": frozenset({"usable", "barred"}),
    "range": frozenset({"low", "high", "amateur", "professional"}),
    "slides": frozenset({"first", "third"}),
}
_HIGHEST_PARTIAL = 24
_MOST_VALVES = 4
_MOST_SEMITONES = 12


@lru_cache(maxsize=1)
def available() -> tuple[str, ...]:
    """The ids of the trumpets that come with the program."""
    found = {path.stem for path in _FOLDER.glob("*.toml")}
    return tuple(name for name in _ORDER if name in found) + tuple(sorted(found - set(_ORDER)))


@lru_cache(maxsize=64)
def load(name: str) -> Instrument:
    """The trumpet called ``name``. Raises BadOption (field ``instrument``) with the names there are."""
    if name not in available():
        raise BadOption(
            f"there is no instrument {name!r}; choose from {', '.join(available())}", field="instrument"
        )
    return from_toml(_FOLDER / f"{name}.toml")


def from_toml(source: Path | str) -> Instrument:
    """A trumpet from a TOML file (a Path) or from its text (a str).

    The keys are those of the files in this folder; ``partials.barred``, ``slides``, ``words``,
    ``family``, ``sound``, ``heading``, ``short``, ``held`` and ``valves.preferred`` may be left out.
    Raises BadInstrument, which names the key.
    """
    if isinstance(source, Path):
        try:
            text, name = source.read_text(encoding="utf-8"), source.stem
        except (OSError, UnicodeDecodeError) as error:
            raise BadInstrument(f"{source.name}: cannot be read as a text file ({error})") from error
    else:
        text, name = source, "instrument"
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInstrument(f"{name}: is not TOML: {error}") from error
    return _Reader(name, table).instrument()


class _Reader:
    """Takes values out of a table, and knows which key it is at when something is wrong."""

    def __init__(self, name: str, table: Mapping[str, Any]) -> None:
        self.name = name
        self.table = table
        for section, keys in _KEYS.items():
            found = self._section(section) if section else table
            for key in found:
                if key not in keys:
                    where = f"{section}.{key}" if section else key
                    self._bad(where, f"is not a key of an instrument; known here: {', '.join(sorted(keys))}")

    def instrument(self) -> Instrument:
        semitones, lengths = self._valves()
        low, high = self._pitch("range.low"), self._pitch("range.high")
        if low.semitone > high.semitone:
            self._bad("range.low", f"{low.name} lies above range.high, {high.name}")
        usable = self._partials("partials.usable")
        if not usable:
            self._bad("partials.usable", "must name at least one partial")
        made = Instrument(
            id=self._text("id", self.name),
            name=self._text("name"),
            key=self._text("key"),
            family=self._text("family", "trumpet"),
            words=self._words("words"),
            sound=self._text("sound", "brass.trumpet"),
            transposition=Interval(
                self._whole("transposition.diatonic"), self._whole("transposition.chromatic")
            ),
            semitones=semitones,
            lengths=lengths,
            partials=usable,
            barred=tuple(n for n in self._partials("partials.barred", ()) if n not in usable),
            low=low,
            high=high,
            first_slide=self._millimetres("slides.first"),
            third_slide=self._millimetres("slides.third"),
            heading=self._heading("heading"),
            short=self._heading("short"),
            preferred=self._preferred(len(semitones)),
            owned=self._owned(high),
        )
        return replace(made, held=self._held(made))

    def _valves(self) -> tuple[tuple[int, ...], tuple[float, ...]]:
        section = self._section("valves")
        given = [key for key in ("semitones", "lengths") if key in section]
        if len(given) != 1:
            self._bad("valves", "wants either semitones or lengths, one of the two")
        key = given[0]
        values = section[key]
        if not isinstance(values, list) or not 1 <= len(values) <= _MOST_VALVES:
            self._bad(f"valves.{key}", f"must be a list of one to {_MOST_VALVES} numbers")
        if key == "semitones":
            for value in values:
                if not _is_whole(value) or not 1 <= value <= _MOST_SEMITONES:
                    self._bad("valves.semitones", f"{value!r} is not a whole number of semitones, 1 to 12")
            return tuple(values), tuple(tube.valve_length(value) for value in values)
        for value in values:
            if not _is_number(value) or not 0.03 <= value <= 1.0:
                self._bad("valves.lengths", f"{value!r} is not a fraction of the open tube, 0.03 to 1")
        return tuple(round(tube.lowering_cents([value]) / 100) for value in values), tuple(map(float, values))

    def _preferred(self, valves: int) -> tuple[str, ...]:
        values = self._words("valves.preferred")
        known = {combination_name(mask) for mask in range(1 << valves)}
        for value in values:
            if value not in known:
                self._bad("valves.preferred", f"{value!r} is no combination of the valves, written as in 2-4")
        return values

    def _owned(self, high: Pitch) -> tuple[Pitch, Pitch] | None:
        section = self._section("range")
        if not {"amateur", "professional"} & set(section):
            return None
        professional = self._pitch("range.professional") if "professional" in section else high
        amateur = self._pitch("range.amateur") if "amateur" in section else professional
        if not amateur.semitone <= professional.semitone <= high.semitone:
            self._bad("range", "amateur, professional and high must not fall")
        return amateur, professional

    def _held(self, made: Instrument) -> tuple[tuple[int, str], ...]:
        """The alternates of ``held``; each must reach its pitch."""
        found = []
        lowest = FUNDAMENTAL.semitone
        for name in self._section("held"):
            semitone, valves = self._pitch(f"held.{name}", name).semitone, self._text(f"held.{name}")
            lowered = {item.semitones for item in made.combinations if item.name == valves}
            if not any(
                lowest + tube.partial_semitones(n) - by == semitone for n in made.partials for by in lowered
            ):
                self._bad(f"held.{name}", f"{valves!r} does not reach {name}")
            found.append((semitone, valves))
        return tuple(found)

    def _partials(self, where: str, default: tuple[int, ...] | None = None) -> tuple[int, ...]:
        values = self._value(where, default)
        if not isinstance(values, (list, tuple)):
            self._bad(where, "must be a list of partials")
        for value in values:
            if not _is_whole(value) or not 1 <= value <= _HIGHEST_PARTIAL:
                self._bad(where, f"{value!r} is not a partial, 1 to {_HIGHEST_PARTIAL}")
        return tuple(sorted(set(values)))

    def _pitch(self, where: str, value: str = "") -> Pitch:
        value = value or self._text(where)
        try:
            return Pitch.parse(value)
        except ValueError as error:
            self._bad(where, str(error))

    def _millimetres(self, where: str) -> float:
        value = self._value(where, 0)
        if not _is_number(value) or not 0 <= value <= 200:
            self._bad(where, f"{value!r} is not a travel in millimetres, 0 to 200")
        return float(value)

    def _whole(self, where: str) -> int:
        value = self._value(where, None)
        if not _is_whole(value) or abs(value) > 36:
            self._bad(where, f"{value!r} is not a whole number of steps")
        return int(value)

    def _text(self, where: str, default: str | None = None) -> str:
        value = self._value(where, default)
        if not isinstance(value, str) or not value.strip():
            self._bad(where, f"must be a word, not {value!r}")
        return value

    def _heading(self, where: str) -> str:
        if where not in self.table:
            return ""
        value = self._text(where)
        if NUMBER not in value:
            self._bad(where, f"must say with {NUMBER} where the player's number goes")
        return value

    def _words(self, where: str) -> tuple[str, ...]:
        value = self._value(where, ())
        if not isinstance(value, (list, tuple)) or not all(isinstance(word, str) for word in value):
            self._bad(where, "must be a list of words")
        return tuple(value)

    def _value(self, where: str, default: Any) -> Any:
        section, _, key = where.rpartition(".")
        value = (self._section(section) if section else self.table).get(key, default)
        if value is None:
            self._bad(where, "is missing")
        return value

    def _section(self, section: str) -> Mapping[str, Any]:
        found = self.table.get(section, {})
        if not isinstance(found, dict):
            self._bad(section, "must be a table")
        return found

    def _bad(self, where: str, what: str) -> NoReturn:
        raise BadInstrument(f"{self.name}: {where}: {what}")


def _is_whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
