"""The queens page is given what the tables hold and what `explain` tells."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from typing import Any

import polars as pl
import pytest
import unpacked
from hypothesis import HealthCheck, given, settings
from queen_outcomes.base import resources
from queen_outcomes.dashboard import queens
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.explain import explain
from random_stations import some_day, stations
from station_tables import check, day, derived, insemination, leave

AS_OF = dt.date(2025, 10, 1)
SETTINGS = Settings()
WINDOWS = SETTINGS.outcomes.windows


def page(store, as_of=AS_OF) -> dict[str, Any]:
    return queens.show(store, SETTINGS, as_of)


def listed(files: dict[str, str]) -> list[dict[str, Any]]:
    """Give the list's rows as the page reads them."""
    given_list = unpacked.content(files["data/queens-list.js"])
    columns = given_list["columns"]
    rows = len(unpacked.codes(columns.get("queen", "u")[1:]))
    read = {
        name: unpacked.numbers(columns.get(name), rows)
        for name in ("queen", "d0", *queens.COUNTED, *queens.NAMED)
    }
    for name, values in given_list["lists"].items():
        read[name] = [None if p is None else values[p] for p in read[name]]
    first = dt.date.fromisoformat(given_list["first_day"])
    read["d0"] = [unpacked.day(first, days) for days in read["d0"]]
    read["queen"] = [given_list["queens"][place] for place in read["queen"]]
    states = [unpacked.numbers(text, rows) for text in given_list["states"]]
    return [
        {
            **{name: read[name][row] for name in read},
            "states": {
                asked: code and (queens.STATES[(code - 1) % 4], code <= 4)
                for asked, code in zip(WINDOWS, (s[row] for s in states), strict=True)
                if code
            },
        }
        for row in range(rows)
    ]


def told(files: dict[str, str], queen: str) -> dict[str, list[dict[str, Any]]]:
    """Give what a queen's file tells of her, in words and dates."""
    given_list = unpacked.content(files["data/queens-list.js"])
    number = given_list["queens"].index(queen)
    file_no, place = divmod(number, given_list["queens_a_file"])
    file = unpacked.content(files[f"data/queens-{file_no}.js"])
    first = min(row["d0"] for row in listed(files) if row["queen"] == queen)
    sources, words = given_list["sources"], file["words"]
    mine = {
        name: unpacked.table(file, name)[place]
        for name in ("courses", "records", "answers", "due")
    }

    def word(at: int | None) -> str:
        return "" if at is None else words[at]

    for row in mine["records"]:
        row["on"] = unpacked.day(first, row.get("on"))
        row["says"] = ", ".join(word(at) for at in row["says"])
        row["remark"] = word(row.get("remark"))
        line, source = divmod(row["place"], len(sources))
        row["source"] = f"{sources[source]}:{line}"
        row["event"] = queens.EVENTS[row["event"]]
    for row in mine["answers"]:
        course, asked = divmod(row["asked"], len(WINDOWS))
        row["course"], row["asked"] = course + 1, WINDOWS[asked]
        row["rule"] = word(row.get("rule"))
        row["settled"] = [mine["records"][at]["source"] for at in row["settled"]]
    return mine


def section(trail: dict[str, Any], title: str) -> list[dict[str, Any]]:
    (found,) = [s for s in trail["sections"] if s["title"].startswith(title)]
    return [dict(zip(found["columns"], row, strict=True)) for row in found["rows"]]


def last_colony(store, course, as_of: dt.date) -> str | None:
    """Give the colony of a course's last placement or look, read from the rows one by one."""
    stays = [
        (on, colony)
        for on, colony in store.rows(
            "SELECT placed_on, colony_id FROM accepted_placements WHERE queen_id = $queen "
            "UNION ALL SELECT checked_on, colony_id FROM linked_checks "
            "WHERE queen_id = $queen",
            {"queen": course["queen_id"]},
        )
        if colony is not None
        and course["d0"] <= on <= as_of
        and (course["next_on"] is None or on < course["next_on"])
    ]
    return max(stays)[1] if stays else None


