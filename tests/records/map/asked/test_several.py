"""Two doses of a queen in one row, their days in one cell."""

import datetime as dt

import pytest
from mapped_stations import run
from reading import accepted

AS_OF = dt.date(2026, 12, 31)
ASKED = "several:bench 2026.csv:inseminations:inseminated_at"
ROWS = ["D1;2/6;8", "D2;2/6+4/6;2x4", "D3;3/6 + 5/6;5+4", "D4;3/6;4+4", "D5;14/6;8", "D6;15/6;7"]


@pytest.fixture
def station(tmp_path):
    (tmp_path / "records").mkdir()
    bench = "\n".join(["Queen;Inseminated;Dose", *ROWS])
    (tmp_path / "records" / "bench 2026.csv").write_text(bench, "utf-8")
    looks = "Queen;Check date;Eggs\n" + "".join(f"D{n};2026-06-{n + 20};yes\n" for n in range(1, 7))
    (tmp_path / "records" / "looks.csv").write_text(looks, "utf-8")
    return tmp_path


@pytest.mark.parametrize("later", [True, False])
def test_days_in_one_cell_are_a_dose_each(station, later):
    if later:
        begun, settings = run(station, {}, accept=False)
        assert ASKED in {question.id for question in begun.open}
        assert "several" not in settings["files"].get("bench 2026.csv", {})
    _, settings = run(station, {ASKED: "yes"})
    assert settings["files"]["bench 2026.csv"]["several"] == {"Inseminated": 2, "Dose": 2}
    found = sorted(
        (row["queen_id"], row["inseminated_at"][:10], float(row["dose_ul"]))
        for row in accepted(station, AS_OF)["inseminations"]
    )
    assert found == [
        ("D1", "2026-06-02", 8),
        ("D2", "2026-06-02", 4),
        ("D2", "2026-06-04", 4),
        ("D3", "2026-06-03", 5),
        ("D3", "2026-06-05", 4),
        ("D4", "2026-06-03", 8),
        ("D5", "2026-06-14", 8),
        ("D6", "2026-06-15", 7),
    ]
    again, same = run(station)
    assert same == settings
    assert not again.open


def test_days_that_are_no_doses_stay_unread(station):
    _, settings = run(station, {ASKED: "no"})
    assert "several" not in settings["files"]["bench 2026.csv"]


SOLD = "several:sold 2026.csv:exits:queen_id"
SALES = ["2026-07-01;D1;60", "2026-07-02;D2, D3;110", "2026-07-04;D4;60", "2026-07-05;D5; 60"]


@pytest.mark.parametrize("later", [True, False])
def test_labels_in_one_cell_are_a_queen_each(station, later):
    sold = "\n".join(["Date;Queen;Price", *SALES])
    (station / "records" / "sold 2026.csv").write_text(sold, "utf-8")
    if later:
        begun, _ = run(station, {}, accept=False)
        assert SOLD in {question.id for question in begun.open}
    _, settings = run(station, {SOLD: "yes"})
    assert settings["files"]["sold 2026.csv"]["several"] == {"Queen": 2}
    found = sorted((row["queen_id"], row["left_on"][:10]) for row in accepted(station, AS_OF)["exits"])
    assert found == [
        ("D1", "2026-07-01"),
        ("D2", "2026-07-02"),
        ("D3", "2026-07-02"),
        ("D4", "2026-07-04"),
        ("D5", "2026-07-05"),
    ]
    again, same = run(station)
    assert same == settings
    assert not again.open


@pytest.mark.parametrize("cell", ["D2, north", "D2, D2", "D2 D3", "D1, D2, D3, D4, D5"])
def test_other_texts_than_labels_that_stand_alone_elsewhere_are_not_asked(station, cell):
    sold = "\n".join(["Date;Queen;Price", SALES[0], f"2026-07-02;{cell};110", *SALES[2:]])
    (station / "records" / "sold 2026.csv").write_text(sold, "utf-8")
    assert SOLD not in {question.id for question in run(station)[0].asked}


@pytest.mark.parametrize("between", ["and", "a", "und", "et", "ve", "oraz", "és", "OG"])
def test_days_joined_by_a_word_are_a_dose_each(station, between):
    bench = station / "records" / "bench 2026.csv"
    bench.write_text(bench.read_text("utf-8").replace("/6+4/6", f"/6 {between} 4/6").replace(" + ", f" {between} "), "utf-8")
    _, settings = run(station, {ASKED: "yes"})
    assert settings["files"]["bench 2026.csv"]["several"] == {"Inseminated": 2, "Dose": 2}
    days = sorted((row["queen_id"], row["inseminated_at"][:10]) for row in accepted(station, AS_OF)["inseminations"])
    assert days[1:5] == [("D2", "2026-06-02"), ("D2", "2026-06-04"), ("D3", "2026-06-03"), ("D3", "2026-06-05")]
