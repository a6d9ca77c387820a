"""What each reader finds at once: the head of the station, the breeder, and who has a colony."""

from __future__ import annotations

import re

import pytest
from chromium import MARKS, settled

pytestmark = MARKS

SCREEN = {"width": 1280, "height": 900}


@pytest.fixture
def first_screen(dashboard, visit):
    """Give the texts of the first page that stand within the first screen."""
    page = visit((dashboard / "index.html").as_uri(), width=SCREEN["width"])
    page.set_viewport_size(SCREEN)
    settled(page)
    return page.evaluate(
        """() => {
            const texts = [];
            for (const part of document.querySelectorAll("main a, main p, main li, main dt")) {
                const box = part.getBoundingClientRect();
                if (box.height && box.bottom <= innerHeight) texts.push(part.textContent);
            }
            return texts.join(" ");
        }"""
    )


def test_the_head_finds_the_week_s_news_on_the_first_screen(first_screen, built):
    store, _, as_of = built
    ((operator, failures),) = store.rows(
        "SELECT operator, min_by(failures, (known_on, \"case\")) FROM operator_signals "
        "WHERE direction = 'worse' GROUP BY operator, episode "
        "ORDER BY min(known_on) DESC LIMIT 1"
    )
    assert f"{operator}: more failures than expected, {failures} of" in first_screen
    ((graft,),) = store.rows(
        "SELECT batch FROM batches WHERE kind = 'graft_batch' AND ratio > 1 "
        "ORDER BY mid_p LIMIT 1"
    )
    assert f"in graft {graft}" in first_screen
    shares = dict(
        store.rows(
            "SELECT level, estimate FROM rates WHERE outcome = 'laying' "
            "AND window_days = 21 AND \"grouping\" = 'season'"
        )
    )
    change = 100 * (shares["2026"] - shares["2025"])
    assert f"{100 * shares['2026']:.0f} % in 2026 so far" in first_screen
    assert f"{change:+.1f} points" in first_screen
    assert f"until {as_of}, today" in first_screen
    closing = store.rows(
        "SELECT DISTINCT colony_id FROM due WHERE useful_until = $day AND colony_id "
        "IS NOT NULL ORDER BY 1",
        {"day": as_of},
    )
    assert closing
    assert any(colony in first_screen for (colony,) in closing)


def test_a_matter_leads_to_where_more_is_told(dashboard, visit):
    page = visit((dashboard / "index.html").as_uri())
    links = page.locator(".matters a").evaluate_all(
        "all => all.map(a => a.getAttribute('href'))"
    )
    assert links
    for link in links:
        file, _, place = link.partition("#")
        told = (dashboard / file).read_text(encoding="utf-8")
        assert not place or f'id="{place}"' in told, link


def test_the_breeder_finds_the_dose_s_sentence_in_one_click(dashboard, visit):
    page = visit((dashboard / "index.html").as_uri(), width=1280)
    page.get_by_role("link", name="Doses").click()
    first = page.locator("main p").first
    assert re.match(r"For 1,000 successes .* queens .* drones", first.inner_text())
    assert page.locator("main figure .chart").first.get_attribute("id") == (
        "chart-trade-part-0"
    )


def test_a_colony_leads_to_its_latest_queen_with_enter(base, visit, built):
    store, _, _ = built
    ((colony, queen),) = store.rows(
        "SELECT colony_id, arg_max(courses.course_id, d0) FROM linked_checks "
        "INNER JOIN courses USING (queen_id) WHERE colony_id IS NOT NULL "
        "GROUP BY colony_id HAVING count(DISTINCT queen_id) = 1 AND max(course) = 1 "
        "ORDER BY colony_id LIMIT 1"
    )
    page = visit(f"{base}/queens.html")
    page.fill("#query", colony)
    page.keyboard.press("Enter")
    page.wait_for_selector("#panel h2")
    assert page.locator("#panel h2").inner_text() == queen
    page.keyboard.press("Escape")
    page.wait_for_selector("#panel", state="hidden")
    assert page.input_value("#query") == colony
    assert page.complaints == []


def test_the_words_on_the_page_find_her_and_a_view_can_be_sent_and_saved(
    base, visit, built
):
    store, _, _ = built
    ((many,),) = store.rows("SELECT count(*) FROM ends WHERE end_reason = 'drone_layer'")
    page = visit(f"{base}/queens.html")
    page.fill("#query", "drone-layer")
    assert page.inner_text("#found").startswith(f"{many} of ")
    page.select_option("#operator", label="Birch")
    found = page.inner_text("#found")
    again = visit(page.url)
    assert again.inner_text("#found") == found
    with page.expect_download() as waiting:
        page.click("#save")
    lines = waiting.value.path().read_text(encoding="utf-8").splitlines()
    assert len(lines) == 1 + int(found.split()[0])
    assert all("Birch" in line for line in lines[1:])


def test_the_chosen_outcome_stands_in_the_address(dashboard, visit):
    page = visit((dashboard / "factors.html").as_uri() + "#lost-21")
    assert page.locator("#lost-21").is_visible()
    assert page.locator(".outcome:visible").count() == 1
    first = visit((dashboard / "factors.html").as_uri())
    assert first.locator(".outcome:visible").count() == 1
