"""What is picked in one chart marks the same courses in the others, counted in the tables."""

from __future__ import annotations

import pytest
from chromium import MARKS

pytestmark = MARKS

RINGED = """
(place) => {
  const rings = [...place.querySelectorAll(".picked_marks path, .picked_marks line")];
  const seen = rings.filter(ring => Number(ring.getAttribute("opacity")) > 0);
  return seen.map(ring => ring.__data__.datum);
}
"""
"""The rows whose marks are ringed: a drawn mark knows its own."""


@pytest.fixture
def opened(dashboard, visit):
    """Give a maker of pages with all that is folded open and all charts drawn."""

    def open_page(name):
        page = visit((dashboard / f"{name}.html").as_uri(), width=1280)
        page.evaluate(
            "document.querySelectorAll('details').forEach(d => { d.open = true; });"
        )
        page.wait_for_function(
            "() => [...document.querySelectorAll('.chart')].filter(place => place.clientWidth)"
            ".every(place => place.dataset.drawn === 'yes')",
            timeout=60_000,
        )
        return page

    return open_page


def ringed(page, chart, field):
    """Give the levels whose marks a chart rings."""
    return {row[field] for row in page.locator(f"#chart-{chart}").evaluate(RINGED)}


def choose(page, chart, level):
    """Choose a level from the list under a chart, as keys and fingers do."""
    chooser = page.locator(f"#chart-{chart} + .tools select").first
    assert chooser.get_attribute("aria-label").startswith("Mark one ")
    chooser.select_option(level)


def click(page, chart, field, level):
    """Click on the mark of a level."""
    marks = page.locator(f"#chart-{chart} .role-mark:not(.picked_marks) path")
    at = marks.evaluate_all(
        "(marks, [field, level]) => marks.findLastIndex("
        "mark => mark.__data__?.datum?.[field] === level)",
        [field, level],
    )
    marks.nth(at).click()


def levels(built, of, where, value, season="2026"):
    """Count in the tables which levels the courses with a value have."""
    store, _, as_of = built
    rows = store.rows(
        f'SELECT DISTINCT "{of}" FROM courses WHERE "{where}" = $value '
        f'AND "{of}" IS NOT NULL AND season = $season AND d0 <= $day',
        {"value": value, "season": season, "day": as_of},
    )
    return {str(level) for (level,) in rows}


def said(page):
    return page.locator("#picked output").inner_text()


def is_clear(page, *charts):
    """Tell whether nothing is marked, once the charts have come to rest."""
    page.locator("#picked").wait_for(state="hidden")
    page.wait_for_timeout(200)
    return not any(page.locator(f"#chart-{one}").evaluate(RINGED) for one in charts)


def test_a_graft_marks_its_weeks_and_hands_on_the_first_page(opened, built):
    page = opened("index")
    assert "Escape or a second click clears" in page.locator(".hint").inner_text()
    click(page, "grafts", "name", "G26-10")
    page.wait_for_timeout(300)
    assert ringed(page, "hands", "name") == levels(
        built, "operator", "graft_batch", "G26-10"
    )
    weeks = levels(built, "iso_week", "graft_batch", "G26-10")
    assert ringed(page, "cohorts", "iso_week") == weeks
    assert "Marked: graft batch G26-10: " in said(page)
    click(page, "grafts", "name", "G26-10")
    assert is_clear(page, "grafts", "hands", "cohorts")
    assert page.complaints == []


def test_an_operator_from_the_list_marks_grafts_and_escape_clears(opened, built):
    page = opened("index")
    choose(page, "hands", "Rowan")
    page.wait_for_timeout(300)
    mine = levels(built, "graft_batch", "operator", "Rowan")
    closed = ringed(page, "grafts", "name")
    assert closed
    assert closed <= mine  # a graft without a decided course is not drawn
    page.keyboard.press("Escape")
    assert is_clear(page, "grafts", "hands", "cohorts")


def test_a_week_marks_its_grafts_and_is_added_up(opened, built):
    page = opened("index")
    click(page, "cohorts", "iso_week", "2026-W20")
    page.wait_for_timeout(300)
    assert ringed(page, "grafts", "name") == levels(
        built, "graft_batch", "iso_week", "2026-W20"
    )
    assert "2026-W20: " in page.locator("#weeks output").inner_text()
    page.get_by_role("button", name="Clear").click()
    assert is_clear(page, "grafts", "hands", "cohorts")
    assert page.locator("#cohort-table tbody tr[hidden]").count() == 0


