"""Results: the files that came of a part, and of a job as a whole."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

from apiflask import APIBlueprint
from flask import Response, request

from annotator.registry.product_rows import ON_REQUEST, PRODUCT, Product
from api import access
from api.downloads import send_bytes, send_stream
from api.openapi import describe
from api.outcomes import await_product, ended_job, ended_part
from api.problems import Problem, not_ready
from workers import archive as archives
from workers import products
from workers.jobs import Part
from workers.media import MUSICXML, MXL, ZIP
from workers.mxl import packed, unpacked

blueprint = APIBlueprint("results", __name__, url_prefix="/v1/jobs/<job_id>", tag="Results")


@blueprint.get("/parts/<int:n>/annotated")
@blueprint.doc(
    responses=describe.responses(
        404, 406, 409, s200=describe.content(PRODUCT["annotated"].about, *PRODUCT["annotated"].media)
    )
)
def annotated(job_id: str, n: int) -> Any:
    """The file with its marks

    As it came, or as .musicxml or .mxl as `Accept` says.
    """
    job, part, outcome = ended_part(job_id, n)
    data = access.context().store.result(job, part, outcome, "annotated")
    return send_score(part, data, part.kind, outcome.sha256)


def _offer(product: Product) -> None:
    """The route of something made of a part on request."""

    def answer(job_id: str, n: int) -> Any:
        return send_product(job_id, n, product)

    answer.__doc__ = f"{product.about}\n\nMade by a worker when first asked for."
    documented = blueprint.doc(
        responses=describe.responses(
            *(404, 406, 409, 422, 503), s200=describe.content(product.about, *product.media)
        )
    )(answer)
    blueprint.add_url_rule(f"/parts/<int:n>/{product.name}", product.name, documented)


for each in ON_REQUEST:
    _offer(each)


def send_product(job_id: str, n: int, product: Product) -> Response:
    """Something made of a part on demand, once it is made. Raises Problem."""
    job, part, _ = ended_part(job_id, n)
    digest = await_product(job, part, product)
    data = access.context().store.get(job.ref, products.file(product, part))
    return send_score(part, data, products.kind(product, part), digest, suffix=product.suffix)


def send_score(part: Part, data: bytes | None, kind: str, digest: str, suffix: str = "") -> Response:
    """A score of a job in the media type asked for, its own by default. Raises Problem."""
    own = MXL if kind == "mxl" else MUSICXML
    accepted = request.accept_mimetypes
    # The most specific of the ranges given decides on each type (RFC 9110, 12.5.1); its own goes first.
    wanted = max(own, MUSICXML, MXL, key=accepted.quality) if accepted else own
    if accepted and not accepted.quality(wanted):
        raise Problem(406, "not-acceptable", f"there is {MUSICXML} and {MXL}, and {accepted} is neither")
    if data is None:
        raise not_ready("this result is not there (any more)")
    stem, _, ending = part.written_name.rpartition(".")
    if wanted == own:
        ending = ending if kind == part.kind else "musicxml"
    else:
        data = packed(data) if wanted == MXL else unpacked(data)
        digest = sha256(data).hexdigest()
        ending = "mxl" if wanted == MXL else "musicxml"
    response = send_bytes(data, wanted, digest, f"{stem}{suffix}.{ending}")
    response.vary.add("Accept")
    return response


@blueprint.get("/parts/<int:n>/report")
@blueprint.doc(
    responses=describe.responses(404, 409, s200=describe.document(PRODUCT["report"].about, "Report"))
)
def report(job_id: str, n: int) -> Any:
    """Every note and what to do on it, as JSON"""
    job, part, outcome = ended_part(job_id, n)
    file_name = f"{part.name.rsplit('.', 1)[0]}{PRODUCT['report'].suffix}.json"
    data = access.context().store.result(job, part, outcome, "report")
    if data is None:
        raise not_ready("this result is not there (any more)")
    return send_bytes(data, "application/json", outcome.report_sha256, file_name, inline=True)


@blueprint.get("/plan")
@blueprint.doc(
    responses=describe.responses(404, 409, 422, s200=describe.document(PRODUCT["plan"].about, "Plan"))
)
def plan(job_id: str) -> Any:
    """Which trumpet for which piece of a concert, and how much there is to play, as JSON

    The job's files in their order, for the instruments that its option `plan` names. Made by a worker
    when first asked for.
    """
    product = PRODUCT["plan"]
    asked = access.job(job_id)
    if not asked.unreadable and not asked.options.get(product.name):
        raise Problem(
            404,
            "no-plan",
            "no plan was asked for: send the files with the option plan, a list of instruments",
        )
    job, _ = ended_job(job_id)
    digest = await_product(job, None, product)
    data = access.context().store.get(job.ref, products.file_of_job(product))
    if data is None:
        raise not_ready("this result is not there (any more)")
    return send_bytes(data, "application/json", digest, f"crookline-{job.id[:11]}.plan.json", inline=True)


@blueprint.get("/archive")
@blueprint.doc(
    responses=describe.responses(404, 409, s200=describe.content("Everything, laid out as it came in", ZIP))
)
def archive(job_id: str) -> Any:
    """Everything, laid out as it came in, as one .zip"""
    job, stands = ended_job(job_id)
    made = archives.Archive(access.context().store, job, stands)
    return send_stream((made, made.size), ZIP, made.digest, f"crookline-{job.id[:11]}.zip")
