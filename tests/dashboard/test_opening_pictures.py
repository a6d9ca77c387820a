"""What the pages on queens and records say and draw first."""

from __future__ import annotations

import datetime as dt

import pytest
from queen_outcomes.dashboard import fates, records
from queen_outcomes.dashboard.figures import days, statement
from queen_outcomes.facts.settings import Settings
from station_tables import check, day, derived, insemination, leave

SETTINGS = Settings()


def test_each_course_has_the_fate_that_its_records_tell():
    """Five queens worked out by hand; S's window is open, T was not looked at in time."""
    store = derived(
        day(40),
        SETTINGS,
        inseminations=[
            insemination(0),
            insemination(1, "R"),
            insemination(30, "S"),
            insemination(2, "T"),
            insemination(3, "U"),
        ],
        checks=[
            check(24, eggs=False, larvae=False, sealed=False, queen_seen=True),
            check(12, queen_id="R", eggs=True),
            check(12, queen_id="U", eggs=True),
        ],
        exits=[
            leave(26, "culled_fault", queen_id="R"),
            leave(26, "sold", queen_id="U"),
        ],
    )
    asked = {"as_of": day(40), "window_days": 21}
    rows = store.records(statement("fates"), asked)
    counts = {}
    for row in rows:
        counts[row["fate"]] = counts.get(row["fate"], 0) + row["courses"]
    assert counts == {"not_laying": 1, "failed": 1, "early": 1, "unknown": 1, "left": 1}
    assert set(counts) <= set(fates.FATES)
    said = fates.fates_said(rows, 21)
    assert said.startswith("Of 5 courses of season ")
    assert "2 failed (1 not laying by day 21, 1 later)" in said


@pytest.mark.parametrize(
    ("read", "lost", "aside", "said"),
    [
        (0, 0, 0, "No row has been read yet."),
        (10, 0, 0, "Of 10 rows read, every one is accepted."),
        (10, 1, 0, "Of 10 rows read, 1 waits in quarantine."),
        (
            1000,
            2,
            1,
            "Of 1,000 rows read, 2 wait in quarantine; 1 cell was set aside in rows "
            "that are used.",
        ),
    ],
)
def test_the_records_are_summed_up(read, lost, aside, said):
    grouped = [
        {"severity": "set_aside", "found": aside},
        {"severity": "look", "found": 9},
    ]
    sources = [{"rows_read": read, "quarantined": lost}]
    assert records.read_said(sources, grouped) == said


def cell(checker, recorded, of=100, item="eggs"):
    return {
        "checker": checker,
        "item": item,
        "recorded": recorded,
        "of": of,
        "share": recorded / of,
    }


def test_who_leaves_most_blank_is_named_only_where_it_is_much():
    alike = [cell("A", 95), cell("B", 92), cell("C", 94)]
    assert records.furthest_said(alike, 10).startswith("Checkers fill in alike")
    behind = [*alike, cell("D", 40)]
    assert records.furthest_said(behind, 10) == (
        "D fills in eggs at 40 % of looks, the others at 94 %"
    )
    assert "D" not in records.furthest_said([*alike, cell("D", 0, of=5)], 10)


def test_a_row_in_quarantine_is_counted_in_the_week_of_the_row_above_it(full_store):
    """Line 3 has no day: line 2 is of the week of 4 May 2026 (ISO week 19)."""
    store = full_store(
        quarantine=[{"source": "c.csv", "line": 3, "table": "checks", "reason": "x"}],
        listed=[
            {
                "source": "c.csv",
                "line": 4,
                "table": "checks",
                "severity": "set_aside",
                "reason": "y",
            }
        ],
    )
    ref = (1 << 36) + 2
    store.execute(
        "CREATE TABLE sources_read AS SELECT 1 AS source_no, 'c.csv' AS source, "
        "'checks' AS \"table\""
    )
    store.execute(
        f"CREATE TABLE accepted_checks AS SELECT {ref} AS ref, DATE '2026-05-04' AS "
        f"checked_on UNION ALL SELECT {ref + 2}, DATE '2026-05-12'"
    )
    for table, column, kind in (
        ("inseminations", "inseminated_at", "TIMESTAMP"),
        ("co2", "given_at", "TIMESTAMP"),
        ("placements", "placed_on", "DATE"),
        ("exits", "left_on", "DATE"),
        ("queens", "emerged_on", "DATE"),
        ("semen", "collected_at", "TIMESTAMP"),
    ):
        store.execute(f"CREATE TABLE accepted_{table} (ref BIGINT, {column} {kind})")
    found = store.records(statement("rows_by_week"), {"as_of": dt.date(2026, 6, 1)})
    assert [tuple(row.values()) for row in found] == [
        ("2026-W19", 1, 0, 1),
        ("2026-W20", 1, 1, 0),
    ]


def test_a_day_in_a_sentence_is_kept_in_one_piece_and_the_rest_escaped():
    assert days("<b> known 2026-07-01.") == "&lt;b&gt; known <time>2026-07-01</time>."
