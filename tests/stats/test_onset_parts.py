"""The parts of the onset fit by hand: columns, start, steps, and what is told of its end."""

from types import SimpleNamespace

import numpy as np
import pytest
from queen_outcomes.stats.onset import onset_fit
from queen_outcomes.stats.onset.onset_fit import (
    Courses,
    OnsetFit,
    Peak,
    derivatives,
    fit_onset,
    whiten,
)
from scipy.stats import norm

INF = np.inf


def station(courses=240, batches=8, seed=3):
    """Columns and intervals of courses that all lay; the days hang on a batch's column."""
    rng = np.random.default_rng(seed)
    batch = np.arange(courses) % batches
    Z = np.column_stack([np.ones(courses), rng.integers(0, 2, courses)])
    day = np.exp(2.4 + 0.2 * Z[:, 1] + rng.normal(0, 0.3, courses))
    return Z, np.floor(day / 4) * 4, np.floor(day / 4) * 4 + 4, batch


def test_white_columns_are_orthogonal_and_come_from_the_given_ones():
    rng = np.random.default_rng(1)
    columns = np.column_stack([np.ones(30), rng.gamma(2, 50, 30), rng.normal(size=30)])
    white, back = whiten(columns)
    assert white.T @ white == pytest.approx(30 * np.eye(3), abs=1e-9)
    assert columns @ back == pytest.approx(white)
    square = np.array([[1.0, 1], [1, 2]])
    assert square @ whiten(square)[1] == pytest.approx(whiten(square)[0])
    none, back = whiten(columns[:, :0])
    assert (none.shape, back.shape) == ((30, 0), (0, 0))


def test_columns_that_follow_from_others_cannot_be_made_white():
    ones, turns = np.ones(100), np.tile([1.0, -1], 50)
    assert whiten(np.column_stack([ones, ones + 5e-10 * turns])) is None
    assert whiten(np.column_stack([ones, ones + 3e-9 * turns])) is not None
    assert whiten(np.column_stack([ones, 0 * ones])) is None
    assert whiten(np.ones((1, 2))) is None


def test_chances_far_out_have_digits_in_either_tail():
    upper, lower = np.array([41.0, -40, 1, 3]), np.array([40.0, -41, -1, 0.5])
    far = norm.logsf(40)  # what lies beyond 41 is no more than 1e-17 of it
    near = np.log(norm.cdf([1, 3]) - norm.cdf([-1, 0.5]))
    found = onset_fit._log_between(upper, lower)
    assert found == pytest.approx([far, far, *near], rel=1e-12)


def test_a_step_leaves_saddles_and_is_no_longer_than_four():
    # curvatures a row of 4 and -1: one down the slope along each
    step, promised, lowest = onset_fit._newton(
        np.array([8.0, 2]), np.diag([8.0, -2]), rows=2
    )
    assert step == pytest.approx([1, 1])
    assert (promised, lowest) == pytest.approx((5, -1))
    step, promised, _ = onset_fit._newton(
        np.array([80.0, 20]), np.diag([8.0, -2]), rows=2
    )
    assert step == pytest.approx([np.sqrt(8), np.sqrt(8)])
    assert promised == pytest.approx(500)


def walked(monkeypatch, *reached):
    """Walk from 1 along 8, the slope 16, where likelihoods come as given; else none."""
    asked = []

    def likelihood(courses, parameter):
        asked.append(parameter)
        return reached[len(asked) - 1] if len(asked) <= len(reached) else -INF

    monkeypatch.setattr(onset_fit, "log_likelihood", likelihood)
    return onset_fit._walk(None, np.ones(1), np.full(1, 8.0), -5.0, 16.0), asked


def test_a_step_is_halved_until_a_ten_thousandth_of_the_slope_is_gained(monkeypatch):
    found, _ = walked(monkeypatch, -5 + 16e-4 + 1e-9)
    assert found == [9]
    found, asked = walked(monkeypatch, -5 + 3e-4, INF, -5 + 16 * 0.3e-4)
    assert found == [3]
    assert np.ravel(asked).tolist() == [9, 5, 3]
    found, asked = walked(monkeypatch)
    assert found is None
    assert len(asked) == onset_fit.HALVINGS


def test_the_search_ends_where_nothing_more_is_promised(monkeypatch):
    Z, after, by, _ = station()
    white, _ = whiten(Z)
    with np.errstate(divide="ignore"):
        ends = np.log(after), np.log(by)
    courses = Courses(white[:, :0], white, *ends, np.zeros(240, bool), True)
    calls = []
    monkeypatch.setattr(
        onset_fit, "derivatives", lambda *at: calls.append(at) or derivatives(*at)
    )
    peak = onset_fit.climb(courses, onset_fit._start(courses))
    assert len(calls) < 8
    assert peak.promised < 1e-11
    assert peak.at.scores.sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-4)
    assert (peak.parameter == calls[-1][1]).all()


def test_the_search_sets_out_from_the_middles_and_the_share_of_layers():
    # one in (0, 10], taken from half a day on; one in (8, 12]; one never seen to lay
    ones = np.ones((3, 1))
    courses = Courses(
        *(ones, ones),
        np.log([1e-300, 8, 30]),
        np.log([10, 12, INF]),
        np.array([False, False, True]),
        False,
    )
    middles = np.log([5.25, 10])
    assert onset_fit._start(courses) == pytest.approx(
        [np.log(2), middles.mean(), np.log(np.ptp(middles) / 2)]
    )
    sure = Courses(
        ones, ones, np.log([8, 8, 8]), np.log([12, 12, 12]), np.zeros(3, bool), False
    )
    assert onset_fit._start(sure) == pytest.approx(
        [np.log(19), np.log(10), np.log(0.2)]
    )


