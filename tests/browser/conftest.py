"""The page in a real browser (Debian's Chromium), against the real service."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.service.conftest import Service, started, wait_until

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
]
DEMOS = Path(__file__).parents[2] / "demo_scores"
PART = next(DEMOS.glob("02_*"))
FLAGGED = next(DEMOS.glob("06_*"))  # a study with an awkward crossing on its last page
OTHER = next(DEMOS.glob("08_*.mxl"))


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The service without keys, on its own queue server."""
    with started(tmp_path_factory.mktemp("site"), "--workers", "1") as running:
        yield running


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for all tests. Missing: a failure in CI, skipped elsewhere."""
    if shutil.which(CHROMIUM) is None:
        if os.environ.get("CI") == "true":
            pytest.fail("CI must have chromium")
        pytest.skip("chromium is not installed")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def context(browser: Browser, site: Service) -> Iterator[BrowserContext]:
    """A visitor with nothing kept from before."""
    visitor = browser.new_context(
        base_url=site.url, viewport={"width": 1280, "height": 900}, accept_downloads=True
    )
    visitor.set_default_timeout(20_000)
    yield visitor
    visitor.close()


@pytest.fixture
def page(context: BrowserContext, site: Service) -> Iterator[Page]:
    """A tab. A script error, a refused script or style, or a request to another host fails the test."""
    tab = context.new_page()
    faults: list[str] = []
    tab.on("pageerror", lambda error: faults.append(f"script: {error}"))
    tab.on(
        "console",
        lambda message: (
            faults.append(message.text)
            if message.type == "error" and "Failed to load resource" not in message.text
            else None
        ),
    )
    tab.on(
        "request",
        lambda request: (
            None
            if request.url.startswith((site.url, "data:", "blob:"))
            else faults.append(f"elsewhere: {request.url}")
        ),
    )
    yield tab
    assert not faults


def send(page: Page, *files: Path) -> None:
    """Choose files by the button and send them."""
    page.goto("/")
    page.set_input_files("#files", [str(file) for file in files])
    page.get_by_role("button", name="Mark the parts").click()


@pytest.fixture(scope="session")
def address(site: Service) -> str:
    """The page of a part that has been marked, for tests that only look at it."""
    with site.client() as client:
        answer = client.post("/jobs", files={"files": (PART.name, PART.read_bytes())})
        place = answer.headers["Location"]
        wait_until(lambda: client.get(place).status_code == 302)
        return f"{place}/parts/1"


def look_at(page: Page, address: str) -> None:
    """Go to a marked part and wait until its notes can be pressed."""
    page.goto(address)
    page.wait_for_selector("#paper > svg g.note[role=button]")
