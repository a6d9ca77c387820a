"""The queens page of made-up stations: none, one, hostile words, and fifty thousand."""

from __future__ import annotations

from chromium import MARKS
from large_station import AS_OF, make
from queen_outcomes.facts.settings import Settings
from queens_opened import COUNT_OF, draw

pytestmark = MARKS

LARGE = 50_000
MOST_BYTES = 15 * 2**20
MOST_MS = 200


def test_a_missing_file_is_named(visit, dashboard, tmp_path):
    for name in ("queens.html", "static", "data/queens-list.js"):
        target = tmp_path / name
        target.parent.mkdir(exist_ok=True)
        target.symlink_to(dashboard / name)
    page = visit(f"{tmp_path.as_uri()}/queens.html#Q26-0153%2F1")
    page.wait_for_selector("#panel .note")
    assert "data/queens-0.js" in page.locator("#panel .note").inner_text() or (
        "data/queens-1.js" in page.locator("#panel .note").inner_text()
    )


def test_a_station_of_one_queen_and_of_none(monkeypatch, tmp_path, visit):
    for courses in (0, 1):
        folder = tmp_path / str(courses)
        with make(courses) as store:
            draw(monkeypatch, store, Settings(), AS_OF, folder)
        page = visit((folder / "queens.html").as_uri())
        assert page.complaints == []
        words = page.locator("main").inner_text()
        assert ("No queen has been inseminated yet" in words) == (courses == 0)
    page.click("#courses tbody button")
    page.wait_for_selector("#panel svg[role=img]")


def test_a_page_left_open_over_a_rebuild_shows_no_other_queen(
    monkeypatch, tmp_path, visit
):
    with make(3) as store:
        draw(monkeypatch, store, Settings(), AS_OF, tmp_path)
    page = visit((tmp_path / "queens.html").as_uri())
    page.wait_for_selector("#courses tbody button")
    with make(5) as store:  # the same file names, other queens at the same places
        draw(monkeypatch, store, Settings(), AS_OF, tmp_path)
    page.click("#courses tbody button")
    page.wait_for_selector("#panel .note")
    assert "rebuilt since this one was opened: reload" in page.inner_text("#panel .note")
    page.reload()
    page.click("#courses tbody button")
    page.wait_for_selector("#panel svg[role=img]")


HOSTILE = "<script>document.title='taken'</script><img src=x onerror=alert(1)>"


def test_records_that_hold_scripts_stay_text(monkeypatch, tmp_path, visit):
    with make(1) as store:
        store.execute(
            "UPDATE accepted_inseminations SET note = $said", {"said": HOSTILE}
        )
        store.execute("UPDATE linked_checks SET note = $said", {"said": HOSTILE})
        for column in ("operator", "line", "semen_batch", "protocol"):
            store.execute(f"UPDATE courses SET {column} = $said", {"said": HOSTILE})
        draw(monkeypatch, store, Settings(), AS_OF, tmp_path)
    page = visit((tmp_path / "queens.html").as_uri())
    page.click("#courses tbody button")
    page.wait_for_selector("#panel svg[role=img]")
    assert page.locator("#panel").inner_text().count(HOSTILE) >= 4
    run = "main :is(img, script:not([type='application/json']))"
    assert page.locator(run).count() == 0
    assert page.title() != "taken"
    assert page.complaints == []


TIMED = """async (texts) => {
    const query = document.getElementById("query");
    const taken = [];
    for (const text of texts) {
        const start = performance.now();
        query.value = text;
        query.dispatchEvent(new Event("input", { bubbles: true }));
        document.body.offsetHeight; // the layout belongs to the answer
        taken.push(performance.now() - start);
        await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
    }
    return taken;
}"""
SEARCHES = [
    "Q0",
    "Q04",
    "Q043",
    "Q04321",
    "Q043217",
    "",
    "birch s0104",
    "superseded",
    "zz",
]


def test_fifty_thousand_courses_are_searched_at_once(monkeypatch, tmp_path, visit):
    with make(LARGE) as store:
        folder = draw(monkeypatch, store, Settings(), AS_OF, tmp_path)
    files = [folder / "queens.html", *(folder / "data").iterdir()]
    assert sum(path.stat().st_size for path in files) < MOST_BYTES
    address = (folder / "queens.html").as_uri()
    rounds = []
    for _ in range(
        3
    ):  # opened anew: the first letter typed must be answered at once too
        page = visit(address)
        page.wait_for_selector("#courses tbody tr", timeout=10_000)
        assert page.evaluate(COUNT_OF).startswith(f"{LARGE:,} of {LARGE:,} courses")
        rounds.append(page.evaluate(TIMED, SEARCHES))
    # the best of three: other work on the machine is not the page's
    best = {text: min(taken) for text, *taken in zip(SEARCHES, *rounds, strict=True)}
    assert max(best.values()) <= MOST_MS, best
    page.fill("#query", "Q043217")
    assert page.locator("#courses tbody tr").count() == 1
    page.click("#courses tbody button")
    page.wait_for_selector("#panel[data-drawn='Q043217/1']")
    assert page.complaints == []
