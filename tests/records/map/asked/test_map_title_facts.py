"""Facts of all queens of a sheet, found above its headings and asked about."""

import datetime as dt

import pytest
from mapped_stations import run
from queen_outcomes.records.map.running import begin
from reading import accepted

SHEET = """Series {n} / 2025,,
grafted 6.5. - hatched {day}. - dam DE {n}7,,
,,
queen,inseminated,dose (µl)
{n}1,26.5.2025,8
{n}2,26.5.2025,8
{n}3,27.5.2025,9
"""
LINE, BATCH, DAY = (
    f"title:*:inseminations:{name}" for name in ("line", "graft_batch", "emerged_on")
)


@pytest.fixture
def station(tmp_path):
    (tmp_path / "records").mkdir()
    for n, day in ((1, "18.5"), (2, "2.6")):
        put(tmp_path, f"series {n}.csv", SHEET.format(n=n, day=day))
    return tmp_path


def put(station, name, text):
    (station / "records" / name).write_text(text, "utf-8")


def asked(begun):
    return {q.id: q for q in begun.asked if q.kind == "title"}


def test_each_fact_is_asked_about_once_for_all_sheets(station):
    found = asked(begin(station))
    assert {name: q.default for name, q in found.items()} == {
        LINE: None,  # anything may stand behind a word, but for a day
        BATCH: None,
        DAY: "yes",
    }
    # the word more of a label stays its own, though it is known as one that joins
    assert found[LINE].evidence == [
        'series 1.csv: "DE 17" behind "dam"',
        'series 2.csv: "DE 27" behind "dam"',
    ]
    assert found[DAY].text == (
        "Do the rows above the headings say emerged_on of all rows below them, such as "
        '"18.5." behind "hatched"?'
    )


def test_what_is_taken_is_written_and_read(station):
    put(station, "checks.csv", "queen_id,checked_on,eggs\n11,2025-06-10,yes\n")
    begun, settings = run(station, {LINE: "yes"})
    assert [q.id for q in begun.open] == [BATCH]
    (rule,) = [rule for rule in settings["read"] if rule["table"] == "inseminations"]
    assert rule["columns"]["line"] == {"title": "dam"}
    # the order is plain from the 18th of the other sheet
    assert rule["columns"]["emerged_on"] == {"title": "hatched", "dates": "dmy", "year": 2025}
    rows = accepted(station, dt.date(2025, 12, 31))["inseminations"]
    assert {(row["queen_id"], row["line"], row["emerged_on"]) for row in rows} >= {
        ("11", "DE 17", "2025-05-18"),
        ("23", "DE 27", "2025-06-02"),
    }


def test_a_later_answer_adds_its_column_alone(station):
    run(station, {LINE: "no"})
    begun, settings = run(station, {BATCH: "yes"}, accept=False)
    assert not begun.open
    (rule,) = settings["read"]
    assert rule["columns"]["graft_batch"] == {"title": "Series"}


def test_a_refused_fact_is_not_read(station):
    _, settings = run(station, {LINE: "no", BATCH: "no"})
    (rule,) = settings["read"]
    assert {"line", "graft_batch"}.isdisjoint(rule["columns"])


def test_a_column_of_the_sheet_comes_before_its_title(station):
    text = SHEET.format(n=1, day="18.5").replace("dose (µl)\n", "line\n")
    for name in (1, 2):
        put(station, f"series {name}.csv", text.replace(",8\n", ",A\n").replace(",9\n", ",B\n"))
    assert LINE not in asked(begin(station))


@pytest.mark.parametrize(
    "title",
    [
        "hatched late - no word",  # no day
        "hatched 18.5. - hatched 19.5.",  # two
        "hatchery 18.5.",
    ],
)
def test_what_is_no_plain_fact_is_not_proposed(station, title):
    for n in (1, 2):
        put(station, f"series {n}.csv", SHEET.format(n=n, day="x").replace("hatched x.", title))
    assert DAY not in asked(begin(station))


def test_series_that_are_numbered_anew_each_year_are_asked_about(station):
    later = SHEET.format(n=1, day="19.5").replace("2025", "2026")
    put(station, "later.csv", later)
    again = "prefix:*:inseminations:graft_batch"
    begun, settings = run(station, {BATCH: "yes", again: "yes"})
    (found,) = [q for q in begun.asked if q.id == again]
    assert found.evidence[0] == "in two years: 1"
    assert settings["files"]["later.csv"]["prefix"] == {"graft_batch": "26-"}
