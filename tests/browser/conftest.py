"""A browser, the demo's dashboard from a disk and over localhost, and pages that complain."""

from __future__ import annotations

import functools
import http.server
import threading

import pytest
from chromium import CHROMIUM, QUIET
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import load


@pytest.fixture(scope="session")
def browser():
    from playwright.sync_api import sync_playwright

    with (
        sync_playwright() as play,
        play.chromium.launch(executable_path=CHROMIUM, args=QUIET) as chromium,
    ):
        yield chromium


@pytest.fixture(scope="module")
def dashboard(built_demo):
    return (built_demo / "dashboard").resolve()


@pytest.fixture(scope="module")
def built(built_demo):
    """The demo's finished tables, its settings and its as-of day."""
    settings = load(built_demo.parents[1])
    with Store(built_demo / "station.duckdb", read_only=True) as store:
        yield store, settings, settings.as_of


class _Silent(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_):
        pass


@pytest.fixture(scope="module", params=["file", "localhost"])
def base(request, dashboard):
    """Where the demo's pages are: on the disk, and served to this machine alone."""
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