def assert_the_list_equals_the_tables(store, files, as_of=AS_OF):
    rows = listed(files)
    courses = store.records(
        'SELECT courses.*, onset."after" AS onset_after, onset."by" AS onset_by, '
        'end_reason, ends."by" AS end_by FROM courses JOIN onset USING (course_id) '
        "LEFT JOIN ends USING (course_id) ORDER BY d0 DESC, course_id"
    )
    for row, course in zip(rows, courses, strict=True):
        assert row["queen"] == course["queen_id"]
        course["colony"] = last_colony(store, course, as_of)
        names = ("d0", *queens.COUNTED, *queens.NAMED)
        assert {n: row[n] for n in names} == {n: course[n] for n in names}
        states = store.rows(
            "SELECT outcome, window_days, state, closed FROM outcomes "
            "WHERE course_id = $id",
            {"id": course["course_id"]},
        )
        assert row["states"] == {(o, w): (s, c) for o, w, s, c in states}


def assert_a_queen_is_told_as_explain_tells_her(store, files, queen, as_of):
    mine = told(files, queen)
    trail = explain(store, queen, settings=SETTINGS, as_of=as_of)
    shown = [(row["on"], row["source"], row["says"]) for row in mine["records"]]
    written = section(trail, "Every record")
    assert shown == [(row["on"], row["source"], row["says"]) for row in written]
    looks = section(trail, "What each look")
    read = {
        row["source"]: (row.get("laying_after"), row.get("laying_by"), row["remark"])
        for row in mine["records"]
        if row["event"] not in queens.EVENTS[: queens.EVENTS.index("another")]
    }
    assert read == {
        row["source"]: (row["laying_after"], row["laying_by"], row["remark"])
        for row in looks
    }
    rules = {
        (row["course_id"], row["outcome"], row["window_days"]): row["rule"]
        for row in section(trail, "What became")
    }
    answers = store.records(
        "SELECT outcomes.*, course FROM outcomes JOIN courses USING (course_id) "
        "WHERE queen_id = $queen",
        {"queen": queen},
    )
    assert {(row["course"], row["asked"]): row for row in mine["answers"]} == {
        (row["course"], (row["outcome"], row["window_days"])): {
            "asked": (row["outcome"], row["window_days"]),
            "course": row["course"],
            "rule": rules[row["course_id"], row["outcome"], row["window_days"]],
            "settled": row["settled_by"],
            **_where_known(mine["answers"], after=row["after"], by=row["by"]),
        }
        for row in answers
    }


def _where_known(rows: list[dict[str, Any]], **values: Any) -> dict[str, Any]:
    """Keep the columns that the file has; one in which nothing is known is left out."""
    assert all(name in rows[0] or value is None for name, value in values.items())
    return {name: value for name, value in values.items() if name in rows[0]}


@pytest.mark.slow
@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(records=stations, as_of=some_day(20, 130))
def test_the_page_is_given_what_the_tables_hold(records, as_of):
    store = with_quarantine(derived(as_of, SETTINGS, **records))
    files = page(store, as_of)["files"]
    assert_the_list_equals_the_tables(store, files, as_of)
    for (queen,) in store.rows("SELECT DISTINCT queen_id FROM courses"):
        assert_a_queen_is_told_as_explain_tells_her(store, files, queen, as_of)


def with_quarantine(store, *rows):
    store.execute(
        'CREATE TABLE quarantine (source VARCHAR, line BIGINT, "table" VARCHAR, '
        'reason VARCHAR, message VARCHAR, "row" VARCHAR, slot BIGINT)'
    )
    for row in rows:
        store.con.execute("INSERT INTO quarantine VALUES (?, ?, ?, ?, ?, ?, NULL)", row)
    return store


