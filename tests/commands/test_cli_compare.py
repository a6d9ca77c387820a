"""`compare` on a small finished station: what it prints, writes and refuses."""

from __future__ import annotations

import csv
import json
import shutil

import pytest
from armed_records import queens, rows
from demo_station import run

pytestmark = pytest.mark.slow

SHARES = {"single 8": 0.75, "single 12": 0.8, "6 and 6": 0.85}
SETTINGS = """\
name = "Test station"
as_of = 2026-10-01

[plan]
margin = 0.1
"""


def text(value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)


def write_station(place, made):
    (place / "records").mkdir(parents=True)
    (place / "station.toml").write_text(SETTINGS, encoding="utf-8")
    for name, table in rows(made).items():
        columns = list(dict.fromkeys(key for row in table for key in row))
        with (place / "records" / f"{name}.csv").open(
            "w", encoding="utf-8", newline=""
        ) as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(columns)
            writer.writerows([text(row.get(key)) for key in columns] for row in table)
    return place


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    made = queens(180, SHARES)
    for number, queen in enumerate(made):
        queen["tip"] = "fine" if number % 4 else "wide"
        queen["instrument"] = f"bench {queen['operator']}"
    for queen in made[:2]:
        queen["protocol"] = "rare"
    place = write_station(tmp_path_factory.mktemp("compare") / "station", made)
    built = run("build", place, "--quiet")
    assert built.returncode == 0, built.stderr
    return place


def test_the_installed_command_tells_writes_and_repeats_itself(finished):
    words = ("compare", finished, "--arms", "single 8,single 12", "--margin", "0.2")
    one = run(*words)
    assert one.returncode == 0, one.stderr
    assert one.stderr == "as of 2026-10-01\n"
    page = finished / "build" / "compare" / "index.html"
    first = one.stdout, page.read_bytes()
    again = run(*words)
    assert (again.stdout, page.read_bytes()) == first
    for part in (
        *("laying by day 21", "goes with", "95 % limits", "Verdict", "adjusted"),
        *("not fixed beforehand", "as they are", "within blocks", str(page)),
    ):
        assert part in one.stdout
    assert "6 and 6" not in one.stdout
    drawn = page.read_text(encoding="utf-8")
    assert "../latest/dashboard/doses.html" in drawn
    assert (page.parent / "static" / "style.css").is_file()


def test_a_later_build_leaves_the_page(finished, tmp_path):
    station = tmp_path / "station"
    shutil.copytree(finished, station, symlinks=True)
    assert run("compare", station, "--quiet").returncode == 0
    assert run("build", station, "--quiet").returncode == 0
    assert (station / "build" / "compare" / "index.html").is_file()


def test_figures_are_those_of_the_build(command, finished):
    from queen_outcomes.base.store import Store

    told = json.loads(command("compare", finished, "--json").out)
    # naming the reference has it counted anew
    words = ("compare", finished, "--reference", told["reference"], "--json")
    anew = json.loads(command(*words).out)
    for name in ("arms", "arm_contrasts", "arm_costs", "arm_exchange"):
        both = [sorted(map(str, found[name])) for found in (told, anew)]
        assert both[0] == both[1]
        assert both[0]
    with Store(finished / "build/latest/station.duckdb", read_only=True) as store:
        for name in ("arms", "arm_costs"):
            assert told[name] == store.records(f"SELECT * FROM {name} ORDER BY arm")
        built = store.records(
            "SELECT * FROM arm_contrasts WHERE outcome = 'laying' ORDER BY ALL"
        )
    key = ("arm", "method")
    found = {tuple(row[k] for k in key): row for row in told["arm_contrasts"]}
    assert found == {tuple(row[k] for k in key): row for row in built}
    assert told["margin"] == 0.1


def test_tips_are_compared_with_the_care_taken_of_arms(command, finished):
    ran = command("compare", finished, "--by", "tip", "--json")
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    counts = {row["arm"]: row["courses"] for row in told["arms"]}
    assert counts == {"fine": 135, "wide": 45}
    rates = {row["arm"]: row["rate"] for row in told["arms"]}
    raw = {row["method"]: row for row in told["arm_contrasts"]}["unadjusted"]
    step = rates[raw["arm"]] - rates[raw["reference"]]
    assert raw["reference"] == "fine"
    assert raw["difference"] == pytest.approx(step)
    # the plan's margin is one of doses
    assert told["margin"] is None
    page = (finished / "build" / "compare" / "index.html").read_text("utf-8")
    assert "Tips compared" in page
    assert "the tips recorded" in page
    # an instrument of each operator's own cannot be told apart from her hand
    ran = command("compare", finished, "--by", "instrument")
    assert ran.code == 4
    assert "they hardly share operators" in ran.out


def test_before_and_since_a_day_is_never_judged(command, finished):
    ran = command(
        *("compare", finished, "--since", "2025-06-20", "--margin", "0.9", "--json")
    )
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    names = {"before 2025-06-20", "since 2025-06-20"}
    assert {row["arm"] for row in told["arms"]} == names
    assert all(row["verdict"] is None for row in told["arm_contrasts"])
    (said,) = {r["said"] for r in told["arm_contrasts"] if r["primary"]}
    assert "whatever else changed on that day goes with it" in said


def test_the_reference_and_the_outcome_can_be_chosen(command, finished):
    ran = command(
        *("compare", finished, "--reference", "single 8", "--outcome", "lost"),
        *("--days", "21", "--json"),
    )
    told = json.loads(ran.out)
    assert {row["reference"] for row in told["arm_contrasts"]} == {"single 8"}
    assert {row["outcome"] for row in told["arm_contrasts"]} == {"lost"}


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--arms", "single 8,singel 12"), 2, 'did you mean "single 12"?'),
        (("--reference", "6 and6"), 2, 'did you mean "6 and 6"?'),
        (("--trial", "T1"), 2, "no trial is recorded"),
        (("--outcome", "laying", "--days", "30"), 2, "laying by day 21"),
        (("--outcome", "laid"), 2, "one of laying,"),
        (("--margin", "10"), 2, "10"),
        (("--arms", "single 8"), 4, "one arm only"),
        (("--by", "diluent"), 4, "there is no arm to compare"),
        (("--by", "tip", "--since", "2025-06-20"), 2, "give one of them"),
        (("--by", "tip", "--trial", "T1"), 2, "no trial is recorded"),
        (("--arms", "single 8,rare"), 4, "cannot be compared"),
    ],
)
def test_what_cannot_be_compared_is_told(command, finished, words, code, said):
    ran = command("compare", finished, *words)
    assert ran.code == code
    assert said in ran.err
    if "rare" in words[1]:  # the figures that there are come all the same
        assert "fewer than 10 closed courses" in ran.out


def test_without_a_build_the_command_to_run_is_told(command, station):
    ran = command("compare", station)
    assert (ran.code, ran.out) == (2, "")
    assert f"queen-outcomes build {station}" in ran.err
