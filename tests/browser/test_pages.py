"""Every page in a real browser, from the file system and over localhost."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
from chromium import MARKS
from demo_station import run
from queen_outcomes.dashboard import site

pytestmark = MARKS

PAGES = tuple(name for name, _, _ in site.PAGES)
MIB = 2**20
NARROW = 360


@pytest.mark.parametrize("name", PAGES)
def test_a_page_opens_without_complaint_and_asks_for_nothing_outside(base, visit, name):
    page = visit(f"{base}/{name}.html")
    page.wait_for_load_state("networkidle")
    assert page.complaints == []
    outside = [url for url in page.asked if not url.startswith((base, "data:"))]
    assert outside == []
    assert page.locator("h1").count() == 1


@pytest.mark.parametrize("name", PAGES)
def test_nothing_scrolls_sideways_on_a_phone(dashboard, visit, name):
    page = visit(f"{dashboard.as_uri()}/{name}.html", width=NARROW)
    page.wait_for_load_state("networkidle")
    page.evaluate(
        "document.querySelectorAll('details').forEach(d => { d.open = true; })"
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW


TALLEST = 3500


@pytest.mark.parametrize("name", [name for name in PAGES if name != "operators"])
def test_a_page_tells_its_news_before_anything_is_opened(dashboard, visit, name):
    page = visit((dashboard / f"{name}.html").as_uri(), width=1280)
    page.wait_for_load_state("networkidle")
    page.wait_for_function(
        "[...document.querySelectorAll('.chart')].filter(place => place.clientWidth)"
        ".every(place => place.dataset.drawn === 'yes')"
    )
    assert page.evaluate("document.documentElement.scrollHeight") <= TALLEST


def test_the_whole_site_is_light(dashboard):
    files = [path for path in dashboard.rglob("*") if path.is_file()]
    assert sum(path.stat().st_size for path in files) <= 6 * MIB


def test_the_first_page_is_light_with_all_it_loads(dashboard, visit):
    page = visit((dashboard / "index.html").as_uri())
    page.wait_for_load_state("networkidle")
    loaded = {
        Path(unquote(urlsplit(url).path))
        for url in page.asked
        if url.startswith("file:")
    }
    assert dashboard / "index.html" in loaded
    assert sum(path.stat().st_size for path in loaded) <= 1_000_000


def test_a_queen_is_reached_from_the_first_page(dashboard, visit):
    page = visit((dashboard / "index.html").as_uri())
    link = page.locator(".soonest a[href^=queens]").first
    assert "/" not in link.get_attribute("href").split("#")[1]
    colony = link.inner_text()
    link.click()
    page.wait_for_selector("#panel h2")
    assert colony in page.locator("#panel .facts-of-hers").inner_text()


@pytest.mark.parametrize("name", PAGES)
def test_a_page_can_be_put_on_paper(dashboard, visit, name):
    page = visit((dashboard / f"{name}.html").as_uri(), width=794)
    page.wait_for_load_state("networkidle")
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") <= 794
    for quiet in (".tools", "nav"):
        for part in page.locator(quiet).all():
            assert not part.is_visible()


HOSTILE = "<script>document.title='taken'</script><img src=x onerror=alert(1)>"


def test_records_that_hold_scripts_stay_text(tmp_path, visit):
    records = tmp_path / "station" / "records"
    records.mkdir(parents=True)
    (records.parent / "station.toml").write_text(
        f'name = "{HOSTILE}"\nas_of = 2026-07-19\n', encoding="utf-8"
    )
    (records / "inseminations.csv").write_text(
        "queen_id,inseminated_at,operator,dose_ul,note\n"
        f'"{HOSTILE}",2026-07-01 10:00,"{HOSTILE}","{HOSTILE}","{HOSTILE}"\n',
        encoding="utf-8",
    )
    (records / "checks.csv").write_text(
        "queen_id,checked_on,eggs,note\n"
        f'"{HOSTILE}",2026-07-12,"{HOSTILE}","{HOSTILE}"\n'
        f'"{HOSTILE}",2026-07-13,yes,\n',
        encoding="utf-8",
    )
    assert run("build", records.parent).returncode == 0
    folder = (records.parent / "build" / "latest" / "dashboard").resolve()
    for name in PAGES:
        page = visit((folder / f"{name}.html").as_uri())
        page.wait_for_load_state("networkidle")
        assert page.title() != "taken"
        assert page.complaints == []
        assert page.locator("main img, header img").count() == 0
    page = visit((folder / "queens.html").as_uri())
    page.locator("#courses tbody button").first.click()
    page.wait_for_selector("#panel h2")
    assert HOSTILE in page.locator("#panel").inner_text()
    assert page.title() != "taken"
