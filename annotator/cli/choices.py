"""Options that several commands share, and turning them into ``Options``."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import click

from annotator.cli.paths import expanded
from annotator.errors import CrooklineError
from annotator.options import Options
from annotator.registry.mark_rows import MARKS
from annotator.registry.option_rows import OPTION, OPTIONS, Group, Kind, Option

Command = TypeVar("Command", bound=Callable[..., Any])

FILES = click.argument(
    "files",
    metavar="FILE|FOLDER...",
    nargs=-1,
    required=True,
    type=click.Path(exists=True, path_type=Path),
    callback=expanded,
)
OUT = click.option(
    "-o",
    "--out",
    required=True,
    metavar="OUT",
    type=click.Path(path_type=Path),
    help="The file to write; or, without an ending, a folder.",
)


def option_flags(
    *groups: Group, no_marks: bool = False, served: bool = False
) -> Callable[[Command], Command]:
    """The options of ``groups``, as flags of a command; ``options_from`` takes what they give.

    ``no_marks``: none by default, and only those that can be added to a part written out. ``served``: a
    service does the work, so instruments are those that come with it.
    """

    def flagged(command: Command) -> Command:
        for option in reversed(OPTIONS):
            if option.group in groups:
                command = _flag(option, no_marks=no_marks, served=served)(command)
        return command

    return flagged


def option_flag(name: str) -> Callable[[Command], Command]:
    """One option alone, as a flag of a command."""
    return _flag(OPTION[name])


def _flag(option: Option, *, no_marks: bool = False, served: bool = False) -> Callable[[Command], Command]:
    flag = f"--{option.name.replace('_', '-')}"
    about = option.about
    if option.from_file and (option.from_text or not served):
        about = f"{about.removesuffix('.')}; or a TOML file of your own."
    if option.kind is Kind.SWITCH:
        return click.option(flag, is_flag=True, help=about)
    default = option.default
    if option.name == "mark" and no_marks:
        default = ()
        about = f"Marks to add: {', '.join(mark.name for mark in MARKS if mark.written_out)}."
    if option.kind is Kind.LIST:
        if default or option.values:
            return click.option(
                flag,
                default=",".join(default),
                show_default=bool(default),
                metavar=option.metavar,
                help=about,
            )
        return click.option(flag, multiple=True, metavar=option.metavar, help=f"{about} May be repeated.")
    return click.option(flag, default=default, show_default=True, metavar=option.metavar, help=about)


def options_from(**choices: Any) -> Options:
    """``Options`` from the command line; wrong ones become a usage error (exit status 2)."""
    try:
        own = {}
        if "instrument" in choices:
            own["instrument"] = instrument_from(choices.pop("instrument"))
        if "profile" in choices:
            own["profile"] = profile_from(choices.pop("profile"))
        return replace(Options.from_mapping(said(choices)), **own)
    except CrooklineError as error:
        raise click.UsageError(str(error)) from None


def said(choices: Mapping[str, Any]) -> dict[str, Any]:
    """What flags gave, as JSON has it: lists as lists, however they were given."""
    found = {}
    for name, value in choices.items():
        if OPTION[name].kind is Kind.LIST:
            texts = [value] if isinstance(value, str) else value
            found[name] = [word.strip() for text in texts for word in text.split(",") if word.strip()]
        else:
            found[name] = value
    return found


def instrument_from(name: str) -> Any:
    """A trumpet by its id, or from a TOML file. Raises CrooklineError."""
    from annotator.instruments import from_toml, load  # noqa: PLC0415 - keeps --help quick

    return from_toml(Path(name)) if name.endswith(".toml") else load(name)


def profile_from(name: str) -> Any:
    """A profile by its name, or from a TOML file. Raises CrooklineError."""
    from annotator.fingering.profile import load_profile, profile_from_toml  # noqa: PLC0415 - as above

    return profile_from_toml(Path(name)) if name.endswith(".toml") else load_profile(name)
