"""What the curves are drawn from: each course as arrays of days.

Turns the frame of `histories.sql` into the arrays that `turnbull` and `competing` ask
for. Here, and only here, stands which course is at risk of what, and until when.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from queen_outcomes.stats.times.competing import three_states

NEVER_ONLY = 1e5
"""A day beyond all others: what is after it has never happened."""
EVENTS = ("drone_layer", "superseded", "lost", "culled_fault")
REASONS = {
    "superseded": ("superseded",),
    "lost": ("dead", "missing"),
    "culled_fault": ("culled_fault",),
}
AMONG_LAYERS = ("drone_layer", "superseded")
HAPPENED, COMPETING, CENSORED = 1, 2, 0


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


def at_risk(frame: pl.DataFrame, event: str) -> AtRisk:
    """Give who is at risk of an event, from when, and how that ended.

    Drone-laying and supersedure are looked for among layers, from the day by which they
    were laying; supersedure among queens known to be marked. An end that may lie before
    that day is one of the days behind it, since she was at risk on it. Without the
    event or a competing end, a course counts until its state was last known, or it left.
    """
    if event in AMONG_LAYERS:
        frame = frame.filter(pl.col("onset_by").is_not_null())
    if event == "superseded":
        frame = frame.filter("is_marked")
    end_by, end_since = days(frame, "end_by", np.inf), days(frame, "end_since", 0) + 1
    reason = frame["end_reason"].fill_null("").to_numpy()
    known = {"superseded": "mark_day", "drone_layer": "sound_day"}.get(
        event, "alive_day"
    )
    last = days(frame, known, -1)
    if event == "drone_layer":
        happened = days(frame, "drone_by", np.inf)
        since = days(frame, "drone_after", 0) + 1
        is_event = happened <= end_by
    else:
        is_event = np.isin(reason, REASONS[event])
        happened, since = np.where(is_event, end_by, np.inf), end_since
    is_event &= np.isfinite(happened)
    competes = ~is_event & np.isfinite(end_by)
    code = np.where(is_event, HAPPENED, np.where(competes, COMPETING, CENSORED))
    by = np.where(is_event, happened, np.where(competes, end_by, last))
    earliest = np.where(is_event, since, np.where(competes, end_since, last))
    entry = (
        days(frame, "onset_by", 0) if event in AMONG_LAYERS else np.full(len(by), -1.0)
    )
    since = np.minimum(np.maximum(earliest, entry + 1), by)
    behind = days(frame, "end_behind", -1)
    if event == "drone_layer":
        # to take her out for it, somebody must have looked
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
