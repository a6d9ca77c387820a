"""Lists of sales, rows of which nothing tells what they are, and years in a column of their own."""

import datetime as dt

import pytest
from mapped_stations import run
from reading import accepted

AS_OF = dt.date(2026, 12, 31)
BENCH = "Queen,Inseminated,Dose\n" + "".join(f"D{n},2025-06-{n:02},8\n" for n in range(1, 15))
CHECKS = "Queen,Checked,Eggs\n" + "".join(f"D{n},2025-06-{n + 14},yes\n" for n in range(1, 15))
REASON = "column:{}:exits:reason"


@pytest.fixture
def station(tmp_path):
    (tmp_path / "records").mkdir()
    (tmp_path / "records" / "bench.csv").write_text(BENCH, "utf-8")
    (tmp_path / "records" / "checks.csv").write_text(CHECKS, "utf-8")
    return tmp_path


def mapped(station, answers=None):
    begun, settings = run(station, answers)
    return begun, {(rule["from"], rule["table"]): rule["columns"] for rule in settings["read"]}


@pytest.mark.parametrize(
    ("name", "top", "head"),
    [
        ("sold 2025.csv", "", "Queen,Date,Price"),
        ("list.csv", "Verkaufte Königinnen,,\n", "Königin,Datum,Preis"),
        ("Verkauf.csv", "", "Königin,Datum,Kunde"),
        ("vendues.csv", "", "reine,date,prix"),
        ("verkocht.csv", "", "moer,datum,bedrag"),
        ("sprzedane.csv", "", "matka,data,cena"),
        ("prodej.csv", "", "matka,datum,cena"),
        ("vendite.csv", "", "regina,data,prezzo"),
        ("solgte.csv", "", "dronning,dato,pris"),
    ],
)
def test_a_list_of_sales_holds_exits_of_sold_queens(station, name, top, head):
    rows = "".join(f"D{n},2025-08-{n:02},60\n" for n in range(1, 9))
    (station / "records" / name).write_text(f"{top}{head}\n{rows}", "utf-8")
    begun, read = mapped(station)
    queen, day, _ = head.split(",")
    assert [table for file, table in read if file == name] == ["exits"]
    columns = read[name, "exits"]
    assert columns == {"queen_id": queen, "left_on": day, "reason": {"value": "sold"}}
    assert {row["reason"] for row in accepted(station, AS_OF)["exits"]} == {"sold"}
    (asked,) = [question for question in begun.asked if question.id == REASON.format(name)]
    assert (asked.default, asked.answer) == ("yes", "yes")


def test_the_reason_stays_open_where_not_all_were_sold(station):
    rows = "".join(f"D{n},2025-08-{n:02}\n" for n in range(1, 9))
    (station / "records" / "sold.csv").write_text(f"Queen,Date\n{rows}", "utf-8")
    _, read = mapped(station, {REASON.format("sold.csv"): "no"})
    assert "reason" not in read["sold.csv", "exits"]


def test_queens_and_days_of_which_nothing_is_told_are_asked_about(station):
    rows = "".join(f"D{n},2025-08-{n:02},60\n" for n in range(1, 9))
    (station / "records" / "zork.csv").write_text(f"Queen,Date,Plonk\n{rows}", "utf-8")
    begun, _ = mapped(station)
    (asked,) = [question for question in begun.open if question.sources == ("zork.csv",)]
    assert asked.id == "rows:zork.csv:inseminations:*"
    assert asked.evidence[-1] == "nothing but a queen and a day says so"


@pytest.mark.parametrize("year", ["Year", "Jahr", "jaar", "Année", "rok", "År"])
def test_a_year_in_a_column_of_its_own_is_that_of_days_without_one(station, year):
    days = ["5-7", "11-7", "29-7", "2-7", "13-7"]
    rows = "".join(f"{2025 if n == 1 else ''},D{n},{day}\n" for n, day in enumerate(days, 1))
    (station / "records" / "sold.csv").write_text(f"{year},Queen,Date\n{rows}", "utf-8")
    begun, read = mapped(station)
    assert read["sold.csv", "exits"]["left_on"] == ["Date", year]
    assert "fill:sold.csv:exits:year" in {question.id for question in begun.asked}
    left = [row["left_on"] for row in accepted(station, AS_OF)["exits"]]
    assert sorted(left) == ["2025-07-02", "2025-07-05", "2025-07-11", "2025-07-13", "2025-07-29"]


def test_a_year_beside_whole_days_is_left_alone(station):
    rows = "".join(f"2025,D{n},2025-07-{n:02}\n" for n in range(1, 9))
    (station / "records" / "sold.csv").write_text(f"Year,Queen,Date\n{rows}", "utf-8")
    assert mapped(station)[1]["sold.csv", "exits"]["left_on"] == "Date"
