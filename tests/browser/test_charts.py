"""What charts do: they are drawn, told in words, answer to pointing, and can be taken along."""

from __future__ import annotations

import csv
import io
import json
import struct
import xml.etree.ElementTree as ET

import pytest
from chromium import MARKS
from queen_outcomes.dashboard import site

pytestmark = MARKS

PAGES = tuple(name for name, _, _ in site.PAGES)
SVG = "{http://www.w3.org/2000/svg}"
AS_OF = "2026-07-19"


@pytest.fixture
def opened(dashboard, visit):
    """Give a maker of pages whose charts are all drawn."""

    def open_page(name, **how):
        page = visit((dashboard / f"{name}.html").as_uri(), **how)
        unfold(page)
        page.wait_for_function(
            "() => [...document.querySelectorAll('.chart')]"
            ".every(place => place.dataset.drawn === 'yes')",
            timeout=30_000,
        )
        return page

    return open_page


def unfold(page):
    """Show all of a page: what is folded is drawn only then."""
    page.evaluate(
        "document.querySelectorAll('details').forEach(d => { d.open = true; });"
        "document.querySelectorAll('.outcome, .story')"
        ".forEach(part => { part.style.display = 'block'; })"
    )


def specs_of(page):
    """Give the page's charts as specifications."""
    found = page.locator("#chart-specs")
    return json.loads(found.text_content()) if found.count() else {}


@pytest.mark.parametrize("name", PAGES)
def test_every_chart_is_drawn_told_and_has_its_numbers_one_click_away(opened, name):
    page = opened(name)
    for chart, spec in specs_of(page).items():
        place = page.locator(f"#chart-{chart}")
        drawn = place.locator(".role-mark path, .role-mark line, .role-mark text")
        assert drawn.count() > 0, chart
        assert place.get_attribute("role") == "img"
        assert len(place.get_attribute("aria-label")) > 20, chart
        tools = page.locator(f"#chart-{chart} + .tools")
        title = tools.get_attribute("aria-label").removeprefix("Tools of the chart:")
        assert title.strip(), chart
        pointed_at = [unit for unit in units_of(spec) if "tooltip" in unit["encoding"]]
        assert pointed_at, chart
    for chart in specs_of(page):
        page.evaluate(
            "document.querySelectorAll('details').forEach("
            "d => { d.open = d.querySelector('.chart') !== null; })"
        )
        page.locator(f"#chart-{chart} + .tools button", has_text="Numbers").click()
        reached = page.evaluate(
            "(document.activeElement.closest('details') ?? document.activeElement)"
            ".querySelectorAll('tbody tr').length"
        )
        assert reached > 0, chart


def units_of(spec):
    """Give the layers of a chart, however deep."""
    if "layer" in spec:
        return [unit for part in spec["layer"] for unit in units_of(part)]
    return [spec]


def saved(page, chart, face):
    """Press a button of a chart's tools by keyboard; give the file's name and bytes."""
    button = page.locator(f"#chart-{chart} + .tools button", has_text=face)
    with page.expect_download() as waiting:
        button.focus()
        page.keyboard.press("Enter")
    done = waiting.value
    return done.suggested_filename, done.path().read_bytes()


def test_a_chart_is_saved_as_a_picture(base, visit):
    page = visit(f"{base}/index.html")
    page.wait_for_selector("#chart-cohorts[data-drawn=yes]")
    name, content = saved(page, "cohorts", "PNG")
    assert name == f"cohorts_{AS_OF}.png"
    assert content.startswith(b"\x89PNG\r\n")
    width, height = struct.unpack(">II", content[16:24])
    shown = page.locator("#chart-cohorts svg").bounding_box()
    assert width >= 2 * shown["width"]
    assert height >= 2 * shown["height"]
    assert page.complaints == []


def test_a_saved_drawing_says_what_it_is(opened):
    page = opened("index")
    name, content = saved(page, "cohorts", "SVG")
    assert name == f"cohorts_{AS_OF}.svg"
    root = ET.fromstring(content)
    texts = [" ".join(text.itertext()) for text in root.iter(f"{SVG}text")]
    assert page.locator("#seasons").inner_text() in texts
    assert any(text.endswith(f"as of {AS_OF}") for text in texts)
    assert b"currentColor" not in content


def test_saved_numbers_are_those_of_the_table(opened):
    page = opened("index")
    name, content = saved(page, "cohorts", "CSV")
    assert name == f"cohorts_{AS_OF}.csv"
    rows = {
        row["iso_week"]: row for row in csv.DictReader(io.StringIO(content.decode()))
    }
    shown = page.locator("#cohort-table tbody tr").evaluate_all(
        "rows => rows.map(row => [...row.cells].map(cell => cell.textContent))"
    )
    drawn = [cells for cells in shown if cells[7] != "–"]
    assert [cells[0] for cells in drawn] == list(rows)
    for week, courses, _, *counts, share, _, _, _ in drawn:
        own = rows[week]
        assert own["courses"] == courses
        assert [own[key] for key in ("yes", "no", "undecided", "left")] == counts
        assert f"{100 * float(own['share']):.0f} %" == share


