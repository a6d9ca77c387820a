"""One question for sheets alike, answers for one of them, and what a second run does."""

import datetime as dt

import pytest
import xlsxwriter
from mapped_stations import run
from queen_outcomes.records.map.asked import alike
from queen_outcomes.records.map.asked.questions import Question, open_questions
from reading import accepted

HEAD = ["Queen", "Mark", "Inseminated", "Dose"]
FILLED = "filled:bench.xlsx#Series {}:queens:marked"
DATES = "dates:bench.xlsx#Series {}:inseminations:inseminated_at"


def write_book(path, days, head=HEAD):
    """Write a book of sheets alike: of each the days of its queens."""
    with xlsxwriter.Workbook(path) as book:
        for number, listed in enumerate(days, 1):
            sheet = book.add_worksheet(f"Series {number}")
            sheet.write_row(0, 0, head)
            for n, day in enumerate(listed, 1):
                sheet.write_row(n, 0, [f"{number}-{n:02}", f"blue {n}", day, "8"])


@pytest.fixture
def station(tmp_path):
    (tmp_path / "records").mkdir()
    days = [["13/06/2025", "14/06/2025"], ["07/07/2025", "07/07/2025"], ["08/08/2025"] * 2]
    write_book(tmp_path / "records" / "bench.xlsx", days)
    return tmp_path


def marked(settings):
    """Give the sheets whose queens are marked where a mark is written."""
    return {
        source.partition("#")[2]
        for rule in settings["read"]
        if rule["table"] == "queens" and "marked" in rule["columns"]
        for source in ([rule["from"]] if isinstance(rule["from"], str) else rule["from"])
    }


def test_sheets_alike_are_asked_about_once(station):
    begun, settings = run(station, accept=True)
    asked = {question.id: question for question in begun.asked}
    assert {FILLED.format(1), DATES.format(2)} <= asked.keys()
    assert not {FILLED.format(2), FILLED.format(3), DATES.format(3)} & asked.keys()
    assert '3 sheets alike ("bench.xlsx#Series 1"' in asked[FILLED.format(1)].text
    assert marked(settings) == {"Series 1", "Series 2", "Series 3"}
    assert not begun.open


def test_sheets_alike_of_a_workbook_give_the_order_of_days_as_default(station):
    rows = "".join(f"Q{n},6/{n + 12}/2025\n" for n in range(1, 9))
    (station / "records" / "other.csv").write_text(f"Queen,Checked\n{rows}", "utf-8")
    rows = "".join(f"Q{n},6/{n + 12}/2025,yes\n" for n in range(1, 9))
    (station / "records" / "looks.csv").write_text(f"Queen,Checked,Eggs\n{rows}", "utf-8")
    begun, settings = run(station, accept=True)
    (asked,) = [question for question in begun.asked if question.kind == "dates"]
    assert (asked.default, asked.answer) == ("dmy", "dmy")
    assert "the sheets alike of its workbook write dmy" in asked.evidence[1]
    assert settings["files"]["bench.xlsx#Series 3"]["dates"] == "dmy"


def test_an_answer_for_one_of_them_holds_for_it_alone(station):
    _, settings = run(station, {FILLED.format(2): "no"}, accept=True)
    assert marked(settings) == {"Series 1", "Series 3"}
    (station / "station.toml").unlink()
    _, settings = run(station, {FILLED.format(1): "no", FILLED.format(3): "yes"}, accept=False)
    assert marked(settings) == {"Series 3"}


def test_what_stays_open_is_answered_for_all_in_a_second_run(station):
    run(station, accept=False)
    text = (station / "station.toml").read_text("utf-8")
    assert {one.id for one in open_questions(text)} == {FILLED.format(1), DATES.format(2)}
    begun, settings = run(station, {FILLED.format(1): "yes", DATES.format(2): "dmy"}, accept=False)
    assert not begun.open
    assert marked(settings) == {"Series 1", "Series 2", "Series 3"}
    files = settings.get("files", {})
    assert settings["dates"].get("order") == "dmy" or files["bench.xlsx#Series 3"]["dates"] == "dmy"


def test_a_day_that_holds_below_is_filled_down_when_it_is_answered_later(station):
    days = ["13/06/2025", "", "", "16/06/2025", "", "18/06/2025", "", ""]
    rows = "".join(f"K{n},{day},8\n" for n, day in enumerate(days))
    (station / "records" / "late.csv").write_text(f"Queen,Inseminated,Dose\n{rows}", "utf-8")
    fill = "fill:late.csv:inseminations:inseminated_at"
    _, settings = run(station, accept=False)
    assert "fill_down" not in settings.get("files", {}).get("late.csv", {})
    _, settings = run(station, {fill: "yes"}, accept=False)
    assert settings["files"]["late.csv"]["fill_down"] == ["Inseminated"]


