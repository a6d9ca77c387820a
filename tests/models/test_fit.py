"""Every station gets an answer: a model that its data allow, or words."""

import re

import numpy as np
import pytest
from modelled import everything, fit, fit_courses, modelled, queens
from queen_outcomes.facts import exports as contract
from queen_outcomes.models.adjusted_factors import adjusted_rows
from queen_outcomes.models.analysis_set import analysis_set
from queen_outcomes.models.terms import MAIN

pytestmark = pytest.mark.slow

TABLES = (
    *("model_fits", "model_terms", "model_coefficients", "model_groups"),
    *("adjusted", "contrasts"),
)


@pytest.fixture(scope="module")
def usual():
    return modelled(queens(300))


def test_the_tables_are_the_ones_promised(usual):
    found = {name: usual.columns(name) for name in TABLES}
    problems = [p for p in contract.differences(found) if p.split(".")[0] in TABLES]
    assert problems == []


@pytest.mark.parametrize("name", TABLES)
def test_the_keys_are_unique(usual, name):
    key = ", ".join(contract.TABLES[name].key)
    assert (
        usual.rows(f'SELECT {key} FROM "{name}" GROUP BY ALL HAVING count(*) > 1') == []
    )


def test_enough_levels_get_random_intercepts_and_the_planted_factor_is_found(usual):
    assert fit(usual)["method"] == "glmm"
    ((term, p),) = usual.rows(
        "SELECT term, p FROM model_terms WHERE outcome = 'laying' AND model = 'main' "
        "ORDER BY p LIMIT 1"
    )
    assert term == "dose"
    assert p < 0.001


def test_adjusted_shares_rise_with_the_dose_and_stay_inside_their_limits(usual):
    found = np.array(
        usual.rows(
            "SELECT probability, low, high, courses_near FROM adjusted WHERE outcome = "
            "'laying' AND model = 'main' AND factor = 'dose' ORDER BY value"
        )
    )
    assert found[0, 0] < found[-1, 0]
    assert (found[:, 1] <= found[:, 0]).all()
    assert (found[:, 0] <= found[:, 2]).all()
    assert found[:, 3].sum() == fit(usual)["rows"]


def test_a_weighted_mean_of_adjusted_levels_is_the_rate(usual):
    """Setting each course to a level and averaging over levels stays near the rate."""
    shares = usual.rows(
        "SELECT probability, courses_near FROM adjusted WHERE outcome = 'laying' AND "
        "model = 'main' AND factor = 'line'"
    )
    mean = sum(p * n for p, n in shares) / sum(n for _, n in shares)
    row = fit(usual)
    assert mean == pytest.approx(row["events"] / row["rows"], abs=0.02)


def test_a_factor_that_bends_is_told_from_a_line():
    made = queens(400, dose_ul=8.0)
    for number, queen in enumerate(made):
        queen["drone_age_days"] = float(12 + number * 7 % 20)
        away = abs(queen["drone_age_days"] - 21) / 10
        queen["lays"] = (number * 37 % 101) / 101 > 0.75 * away
    ((said,),) = modelled(made).rows(
        "SELECT chosen_form FROM model_terms WHERE outcome = 'laying' AND "
        "model = 'main' AND term = 'drone_age'"
    )
    words, _, p = said.partition(" P = ")
    assert words.startswith("spline of")
    assert float(p) < 0.001


def test_shuffled_records_change_nothing(usual):
    assert everything(modelled(queens(300), shuffle=3)) == everything(usual)


def test_twelve_queens_give_words():
    found = fit(modelled(queens(12)))
    assert (found["method"], found["converged"]) == ("none", False)
    assert "too few" in found["message"]


def test_without_failures_there_is_nothing_to_compare():
    found = fit(modelled(queens(80, lays=True)))
    assert found["method"] == "none"
    assert "80 yes and 0 no" in found["message"]


def test_one_operator_and_one_dose_are_named_as_not_varying():
    store = modelled(queens(200, operator="A", dose_ul=8.0))
    found = fit(store)
    assert found["method"] == "glmm"
    (said,) = [part for part in found["left_out"].split("; ") if "not vary" in part]
    assert "dose" in said.partition(":")[0].split(", ")
    assert store.rows("SELECT 1 FROM contrasts WHERE factor = 'dose'") == []


def test_unrecorded_ages_are_left_out_by_name():
    found = fit(modelled(queens(200, drone_age_days=None)))
    (said,) = [part for part in found["left_out"].split("; ") if "0 % of" in part]
    assert "age of the drones" in said.partition(": recorded")[0].split(", ")


