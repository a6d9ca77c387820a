"""Curves by day, and the headline estimates that are read off them.

Reads histories and outcomes, writes onset_curves, incidence, estimates, and sets the
estimates beside the plain rates. An estimate uses every course for as long as it was
seen, so that a queen sold in good health, or a living queen nobody looked at, does not
bias it as it biases a plain rate. Which curve an outcome has stands in the registry; who
is at risk of what, and until when, stands here and only here.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from queen_outcomes.base import resources
from queen_outcomes.base.errors import LedgerError
from queen_outcomes.base.store import Store
from queen_outcomes.facts.exports.outcomes import ESTIMATES, INCIDENCE, ONSET_CURVES
from queen_outcomes.facts.exports.writing import write_rows
from queen_outcomes.facts.outcomes import OUTCOMES, Event
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import THERE_REASONS
from queen_outcomes.stats.times.competing import Curves, state_occupation, three_states
from queen_outcomes.stats.times.curve_limits import (
    batch_limits,
    logit_limits,
    wilson_limits,
)
from queen_outcomes.stats.times.spread import first_days, spread_incidence

GROUPINGS = (
    "all",
    "iso_week",
    "month",
    "operator",
    "protocol",
    "instrument",
    "tip",
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
DRAWN_TABLES = (ONSET_CURVES, INCIDENCE, ESTIMATES)
ONSET_DAYS = np.arange(0, 61)
INCIDENCE_DAYS = np.concatenate([np.arange(0, 91), np.arange(95, 401, 5)])
WORKING = 1
NEVER_ONLY = 1e5
"""A day beyond all others: what is after it has never happened."""
HAPPENED, COMPETING, CENSORED = 1, 2, 0
EVENTS: dict[str, Event] = {
    **{name: outcome.event for name, outcome in OUTCOMES.items() if outcome.event},
    "culled_fault": Event(reasons=("culled_fault",)),
}
"""What an incidence is drawn of: the outcomes that have one, and culling for a fault,
which is no outcome but the end that competes with all of them."""

Row = dict[str, Any]
Estimate = tuple[float | None, ...]


def draw_curves(store: Store, settings: Settings) -> None:
    """Write the curves and estimates, and put the estimates into rates."""
    store.step("05_rates", "histories", {"there_reasons": list(THERE_REASONS)})
    frame = store.frame("SELECT * FROM histories ORDER BY course_id")
    patterns = store.frame(resources.read("sql", "05_rates", "scored_patterns.sql"))
    tables: dict[str, list[Row]] = {table.name: [] for table in DRAWN_TABLES}
    for grouping, level, part in _levels(frame, settings.min_shown):
        place = {"grouping": grouping, "level": level}
        for name, rows in _of_level(part, place, settings, patterns).items():
            tables[name] += [{**row, **place} for row in rows]
    for table in DRAWN_TABLES:
        write_rows(store, table, tables[table.name])
    store.step("05_rates", "rates_with_estimates", {})
    store.execute("DROP TABLE rates")
    store.execute("ALTER TABLE rates_with_estimates RENAME TO rates")


def _levels(
    frame: pl.DataFrame, min_shown: int
) -> Iterator[tuple[str, str, pl.DataFrame]]:
    """Give every level that has enough courses to show a rate of."""
    for grouping in GROUPINGS:
        for (level,), part in frame.group_by(grouping, maintain_order=True):
            if part.height >= min_shown:
                yield grouping, level, part


def _of_level(
    part: pl.DataFrame, place: Row, settings: Settings, patterns: pl.DataFrame
) -> dict[str, list[Row]]:
    """Give a level's curves and estimates."""
    is_drawn = place["grouping"] in DRAWN
    windows = {
        name: getattr(settings.outcomes, outcome.setting)
        for name, outcome in OUTCOMES.items()
    }
    onset: list[Row] = []
    incidence: list[Row] = []
    estimates: list[tuple[Any, ...]] = []
    for name in named_by("onset"):
        onset, shares = _laying(part, place, windows[name])
        estimates += [(name, *row) for row in shares]
    for event in EVENTS:
        risk = at_risk(part, event)
        rows, shares = incidence_of(risk, windows.get(event, ()), drawn=is_drawn)
        incidence += [{"event": event, **row} for row in rows]
        estimates += [(event, *row) for row in shares]
    scored = patterns.filter(pl.col(place["grouping"]) == place["level"])
    for name in named_by("state"):
        for window in windows[name]:
            good = scored.filter(pl.col("window_days") == window)
            estimates.append((name, window, *_established(part, window, good)))
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


