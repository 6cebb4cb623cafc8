"""What a librarian and a teacher do on the page, step by step."""

from __future__ import annotations

import base64
import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import httpx
import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe
from lxml import etree
from playwright.sync_api import Browser, BrowserContext, Page, expect

import annotator
from annotator.chart import chart
from annotator.instruments import available, load
from tests.browser.conftest import FLAGGED, OTHER, PART, look_at, send
from tests.service.conftest import Service

AXE = Axe()
# The rules of WCAG 2.0 to 2.2, levels A and AA, under axe-core's own names for them.
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
SIZES = {"phone": (390, 844), "tablet": (834, 1112), "desktop": (1366, 900)}


def report_of(page: Page) -> dict[str, Any]:
    """The report of the part on the page, from the service itself."""
    found: dict[str, Any] = page.request.get("/v1" + httpx.URL(page.url).path + "/report").json()
    return found


def note(page: Page, place: int) -> Any:
    return page.locator(f"#n{place}")


def complaints(page: Page) -> list[str]:
    """What axe-core finds on the page, all of it: not only the serious."""
    found = AXE.run(page, options={"runOnly": {"type": "tag", "values": WCAG}})
    return [
        f"{violation['impact']} {violation['id']}: {node['html'][:120]}"
        for violation in found.response["violations"]
        for node in violation["nodes"]
    ]


def test_upload_by_the_button_shows_the_engraved_part(page: Page) -> None:
    send(page, PART)
    page.wait_for_url("**/parts/1")
    page.wait_for_selector("#paper > svg g.note[role=button]")
    expect(page).to_have_title(re.compile("Crookline"))
    expect(page.locator("#which")).to_have_text(re.compile(r"Page 1 of \d"))
    report = report_of(page)
    expect(page.get_by_role("heading", level=1)).to_have_text(report["title"])
    for segment in report["parts"][0]["segments"]:
        expect(page.locator("table")).to_contain_text(segment["read"]["words"])


def test_upload_by_drop(page: Page) -> None:
    page.goto("/")
    dropped = page.evaluate_handle(
        """([data, name]) => {
            const bytes = Uint8Array.from(atob(data), (letter) => letter.charCodeAt(0));
            const transfer = new DataTransfer();
            transfer.items.add(new File([bytes], name));
            return transfer;
        }""",
        [base64.b64encode(OTHER.read_bytes()).decode(), OTHER.name],
    )
    page.dispatch_event("#stand", "dragenter", {"dataTransfer": dropped})
    expect(page.locator("#stand")).to_have_class(re.compile("over"))
    page.dispatch_event("#stand", "drop", {"dataTransfer": dropped})
    expect(page.locator("#chosen li")).to_have_text(re.compile(re.escape(OTHER.name)))
    page.get_by_role("button", name="Mark the parts").click()
    page.wait_for_url("**/parts/1")
    page.wait_for_selector("#paper > svg")
    expect(page.locator(".lead")).to_contain_text(OTHER.name)


def test_progress_of_a_zip_is_shown_and_its_parts_can_be_opened(page: Page, tmp_path: Path) -> None:
    archive = tmp_path / "programme.zip"
    with zipfile.ZipFile(archive, "w") as packed:
        for number in range(12):
            # Each file a little different, so that none is known from before.
            data = PART.read_bytes().replace(b"</score-partwise>", b"<!-- %d -->\n</score-partwise>" % number)
            packed.writestr(f"folder/{number:02}.musicxml", data)
        packed.writestr("folder/broken.musicxml", "<score-partwise><part>")
    counts: list[str] = []
    page.expose_function("saw", lambda count: counts.extend([count]))
    page.add_init_script(
        """addEventListener("DOMContentLoaded", () => {
            const count = document.getElementById("count");
            if (count) {
                window.saw(count.textContent);
                new MutationObserver(() => window.saw(count.textContent)).observe(count, {childList: true});
            }
        });"""
    )
    send(page, archive)
    page.wait_for_selector("#job[data-state=partly]")
    assert len(set(counts)) > 1, counts
    assert counts[-1] == "13 of 13"
    failed = page.locator(".part.failed")
    expect(failed).to_have_count(1)
    expect(failed).to_contain_text("broken.musicxml")
    expect(failed.locator(".reason")).not_to_be_empty()
    page.get_by_role("link", name="03.musicxml").click()
    page.wait_for_selector("#paper > svg")
    page.get_by_role("link", name=re.compile("All 13 files")).click()
    expect(page.locator(".parts > li")).to_have_count(13)


