"""The page of a service with keys: nothing is seen without one, and a browser keeps it safely."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from hashlib import sha256

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.conftest import OTHER
from tests.service.conftest import Service, started

SECRET = secrets.token_urlsafe(32)
OTHER_SECRET = secrets.token_urlsafe(32)


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    keys = ",".join(
        f"{name}:{sha256(secret.encode()).hexdigest()}"
        for name, secret in (("library", SECRET), ("section", OTHER_SECRET))
    )
    folder = tmp_path_factory.mktemp("guarded")
    with started(folder, "--workers", "1", environment={"CROOKLINE_KEYS": keys}) as running:
        yield running


def test_the_whole_way_with_a_key(browser: Browser, guarded: Service) -> None:
    visitor = browser.new_context(base_url=guarded.url)
    page = visitor.new_page()
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_have_text("This service needs a key")
    page.get_by_label("Key").fill("guessed")
    page.get_by_role("button", name="Go in").click()
    expect(page.get_by_role("alert")).to_be_visible()
    page.get_by_label("Key").fill(SECRET)
    page.get_by_role("button", name="Go in").click()
    page.set_input_files("#files", str(OTHER))
    page.get_by_role("button", name="Mark the parts").click()
    page.wait_for_url("**/parts/1")
    page.wait_for_selector("#paper > svg")
    address = page.url
    cookie = next(one for one in visitor.cookies() if one["name"] == "crookline_key")
    assert cookie["httpOnly"]
    assert cookie["sameSite"] == "Strict"

    stranger = browser.new_context(base_url=guarded.url)
    tab = stranger.new_page()
    assert (answer := tab.goto(address)) is not None
    assert answer.status == 401
    tab.get_by_label("Key").fill(OTHER_SECRET)
    tab.get_by_role("button", name="Go in").click()
    expect(tab.locator(".recent")).to_contain_text("None yet")
    assert (answer := tab.goto(address)) is not None
    assert answer.status == 404
    stranger.close()

    page.get_by_role("button", name="Forget key").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("This service needs a key")
    visitor.close()
