"""What the crossed logistic model promises whatever the data, and when there is no fit."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.stats.logistic import mixed, mixed_average, mixed_sparse
from queen_outcomes.stats.logistic.mixed import fit_mixed
from queen_outcomes.stats.logistic.mixed_average import integrate_random
from queen_outcomes.stats.logistic.mixed_laplace import Curvature, Laplace, cross
from scipy.special import expit


def station(rows=400, levels=(6, 25, 18), seed=1):
    """Columns, answers and codes of a small station."""
    rng = np.random.default_rng(seed)
    names = ("operator", "graft", "semen")
    codes = {k: rng.integers(0, n, rows) for k, n in zip(names, levels, strict=True)}
    X = np.column_stack([np.ones(rows), rng.normal(8, 2, rows), rng.random(rows) < 0.4])
    eta = X @ [1.0, -0.1, 0.5]
    for (name, count), sd in zip(
        zip(names, levels, strict=True), (0.6, 0.8, 0.5), strict=True
    ):
        eta = eta + rng.normal(0, sd, count)[codes[name]]
    return X, (rng.random(rows) < expit(eta)).astype(float), codes


def ready(*, dense_up_to=None, monkeypatch=None):
    X, y, codes = station()
    if dense_up_to is not None:
        monkeypatch.setattr(mixed_sparse, "DENSE_UP_TO", dense_up_to)
        monkeypatch.setattr(mixed_sparse, "SMALLEST_BLOCK", 4)
    ones = np.ones(len(y))
    return mixed.prepare(X, y, list(codes.values()), ones, ones, np.zeros(3))


def test_the_slope_is_that_of_the_value():
    prepared = ready()
    model, sd = Laplace(prepared.rows, prepared.pull), np.array([0.3, 0.5, 0.2])
    point = np.concatenate([prepared.start + 0.1, sd])
    _, by_coefficient, by_deviation = model.slope(point[:3], point[3:])
    for place, slope in enumerate([*by_coefficient, *by_deviation]):
        move = np.zeros(6)
        move[place] = 1e-5
        high, low = point + move, point - move
        found = model.value(high[:3], high[3:]) - model.value(low[:3], low[3:])
        assert found / 2e-5 == pytest.approx(slope, abs=1e-5)


@pytest.mark.parametrize("dense_up_to", [400, 0])
def test_the_curvature_in_coefficients_is_how_their_slope_changes(
    dense_up_to, monkeypatch
):
    prepared = ready(dense_up_to=dense_up_to, monkeypatch=monkeypatch)
    model, sd = Laplace(prepared.rows, prepared.pull + 0.1), np.array([0.3, 0.5, 0.2])
    point = prepared.start + 0.1
    model.value(point, sd)
    curvature = model.coefficient_curvature(point, sd, 1e-6)
    for place in range(3):
        move = np.zeros(3)
        move[place] = 1e-4
        change = model.slope(point + move, sd)[1] - model.slope(point - move, sd)[1]
        assert curvature[place] == pytest.approx(change / 2e-4, rel=1e-5, abs=1e-6)


@pytest.mark.parametrize(("reach", "operators"), [(1, 3), (3, 3), (40, 3), (3, 1)])
def test_an_arrow_solves_and_inverts_as_a_dense_matrix(reach, operators, monkeypatch):
    monkeypatch.setattr(mixed_sparse, "DENSE_UP_TO", 0)
    monkeypatch.setattr(mixed_sparse, "SMALLEST_BLOCK", 5)
    rng = np.random.default_rng(reach)
    graft = np.repeat(np.arange(90), 4)
    semen = np.clip(graft * 2 // 3 + rng.integers(0, reach + 1, 360), 0, 59)
    cells = np.unique([graft, semen, rng.integers(0, operators, 360)], axis=1)
    unknowns = 150 + operators
    pattern = cross(cells, [90, 60, operators])
    sd, weights = np.array([0.7, 0.4, 0.9]), rng.random(cells.shape[1])
    curvature = Curvature(pattern, sd, weights)
    Z = np.zeros((cells.shape[1], unknowns))
    for at in pattern.at:
        Z[np.arange(len(at)), at] = sd[pattern.owner[at]]
    H = np.eye(unknowns) + Z.T @ (Z * weights[:, None])
    right = rng.normal(size=unknowns)
    assert curvature.solve(right) == pytest.approx(np.linalg.solve(H, right), abs=1e-12)
    assert curvature.log_determinant == pytest.approx(
        np.linalg.slogdet(H)[1], rel=1e-12
    )
    diagonal, rays = curvature.inverse()
    inverse = np.linalg.inv(H)
    assert diagonal == pytest.approx(np.diag(inverse), rel=1e-12)
    for ray, at in zip(rays, pattern.at, strict=True):
        assert ray == pytest.approx((inverse[at] * Z).sum(axis=1), abs=1e-12)
    assert pattern.layout.blocks > 1 or reach == 40
    assert pattern.layout.border == operators or reach == 40


def test_small_blocks_and_one_dense_block_give_the_same_value(monkeypatch):
    dense = ready()
    cut = ready(dense_up_to=0, monkeypatch=monkeypatch)
    sd = np.array([0.3, 0.5, 0.2])
    one, other = (Laplace(p.rows, p.pull).slope(p.start, sd) for p in (dense, cut))
    assert one[0] == pytest.approx(other[0], rel=1e-13)
    assert one[2] == pytest.approx(other[2], abs=1e-9)


def test_units_and_origin_of_a_column_leave_the_chances_alone():
    X, y, codes = station()
    moved = X * [1, 1e6, 1e-5]
    moved[:, 1] += 2e7
    one, other = fit_mixed(X, y, codes), fit_mixed(moved, y, codes)
    assert one.converged
    assert other.converged
    assert expit(moved @ other.beta) == pytest.approx(expit(X @ one.beta), rel=1e-6)
    assert other.log_likelihood == pytest.approx(one.log_likelihood, rel=1e-10)
    assert other.cov_beta[2, 2] * 1e-10 == pytest.approx(one.cov_beta[2, 2], rel=1e-6)


def test_without_a_column_of_ones_units_matter_no_more():
    X, y, codes = station()
    one, other = (fit_mixed(X[:, 1:] * unit, y, codes) for unit in (1, 1e4))
    assert one.converged
    assert other.beta * 1e4 == pytest.approx(one.beta, rel=1e-6)


@pytest.mark.slow
@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_order_of_rows_and_groupings_changes_nothing(seed):
    X, y, codes = station(seed=seed % 97)
    order = np.random.default_rng(seed).permutation(len(y))
    one = fit_mixed(X, y, codes)
    turned = {name: codes[name][order] for name in reversed(codes)}
    other = fit_mixed(X[order], y[order], turned)
    assert other.log_likelihood == pytest.approx(one.log_likelihood, rel=1e-9)
    assert expit(X @ other.beta) == pytest.approx(expit(X @ one.beta), rel=1e-6)
    assert set(other.sd_at_zero) == set(one.sd_at_zero)
    for name in codes:
        assert other.theta_sd[name] == pytest.approx(one.theta_sd[name], rel=1e-6)


def test_rows_given_twice_weigh_as_rows_of_weight_two():
    X, y, codes = station()
    X[:, 1] = np.round(X[:, 1] / 4)
    doubled = {name: np.tile(code, 2) for name, code in codes.items()}
    one = fit_mixed(np.vstack([X, X]), np.tile(y, 2), doubled)
    other = fit_mixed(X, y, codes, weights=np.full(len(y), 2.0))
    assert other.log_likelihood == pytest.approx(one.log_likelihood, rel=1e-12)
    assert other.cov_joint == pytest.approx(one.cov_joint, rel=1e-5, abs=1e-10)


def test_shares_with_weights_are_counts_with_trials_but_for_the_constant():
    X, y, codes = station()
    trials = np.full(len(y), 4.0)
    counts = np.where(y > 0, 3.0, 1.0)
    one = fit_mixed(X, counts, codes, trials=trials)
    other = fit_mixed(X, counts / 4, codes, weights=trials)
    assert other.beta == pytest.approx(one.beta, rel=1e-6)
    assert one.log_likelihood - other.log_likelihood == pytest.approx(400 * np.log(4))


def test_the_last_steps_flatten_the_slope(monkeypatch):
    whole = fit_mixed(*station())
    monkeypatch.setattr(mixed.Search, "_polish", lambda *_: None)
    rough = fit_mixed(*station())
    assert whole.gradient_max < rough.gradient_max / 10
    assert whole.log_likelihood >= rough.log_likelihood - 1e-10


@pytest.mark.parametrize("reach", [1, 3, 7, 40])
def test_blocks_are_the_first_cuts_that_no_entry_jumps(reach, monkeypatch):
    monkeypatch.setattr(mixed_sparse, "SMALLEST_BLOCK", 5)
    rng = np.random.default_rng(reach)
    last = np.maximum.accumulate(
        np.minimum(np.arange(60) + rng.integers(0, reach, 60), 59)
    )
    edges = mixed_sparse._edges(last)
    assert (edges[0], edges[-1]) == (0, 60)
    block = np.searchsorted(edges, np.arange(60), side="right")
    assert (block[last] - block <= 1).all()
    for before, start, end in zip([0, *edges], edges, edges[1:], strict=False):
        jumped = last[before:start].max(initial=-1) + 1
        assert end == min(60, max(start + 5, jumped))


def test_a_grouping_of_one_level_has_no_deviation():
    X, y, codes = station()
    fit = fit_mixed(X, y, {**codes, "place": np.zeros(len(y), dtype=int)})
    assert fit.converged
    assert "place" in fit.sd_at_zero
    without = fit_mixed(X, y, codes)
    assert fit.beta == pytest.approx(without.beta, rel=1e-5)


def test_a_level_without_rows_keeps_the_spread_of_its_grouping():
    X, y, codes = station()
    codes["graft"] = np.where(codes["graft"] == 3, 4, codes["graft"])
    fit = fit_mixed(X, y, codes)
    assert fit.modes["graft"][3] == 0
    assert fit.mode_se["graft"][3] == pytest.approx(fit.theta_sd["graft"], rel=1e-12)


def test_a_deviation_far_below_the_start_is_still_found():
    rng = np.random.default_rng(8)
    size, levels = 40_000, 30
    chance = expit(0.03 * np.linspace(-1.7, 1.7, levels))
    fit = fit_mixed(
        np.ones((levels, 1)),
        rng.binomial(size, chance).astype(float),
        {"level": np.arange(levels)},
        trials=np.full(levels, float(size)),
    )
    assert fit.converged
    assert 0.02 < fit.theta_sd["level"] < 0.045


@pytest.mark.parametrize("seed", [5, 23, 28, 42, 43])
def test_few_levels_with_next_to_no_spread_still_end_at_a_maximum(seed):
    rng = np.random.default_rng(seed)
    codes = {name: rng.integers(0, 3, 1500) for name in "ab"}
    X = np.column_stack([np.ones(1500), rng.normal(size=(1500, 3))])
    eta = -1 + rng.normal(0, 1, 3)[codes["a"]] + rng.normal(0, 0.05, 3)[codes["b"]]
    fit = fit_mixed(X, (rng.random(1500) < expit(eta)).astype(float), codes)
    assert fit.converged, fit.message
    assert fit.gradient_max < 1e-6


def nonsense(fit, *words):
    assert not fit.converged
    for word in words:
        assert word in fit.message
    assert set(fit.theta_sd) == set(fit.modes) == set(fit.mode_se) == set(fit.names)
    return True


def test_dependent_columns_are_named():
    X, y, codes = station()
    fit = fit_mixed(
        np.column_stack([X, 3 * X[:, 1] - X[:, 0], np.ones(len(y))]), y, codes
    )
    assert nonsense(fit, "columns of X", "3 (made up of", "1)", "4 (constant)")
    assert np.isnan(fit.beta).all()


def test_separated_answers_are_called_so_with_the_column():
    X, y, codes = station()
    never = (np.arange(len(y)) < 30).astype(float)
    y[:30] = 0
    fit = fit_mixed(np.column_stack([X, never]), y, codes)
    assert nonsense(fit, "separation", "3")


def test_answers_alike_within_every_level_are_called_so():
    rng = np.random.default_rng(2)
    code = np.repeat(np.arange(20), 15)
    X = np.column_stack([np.ones(300), rng.normal(size=300)])
    fit = fit_mixed(X, (code % 2).astype(float), {"batch": code})
    assert nonsense(fit, "batch", "alike")


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_what_is_no_number_is_counted_and_named(value):
    X, y, codes = station()
    X[[3, 9], 1] = value
    assert nonsense(fit_mixed(X, y, codes), "X holds", "2 rows")
    X, y, codes = station()
    y[5] = value
    assert nonsense(fit_mixed(X, y, codes), "y holds", "1 rows")


@pytest.mark.parametrize("answer", [0.0, 1.0])
def test_equal_answers_are_called_so(answer):
    X, y, codes = station()
    assert nonsense(fit_mixed(X, np.full(len(y), answer), codes), "answers are equal")


def test_shapes_codes_and_ranges_that_do_not_fit_are_told():
    X, y, codes = station()
    assert nonsense(fit_mixed(X, y[:-1], codes), "one length")
    assert nonsense(fit_mixed(X[:0], y[:0], {"a": codes["graft"][:0]}), "none")
    assert nonsense(fit_mixed(X, y, {}), "no grouping")
    assert nonsense(fit_mixed(X, y, {"a": codes["graft"][:9]}), "as long")
    assert nonsense(fit_mixed(X, y, {"a": codes["graft"] - 1}), "whole numbers")
    assert nonsense(fit_mixed(X, y, {"a": codes["graft"] * 1.5}), "whole numbers")
    assert nonsense(fit_mixed(X, y * 2, codes), "outside")


PROGRAM = """
import json, sys
sys.path.insert(0, {folder!r})
from test_mixed import station
from queen_outcomes.stats.logistic.mixed import fit_mixed
fit = fit_mixed(*station(3000, (10, 300, 250)))
print(json.dumps([fit.log_likelihood, *fit.beta, *fit.theta_sd.values(),
                  *fit.cov_joint.ravel()]))