def test_a_press_on_a_note_tells_what_to_do(page: Page, address: str) -> None:
    look_at(page, address)
    notes = [one for line in report_of(page)["parts"][0]["lines"] for one in line["notes"]]
    shown = [one for one in notes if note(page, one["place"]).count()][:40]
    assert len(shown) > 10
    for one in (shown[0], shown[7], next(one for one in shown if one["alternates"])):
        note(page, one["place"]).click()
        panel = page.locator("#note")
        expect(panel.locator("h2")).to_have_text(f"Measure {one['measure']}, beat {one['beat']:g}")
        expect(panel.locator(".valves")).to_have_text(one["fingering"])
        expect(panel).to_contain_text(f"{one['partial']}, ")
        for alternate in one["alternates"]:
            expect(panel).to_contain_text(f"{alternate['fingering']} on {alternate['partial']}")
        expect(page.locator(".ring")).to_have_count(1)


def test_notes_can_be_walked_by_keys(page: Page, address: str) -> None:
    look_at(page, address)
    first = page.locator("g.note[tabindex='0']")
    first.focus()
    page.keyboard.press("Enter")
    before = page.locator("#note h2").inner_text()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    assert page.locator("#note h2").inner_text() != before
    expect(page.locator("g.note.chosen")).to_be_focused()
    assert page.locator("g.note[tabindex='0']").count() == 1


def test_pages_are_turned(page: Page, address: str) -> None:
    look_at(page, address)
    page.get_by_role("link", name="Next page").click()
    expect(page.locator("#which")).to_have_text(re.compile("Page 2 of"))
    assert "page=2" in page.url
    page.reload()
    expect(page.locator("#which")).to_have_text(re.compile("Page 2 of"))
    page.get_by_role("link", name="Previous page").click()
    expect(page.locator("#which")).to_have_text(re.compile("Page 1 of"))
    expect(page.get_by_text("Previous page")).to_have_attribute("aria-disabled", "true")


def test_findings_lead_to_their_note(page: Page) -> None:
    send(page, FLAGGED)
    page.wait_for_selector("#paper > svg g.note[role=button]")
    jump = page.locator("a.jump[data-place]").first
    flagged = next(
        one
        for line in report_of(page)["parts"][0]["lines"]
        for one in line["notes"]
        if str(one["place"]) == jump.get_attribute("data-place")
    )
    number = int(jump.get_attribute("data-page") or 0)
    outline = page.request.get(f"/v1{httpx.URL(page.url).path}/pages").json()["pages"]
    assert flagged["measure"] in outline[number - 1]["measures"]
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    jump.click()
    expect(page.locator("#which")).to_have_text(re.compile(f"Page {number} of"))
    expect(note(page, flagged["place"])).to_have_class(re.compile("chosen"))
    expect(page.locator(".ring")).to_be_in_viewport()
    strokes = "!" * flagged["crossing"]["grade"]
    expect(page.locator("#note")).to_contain_text(f"{strokes} {flagged['crossing']['sentence']}")


def test_another_trumpet_shows_the_part_again(page: Page, address: str) -> None:
    look_at(page, address)
    before = page.url
    page.get_by_label("Trumpet", exact=True).select_option("bb-trumpet")
    page.get_by_role("button", name="Mark it again").click()
    page.wait_for_url(lambda url: url.endswith("/parts/1") and url != before)
    page.wait_for_selector("#paper > svg")
    report = report_of(page)
    assert report["instrument"] == "bb-trumpet"
    words = report["parts"][0]["segments"][0]["read"]["words"]
    expect(page.locator("table")).to_contain_text(words)
    expect(page.locator("#paper > svg")).to_contain_text("B♭")
    page.go_back()
    assert page.url == before
    page.wait_for_selector("#paper > svg")
    assert report_of(page)["instrument"] == "c-trumpet"


