"""A few random and damaged sets of records; the long run is `tests/faults/fuzz.py`."""

import contextlib
import io
import random
import tempfile
from collections import Counter
from pathlib import Path

import fuzz
import fuzzed_sets
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from queen_outcomes.base import store
from queen_outcomes.commands import cli
from queen_outcomes.records.map import running
from queen_outcomes.records.map.asked import which_records
from queen_outcomes.records.map.seen import opened


@pytest.fixture(scope="module")
def counting():
    """Have every store counted by hand before it is let go."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store, "Store", fuzzed_sets.CountingStore)
        yield


@pytest.mark.slow
@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(draw=st.randoms(use_true_random=False))
def test_no_set_of_records_makes_check_fail_or_lose_a_row(counting, draw):
    with tempfile.TemporaryDirectory() as scratch:
        made = fuzzed_sets.make(Path(scratch) / "station", draw)
        counted = fuzzed_sets.Counted()
        fuzzed_sets.CountingStore.counted = counted
        fuzzed_sets.CountingStore.records_dir = made.station / "records"
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = cli.run(["check", str(made.station), "--quiet"])
        assert code in (0, 1, 2, 3), err.getvalue()
        assert "Traceback" not in err.getvalue()
        assert counted.wrong == []


CHECKS = "queen_id,checked_on,remark\nQ1,2026-06-01,zq000001w\nQ2,soon,zq000002w\n"


def check(station, text=CHECKS):
    records = station / "records"
    (records / "inseminations.csv").write_text(
        "queen_id,inseminated_at,remark\nQ1,2026-05-01,zq000009w\n", encoding="utf-8"
    )
    (records / "checks.csv").write_text(text, encoding="utf-8")
    counted = fuzzed_sets.Counted()
    fuzzed_sets.CountingStore.counted = counted
    fuzzed_sets.CountingStore.records_dir = records
    return counted


def test_the_count_by_hand_holds_for_sound_records(counting, command, station):
    counted = check(station)
    assert command("check", station).code == 1
    assert (counted.rows, counted.wrong) == (3, [])


@pytest.mark.parametrize(
    "loss",
    [
        "DELETE FROM accepted_inseminations",
        "DELETE FROM raw_1 WHERE remark = 'zq000001w'",
        "UPDATE raw_1 SET remark = 'gone' WHERE remark = 'zq000001w'",
        "INSERT INTO accepted_checks SELECT * FROM accepted_checks",
        "DELETE FROM quarantine",
    ],
)
def test_the_count_by_hand_sees_a_loss(counting, command, station, monkeypatch, loss):
    counted = check(station)
    count = fuzzed_sets.count

    def lose_first(opened, *more):
        opened.execute(loss)
        count(opened, *more)

    monkeypatch.setattr(fuzzed_sets, "count", lose_first)
    command("check", station)
    assert counted.wrong


def test_damage_differs_from_what_was_damaged_and_is_the_same_again():
    content = bytes(range(256)) * 4
    made = [fuzzed_sets.damaged(content, random.Random(seed)) for seed in range(40)]
    again = [fuzzed_sets.damaged(content, random.Random(seed)) for seed in range(40)]
    assert made == again
    assert Counter(map(len, made)).total() - made.count(content) >= 36


@pytest.mark.slow
def test_no_set_of_records_makes_map_fail_or_lose_a_file(counting, tmp_path):
    failures = [fuzz.map_set(number, tmp_path / str(number))[0] for number in range(12)]
    assert failures == [""] * 12


def mapped(place, files):
    """Map a set of these files alone, and give what is found to be wrong."""

    def make(station, draw):
        (station / "records").mkdir(parents=True)
        (station / "station.toml").write_text('name = "Fuzz"\n', encoding="utf-8")
        for name, content in files.items():
            (station / "records" / name).write_text(content, encoding="utf-8")
        return fuzzed_sets.MadeSet(station)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fuzzed_sets, "make", make)
        return fuzz.map_set(0, place)[0]


BENCH = "queen_id,inseminated_at,remark\nQ1,2026-05-01,zq000009w\n"
FILES = {"bench.csv": BENCH, "checks #1.csv": CHECKS, "old.csv": "", "form.csv": "Queen,Eggs\n"}


def test_the_look_for_files_finds_them_where_nothing_is_lost(counting, tmp_path):
    assert mapped(tmp_path / "station", FILES) == ""


@pytest.mark.parametrize(
    ("place", "name", "change", "told"),
    [
        (opened, "every", lambda every: lambda *words: every(*words)[:-1],
         "old.csv is neither read nor left out nor asked about"),
        (which_records, "_is_sheet", lambda _: lambda file: False,
         "nothing could be read in old.csv, and it is not asked about"),
        (running.Run, "forms", lambda _: property(lambda run: {"bench.csv"}, lambda run, given: None),
         "bench.csv is taken for a form, and rows stand in it"),
        (running.Run, "settings", lambda settings: lambda run: f"{run.text}# again\n",
         "open in the settings: [], told: ['ignore:checks #1.csv:*:*', 'ignore:old.csv:*:*']"),
    ],
)  # fmt: skip
def test_the_look_for_files_sees_a_loss(
    counting, tmp_path, monkeypatch, place, name, change, told
):
    monkeypatch.setattr(place, name, change(getattr(place, name, None)), raising=False)
    assert told in mapped(tmp_path / "station", FILES)
