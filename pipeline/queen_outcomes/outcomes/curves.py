"""Curves by day, and the headline estimates beside the plain rates.

Reads histories and outcomes, writes fills, onset_curves, onset_tests, incidence,
incidence_tests, estimates, and sets the estimates beside the plain rates. Estimates stand
on the courses filled in (`fills`); the curves are nonparametric, a picture of the days and
a check on the estimates. Which curve an outcome has stands in the registry; who is at risk
of what, and until when, stands here and only here.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from queen_outcomes.base.errors import LedgerError
from queen_outcomes.base.store import Store
from queen_outcomes.base.workers import Task, Workers
from queen_outcomes.facts.exports.outcomes import (
    ESTIMATES,
    INCIDENCE,
    INCIDENCE_TESTS,
    ONSET_CURVES,
    ONSET_TESTS,
)
from queen_outcomes.facts.exports.writing import write_rows
from queen_outcomes.facts.outcomes import OUTCOMES, Event
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.fills import (
    FEW_COURSES,
    begin_fills,
    beside_for,
    estimate_rates,
    write_fills,
)
from queen_outcomes.outcomes.sensitivity import write_sensitivity
from queen_outcomes.outcomes.signs import histories_given, read_known
from queen_outcomes.stats.shares.multiplicity import holm
from queen_outcomes.stats.times.between_groups import GroupScore
from queen_outcomes.stats.times.competing import Curves
from queen_outcomes.stats.times.curve_limits import batch_limits
from queen_outcomes.stats.times.incidence_score import incidence_score
from queen_outcomes.stats.times.onset_score import onset_score
from queen_outcomes.stats.times.spread import first_days, spread_incidence

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
"""Groupings that curves are drawn of; the others have estimates only."""
TESTED = {
    **dict.fromkeys(("protocol", "co2_schedule", "doses", "line"), "graft_batch"),
    "drone_line": "semen_batch",
}
"""Groupings whose curves are tested, and the batches that each lies between or within.
Seasons are too few for a P, and operators have an audit."""
FEWEST_EXPECTED = 5.0
"""Events to expect in a level, were all alike, for it to be tested: with fewer the spread
between batches tells nothing of it (the rule of thumb of tests of counts, common practice)."""
ONSET_DAYS = np.arange(0, 61)
INCIDENCE_DAYS = np.concatenate([np.arange(0, 91), np.arange(95, 401, 5)])
ONSET_COLUMNS = ("cluster", "onset_after", "onset_by", "unlaid_day", "begun_by")
END_COLUMNS = ("is_marked", "end_reason", "end_since", "end_by", "end_behind")
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


def begin_curves(
    store: Store, settings: Settings, workers: Workers
) -> Callable[[], int]:
    """Write fills and estimates, put the estimates into rates, and begin the curves.

    Returns
    -------
    callable
        Writes the curves, waiting for them, and gives how many days they have.
    """
    store.step("05_rates", "histories", histories_given())
    known = read_known(store, settings)
    levels = list(_levels(known.courses, settings.min_shown))
    filling = beside_for(workers, known.courses.height)
    beside = workers if known.courses.height >= FEW_COURSES else Workers(1)
    tasks = [beside.submit(_of_level, part, place) for place, part in levels]
    tests = [
        beside.submit(
            _of_groups,
            known.courses.select(
                *_needed(known.courses), level=grouping, batch=_batch(batches)
            ),
            grouping,
            settings.min_shown,
        )
        for grouping, batches in TESTED.items()
    ]
    # here, while the others draw curves: histories are learned by one
    write_fills(store, settings, begin_fills(known, filling))
    write_rows(store, ESTIMATES, estimate_rates(store, settings, known))
    write_sensitivity(store, settings)
    store.step("05_rates", "rates_with_estimates", {})
    store.execute("DROP TABLE rates")
    store.execute("ALTER TABLE rates_with_estimates RENAME TO rates")

    def end() -> int:
        days = _write_curves(store, [place for place, _ in levels], beside, tasks)
        _write_tests(store, [row for rows in beside.results(tests) for row in rows])
        return days

    return end


def _batch(column: str) -> pl.Expr:
    """Give the batch of each course; one that has none on record stands alone."""
    lacking = pl.col(column).str.starts_with("(")
    return pl.when(lacking).then("course_id").otherwise(column)


def _of_groups(courses: pl.DataFrame, grouping: str, fewest: int) -> list[Row]:
    """Test whether a grouping's ``level`` s begin to lay, and meet each event, alike.

    Of laying ``event`` is empty. What the records lack, or who went too early to be
    compared, is no level, and one of `FEWEST_EXPECTED` events is not tested; where there
    are not two levels there is no test.
    """
    found = []
    for event in ("", *EVENTS):
        level, some = pl.col("level"), among(courses, event)
        part = some.filter(
            ~level.str.starts_with("(") & (pl.len().over(level) >= fewest)
        )
        tested = _tested(part, event)
        if tested is not None:
            part, levels, test = tested
            found.append(
                {
                    "event": event,
                    "grouping": grouping,
                    "levels": levels,
                    "courses": part.height,
                    "batches": test.clusters,
                    "statistic": number(test.statistic),
                    "p": number(test.p),
                    "message": test.message,
                }
            )
    return found


def _tested(
    part: pl.DataFrame, event: str
) -> tuple[pl.DataFrame, int, GroupScore] | None:
    """Test levels that are large enough; also give their courses and how many they are."""
    while True:
        names, group = np.unique(
            part["level"].to_numpy().astype(str), return_inverse=True
        )
        if len(names) < 2:
            return None
        batch = part["batch"].to_numpy()
        if event:
            risk = at_risk(part, event)
            times = (risk.entry, risk.behind, risk.by, risk.event)
            test = incidence_score(*times, group, batch)
        else:
            test = onset_score(*onset_sets(part), group, batch)
        small = names[test.expected < FEWEST_EXPECTED]
        if not len(small):
            return part, len(names), test
        part = part.filter(~pl.col("level").is_in(small))


def _write_tests(store: Store, found: list[Row]) -> None:
    """Write the tests of laying, and those of events; P raised over each table's own."""
    of_laying = [row for row in found if not row["event"]]
    of_events = [row for row in found if row["event"]]
    for rows in (of_laying, of_events):
        p = [np.nan if row["p"] is None else row["p"] for row in rows]
        for row, raised in zip(rows, holm(np.array(p, float)), strict=True):
            row["p_holm"] = number(raised)
    for row in of_laying:
        del row["event"]
    write_rows(store, ONSET_TESTS, of_laying)
    write_rows(store, INCIDENCE_TESTS, of_events)


