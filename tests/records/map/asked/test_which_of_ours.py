"""What a heading that may be one of several columns of ours is answered to be."""

import datetime as dt
from dataclasses import replace

import pytest
from mapped_stations import run
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import load
from queen_outcomes.records.map.running import begin
from queen_outcomes.records.staging import stage_records
from queen_outcomes.records.unanswered import unanswered
from reading import accepted

AS_OF = dt.date(2025, 12, 31)
ROWS = [
    f"D{n},{1 + n // 4},2025-05-{3 + 20 * (n // 4):02},2025-05-{11 + 16 * (n // 4) + n % 2}"
    for n in range(8)
]
BENCH = "\n".join(["Queen,Lot: no,Emerged,Inseminated", *ROWS])
NAME = "which:bench.csv:*:Lot  no"


def station(tmp_path, **files):
    (tmp_path / "records").mkdir(exist_ok=True)
    looks = {"looks": "Queen,Checked,Eggs\nD1,2025-06-20,yes"}
    for name, text in (looks | files).items():
        (tmp_path / "records" / f"{name}.csv").write_text(text, "utf-8")
    return tmp_path


def batches_of(tmp_path):
    rows = [row for rows in accepted(tmp_path, AS_OF).values() for row in rows]
    return {
        name: {row[name] for row in rows if row.get(name)} for name in ("semen_batch", "graft_batch")
    }


@pytest.mark.parametrize(
    ("answer", "semen", "graft"),
    [(None, set(), {"1", "2"}), ("semen_batch", {"1", "2"}, set()), ("no", set(), set())],
)
def test_a_lot_is_read_as_it_is_answered(tmp_path, answer, semen, graft):
    station(tmp_path, bench=BENCH)
    run(tmp_path, {NAME: answer} if answer else {})
    assert batches_of(tmp_path) == {"semen_batch": semen, "graft_batch": graft}


@pytest.mark.parametrize(
    ("answer", "semen", "graft"),
    [("graft_batch", set(), {"1", "2"}), ("semen_batch", {"1", "2"}, set()), ("no", set(), set())],
)
def test_an_answer_given_later_changes_what_the_settings_say(tmp_path, answer, semen, graft):
    station(tmp_path, bench=BENCH)
    first, _ = run(tmp_path, accept=False)
    assert [q.id for q in first.open if q.kind == "which"] == [NAME]
    second, _ = run(tmp_path, {NAME: answer})
    assert second.open == []
    assert batches_of(tmp_path) == {"semen_batch": semen, "graft_batch": graft}
    assert [q.id for q in begin(tmp_path).asked] == []


def test_what_is_read_from_such_a_heading_waits_for_its_answer(tmp_path):
    station(tmp_path, bench=BENCH)
    run(tmp_path, accept=False)
    text = (tmp_path / "station.toml").read_text("utf-8")
    with Store() as store:
        sources = stage_records(store, tmp_path / "records", load(tmp_path)).sources
    assert NAME in [one.id for one in unanswered(text, sources, [])]
    left = [replace(one, slots=()) for one in sources]
    assert unanswered(text, left, []) == []


def test_one_answer_holds_for_sheets_alike(tmp_path):
    station(tmp_path, bench=BENCH, second=BENCH.replace("D", "E"))
    done, _ = run(tmp_path, {NAME: "semen_batch", "which:second.csv:*:Lot  no": "no"})
    assert [q.id for q in done.asked if q.kind == "which"] == [NAME]
    inseminations = accepted(tmp_path, AS_OF)["inseminations"]
    labels = {row["queen_id"][0]: row.get("semen_batch") for row in inseminations}
    assert labels["D"]
    assert not labels["E"]


def which(tmp_path, *rows, **files):
    """Give the questions that a bench sheet raises of its headings, with their options."""
    found = begin(station(tmp_path, bench="\n".join(rows), **files)).asked
    return {q.id.rpartition(":")[2]: list(q.options)[:-1] for q in found if q.kind == "which"}


def bench(head, cells):
    """Give a bench sheet with one more column, filled row by row."""
    return [f"Queen,Inseminated,Dose,{head}", *(f"D{n},2025-05-1{n},8,{text}" for n, text in enumerate(cells))]


