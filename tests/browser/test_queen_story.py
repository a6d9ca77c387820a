"""One queen on her page: her timeline, and the words and rows behind it."""

from __future__ import annotations

import pytest
from chromium import MARKS
from queen_outcomes.outcomes.explain import explain
from queens_opened import open_queen, some_courses, table_of
from test_access import violations

pytestmark = MARKS


def test_what_is_told_of_a_queen_is_what_explain_tells(base, visit, built):
    store, settings, as_of = built
    queens = [
        queen
        for (queen,) in store.rows(
            "SELECT DISTINCT queen_id FROM courses WHERE queen_no % 60 = 1 OR course > 1 "
            "ORDER BY queen_id"
        )
    ]
    page = visit(f"{base}/queens.html")
    read = page.evaluate(
        """async (wanted) => {
            const told = [];
            for (const queen of wanted) {
                const rows = queens.list.coursesOf(queens.list.queens.indexOf(queen));
                for (const row of rows) {
                    const { records, answers } = await queens.told(row);
                    told.push([queens.list.ids[row],
                        records.map((one) => [one.date === null ? null
                            : queens.isoDate(one.date), one.source, one.says]),
                        [...answers].map(([number, one]) => [
                            queens.list.questions[number].outcome,
                            queens.list.questions[number].days, one.rule,
                            one.settled.join(", ")])]);
                }
            }
            return told;
        }""",
        queens,
    )
    expected = []
    for queen in queens:
        trail = explain(store, queen, settings=settings, as_of=as_of)
        courses, records, _, answers = (
            [dict(zip(part["columns"], row, strict=True)) for row in part["rows"]]
            for part in trail["sections"]
        )
        shown = [
            [row["on"] and row["on"].isoformat(), row["source"], row["says"]]
            for row in records
        ]
        expected += [
            [
                course["course_id"],
                shown,
                [
                    [a["outcome"], a["window_days"], a["rule"], a["settled_by"]]
                    for a in answers
                    if a["course_id"] == course["course_id"]
                ],
            ]
            for course in courses
        ]
    assert len(expected) > 40
    assert read == expected


@pytest.mark.parametrize(
    "where",
    [
        "end_reason = 'drone_layer'",
        "end_reason = 'superseded' AND inferred",
        "conflict",
        'onset."by" IS NULL AND end_reason IS NULL',
        "course > 1",
        "next_on IS NOT NULL",
        "emerged_long_ago",
    ],
)
def test_every_kind_of_course_can_be_drawn(base, visit, built, where):
    store, _, as_of = built
    where = where.replace("emerged_long_ago", f"d0 = DATE '{as_of}'")
    for course in some_courses(store, where):
        page = open_queen(visit, base, course)
        assert page.locator(".stage svg .item").count() >= 2
        assert "NaN" not in page.locator(".stage").inner_html()
        assert "undefined" not in page.locator("#panel").inner_html()
        assert page.complaints == []


def test_the_tables_under_the_timeline_hold_what_it_draws(base, visit, built):
    store, settings, as_of = built
    (course,) = some_courses(store, "course_id = 'Q26-0153/1'")
    page = open_queen(visit, base, course)
    trail = explain(store, "Q26-0153", settings=settings, as_of=as_of)
    records = table_of(page, "Every record about her")
    assert [row[2] for row in records] == [
        row[4] for row in trail["sections"][1]["rows"]
    ]
    (seen,) = [row for row in records if row[0] == "22"]
    assert seen[1] == "2026-06-04"
    assert seen[3] == "laying began after day 12 and by day 22"
    answers = {row[0]: row[1:] for row in table_of(page, "What became of her")}
    assert answers["lost by day 21"] == [
        "no",
        "closed 2026-06-10",
        "not up to day 22",
        "she was there on day 22",
        "checks_2026.csv:1173",
    ]


def test_the_arrow_keys_step_through_every_mark(base, visit):
    page = open_queen(visit, base, "Q26-0153/1")
    marks = page.locator(".stage .item").count()
    page.focus(".stage")
    heard = []
    for _ in range(marks):
        page.keyboard.press("ArrowRight")
        heard.append(page.locator(".said").inner_text())
    assert len(set(heard)) == marks
    assert heard[0].startswith("Day -12, 2026-05-01 emerged 2026-05-01")
    assert any("eggs, no sealed" in words for words in heard)
    days = [int(words.split(",")[0].removeprefix("Day ")) for words in heard]
    assert days == sorted(days)
    page.keyboard.press("Home")
    assert page.locator(".said").inner_text() == heard[0]
    assert page.locator(".stage .item.lit").count() == 1
    assert page.locator("#panel tr.lit").count() == 1


def test_pointing_at_a_mark_says_what_it_shows(base, visit):
    page = open_queen(visit, base, "Q26-0153/1")
    page.locator(".stage .item", has=page.locator(".mark.full")).nth(2).hover()
    assert page.locator(".said").inner_text().startswith("Day ")


def test_a_queens_courses_lead_to_each_other(base, visit, built):
    store, _, _ = built
    (second,) = some_courses(store, "course = 2", most=1)
    page = open_queen(visit, base, second)
    first = second.replace("/2", "/1")
    page.click(f"#panel a:has-text('{first}')")
    page.wait_for_selector(f"#panel[data-drawn='{first}']")
    page.go_back()
    page.wait_for_selector(f"#panel[data-drawn='{second}']")


def test_another_courses_look_counts_in_its_own_days(base, visit, built):
    store, _, _ = built
    (second,) = some_courses(
        store,
        "course = 2 AND EXISTS (FROM evidence WHERE evidence.course_no = "
        "courses.course_no AND bound_after IS NOT NULL)",
        most=1,
    )
    page = open_queen(visit, base, second.replace("/2", "/1"))
    reads = [row[3] for row in table_of(page, "Every record about her")]
    assert any(words.endswith(f" of {second}") for words in reads)
    ((next_day,),) = store.rows(
        "SELECT next_on - d0 FROM courses WHERE course_id = $id",
        {"id": second.replace("/2", "/1")},
    )
    assert (
        page.evaluate(
            """async (id) => {
        const row = queens.list.ids.indexOf(id);
        const { items } = queens.story(row, await queens.told(row));
        return Math.max(...items.filter((one) => one.lane !== "windows").map((one) => one.day));
    }""",
            second.replace("/2", "/1"),
        )
        <= next_day
    )


def test_a_queens_label_opens_her_latest_course(base, visit, built):
    store, _, _ = built
    (second,) = some_courses(store, "course = 2 AND next_on IS NULL", most=1)
    page = visit(f"{base}/queens.html#{second.removesuffix('/2')}")
    page.wait_for_selector(f"#panel[data-drawn='{second}']")


def test_every_control_has_a_name(base, visit):
    page = open_queen(visit, base, "Q26-0153/1")
    nameless = page.locator("main :is(input, select, button, a, [role=group])")
    names = nameless.evaluate_all(
        "all => all.map(e => (e.labels?.[0]?.textContent || e.textContent || "
        "e.getAttribute('aria-label') || '').trim())"
    )
    assert all(names)


@pytest.mark.parametrize(("scheme", "width"), [("light", 1200), ("dark", 360)])
def test_an_open_story_keeps_the_rules_of_accessibility(base, visit, scheme, width):
    page = open_queen(visit, base, "Q26-0153/1", scheme=scheme, width=width)
    assert violations(page) == []