def test_answers_split_by_a_factor_are_penalised():
    made = queens(200)
    for queen in made:
        queen["lays"] = queen["line"] == "x"
    found = fit(modelled(made))
    assert found["method"] == "firth"
    assert "told apart" in found["message"]


def test_three_queens_a_batch_still_give_a_model():
    made = queens(150)
    for number, queen in enumerate(made):
        queen["graft_batch"] = queen["semen_batch"] = f"b{number // 3:03d}"
    assert fit(modelled(made))["method"] in ("glmm", "cluster_robust")


def test_one_day_for_all_leaves_the_time_of_year_out():
    store = modelled(queens(200, on=5))
    assert re.search(r"time of year[^;]*: does not vary", fit(store)["left_out"])


def test_few_batches_enter_as_levels_and_the_page_is_told():
    made = queens(160, operator="A", semen_batch=None)
    for number, queen in enumerate(made):
        queen["graft_batch"] = f"g{number // 27}"
        queen["on"] = number % 40
    found = fit(modelled(made))
    assert found["method"] in ("glmm", "fixed_batches")


def test_no_batches_recorded_gives_a_plain_model():
    found = fit(modelled(queens(200, operator="A", graft_batch=None, semen_batch=None)))
    assert found["method"] == "plain"


def test_few_answers_of_one_kind_are_penalised():
    made = queens(200)
    for number, queen in enumerate(made):
        queen["lays"] = number % 14 > 0
    assert fit(modelled(made))["method"] == "firth"


def test_a_dose_of_one_operator_alone_is_not_compared():
    made = queens(240)
    for queen in made:
        queen["dose_ul"] = 8.0 if queen["operator"] in "AB" else 11.0
    store = modelled(made)
    ((overlap, difference),) = store.rows(
        "SELECT overlap, risk_difference FROM contrasts WHERE outcome = 'laying' AND "
        "model = 'main' AND factor = 'dose'"
    )
    assert overlap == 0
    assert difference is None


def test_an_empty_station_gives_a_row_for_every_question():
    store = modelled([])
    assert fit(store)["message"].startswith("the records do not tell the outcome")


def test_another_unit_of_a_factor_changes_no_share():
    rng = np.random.default_rng(11)
    n = 400
    values = {
        "dose": rng.choice([6.0, 8.0, 10.0, 12.0], n),
        "queen_age": rng.uniform(5, 14, n),
        "line": rng.choice(["x", "y"], n),
        "operator": rng.choice(list("ABCDEF"), n),
        "graft_batch": np.array([f"g{k // 12}" for k in range(n)]),
        "semen_batch": np.array([f"s{k // 7}" for k in range(n)]),
        "co2_schedule": np.full(n, "other before"),
    }
    y = (rng.random(n) < 0.5 + 0.03 * (values["dose"] - 8)).astype(float)
    terms = [MAIN[name] for name in ("dose", "queen_age", "line")]
    shares = []
    for unit in (1.0, 1000.0):
        scaled = {**values, "dose": values["dose"] * unit}
        fitted = fit_courses(analysis_set(scaled, y, terms), ("line",))
        assert fitted.method == "glmm"
        rows = adjusted_rows(fitted)
        shares.append([(r["probability"], r["low"], r["high"]) for r in rows])
    np.testing.assert_allclose(shares[1], shares[0], rtol=1e-6)


def near_duplicate(noise: float) -> dict:
    """Fit queens whose drones' age all but repeats their dose."""
    made = queens(400, share=0.3)
    for number, queen in enumerate(made):
        around = noise * (number % 7 - 3)
        queen["drone_age_days"] = round(8 + queen["dose_ul"] + around, 2)
    store = modelled(made)
    return {
        row["factor"]: row
        for row in store.records(
            "SELECT * FROM contrasts WHERE outcome = 'laying' AND model = 'main'"
        )
    }


def test_a_near_duplicate_of_a_factor_has_no_figure():
    row = near_duplicate(0.1)["drone_age"]
    assert row["apart_from"] == "dose"
    assert row["risk_difference"] is row["p"] is row["low"] is None


def test_a_factor_hardly_told_apart_has_a_figure_and_no_test():
    found = near_duplicate(0.25)
    row = found["drone_age"]
    assert row["apart_from"] == "dose"
    assert row["risk_difference"] is not None
    assert row["p"] is row["p_holm"] is None
    assert found["line"]["apart_from"] == ""
    assert found["line"]["p"] is not None
