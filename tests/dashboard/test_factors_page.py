"""What the factors page says first, and what it keeps to itself."""

import datetime as dt

import pytest
from modelled import LAYING, modelled, queens
from queen_outcomes.dashboard import factors

pytestmark = pytest.mark.slow

FIT = {"method": "glmm", "message": "", "brier": 0.14, "brier_base": 0.13, "auc": 0.52}


def shown(store):
    page = factors.show(store, LAYING, dt.date(2026, 10, 1))
    return page, page["sections"][0]


def test_a_model_no_better_than_the_base_rate_says_so():
    assert "no better than the base rate" in factors.verdict(FIT)
    assert "does better" in factors.verdict({**FIT, "brier": 0.12})


def test_no_model_gives_its_reason_and_no_chart():
    page = factors.show(modelled(queens(12)), LAYING, dt.date(2026, 10, 1))
    (laying,) = [part for part in page["without"] if part["key"] == "laying-21"]
    assert laying["message"]
    assert page["sections"] == []
    assert page["charts"] == {}


def test_a_model_is_drawn_with_its_differences():
    page, laying = shown(modelled(queens(300)))
    assert "differences-laying-21" in page["charts"]
    assert laying["curves"][0]["term"] == "dose"
    assert all(curve["chart"] in page["charts"] for curve in laying["curves"])


def test_values_of_different_operators_are_not_compared():
    made = queens(240)
    for queen in made:
        queen["dose_ul"] = 8.0 if queen["operator"] in "AB" else 11.0
    _, laying = shown(modelled(made))
    dose = [row for row in laying["compared"] if row["factor"] == "dose"]
    assert [row["points"] for row in dose] == ["cannot be told apart from the operator"]
    assert dose[0]["odds"] == ""