def test_places_and_questions_are_numbered_by_hand():
    """Two queens, each with her own first day 0; two sources, two questions, two courses."""
    sources, questions = ["a.csv", "b.csv"], [("laying", 21), ("lost", 21)]
    made = {name: [] for name in ("courses", "records", "answers", "due")}
    for queen, start in (("Q1", 0), ("Q2", 10)):
        for course in (1, 2):
            at = {"queen_id": queen, "course": course, "d0": day(start + 40 * (course - 1))}
            made["courses"].append({**at, "conflict": course == 2})
            for outcome, window in questions:
                asked = {"outcome": outcome, "window_days": window, "rule": outcome}
                made["answers"].append({**at, **asked, "settled": [course - 1]})
            made["due"].append({**at, "on": day(start + 50), "day": 21, "look_for": "eggs"})
        for source, event, line in ((1, "inseminated", 2), (2, "checked", 7)):
            ref = source * 2**36 + line
            on = day(start + 3 * source)
            known = {"ref": ref, "event": event, "shape": None, "on": on, "says": "a, b"}
            made["records"].append({"queen_id": queen, **known, "until": day(start + 30)})
    told_ = {}
    for name, rows in made.items():
        columns = (*queens.WHOLE[name], *queens.WORDED[name], *queens.LISTS[name])
        lacking = {c for c in columns if c not in rows[0]} - {"asked", "place"}
        told_[name] = pl.DataFrame(rows).with_columns(
            **{
                c: pl.lit(None, pl.String if c in queens.WORDED[name] else pl.Int64)
                for c in lacking
            }
        )
    (file,) = queens.packed_files(told_, ["Q1", "Q2"], sources, questions)
    for place in (0, 1):
        records = unpacked.table(file, "records")[place]
        assert [(r["on"], r["until"]) for r in records] == [(3, 30), (6, 30)]
        # the line times the two sources, and the source from zero
        assert [r["place"] for r in records] == [2 * 2 + 0, 7 * 2 + 1]
        assert [queens.EVENTS[r["event"]] for r in records] == ["inseminated", "checked"]
        answers = unpacked.table(file, "answers")[place]
        # (course - 1) times the two questions, and the question from zero
        assert [r["asked"] for r in answers] == [0, 1, 2, 3]
        assert [r["settled"] for r in answers] == [[0], [0], [1], [1]]
        assert [r["on"] for r in unpacked.table(file, "due")[place]] == [50, 50]
        assert [r["course"] for r in unpacked.table(file, "courses")[place]] == [1, 2]


NOTE = '<script>alert("1")</script>, \u2028 and & more'


def a_station(**more):
    given_rows = {
        "queens": [{"queen_id": "Q", "marked": True, "emerged_on": day(-9)}],
        "inseminations": [
            insemination(operator="Birch", dose_ul=8.0, note=NOTE),
            insemination(20, queen_id="R"),
            insemination(70, queen_id="R"),
        ],
        "co2": [
            {"queen_id": "Q", "given_at": dt.datetime.combine(day(-1), dt.time(9))}
        ],
        "placements": [
            {
                "queen_id": "Q",
                "colony_id": "N1",
                "placed_on": day(1),
                "removed_on": day(30),
            }
        ],
        "checks": [
            check(7, eggs=False),
            check(14, eggs=True, larvae=False),
            check(14, sealed=True),
            check(40, eggs=False, queen_seen=False),
        ],
        "exits": [leave(30, "dead")],
        **more,
    }
    return with_quarantine(
        derived(AS_OF, SETTINGS, **given_rows),
        (
            "checks.csv",
            9,
            "checks",
            "date_unreadable",
            "Mend it.",
            '{"id":"Q","d":"?"}',
        ),
        ("checks.csv", 9, "checks", "key_twice", "Twice.", '{"id":"Q","d":"?"}'),
        ("checks.csv", 8, "checks", "key_twice", "Not hers.", '{"id":"QQ","d":"?"}'),
    )


@pytest.mark.slow
def test_everything_about_a_queen_is_told():
    store = a_station()
    files = page(store)["files"]
    for queen in ("Q", "R"):
        assert_a_queen_is_told_as_explain_tells_her(store, files, queen, AS_OF)
    records = told(files, "Q")["records"]
    assert [row["event"] for row in records] == [
        *("emerged", "co2", "inseminated", "placed"),
        *("no_brood", "brood", "checked", "left", "checked", "quarantined"),
    ]
    assert records[3]["until"] == 30
    assert records[2]["says"].endswith(NOTE)
    assert records[-1]["says"] == "quarantined: Mend it. Twice."
    courses = told(files, "R")["courses"]
    assert [row["course"] for row in courses] == [1, 2]
    assert courses[0]["next_day"] == 50


