"""Unsettled courses filled in: what is settled stays, and nothing is told of what nobody knows."""

import datetime as dt

import numpy as np
import pytest
from filled_in import draw_curves, fill_station
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes import fills
from queen_outcomes.outcomes.derive import count_rates
from queen_outcomes.outcomes.fills import read_fills
from station_tables import check, day, derived, insemination, leave
from statsmodels.stats.proportion import proportion_confint

QUEENS = 60


def station():
    """Give queens in six batches: laying, never laying, dead, sold unseen, and marked."""
    queens, inseminations, checks, exits = [], [], [], []
    for n in range(QUEENS):
        name = f"Q{n:02d}"
        queens.append({"queen_id": name, "graft_batch": f"G{n % 6}", "marked": True})
        inseminations.append(insemination(0, name))
        kind = n % 5
        if kind == 4:  # nobody ever looks
            continue
        lays = kind != 1
        seen = {"queen_seen": True, "mark_seen": True}
        looks = (7,) if kind == 3 else (7, 14, 21, 28)
        checks += [check(d, name, eggs=lays and d > 9, **seen) for d in looks]
        if kind == 2:
            exits.append(leave(30, "sold", name))
        elif kind == 3:
            exits.append(leave(12, "dead", name))
        else:
            checks.append(check(62, name, eggs=lays, **seen))
    made = derived(
        day(120),
        queens=queens,
        inseminations=inseminations,
        checks=checks,
        exits=exits,
    )
    count_rates(made, Settings())
    return made


@pytest.fixture(scope="module")
def store():
    made = station()
    draw_curves(made, Settings())
    return made


def fills_of(store, outcome, window):
    """Give the ids of the courses, and their answers in every filling."""
    rows = store.rows("SELECT course_id FROM courses")
    ids = np.sort(np.array([name for (name,) in rows]))
    return ids, read_fills(store, (outcome, window), ids)


def of_kind(fills, kind):
    ids, answers = fills
    return answers[:, [int(name[1:3]) % 5 == kind for name in ids]]


def test_what_was_seen_is_the_same_in_every_filling(store):
    laying, lost = fills_of(store, "laying", 21), fills_of(store, "lost", 21)
    assert laying[1].shape == (fills.TIMES, QUEENS)
    assert of_kind(laying, 0).mean() > 0.97
    assert of_kind(laying, 1).mean() < 0.1
    assert of_kind(lost, 3).min() == 1
    assert of_kind(lost, 0).max() == 0
    established = fills_of(store, "established", 60)
    assert of_kind(established, 3).max() == 0


def test_what_looks_overlook_is_told_once_of_every_question_that_was_asked(store):
    """A row an outcome and window; of a window that closed for nobody there is none."""
    rows = store.records("SELECT * FROM overlooked")
    told = [(row["outcome"], row["window_days"]) for row in rows]
    asked = {
        (outcome, window)
        for outcome, window in Settings().outcomes.windows
        if len(fills_of(store, outcome, window)[1])
    }
    assert len(told) == len(set(told))
    assert set(told) == asked
    assert len({row["learned"] for row in rows}) == 1


def test_windows_that_have_not_closed_are_not_asked_about_from_either_dose():
    """Courses of two doses, whose windows from the first dose close a few days earlier."""
    both = [insemination(on, f"Q{n}") for n in range(8) for on in (0, 3)[: 1 + n % 2]]
    young = derived(
        day(25),
        queens=[{"queen_id": f"Q{n}"} for n in range(8)],
        inseminations=both,
        checks=[check(on, f"Q{n}", eggs=n > 3) for n in range(8) for on in (10, 24)],
    )
    fill_station(young, Settings())
    told = young.rows("SELECT outcome, window_days FROM overlooked")
    closed = young.rows(
        "SELECT DISTINCT outcome, window_days FROM fills WHERE clock = 'last'"
    )
    assert len(told) == len(set(told))
    assert set(told) == set(closed)
    assert "established" not in dict(told)


def test_who_was_sold_or_never_seen_is_filled_in_from_the_others(store):
    established = fills_of(store, "established", 60)
    sold, unseen = of_kind(established, 2), of_kind(established, 4)
    # a working queen of day 30 works on; of the others a third died, a third never laid
    assert sold.mean() > 0.7
    assert 0.1 < unseen.mean() < 0.9
    assert len({tuple(row) for row in unseen.tolist()}) > 1


