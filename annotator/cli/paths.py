"""Files in and out: what every command that works on files does alike."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from annotator.errors import BadOption, CrooklineError

SCORE_SUFFIXES = (".musicxml", ".xml", ".mxl")
PLACES = "annotator.cli.places"
MANY = 3
"""From so many files on a progress bar is worth its place."""


def expanded(context: click.Context, _: click.Parameter, given: Sequence[Path]) -> tuple[Path, ...]:
    """The files, a folder as the scores anywhere in it. Raises click.UsageError for one without any."""
    places: dict[Path, Path] = context.meta.setdefault(PLACES, {})
    found: list[Path] = []
    for path in given:
        if not path.is_dir():
            found.append(path)
            continue
        inside = sorted(file for file in path.rglob("*") if file.suffix.lower() in SCORE_SUFFIXES)
        scores = [file for file in inside if file.is_file() and not file.name.startswith(".")]
        if not scores:
            raise click.UsageError(f"no score in {path} ({', '.join(SCORE_SUFFIXES)})")
        places |= {file: file.relative_to(path) for file in scores}
        found += scores
    return tuple(found)


def destinations(
    files: Sequence[Path], out: Path, suffix: str | None = None, endings: Sequence[str] = SCORE_SUFFIXES
) -> list[Path]:
    """Where each of ``files`` goes: ``out`` itself if it is named like a file, else its name in that folder.

    Whether ``out`` is a file or a folder is told by its name alone, one with an ending being a file, unless
    a folder of that name is there. Files of a folder keep their places in it. ``suffix`` replaces the files'
    own in a folder; ``endings``: what the command writes. Raises click.UsageError when several files would
    go to one name.
    """
    places = _places()
    ending = out.suffix.lower()
    if ending and not out.is_dir() and not str(out).endswith(("/", "\\")):
        if ending not in endings:
            hint = "; sheets are printed by `crookline print`" if ending == ".pdf" else ""
            raise click.UsageError(
                f"{out}: this writes {', '.join(endings)}{hint}. A name without an ending is a folder"
            )
        if len(files) > 1 or any(file in places for file in files):
            raise click.UsageError(
                f"{out} is one file, and there are several to write; name a folder, without an ending"
            )
        targets = [out]
    else:
        named = [places.get(file, Path(file.name)) for file in files]
        targets = [out / (place if suffix is None else place.with_suffix(suffix)) for place in named]
        doubles = {target.name for target in targets if targets.count(target) > 1}
        if doubles:
            raise click.UsageError(
                f"several files are called {', '.join(sorted(doubles))}; give each folder a call of its own"
            )
    for file, target in zip(files, targets, strict=True):
        if target.exists() and target.resolve() == file.resolve():
            raise click.UsageError(f"{target} would be written over; choose another -o")
    return targets


def _places() -> dict[Path, Path]:
    """Where the files that came in folders lie in these."""
    context = click.get_current_context(silent=True)
    found: dict[Path, Path] = context.meta.get(PLACES, {}) if context is not None else {}
    return found


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
