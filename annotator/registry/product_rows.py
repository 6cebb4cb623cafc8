"""The products: a row for everything that is made of a part, and of a job."""

from __future__ import annotations

from dataclasses import dataclass

from annotator.registry.media_types import JSON, MUSICXML, MXL, PDF, ZIP


@dataclass(frozen=True, slots=True)
class Product:
    """A product.

    ``name``: in addresses (after the part's), in links and in names of files. ``label``: its button on the
    page; "" has none. ``about``: what the answer is. ``media``: the types it comes in. ``of``: ``part`` or
    ``job``. ``blueprint``: where the service answers it. ``suffix``: the end of its file's name, after
    the part's own without its ending; a score keeps the ending. ``archive``: what stands after the part's
    whole name in the archive; None leaves it out.
    ``on_request``: made by a worker when first asked for. ``compressed``: an .mxl gives an .mxl, else it is
    always a plain score. ``headed``: how the head of its sheets begins; "" has no sheets. ``command``:
    the command that makes the same; "" for none.
    """

    name: str
    label: str
    about: str
    media: tuple[str, ...]
    of: str = "part"
    blueprint: str = "results"
    suffix: str = ""
    archive: str | None = None
    on_request: bool = False
    compressed: bool = True
    headed: str = ""
    command: str = ""


PRODUCTS = (
    Product("pages", "", "Which measures are on which engraved page", (JSON,), blueprint="sheets"),
    Product("pdf", "PDF to print", "The part, to print", (PDF,), blueprint="sheets"),
    Product(
        "annotated",
        "Marked part",
        "The file with its marks",
        (MUSICXML, MXL),
        archive="",
        headed="marked for",
        command="annotate",
    ),
    Product(
        "transposed",
        "Written out for this trumpet",
        "The whole part written out for the instrument",
        (MUSICXML, MXL),
        suffix=" (transposed)",
        on_request=True,
        headed="written out for",
        command="transpose",
    ),
    Product(
        "exercises",
        "Exercises from this part",
        "Exercises from the part's worst crossings",
        (MUSICXML, MXL),
        suffix=" (exercises)",
        on_request=True,
        compressed=False,
        headed="for",
        command="exercises",
    ),
    Product(
        "report",
        "Report",
        "Every note and what to do on it",
        (JSON,),
        suffix=".report",
        archive=".report.json",
        command="annotate",
    ),
    Product(
        "plan",
        "",
        "Which trumpet for which piece, and how much there is to play",
        (JSON,),
        of="job",
        on_request=True,
        command="plan",
    ),
    Product("archive", "Everything", "Everything, laid out as it came in", (ZIP,), of="job"),
)
"""In the order of the page's buttons."""
PRODUCT = {product.name: product for product in PRODUCTS}
OF_PART = tuple(product for product in PRODUCTS if product.of == "part")
OF_JOB = tuple(product for product in PRODUCTS if product.of == "job")
ON_REQUEST = tuple(product for product in OF_PART if product.on_request)
"""Those of a part."""
PRINTED = tuple(product for product in PRODUCTS if product.headed)
