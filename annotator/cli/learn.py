"""``crookline learn``: a profile from parts that a player or teacher has fingered."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from annotator.errors import CrooklineError
from annotator.whole_files import write_whole

FEWEST = 20
TOLD = 20


PART_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
PROFILE_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(epilog="Example: crookline learn fingered/*.musicxml -o mine.toml")
@click.argument("files", nargs=-1, required=True, metavar="MARKED...", type=PART_FILE)
@click.option("-o", "--out", required=True, metavar="FILE.toml", type=PROFILE_FILE, help="The profile.")
@click.option("--from", "base", default="orchestral", show_default=True, help="The profile to start from.")
@click.option("--instrument", default="c-trumpet", show_default=True, help="The trumpet it is fingered for.")
@click.option("--part", multiple=True, metavar="NAME", help="Only these parts of the files.")
def learn(files: tuple[Path, ...], out: Path, base: str, instrument: str, part: tuple[str, ...]) -> None:
    """Learn what a hand prefers from parts with printed fingerings.

    Writes the smallest change of a profile under which the planner plays as they are fingered, for
    --profile, and says in words what it learnt, how often it agrees on phrases it did not see, and
    which fingerings it could not explain. Where a file has fingerings of Crookline's own, only those
    that were changed or added count.

    Exit status 0: written; 2: too little to learn from, or wrong usage.
    """
    from annotator.fingering.profile import load_profile  # noqa: PLC0415 - keeps --help quick
    from annotator.learning import telling, weights  # noqa: PLC0415
    from annotator.learning.examples import examples, instrument_of  # noqa: PLC0415
    from annotator.options import Options  # noqa: PLC0415

    try:
        profile = load_profile(base)
        options = Options(instrument=instrument, part=part)
        held = instrument_of(options)
        phrases = examples([(path.name, path.read_bytes()) for path in files], options)
        marked = sum(phrase.marked for phrase in phrases)
        if marked < FEWEST:
            raise click.UsageError(
                f"{marked} printed fingerings were found; {FEWEST} are the least to learn from, 300 are good"
            )
        learnt = weights.learn(phrases, held, profile, out.stem)
        start = weights.agreement(phrases, held, profile)
        unseen = weights.seen_by_others(phrases, held, profile, learnt.price)
    except CrooklineError as error:
        click.echo(f"crookline learn: {error}", err=True)
        sys.exit(2)
    write_whole(out, telling.to_toml(learnt, profile, marked).encode())
    for key, before, after in learnt.changes:
        click.echo(f"  {telling.sentence(key, before, after)}")
    if not learnt.changes:
        click.echo(f"  Nothing that holds on phrases it was not learnt from: {base} stays as it is.")
    low, high = telling.likely(*unseen)
    click.echo(
        f"Of {start[1]} marked notes {base} plays {start[0]} as marked. On phrases it had not seen, what "
        f"was learnt plays {unseen[0]} of {unseen[1]} as marked ({low:.0%} to {high:.0%} in nineteen of "
        "twenty cases)."
    )
    if learnt.unexplained:
        click.echo(f"Not explained, and not forced ({len(learnt.unexplained)}):")
        for each in learnt.unexplained[:TOLD]:
            click.echo(f"  {each.where}: marked {each.marked}, would be {each.played}")
        if len(learnt.unexplained) > TOLD:
            click.echo(f"  and {len(learnt.unexplained) - TOLD} more")
    click.echo(f"Written: {out}. Use it with --profile {out}")
