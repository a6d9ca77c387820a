"""Gaps in the factors are filled in several times, and the fits joined."""

import pytest
from modelled import everything, fit, modelled, queens
from taken_away import without_some

pytestmark = pytest.mark.slow


def with_gaps(n: int = 300, share: float = 0.15) -> list[dict]:
    """Give queens whose dose, drone age and line are each missing for some."""
    return without_some(queens(n), ("dose_ul", "drone_age_days", "line"), share)


@pytest.fixture(scope="module")
def gappy():
    return modelled(with_gaps())


def test_too_few_complete_courses_are_filled_in_and_stand_beside(gappy):
    main, complete = fit(gappy), fit(gappy, "complete")
    assert (main["imputations"], complete["imputations"]) == (20, 0)
    assert main["rows"] > complete["rows"]
    assert main["events"] > complete["events"]
    assert "filled in 20 times" in main["message"]
    assert f"{complete['rows']} of {main['rows']} decided courses" in main["message"]


def test_enough_complete_courses_are_not_filled_in():
    store = modelled(with_gaps(share=0.05))
    assert fit(store)["imputations"] == 0
    assert store.rows("SELECT 1 FROM model_fits WHERE model = 'complete'") == []


def test_filling_in_gives_back_what_was_there_before_the_gaps(gappy):
    def doses(store):
        return dict(
            store.rows(
                "SELECT label, probability FROM adjusted WHERE outcome = 'laying' AND "
                "model = 'main' AND factor = 'dose'"
            )
        )

    whole, filled = doses(modelled(queens(300))), doses(gappy)
    assert filled.keys() == whole.keys()
    assert max(abs(filled[key] - whole[key]) for key in whole) < 0.03


def test_every_factor_of_a_filled_model_has_a_test_and_limits(gappy):
    rows = gappy.rows(
        "SELECT t.term, t.p, c.low, c.estimate, c.high FROM model_terms AS t JOIN "
        "model_coefficients AS c USING (outcome, window_days, model, term) "
        "WHERE outcome = 'laying' AND model = 'main'"
    )
    assert rows
    # everybody's cases run with the time of year here: a figure, and no test
    assert {term for term, p, *_ in rows if p is None} == {"experience"}
    assert all(p is None or 0 <= p <= 1 for _, p, *_ in rows)
    assert all(low < at < high for *_, low, at, high in rows)


def test_the_order_of_records_does_not_change_what_is_filled_in(gappy):
    assert everything(modelled(with_gaps(), shuffle=5)) == everything(gappy)