def named_by(curve: str) -> list[str]:
    """Give the outcomes whose headline is estimated by a curve."""
    return [name for name, outcome in OUTCOMES.items() if outcome.curve == curve]


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


def incidence_of(
    risk: AtRisk, windows: tuple[int, ...], *, drawn: bool
) -> tuple[list[Row], list[Estimate]]:
    """Give the curve by day, and the share by each window with its limits.

    Parameters
    ----------
    risk : AtRisk
        Who was at risk of the event, and what came of it.
    windows : tuple of int
    drawn : bool
        Whether the curve is wanted; without it there are no rows.

    Returns
    -------
    rows : list of dict
        ``day, incidence, low, high``; none where nobody was at risk.
    estimates : list of tuple
        Window, estimate, low and high; without a figure for a day that nobody was
        followed to.
    """
    some = bool((risk.by > risk.entry).any())
    days = INCIDENCE_DAYS[: int(drawn) * len(INCIDENCE_DAYS)]
    days = days[days <= (risk.by.max() if some else -1)]
    asked = np.union1d(days, windows).astype(int)
    if not len(asked):
        return [], []
    curve = _spread(risk, risk.behind, risk.by, asked)
    found = []
    for window in windows:
        at = int(np.searchsorted(asked, window))
        known = ((risk.by >= window) & (risk.entry < window)).any()
        values = (curve.estimate[at], curve.low[at], curve.high[at])
        found.append((window, *(number(v) if known else None for v in values)))
    return (_rows(risk, curve, asked, days) if len(days) else []), found


def _rows(risk: AtRisk, curve: Curves, asked, days) -> list[Row]:
    """Give the curve with its band, which holds the curves of both edges."""
    earliest = first_days(risk.entry, risk.since - 1, risk.by, risk.event)
    edges = [
        _spread(risk, ends - 1, ends, asked) for ends in (earliest, risk.by.copy())
    ]
    low = np.min([curve.low, *(edge.low for edge in edges)], axis=0)
    high = np.max([curve.high, *(edge.high for edge in edges)], axis=0)
    wanted = np.flatnonzero(np.isin(asked, days))
    return [
        {
            "day": int(asked[at]),
            "incidence": number(curve.estimate[at]),
            "low": number(low[at]),
            "high": number(high[at]),
        }
        for at in wanted
    ]


def _spread(risk: AtRisk, after, by, days) -> Curves:
    return spread_incidence(
        risk.entry, after, by, risk.event, days=days, clusters=risk.clusters
    )


def number(value: Any) -> float | None:
    """Give a plain number, or nothing where there is none."""
    found = float(value)
    return found if np.isfinite(found) else None


@dataclass(frozen=True)
class AtRisk:
    """Courses at risk of an event: arrays of one length.

    ``entry`` is the day behind which each is at risk; ``by`` and ``since`` the latest
    and the earliest day on which its time at risk may have ended, ``event`` how. Who
    has time at risk at all has ``entry < since <= by``. An end may as well have come on
    any day in ``(behind, by]``: from when she was last seen well where a look brought it
    to light, nearer to ``by`` where it was written down without one.
    """

    entry: np.ndarray
    by: np.ndarray
    since: np.ndarray
    behind: np.ndarray
    event: np.ndarray
    clusters: np.ndarray


def days(frame: pl.DataFrame, column: str, missing: float) -> np.ndarray:
    """Give a column of days as floats, with a number in place of null."""
    found = frame[column].to_numpy().astype(float)  # nan in place of null
    return np.where(np.isnan(found), missing, found)


