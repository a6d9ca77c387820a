"""A schedule that nobody wrote down, or that she did not live to get, is a gap."""

import numpy as np
import pytest
from queen_outcomes.models.analysis_set import is_recorded
from queen_outcomes.models.choose import few_groups
from queen_outcomes.models.closed import ClosedCourses
from queen_outcomes.models.filled import completed_values, freedom_of_cases
from queen_outcomes.models.gap_fates import gap_fates
from queen_outcomes.models.terms import MAIN
from queen_outcomes.stats.logistic.imputation import Completed

ONE, AFTER, BEFORE = "one exposure", "other after", "other before"


def courses(early: int, got: str) -> dict[str, np.ndarray]:
    """Give 60 with one exposure, 120 with a later one, 200 with another before, and some gone early."""
    known = np.repeat([ONE, AFTER, BEFORE], [60, 120, 200])
    schedule = np.concatenate([known, np.repeat("", early)])
    return {
        "co2_schedule": schedule,
        "co2_got": np.concatenate([known, np.repeat(got, early)]),
        "later_open": np.concatenate([np.zeros(len(known)), np.ones(early)]),
        "operator": np.repeat("A", len(schedule)),
        "co2_gap": np.where(np.isin(schedule, (ONE, "")), np.nan, 24.0),
    }


def filled(values: dict[str, np.ndarray], seed: int) -> np.ndarray:
    """Complete the courses, every gap first taken for one exposure."""
    levels = np.unique(values["co2_schedule"][values["co2_schedule"] != ""])
    codes = np.searchsorted(levels, values["co2_schedule"])
    codes[values["co2_schedule"] == ""] = np.flatnonzero(levels == ONE)[0]
    made = Completed({"co2_gap": np.full(len(codes), 24.0)}, {"co2_schedule": codes})
    return completed_values(values, made, [seed])


def test_who_went_before_a_later_exposure_is_shared_out_as_her_operator_gave_them():
    values = courses(3000, ONE)
    made = filled(values, 1)
    own = made["co2_schedule"][-3000:]
    assert set(own) == {ONE, AFTER}  # another before it would have been written down
    # 60 and 120 of her operator's, joined with the station's own shares
    assert (own == AFTER).mean() == pytest.approx(2 / 3, abs=0.03)
    gaps = made["co2_gap"][-3000:]
    assert (np.isfinite(gaps) == (own == AFTER)).all()
    again = filled(values, 1)
    assert (again["co2_schedule"] == made["co2_schedule"]).all()


def test_where_nothing_was_recorded_any_schedule_may_have_been_meant():
    own = filled(courses(3000, ""), 2)["co2_schedule"][-3000:]
    shares = [(own == level).mean() for level in (ONE, AFTER, BEFORE)]
    assert shares == pytest.approx([60 / 380, 120 / 380, 200 / 380], abs=0.03)


def test_what_was_given_stays_where_she_surely_lived_to_see_it():
    values = courses(50, ONE)
    values["later_open"][-50:] = 1e-9
    own = filled(values, 3)["co2_schedule"][-50:]
    assert (own == ONE).all()


def test_the_time_between_exposures_is_not_known_where_the_schedule_is_not():
    values = courses(1, ONE)
    known = is_recorded(MAIN["co2_gap"], values)
    assert known[:60].all()
    assert not known[-1]


def closed(values: dict, answers: np.ndarray) -> ClosedCourses:
    n = answers.shape[1]
    day = np.full(n, np.datetime64("2025-06-01"))
    return ClosedCourses(
        *(("laying", 21), values, np.full(n, "yes"), np.ones(n, bool), day, day),
        *(day.astype(str), np.full(n, np.nan), answers),
    )


@pytest.mark.parametrize(("lower", "clear"), [(0.35, True), (0.0, False)])
def test_a_gap_that_goes_with_fate_is_a_warning_and_no_level(lower, clear):
    rng = np.random.default_rng(5)
    lacking = np.arange(400) < 80
    yes = (rng.random(400) < 0.8 - lower * lacking).astype(float)
    values = {
        "co2_schedule": np.where(lacking, "", ONE),
        "co2_got": np.where(lacking, "", ONE),
        "graft_batch": np.char.add("g", (np.arange(400) % 20).astype(str)),
        "dose": np.full(400, 8.0),
    }
    terms = [MAIN["co2_schedule"], MAIN["dose"]]
    (row,) = gap_fates(closed(values, np.tile(yes, (20, 1))), terms)
    assert (row["factor"], row["lacking"], row["recorded"]) == ("co2_schedule", 80, 320)
    assert row["share_lacking"] == pytest.approx(yes[:80].mean())
    assert (row["p_holm"] < 0.001) == clear


def test_two_seasons_and_a_handful_of_operators_are_described_and_not_tested():
    n = 200
    values = {
        "year": np.repeat(["2025", "2026"], n // 2),
        "operator": np.tile(list("ABCD"), n // 4),
        "graft_batch": np.char.add("g", (np.arange(n) // 5).astype(str)),
        "semen_batch": np.char.add("s", (np.arange(n) // 3).astype(str)),
        "tip": np.tile(["fine", "fine", "wide", "wide"], n // 4),
        "dose": np.tile([8.0, 12.0, 6.0], n)[:n],
        "queen_age": np.repeat(np.arange(40.0), 5),
    }
    assert few_groups(MAIN["year"], values) == "describes these 2 seasons: no P"
    # each operator has a tip of her own kind: four hands, and no test of tips
    assert few_groups(MAIN["tip"], values) == "describes these 4 operators: no P"
    assert few_groups(MAIN["dose"], values) == ""
    # the same for all of a graft, of which there are forty
    assert few_groups(MAIN["queen_age"], values) == ""
    many = {**values, "year": np.repeat([str(2020 + k) for k in range(5)], n // 5)}
    assert few_groups(MAIN["year"], many) == ""


def test_operators_cases_are_as_many_stories_as_there_are_operators():
    values = {"operator": np.array(["A", "B", "C", "", "A"])}
    assert freedom_of_cases(MAIN["experience"], values) == 2
    assert freedom_of_cases(MAIN["dose"], values) == np.inf
    alone = {"operator": np.array(["A", "A"])}
    assert freedom_of_cases(MAIN["experience"], alone) == 1
