"""What a plan says: each figure where it belongs, and a sentence only where it holds."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from planned_station import AS_OF, course, planned_store
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import UsageError
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Plan, Settings, parse
from queen_outcomes.trial.plan import make
from queen_outcomes.trial.plan_figures import PlanFigure
from queen_outcomes.trial.plan_report import (
    aim,
    as_json,
    assumptions,
    name_remark,
    percent,
    points,
    power_words,
    sections,
    settings_lines,
    tell,
    value,
    write,
)

STATED = {
    "arms": ("single 8=8", "6 and 6=6+6.5"),
    "difference": 0.2,
    "share": 0.65,
    "icc": 0.02,
    "queens_per_graft": 10,
    "queens_per_load": 5,
    "seed": 2026,
}


@pytest.fixture
def plan(full_store):
    def planned(settings=None, *, courses=(), **more):
        store = planned_store(full_store, list(courses))
        return make(store, settings or Settings(), AS_OF, STATED | more)

    return planned


def part(found, title):
    (only,) = [one for one in sections(found) if one.title.startswith(title)]
    return only


def test_the_aim_names_arms_reference_and_distance(plan):
    found = aim(plan())
    assert "with 6 and 6 higher than with single 8 by 20 points?" in found
    assert "lower than with single 8 by 20 points?" in aim(plan(difference=-0.2))
    named = aim(plan(reference="6 and 6", difference=None, margin=0.1))
    assert "with single 8 not worse than with 6 and 6 by 10 points or more?" in named


def test_how_the_lot_is_drawn(plan):
    (line,) = sections(plan())[0].lines
    assert "queens drawn by lot" in line
    assert line.endswith("4 a block; seed 2026")
    (line,) = sections(plan(by="batch"))[0].lines
    assert (
        line == "whole graft batches drawn by lot, 4 graft batches a block; seed 2026"
    )


def test_an_arm_s_row_adds_up(plan):
    found = plan()
    first, second = part(found, "Queens an arm").rows
    assert (first[0], second[0]) == ("single 8 (reference)", "6 and 6")
    assert (first[2], second[2]) == ("65 %", "85 %")
    queens = found.size.queens
    assert first[3] <= first[4] <= first[5] <= first[6] == queens
    # the doses of all queens and a tenth more
    assert float(first[-1]) == pytest.approx(queens * 8 * 1.1, abs=0.5)
    assert float(second[-1]) == pytest.approx(queens * 12.5 * 1.1, abs=0.5)


def test_what_is_needed_says_what_is_over_and_how_loads_are_parted(plan):
    rows = dict(part(plan(), "What the trial needs").rows)
    # two blocks of 4 of the 10 queens, a semen batch each
    assert rows["queens of each in the trial"] == "8, 2 over"
    assert rows["semen batches for each, with so many queens"] == "2: 4 + 4"
    rows = dict(part(plan(queens_per_graft=8), "What the trial needs").rows)
    assert rows["queens of each in the trial"] == "8"


def test_a_season_that_cannot_hold_the_trial_is_told_first(plan):
    def reared(queens):
        return [
            ({"course_id": f"Q{at}/1", "queen_id": f"Q{at}", "season": "2026"}, None)
            for at in range(queens)
        ]

    small = plan(courses=reared(20))
    seasons = small.ready.queens / 20
    row = dict(part(small, "What the trial needs").rows)
    assert row["seasons for its queens, at 20 a season"] == f"{seasons:.1f}"
    assert f"It takes {seasons:.1f} of the station's" in assumptions(small)[0]
    # a season and a half are told too
    middle = plan(courses=reared(small.ready.queens * 2 // 3))
    assert "It takes 1.5 of the station's" in assumptions(middle)[0]
    large = plan(courses=reared(small.ready.queens))
    assert not any("fullest seasons" in line for line in assumptions(large))
    assert not any("fullest seasons" in line for line in assumptions(plan()))


def test_each_assumption_stands_only_where_it_is_made(plan):
    two = " ".join(assumptions(plan()))
    three = plan(arms=("a=8", "b=9", "c=10"), difference=-0.2, by="batch")
    many = " ".join(assumptions(three))
    assert "comparisons with the reference" not in two
    assert "and for 2 comparisons with the reference." in many
    assert "A batch of one arm" in many
    assert "A batch of one arm" not in two
    layers = next(o for o in OUTCOMES if OUTCOMES[o].among_layers)
    assert "queens that lay only" in " ".join(assumptions(plan(outcome=layers)))
    assert "queens that lay only" not in two
    found = plan()
    assert f"{found.size.opposite:.0f} instead of {found.size.alone:.0f} decided" in two
    margin = plan(difference=None, margin=0.1)
    assert "other direction" not in " ".join(assumptions(margin))
    # 20 % less 30 points cannot be
    assert plan(share=0.2, difference=0.3).size.opposite is None


@pytest.mark.parametrize(("undecided", "warned"), [(5, True), (4, False)])
def test_under_80_percent_decided_is_a_warning(plan, undecided, warned):
    # 15 of 20 decided, and 16 of 20
    states = ["undecided"] * undecided + ["yes"] * (20 - undecided)
    found = plan(courses=[course(at, state) for at, state in enumerate(states)])
    words = "of the closed courses are decided"
    assert any(words in line for line in assumptions(found)) == warned


def test_what_is_written_down_is_toml_that_gives_the_plan_back(plan):
    for name in ("Doses_2027", 'two "words" über'):
        found = plan(name=name)
        told = tomllib.loads("\n".join(settings_lines(found)))
        assert told == {"planned_arms": {name: found.size.closed}}
    own = Settings(plan=Plan(planned_arms={"Other": 9}, margin=0.15))
    lines = settings_lines(plan(own, difference=None, margin=0.1))
    assert lines[0] == "# under [planned_arms], which is there already:"
    assert lines[2:] == ["# under [plan]:", "margin = 0.1"]
    assert len(settings_lines(plan(own, difference=None, margin=0.15))) == 2
    assert len(settings_lines(plan(own))) == 2


def test_figures_are_written_as_people_read_them():
    assert (points(0.075), percent(0.12345), power_words(None)) == (
        "7.5 points",
        "12.3 %",
        "under 5 %",
    )
    assert power_words(0.8012) == "80.1 %"
    units = {
        "share": "65.0 %",
        "queens": "0.7 queens",
        "drones": "1 drones",
        "": "0.650",
    }
    for unit, told in units.items():
        assert value(PlanFigure("x", 0.65, unit, "station")) == told


def test_a_plan_is_printed_part_by_part_and_names_its_files(plan, tmp_path, capsys):
    found = plan()
    files = write(found, tmp_path / "bench.csv", tmp_path / "sheet.html")
    assert set(files) == {"csv", "sheet"}
    tell(found, files, Console())
    told = capsys.readouterr()
    assert not told.out.startswith("\n")
    for section in sections(found):
        assert section.title in told.out
    assert f"\nWritten\n  {files['csv']}\n  {files['sheet']}\n" in told.out
    assert "inseminations_bench.csv" in told.err
    assert write(found, None, None) == {}
    tell(found, {}, Console())
    told = capsys.readouterr()
    assert "Written" not in told.out
    assert told.err == ""


def test_a_plan_for_programs_holds_what_was_asked_and_found(plan, capsys):
    found = plan()
    tell(found, {}, Console(json=True))
    given = json.loads(capsys.readouterr().out)
    assert given["files"] == {}
    assert given["size"]["layout"]["loads"] == 2
    assert given["difference"] == 0.2
    assert [arm["dose_ul"] for arm in given["arms"]] == [8, 12.5]
    assert given["window_days"] == 21
    assert set(as_json(found)) | {"files"} == set(given)


@pytest.mark.parametrize(("size", "hint"), [(1, 2), (3, 4), (5, 4), (7, 8), (9, 8)])
def test_a_block_that_cannot_be_gives_one_that_can(plan, size, hint):
    with pytest.raises(UsageError) as refused:
        plan(block_size=size)
    assert f"take a block of {hint}\n" in refused.value.text() + "\n"


COLUMNS = {"queen_id": "No.", "inseminated_at": "Day"}


@pytest.mark.parametrize(
    ("name", "settings", "remark"),
    [
        ("inseminations_2027.csv", {}, ""),
        ("list.csv", {}, "begins with inseminations, such as inseminations_list.csv"),
        ("list.csv", {"tables": {"inseminations": "list*.csv"}}, ""),
        ("inseminations.csv", {"tables": {"inseminations": "list*.csv"}}, "inseminations in station.toml: list*.csv"),
        ("list.csv", {"read": [{"from": "list.csv", "table": "inseminations", "columns": COLUMNS}]}, ""),
        ("list.csv", {"read": [{"from": "list.csv", "table": "exits", "columns": {"queen_id": "No.", "left_on": "Day"}}]}, "such as inseminations_list.csv"),
    ],
    ids=["named", "other", "pattern", "no pattern", "rule", "rule of exits"],
)  # fmt: skip
def test_a_list_is_to_have_a_name_by_which_it_is_read(name, settings, remark):
    found = name_remark(Path("somewhere") / name, parse(settings))
    assert found.endswith(remark) if remark else found == ""
