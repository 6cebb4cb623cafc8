"""The form of a job: the options as the page asks for them, and what was answered."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from werkzeug.datastructures import FileStorage, MultiDict

from annotator.errors import BadOption
from annotator.fingering.profile import available_profiles, name_said
from annotator.instruments import available, load
from annotator.reading.crooks import CROOKS
from annotator.registry.option_rows import OPTION, OPTIONS, TEXT, Field, Kind, Option
from workers.jobs import Job

Choices = Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Question:
    """An option and what it can be, as (value, words); ``answer`` is what stands in the form."""

    option: Option
    choices: Choices
    answer: Any


def instruments() -> list[tuple[str, str]]:
    """The trumpets, as (id, name)."""
    return [(name, load(name).name) for name in available()]


TABLES: Mapping[str, Callable[[], Choices]] = {
    "instruments": instruments,
    "profiles": lambda: [(name, name) for name in available_profiles()],
    "crooks": lambda: [("auto", "auto"), ("infer", "infer"), *((crook.name, crook.name) for crook in CROOKS)],
}


def questions(answers: Mapping[str, Any] | None = None) -> list[Question]:
    """Every option, in the order of the rows; ``answers``: those given before."""
    given = answers or {}
    return [Question(option, _choices(option), given.get(option.name, option.default)) for option in OPTIONS]


def _choices(option: Option) -> Choices:
    return TABLES[option.table]() if option.table else list(option.values.items())


Files = Mapping[str, FileStorage]


def answers(form: MultiDict[str, str], files: Files) -> dict[str, Any]:
    """The options of a form that was sent; what it does not ask for is left out. A file goes before what was
    chosen beside it. Raises BadOption where it is no text."""
    found: dict[str, Any] = {}
    for option in OPTIONS:
        if f"{option.name}.asked" not in form and option.asked in (Field.TICKS, Field.SWITCH):
            continue  # a box that is not ticked is not sent
        if option.kind is Kind.SWITCH:
            found[option.name] = option.name in form
        elif option.kind is Kind.LIST:
            found[option.name] = _words(form.getlist(option.name))
        elif option.from_text and (text := _text(files.get(f"{option.name}.file"))):
            found[option.name] = text
        elif form.get(option.name, "").strip():
            found[option.name] = form[option.name].strip()
    return found


def _text(file: FileStorage | None) -> str:
    """The text of a file that was chosen; "" where none was."""
    if file is None or not file.filename:
        return ""
    try:
        text: str = file.read().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadOption(f"{file.filename} is not a text file; choose a profile (.toml)") from None
    return f"{text.rstrip()}\n"  # a line's end, and it is no name, however little is in it


def _words(texts: Iterable[str]) -> list[str]:
    return [word.strip() for text in texts for word in text.split(",") if word.strip()]


OF_PLAYER = ("instrument", "profile", "part")
"""The options a player has a field of his own for; his marks only if he wants others than the rest."""
PLAYERS = 4
"""So many rows the form has without scripts; with them, as many as are wanted."""


def players(form: MultiDict[str, str], files: Files) -> list[dict[str, Any]]:
    """The players of a form that was sent: the rows that have a name. Raises as ``answers`` does."""
    rows = sorted({field.split(".")[1] for field in form if field.startswith("player.")})
    found = []
    for row in rows:
        name = form.get(f"player.{row}.name", "").strip()
        if not name:
            continue
        player: dict[str, Any] = {"name": name}
        for option in OF_PLAYER:
            said = _text(files.get(f"player.{row}.{option}.file"))
            said = said or form.get(f"player.{row}.{option}", "").strip()
            if said:
                player[option] = _words([said]) if OPTION[option].kind is Kind.LIST else said
        if f"player.{row}.own_marks" in form:
            player["mark"] = _words(form.getlist(f"player.{row}.mark"))
        found.append(player)
    return found


def hands(job: Job) -> list[str]:
    """The names of the players' own profiles in a job: those that came as a file."""
    said = [str(each.get("profile", "")) for each in (job.options, *(part.options for part in job.parts))]
    return list(dict.fromkeys(name_said(each) for each in said if TEXT.search(each)))
