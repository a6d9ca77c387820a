"""A rate is the share of yes, also where yes is the failure."""

import pytest
from filled_in import draw_curves
from queen_outcomes.base import resources
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import count_rates
from station_tables import check, day, derived, insemination

SUPERSEDED, COURSES = 3, 12


@pytest.fixture(scope="module")
def store():
    """Twelve marked layers, three with a queen without a mark in their place by day 60."""
    names = [f"Q{n:02d}" for n in range(COURSES)]
    seen = {"queen_seen": True, "eggs": True}
    checks = [check(12, name, mark_seen=True, **seen) for name in names]
    checks += [
        check(60 if n < SUPERSEDED else 95, name, mark_seen=n >= SUPERSEDED, **seen)
        for n, name in enumerate(names)
    ]
    made = derived(
        day(200),
        queens=[{"queen_id": name, "marked": True} for name in names],
        inseminations=[insemination(0, name) for name in names],
        checks=checks,
    )
    count_rates(made, Settings())
    draw_curves(made, Settings())
    return made


@pytest.fixture
def no_batches(store):
    store.execute(
        "CREATE TABLE IF NOT EXISTS batches (kind TEXT, batch TEXT, flag TEXT)"
    )


def test_supersedure_is_counted_as_it_happened(store):
    (row,) = store.records(
        "SELECT * FROM rates WHERE \"grouping\" = 'all' AND outcome = 'superseded' "
        "AND window_days = 90"
    )
    assert (row["yes"], row["no"], row["closed"]) == (3, 9, 12)
    assert row["rate"] == row["rate_if_no"] == row["rate_if_yes"] == 0.25
    # a mark may be overlooked: a queen without it is a successor almost surely
    assert row["estimate"] == pytest.approx(0.25, abs=0.03)


@pytest.mark.usefixtures("no_batches")
@pytest.mark.parametrize(
    ("outcome", "window", "share"), [("superseded", 90, 0.25), ("laying", 21, 1.0)]
)
def test_a_week_has_the_rate_of_its_courses(store, outcome, window, share):
    (week,) = store.records(
        resources.read("sql", "10_pages", "cohorts.sql"),
        {
            "outcome": outcome,
            "window_days": window,
            "as_of": day(200),
            "fails": OUTCOMES[outcome].fails,
        },
    )
    assert (week["closed"], week["rate"]) == (True, share)
    # the week's share is its estimate: a mark may be overlooked
    assert week["share"] == pytest.approx(share, abs=0.03)
    assert week["yes"] == share * COURSES
    assert week["no"] == COURSES - week["yes"]
