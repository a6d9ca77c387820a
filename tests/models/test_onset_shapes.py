"""The onset model where days of laying have another shape than it assumes."""

import numpy as np
import pytest
from onset_records import SETTINGS, of_factor
from queen_outcomes.models import onset_results
from queen_outcomes.models.onset_model import Seen, fit_station
from queen_outcomes.models.onset_results import rows_of
from queen_outcomes.models.questions import main_terms
from queen_outcomes.stats.onset.onset_averages import Average
from scipy import stats


@pytest.mark.parametrize("shape", ["gamma", "loglogistic"])
def test_days_of_another_shape_move_laying_by_21_by_under_three_points(shape):
    off = []
    for seed in range(4):
        draw = np.random.default_rng(500 + seed)
        n = 1500
        dose = draw.choice([6.0, 8.0, 10.0, 12.0], n)
        once = draw.random(n) < 0.4
        lays = draw.random(n) < 1 / (1 + np.exp(-1.3 - 0.2 * (dose - 9)))
        noise = {
            "gamma": draw.gamma(6.0, 1 / 6.0, n),
            "loglogistic": np.exp(draw.logistic(0, 0.22, n)),
        }[shape]
        day = np.where(lays, np.ceil(np.exp(2.25 + 0.5 * once) * noise), np.inf)
        seen, truth = looked_at(day, draw)
        model = fit_station(factors(dose, once, draw), seen, *ASKED)
        assert model.method == "mixture"
        rows = rows_of(model, (21,))
        (whole,) = of_factor(rows, "adjusted", "all")
        found = [r["probability"] for r in of_factor(rows, "adjusted", "co2_schedule")]
        parts = (truth[once].mean(), truth[~once].mean())
        off.append([whole["probability"] - truth.mean(), *np.subtract(found, parts)])
    assert np.abs(np.mean(off, axis=0)).max() < 0.03


WANTED = ("dose", "co2_schedule")
ASKED = ([t for t in main_terms(SETTINGS) if t.name in WANTED], WANTED, 21)


def looked_at(day, draw):
    """Give what looks tell of days of laying, and who truly lays by day 21.

    A quarter leaves on a random day, an eighth dies on one; the dead no longer lay.
    """
    n, looks = len(day), np.array([7, 11, 14, 21, 28, 50])
    fate, end = draw.random(n), draw.integers(5, 45, n)
    left, died = fate < 0.25, fate > 0.875
    last = np.where(left | died, end, 99)
    made = (looks <= last[:, None]) & (draw.random((n, 6)) < 0.9)
    before = np.where(made & (looks < day[:, None]), looks, 0)
    behind = np.where(made & (looks >= day[:, None]), looks, np.inf)
    after, by = before.max(axis=1).astype(float), behind.min(axis=1)
    ended = died & np.isinf(by)
    by = np.where(ended, np.maximum(end, after + 1), by)
    return Seen(after, by, ended), (day <= 21) & (~died | (day <= end))


def factors(dose, once, draw):
    """Give the factors of such courses, in batches of 25."""
    number = np.arange(len(dose))
    return {
        "operator": draw.choice(list("ABCDEFGH"), len(dose)),
        "line": draw.choice(["x", "y"], len(dose)),
        "dose": dose,
        "co2_schedule": np.where(once, "one exposure", "other before"),
        "co2_gap": np.where(once, np.nan, 24.0),
        "graft_batch": np.char.add("g", (number // 25).astype(str)),
        "semen_batch": np.char.add("s", (number // 15).astype(str)),
    }


def test_a_difference_of_days_has_no_more_freedom_than_there_are_groups():
    found = Average(0.1, 0.02, 0.18, 0.04, df=40.0)
    few = onset_results._with_freedom(found, 5.0)
    reach = stats.t.ppf(0.975, 5) * 0.04
    assert (few.df, few.low, few.high) == pytest.approx((5.0, 0.1 - reach, 0.1 + reach))
    assert onset_results._with_freedom(found, np.inf) is found