def test_every_download_opens(page: Page, address: str) -> None:
    look_at(page, address)
    links = page.locator(".takes a")
    found: dict[str, bytes] = {}
    for index in range(links.count()):
        name = links.nth(index).get_attribute("aria-label") or links.nth(index).inner_text().strip()
        answer = page.request.get(links.nth(index).get_attribute("href") or "")
        assert answer.status == 200, name
        found[name] = answer.body()
    assert "Written out for this trumpet, PDF" in found
    expected = ["PDF to print", "Marked part (.musicxml)", "Report (.json)", "Everything (.zip)"]
    assert set(expected) <= set(found)
    assert annotator.strip(found["Marked part (.musicxml)"]) == PART.read_bytes()
    assert json.loads(found["Report (.json)"])["schema"] == "crookline.report/1"
    pdf = pypdf.PdfReader(io.BytesIO(found["PDF to print"]))
    shown = page.locator("#which").inner_text()
    assert f"of {len(pdf.pages)}" in shown
    with zipfile.ZipFile(io.BytesIO(found["Everything (.zip)"])) as archive:
        assert archive.testzip() is None
        assert PART.name in archive.namelist()
        assert archive.read(PART.name) == found["Marked part (.musicxml)"]
    for name, data in found.items():
        if name.endswith(", PDF"):
            assert pypdf.PdfReader(io.BytesIO(data)).pages[0].extract_text().strip()
            assert etree.fromstring(found[name.removesuffix(", PDF")]).tag == "score-partwise"


def test_a_download_carries_the_name_of_the_part(page: Page, address: str) -> None:
    look_at(page, address)
    with page.expect_download() as download:
        page.get_by_role("link", name="PDF to print").click()
    assert download.value.suggested_filename == f"{PART.stem}.pdf"
    assert Path(download.value.path()).read_bytes().startswith(b"%PDF-")


def test_an_unreadable_file_is_told_and_the_form_is_still_there(page: Page, tmp_path: Path) -> None:
    broken = tmp_path / "notes.zip"
    broken.write_bytes(b"PK not really")
    send(page, broken)
    alert = page.get_by_role("alert")
    expect(alert).to_be_visible()
    expect(alert).to_contain_text("zip")
    assert httpx.URL(page.url).path == "/"
    empty = tmp_path / "empty.musicxml"
    empty.write_text("<html>not music</html>")
    send(page, empty)
    page.wait_for_selector("#job[data-state=failed]")
    expect(page.locator(".reason")).to_contain_text("MusicXML")


def test_the_back_button_comes_back_to_the_form(page: Page) -> None:
    page.goto("/")
    page.get_by_label("Trumpet in your hand").select_option("eb-trumpet")
    page.set_input_files("#files", str(PART))
    page.get_by_role("button", name="Mark the parts").click()
    page.wait_for_url("**/parts/1")
    page.go_back()
    assert httpx.URL(page.url).path == "/"
    expect(page.get_by_role("button", name="Mark the parts")).to_be_enabled()
    page.reload()
    expect(page.locator(".recent li").first).to_contain_text(PART.name)


def test_without_scripts(browser: Browser, site: Service) -> None:
    visitor = browser.new_context(base_url=site.url, java_script_enabled=False)
    page = visitor.new_page()
    page.goto("/")
    page.set_input_files("#files", str(OTHER))
    page.get_by_label("Trumpet in your hand").select_option("a-piccolo")
    page.get_by_role("button", name="Mark the parts").click()
    page.wait_for_url("**/parts/1", timeout=20_000)  # by the refresh of the page itself
    picture = page.locator("#paper img")
    expect(picture).to_be_visible()
    drawn = page.request.get(picture.get_attribute("src") or "")
    assert drawn.headers["content-type"].startswith("image/svg+xml")
    assert etree.fromstring(drawn.body()).tag == "{http://www.w3.org/2000/svg}svg"
    with page.expect_download() as download:
        page.get_by_role("link", name=re.compile("Marked part")).click()
    assert annotator.strip(Path(download.value.path()).read_bytes())
    page.get_by_role("link", name="Remove this job").click()
    expect(page.get_by_role("main")).to_contain_text(OTHER.name)
    page.get_by_role("button", name="Remove").click()
    page.get_by_role("button", name="Bring it back").click()
    page.wait_for_url("**/parts/1")
    visitor.close()


