"""The onset model in the build: its courses, its rows, and answers for odd stations."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from filled_in import fill_station
from onset_records import SETTINGS, modelled, of_factor, queens, station
from queen_outcomes.facts import exports as contract
from queen_outcomes.models import season_plan
from queen_outcomes.models.closed import read_factors
from queen_outcomes.models.onset_model import fit_station
from queen_outcomes.models.onset_results import read_seen, rows_of
from queen_outcomes.models.questions import main_terms
from queen_outcomes.models.results import fit_models
from queen_outcomes.models.season_plan import SeasonPlan
from queen_outcomes.outcomes import fills
from queen_outcomes.outcomes.curves import onset_sets
from queen_outcomes.outcomes.derive import count_rates
from queen_outcomes.outcomes.signs import histories_given
from queen_outcomes.stats.times.turnbull import fit_turnbull, share_by

pytestmark = pytest.mark.slow

TABLES = (
    *("model_fits", "model_terms", "model_coefficients"),
    *("adjusted", "contrasts", "onset_days"),
)


@pytest.fixture(scope="module")
def usual():
    return modelled(queens(400))


def the_fit(rows) -> dict:
    (fit,) = rows["model_fits"]
    return fit


def fitted(store, settings=SETTINGS, change=None):
    """Fit the model of a station, its factors changed by a function."""
    values = read_factors(store, {})
    seen = read_seen(store, values["course_id"])
    values = change(values) if change else values
    terms, always = main_terms(settings), settings.models.adjust_for
    return fit_station(values, seen, terms, always, 21)


def test_every_course_is_in_the_model_whatever_the_records_settle(usual):
    fit = the_fit(usual)
    assert (fit["method"], fit["converged"], fit["rows"]) == ("mixture", True, 400)
    assert 250 < fit["events"] < 350
    assert "limits by graft batch, over 40 batches" in fit["message"]


@pytest.mark.parametrize("name", TABLES)
def test_the_rows_are_those_promised_and_their_keys_unique(usual, name):
    table = contract.TABLES[name]
    keys = [tuple(row.get(key) for key in table.key) for row in usual[name]]
    assert usual[name]
    assert len(set(keys)) == len(keys)
    declared = {column.name for column in table.columns}
    assert all(set(row) <= declared for row in usual[name])


def test_the_build_writes_them_beside_the_other_models():
    store = station(queens(120))
    fill_station(store, SETTINGS)
    fit_models(store, SETTINGS)
    found = {name: store.columns(name) for name in TABLES}
    problems = [p for p in contract.differences(found) if p.split(".")[0] in TABLES]
    assert problems == []
    assert store.rows(
        "SELECT outcome, window_days FROM model_fits WHERE model = 'onset'"
    ) == [("laying", 21)]
    assert store.rows("SELECT count(*) FROM onset_days")[0][0] > 3


def test_its_days_are_those_of_the_curves():
    made = queens(60)
    for number, queen in enumerate(made[:20]):
        queen |= {"laid_on": None, "looks": (7,)[: number % 2], "died": 5 + number}
    store = station(made)
    count_rates(store, SETTINGS)
    store.step("05_rates", "histories", histories_given())
    frame = store.frame("SELECT * FROM histories ORDER BY course_id")
    seen = read_seen(store, frame["course_id"].to_numpy().astype(str))
    for own, curves in zip(
        (seen.after, seen.by, seen.or_never), onset_sets(frame), strict=True
    ):
        np.testing.assert_array_equal(own, curves)
    assert seen.or_never.sum() >= 15


def test_a_low_dose_and_one_exposure_are_found_in_the_parts_they_act_in(usual):
    tests = {row["term"]: row["p_holm"] for row in usual["model_terms"]}
    assert tests["chance: dose"] < 0.01
    assert tests["days: co2_schedule"] < 0.001
    late = next(
        row for row in usual["onset_days"] if row["label"].startswith("one exposure")
    )
    assert late["reference"] == "other after"
    truth = np.exp(2.6) - np.exp(2.2)
    assert late["difference_low"] < truth < late["difference_high"]


def test_differences_are_those_of_the_adjusted_shares(usual):
    shares = {row["label"]: row for row in of_factor(usual, "adjusted", "dose")}
    for row in of_factor(usual, "contrasts", "dose"):
        size = [shares[row[key]]["probability"] for key in ("value", "reference")]
        assert row["risk_difference"] == pytest.approx(size[0] - size[1])
        assert row["low"] < row["risk_difference"] < row["high"]
    ends = [shares[label]["probability"] for label in ("6 uL", "12 uL")]
    assert ends[0] < ends[1] - 0.15
    days = of_factor(usual, "onset_days", "co2_schedule")
    assert days[1]["difference"] == pytest.approx(days[1]["days"] - days[0]["days"])


def test_the_average_is_near_the_curve_without_a_shape(usual):
    store = station(queens(400))
    seen = read_seen(store, read_factors(store, {})["course_id"])
    curve = share_by(fit_turnbull(seen.after, seen.by, seen.or_never), [21])[0]
    (whole,) = of_factor(usual, "adjusted", "all")
    assert whole["probability"] == pytest.approx(curve, abs=0.02)
    assert whole["courses_near"] == 400


def test_shuffled_records_give_the_same_rows(usual):
    assert repr(modelled(queens(400), shuffle=3)) == repr(usual)


def test_other_units_change_nothing_but_the_slopes():
    store = station(queens(300))

    def in_nanolitres(values):
        return {**values, "dose": values["dose"] * 1000}

    one, other = fitted(store), fitted(store, change=in_nanolitres)
    for name in ("adjusted", "contrasts", "onset_days"):
        ours, theirs = (rows_of(model, (21,))[name] for model in (one, other))
        assert ours
        for here, there in zip(ours, theirs, strict=True):
            for key in here:
                if isinstance(here[key], float) and key != "value":
                    assert there[key] == pytest.approx(here[key], rel=1e-6, abs=1e-12)


def test_each_window_of_laying_has_its_rows_and_the_days_stand_once():
    windows = replace(SETTINGS.outcomes, laying_days=(14, 28))
    settings = replace(SETTINGS, outcomes=windows)
    rows = modelled(queens(300), settings=settings)
    whole = {
        r["window_days"]: r["probability"] for r in of_factor(rows, "adjusted", "all")
    }
    assert whole[14] < whole[28]
    keys = [(row["factor"], row["label"]) for row in rows["onset_days"]]
    assert len(keys) == len(set(keys))


def test_ever_is_said_only_of_unlaid_that_were_followed_long_enough():
    made = queens(300)
    long = the_fit(modelled(made))
    assert "lay sooner or later" in long["message"]
    for queen in made:
        queen["looks"] = (7, 10, 14, 16)
    short = the_fit(modelled(made))
    assert "sooner or later" not in short["message"]
    assert "nothing is said of laying ever: of " in short["message"]


def test_where_values_share_no_operator_no_difference_is_given():
    made = queens(300)
    for queen in made:
        queen["dose_ul"] = 8.0 if queen["operator"] in "ABC" else 11.0
    rows = modelled(made)
    (found,) = of_factor(rows, "contrasts", "dose")
    assert (found["overlap"], found["risk_difference"], found["p"]) == (0, None, None)
    (days,) = of_factor(rows, "onset_days", "dose")[1:]
    assert (days["difference"], days["p"]) == (None, None)


def test_what_tells_layers_apart_without_error_is_left_out_and_named():
    made = queens(300)
    for number, queen in enumerate(made):
        queen["line"] = "z" if number % 9 == 0 else queen["line"]
        if queen["line"] == "z":
            queen["laid_on"] = queen["laid_on"] or 9
    fit = the_fit(modelled(made))
    assert fit["method"] == "mixture"
    assert "chance: line: with it the records do not determine" in fit["left_out"]


def test_a_line_seen_in_open_courses_alone_does_not_forbid_the_model():
    made = queens(300)
    for queen in made[-30:]:
        queen |= {"line": "new", "laid_on": None, "looks": (3,)}
    rows = modelled(made)
    assert the_fit(rows)["method"] == "mixture"
    assert {row["label"] for row in of_factor(rows, "adjusted", "line")} == {"x", "y"}


def test_courses_with_a_gap_are_counted():
    made = queens(300)
    for queen in made[:30]:
        queen["dose_ul"] = None
    fit = the_fit(modelled(made))
    assert "270 of 300 courses are complete in every factor" in fit["message"]
    assert (fit["rows"], fit["imputations"]) == (300, fills.TIMES)


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (queens(200, laid_on=None), "no course is known to have laid"),
        (queens(12), "courses are known to have laid, too few"),
        (queens(200, laid_on=9), "spread of the days is too narrow"),
        ([], "there are no courses"),
    ],
    ids=["nobody", "twelve", "one day", "none"],
)
def test_stations_without_a_model_get_a_reason(made, words):
    for queen in made:
        queen["looks"] = tuple(range(1, 31))
    rows = modelled(made)
    fit = the_fit(rows)
    assert (fit["method"], fit["converged"]) == ("none", False)
    assert words in fit["message"]
    for name in TABLES[1:]:
        assert rows[name] == []


def test_where_everybody_lays_only_the_days_have_factors():
    rows = modelled(queens(300, never=0.0))
    fit = the_fit(rows)
    assert fit["method"] == "mixture"
    assert "the chance is fixed at 1" in fit["message"]
    assert "sooner or later (" not in fit["message"]
    assert {row["term"] for row in rows["model_terms"]} <= {
        "days: co2_schedule",
        "days: dose",
    }
    assert not any(r["term"].startswith("chance") for r in rows["model_coefficients"])
    (whole,) = of_factor(rows, "adjusted", "all")
    assert 0.9 < whole["low"] < whole["probability"] < whole["high"] < 1


def test_days_known_exactly_are_no_trouble():
    made = queens(300)
    for queen in made:
        queen["looks"] = tuple(range(1, 46))
    rows = modelled(made)
    assert the_fit(rows)["method"] == "mixture"
    spread = next(r for r in rows["model_coefficients"] if r["term"] == "days: spread")
    assert spread["low"] < np.log(0.35) < spread["high"]


def test_one_batch_and_few_batches_are_said():
    one = the_fit(modelled(queens(300, graft_batch="g")))
    assert one["method"] == "mixture"
    assert "one graft batch: nothing is said of others" in one["message"]
    made = queens(300)
    for number, queen in enumerate(made):
        queen["graft_batch"] = f"g{number % 4}"
    rows = modelled(made)
    assert (
        "4 graft batches; as levels of the chance and the days"
        in (the_fit(rows)["message"])
    )
    assert any(row["term"] == "chance: graft_batch" for row in rows["model_terms"])


def test_a_seasons_form_is_fixed_at_its_first_build_and_kept(tmp_path):
    """Later courses would bend the dose and bring a factor in; the season's form holds."""
    plan = SeasonPlan("2026", dt.date(2026, 5, 2))
    first = modelled(queens(150), plan=plan)
    season_plan.write(tmp_path, plan)
    later = season_plan.read(tmp_path, "2026", dt.date(2026, 6, 1))
    kept, free = (modelled(queens(400), plan=given) for given in (later, None))
    forms = [
        [(row["term"], row["df"]) for row in rows["model_terms"]]
        for rows in (first, kept, free)
    ]
    assert forms[0] == forms[1] != forms[2]
    assert the_fit(kept)["left_out"] == the_fit(first)["left_out"]
    assert the_fit(kept)["rows"] == 400
    assert not later.fresh
