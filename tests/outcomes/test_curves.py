"""Headline estimates: what biases a plain rate must not bias them."""

import numpy as np
import pytest
from filled_in import draw_curves
from queen_outcomes.base.workers import Workers
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes import curves, fills
from queen_outcomes.outcomes.curves import begin_curves
from queen_outcomes.outcomes.derive import count_rates
from station_tables import check, day, derived, insemination, leave

pytestmark = pytest.mark.slow

QUEENS = 1500
LOOKS = (7, 14, 21, 28, 35, 42, 49, 56, 63)
LAYS, DIES = 0.85, 0.2
"""Truth of the invented queens: share that lays, and share of all that dies by day 60,
evenly over the days, whether she lays or not."""


def station(*, sold=0.0, looked=1.0, seed=1):
    """Make queens of known fate; each begins to lay on day 9 or never does.

    ``sold``: share of living layers sold on day 28. ``looked``: chance that a living
    queen is looked at on a planned day from day 21 on; a death is always written down.
    """
    draw = np.random.default_rng(seed)
    lays = draw.random(QUEENS) < LAYS
    death = np.where(draw.random(QUEENS) < DIES, draw.integers(1, 61, QUEENS), 9999)
    goes = lays & (death > 28) & (draw.random(QUEENS) < sold)
    checks, exits, queens, inseminations = [], [], [], []
    for n in range(QUEENS):
        name = f"Q{n:04d}"
        queens.append({"queen_id": name, "graft_batch": f"G{n % 60}", "marked": True})
        inseminations.append(insemination(0, name))
        last = min(death[n], 28 if goes[n] else 9999)
        for look in LOOKS:
            if look > last or (look >= 21 and draw.random() > looked):
                continue
            checks.append(
                check(look, name, queen_seen=True, eggs=bool(lays[n] and look > 9))
            )
        if goes[n]:
            exits.append(leave(28, "sold", name))
        elif death[n] < 9999:
            exits.append(leave(int(death[n]), "dead", name))
    records = {
        "queens": queens,
        "inseminations": inseminations,
        "checks": checks,
        "exits": exits,
    }
    # what these very queens would have shown, had nobody sold or overlooked any
    truth = {
        "established": float(np.mean(lays & (death > 60))),
        "lost": float(np.mean(death <= 21)),
    }
    return records, truth


def rates(records, days=120):
    """Give the row of each outcome's shortest window."""
    store = derived(day(days), **records)
    settings = Settings()
    count_rates(store, settings)
    draw_curves(store, settings)
    rows = store.records(
        "SELECT DISTINCT ON (outcome) * FROM rates WHERE \"grouping\" = 'all' "
        "ORDER BY outcome, window_days"
    )
    return {row["outcome"]: row for row in rows}


def test_selling_good_queens_biases_the_plain_rate_and_not_the_estimate():
    records, truth = station(sold=0.6)
    row, truth = rates(records)["established"], truth["established"]
    assert abs(row["rate"] - truth) > 0.05
    assert abs(row["estimate"] - truth) < 0.02
    assert row["estimate_low"] < truth < row["estimate_high"]


def test_looking_only_at_some_living_queens_does_not_make_deaths_common():
    records, truth = station(looked=0.3)
    row, truth = rates(records)["lost"], truth["lost"]
    assert abs(row["rate"] - truth) > 0.05
    assert abs(row["estimate"] - truth) < 0.02
    assert row["estimate_low"] < truth < row["estimate_high"]


def test_where_all_is_seen_plain_rate_and_estimate_agree():
    records, truth = station()
    found = rates(records)
    for outcome in ("lost", "established"):
        row = found[outcome]
        assert row["rate"] == pytest.approx(truth[outcome], abs=0.005)
        # nobody noted marks or drone brood: a few may have been replaced, or turned
        assert row["estimate"] == pytest.approx(truth[outcome], abs=0.01)


def test_ends_found_at_a_late_look_do_not_outlive_the_survivors():
    """Colonies replace a third of the queens within the year, any day.

    In spring, on days 366 to 395, every second colony is opened; the other queens were
    last seen well on day 60.
    """
    draw = np.random.default_rng(4)
    queens, inseminations, checks, found = [], [], [], []
    for n in range(600):
        name = f"Q{n:04d}"
        queens.append({"queen_id": name, "graft_batch": f"G{n % 30}", "marked": True})
        inseminations.append(insemination(0, name))
        seen = {"queen_seen": True, "eggs": True, "mark_seen": True}
        checks += [check(day_, name, **seen) for day_ in (10, 60)]
        if n % 2:
            found.append(bool(draw.random() < 1 / 3))
            spring = int(draw.integers(366, 396))
            seen = {"queen_seen": True, "mark_seen": not found[-1]}
            checks.append(check(spring, name, **seen))
    records = {"queens": queens, "inseminations": inseminations, "checks": checks}
    store = derived(day(900), **records)
    count_rates(store, Settings())
    draw_curves(store, Settings())
    shares = store.rows(
        "SELECT incidence, low, high FROM incidence WHERE event = 'superseded' "
        "AND \"grouping\" = 'all' AND day BETWEEN 370 AND 385 ORDER BY day"
    )
    # of those opened, and of the others as many: not nobody first and everybody later
    for share, low, high in shares:
        assert share == pytest.approx(np.mean(found), abs=0.06)
        assert low < np.mean(found) < high


def test_a_first_week_has_counts_and_no_estimate():
    records = {
        "inseminations": [insemination(0, f"Q{n}") for n in range(30)],
        "checks": [check(5, f"Q{n}", eggs=False) for n in range(30)],
    }
    row = rates(records, days=6)["laying"]
    assert (row["open"], row["closed"], row["estimate"]) == (30, 0, None)


def test_no_curve_is_drawn_of_fewer_courses_than_are_shown():
    store = derived(inseminations=[insemination(0, f"Q{n}") for n in range(9)])
    count_rates(store, Settings())
    draw_curves(store, Settings())
    assert store.rows("SELECT count(*) FROM onset_curves") == [(0,)]


def test_curves_rise_and_stay_between_their_limits():
    store = derived(day(90), **station(looked=0.7)[0])
    count_rates(store, Settings())
    draw_curves(store, Settings())
    for table, column in (("onset_curves", "laying"), ("incidence", "incidence")):
        rows = store.rows(
            f"SELECT {column}, low, high, {column} - lag({column}, 1, 0) OVER ("
            f"PARTITION BY {'event, ' if table == 'incidence' else ''} "
            f'"grouping", level ORDER BY day) FROM {table}'
        )
        assert len(rows) > 50
        for share, low, high, step in rows:
            assert low <= share + 1e-9 <= high + 2e-9
            assert step >= -1e-9


def test_curves_do_not_depend_on_how_many_cores_draw_them(monkeypatch):
    for module in (curves, fills):
        monkeypatch.setattr(module, "FEW_COURSES", 0)
    records = station()[0]
    some = {row["queen_id"] for row in records["queens"][:200]}
    records = {
        name: [row for row in rows if row["queen_id"] in some]
        for name, rows in records.items()
    }
    found = []
    for cores in (1, 2, 4):
        store = derived(day(120), **records)
        count_rates(store, Settings())
        with Workers(cores) as workers:
            days = begin_curves(store, Settings(), workers)()
        tables = ("fills", "estimates", "onset_curves", "incidence", "rates")
        rows = [store.rows(f"SELECT * FROM {name}") for name in tables]
        assert days == len(rows[2]) + len(rows[3])
        found.append(rows)
    assert found[0] == found[1] == found[2]
