"""Every page in a real browser, from the file system and over localhost."""

from __future__ import annotations

import math
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
from chromium import MARKS, settled
from demo_station import run
from queen_outcomes.dashboard import site

pytestmark = MARKS

PAGES = tuple(name for name, _, _ in site.PAGES)
MIB = 2**20
NARROW = 360


def complaints(page, base):
    """Give what a page complains of, and what it asks for outside of its own folder."""
    outside = [url for url in page.asked if not url.startswith((base, "data:"))]
    return page.complaints + outside


def test_a_page_opens_without_complaint_and_asks_for_nothing_outside(each_page, disk):
    assert complaints(each_page, disk) == []
    assert each_page.locator("h1").count() == 1


@pytest.mark.parametrize("name", PAGES)
def test_so_it_does_over_localhost(served, visit, name):
    page = settled(visit(f"{served}/{name}.html"))
    assert complaints(page, served) == []


TALLEST = 3500


def test_a_page_tells_its_news_before_anything_is_opened(each_page):
    tallest = math.inf if each_page.name == "operators" else TALLEST
    assert 900 <= each_page.evaluate("document.documentElement.scrollHeight") <= tallest


def test_a_page_can_be_put_on_paper(each_page):
    """The last of those who look at this page, which stays as it is for paper."""
    each_page.set_viewport_size({"width": 794, "height": 900})
    each_page.emulate_media(media="print")
    assert each_page.evaluate("document.documentElement.scrollWidth") <= 794
    for quiet in (".tools", "nav"):
        for part in each_page.locator(quiet).all():
            assert not part.is_visible()


@pytest.mark.parametrize("name", PAGES)
def test_nothing_scrolls_sideways_on_a_phone(dashboard, visit, name):
    page = settled(visit(f"{dashboard.as_uri()}/{name}.html", width=NARROW))
    page.evaluate(
        "document.querySelectorAll('details').forEach(d => { d.open = true; })"
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW


def test_the_whole_site_is_light(dashboard):
    files = [path for path in dashboard.rglob("*") if path.is_file()]
    assert sum(path.stat().st_size for path in files) <= 6 * MIB


def test_the_first_page_is_light_with_all_it_loads(dashboard, visit):
    page = settled(visit((dashboard / "index.html").as_uri()))
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
        page = settled(visit((folder / f"{name}.html").as_uri()))
        assert page.title() != "taken"
        assert page.complaints == []
        assert page.locator("main img, header img").count() == 0
    page = visit((folder / "queens.html").as_uri())
    page.locator("#courses tbody button").first.click()
    page.wait_for_selector("#panel h2")
    assert HOSTILE in page.locator("#panel").inner_text()
    assert page.title() != "taken"
