"""``crookline plan``: which trumpet for which piece of a concert, and how much there is to play."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from annotator.cli.choices import instrument_from, option_flag, options_from
from annotator.cli.paths import SCORE_SUFFIXES, fault
from annotator.errors import CrooklineError

CASE = "c-trumpet,bb-trumpet,eb-trumpet,a-piccolo"


@click.command(epilog="Example: crookline plan demo_scores/ --case c-trumpet,bb-trumpet,a-piccolo")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--case",
    default=CASE,
    show_default=True,
    metavar="LIST",
    help="The instruments at hand, the usual one first; ids or TOML files.",
)
@option_flag("part")
@click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON.")
def plan(folder: Path, case: str, part: tuple[str, ...], as_json: bool) -> None:
    """Choose trumpets for a concert and count the playing.

    The concert is the scores of FOLDER, in order of their names. For each
    line of each piece an instrument and why; changes, rests for mutes and crooks; minutes
    of playing with repeats, high and loud, for each piece and in all.
    """
    from annotator.concert.document import document, text  # noqa: PLC0415 - keeps --help quick
    from annotator.concert.plan import plan_lines, read_pieces  # noqa: PLC0415

    try:
        instruments = tuple(instrument_from(name.strip()) for name in case.split(",") if name.strip())
        if not instruments:
            raise click.UsageError("--case names no instrument")
        options = options_from(part=part)
    except CrooklineError as error:
        raise click.UsageError(str(error)) from None
    files = sorted(file for file in folder.iterdir() if file.suffix.lower() in SCORE_SUFFIXES)
    if not files:
        raise click.UsageError(f"no score in {folder} ({', '.join(SCORE_SUFFIXES)})")
    pieces = []
    left_out = []
    for file in files:
        try:
            pieces.append(read_pieces(file.name, file.read_bytes(), instruments, options))
        except (CrooklineError, OSError) as error:
            left_out.append((file.name, str(error)))
            click.echo(f"{file}: {error}", err=True)
        except Exception as error:  # a fault of ours in one piece must not cost the plan
            left_out.append((file.name, fault(error)))
            click.echo(f"{file}: {left_out[-1][1]}", err=True)
    if pieces:
        made, *others = plan_lines(pieces, instruments)
        shown = (
            json.dumps(document(made, left_out, others), indent=1, ensure_ascii=False)
            if as_json
            else text(made, others)
        )
        click.echo(shown)
    if left_out:
        sys.exit(1)