def test_nothing_from_the_records_can_end_a_script():
    for text in page(a_station())["files"].values():
        assert "<" not in text
        assert "\u2028" not in text
        assert text.startswith("queens.take(")


@pytest.mark.slow
def test_the_order_of_the_rows_changes_no_byte():
    rows = {
        "inseminations": [insemination(n, queen_id=f"Q{n}") for n in range(30)],
        "checks": [
            {"ref": (6 << 36) + n, **check(n + 12, queen_id=f"Q{n}", eggs=True)}
            for n in range(30)
        ],
    }
    rows["inseminations"] = [
        {"ref": (3 << 36) + n, **row} for n, row in enumerate(rows["inseminations"])
    ]
    turned = {name: list(reversed(given_rows)) for name, given_rows in rows.items()}
    pages = [
        page(with_quarantine(derived(AS_OF, SETTINGS, **r))) for r in (rows, turned)
    ]
    assert pages[0] == pages[1]


@pytest.mark.slow
@pytest.mark.parametrize(("a_file", "at_once"), [(1, 2), (1, 5), (3, 1), (7, 5)])
def test_queens_are_split_over_files(a_file, at_once, monkeypatch):
    monkeypatch.setattr(queens, "QUEENS_A_FILE", a_file)
    monkeypatch.setattr(queens, "FILES_AT_ONCE", at_once)
    store = a_station(
        inseminations=[insemination(n, queen_id=f"Q{n}") for n in range(5)],
        checks=[check(20, queen_id="Q4", eggs=True)],
        **{name: [] for name in ("queens", "co2", "placements", "exits")},
    )
    files = page(store)["files"]
    assert len(files) == 1 + -(-5 // a_file)
    for number in range(5):
        assert_a_queen_is_told_as_explain_tells_her(store, files, f"Q{number}", AS_OF)


def test_a_station_without_a_course_says_what_will_come():
    given_page = page(with_quarantine(derived(AS_OF, SETTINGS)))
    assert given_page["count"] == 0
    assert given_page["first_answer"] == 28
    assert listed(given_page["files"]) == []


def test_a_flat_sheet_tells_of_her_emergence_and_the_other_exposure():
    row = insemination(
        emerged_on=day(-8), co2_other_at=dt.datetime.combine(day(-1), dt.time(9))
    )
    store = with_quarantine(derived(AS_OF, SETTINGS, inseminations=[row]))
    records = told(page(store)["files"], "Q")["records"]
    assert [(r["event"], r["on"], r["says"]) for r in records] == [
        ("emerged", day(-8), "emerged 2025-05-24"),
        ("co2", day(-1), "CO2 exposure"),
        ("inseminated", day(0), "inseminated"),
    ]


def test_an_outcome_of_the_registry_is_told_without_a_script_that_knows_it(monkeypatch):
    new = replace(OUTCOMES["drone_layer"], name="dwindled", label="dwindled")
    monkeypatch.setitem(OUTCOMES, "dwindled", new)
    asked = queens._question("dwindled", 40)
    assert asked == {
        "outcome": "dwindled",
        "days": 40,
        "words": "dwindled",
        "lane": True,
    }
    assert not queens._question("lost", 21)["lane"]  # told as her end
    scripts = {
        n: resources.read("reports", "static", n) for n in queens.STATIC if ".js" in n
    }
    assert len(scripts) == 5
    for name, text in scripts.items():
        as_code = "[\"'`]{0}[\"'`]|[.]{0}\\b"
        known = [one for one in OUTCOMES if re.search(as_code.format(one), text)]
        assert known == [], name


def test_the_list_is_narrowed_in_the_registrys_words():
    assert [choice["words"] for choice in queens._choices(WINDOWS)] == [
        "established by day 60",
        "not laying by day 21",
    ]
    assert queens._choices([("lost", 21)]) == []
    assert queens._column([("lost", 21)]) == (None, "Established")
    assert queens._column([("lost", 21), ("established", 60)]) == (
        1,
        "Established by day 60",
    )
