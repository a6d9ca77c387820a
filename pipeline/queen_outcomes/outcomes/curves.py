"""Curves by day, and the headline estimates that are read off them.

Reads histories and outcomes, writes onset_curves, incidence, estimates, and sets the
estimates beside the plain rates. An estimate uses every course for as long as it was
seen, so that a queen sold in good health, or a living queen nobody looked at, does not
bias it as it biases a plain rate.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from typing import Any

import numpy as np
import polars as pl

from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import THERE_REASONS
from queen_outcomes.outcomes.histories import (
    EVENTS,
    at_risk,
    onset_sets,
    working_stretches,
)
from queen_outcomes.outcomes.incidence import incidence_of, number
from queen_outcomes.stats.times.competing import state_occupation
from queen_outcomes.stats.times.curve_limits import (
    batch_limits,
    logit_limits,
    wilson_limits,
)

GROUPINGS = (
    "all",
    "iso_week",
    "month",
    "operator",
    "protocol",
    "line",
    "drone_line",
    "semen_batch",
    "graft_batch",
    "co2_schedule",
    "doses",
    "season",
)
DRAWN = (
    "all",
    "operator",
    "protocol",
    "line",
    "drone_line",
    "co2_schedule",
    "doses",
    "season",
)
"""Groupings whose whole curves are kept; of the others only the estimates are."""
ONSET_DAYS = np.arange(0, 61)
WORKING = 1

Row = dict[str, Any]


def draw_curves(store: Store, settings: Settings) -> None:
    """Write the curves and estimates, and put the estimates into rates."""
    store.step("05_rates", "histories", {"there_reasons": list(THERE_REASONS)})
    frame = store.frame("SELECT * FROM histories ORDER BY course_id")
    patterns = _patterns(store)
    tables: dict[str, list[Row]] = {name: [] for name in SCHEMAS}
    for grouping, level, part in _levels(frame, settings.min_shown):
        place = {"grouping": grouping, "level": level}
        for name, rows in _of_level(part, place, settings, patterns).items():
            tables[name] += [{**row, **place} for row in rows]
    for name, rows in tables.items():
        _write(store, name, rows)
    store.step("05_rates", "rates_with_estimates", {})
    store.execute("DROP TABLE rates")
    store.execute("ALTER TABLE rates_with_estimates RENAME TO rates")


SCHEMAS: dict[str, dict[str, Any]] = {
    "onset_curves": {
        "grouping": pl.String,
        "level": pl.String,
        "day": pl.Int64,
        "laying": pl.Float64,
        "low": pl.Float64,
        "high": pl.Float64,
        "at_risk": pl.Int64,
    },
    "incidence": {
        "event": pl.String,
        "grouping": pl.String,
        "level": pl.String,
        "day": pl.Int64,
        "incidence": pl.Float64,
        "low": pl.Float64,
        "high": pl.Float64,
    },
    "estimates": {
        "outcome": pl.String,
        "window_days": pl.Int32,
        "grouping": pl.String,
        "level": pl.String,
        "estimate": pl.Float64,
        "estimate_low": pl.Float64,
        "estimate_high": pl.Float64,
    },
}


def _write(store: Store, name: str, rows: list[Row]) -> None:
    frame = pl.DataFrame(rows, schema=SCHEMAS[name]).sort(
        [column for column in SCHEMAS[name] if SCHEMAS[name][column] != pl.Float64]
    )
    store.con.register("drawn", frame)
    store.table(name, "SELECT * FROM drawn")
    store.con.unregister("drawn")


def _levels(
    frame: pl.DataFrame, min_shown: int
) -> Iterator[tuple[str, str, pl.DataFrame]]:
    """Give every level that has enough courses to show a rate of."""
    for grouping in GROUPINGS:
        for (level,), part in frame.group_by(grouping, maintain_order=True):
            if part.height >= min_shown:
                yield grouping, level, part


def _patterns(store: Store) -> pl.DataFrame:
    """Give the scored patterns of the queens that were working on the window's day.

    Those of queens that failed before it say nothing of the share that works.
    """
    return store.frame(
        "SELECT known.*, outcomes.window_days, outcomes.state FROM outcomes "
        "INNER JOIN histories AS known USING (course_id) "
        "WHERE outcomes.outcome = 'pattern' AND outcomes.closed "
        "AND outcomes.state IN ('yes', 'no') "
        "AND known.alive_day >= outcomes.window_days "
        "AND coalesce(known.end_by > outcomes.window_days, true) "
        "AND coalesce(known.drone_by > outcomes.window_days, true)"
    )


def _of_level(
    part: pl.DataFrame, place: Row, settings: Settings, patterns: pl.DataFrame
) -> dict[str, list[Row]]:
    """Give a level's curves and estimates."""
    rules = settings.outcomes
    is_drawn = place["grouping"] in DRAWN
    onset, laying = _laying(part, place, rules.laying_days)
    estimates = [("laying", *row) for row in laying]
    incidence = []
    for event in EVENTS:
        windows = getattr(rules, f"{event}_days", ())
        rows, found = incidence_of(at_risk(part, event), windows, drawn=is_drawn)
        incidence += [{"event": event, **row} for row in rows]
        estimates += [(event, *row) for row in found]
    scored = patterns.filter(pl.col(place["grouping"]) == place["level"])
    for window in rules.established_days:
        good = scored.filter(pl.col("window_days") == window)
        estimates.append(("established", window, *_established(part, window, good)))
    names = ("outcome", "window_days", "estimate", "estimate_low", "estimate_high")
    return {
        "onset_curves": onset if is_drawn else [],
        "incidence": incidence,
        "estimates": [
            dict(zip(names, row, strict=True))
            for row in estimates
            if row[2] is not None
        ],
    }


