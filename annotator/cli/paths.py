"""Files in and out: what every command that works on files does alike."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from annotator.errors import BadOption, CrooklineError

SCORE_SUFFIXES = (".musicxml", ".xml", ".mxl")
MANY = 3
"""From so many files on a progress bar is worth its place."""


def destinations(files: Sequence[Path], out: Path, suffix: str | None = None) -> list[Path]:
    """Where each of ``files`` goes: ``out`` itself for one file, a name in the folder ``out`` else.

    ``suffix`` replaces the files' own in a folder. Raises click.UsageError when several files would
    go to one name.
    """
    folder = out.is_dir() or len(files) > 1 or str(out).endswith(("/", "\\"))
    if not folder:
        targets = [out]
    else:
        targets = [out / (file.name if suffix is None else file.stem + suffix) for file in files]
        doubles = {target.name for target in targets if targets.count(target) > 1}
        if doubles:
            raise click.UsageError(
                f"several files are called {', '.join(sorted(doubles))}; give each folder a call of its own"
            )
    for file, target in zip(files, targets, strict=True):
        if target.exists() and target.resolve() == file.resolve():
            raise click.UsageError(f"{target} would be written over; choose another -o")
    return targets


def each(files: Sequence[Path], targets: Sequence[Path], work: Callable[[Path, Path], Any]) -> list[Any]:
    """``work(file, target)`` for every file; a failure is told on stderr and the others go on.

    Returns what the successful ones returned; the command then ends with status 1 if one failed.
    A wrong option ends it at once, with status 2.
    """
    done = []
    failed = 0
    for file, target in tracked(list(zip(files, targets, strict=True))):
        try:
            done.append(work(file, target))
        except BadOption as error:
            # Wrong for every file alike.
            raise click.UsageError(str(error)) from None
        except CrooklineError as error:
            failed += 1
            click.echo(f"{file}: {error}", err=True)
        except OSError as error:
            failed += 1
            click.echo(f"{file}: {error.strerror or error}", err=True)
        except Exception as error:  # a fault of ours in one file must not cost the others
            failed += 1
            click.echo(f"{file}: {fault(error)}", err=True)
    if failed:
        click.get_current_context().call_on_close(lambda: sys.exit(1))
    return done


def fault(error: Exception) -> str:
    """What is said of an error that nobody foresaw."""
    return f"a fault in the program ({type(error).__name__}: {error}); please report it with the file"


def tracked(pairs: list[tuple[Path, Path]]) -> Iterator[tuple[Path, Path]]:
    """The pairs, with a progress bar on stderr while they are worked on, if a person looks on."""
    if len(pairs) < MANY or not sys.stderr.isatty():
        yield from pairs
        return
    from rich.console import Console  # noqa: PLC0415 - only a terminal needs it
    from rich.progress import track  # noqa: PLC0415

    yield from track(pairs, description="parts", console=Console(stderr=True), transient=True)


def read_score(file: Path) -> tuple[bytes, list[dict[str, Any]]]:
    """A file as MusicXML, and what reading it lost. Other formats are imported. Raises CrooklineError."""
    from annotator.importing.opening import open_score  # noqa: PLC0415 - keeps --help quick

    data, findings = open_score(file.read_bytes(), file.name)
    return data, [each.document() for each in findings]
