"""The queens page: the list, its filters and its order."""

from __future__ import annotations

import pytest
from chromium import MARKS
from queens_opened import COUNT_OF, open_queen

pytestmark = MARKS


def test_the_list_holds_every_course_and_its_states(base, visit, built):
    store, settings, _ = built
    page = visit(f"{base}/queens.html")
    read = page.evaluate(
        """() => queens.list.ids.map((id, row) => [
            id, queens.isoDate(queens.list.d0[row]), queens.list.named("operator", row),
            queens.list.dose[row], queens.list.onsetAfter[row], queens.list.onsetBy[row],
            queens.list.questions.map((_, number) => {
                const found = queens.list.state(number, row);
                return found && [found.state, found.closed];
            })])"""
    )
    states = {}
    for course, outcome, window, state, closed in store.rows(
        "SELECT course_id, outcome, window_days, state, closed FROM outcomes"
    ):
        states[course, outcome, window] = [state, closed]
    asked = settings.outcomes.windows
    rows = store.rows(
        'SELECT course_id, d0, operator, dose_ul, onset."after", onset."by" '
        "FROM courses JOIN onset USING (course_id) ORDER BY d0 DESC, course_id"
    )
    assert read == [
        [
            *(course, d0.isoformat(), operator, dose, after, by),
            [states.get((course, *question)) for question in asked],
        ]
        for course, d0, operator, dose, after, by in rows
    ]


def test_an_unknown_label_is_searched_for(disk, visit):
    page = visit(f"{disk}/queens.html#Birch")
    assert page.input_value("#query") == "Birch"
    assert visit(f"{disk}/queens.html#%E0%A4%A").complaints == []


FILTERS = {
    "open": "SELECT count(DISTINCT course_id) FROM outcomes WHERE NOT closed",
    "established by day 60": "SELECT count(*) FROM outcomes WHERE outcome = 'established' "
    "AND state = 'yes'",
    "not laying by day 21": "SELECT count(*) FROM outcomes WHERE outcome = 'laying' "
    "AND state = 'no'",
    "ended": "SELECT count(*) FROM ends",
    "undecided": "SELECT count(DISTINCT course_id) FROM outcomes WHERE closed "
    "AND state = 'undecided'",
}


@pytest.mark.parametrize("kept", FILTERS)
def test_a_filter_counts_what_the_tables_count(disk, visit, built, kept):
    store, _, _ = built
    ((count,),) = store.rows(FILTERS[kept])
    page = visit(f"{disk}/queens.html")
    option = page.locator(f"#state option[value='{kept}']").text_content()
    assert option.endswith(f"({count:,})")
    page.select_option("#state", kept)
    assert page.evaluate(COUNT_OF).startswith(f"{count:,} of ")


def test_filters_narrow_each_other_and_clear(disk, visit, built):
    store, _, _ = built
    ((operator, line, batch, d0, count),) = store.rows(
        "SELECT operator, line, graft_batch, d0, count(*) FROM courses "
        "WHERE operator IS NOT NULL AND graft_batch IS NOT NULL "
        "GROUP BY ALL ORDER BY 5 DESC, 1, 2, 3, 4 LIMIT 1"
    )
    page = visit(f"{disk}/queens.html")
    everyone = page.evaluate(COUNT_OF)
    page.select_option("#operator", label=operator)
    page.select_option("#line", label=line)
    page.fill("#batch", batch)
    page.fill("#from", d0.isoformat())
    page.fill("#to", d0.isoformat())
    assert page.evaluate(COUNT_OF).startswith(f"{count} of ")
    page.fill("#query", "nobody's queen")
    assert page.evaluate(COUNT_OF).startswith("None of ")
    assert page.locator("#list").is_hidden()
    page.click("#clear")
    assert page.evaluate(COUNT_OF) == everyone


@pytest.mark.parametrize(
    ("key", "cell", "column"),
    [("id", 0, "course_id"), ("d0", 2, "d0"), ("operator", 3, "operator")],
)
def test_a_column_sorts_up_and_down(disk, visit, built, key, cell, column):
    store, _, _ = built
    page = visit(f"{disk}/queens.html")
    button = page.locator(f"#courses th button[data-key={key}]")
    button.click()
    way = button.locator("xpath=..").get_attribute("aria-sort")
    button.click()
    assert {way, button.locator("xpath=..").get_attribute("aria-sort")} == {
        "ascending",
        "descending",
    }
    if way == "descending":
        button.click()
    shown = page.locator("#courses tbody tr").evaluate_all(
        f"rows => rows.map(row => row.cells[{cell}].textContent)"
    )
    extreme = "max" if page.locator("th[aria-sort=descending]").count() else "min"
    ((first,),) = store.rows(f"SELECT {extreme}({column}) FROM courses")
    assert shown[0] == str(first)
    assert shown == sorted(shown, reverse=extreme == "max")


def test_more_rows_come_on_demand_and_take_the_focus(disk, visit):
    page = visit(f"{disk}/queens.html")
    assert page.locator("#courses tbody tr").count() == 50
    page.click("#more")
    assert page.locator("#courses tbody tr").count() == 100
    shown = page.locator("#courses tbody tr").nth(50).locator("button")
    assert page.evaluate("document.activeElement.textContent") == shown.inner_text()


def test_a_queen_is_picked_drawn_and_closed_again(disk, visit):
    page = visit(f"{disk}/queens.html")
    page.fill("#query", "Q26-0153")
    assert page.locator("#courses tbody tr").count() == 1
    page.click("#courses tbody button")
    page.wait_for_selector("#panel svg[role=img]")
    assert page.evaluate("getComputedStyle(document.body).position") == "static"
    assert page.evaluate("location.hash") == "#Q26-0153%2F1"
    assert page.evaluate("document.activeElement.tagName") == "H2"
    alternative = page.locator("#panel svg[role=img]").get_attribute("aria-label")
    assert "Q26-0153/1" in alternative
    assert "laying began after day 13 and by day 22" in alternative
    page.get_by_role("button", name="Close").click()
    page.wait_for_selector("#panel", state="hidden")
    assert page.evaluate("document.activeElement.textContent") == "Q26-0153/1"
    assert page.complaints == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_her_story_fits_a_phone(disk, visit, scheme):
    page = open_queen(visit, disk, "Q26-0153/1", width=360, scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.locator(".stage svg").bounding_box()["width"] <= 360


def test_paper_shows_the_queen_and_not_the_list(disk, visit):
    page = open_queen(visit, disk, "Q26-0153/1")
    page.emulate_media(media="print")
    assert page.locator("#list").is_hidden()
    assert page.locator("#find").is_hidden()
    assert page.locator("main .lead").first.is_hidden()
    assert page.locator(".stage svg").is_visible()


@pytest.mark.parametrize("width", [700, 1000, 1280])
def test_her_tables_show_every_cell_whole(disk, visit, width):
    page = open_queen(visit, disk, "Q26-0153/1", width=width)
    over = page.locator("#panel .scroll").evaluate_all(
        "all => all.map(e => e.scrollWidth - e.clientWidth)"
    )
    assert over == [0, 0]
