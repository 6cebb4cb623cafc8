"""The command line. Each command is a module here; a command is imported when it is called.

Commands of other packages (the service's) come in through the entry-point group
``crookline.commands``, so that this package does not know them.
"""

from __future__ import annotations

import sys
from importlib import import_module

import click

from annotator import __version__
from annotator.errors import CrooklineError
from annotator.extras import extras

_COMMANDS = {
    "annotate": "annotator.cli.annotate:annotate",
    "plan": "annotator.cli.plan:plan",
    "strip": "annotator.cli.strip:strip",
    "print": "annotator.cli.print:print_",
    "transpose": "annotator.cli.transpose:transpose",
    "chart": "annotator.cli.chart:chart",
    "exercises": "annotator.cli.exercises:exercises",
    "learn": "annotator.cli.learn:learn",
    "completion": "annotator.cli.completion:completion",
}
_GROUP = "crookline.commands"


class LazyGroup(click.Group):
    """A group whose commands are looked up in a table, then among the entry points."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted({*_COMMANDS, *_plugins()})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        target = _COMMANDS.get(cmd_name) or _plugins().get(cmd_name)
        if target is None:
            return None
        module, _, name = target.partition(":")
        with extras(f"crookline {cmd_name}"):
            command: click.Command = getattr(import_module(module), name)
        return command


def _plugins() -> dict[str, str]:
    from importlib.metadata import entry_points  # noqa: PLC0415 - scanning costs time; most calls need none

    return {entry.name: entry.value for entry in entry_points(group=_GROUP)}


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog="Example: crookline annotate tromba.musicxml -o marked.musicxml",
)
@click.version_option(__version__, prog_name="crookline")
def crookline() -> None:
    """Trumpet parts in MusicXML, marked for the player: fingering, partial,
    awkward crossings, and a line transposed for the trumpet in hand."""


def main() -> None:
    """Entry point of the ``crookline`` command. Exit status 0 done, 1 some files failed, 2 wrong usage."""
    try:
        with extras():
            crookline(prog_name="crookline")
    except CrooklineError as error:
        click.echo(f"crookline: {error}", err=True)
        sys.exit(2)