def _levels(courses: pl.DataFrame, fewest: int) -> Iterator[tuple[Row, pl.DataFrame]]:
    """Give each level that has a curve, with what a curve needs of its courses."""
    listed = _needed(courses)
    for grouping in DRAWN:
        # all wait for a worker together, so that each holds no more than it must
        some = courses.select(*listed, level=grouping)
        for (level,), part in some.group_by("level", maintain_order=True):
            if part.height >= fewest:
                yield {"grouping": grouping, "level": level}, part.select(listed)


def _needed(courses: pl.DataFrame) -> list[str]:
    """Give the columns that curves and their tests lean on."""
    own = [(each.by, each.after, each.known) for each in EVENTS.values()]
    needed = {*ONSET_COLUMNS, *END_COLUMNS, *(name for names in own for name in names)}
    return [name for name in courses.columns if name in needed]


def _write_curves(
    store: Store, places: list[Row], workers: Workers, tasks: list[Task]
) -> int:
    found = zip(places, workers.results(tasks), strict=True)
    levels = [(place, curves) for place, curves in found]
    days = 0
    for table in (ONSET_CURVES, INCIDENCE):
        rows = [{**r, **place} for place, curves in levels for r in curves[table.name]]
        write_rows(store, table, rows)
        days += len(rows)
    return days