"""


@pytest.mark.slow
def test_the_number_of_threads_changes_nothing():
    folder = os.path.dirname(__file__)  # noqa: PTH120
    found = []
    for threads in ("1", "2"):
        done = subprocess.run(
            [sys.executable, "-c", PROGRAM.format(folder=folder)],
            env={**os.environ, "OPENBLAS_NUM_THREADS": threads},
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        found.append(json.loads(done.stdout))
    assert found[0] == pytest.approx(found[1], rel=1e-6)


def test_no_spread_leaves_the_chance_and_its_slope():
    eta = np.linspace(-6, 6, 25)
    mean, by_eta, by_sd = integrate_random(eta, 0.0)
    assert mean == pytest.approx(expit(eta), rel=1e-12)
    assert by_eta == pytest.approx(expit(eta) * expit(-eta), rel=1e-12)
    assert by_sd == pytest.approx(np.zeros(25), abs=1e-14)


@pytest.mark.parametrize("sd", [0.0, 0.25, 0.8, 1.6, -0.8])
def test_many_averages_are_read_off_a_table_as_few_are_worked_out(sd):
    eta = np.random.default_rng(3).normal(-1.0, 2.0, 4_000)
    found = integrate_random(eta, sd)
    for many, few in zip(found, integrate_random(eta, sd, nodes=180), strict=True):
        assert many == pytest.approx(few, abs=2e-9)
    square = integrate_random(eta.reshape(40, 100), sd)[0]
    assert (square.ravel() == found[0]).all()


@given(eta=st.floats(-8, 8), sd=st.floats(0, 2))
def test_averaging_pulls_towards_one_half_and_its_slopes_are_slopes(eta, sd):
    mean, by_eta, by_sd = integrate_random(eta, sd)
    assert min(0.5, expit(eta)) - 1e-12 <= mean <= max(0.5, expit(eta)) + 1e-12
    step = 1e-5

    def average(eta, sd):
        return integrate_random(eta, sd, nodes=64)[0]

    up, down = average(eta + step, sd), average(eta - step, sd)
    assert (up - down) / (2 * step) == pytest.approx(by_eta, abs=1e-8)
    up, down = average(eta, sd + step), average(eta, sd - step)
    assert (up - down) / (2 * step) == pytest.approx(by_sd, abs=1e-8)


def test_the_nodes_are_those_of_the_next_larger_deviation():
    found = [mixed_average._enough(sd) for sd in (0, 0.2, 0.21, 1.5, 1.51, 9, np.nan)]
    assert found == [8, 8, 10, 48, 64, 64, 64]


@pytest.mark.parametrize("sd", [0.05, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0])
def test_as_many_nodes_as_a_deviation_needs_leave_an_error_below_a_billionth(sd):
    eta = np.linspace(-9, 9, 1001)
    for got, exact in zip(
        integrate_random(eta, sd), integrate_random(eta, sd, nodes=180), strict=True
    ):
        assert np.abs(got - exact).max() < 1e-9
