"""Every page by the rules of accessibility, in light and in dark, all of it unfolded."""

from __future__ import annotations

import pytest
from chromium import MARKS
from queen_outcomes.dashboard import site

pytestmark = MARKS

PAGES = tuple(name for name, _, _ in site.PAGES)
OPTIONS = {"preload": False, "resultTypes": ["violations"]}
"""The rules would otherwise ask for the style sheet again, which the page forbids."""
COLOURS = ("color-contrast", "link-in-text-block")
"""What the dark page may break and the light one keep: the two differ in colours alone."""
UNFOLD = """
document.querySelectorAll("details").forEach(part => { part.open = true; });
document.querySelectorAll("tbody").forEach(body =>
  [...body.rows].slice(4).forEach(row => row.remove()));
"""
"""Rows of a table look alike: a few of each stand for all, in a tenth of the time."""


def violations(page, only=()):
    """Give what the rules find, in words."""
    from axe_playwright_python.sync_playwright import Axe

    some = {"runOnly": {"type": "rule", "values": list(only)}} if only else {}
    found = Axe().run(page, options=OPTIONS | some).response["violations"]
    return [
        f"{rule['id']}: {node['html'][:120]}"
        for rule in found
        for node in rule["nodes"]
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", PAGES)
def test_a_page_keeps_the_rules(dashboard, visit, name, scheme):
    page = visit((dashboard / f"{name}.html").as_uri(), scheme=scheme)
    page.wait_for_load_state("networkidle")
    page.evaluate(UNFOLD)
    assert violations(page, COLOURS if scheme == "dark" else ()) == []
    assert page.complaints == []


def test_a_phone_keeps_the_rules_too(dashboard, visit):
    page = visit((dashboard / "index.html").as_uri(), width=360)
    page.wait_for_load_state("networkidle")
    assert violations(page) == []