def told(sigma=0.4, eta=(0.0, 1.0), lowest=0.1, promised=0.0, value=-10.0):
    peak = Peak(np.zeros(1), SimpleNamespace(value=value), promised, lowest)
    return onset_fit._find_trouble(peak, sigma, np.array(eta))


def test_an_end_that_is_no_maximum_is_told():
    assert told() == told(promised=1e-8) == told(sigma=0.03) == told(sigma=3.9) == ""
    spread = "the spread of the days is too {} to be told from these records"
    assert told(sigma=0.01) == spread.format("narrow")
    assert told(sigma=4.1) == spread.format("wide")
    for eta in ((-13.0, 0), (0, 13)):
        assert "separates courses that all lay, or never" in told(eta=eta)
    assert told(eta=(-11.0, 11)) == ""
    assert told(lowest=1e-10) == "the records do not determine every term"
    assert told(promised=2e-7) == "the search stopped before the largest likelihood"
    assert told(promised=0.9e-7) == ""


def test_where_everybody_lays_the_chance_has_no_variance():
    Z, after, by, batch = station(batches=48)
    X = np.column_stack([np.ones(240), Z[:, 1]])
    fit = fit_onset(X, Z, after, by, np.zeros(240, bool), batch)
    assert (fit.kind, fit.converged) == ("everybody", True)
    assert (fit.clusters, fit.layers) == (48, 240)
    assert X @ fit.gamma == pytest.approx(np.full(240, 30.0))
    assert not fit.cov_joint[:2].any()
    assert not fit.cov_joint[:, :2].any()
    with np.errstate(divide="ignore"):
        ends = np.log(after), np.log(by)
    courses = Courses(X[:, :0], Z, *ends, np.zeros(240, bool), True)
    at = derivatives(courses, np.array([*fit.beta, np.log(fit.sigma)]))
    sums = np.array([at.scores[batch == b].sum(axis=0) for b in range(48)])
    bread = np.linalg.inv(at.information)
    assert fit.cov_joint[2:, 2:] == pytest.approx(
        bread @ sums.T @ sums @ bread * 48 / 47, rel=1e-6
    )
    few = fit_onset(X, Z, after, by, np.zeros(240, bool), batch % 8)
    assert few.df([9, 9, 0, 1, 0]) == few.df([0, 0, 0, 1, 0])
    assert 4 < few.df([0, 0, 0, 1, 0]) < 7


def test_what_else_is_wrong_where_everybody_lays_is_told_with_it():
    ones = np.ones((30, 1))
    fit = fit_onset(ones, ones, np.full(30, 8.0), np.full(30, 9.0), np.zeros(30, bool))
    assert fit.message.startswith("every course is fitted as laying sooner or later")
    assert fit.message.count("; ") == 1
    assert not fit.converged


@pytest.mark.parametrize(("layers", "kind"), [(2, "none"), (3, "mixture")])
def test_the_days_terms_need_two_layers_more(layers, kind):
    by = np.array([9.0, 14, 11, *[INF] * 27])
    by[layers:] = INF
    ones = np.ones((30, 1))
    after = np.where(np.isinf(by), 40.0, by - 2)
    fit = fit_onset(ones, ones, after, by, np.zeros(30, bool))
    assert (fit.kind, fit.layers) == (kind, layers)
    words = "2 courses known to have laid are too few for the day's terms"
    assert (fit.message == words) == (kind == "none")
    assert np.isnan(fit.df([1, 0, 0])) == (kind == "none")


def test_two_batches_are_enough_to_stand_for_themselves():
    assert onset_fit._codes(np.array(["b", "a", "b"]), 3).tolist() == [1, 0, 1]
    assert onset_fit._codes(np.array(["b", "b"]), 2).tolist() == [0, 1]
    assert onset_fit._codes(None, 2).tolist() == [0, 1]
    plain = (np.zeros(1), np.zeros(1), 1.0, np.eye(3), 0.0, True, "", "mixture")
    assert OnsetFit(*plain, clusters=2).df(None) == 1
    assert np.isnan(OnsetFit(*plain, clusters=1).df(None))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"X": np.ones(30)}, "there are no courses or no columns"),
        ({"Z": np.ones(30)}, "there are no courses or no columns"),
        ({"X": np.ones((30, 0))}, "there are no courses or no columns"),
        ({"Z": np.ones((30, 0))}, "there are no courses or no columns"),
        ({"Z": np.ones((29, 1))}, "the columns and days are not of one length"),
        ({"or_never": [True]}, "the columns and days are not of one length"),
        ({"Z": np.full((30, 1), INF)}, "a column holds what is no number"),
        (
            {"after": [*[-1.0] * 2, *[9.0] * 2, *[-INF] * 2, *[0.0] * 24]},
            "4 intervals are empty, or end on day 0 or before",
        ),
        (
            {"after": [-2.0] * 30, "by": [-1.0, 0, *[9.0] * 28]},
            "2 intervals are empty, or end on day 0 or before",
        ),
    ],
)
def test_what_forbids_a_fit_is_told_exactly(change, words):
    usual = {
        "X": np.ones((30, 1)),
        "Z": np.ones((30, 1)),
        "after": np.zeros(30),
        "by": np.full(30, 9.0),
        "or_never": np.zeros(30, bool),
    }
    fit = fit_onset(**(usual | change))
    assert (fit.kind, fit.message) == ("none", words)
    assert (fit.clusters, fit.layers) == (0, 0)