def _of_level(part: pl.DataFrame, place: Row) -> dict[str, list[Row]]:
    """Give a level's curves."""
    incidence: list[Row] = []
    for event in EVENTS:
        rows = incidence_of(at_risk(part, event))
        incidence += [{"event": event, **row} for row in rows]
    return {"onset_curves": _laying(part, place), "incidence": incidence}


def _laying(part: pl.DataFrame, place: Row) -> list[Row]:
    after, by, or_never = onset_sets(part)
    seed = zlib.crc32(f"{place['grouping']}/{place['level']}".encode())
    curve = batch_limits(
        after,
        by,
        or_never,
        clusters=part["cluster"].to_numpy(),
        days=ONSET_DAYS,
        seed=seed,
    )
    unsettled = ((after[:, None] <= ONSET_DAYS) & (by[:, None] > ONSET_DAYS)).sum(
        axis=0
    )
    return [
        {
            "day": int(day),
            "laying": number(curve.estimate[day]),
            "low": number(curve.low[day]),
            "high": number(curve.high[day]),
            "at_risk": int(unsettled[day]),
        }
        for day in ONSET_DAYS
    ]


def incidence_of(risk: AtRisk) -> list[Row]:
    """Give an event's curve: ``day, incidence, low, high, at_risk``; none at risk: nothing.

    The band holds the curves of both edges of the days on which ends may have come.
    """
    some = bool((risk.by > risk.entry).any())
    days = INCIDENCE_DAYS[(risk.by.max() if some else -1) >= INCIDENCE_DAYS]
    if not len(days):
        return []
    earliest = first_days(risk.entry, risk.since - 1, risk.by, risk.event)
    curve = _spread(risk, risk.behind, risk.by, days)
    edges = [_spread(risk, ends - 1, ends, days) for ends in (earliest, risk.by.copy())]
    low = np.min([curve.low, *(edge.low for edge in edges)], axis=0)
    high = np.max([curve.high, *(edge.high for edge in edges)], axis=0)
    tells = risk.by > risk.entry
    came, went = (
        np.searchsorted(np.sort(x[tells]), days) for x in (risk.entry, risk.by)
    )
    watched = came - went
    return [
        {
            "day": int(day),
            "incidence": number(curve.estimate[at]),
            "low": number(low[at]),
            "high": number(high[at]),
            "at_risk": int(watched[at]),
        }
        for at, day in enumerate(days)
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


def _is_among_layers(name: str) -> bool:
    return name in OUTCOMES and OUTCOMES[name].among_layers


def among(frame: pl.DataFrame, name: str) -> pl.DataFrame:
    """Give the courses among which an event is looked for; all of them for laying (``""``)."""
    if _is_among_layers(name):
        frame = frame.filter(pl.col("onset_by").is_not_null())
    if name and EVENTS[name].only_marked:
        frame = frame.filter("is_marked")
    return frame


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
    missing = {event.by, event.after, event.known} - {"", *frame.columns}
    if missing:
        raise LedgerError(
            "an outcome's event is drawn from columns that there are not",
            where=name,
            found=", ".join(sorted(missing)),
            expected="columns of sql/05_rates/histories.sql",
        )
    frame = among(frame, name)
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
    entry = (
        days(frame, "onset_by", np.nan)
        if _is_among_layers(name)
        else np.full(len(by), -1.0)
    )
    since = np.minimum(np.maximum(earliest, entry + 1), by)
    behind = days(frame, "end_behind", -1)
    if not event.reasons:
        # what has dates of its own was seen: somebody must have looked
        behind = np.where(is_event, since - 1, behind)
    behind = np.where(code == CENSORED, by, np.maximum(behind, since - 1))
    return AtRisk(entry, by, since, behind, code, frame["cluster"].to_numpy())
