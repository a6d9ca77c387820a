"""`plan` on a small finished station: what it prints, writes and refuses."""

from __future__ import annotations

import csv
import json

import pytest
from demo_station import build_trial_station, run

pytestmark = pytest.mark.slow

ARMS = ("--arm", "single 8=8", "--arm", "single 12=12", "--reference", "single 8")
AIM = ("--difference", "0.25", "--seed", "2026")


@pytest.fixture(scope="module")
def finished(shared):
    return shared.folder("trial_station", build_trial_station)


@pytest.fixture
def told(command, finished):
    """Plan in this process and give what is told as JSON."""

    def plan(*words):
        ran = command("plan", finished, *ARMS, *words, "--json")
        assert ran.code == 0, ran.err
        return json.loads(ran.out)

    return plan


def test_the_installed_command_plans_and_writes(finished, tmp_path):
    table, page = tmp_path / "inseminations_t.csv", tmp_path / "sheet.html"
    words = ("plan", finished, *ARMS, *AIM, "--csv", table, "--sheet", page)
    one = run(*words)
    assert one.returncode == 0, one.stderr
    assert one.stderr == "as of 2026-10-01\n"
    first = one.stdout, table.read_bytes(), page.read_bytes()
    again = run(*words)
    assert (again.stdout, table.read_bytes(), page.read_bytes()) == first
    for part in (
        *("What the trial needs", "Power of other sizes", "What it assumes"),
        *("[planned_arms]", "Doses_2027 = ", "seed 2026", "licensed", "CO2", "Stings"),
        *("Glass", "diluent", str(table), str(page)),
    ):
        assert part in one.stdout


def test_figures_come_from_the_station_s_own_records(told):
    figures = told(*AIM)["figures"]
    assert figures["share"]["source"] == "this station's records"
    assert "144 closed courses" in figures["share"]["basis"]
    assert figures["per_graft"]["value"] == 12
    assert figures["per_load"]["value"] == 6
    assert figures["ul_a_drone"]["value"] == pytest.approx(70 / 110)
    assert figures["yielding"]["value"] == 0.595
    assert "Rhodes" in figures["yielding"]["source"]
    assert 0 <= figures["icc"]["value"] < 0.3


def test_a_trial_is_set_against_what_the_station_raises_in_a_season(told, command, finished):
    found = told("--margin", "0.1")
    own = found["figures"]["queens_a_season"]["value"]
    assert own == 144
    seasons = found["ready"]["queens"] / own
    assert seasons > 1
    out = command("plan", finished, *ARMS, "--margin", "0.1").out
    line = next(x for x in out.splitlines() if x.startswith("seasons for its queens"))
    assert float(line.split()[-1]) == pytest.approx(seasons, abs=0.05)
    assert "plan for several seasons" in found["assumptions"][0]
    small = told("--margin", "0.4")
    assert small["ready"]["queens"] <= own
    assert "several seasons" not in small["assumptions"][0]


def test_the_list_has_the_station_s_headings_and_enough_queens(
    command, finished, told, tmp_path
):
    table = tmp_path / "inseminations_t.csv"
    size = told(*AIM, "--csv", table)["size"]
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {"Hands", "Dose plan", "trial", "block", "queen_id"} <= set(rows[0])
    by_arm = [row["Dose plan"] for row in rows]
    assert by_arm.count("single 8") == by_arm.count("single 12") == size["queens"]
    assert size["queens"] >= size["inseminated"] >= size["decided"]
    assert size["power"] >= 0.8


def test_a_margin_needs_more_than_a_difference_as_large_here(told):
    gain, margin = told("--difference", "0.2"), told("--margin", "0.2")
    assert margin["size"]["decided"] > gain["size"]["decided"]
    assert margin["station_toml"][-1] == "margin = 0.2"
    whole = told("--difference", "0.2", "--by", "batch")
    assert whole["size"]["decided"] >= gain["size"]["decided"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--difference", "0.9"], "no arm can differ so much"),
        (["--difference", "0.1", "--block-size", "5"], "a multiple of 2"),
        (["--difference", "0.1", "--outcome", "layin"], 'did you mean "laying"?'),
        (["--difference", "0.1", "--reference", "single 9"], 'did you mean "single'),
        (["--difference", "0.1", "--outcome", "pattern"], "--share 0.8"),
        (["--difference", "0.1", "--by", "hive"], "one of queen, batch"),
        ([], "neither"),
    ],
)
def test_what_cannot_be_planned_ends_with_2(command, finished, words, said):
    ran = command("plan", finished, *ARMS, *words)
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.err
    assert "Traceback" not in ran.err


def test_without_a_build_the_command_to_run_is_told(command, station):
    ran = command("plan", station, *ARMS, *AIM)
    assert (ran.code, ran.out) == (2, "")
    assert "queen-outcomes build" in ran.err


def test_a_filled_list_is_not_written_over(command, finished, tmp_path):
    table = tmp_path / "mine.csv"
    table.write_text("filled in by hand", encoding="utf-8")
    ran = command("plan", finished, *ARMS, *AIM, "--csv", table)
    assert ran.code == 2
    assert table.read_text(encoding="utf-8") == "filled in by hand"


def test_a_list_that_would_not_be_read_is_told_on_stderr(command, finished, tmp_path):
    ran = command("plan", finished, *ARMS, *AIM, "--csv", tmp_path / "bench.csv")
    assert ran.code == 0
    assert "inseminations_bench.csv" in ran.err