def test_two_tabs_at_once(context: BrowserContext) -> None:
    tabs = [context.new_page(), context.new_page()]
    for tab, file in zip(tabs, (PART, OTHER), strict=True):
        tab.goto("/")
        tab.set_input_files("#files", str(file))
    for tab in tabs:
        tab.get_by_role("button", name="Mark the parts").click()
    for tab, file in zip(tabs, (PART, OTHER), strict=True):
        tab.wait_for_url("**/parts/1")
        tab.wait_for_selector("#paper > svg")
        expect(tab.locator(".lead")).to_contain_text(file.name)
    assert tabs[0].url != tabs[1].url


@pytest.mark.parametrize("look", ["Paper", "Pit"])
@pytest.mark.parametrize("size", SIZES)
def test_axe_core_finds_nothing(page: Page, address: str, look: str, size: str) -> None:
    """WCAG 2.2 AA as far as axe-core can see it, on every kind of page."""
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})
    page.goto("/")
    page.get_by_role("button", name=look).click()
    expect(page.get_by_role("button", name=look)).to_have_attribute("aria-pressed", "true")
    page.get_by_text("Parts, crook, key signature").click()
    page.get_by_text("Several players", exact=True).click()
    assert complaints(page) == []
    look_at(page, address)
    page.locator("g.note[role=button]").nth(3).click()
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert complaints(page) == []
    # No page scrolls sideways: what is wide scrolls in its own frame (WCAG 1.4.10, reflow).
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_player_brings_the_profile_of_a_hand(page: Page, tmp_path: Path) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text('name = "mine"\n[exchange]\nfirst-thrid = 3.0\n')
    page.goto("/")
    page.set_input_files("#files", [str(PART)])
    page.get_by_text("Parts, crook, key signature").click()
    page.get_by_label("Or of your own").set_input_files(mine)
    page.get_by_role("button", name="Mark the parts").click()
    expect(page.get_by_role("alert")).to_contain_text("exchange.first-thrid")
    mine.write_text(mine.read_text().replace("thrid", "third"))
    page.get_by_label("Or of your own").set_input_files(mine)
    page.get_by_role("button", name="Mark the parts").click()
    page.wait_for_url("**/parts/1")
    expect(page.locator(".lead")).to_contain_text("hands: mine")
    assert report_of(page)["options"]["profile"] == "mine"


PLAYERS = {"Ada Lindqvist": "c-trumpet", "Second desk": "bb-trumpet", "Piccolo chair": "a-piccolo"}


def test_a_season_s_files_from_a_folder_to_the_archive(page: Page, tmp_path: Path) -> None:
    tour = tmp_path / "Winter tour"
    for number in range(40):
        (tour / f"{number // 10}").mkdir(parents=True, exist_ok=True)
        data = PART.read_bytes().replace(b"</score-partwise>", b"<!-- %d -->\n</score-partwise>" % number)
        (tour / f"{number // 10}" / f"{number:02} tromba.musicxml").write_bytes(data)
    viola = FLAGGED.read_text().replace("rumpet", "iola").replace("brass.", "strings.")
    (tour / "viola.musicxml").write_text(viola)
    (tour / "notes.txt").write_text("rehearsal on Tuesday")
    page.goto("/")
    page.set_input_files("#folder", str(tour))
    page.set_input_files("#files", [str(OTHER), str(FLAGGED)])  # what is chosen next is added
    expect(page.locator("#chosen li")).to_have_count(43)
    page.get_by_role("button", name=f"Take out {FLAGGED.name}").click()
    slides = page.locator("#send > fieldset input[value=intonation]")
    slides.check()
    page.get_by_text("Several players", exact=True).click()
    page.get_by_role("button", name="One player more").click()
    for row, (name, trumpet) in enumerate(PLAYERS.items()):
        page.locator(f"#player-{row}-name").fill(name)
        page.locator(f"#player-{row}-instrument").select_option(trumpet)
    page.get_by_label("Name of this job").fill("Winter tour, first half")
    page.get_by_role("button", name="Mark the parts").click()
    page.wait_for_selector("#job[data-state=partly]", timeout=60_000)
    expect(page.get_by_role("heading", level=1)).to_have_text("Winter tour, first half")
    rows = page.locator(".parts > li")
    expect(rows).to_have_count(3 * 42)
    expect(rows.first).to_contain_text("viola.musicxml")  # failed first
    assert complaints(page) == []
    page.get_by_label("Find a file").fill("tromba")
    expect(page.locator(".parts > li:visible")).to_have_count(3 * 40)
    page.get_by_role("link", name="Second desk", exact=True).click()
    expect(rows).to_have_count(42)
    page.get_by_role("link", name="Side by side").click()
    expect(page.locator(".compare tbody tr")).to_have_count(42)
    assert complaints(page) == []
    page.get_by_role("link", name="Back to the job").click()
    page.get_by_role("link", name="Failed 3").click()
    expect(rows).to_have_count(3)
    with page.expect_download() as download:
        page.get_by_role("link", name="Everything (.zip)").click()
    with zipfile.ZipFile(download.value.path()) as archive:
        named = archive.namelist()
    assert {f"{name}/Winter tour/3/39 tromba.musicxml" for name in PLAYERS} <= set(named)
    page.get_by_label("The part to mark").first.select_option(index=0)
    page.get_by_role("button", name="Mark it").first.click()
    page.wait_for_url("**/parts/1")
    page.goto("/jobs?q=first half")
    expect(page.locator(".recent li")).to_have_count(1)
    page.goto("/")
    expect(slides).to_be_checked()  # remembered on this device
    page.goto("/words")
    expect(page.get_by_role("main")).to_contain_text("partial")
    assert complaints(page) == []


