"""What the factors page says first, and what it keeps to itself."""

import datetime as dt

import pytest
from modelled import LAYING, modelled, queens
from queen_outcomes.dashboard import factors

FIT = {"method": "glmm", "message": "", "brier": 0.14, "brier_base": 0.13, "auc": 0.52}
FIT["shift"] = 0.1


def shown(store):
    page = factors.show(store, LAYING, dt.date(2026, 10, 1))
    return page, page["sections"][0]


def test_a_model_no_better_than_the_base_rate_says_so():
    assert "no better than the base rate" in factors.verdict(FIT)
    assert ": better than the base rate" in factors.verdict({**FIT, "brier": 0.12})


@pytest.mark.parametrize("brier", [0.14, None])
def test_a_model_that_had_to_be_moved_to_the_headline_says_so(brier):
    told = factors.verdict({**FIT, "brier": brier, "shift": -0.104})
    assert "Averaged over operators and batches, chances meet the headline only after" in told
    assert "a shift of -0.10 in log odds (more than 0.1)" in told
    assert "headline" not in factors.verdict({**FIT, "brier": brier})


def test_the_matrix_holds_the_surest_difference_and_up_is_good():
    row = {"factor": "dose", "value": "8 uL", "reference": "12 uL", "p_holm": 0.2}
    pale = {**row, "risk_difference": 0.3, "low": -0.1, "high": 0.7}
    sure = {**row, "value": "9 uL", "risk_difference": 0.1, "low": 0.02, "high": 0.18}
    (cell,) = factors._cells(("laying", 21), [sure, pale])
    assert (cell["points"], cell["certainty"]) == (10.0, "limits leave nought out")
    (turned,) = factors._cells(("lost", 21), [sure])  # more lost is less success
    assert (turned["low"], turned["points"], turned["high"]) == (-18.0, -10.0, -2.0)
    assert turned["outcome"] == "not lost by day 21"
    assert factors.clear_said([cell]) == "No factor goes clearly with any outcome."
    (clear,) = factors._cells(("laying", 21), [{**sure, "p_holm": 0.01}])
    assert factors.clear_said([clear]) == (
        "Goes clearly: laying by day 21 with dose (9 uL against 12 uL): +10.0 points "
        "(+2.0 to +18.0)."
    )


@pytest.mark.slow
def test_no_model_gives_its_reason_and_no_chart():
    page = factors.show(modelled(queens(12)), LAYING, dt.date(2026, 10, 1))
    (laying,) = [part for part in page["without"] if part["key"] == "laying-21"]
    assert laying["message"]
    assert page["sections"] == []
    assert page["charts"] == {}


@pytest.mark.slow
def test_a_model_is_drawn_with_its_differences():
    page, laying = shown(modelled(queens(300)))
    assert "differences-laying-21" in page["charts"]
    assert laying["curves"][0]["term"] == "dose"
    assert all(curve["chart"] in page["charts"] for curve in laying["curves"])


@pytest.mark.slow
def test_values_of_different_operators_are_not_compared():
    made = queens(240)
    for queen in made:
        queen["dose_ul"] = 8.0 if queen["operator"] in "AB" else 11.0
    _, laying = shown(modelled(made))
    dose = [row for row in laying["compared"] if row["factor"] == "dose"]
    assert [row["points"] for row in dose] == ["cannot be told apart from the operator"]
    assert dose[0]["odds"] == ""


def test_a_value_without_a_share_is_left_out_of_its_curve():
    # more than half of what it rests on is filled in: `adjusted` has no figure
    term = {"term": "dose", "p": 0.2, "chosen_form": "line", "df": 1}
    shares = (0.6, 0.7, 0.75, 0.8, None)
    rows = [
        {"factor": "dose", "value": float(at), "label": f"{at} uL", "courses_near": 9}
        | {"probability": share, "low": share, "high": share}
        for at, share in enumerate(shares)
    ]
    main = {"model_terms": [term], "adjusted": rows}
    (drawn,) = factors._draw_curves(main, "laying-21", "laying by day 21", {})
    assert drawn["said"] == "Dose: 60 % at 0 uL; 80 % at 3 uL"
    assert len(drawn["rows"]) == 4
    one = {**main, "adjusted": rows[:1]}
    assert factors._draw_curves(one, "laying-21", "laying by day 21", {}) == []
    words = {**main, "adjusted": [{**row, "value": None} for row in rows]}
    assert factors._draw_curves(words, "laying-21", "laying by day 21", {}) == []
    none = {**main, "adjusted": [{**row, "probability": None} for row in rows]}
    assert factors._draw_curves(none, "laying-21", "laying by day 21", {}) == []
