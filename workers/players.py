"""Several players, one upload: each gets the files that have a part of theirs, marked as they want it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from annotator.errors import BadOption, CrooklineError
from annotator.reading import is_trumpet
from annotator.reading.player_names import players_named
from annotator.registry.option_rows import OPTION
from annotator.score.listed import ListedPart, listed_parts
from workers import result_cache as results
from workers.intake import BadUpload, Intake
from workers.jobs import Part
from workers.names import safe

FIELD = "players"
MOST = 50
_LONGEST = 100
_NUMBER = re.compile(r"(?:(\d{1,2})(?:[.ªº°]|st|nd|rd|th|re|er|e|a|o)?|(IV|I{1,3}))\.?", re.IGNORECASE)
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4}


@dataclass(frozen=True, slots=True)
class Player:
    """Who plays. ``options``: what is asked for this player besides what holds for the whole job.

    ``parts``: what is theirs, by id, name, abbreviation or number (``1st``); none: every file, as ever.
    """

    name: str
    options: Mapping[str, Any]
    parts: tuple[str, ...] = ()


def players_of(text: str, options: Mapping[str, Any]) -> tuple[Player, ...]:
    """The players of a job from JSON, a list of objects; ``options`` are the job's. Raises BadOption."""
    try:
        rows = json.loads(text or "[]")
    except (ValueError, RecursionError) as error:
        raise BadOption(f"the players are not JSON: {error}", field=FIELD) from None
    if not isinstance(rows, list):
        raise BadOption("the players must be a JSON list of objects with a name each", field=FIELD)
    if len(rows) > MOST:
        raise BadOption(f"there are {len(rows)} players; at most {MOST} are taken", field=FIELD)
    found: list[Player] = []
    folders: set[str] = set()
    for number, row in enumerate(rows, start=1):
        player = _player(row, number, options)
        folder = safe(player.name).casefold()
        if folder in folders:
            raise BadOption(f"two players are called {player.name}; tell them apart", field=FIELD)
        folders.add(folder)
        found.append(player)
    asking = [player for player in found if {**options, **player.options}.get("plan")]
    if asking:
        raise BadOption(
            "a plan is for one player: leave out plan, or send a job for each player", field="plan"
        )
    return tuple(found)


def _player(row: object, number: int, options: Mapping[str, Any]) -> Player:
    if not isinstance(row, dict) or not isinstance(row.get("name"), str) or not row["name"].strip():
        raise BadOption(f"player {number} must be an object with a name", field=FIELD)
    name = " ".join(row["name"].split())[:_LONGEST].replace("/", "-")
    own = {key: value for key, value in row.items() if key != "name"}
    unknown = sorted(set(own) - set(OPTION))
    if unknown:
        known = ", ".join(["name", *OPTION])
        raise BadOption(f"player {name}: there is no {unknown[0]!r}; a player has {known}", field=FIELD)
    try:
        checked = results.options_of({**options, **own})
    except BadOption as error:
        raise BadOption(f"player {name}: {error.message}", field=FIELD) from None
    parts = checked.part if "part" in own else ()
    own.pop("part", None)
    return Player(name, own, parts)


def for_players(intake: Intake, players: Sequence[Player]) -> None:
    """The parts of an upload given out: for every player the files with a part of theirs, in a folder each.

    Raises BadUpload where a player has none, or where all together are more than a job may have.
    """
    if not players:
        return
    given: list[tuple[Part, bytes]] = []
    taken: set[int] = set()
    listed = [_listed(part, data) for part, data in intake.parts] if any(p.parts for p in players) else []
    for player in players:
        mine = 0
        for index, (part, data) in enumerate(intake.parts):
            options = dict(player.options)
            if player.parts and listed[index] is not None:
                ids = theirs(listed[index] or (), player.parts)
                if not ids:
                    continue
                options["part"] = ids
            mine += 1
            taken.add(index)
            name = f"{player.name}/{part.name}"
            own = replace(part, n=len(given) + 1, name=name, player=player.name, options=options)
            given.append((own, data))
        if not mine:
            wanted = ", ".join(player.parts)
            raise BadUpload(f"no file has a part for {player.name} ({wanted}); name it by id, name or number")
    most = intake.settings.max_parts
    if len(given) > most:
        raise BadUpload(f"{len(given)} files for all players; at most {most} are taken", too_large=True)
    left = [part.name for index, (part, _) in enumerate(intake.parts) if index not in taken]
    intake.skipped += [(name, "no player has a part in it") for name in left]
    intake.parts = given


def theirs(listed: Sequence[ListedPart], wanted: Sequence[str]) -> list[str]:
    """The ids of the listed parts that ``wanted`` names: by id, name, abbreviation, or a trumpet's number."""
    found: list[str] = []
    for word in wanted:
        key = word.strip().casefold()
        same = [
            part.id
            for part in listed
            if key in (part.id.casefold(), part.name.casefold(), part.abbreviation.casefold())
        ]
        number = _number(key)
        if not same and number is not None:
            same = [
                part.id
                for part in listed
                if is_trumpet(part.name, part.sound) and number in players_named(part.name)
            ]
        found += [part for part in same if part not in found]
    return found


def _number(word: str) -> int | None:
    match = _NUMBER.fullmatch(word)
    if match is None:
        return None
    return int(match[1]) if match[1] else _ROMAN[match[2].casefold()]


def _listed(part: Part, data: bytes) -> tuple[ListedPart, ...] | None:
    """What a file lists; None where that cannot be seen, so that the work says what is wrong with it."""
    if part.refused is not None:
        return None
    try:
        return listed_parts(data) or None
    except CrooklineError:
        return None