def test_axe_core_finds_nothing_on_a_job(page: Page, tmp_path: Path) -> None:
    bad = tmp_path / "bad.musicxml"
    bad.write_text("<score-partwise>")
    send(page, PART, bad)
    page.wait_for_selector("#job[data-state=partly]")
    assert complaints(page) == []


def test_the_pit_is_dark_and_the_print_is_not(page: Page, address: str) -> None:
    look_at(page, address)
    page.get_by_role("button", name="Pit").click()
    page.wait_for_selector("#paper > svg")

    def brightness(selector: str, side: str) -> float:
        colour = page.eval_on_selector(selector, f"(one) => getComputedStyle(one).{side}")
        return sum(map(float, re.findall(r"[\d.]+", colour)[:3])) / 3

    assert brightness("body", "backgroundColor") < 40
    assert brightness("#paper > svg", "color") > 180
    page.emulate_media(media="print")
    assert brightness("body", "backgroundColor") == 255
    assert brightness("#paper > svg", "color") == 0
    expect(page.locator(".beside")).to_be_hidden()


def test_a_form_from_another_site_is_refused(site: Service) -> None:
    with site.client() as client:
        for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Origin": "http://elsewhere.example"}):
            answer = client.post("/jobs", headers=headers, files={"files": ("a.musicxml", b"x")})
            assert answer.status_code == 403
            assert "another site" in answer.text


def test_the_page_lets_in_nothing_from_elsewhere(site: Service) -> None:
    """CSP level 3: no inline script or style, no other host, no frame."""
    with site.client() as client:
        answer = client.get("/")
    directives = answer.headers["Content-Security-Policy"].split(";")
    policy = {name: first for name, first, *_ in ([*one.split(), ""] for one in directives)}
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == "'self'"
    assert policy["style-src"] == "'self'"
    assert policy["frame-ancestors"] == "'none'"
    assert " style=" not in answer.text
    assert "<style" not in answer.text
    for script in re.findall(r"<script\b[^>]*>(.*?)</script>", answer.text, re.DOTALL):
        assert not script.strip()
    for address in re.findall(r'(?:src|href|action)="([^"]+)"', answer.text):
        assert address.startswith(("/", "#"))


def test_the_chart_of_every_trumpet_is_a_picture_a_table_and_a_print(page: Page) -> None:
    page.goto("/")
    links = page.locator("form.send a")
    addresses = [links.nth(index).get_attribute("href") or "" for index in range(links.count())]
    assert len(addresses) == len(available())
    for address, name in zip(addresses, available(), strict=True):
        assert page.request.get(f"{address}.svg").headers["content-type"].startswith("image/svg+xml")
        assert address.endswith(name)
    page.goto("/charts/bb-piccolo")
    expect(page.locator("tbody tr")).to_have_count(len(chart.rows(load("bb-piccolo"))))
    assert page.eval_on_selector(".paper img", "(one) => one.complete && one.naturalWidth > 0")
    assert complaints(page) == []
    with page.expect_download() as download:
        page.get_by_role("link", name="PDF to print").click()
    assert len(pypdf.PdfReader(download.value.path()).pages) == 1
    assert page.request.get("/charts/kazoo").status == 404