def test_only_layers_are_at_risk_of_supersedure(store):
    laid, replaced = (
        fills_of(store, "laying", 60),
        fills_of(store, "superseded", 90),
    )
    assert len(laid[1]) == 0  # no such window is asked about
    unlaid = of_kind(replaced, 1)
    assert np.isnan(unlaid).mean() > 0.9


def estimates(**records):
    """Give the headline of every question and level of a small station."""
    made = derived(dt.date(2026, 10, 1), Settings(), **records)
    count_rates(made, Settings())
    draw_curves(made, Settings())
    rows = made.records("SELECT * FROM rates")
    return {(row["outcome"], row["window_days"], row["level"]): row for row in rows}


def test_a_level_of_which_nothing_is_known_has_no_estimate():
    queens = [{"queen_id": f"Q{n:02d}", "marked": True} for n in range(40)]
    done = [
        {**insemination(0, f"Q{n:02d}"), "semen_batch": f"s{n // 10}"} for n in range(40)
    ]
    looks = [
        check(on, f"Q{n:02d}", eggs=n % 4 > 0, queen_seen=True)
        for n in range(10, 40)
        for on in (12, 21, 60)
    ]
    found = estimates(queens=queens, inseminations=done, checks=looks)
    for outcome, window in (("laying", 21), ("lost", 21), ("established", 60)):
        assert found[outcome, window, "s0"]["undecided"] == 10
        assert found[outcome, window, "s0"]["estimate"] is None
    known = found["laying", 21, "s1"]
    assert known["estimate"] == pytest.approx(known["rate"])
    # no narrower than Wilson's limits of ten courses
    low, high = proportion_confint(known["yes"], 10, method="wilson")
    assert known["estimate_low"] <= low + 1e-9
    assert known["estimate_high"] >= high - 1e-9


def test_a_station_whose_queens_are_all_known_dead_has_its_headline():
    queens = [{"queen_id": f"Q{n:02d}", "marked": True} for n in range(40)]
    done = [insemination(0, f"Q{n:02d}") for n in range(40)]
    gone = [leave(1, "dead", f"Q{n:02d}") for n in range(40)]
    looks = [check(30, "Q01", eggs=False)]
    found = estimates(queens=queens, inseminations=done, exits=gone, checks=looks)
    for outcome, window, share in (("lost", 21, 1), ("laying", 21, 0), ("established", 60, 0)):
        row = found[outcome, window, "all"]
        assert row["estimate"] == share
        low, high = proportion_confint(40 * share, 40, method="wilson")
        assert row["estimate_low"] == pytest.approx(low, abs=1e-9)
        assert row["estimate_high"] == pytest.approx(high, abs=1e-9)


@pytest.mark.parametrize(("watched", "told"), [(fills.WATCHED - 1, False), (fills.WATCHED, True)])
def test_a_state_on_a_day_needs_so_many_who_were_seen_alive_on_it_or_later(watched, told):
    import polars as pl
    from queen_outcomes.base.store import Store

    alive = [60] * watched + [59] * 30 + [None] * 5
    courses = pl.DataFrame({"alive_day": pl.Series(alive, dtype=pl.Int64)})
    store = Store()
    store.execute(
        "CREATE TABLE outcomes AS SELECT 'established' AS outcome, 60 AS window_days, "
        "true AS closed, 'undecided' AS state"
    )
    assert fills._is_told(store, courses, "established", 60) is told
    store.execute("UPDATE outcomes SET state = 'yes'")  # the records settle every course
    assert fills._is_told(store, courses, "established", 60)


def test_fillings_are_read_by_course_and_clock_and_of_a_single_course_too():
    """A course that is not at risk is nan; one that nobody asked for is passed over."""
    from queen_outcomes.base.store import Store

    store = Store()
    store.execute(
        "CREATE TABLE fills AS SELECT * FROM (VALUES ('laying', 21, 'last', 'B', [1, 0, 1]), "
        "('laying', 21, 'first', 'C', [0, 0, 1]), ('laying', 21, 'first', 'A', [1, 1, 0])) "
        "AS t(outcome, window_days, clock, course_id, answers)"
    )
    ids, question = np.array(["A", "B", "C"]), ("laying", 21)
    last = read_fills(store, question, ids)
    np.testing.assert_array_equal(last, [[np.nan, n, np.nan] for n in (1, 0, 1)])
    first = read_fills(store, question, ids[1:], from_first=True)
    np.testing.assert_array_equal(first, [[np.nan, n] for n in (0, 0, 1)])
    assert read_fills(store, ("laying", 60), ids).shape == (0, 3)