@pytest.mark.parametrize(
    ("cells", "options"),
    [
        (["Ada", "Eve"] * 3, ["operator"]),
        (["A"] * 3 + ["B"] * 3, ["operator", "graft_batch", "semen_batch"]),
        (["s1", "", "", "s2", "", ""], ["graft_batch", "semen_batch"]),
        (["1", "2", "1", "2", "1", "2"], []),
        (["17", "4", "23", "4", "9", "31"], ["colony_id"]),
        (["1", "2", "3", "4", "5", "6"], []),
        (["2025-05-01"] * 3 + ["2025-05-02"] * 3, ["emerged_on"]),
        ([f"2025-05-0{n}" for n in range(1, 7)], []),
        (["", "", "", "", "A", "B"], []),
        (["rather long words of something"] * 3 + ["and others"] * 3, []),
    ],
)
def test_columns_that_may_be_what_a_row_usually_has(tmp_path, cells, options):
    assert which(tmp_path, *bench("Zorb", cells)) == ({"Zorb": options} if options else {})


def test_what_a_sheet_has_or_a_heading_explains_is_not_asked(tmp_path):
    assert which(tmp_path, *bench("By,Zorb", ["Ada,Eve", "Bob,Max"] * 3)) == {}
    assert which(tmp_path, *bench("CO2", ["Ada", "Eve"] * 3)) == {}
    # what the heading names cannot be what stands there
    rows = bench("Sperm millions", ["sp1"] * 3 + ["sp2"] * 3)
    assert which(tmp_path, *rows) == {"Sperm millions": ["graft_batch", "semen_batch"]}


def test_only_a_few_columns_of_a_sheet_are_asked_and_one_heading_of_sheets_once(tmp_path):
    rows = bench("Zorb,Yonk,Xarg,Wump", ["Ada,Ada,Ada,Ada", "Eve,Eve,Eve,Eve"] * 3)
    assert list(which(tmp_path, *rows)) == ["Zorb", "Yonk", "Xarg"]
    rows, more = bench("Zorb", ["Ada", "Eve"] * 3), bench("Tip,Zorb", ["t,Ada", "t,Eve"] * 3)
    found = begin(station(tmp_path, bench="\n".join(rows), more="\n".join(more))).asked
    assert [q.text for q in found if q.kind == "which"] == [
        'In 2 sheets ("bench.csv", "more.csv"), what stands under "Zorb"?'
    ]


LOOKED = [f"D{n},2025-05-1{n},8,2025-06-0{n},{text}" for n, text in enumerate(["", *["ja", "nein"] * 3]) if n]


def test_yes_and_no_beside_a_look_that_no_heading_explains(tmp_path):
    rows = ["Queen,Inseminated,Dose,Checked,Zorb", *LOOKED]
    found = which(tmp_path, *rows)["Zorb"]
    assert {"eggs", "larvae", "sealed", "queen_seen"} <= set(found)
    run(tmp_path, {"which:bench.csv:*:Zorb": "eggs"})
    seen = [row for row in accepted(tmp_path, AS_OF)["checks"] if row["queen_id"] in ("D2", "D3")]
    assert [row["eggs"] for row in seen] == ["no", "yes"]


def test_yes_and_no_that_stand_beside_no_look_are_not_asked(tmp_path):
    rows = [row.replace("2025-06-0", "") if n > 1 else row for n, row in enumerate(LOOKED)]
    assert which(tmp_path, "Queen,Inseminated,Dose,Weight,Zorb", *rows) == {}
    assert "Eggs" not in which(tmp_path, "Queen,Inseminated,Dose,Checked,Eggs", *LOOKED)


def test_a_column_that_is_answered_later_is_read_from_then_on(tmp_path):
    rows = ["Queen,Inseminated,Dose,Checked,Zorb,Yonk"]
    rows += [f"{row},{who}" for row, who in zip(LOOKED, ["Ada", "Eve"] * 3, strict=True)]
    station(tmp_path, bench="\n".join(rows))
    run(tmp_path, accept=False)
    done, _ = run(tmp_path, {"which:bench.csv:*:Zorb": "eggs", "which:bench.csv:*:Yonk": "operator"})
    assert done.open == []
    read = accepted(tmp_path, AS_OF)
    assert {row["operator"] for row in read["inseminations"]} == {"Ada", "Eve"}
    assert {row["eggs"] for row in read["checks"] if "eggs" in row} == {"yes", "no"}