def faint(page, chart):
    """Count the marks that stand back."""
    return page.locator(f"#chart-{chart} .role-mark path").evaluate_all(
        "marks => marks.filter(mark => { const opacity = mark.getAttribute('opacity');"
        " return opacity !== null && Number(opacity) < 0.2 && Number(opacity) > 0; }).length"
    )


def test_a_legend_entry_shows_its_series_alone(opened):
    page = opened("onset")
    chart = "onset-protocol"
    before = faint(page, chart)
    entries = page.locator(f"#chart-{chart} .role-legend-label text")
    levels = entries.all_text_contents()
    entries.first.click()
    alone = faint(page, chart)
    assert alone > before
    choice = page.locator(f"#chart-{chart} + .tools select")
    assert choice.input_value() == levels[0]
    entries.nth(1).click(modifiers=["Shift"])
    assert before < faint(page, chart) < alone or len(levels) == 2
    choice.select_option("")
    page.wait_for_timeout(100)
    assert faint(page, chart) == before


def test_a_series_is_chosen_from_the_list_too(opened):
    page = opened("onset")
    chart = "onset-protocol"
    before = faint(page, chart)
    page.locator(f"#chart-{chart} + .tools select").select_option(index=1)
    page.wait_for_timeout(100)
    assert faint(page, chart) > before


def test_pointing_at_a_week_tells_its_counts(opened):
    page = opened("index")
    page.locator("#chart-cohorts .role-mark.cohorts_marks path").first.hover()
    told = page.locator("#vg-tooltip-element.visible")
    told.wait_for(timeout=3000)
    text = told.inner_text()
    for word in ("week", "from", "courses", "yes", "no", "undecided", "left"):
        assert word in text


def shown_weeks(page):
    """Give the weeks that the table shows."""
    return page.locator(
        "#cohort-table tbody tr:not([hidden]) td:first-child"
    ).evaluate_all("cells => cells.map(cell => cell.textContent)")


def test_weeks_drawn_across_are_added_up(opened):
    page = opened("index")
    everything = shown_weeks(page)
    said = page.locator("#weeks output")
    before = said.inner_text()
    place = page.locator("#chart-cohorts svg")
    place.scroll_into_view_if_needed()
    box = place.bounding_box()
    middle = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + 0.3 * box["width"], middle)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], middle, steps=5)
    page.mouse.up()
    some = shown_weeks(page)
    assert 1 <= len(some) < len(everything)
    for year in sorted({week[:4] for week in some}):  # the same weeks of each season
        own = [week for week in some if week.startswith(year)]
        assert f"{own[0]} to {own[-1]}: " in said.inner_text()
    page.get_by_role("button", name="All weeks").click()
    assert shown_weeks(page) == everything
    assert said.inner_text() == before


def test_weeks_chosen_from_the_lists_are_added_up_in_each_season(opened):
    page = opened("index")
    weeks = shown_weeks(page)
    page.locator("#weeks select").first.select_option("W19")
    page.locator("#weeks select").nth(1).select_option("W21")
    some = [week for week in weeks if week[5:] in ("W19", "W20", "W21")]
    assert shown_weeks(page) == some
    counted = page.locator("#cohort-table tbody tr:not([hidden])").evaluate_all(
        "rows => rows.map(row => [row.cells[0].textContent, Number(row.cells[1].textContent)])"
    )
    said = page.locator("#weeks output").inner_text()
    for year in ("2025", "2026"):
        total = sum(number for week, number in counted if week.startswith(year))
        assert f"{year}-W19 to {year}-W21: {total} courses, " in said


def test_the_weeks_hold_every_course_of_both_seasons(opened, built):
    store, _, _ = built
    page = opened("index")
    counted = page.locator("#cohort-table tbody tr").evaluate_all(
        "rows => Object.fromEntries("
        "rows.map(row => [row.cells[0].textContent, Number(row.cells[1].textContent)]))"
    )
    weeks = store.rows(
        "SELECT iso_week, count(*) FROM courses WHERE season IN "
        "(SELECT DISTINCT season FROM courses ORDER BY season DESC LIMIT 2) GROUP BY 1"
    )
    assert counted == dict(weeks)


@pytest.mark.parametrize(
    ("name", "charts"),
    [("factors", "[id^=chart-differences-]"), ("doses", "[id^=chart-arms-]")],
)
def test_names_leave_a_phone_s_chart_more_than_half_of_its_width(opened, name, charts):
    page = opened(name, width=360)
    shares = page.locator(charts).evaluate_all(
        """places => places.map(place => {
            const plot = place.querySelector(".role-frame .background").getBoundingClientRect();
            return plot.width / place.getBoundingClientRect().width;
        })"""
    )
    assert shares
    assert min(shares) > 0.5


@pytest.mark.parametrize("name", PAGES)
def test_no_title_of_an_axis_is_cut_off_on_a_phone(opened, name):
    page = opened(name, width=360)
    cut = page.locator(".chart .role-axis-title text").evaluate_all(
        """titles => titles.filter(title => {
            const whole = title.closest("svg").getBoundingClientRect();
            const own = title.getBoundingClientRect();
            return own.left < whole.left - 1 || own.right > whole.right + 1;
        }).map(title => title.textContent)"""
    )
    assert cut == []
