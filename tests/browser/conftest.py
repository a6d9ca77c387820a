"""A browser, the demo's dashboard from a disk and over localhost, and pages that complain."""

from __future__ import annotations

import functools
import http.server
import threading

import pytest
from chromium import CHROMIUM, QUIET, opened_page, settled
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import site
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


@pytest.fixture(scope="module")
def disk(dashboard):
    """Where the demo's pages are on the disk."""
    return dashboard.as_uri()


@pytest.fixture(scope="module")
def served(dashboard):
    """Where they are served to this machine alone."""
    handler = functools.partial(_Silent, directory=str(dashboard))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


@pytest.fixture(params=["disk", "served"])
def base(request):
    """Both, for what a browser may allow in one place and not in the other."""
    return request.getfixturevalue(request.param)


@pytest.fixture
def visit(browser):
    """Open a page and note every complaint and every request."""
    opened = []

    def go(address, width=1200, scheme="light"):
        opened.append(opened_page(browser, address, width, scheme))
        return opened[-1]

    yield go
    for page in opened:
        page.close()


@pytest.fixture(scope="module", params=[name for name, _, _ in site.PAGES])
def each_page(request, browser, dashboard):
    """Give a page of the demo, opened once for all tests of a file; none may leave marks."""
    address = (dashboard / f"{request.param}.html").as_uri()
    page = opened_page(browser, address, width=1280)
    page.name = request.param
    yield settled(page)
    page.close()
