"""``crookline print``: sheets for the stand, as PDF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from annotator.cli.choices import FILES, OUT, option_flags, options_from
from annotator.cli.paths import destinations, each, read_score
from annotator.registry.option_rows import Group
from annotator.registry.product_rows import PRINTED
from annotator.whole_files import write_whole

if TYPE_CHECKING:
    from annotator.engraving.engraving import Engraving


@click.command("print", epilog="Example: crookline print parts/ -o sheets --paper letter --size large")
@FILES
@OUT
@option_flags(Group.READING, Group.MARKS, Group.HANDS)
@click.option(
    "--of",
    "kind",
    type=click.Choice([product.name for product in PRINTED]),
    default="annotated",
    show_default=True,
    help="What to print.",
)
@click.option("--paper", default="a4", show_default=True, help="a4, letter, part, a6, a3.")
@click.option("--size", default="stand", show_default=True, help="Size of the music: stand, large, phone.")
@click.option("--player", default="", metavar="NAME", help="A name for the head of every page.")
@click.option("--together", is_flag=True, help="All files in one PDF, in their order.")
def print_(
    files: tuple[Path, ...],
    out: Path,
    *,
    kind: str,
    paper: str,
    size: str,
    player: str,
    together: bool,
    **choices: Any,
) -> None:
    """Print the marked parts, the parts written out, or exercises.

    One PDF for each file, or one for all of them.
    """
    from annotator.engraving.paper import paper as paper_called  # noqa: PLC0415 - keeps --help quick
    from annotator.engraving.paper import sheet_of  # noqa: PLC0415
    from annotator.engraving.paper import size as size_called  # noqa: PLC0415
    from annotator.errors import CrooklineError  # noqa: PLC0415

    options = options_from(**choices)
    try:
        sheet, large = paper_called(paper), size_called(size)
    except CrooklineError as error:
        raise click.UsageError(str(error)) from None
    if together and out.suffix.lower() != ".pdf":
        raise click.UsageError(f"{out}: one PDF for all files needs a name that ends in .pdf")

    def engraved(file: Path) -> Engraving:
        from annotator.annotation import annotate  # noqa: PLC0415 - keeps --help quick
        from annotator.engraving.engraving import Engraving  # noqa: PLC0415
        from annotator.products import MAKERS  # noqa: PLC0415

        data, _ = read_score(file)
        marked = annotate(data, options, file.name)
        report = marked.report
        made = marked.data if kind == "annotated" else MAKERS[kind](data, options, file.stem)
        if kind == "exercises":
            # Their notes are no longer those of the part.
            report = {"instrument": report["instrument"]}
        return Engraving(made, report, paper=sheet, size=large, kind=kind, player=player)

    if together:
        from annotator.engraving.printing import to_pdf  # noqa: PLC0415

        drawn = each(files, files, lambda file, _: engraved(file).drawn())
        pages = [page for each_pages, _ in drawn for page in each_pages]
        heights = [height for _, each_heights in drawn for height in each_heights]
        if pages:
            width = sheet_of(sheet, large).width
            write_whole(out, to_pdf(pages, width, heights, title=player or out.stem, author=""))
        return
    targets = destinations(files, out, ".pdf", (".pdf",))
    each(files, targets, lambda file, target: write_whole(target, engraved(file).pdf()))
