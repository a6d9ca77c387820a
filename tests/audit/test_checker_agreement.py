"""How well checkers agree, against published and reference figures."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from queen_outcomes.audit.checker_agreement import agreement_rows
from queen_outcomes.base.store import Store
from statsmodels.stats.inter_rater import cohens_kappa

WORDS = ("none", "few", "many")
NAMES = ("eggs", "drone_in_worker", "pattern_pct")


def paired(rows: list[dict]) -> Store:
    """Give a store with these pairs of looks of A and B."""
    kinds = {
        "eggs": pl.Boolean,
        "drone_in_worker": pl.String,
        "pattern_pct": pl.Float64,
    }
    schema = {"first_checker": pl.String, "second_checker": pl.String}
    for name in NAMES:
        schema |= {f"first_{name}": kinds[name], f"second_{name}": kinds[name]}
    given = [{"first_checker": "A", "second_checker": "B", **row} for row in rows]
    frame = pl.DataFrame(given, schema=schema)
    store = Store(threads=1)
    with store.lent("given", frame):
        store.table("checker_pairs", "SELECT * FROM given")
    return store


def scored(name: str, table, words) -> list[dict]:
    return [
        {f"first_{name}": words[i], f"second_{name}": words[j]}
        for i, row in enumerate(table)
        for j, number in enumerate(row)
        for _ in range(number)
    ]


def test_words_are_weighted_by_how_far_they_lie_apart():
    # Fleiss JL. Statistical Methods for Rates and Proportions, 1981, table 13.1 (memory):
    # 100 subjects; kappa 0.676 unweighted, 0.722 with linear weights (own arithmetic)
    table = [[75, 1, 4], [5, 4, 1], [0, 0, 10]]
    both, pair = agreement_rows(paired(scored("drone_in_worker", table, WORDS)), 10)
    assert (pair["first_checker"], pair["second_checker"]) == ("A", "B")
    assert (pair["pairs"], pair["agree"]) == (100, 89)
    assert pair["kappa"] == pytest.approx(0.7222222, abs=1e-7)
    assert pair["low"] < pair["kappa"] < pair["high"]
    assert both["first_checker"] is None
    assert (both["low"], both["high"]) == (None, None)
    assert both["kappa"] == pytest.approx(0.72, abs=0.01)


def test_eggs_have_plain_kappa():
    table = [[20, 5], [3, 40]]
    _, pair = agreement_rows(paired(scored("eggs", table, (False, True))), 10)
    found = cohens_kappa(table)
    assert pair["kappa"] == pytest.approx(found.kappa)
    limits = [pair["low"], pair["high"]]
    assert limits == pytest.approx([found.kappa_low, found.kappa_upp])


def test_pattern_has_limits_of_agreement():
    chance = np.random.default_rng(1)
    first = chance.uniform(60, 95, 30).round()
    second = first + chance.normal(2, 4, 30).round()
    rows = [
        {"first_pattern_pct": a, "second_pattern_pct": b}
        for a, b in zip(first, second, strict=True)
    ]
    both, pair = agreement_rows(paired(rows), 10)
    apart = first - second
    reach = 1.96 * apart.std(ddof=1)
    assert pair["mean"] == pytest.approx(apart.mean())
    assert [pair["low"], pair["high"]] == pytest.approx(
        [apart.mean() - reach, apart.mean() + reach]
    )
    assert both["spread"] == pytest.approx(1.96 * np.sqrt(np.mean(apart**2)))


def test_few_pairs_are_counted_only():
    rows = scored("eggs", [[2, 0], [1, 4]], (False, True))
    for row in agreement_rows(paired(rows), 10):
        assert (row["pairs"], row["agree"], row["kappa"]) == (7, 6, None)
        assert row["message"] == "fewer than 10 pairs of looks"


def test_all_scores_alike_have_no_kappa_and_say_why():
    for row in agreement_rows(
        paired(scored("eggs", [[0, 0], [0, 30]], (False, True))), 10
    ):
        assert row["message"].startswith("both gave every queen the same score")
    assert agreement_rows(paired([]), 10) == []


def test_two_who_always_agree_have_kappa_without_limits():
    _, pair = agreement_rows(
        paired(scored("eggs", [[12, 0], [0, 20]], (False, True))), 10
    )
    assert pair["kappa"] == pytest.approx(1.0)
    assert (pair["low"], pair["high"], pair["message"]) == (None, None, "")
