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
