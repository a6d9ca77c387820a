"""Lines that stand alone over blocks of rows, and what they tell of these."""

import datetime as dt

import pytest
from mapped_stations import run
from reading import accepted, stage

ASKED = "group:bench.csv:*:*"
AS_OF = dt.date(2025, 12, 31)


def write(station, lines, total="Total,8,,\n"):
    """Write a list of two blocks of four queens, each below a line."""
    (station / "records").mkdir(exist_ok=True)
    rows = ""
    for block, line in enumerate(lines):
        rows += f'"{line}",,,\n' if line else ""
        rows += "".join(f"Q{n},2025-0{5 + block}-1{n},8,AK\n" for n in range(1 + 4 * block, 5 + 4 * block))
    (station / "records" / "bench.csv").write_text(f"Queen,Inseminated,Dose,By\n{rows}{total}", "utf-8")
    looks = "".join(f"Q{n},2025-0{5 + (n > 4)}-28,yes\n" for n in range(1, 9))
    (station / "records" / "checks.csv").write_text(f"Queen,Checked,Eggs\n{looks}", "utf-8")


def batches(station):
    return [row.get("graft_batch") for row in accepted(station, AS_OF)["inseminations"]]


@pytest.mark.parametrize(
    ("lines", "default"),
    [
        (["Series 1, grafted 18.4.", "Series 2, grafted 20.5."], "graft_batch"),
        (["Sarja 1 emosta 23-08", "Sarja 2 emosta 23-08"], "graft_batch"),
        (["Line A", "Line B"], "line"),
        (["Yard 3", "Yard 4"], "no"),  # where they stood, which no record holds
        (["Zorb 3", "Zorb 4"], None),
    ],
)
def test_what_lines_over_rows_tell_is_asked(tmp_path, lines, default):
    write(tmp_path, lines)
    begun, settings = run(tmp_path, accept=False)
    (asked,) = [question for question in begun.asked if question.kind == "group"]
    assert (asked.id, asked.default) == (ASKED, default)
    assert set(asked.options) >= {"graft_batch", "line", "semen_batch", "no"}
    assert "operator" not in asked.options  # a column says it
    begin = lines[0].split()[0]
    assert settings["files"]["bench.csv"]["pass_over"] == ["Total*", f"{begin} *"]
    _, settings = run(tmp_path, {ASKED: "graft_batch"})  # in a later run
    habits = settings["files"]["bench.csv"]
    assert (habits["group"], habits["group_rows"], habits["pass_over"]) == ("graft_batch", [f"{begin}*"], ["Total*"])
    assert batches(tmp_path) == [lines[0]] * 4 + [lines[1]] * 4


def test_no_passes_them_over_as_before(tmp_path):
    write(tmp_path, ["Series 1, grafted 18.4.", "Series 2, grafted 20.5."])
    _, settings = run(tmp_path, {ASKED: "no"})
    assert "group" not in settings["files"]["bench.csv"]
    assert batches(tmp_path) == [None] * 8


@pytest.mark.parametrize(
    "lines",
    [["", "Series 2, grafted 20.5."], ["Season 2024", "Season 2025"], ["2024", "2025"], ["Checked", "Total"]],
    ids=["not over the first block", "seasons", "years", "no batch"],
)
def test_other_lines_are_not_asked_about(tmp_path, lines):
    write(tmp_path, lines)
    begun, _ = run(tmp_path)
    assert ASKED not in {question.id for question in begun.asked}


def test_a_row_with_a_label_alone_is_no_line_where_the_settings_name_the_lines(tmp_path):
    text = "Queen,Day,Dose\nSeries 1,,\nQ1,2025-06-01,8\nQ2,,\nQ3,2025-06-01,8\nseries 2,,\nQ4,2025-06-02,8\n"
    habits = {"inseminations.csv": {"group": "graft_batch", "group_rows": ["Series *"]}}
    columns = {"queen_id": "Queen", "inseminated_at": "Day", "dose_ul": "Dose"}
    rule = {"from": "inseminations.csv", "table": "inseminations", "columns": columns}
    store, _ = stage(tmp_path, {"files": habits, "read": [rule]}, inseminations__csv=text)
    rows = store.rows("SELECT queen_id, graft_batch FROM staged_inseminations ORDER BY ref")
    assert rows == [("Q1", "Series 1"), ("Q2", "Series 1"), ("Q3", "Series 1"), ("Q4", "series 2")]