def onset_sets(frame: pl.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give (after, by], and whether the course may also never have laid.

    A course that ended, or was inseminated anew, without brood of hers never laid where
    that is settled: she went too early for it, or was seen without brood shortly
    before. Otherwise she may have begun between the last look and the middle of the
    days in which she went, or never. The middle, because she went on one day of them
    and can have begun only while she lived: to let her begin until the last of them
    makes layers of queens that were dead. One that left or is open is known only not to
    have begun by its last look.
    """
    after = days(frame, "onset_after", 0)
    by = days(frame, "onset_by", np.inf)
    closed = np.isinf(by) & ~np.isnan(days(frame, "unlaid_day", np.nan))
    begun_by = days(frame, "begun_by", -1)
    between = closed & (begun_by > after)
    never = closed & ~between
    after = np.where(never, NEVER_ONLY, after)
    by = np.where(between, begun_by, by)
    return after, by, closed


def at_risk(frame: pl.DataFrame, name: str) -> AtRisk:
    """Give who is at risk of an event, from when, and how that ended.

    What is looked for among layers is at risk from the day by which they were laying.
    An end that may lie before that day is one of the days behind it, since she was at
    risk on it. Without the event or a competing end, a course counts until its state was
    last known, or it left.

    Parameters
    ----------
    frame : DataFrame
        As `histories.sql` gives it.
    name : str
        One of `EVENTS`.

    Raises
    ------
    LedgerError
        The registry names columns that `histories.sql` does not give.
    """
    event = EVENTS[name]
    among_layers = name in OUTCOMES and OUTCOMES[name].among_layers
    missing = {event.by, event.after, event.known} - {"", *frame.columns}
    if missing:
        raise LedgerError(
            "an outcome's event is drawn from columns that there are not",
            where=name,
            found=", ".join(sorted(missing)),
            expected="columns of sql/05_rates/histories.sql",
        )
    if among_layers:
        frame = frame.filter(pl.col("onset_by").is_not_null())
    if event.only_marked:
        frame = frame.filter("is_marked")
    end_by, end_since = days(frame, "end_by", np.inf), days(frame, "end_since", 0) + 1
    last = days(frame, event.known, -1)
    if event.reasons:
        is_event = np.isin(frame["end_reason"].fill_null("").to_numpy(), event.reasons)
        happened, since = np.where(is_event, end_by, np.inf), end_since
    else:
        happened = days(frame, event.by, np.inf)
        since = days(frame, event.after, 0) + 1
        is_event = happened <= end_by
    is_event &= np.isfinite(happened)
    competes = ~is_event & np.isfinite(end_by)
    code = np.where(is_event, HAPPENED, np.where(competes, COMPETING, CENSORED))
    by = np.where(is_event, happened, np.where(competes, end_by, last))
    earliest = np.where(is_event, since, np.where(competes, end_since, last))
    entry = days(frame, "onset_by", 0) if among_layers else np.full(len(by), -1.0)
    since = np.minimum(np.maximum(earliest, entry + 1), by)
    behind = days(frame, "end_behind", -1)
    if not event.reasons:
        # what has dates of its own was seen: somebody must have looked
        behind = np.where(is_event, since - 1, behind)
    behind = np.where(code == CENSORED, by, np.maximum(behind, since - 1))
    return AtRisk(entry, by, since, behind, code, frame["cluster"].to_numpy())


def working_stretches(frame: pl.DataFrame) -> dict[str, np.ndarray]:
    """Give the stretches of not yet laying, working and failed."""
    onset = days(frame, "onset_by", np.inf)
    failed = np.minimum(
        np.minimum(days(frame, "end_by", np.inf), days(frame, "drone_by", np.inf)),
        # inseminated anew without having laid: this course has failed
        days(frame, "unlaid_day", np.inf),
    )
    last = np.maximum(days(frame, "alive_day", -1), days(frame, "onset_after", 0))
    last = np.where(np.isfinite(failed), np.maximum(last, failed), last)
    last = np.where(np.isfinite(onset), np.maximum(last, onset), last)
    return three_states(onset, failed, last, frame["cluster"].to_numpy(), entry=-1.0)
