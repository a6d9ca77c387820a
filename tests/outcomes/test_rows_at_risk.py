"""Who is at risk of an event, and the factors that fillings lean on, from rows by hand."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from queen_outcomes.base.errors import LedgerError
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.curves import (
    CENSORED,
    COMPETING,
    HAPPENED,
    at_risk,
    onset_sets,
)
from queen_outcomes.outcomes.derive import count_rates
from queen_outcomes.outcomes.signs import (
    BENT,
    FEWEST,
    NUMBER,
    WORD,
    factor_columns,
    read_known,
)
from station_tables import check, day, derived, insemination

ROW = {
    "onset_by": None, "end_by": None, "end_since": None, "end_behind": None,
    "end_reason": None, "is_marked": True, "cluster": 1, "alive_day": None,
    "mark_day": None, "sound_day": None, "drone_by": None, "drone_after": None,
}  # fmt: skip
DAYS = dict.fromkeys(ROW, pl.Int64) | {"end_reason": pl.String, "is_marked": pl.Boolean}


def risk(event, **row):
    """Give entry, since, by, the day before the days of the event, and how it ended."""
    found = at_risk(pl.DataFrame([{**ROW, **row}], schema=DAYS), event)
    return tuple(float(getattr(found, name)[0]) for name in ("entry", "since", "by", "behind")), int(found.event[0])


ENDED = {"end_by": 40, "end_since": 20, "end_behind": 39}


@pytest.mark.parametrize(
    ("event", "row", "days", "code"),
    [
        # never seen: she was there on no day; seen on day 30, or on day 0
        ("lost", {}, (-1, -1, -1, -1), CENSORED),
        ("lost", {"alive_day": 30}, (-1, 30, 30, 30), CENSORED),
        ("lost", {"alive_day": 0}, (-1, 0, 0, 0), CENSORED),
        ("lost", {**ENDED, "end_reason": "dead"}, (-1, 21, 40, 39), HAPPENED),
        ("lost", {**ENDED, "end_reason": "missing", "end_behind": 10}, (-1, 21, 40, 20), HAPPENED),
        ("lost", {**ENDED, "end_reason": "superseded"}, (-1, 21, 40, 39), COMPETING),
        ("lost", {"end_by": 0, "end_since": -1, "end_behind": -1, "end_reason": "dead"}, (-1, 0, 0, -1), HAPPENED),
        ("culled_fault", {**ENDED, "end_reason": "culled_fault"}, (-1, 21, 40, 39), HAPPENED),
        # looked for among layers: at risk from the day by which she laid
        ("superseded", {**ENDED, "onset_by": 30, "end_reason": "superseded"}, (30, 31, 40, 39), HAPPENED),
        ("superseded", {"onset_by": 12, "mark_day": 50}, (12, 50, 50, 50), CENSORED),
        ("superseded", {"onset_by": 40, "end_by": 40, "end_since": 3, "end_reason": "dead"}, (40, 40, 40, 39), COMPETING),
        ("drone_layer", {"onset_by": 12, "drone_by": 40, "drone_after": 20}, (12, 21, 40, 20), HAPPENED),
        ("drone_layer", {**ENDED, "onset_by": 12, "drone_by": 40, "end_reason": "dead"}, (12, 13, 40, 12), HAPPENED),
        ("drone_layer", {**ENDED, "onset_by": 12, "drone_by": 41, "end_reason": "dead"}, (12, 21, 40, 39), COMPETING),
        ("drone_layer", {"onset_by": 12}, (12, -1, -1, -1), CENSORED),
    ],
)  # fmt: skip
def test_who_is_at_risk_from_when_and_how_it_ended(event, row, days, code):
    assert risk(event, **row) == (days, code)


def test_only_layers_and_marked_queens_are_looked_at_where_the_event_asks_for_it():
    frame = pl.DataFrame([ROW, {**ROW, "onset_by": 9}, {**ROW, "onset_by": 9, "is_marked": False}], schema=DAYS)
    counts = {name: len(at_risk(frame, name).by) for name in ("lost", "drone_layer", "superseded")}
    assert counts == {"lost": 3, "drone_layer": 2, "superseded": 1}


def test_an_event_without_its_columns_is_our_own_fault():
    with pytest.raises(LedgerError) as caught:
        at_risk(pl.DataFrame([ROW], schema=DAYS).drop("drone_by", "sound_day"), "drone_layer")
    assert caught.value.found == "drone_by, sound_day"


def test_the_days_on_which_laying_may_have_begun():
    rows = [
        {"onset_after": 3, "onset_by": 9, "unlaid_day": None, "begun_by": None},
        {"onset_after": 3, "onset_by": None, "unlaid_day": None, "begun_by": None},
        {"onset_after": 3, "onset_by": None, "unlaid_day": 9, "begun_by": 4},
        {"onset_after": 3, "onset_by": None, "unlaid_day": 9, "begun_by": 3},
        {"onset_after": 3, "onset_by": None, "unlaid_day": 9, "begun_by": None},
        {"onset_after": None, "onset_by": None, "unlaid_day": 0, "begun_by": 0},
    ]
    after, by, closed = onset_sets(pl.DataFrame(rows, schema=dict.fromkeys(rows[0], pl.Int64)))
    never = after[3]
    assert np.isfinite(never)
    assert after.tolist() == [3, 3, 3, never, never, never]
    assert never not in (0, 3)
    assert by.tolist() == [9, np.inf, 4, np.inf, np.inf, np.inf]
    assert closed.tolist() == [False, False, True, True, True, True]


def test_factors_are_standardised_bent_where_they_may_be_and_rare_words_pooled():
    n = 3 * FEWEST
    x = np.arange(n, dtype=float)
    table = pl.DataFrame(
        {
            "course_id": [f"Q{at:02}" for at in range(n)],
            "dose": np.where(x < n - FEWEST, np.nan, x),
            "drone_age": x,
            "attempts": np.where(x < n - FEWEST + 1, np.nan, x),
            "minutes": np.full(n, 4.0),
            "operator": ["a"] * FEWEST + ["b"] * (FEWEST - 1) + ["c"] * (FEWEST + 1),
            "year": ["2026"] * n,
            "graft_batch": ["g"] * n,
        }
    )
    found = factor_columns(table)
    assert "drone_age" in BENT
    dose = np.arange(n - FEWEST, n, dtype=float)
    age = (x - x.mean()) / x.std()
    made = found.numbers.T
    assert len(made) == 3  # dose, and age twice
    assert made[0][-FEWEST:] == pytest.approx((dose - dose.mean()) / dose.std())
    assert not made[0][:-FEWEST].any()
    assert made[1] == pytest.approx(age)
    assert made[2] == pytest.approx(age**2 - 1)
    levels = found.levels.toarray()
    assert levels.sum(axis=0).tolist() == [FEWEST, FEWEST + 1]
    assert levels[:FEWEST, 0].all()
    assert found.ridge.tolist() == [NUMBER] * 3 + [WORD] * 2


def test_states_are_told_on_every_window_s_last_day_and_at_its_close():
    made = derived(day(120), inseminations=[insemination()], checks=[check(9, eggs=True)])
    count_rates(made, Settings())
    days = set(read_known(made, Settings()).seen.steps.days.tolist())
    rules = Settings().outcomes
    windows = {window for _, window in rules.windows}
    assert windows | {window + rules.grace_days for window in windows} <= days
