"""Every page in a real browser, from the file system and over localhost.

Skips visibly where there is no Chromium; `.ci/run` installs one and sets CI, and then a
missing browser is a failure.
"""

from __future__ import annotations

import functools
import http.server
import os
import shutil
import threading

import pytest
from demo_station import run

PAGES = ("index", "queens", "onset", "factors", "records", "methods")
CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)

pytestmark = [
    pytest.mark.slow,
    pytest.mark.needs_chromium,
    pytest.mark.skipif(
        CHROMIUM is None and not os.environ.get("CI"),
        reason="no Chromium on this machine; install it to test the pages",
    ),
]


@pytest.fixture(scope="module")
def dashboard(built_demo):
    return (built_demo / "dashboard").resolve()


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with (
        sync_playwright() as play,
        play.chromium.launch(executable_path=CHROMIUM, args=QUIET) as chromium,
    ):
        yield chromium


class _Silent(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_):
        pass


@pytest.fixture(scope="module", params=["file", "localhost"])
def base(request, dashboard):
    if request.param == "file":
        yield dashboard.as_uri()
        return
    handler = functools.partial(_Silent, directory=str(dashboard))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


@pytest.fixture
def visit(browser):
    """Open a page and note every complaint and every request."""
    opened = []

    def go(address, width=1200, scheme="light"):
        page = browser.new_page(
            viewport={"width": width, "height": 900}, color_scheme=scheme
        )
        page.complaints, page.asked = [], []
        page.on("console", lambda said: page.complaints.append(said.text))
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        page.on("request", lambda request: page.asked.append(request.url))
        page.goto(address)
        opened.append(page)
        return page

    yield go
    for page in opened:
        page.close()


@pytest.mark.parametrize("name", PAGES)
def test_a_page_opens_without_complaint_and_asks_for_nothing_outside(base, visit, name):
    page = visit(f"{base}/{name}.html")
    page.wait_for_load_state("networkidle")
    assert page.complaints == []
    outside = [url for url in page.asked if not url.startswith((base, "data:"))]
    assert outside == []
    assert page.locator("h1").count() == 1


def test_the_charts_are_drawn(base, visit):
    page = visit(f"{base}/index.html")
    page.wait_for_selector("#chart-cohorts[data-drawn=yes]", timeout=10_000)
    assert page.locator("#chart-cohorts svg .mark-symbol path").count() > 10


def test_a_queen_is_found_and_her_looks_are_shown(base, visit):
    page = visit(f"{base}/queens.html")
    page.wait_for_selector("#courses tbody tr")
    everyone = page.locator("#found").inner_text()
    page.fill("#query", "Q26-0153")
    page.wait_for_function(
        "before => document.querySelector('#found').textContent !== before",
        arg=everyone,
    )
    assert page.locator("#courses tbody tr").count() == 1
    page.click("#courses tbody button")
    assert "Q26-0153/1" in page.locator("#panel h2").inner_text()
    assert page.locator("#panel table").first.locator("tbody tr").count() >= 1


def test_the_filter_keeps_only_what_it_says(base, visit):
    page = visit(f"{base}/queens.html")
    page.select_option("#state", "ended")
    page.wait_for_selector("#courses tbody tr")
    ends = page.locator("#courses tbody tr td:last-child").all_inner_texts()
    assert ends
    assert all("by day" in end for end in ends)


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_scrolls_sideways_on_a_phone(base, visit, name, scheme):
    page = visit(f"{base}/{name}.html", width=360, scheme=scheme)
    page.wait_for_load_state("networkidle")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


HOSTILE = "<script>document.title='taken'</script><img src=x onerror=alert(1)>"


def test_records_that_hold_scripts_stay_text(tmp_path, visit):
    records = tmp_path / "station" / "records"
    records.mkdir(parents=True)
    (records.parent / "station.toml").write_text(
        f'name = "{HOSTILE}"\nas_of = 2026-07-19\n', encoding="utf-8"
    )
    (records / "inseminations.csv").write_text(
        "queen_id,inseminated_at,operator,dose_ul,note\n"
        f'"{HOSTILE}",2026-07-01 10:00,"{HOSTILE}","{HOSTILE}","{HOSTILE}"\n',
        encoding="utf-8",
    )
    (records / "checks.csv").write_text(
        "queen_id,checked_on,eggs,note\n"
        f'"{HOSTILE}",2026-07-12,"{HOSTILE}","{HOSTILE}"\n'
        f'"{HOSTILE}",2026-07-13,yes,\n',
        encoding="utf-8",
    )
    assert run("build", records.parent).returncode == 0
    folder = (records.parent / "build" / "latest" / "dashboard").resolve()
    for name in PAGES:
        page = visit((folder / f"{name}.html").as_uri())
        page.wait_for_load_state("networkidle")
        assert page.title() != "taken"
        assert page.complaints == []
        assert page.locator("main img, header img").count() == 0
    page = visit((folder / "queens.html").as_uri())
    page.click("#courses tbody button")
    assert HOSTILE in page.locator("#panel").inner_text()
