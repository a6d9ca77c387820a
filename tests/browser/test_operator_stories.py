"""The operators' page in a browser: the answer first, her queens in two clicks, lists that sort."""

from __future__ import annotations

import re

import pytest
from chromium import MARKS
from test_access import UNFOLD, violations

pytestmark = MARKS

TALLEST = 3500
SHOWN = "[...document.querySelectorAll('.chart')].filter(p => p.clientWidth)"
# a function: text alone is read anew at every look, which the pages' policy forbids
ALL_DRAWN = f"() => {SHOWN}.every(p => p.dataset.drawn === 'yes')"


@pytest.fixture
def opened(dashboard, visit):
    """Open the page with every chart drawn that is to be seen."""

    def go(width=1280, **how):
        page = visit((dashboard / "operators.html").as_uri(), width=width, **how)
        page.wait_for_function(ALL_DRAWN)
        return page

    return go


def failed_of(built, name):
    store, settings, _ = built
    outcome, days = settings.plan.question
    return store.rows(
        "SELECT course_id FROM outcomes INNER JOIN courses USING (course_id) WHERE "
        "operator = $name AND outcome = $outcome AND window_days = $days AND closed "
        "AND state = 'no'",
        {"name": name, "outcome": outcome, "days": days},
    )


def test_the_page_opens_with_its_answer_and_is_short(opened):
    page = opened()
    assert page.evaluate("document.documentElement.scrollHeight") <= TALLEST
    lead = page.locator(".lead").bounding_box()
    assert lead["y"] < 300
    last = page.locator(".rows tbody tr").last.bounding_box()
    assert last["y"] + last["height"] < 900
    assert page.locator(".rows .spark").count() > 1


def test_an_operator_finds_her_failed_queens_in_two_clicks(built, opened):
    page = opened()
    row = page.locator(".rows tbody tr").first
    name = row.locator("a").inner_text()
    row.locator("a").click()
    story = page.locator(".story:visible")
    assert story.count() == 1
    assert story.locator("h2").inner_text() == name
    story.get_by_text("Her failed queens").click()
    shown = story.locator("details[open] tbody tr")
    wanted = [course for (course,) in failed_of(built, name)]
    assert shown.count() == min(len(wanted), 100)
    first = shown.first.locator("a")
    assert first.get_attribute("href").endswith("%2F1")
    queen = first.inner_text()
    first.click()
    page.wait_for_selector("#panel h2")
    assert queen in page.locator("#panel h2").inner_text()


def test_a_story_draws_its_charts_when_it_is_opened_and_can_be_linked(dashboard, visit):
    page = visit((dashboard / "operators.html").as_uri() + "#story-2")
    page.wait_for_function(ALL_DRAWN)
    assert page.locator(".story:visible .chart svg").count() > 0
    page.locator(".story:visible .close a").click()
    assert page.locator(".story:visible").count() == 0
    assert page.complaints == []


def test_a_story_keeps_the_rules_of_accessibility(dashboard, visit):
    page = visit((dashboard / "operators.html").as_uri() + "#story-2")
    page.wait_for_function(ALL_DRAWN)
    page.evaluate(UNFOLD)
    assert violations(page) == []


def test_rows_sort_by_a_heading_by_number_and_back(opened):
    page = opened()

    def failed():
        cells = page.locator(".rows tbody tr td:nth-child(4)").all_inner_texts()
        return [float(cell.split()[0]) for cell in cells]

    before = failed()
    button = page.locator(".rows").get_by_role("button", name=re.compile("^Failed"))
    button.focus()
    page.keyboard.press("Enter")
    assert failed() == sorted(before)
    button.click()
    assert failed() == sorted(before, reverse=True)
    heading = page.locator(".rows th[aria-sort]")
    assert heading.count() == 1
    assert heading.get_attribute("aria-sort") == "descending"


@pytest.mark.parametrize("width", [360, 640])  # a phone, and 1280 at 200 %
def test_nothing_scrolls_sideways_with_a_story_open(dashboard, visit, width):
    page = visit((dashboard / "operators.html").as_uri() + "#story-2", width=width)
    page.wait_for_function(ALL_DRAWN)
    page.evaluate(
        "document.querySelectorAll('details').forEach(d => { d.open = true; })"
    )
    page.wait_for_function(ALL_DRAWN)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
