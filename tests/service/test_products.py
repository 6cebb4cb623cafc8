"""Every product's row in a running service: link, route, media type, name of the file, archive, button."""

from __future__ import annotations

import io
import zipfile
from typing import Any

import httpx
import pytest

from annotator.registry.product_rows import OF_PART, PRODUCTS, Product
from tests.service.conftest import Service, ended, post
from tests.unit.tunes import demo


@pytest.fixture(scope="module")
def job(service: Service) -> dict[str, Any]:
    """A job of one part that has all that can be made of one."""
    with service.client() as client:
        sent = post(client, ("study.musicxml", demo("06").read_bytes()))
        found: dict[str, Any] = ended(client, sent.json()["id"])
    return found


@pytest.mark.parametrize("row", OF_PART, ids=[row.name for row in OF_PART])
def test_a_product_is_linked_answered_named_and_on_the_page(
    client: httpx.Client, job: dict[str, Any], row: Product
) -> None:
    links = job["parts"][0]["links"]
    assert set(links) == {each.name for each in OF_PART}
    answer = client.get(links[row.name])
    assert answer.status_code == 200, answer.text
    assert answer.headers["Content-Type"].partition(";")[0] in row.media
    if row.suffix:
        assert f"study{row.suffix}." in answer.headers["Content-Disposition"]
    page = client.get(f"/jobs/{job['id']}/parts/1").text
    assert not row.label or (row.label in page and links[row.name] in page)


def test_the_archive_has_what_the_rows_put_there(client: httpx.Client, job: dict[str, Any]) -> None:
    with zipfile.ZipFile(io.BytesIO(client.get(job["links"]["archive"]).content)) as archive:
        there = set(archive.namelist()) - {"summary.json", "summary.html"}
    assert there == {f"study.musicxml{row.archive}" for row in PRODUCTS if row.archive is not None}
