"""Days over the columns of looks that stand in no order: asked about, and told by `check`."""

import datetime as dt
import itertools
import random

import pytest
from mapped_stations import run
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import UsageError
from queen_outcomes.commands.check import check_records
from queen_outcomes.records.day_headings import out_of_order
from reading import accepted

ASKED = "day:looks 2025.csv:checks:checked_on"
AS_OF = dt.date(2026, 12, 31)


def days(*texts):
    return [dt.date(2025, *map(int, text.split("-"))) for text in texts]


@pytest.mark.parametrize(
    ("texts", "places"),
    [
        (["6-21", "6-28", "6-5", "7-12"], [2]),
        (["6-21", "6-28", "7-5", "7-12"], []),
        (["7-12", "7-5", "6-28", "6-28"], []),
        (["7-12", "7-5", "7-28", "6-28"], [2]),
        (["6-1", "6-8"], []),
        ([], []),
    ],
)
def test_days_out_of_order_are_those_without_which_the_others_run_one_way(texts, places):
    assert out_of_order(days(*texts)) == places


def made(tmp_path, heads=("21/6", "28/6", "5/6", "12/7", "19/7"), name="looks 2025"):
    records = tmp_path / "records"
    records.mkdir()
    bench = "".join(f"D{n},2025-05-{10 + n},8\n" for n in range(1, 9))
    (records / "bench.csv").write_text("Queen,Inseminated on,Dose\n" + bench, "utf-8")
    looks = "".join(f"D{n}{',eggs' * len(heads)}\n" for n in range(1, 9))
    (records / f"{name}.csv").write_text(f"Queen,{','.join(heads)}\n{looks}", "utf-8")
    return tmp_path


def told(station):
    found = check_records(station, Console(quiet=True)).found
    return [one["says"] for one in found["advice"] if one["kind"] == "day_of_heading"]


def looked_on(station):
    return sorted({row["checked_on"] for row in accepted(station, AS_OF)["checks"]})


@pytest.mark.parametrize("at_once", [True, False])
@pytest.mark.parametrize("day", ["2025-07-05", dt.date(2025, 7, 5)])
def test_a_day_out_of_order_is_asked_about_by_name(tmp_path, at_once, day):
    station = made(tmp_path)
    if not at_once:
        begun, _ = run(station)
        (asked,) = [q for q in begun.open if q.kind == "day"]
        assert asked.id == ASKED
        assert '"5/6"' in asked.text
        assert asked.evidence == ['"5/6" stands behind "28/6" and before "12/7"']
        assert told(station) == [
            'looks 2025.csv, column "5/6": its looks are read as of 2025-06-05, and it stands '
            'behind "28/6" (2025-06-28) and before "12/7" (2025-07-12)'
        ]
    begun, _ = run(station, {ASKED: {"5/6": day}}, accept=at_once)
    assert ASKED not in {q.id for q in begun.open}
    assert looked_on(station) == [
        *("2025-06-21", "2025-06-28", "2025-07-05", "2025-07-12", "2025-07-19")
    ]
    assert told(station) == []


@pytest.mark.parametrize("at_once", [True, False])
def test_a_day_out_of_order_may_be_right(tmp_path, at_once):
    station = made(tmp_path)
    if not at_once:
        run(station)
    run(station, {ASKED: "right"}, accept=at_once)
    assert looked_on(station)[0] == "2025-06-05"
    assert told(station) == []


@pytest.mark.parametrize("heads", [("21/6", "28/6", "5/7"), ("12/7", "28/6", "21/6"), ("28/6", "5/6")])
def test_days_that_run_one_way_are_not_asked_about(tmp_path, heads):
    begun, _ = run(made(tmp_path, heads))
    assert not [q for q in begun.asked if q.kind == "day"]
    assert told(tmp_path) == []


@pytest.mark.parametrize("answer", [{"28/6": "2025-07-05"}, {"5/6": "5 July"}, "wrong"])
def test_an_answer_that_names_no_day_of_a_heading_asked_about_is_refused(tmp_path, answer):
    with pytest.raises(UsageError, match="does not fit"):
        run(made(tmp_path), {ASKED: answer})


@pytest.mark.parametrize("seed", range(40))
def test_as_few_days_as_possible_are_out_of_order(seed):
    """The longest run either way, found by trying every choice."""
    draw = random.Random(seed)
    numbers = [draw.randrange(8) for _ in range(draw.randrange(8))]
    found = out_of_order([dt.date(2025, 6, 1 + number) for number in numbers])
    choices = itertools.chain.from_iterable(
        itertools.combinations(numbers, many) for many in range(len(numbers) + 1)
    )
    longest = max(
        (len(c) for c in choices if list(c) in (sorted(c), sorted(c, reverse=True))), default=0
    )
    assert len(numbers) - len(found) == longest
    kept = [number for at, number in enumerate(numbers) if at not in found]
    assert kept in (sorted(kept), sorted(kept, reverse=True))
