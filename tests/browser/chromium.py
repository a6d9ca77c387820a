"""The machine's Chromium, kept quiet; tests skip visibly where there is none.

`.ci/run` installs one and sets CI, and then a missing browser is a failure.
"""

from __future__ import annotations

import os
import shutil

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)
MARKS = [
    pytest.mark.slow,
    pytest.mark.needs_chromium,
    pytest.mark.skipif(
        CHROMIUM is None and not os.environ.get("CI"),
        reason="no Chromium on this machine; install it to test the pages",
    ),
]


def opened_page(browser, address, width=1200, scheme="light"):
    """Open a page, and keep what it complains of and what it asks for."""
    page = browser.new_page(
        viewport={"width": width, "height": 900}, color_scheme=scheme
    )
    page.complaints, page.asked = [], []
    page.on("console", lambda said: page.complaints.append(said.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on("request", lambda request: page.asked.append(request.url))
    page.goto(address)
    return page


def settled(page):
    """Give a page once it has loaded, what is unfolded is drawn, and a list has its rows."""
    page.wait_for_function(
        "() => document.readyState === 'complete'"
        " && [...document.querySelectorAll('.chart')].filter(place => place.clientWidth)"
        ".every(place => place.dataset.drawn === 'yes')"
        " && [...document.querySelectorAll('#courses tbody')].every(body => body.rows.length)",
        timeout=30_000,
    )
    return page
