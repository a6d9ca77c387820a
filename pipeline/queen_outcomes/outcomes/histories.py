"""What the curves are drawn from: each course as arrays of days.

Turns the frame of `histories.sql` into the arrays that `turnbull` and `competing` ask
for. Here, and only here, stands which course is at risk of what, and until when.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from queen_outcomes.outcomes.competing import three_states

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
    and the earliest day on which its time at risk may have ended, ``event`` how.
    """

    entry: np.ndarray
    by: np.ndarray
    since: np.ndarray
    event: np.ndarray
    clusters: np.ndarray


def days(frame: pl.DataFrame, column: str, missing: float) -> np.ndarray:
    """Give a column of days as floats, with a number in place of null."""
    return frame[column].cast(pl.Float64).fill_null(missing).to_numpy()


def onset_sets(frame: pl.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give (after, by], and whether the course may also never have laid.

    A course that ended, or was inseminated anew, without brood of hers may have begun
    between the last look and that day, or never; one that left or is open is known only
    not to have begun by its last look.
    """
    after = days(frame, "onset_after", 0)
    by = days(frame, "onset_by", np.inf)
    ended = days(frame, "unlaid_day", np.nan)
    closed = np.isinf(by) & ~np.isnan(ended)
    between = closed & (ended > after)
    never = closed & ~between
    after = np.where(never, NEVER_ONLY, after)
    by = np.where(between, ended, by)
    return after, by, closed


def at_risk(frame: pl.DataFrame, event: str) -> AtRisk:
    """Give who is at risk of an event, from when, and how that ended.

    Drone-laying and supersedure are looked for among layers, from the day by which they
    were laying; supersedure among queens known to be marked. Without the event or a
    competing end, a course counts until its state was last known.
    """
    if event in AMONG_LAYERS:
        frame = frame.filter(pl.col("onset_by").is_not_null())
    if event == "superseded":
        frame = frame.filter("is_marked")
    end_by, end_since = days(frame, "end_by", np.inf), days(frame, "end_after", 0) + 1
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
    return AtRisk(
        entry, by, np.minimum(earliest, by), code, frame["cluster"].to_numpy()
    )


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
