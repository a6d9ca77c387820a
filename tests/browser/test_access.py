"""Every page by the rules of accessibility, in light and in dark, all of it unfolded."""

from __future__ import annotations

from chromium import MARKS, settled

pytestmark = MARKS

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


def test_a_page_keeps_the_rules(each_page):
    each_page.evaluate(UNFOLD)
    assert violations(settled(each_page)) == []
    each_page.emulate_media(color_scheme="dark")
    assert violations(settled(each_page), COLOURS) == []
    assert each_page.complaints == []


def test_a_phone_keeps_the_rules_too(dashboard, visit):
    page = settled(visit((dashboard / "index.html").as_uri(), width=360))
    assert violations(page) == []
