"""Whose hands the planner plans for: the cost table, and profiles that change it.

``costs.toml`` is the table, with the unit and the reason of every row; it is the profile
``orchestral``. Other profiles are TOML files that name a ``base`` and override keys.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, NoReturn

from annotator.errors import BadOption
from annotator.registry.option_rows import TEXT

_FOLDER = Path(__file__).parent
_BASE = "orchestral"
_TABLES = ("costs", "demands")  # TOML files beside the profiles that are none
_HIGHEST_PARTIAL = 24
_LONGEST_TEXT = 50_000  # characters; the whole cost table with its reasons is a quarter of that
_LONGEST_NAME = 100


@dataclass(frozen=True, slots=True)
class Cost:
    """A row of the cost table: ``key``, ``value`` in ``unit``, and ``why`` it is there."""

    key: str
    value: float
    unit: str
    why: str


@dataclass(frozen=True, slots=True)
class Profile:
    """A player's weights. ``costs``: the whole table; ``urgency``: (seconds, factor) points, longest first.

    ``chart_only``: no alternates. ``partials``: barred partials to use all the same.
    """

    name: str
    costs: tuple[Cost, ...]
    urgency: tuple[tuple[float, float], ...]
    chart_only: bool = False
    partials: tuple[int, ...] = ()
    _values: Mapping[str, float] = field(init=False, repr=False, compare=False, hash=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_values", {cost.key: cost.value for cost in self.costs})

    def __getitem__(self, key: str) -> float:
        return self._values[key]


def available_profiles() -> tuple[str, ...]:
    """The names of the profiles that come with the program."""
    return (_BASE, *sorted(path.stem for path in _FOLDER.glob("*.toml") if path.stem not in _TABLES))


def name_said(said: str) -> str:
    """The name of a profile, however it was said: as its name, or as a TOML file's text.

    "own" where the text cannot be read (any more: the cost table may have changed since).
    """
    if not TEXT.search(said):
        return said
    try:
        return profile_from_toml(said).name
    except BadOption:
        return "own"


@lru_cache(maxsize=16)
def load_profile(name: str) -> Profile:
    """The profile called ``name``. Raises BadOption (field ``profile``) with the names there are."""
    if name == _BASE:
        return _base()
    if name not in available_profiles():
        known = ", ".join(available_profiles())
        raise BadOption(f"there is no profile {name!r}; choose from {known}", field="profile")
    return profile_from_toml(_FOLDER / f"{name}.toml")


def profile_from_toml(source: Path | str) -> Profile:
    """A profile from a TOML file (a Path) or its text (a str).

    Keys: ``name``, ``base``, ``chart-only``, ``partials``, ``urgency`` (a list of [seconds, factor])
    and any key of the cost table, as ``[exchange]`` / ``first-third = 1.2``. Raises BadOption (field
    ``profile``), which names the wrong key.
    """
    if isinstance(source, Path):
        try:
            text, name = source.read_text(encoding="utf-8"), source.stem
        except (OSError, UnicodeDecodeError) as error:
            _bad("profile", source.name, f"cannot be read as a text file ({error})")
    else:
        text, name = source, "own"
    if len(text) > _LONGEST_TEXT:
        _bad(name, "", f"has {len(text)} characters; a profile has {_LONGEST_TEXT} at most")
    try:
        table = tomllib.loads(text)
    except RecursionError:
        _bad(name, "", "is not a profile: its lists or tables lie too deep in one another")
    except tomllib.TOMLDecodeError as error:
        _bad(name, "", f"is not TOML: {error}")
    return _from_table(name, table)


def _from_table(name: str, table: dict[str, Any]) -> Profile:
    own_name = table.pop("name", name)
    if not isinstance(own_name, str) or not own_name.strip() or not own_name.isprintable():
        _bad(name, "name", "must be a word")
    name = own_name = own_name[:_LONGEST_NAME]
    base = table.pop("base", _BASE)
    if not isinstance(base, str):
        _bad(name, "base", "must be the name of a profile")
    profile = replace(load_profile(base), name=own_name)
    chart_only = table.pop("chart-only", profile.chart_only)
    if not isinstance(chart_only, bool):
        _bad(name, "chart-only", "must be true or false")
    partials = table.pop("partials", list(profile.partials))
    if not isinstance(partials, list) or not all(
        isinstance(n, int) and not isinstance(n, bool) and 1 < n <= _HIGHEST_PARTIAL for n in partials
    ):
        _bad(name, "partials", f"must be a list of partials, 2 to {_HIGHEST_PARTIAL}")
    urgency = _urgency(name, table.pop("urgency")) if "urgency" in table else profile.urgency
    values = dict(_flat(name, table))
    known = [cost.key for cost in profile.costs]
    for key, value in values.items():
        if key not in known:
            from difflib import get_close_matches  # noqa: PLC0415 - only for a slip in somebody's file

            close = get_close_matches(key, known, 3, 0.4) or known
            _bad(name, key, f"is not a key of the cost table; did you mean {', '.join(close)}?")
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value <= 1000:
            _bad(name, key, f"{value!r} is not a number from 0 to 1000")
    costs = tuple(replace(cost, value=float(values.get(cost.key, cost.value))) for cost in profile.costs)
    made = replace(
        profile, costs=costs, urgency=urgency, chart_only=chart_only, partials=tuple(sorted(set(partials)))
    )
    if not made["grade.mild"] <= made["grade.awkward"] <= made["grade.severe"]:
        _bad(name, "grade", "mild, awkward and severe must not fall")
    return made


@lru_cache(maxsize=1)
def _base() -> Profile:
    with (_FOLDER / "costs.toml").open("rb") as file:
        table = tomllib.load(file)
    costs = tuple(Cost(row["key"], float(row["value"]), row["unit"], row["why"]) for row in table["cost"])
    points = [[row["seconds"], row["factor"]] for row in table["urgency"]]
    return Profile(_BASE, costs, _urgency(_BASE, points))


def _urgency(name: str, points: Any) -> tuple[tuple[float, float], ...]:
    if not isinstance(points, list) or len(points) < 2:
        _bad(name, "urgency", "must be a list of at least two [seconds, factor] pairs")
    found: list[tuple[float, float]] = []
    for point in points:
        if (
            not isinstance(point, list)
            or len(point) != 2
            or not all(isinstance(number, (int, float)) and 0 <= number <= 1000 for number in point)
        ):
            _bad(name, "urgency", f"{point!r} is not a pair of seconds and factor")
        found.append((float(point[0]), float(point[1])))
    found.sort(reverse=True)
    factors = [factor for _, factor in found]
    if factors != sorted(factors):
        _bad(name, "urgency", "less time must not make a crossing easier: factors must rise as seconds fall")
    if factors[0] != 0 or found[0][0] > 10:
        _bad(name, "urgency", "the longest time (10 s at most) must have the factor 0")
    return tuple(found)


def _flat(name: str, table: Mapping[str, Any], prefix: str = "") -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []
    for key, value in table.items():
        if isinstance(value, dict):
            found += _flat(name, value, f"{prefix}{key}.")
        else:
            found.append((f"{prefix}{key}", value))
    return found


def _bad(name: str, key: str, what: str) -> NoReturn:
    where = f"profile {name}: {key}: " if key else f"profile {name} "
    raise BadOption(where + what, field="profile")