def _laying(
    part: pl.DataFrame, place: Row, windows: tuple[int, ...]
) -> tuple[list[Row], list[tuple[Any, ...]]]:
    after, by, or_never = onset_sets(part)
    seed = zlib.crc32(f"{place['grouping']}/{place['level']}".encode())
    asked = np.unique(np.concatenate([ONSET_DAYS, windows]))
    curve = batch_limits(
        after,
        by,
        or_never,
        clusters=part["cluster"].to_numpy(),
        days=asked,
        seed=seed,
    )
    followed = np.where(np.isinf(by) & ~or_never, after, np.inf).max()
    unsettled = ((after[:, None] <= asked) & (by[:, None] > asked)).sum(axis=0)
    rows = [
        {
            "day": int(day),
            "laying": number(curve.estimate[place_]),
            "low": number(curve.low[place_]),
            "high": number(curve.high[place_]),
            "at_risk": int(unsettled[place_]),
        }
        for place_, day in enumerate(asked)
        if day <= ONSET_DAYS[-1]
    ]
    found = []
    for window in windows:
        at = int(np.searchsorted(asked, window))
        known = followed >= window
        values = (curve.estimate[at], curve.low[at], curve.high[at])
        found.append((window, *(number(v) if known else None for v in values)))
    return rows, found


def _established(
    part: pl.DataFrame, window: int, scored: pl.DataFrame
) -> tuple[float | None, ...]:
    """Share working on a day, times the share of their scored patterns that are good."""
    stretches = working_stretches(part)
    if not (stretches["exit_"] >= window).any():
        return (None, None, None)
    curves = state_occupation(stretches, states=3, days=np.array([window]))
    share, se = curves.estimate[WORKING, 0], curves.se[WORKING, 0]
    good, of = int((scored["state"] == "yes").sum()), scored.height
    factor = good / of if of else 1.0
    factor_variance = factor * (1 - factor) / of if of else 0.0
    estimate = share * factor
    spread = np.sqrt((factor * se) ** 2 + share**2 * factor_variance)
    low, high = logit_limits(estimate, spread, curves.clusters - 1)
    if not spread > 0:
        low, high = wilson_limits(estimate, part.height)
    return (number(estimate), number(low), number(high))