def test_each_kind_marks_the_others_on_the_operators_page(opened, built):
    page = opened("operators")
    rows = page.locator("tr[data-level]")
    everybody = rows.evaluate_all("all => all.map(row => row.dataset.level)")
    pick = page.locator("button.pick").nth(everybody.index("Birch"))
    pick.focus()
    page.keyboard.press("Enter")
    page.wait_for_timeout(500)
    assert pick.get_attribute("aria-pressed") == "true"
    assert ringed(page, "process-attempts", "operator") == {"Birch"}
    grafts = {
        name
        for season in ("2025", "2026")
        for name in levels(built, "graft_batch", "operator", "Birch", season)
    }
    drawn = ringed(page, "funnel-graft-batch", "name")
    assert drawn
    assert drawn <= grafts
    page.keyboard.press("Escape")
    assert is_clear(page, "funnel-graft-batch", "process-attempts")

    choose(page, "funnel-semen-batch", "S26-047")
    page.wait_for_timeout(500)
    theirs = levels(built, "operator", "semen_batch", "S26-047")
    assert ringed(page, "process-attempts", "operator") <= theirs
    assert ringed(page, "funnel-graft-batch", "name") <= levels(
        built, "graft_batch", "semen_batch", "S26-047"
    )
    assert ringed(page, "over-station-0", "semen") == {"S26-047"}
    marked = page.locator("tr.marked").evaluate_all(
        "all => all.map(r => r.dataset.level)"
    )
    assert set(marked) == theirs

    choose(page, "days", "2026-06-01")
    page.wait_for_timeout(500)
    assert ringed(page, "days", "date") == {"2026-06-01"}
    assert ringed(page, "over-station-0", "done") <= {"2026-06-01"}
    assert page.complaints == []


def test_days_are_the_same_wherever_the_clock_is(dashboard, browser):
    """West of Greenwich a day without a time must not slip to the day before."""
    page = browser.new_page(timezone_id="America/Los_Angeles")
    page.goto((dashboard / "operators.html").as_uri())
    page.evaluate(
        "document.querySelectorAll('details').forEach(d => { d.open = true; })"
    )
    page.wait_for_selector("#chart-days[data-drawn=yes]")
    found = page.locator("#chart-days .role-axis-label text").all_text_contents()
    rows = page.locator("#chart-days").evaluate(
        "p => [...p.querySelectorAll('.of_days_marks path')].map(m => m.__data__.datum)"
        ".map(row => [row.date, new Date(row.day).toISOString().slice(0, 10)])"
    )
    assert rows
    assert all(said == drawn for said, drawn in rows)
    dates = [text for text in found if "-" in text]
    assert dates
    assert all(len(text) == 10 for text in dates)
    page.close()


def test_an_arm_marks_itself_in_every_chart_of_the_doses(opened):
    page = opened("doses")
    choose(page, "trade-part-0", "single 8")
    page.wait_for_timeout(300)
    assert ringed(page, "arms-part-0", "of") == {"single 8"}
    assert ringed(page, "costs-part-0", "arm") == {"single 8"}
    assert "by operator: " in said(page)


def test_a_week_of_the_picture_lists_its_queens(opened, built):
    page = opened("queens")
    store, _, _ = built
    week = "2026-W20"
    click(page, "fates", "iso_week", week)
    ((many,),) = store.rows(
        "SELECT count(*) FROM courses WHERE iso_week = $week", {"week": week}
    )
    assert page.inner_text("#found").startswith(f"{many} of ")
    assert ringed(page, "fates", "iso_week") == {week}
    page.keyboard.press("Escape")
    assert is_clear(page, "fates")
    assert page.input_value("#from") == ""


def test_a_checker_marks_the_weeks_of_her_looks(opened, built):
    page = opened("records")
    store, _, as_of = built
    choose(page, "blanks", "Tansy")
    page.wait_for_timeout(300)
    weeks = store.rows(
        "SELECT DISTINCT strftime(checked_on, '%G-W%V') FROM accepted_checks "
        "WHERE checker = 'Tansy' AND checked_on <= $day",
        {"day": as_of},
    )
    assert ringed(page, "rows", "iso_week") == {week for (week,) in weeks}
