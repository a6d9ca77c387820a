"""Stations that have hardly begun: every page says what it waits for, and nothing breaks."""

from __future__ import annotations

import pytest
from chromium import MARKS
from demo_station import run
from queen_outcomes.dashboard import site
from test_access import violations

pytestmark = MARKS

PAGES = tuple(name for name, _, _ in site.PAGES)


def built(place):
    done = run("build", place)
    assert done.returncode == 0, done.stderr
    return (place / "build" / "latest" / "dashboard").resolve()


def station(place, as_of, inseminations, checks):
    """Write and build a station of two tables, without operators and drones' ages."""
    records = place / "records"
    records.mkdir(parents=True)
    (place / "station.toml").write_text(
        f'name = "Small station"\nas_of = {as_of}\n', encoding="utf-8"
    )
    for name, lines in (("inseminations", inseminations), ("checks", checks)):
        text = "\n".join(lines) + "\n"
        (records / f"{name}.csv").write_text(text, encoding="utf-8")
    return built(place)


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """A station as it is right after `new`."""
    place = tmp_path_factory.mktemp("empty") / "station"
    assert run("new", place).returncode == 0
    return built(place)


@pytest.fixture(scope="module")
def first_week(tmp_path_factory):
    """Twelve queens of the week past, three of them looked at."""
    done = [f"Q{n},2026-06-{1 + n % 3:02d} 10:00,8" for n in range(12)]
    seen = [f"Q{n},2026-06-09,yes" for n in range(3)]
    return station(
        tmp_path_factory.mktemp("week") / "station",
        "2026-06-10",
        ["queen_id,inseminated_at,dose_ul", *done],
        ["queen_id,checked_on,eggs", *seen],
    )


@pytest.fixture(scope="module")
def unnamed(tmp_path_factory):
    """Forty queens of closed windows, nobody named, some without a dose."""
    done = [
        f"Q{n},2026-05-{1 + n % 20:02d} 10:00,{'' if n % 5 else 8}" for n in range(40)
    ]
    seen = [
        f"Q{n},2026-05-{26 + n % 5:02d},{'no' if n % 4 else 'yes'}" for n in range(36)
    ]
    return station(
        tmp_path_factory.mktemp("unnamed") / "station",
        "2026-07-19",
        ["queen_id,inseminated_at,dose_ul", *done],
        ["queen_id,checked_on,eggs", *seen],
    )


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("which", ["empty", "first_week", "unnamed"])
def test_every_page_opens_and_keeps_the_rules(which, name, visit, request):
    folder = request.getfixturevalue(which)
    page = visit((folder / f"{name}.html").as_uri(), width=360)
    page.wait_for_load_state("networkidle")
    assert page.complaints == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert "None." not in page.locator("main").inner_text()
    assert violations(page) == []


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("index", "No insemination is on record yet"),
        ("queens", "No queen has been inseminated yet"),
        ("onset", "is drawn once 10 courses are on record"),
        ("factors", "A model needs at least 5 closed, settled courses"),
        ("operators", "The first figures appear once"),
        ("doses", "No course has an arm"),
        ("records", "No row has been read yet"),
    ],
)
def test_an_empty_page_says_what_will_appear(empty, visit, name, said):
    page = visit((empty / f"{name}.html").as_uri())
    page.wait_for_load_state("networkidle")
    assert said in page.locator("main").inner_text()


def test_the_first_week_is_told_when_its_window_closes(first_week, visit):
    page = visit((first_week / "index.html").as_uri())
    told = page.locator("main .note").first.inner_text()
    assert "No window has closed yet" in told
    assert "by day 21, on 2026-06-29" in told  # day 0 on 1 June, 21 days and 7 of grace


@pytest.mark.parametrize("name", ["index", "onset"])
def test_the_first_week_gives_no_headline(first_week, visit, name):
    page = visit((first_week / f"{name}.html").as_uri())
    heads = page.locator("main :is(h2, .lead)").all_inner_texts()
    early = [text for text in heads if "oo early to say" in text]
    assert early
    assert not any("%" in text for text in early)
    assert not any("100 %" in text for text in heads)


def test_without_names_the_operators_page_asks_for_them(unnamed, visit):
    page = visit((unnamed / "operators.html").as_uri())
    assert "No operator is recorded" in page.locator("main").inner_text()
