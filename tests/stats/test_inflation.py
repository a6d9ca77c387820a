"""Variance inflation against statsmodels, determinants, and what it must not depend on."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.logistic.collinear import CrossProducts, columns_of
from statsmodels.stats.outliers_influence import variance_inflation_factor


def inflation(target, others, weights) -> float:
    named = {str(number): x for number, x in enumerate(others)}
    products = CrossProducts({"own": target, **named}, weights)
    return products.inflation("own", list(named))


def some(n: int = 200, seed: int = 1):
    """Give a column, numbers that go with it, and a grouping."""
    rng = np.random.default_rng(seed)
    x, group = rng.normal(size=n), rng.integers(12, size=n).astype(str)
    own = (x + rng.normal(size=n) > 0).astype(float)
    return own, x, group, rng.uniform(0.05, 0.25, n)


def dense(*parts) -> np.ndarray:
    return np.column_stack([columns_of(part).toarray() for part in parts])


def test_of_one_column_it_is_the_usual_factor():
    own, x, _, _ = some()
    made = np.column_stack([np.ones(len(own)), own, x])
    expected = variance_inflation_factor(made, 1)
    assert inflation(own, [x], np.ones(len(own))) == pytest.approx(expected)


def test_weights_levels_and_several_columns_by_determinants():
    own, x, group, weights = some()
    target = np.column_stack([own, own * x])
    others = np.column_stack([np.ones(len(own)), dense(x), dense(group)[:, 1:]])
    root = np.sqrt(weights)[:, None]
    mean = np.average(target, axis=0, weights=weights)
    total = root * (target - mean)
    left = root * target
    left -= root * others @ np.linalg.lstsq(root * others, left, rcond=None)[0]
    ratio = np.linalg.det(total.T @ total) / np.linalg.det(left.T @ left)
    assert inflation(target, [x, group], weights) == pytest.approx(np.sqrt(ratio))


def test_scale_and_names_change_nothing():
    own, x, group, weights = some()
    found = inflation(own, [x, group], weights)
    renamed = np.char.add("b", group)
    assert inflation(3 * own - 1, [1e6 * x, renamed], weights) == pytest.approx(found)


def test_a_repeated_column_and_one_that_does_not_vary():
    own, x, _, weights = some()
    assert inflation(own, [x, 2 * own], weights) > 1e6
    assert inflation(np.ones(len(own)), [x], weights) == np.inf


@pytest.mark.parametrize("nested", [True, False])
def test_several_factors_over_groupings_that_cross_or_nest(nested):
    """By what numpy's least squares leaves, which allows for columns that repeat."""
    own, x, group, weights = some(300, seed=3)
    inner = np.char.add(group, (np.arange(300) % 3).astype(str))
    other = inner if nested else (np.arange(300) % 17).astype(str)
    factors = {"own": own, "x": x, "group": group, "other": other}
    products = CrossProducts(factors, weights)
    for target, others in (
        ("own", ["x", "group", "other"]),
        ("own", ["group"]),
        ("x", ["own", "other"]),
    ):
        made = np.column_stack([np.ones(300), dense(*(factors[n] for n in others))])
        root, y = np.sqrt(weights), factors[target]
        total = root * (y - np.average(y, weights=weights))
        made, whole = root[:, None] * made, root * y
        left = whole - made @ np.linalg.lstsq(made, whole)[0]
        expected = (total @ total) / (left @ left)
        assert products.inflation(target, others) == pytest.approx(expected)
    assert products.inflation("other", ["group"]) >= 1.0
    assert products.inflation("own", ["x"]) == inflation(own, [x], weights)


def test_what_levels_make_up_is_repeated():
    _, x, group, weights = some()
    made = (group == "3").astype(float) - 2.0 * (group == "5")
    assert inflation(made, [x, group], weights) > 1e6


def test_several_factors_at_once_are_inflated_as_each_alone():
    rng = np.random.default_rng(4)
    batch, hand = rng.integers(0, 12, 300), rng.integers(0, 5, 300)
    hands = {f"hand {k}": hand == k for k in range(5)}
    # the last works on the last batches only, and one more column never varies
    hands["hand 4"] = (hand == 4) & (batch > 9)
    factors = {
        **hands, "nobody": np.zeros(300, bool),
        "batch": batch.astype(str), "age": rng.normal(8, 2, 300) + 3.0 * hands["hand 1"],
    }  # fmt: skip
    products = CrossProducts(factors, rng.uniform(0.1, 0.25, 300))
    asked = [*hands, "nobody"]
    found = products.inflations(asked, ["batch", "age"])
    each = {name: products.inflation(name, ["batch", "age"]) for name in asked}
    assert found == pytest.approx(each, rel=1e-9)
    assert found["nobody"] == np.inf
    numbers = {k: x * 1.0 if x.dtype == bool else x for k, x in factors.items()}
    same = CrossProducts(numbers, np.full(300, 0.2)).inflation("hand 1", ["age"])
    assert CrossProducts(factors, np.full(300, 0.2)).inflation(
        "hand 1", ["age"]
    ) == pytest.approx(same, rel=1e-9)