def blocks(day, load="A"):
    """Give rows of which the first alone has the day, the load and who did it."""
    return [["D1", day, load, "AK", "8"], *([f"D{n}", "", "", "", "8"] for n in range(2, 6))]


def test_sheets_alike_show_together_that_a_day_is_written_once(tmp_path):
    (tmp_path / "records").mkdir()
    with xlsxwriter.Workbook(tmp_path / "records" / "bench.xlsx") as book:
        for number in (1, 2, 3):
            sheet = book.add_worksheet(f"Series {number}")
            sheet.write_row(0, 0, ["Queen", "Inseminated", "Semen", "Operator", "Dose"])
            for n, row in enumerate(blocks(f"2025-06-{number + 10}", "ABC"[number - 1]), 1):
                sheet.write_row(n, 0, [f"{number}{row[0]}", *row[1:]])
    fill = "fill:bench.xlsx#Series 1:inseminations:{}"
    begun, settings = run(tmp_path, accept=True)
    asked = {question.id: question for question in begun.asked if question.kind == "fill"}
    assert {name: question.default for name, question in asked.items()} == {
        fill.format("inseminated_at"): "yes",
        fill.format("semen_batch"): None,  # of a load nobody can tell but the station
        fill.format("operator"): None,
    }
    assert settings["files"]["bench.xlsx#Series 3"]["fill_down"] == ["Inseminated"]
    _, settings = run(tmp_path, {fill.format("semen_batch"): "yes"}, accept=False)
    assert settings["files"]["bench.xlsx#Series 3"]["fill_down"] == ["Inseminated", "Semen"]


def test_one_sheet_of_one_day_shows_nothing(tmp_path):
    (tmp_path / "records").mkdir()
    rows = "".join(",".join(row) + "\n" for row in blocks("2025-06-11"))
    text = f"Queen,Inseminated,Semen,Operator,Dose\n{rows}"
    (tmp_path / "records" / "bench.csv").write_text(text, "utf-8")
    begun, _ = run(tmp_path, accept=False)
    assert [question for question in begun.asked if question.kind == "fill"] == []


def test_sheets_of_other_headings_are_asked_about_apart(station):
    write_book(station / "records" / "more.xlsx", [["01/09/2025"]], [*HEAD[:3], "Volume"])
    begun, _ = run(station, accept=False)
    ids = {question.id for question in begun.asked}
    assert FILLED.format(1) in ids
    assert FILLED.format(1).replace("bench", "more") in ids


def test_a_sheet_that_comes_later_is_asked_about_alone(station):
    run(station, accept=True)
    write_book(station / "records" / "more.xlsx", [["21/06/2025"]])
    begun, _ = run(station, accept=False)
    filled = [question for question in begun.asked if question.kind == "filled"]
    assert [question.id for question in filled] == ["filled:more.xlsx#Series 1:queens:marked"]


def test_what_is_the_same_in_all_sheets_is_told_once():
    told = ["5 of 9 rows have none", "it is the hand of one person"]
    members = [
        Question(f"fill:book.xlsx#{n}:checks:checked_on", f'In "book.xlsx#{n}", does it?', [f"{n} days", *told])
        for n in (1, 2)
    ]
    whole = alike.joint(members)
    assert whole.evidence == ["book.xlsx#1: 1 days", "book.xlsx#2: 2 days", *told]
    for member in members:
        member.evidence = told
    assert alike.joint(members).evidence == told


@pytest.mark.parametrize("later", [True, False])
def test_a_cross_means_in_every_card_of_a_book_what_it_means_beside_ticks(tmp_path, later):
    (tmp_path / "records").mkdir()
    marks = [["✓", "x", "✓", "x"], ["x", "", "x", ""]]
    with xlsxwriter.Workbook(tmp_path / "records" / "cards.xlsx") as book:
        for number, listed in enumerate(marks, 1):
            sheet = book.add_worksheet(f"Nuc {number}")
            sheet.write_row(0, 0, ["Queen", "Check date", "Eggs"])
            for n, mark in enumerate(listed, 1):
                sheet.write_row(n, 0, [f"{number}-{n:02}", f"2025-06-{10 + n}", mark])
    bench = "".join(f"{c}-{n:02},2025-06-0{n},8\n" for c in (1, 2) for n in range(1, 5))
    (tmp_path / "records" / "bench.csv").write_text("Queen,Inseminated,Dose\n" + bench, "utf-8")
    if later:
        run(tmp_path, {}, accept=False)
    run(tmp_path, {"word:yes_no:x": "no"})
    found = accepted(tmp_path, dt.date(2026, 12, 31))["checks"]
    eggs = {row["queen_id"]: row["eggs"] for row in found if row["eggs"]}
    assert eggs == {"1-01": "yes", "1-02": "no", "1-03": "yes", "1-04": "no", "2-01": "no", "2-03": "no"}


