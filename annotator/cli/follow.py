"""A job's progress on a terminal as it goes, or as plain lines in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import click

from annotator.client import Client, Event, JobState

if TYPE_CHECKING:
    from rich.live import Live

ENDED = ("done", "failed")
SHOWN_ROWS = 24


def follow(client: Client, job: JobState) -> JobState:
    """Show a job's progress until it has ended; gives how it stands then. Raises ServiceError."""
    board = Board([part.name for part in job.parts])
    with _screen(board) as live:

        def tell(event: Event) -> None:
            if event.kind == "part":
                board.hear(event.data, aloud=live is None)
                if live is not None:
                    live.update(board)

        return client.wait(job.id, tell)


@dataclass
class Board:
    """The parts of a job and their states, drawn as a bar and a line for each of the latest parts."""

    names: list[str]
    states: dict[int, dict[str, Any]] = field(default_factory=dict)

    def hear(self, data: Any, *, aloud: bool) -> None:
        """Take in a ``part`` event; ``aloud`` prints a line when a part has ended."""
        n = data["n"]
        known = self.states.get(n, {}).get("state")
        if known in ENDED:
            return  # told again after a broken connection
        self.states[n] = dict(data)
        if aloud and data["state"] in ENDED:
            click.echo(f"[{self.ended:>{len(str(len(self.names)))}}/{len(self.names)}] {line_of(data)}")
            sys.stdout.flush()

    @property
    def ended(self) -> int:
        """How many parts have ended."""
        return sum(data["state"] in ENDED for data in self.states.values())

    def __rich__(self) -> Any:
        from rich.console import Group  # noqa: PLC0415 - only a terminal needs it
        from rich.progress_bar import ProgressBar  # noqa: PLC0415
        from rich.table import Table  # noqa: PLC0415
        from rich.text import Text  # noqa: PLC0415

        head = Table.grid(padding=(0, 1))
        head.add_row(
            ProgressBar(total=max(1, len(self.names)), completed=self.ended, width=40),
            Text(f"{self.ended} of {len(self.names)} parts"),
        )
        table = Table.grid(padding=(0, 2))
        shown = range(1, len(self.names) + 1)
        if len(self.names) > SHOWN_ROWS:
            shown = range(max(1, self.ended - SHOWN_ROWS // 2), len(self.names) + 1)
        for n in list(shown)[:SHOWN_ROWS]:
            data = self.states.get(n, {"state": "queued"})
            style = {"done": "green", "failed": "bold red", "running": "yellow"}.get(data["state"], "dim")
            told = _told(data)
            table.add_row(Text(data["state"], style), Text(self.names[n - 1]), Text(told, "dim"))
        return Group(head, table)


def line_of(data: Any) -> str:
    """A part event in words."""
    told = _told(data)
    return f"{data['state']:<6} {data['name']}" + (f"  {told}" if told else "")


def _told(data: Any) -> str:
    if data["state"] == "failed":
        return str((data.get("reason") or {}).get("message", ""))
    if data["state"] == "done":
        return f"{data['seconds']:.3f} s" + (" (known from before)" if data.get("cached") else "")
    return ""


@contextmanager
def _screen(board: Board) -> Iterator[Live | None]:
    if not sys.stdout.isatty():
        yield None
        return
    from rich.live import Live  # noqa: PLC0415 - only a terminal needs it

    with Live(board, refresh_per_second=12) as live:
        yield live
