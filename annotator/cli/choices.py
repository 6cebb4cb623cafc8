"""Options that several commands share, and turning them into ``Options``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import click

from annotator.errors import CrooklineError
from annotator.options import Options

Command = TypeVar("Command", bound=Callable[..., Any])

FILES = click.argument(
    "files",
    metavar="FILE...",
    nargs=-1,
    required=True,
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
)
OUT = click.option(
    "-o",
    "--out",
    required=True,
    metavar="OUT",
    type=click.Path(path_type=Path),
    help="The file to write, or a folder for several.",
)
INSTRUMENT = click.option(
    "--instrument",
    default="c-trumpet",
    show_default=True,
    metavar="NAME",
    help="The trumpet in hand, or a TOML file of your own.",
)


def reading_options(command: Command) -> Command:
    """``--instrument``, ``--crook``, ``--part``, ``--key`` for ``command``."""
    for option in (
        click.option(
            "--key", default="auto", show_default=True, help="Key signatures: auto, signature, none."
        ),
        click.option(
            "--part", multiple=True, metavar="ID", help="Only this part (id or name); may be repeated."
        ),
        click.option(
            "--crook",
            default="auto",
            show_default=True,
            metavar="CROOK",
            help="auto, infer, a crook (F, Eb), or crooks by measure (F@1-84,C@85-).",
        ),
        INSTRUMENT,
    ):
        command = option(command)
    return command


def options_from(
    instrument: str, part: tuple[str, ...], profile: str = "orchestral", **others: str | bool
) -> Options:
    """``Options`` from the command line; wrong ones become a usage error (exit status 2)."""
    try:
        parts = tuple(name.strip() for names in part for name in names.split(",") if name.strip())
        options = Options.from_mapping({**others, "part": parts})
        return replace(options, instrument=instrument_from(instrument), profile=profile_from(profile))
    except CrooklineError as error:
        raise click.UsageError(str(error)) from None


def instrument_from(name: str) -> Any:
    """A trumpet by its id, or from a TOML file. Raises CrooklineError."""
    from annotator.instruments import from_toml, load  # noqa: PLC0415 - keeps --help quick

    return from_toml(Path(name)) if name.endswith(".toml") else load(name)


def profile_from(name: str) -> Any:
    """A profile by its name, or from a TOML file. Raises CrooklineError."""
    from annotator.fingering.profile import load_profile, profile_from_toml  # noqa: PLC0415 - as above

    return profile_from_toml(Path(name)) if name.endswith(".toml") else load_profile(name)