def test_a_sheet_left_out_in_a_second_run_keeps_no_setting_of_its_own(tmp_path):
    """Its headings' line was written while the question was open; alone it would be refused."""
    records = tmp_path / "records"
    records.mkdir()
    rows = "".join(f"D{n},2025-06-{n:02},8\n" for n in range(1, 9))
    (records / "bench.csv").write_text(f"Queen,Inseminated,Dose\n{rows}", "utf-8")
    checks = "".join(f"D{n},2025-06-{n + 14},yes\n" for n in range(1, 9))
    (records / "checks.csv").write_text(f"Queen,Checked,Eggs\n{checks}", "utf-8")
    twice = "".join(f"D{n % 3},{n}.7.2025\n" for n in range(1, 12))
    (records / "insemination plan.csv").write_text(f"Plan\n\nQueen,Date\n{twice}", "utf-8")
    _, settings = run(tmp_path, accept=False)
    assert settings["files"]["insemination plan.csv"]["header"] == 3
    _, settings = run(tmp_path, {"rows:insemination plan.csv:inseminations:*": "no"})
    assert settings["records"]["ignore"] == ["insemination plan.csv"]
    assert "insemination plan.csv" not in settings.get("files", {})
    assert accepted(tmp_path, dt.date(2026, 12, 31))["checks"]


def test_one_heading_is_asked_about_once_for_all_tables_that_it_feeds(tmp_path):
    records = tmp_path / "records"
    records.mkdir()
    rows = "".join(f"{n},K{n:02},2025-06-{n:02},4,N{n}\n" for n in range(1, 9))
    rows += "".join(f"{n + 8},K{n:02},2025-06-{n + 1:02},4,N{n}\n" for n in range(1, 9))
    (records / "bench.csv").write_text(f"No.,Queen no.,Inseminated,Dose,Nuc\n{rows}", "utf-8")
    checks = "".join(f"K{n:02},2025-06-{n + 14},yes\n" for n in range(1, 9))
    (records / "checks.csv").write_text(f"Queen,Checked,Eggs\n{checks}", "utf-8")
    begun, _ = run(tmp_path, accept=False)
    asked = [q for q in begun.asked if q.kind == "column" and "queen_id" in q.text]
    assert len(asked) == 1
    tables = {member.id.split(":")[2] for member in asked[0].members}
    assert {"inseminations", "placements"} <= tables
    again, settings = run(tmp_path, {asked[0].id: "yes"}, accept=False)
    assert not [q for q in again.open if "queen_id" in q.text]
    read = {rule["table"]: rule["columns"].get("queen_id") for rule in settings["read"]}
    assert read["inseminations"] == read["placements"] == "Queen no."


def test_a_day_that_is_written_again_too_is_asked_about_without_a_default(tmp_path):
    records = tmp_path / "records"
    records.mkdir()
    rows = "".join(f"K{n},2025-06-{n:02},8\n" for n in range(1, 13))
    (records / "bench.csv").write_text(f"Queen,Inseminated,Dose\n{rows}", "utf-8")
    days = ["2025-06-20", "", "2025-06-20", "2025-06-21", "", "", "2025-06-24", "", "2025-06-24", ""]
    looks = "".join(f"{day},K{n},eggs\n" for n, day in enumerate(days, 1))
    (records / "yard.csv").write_text(f"Day,Queen,Seen\n{looks}", "utf-8")
    fill = "fill:yard.csv:checks:checked_on"
    begun, settings = run(tmp_path)
    assert [(q.id, q.default) for q in begun.open] == [(fill, None)]
    assert "fill_down" not in settings.get("files", {}).get("yard.csv", {})
    _, settings = run(tmp_path, {fill: "yes"})
    assert settings["files"]["yard.csv"]["fill_down"] == ["Day"]
    looks = {row["queen_id"]: row["checked_on"] for row in accepted(tmp_path, dt.date(2026, 1, 1))["checks"]}
    assert (len(looks), looks["K6"], looks["K10"]) == (10, "2025-06-21", "2025-06-24")
