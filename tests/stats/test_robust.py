"""Cluster-robust covariance by hand, and what may not change it."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from queen_outcomes.stats.logistic.plain import collapse_rows, fit_plain
from queen_outcomes.stats.logistic.robust import (
    cluster_cov,
    satterthwaite_df,
)
from random_courses import courses
from scipy.special import expit


def fitted(**kind):
    X, y, batch = courses(**kind)
    return X, y, fit_plain(X, y).beta, batch


def by_hand(X, y, beta, batch):
    """CR2 and its degrees of freedom with n by n matrices, straight from the papers."""
    p = expit(X @ beta)
    root = np.sqrt(p * (1 - p))
    Z, e = X * root[:, None], (y - p) / root
    M = np.linalg.inv(Z.T @ Z)
    hat = np.eye(len(y)) - Z @ M @ Z.T
    parts, vectors = [], []
    for g in np.unique(batch):
        own = np.flatnonzero(batch == g)
        values, turn = np.linalg.eigh(hat[np.ix_(own, own)])
        adjust = turn / np.sqrt(values) @ turn.T
        parts.append(M @ Z[own].T @ adjust @ e[own])
        vectors.append(hat[:, own] @ adjust.T @ Z[own] @ M)
    cov = sum(np.outer(a, a) for a in parts)
    df = []
    for c in range(X.shape[1]):
        V = np.array([v[:, c] for v in vectors])
        G = V @ V.T
        df.append(np.trace(G) ** 2 / np.sum(G**2))
    return cov, np.array(df)


def test_cr2_and_its_degrees_of_freedom_equal_the_large_matrices():
    X, y, beta, batch = fitted(n=60, batches=9, seed=4)
    cov, df = by_hand(X, y, beta, batch)
    np.testing.assert_allclose(cluster_cov(X, y, beta, batch, "CR2"), cov, rtol=1e-9)
    np.testing.assert_allclose(satterthwaite_df(X, beta, batch), df, rtol=1e-9)


def test_cr2_of_equal_batches_in_two_arms_is_welch_s_two_sample_test():
    # six batches of eight in each arm: the batch totals are all there is
    rng = np.random.default_rng(8)
    batch, arm = np.repeat(np.arange(12), 8), np.repeat([0.0, 1.0], 48)
    y = (rng.random(96) < np.repeat(rng.uniform(0.3, 0.9, 12), 8)).astype(float)
    X = np.column_stack([np.ones(96), arm])
    beta = fit_plain(X, y).beta
    share = y.reshape(12, 8).mean(axis=1)
    means = np.array([share[:6].mean(), share[6:].mean()])
    spread = np.array([share[:6].var(ddof=1), share[6:].var(ddof=1)])
    slope = means * (1 - means)
    exact = np.sum(spread / 6 / slope**2)
    cov = cluster_cov(X, y, beta, batch, "CR2")
    assert cov[1, 1] == pytest.approx(exact, rel=1e-10)
    # under independence the logit of an arm has a variance in proportion to 1 / slope
    welch = np.sum(1 / slope) ** 2 / np.sum(1 / slope**2 / 5)
    assert satterthwaite_df(X, beta, batch)[1] == pytest.approx(welch, rel=1e-10)


def test_cr0_and_cr1_equal_statsmodels():
    X, y, beta, batch = fitted()
    kept = {"groups": batch, "use_correction": False}
    other = sm.Logit(y, X).fit(disp=0, cov_type="cluster", cov_kwds=kept)
    cr0, cr1 = (cluster_cov(X, y, beta, batch, kind) for kind in ("CR0", "CR1"))
    np.testing.assert_allclose(cr0, other.cov_params(), rtol=1e-6)
    np.testing.assert_allclose(cr1, cr0 * 25 / 24, rtol=1e-12)


@pytest.mark.parametrize("kind", ["CR0", "CR1", "CR2"])
def test_units_order_and_names_of_batches_change_nothing(kind):
    X, y, beta, batch = fitted()
    scale, order = np.array([1.0, 1e3, 1e-2, 1.0]), np.arange(300)[::-1]
    one = cluster_cov(X, y, beta, batch, kind)
    names = np.array([f"G{b}" for b in batch])
    other = cluster_cov(X[order] * scale, y[order], beta / scale, names[order], kind)
    np.testing.assert_allclose(other * np.outer(scale, scale), one, rtol=1e-9)


@pytest.mark.parametrize("kind", ["CR0", "CR1", "CR2"])
def test_collapsed_rows_give_the_same_covariance(kind):
    X, y, batch = courses()
    X = np.round(X[:, [0, 3]])
    beta = fit_plain(X, y).beta
    joined, share, count = collapse_rows(np.column_stack([X, batch]), y)
    other = cluster_cov(joined[:, :2], share, beta, joined[:, 2], kind, count)
    np.testing.assert_allclose(other, cluster_cov(X, y, beta, batch, kind), rtol=1e-9)


def test_cr2_widens_cr0_and_its_degrees_of_freedom_stay_below_the_batches():
    X, y, beta, batch = fitted(batches=12)
    cr0, cr2 = (np.diag(cluster_cov(X, y, beta, batch, k)) for k in ("CR0", "CR2"))
    assert np.all(cr2 > cr0)
    df = satterthwaite_df(X, beta, batch)
    assert np.all((df > 1) & (df < 12))


def test_a_batch_with_a_term_of_its_own_does_not_break_cr2():
    X, y, batch = courses(seed=2)
    X = np.column_stack([X, batch == 0])
    beta = fit_plain(X, y).beta
    assert np.isfinite(cluster_cov(X, y, beta, batch, "CR2")).all()


def test_data_without_a_covariance_give_nan_and_words():
    X, y, beta, batch = fitted()
    assert np.isnan(cluster_cov(X, y, beta, np.zeros(300))).all()
    assert np.isnan(cluster_cov(X, y, beta * np.nan, batch)).all()
    doubled, twice = np.column_stack([X, X[:, 1]]), np.append(beta, 0.0)
    assert np.isnan(cluster_cov(doubled, y, twice, batch)).all()
    assert np.isnan(satterthwaite_df(doubled, twice, batch)).all()


def test_rows_and_batches_without_weight_take_no_part():
    X, y, beta, batch = fitted(n=80, batches=6)
    weights = (batch > 0).astype(float)
    kept = batch > 0
    for kind in ("CR0", "CR1", "CR2"):
        found = cluster_cov(X, y, beta, batch, kind, weights)
        alone = cluster_cov(X[kept], y[kept], beta, batch[kept], kind)
        np.testing.assert_allclose(found, alone, rtol=1e-9)


def test_two_batches_and_as_many_rows_as_terms_are_the_least_there_is():
    X, y = np.array([[1.0, 0], [1, 1], [1, 2]]), np.array([1.0, 0, 1])
    beta = np.array([0.2, -0.1])
    p = expit(X[:2] @ beta)
    M = np.linalg.inv((X[:2] * (p * (1 - p))[:, None]).T @ X[:2])
    scores = X[:2] * (y[:2] - p)[:, None]
    found = cluster_cov(X[:2], y[:2], beta, [1, 2], "CR1")
    np.testing.assert_allclose(found, 2 * M @ scores.T @ scores @ M, rtol=1e-9)
    assert np.isnan(cluster_cov(X[:1], y[:1], beta, [1])).all()
    assert np.isnan(cluster_cov(X[:0], y[:0], beta, [])).all()
    assert np.isnan(satterthwaite_df(X, beta, [1, 1, 1])).all()
    # the mean of two equal batches has one degree of freedom, as Student's has
    one = satterthwaite_df(np.ones((8, 1)), [0.3], np.repeat([1, 2], 4))
    assert one == pytest.approx([1])
    with pytest.raises(ValueError, match="CR0, CR1 or CR2"):
        cluster_cov(X, y, beta, [1, 2, 3], "CR3")


def test_half_a_precision_counts_as_well_as_a_whole_one():
    X, y, beta, batch = fitted(n=80, batches=6)
    pull = np.array([0.0, 0.5, 0, 0.25])
    p = expit(X @ beta)
    M = np.linalg.inv((X * (p * (1 - p))[:, None]).T @ X + np.diag(pull))
    scores = X * (y - p)[:, None]
    sums = np.array([scores[batch == b].sum(axis=0) for b in np.unique(batch)])
    found = cluster_cov(X, y, beta, batch, "CR0", pull=pull)
    np.testing.assert_allclose(
        found, M @ (sums.T @ sums + np.diag(pull)) @ M, rtol=1e-9
    )
