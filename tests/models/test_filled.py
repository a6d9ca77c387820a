"""Gaps in the factors are filled in several times, and the fits joined."""

import pytest
from modelled import everything, fit, modelled, queens
from taken_away import without_some

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("whole_fillings")]


def with_gaps(n: int = 300, share: float = 0.15) -> list[dict]:
    """Give queens whose dose, drone age and line are each missing for some."""
    return without_some(queens(n), ("dose_ul", "drone_age_days", "line"), share)


@pytest.fixture(scope="module")
def gappy():
    return modelled(with_gaps())


def test_every_closed_course_stands_in_every_filling(gappy):
    main = fit(gappy)
    assert (main["imputations"], main["rows"]) == (20, 300)
    assert "complete in every factor" in main["message"]
    models = gappy.rows("SELECT DISTINCT model FROM model_fits ORDER BY ALL")
    assert models == [("bench",), ("main",), ("onset",)]


def test_what_the_model_foretells_is_the_headline(gappy):
    main = fit(gappy)
    ((estimate,),) = gappy.rows(
        "SELECT avg(list_avg(answers)) FROM fills "
        "WHERE outcome = 'laying' AND clock = 'last'"
    )
    assert main["share"] == pytest.approx(estimate, abs=1e-12)
    assert main["predicted"] == pytest.approx(estimate, abs=0.003)
    assert abs(main["shift"]) < 0.1


def test_filling_in_gives_back_what_was_there_before_the_gaps(gappy):
    def doses(store):
        rows = store.rows(
            "SELECT label, probability, (high - low) / 3.92 FROM adjusted "
            "WHERE outcome = 'laying' AND model = 'main' AND factor = 'dose'"
        )
        return {label: (share, se) for label, share, se in rows}

    whole, filled = doses(modelled(queens(300))), doses(gappy)
    assert filled.keys() == whole.keys()
    assert max(abs(filled[key][0] - whole[key][0]) for key in whole) < 0.06
    assert all(
        abs(filled[key][0] - whole[key][0]) < 1.5 * whole[key][1] for key in whole
    )


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
