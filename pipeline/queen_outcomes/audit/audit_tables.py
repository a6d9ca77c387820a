"""The columns of the audit's tables, as they are written; a time is a text until then."""

from __future__ import annotations

from typing import Any

import polars as pl

from queen_outcomes.base.store import Store

_QUESTION = {"outcome": pl.String, "window_days": pl.Int64}


def _columns(kind: Any, *names: str) -> dict[str, Any]:
    return dict.fromkeys(names, kind)


SCHEMAS: dict[str, dict[str, Any]] = {
    "operators": {
        "operator": pl.String,
        **_QUESTION,
        **_columns(pl.Int64, "courses", "failures", "undecided", "unknown_risk"),
        **_columns(pl.Float64, "crude", "expected", "expected_by_others", "ratio"),
        **_columns(pl.Float64, "adjusted", "low", "high"),
        **_columns(pl.Float64, "shrunken", "shrunken_low", "shrunken_high", "mid_p"),
        "flag": pl.String,
        **_columns(pl.Int64, "rank_low", "rank_high"),
        "shared_pct": pl.Float64,
        "separable": pl.Boolean,
        "signals": pl.Int64,
        **_columns(pl.Boolean, "provisional", "shown"),
    },
    "batches": {
        **_columns(pl.String, "kind", "batch"),
        **_QUESTION,
        **_columns(pl.Int64, "courses", "failures"),
        **_columns(pl.Float64, "expected", "ratio", "mid_p"),
        "flag": pl.String,
        "first_on": pl.Date,
        "operators": pl.List(pl.String),
    },
    "operator_series": {
        "operator": pl.String,
        **_QUESTION,
        "series": pl.String,
        "case": pl.Int64,
        **_columns(pl.String, "course_id", "inseminated_at"),
        "known_on": pl.Date,
        "failed": pl.Boolean,
        **_columns(pl.Float64, "expected", "sum_over_expected"),
        **_columns(pl.Float64, "cusum_worse", "cusum_better"),
        **_columns(pl.Float64, "limit_worse", "limit_better"),
        "signal": pl.String,
    },
    "series_limits": {
        "operator": pl.String,
        **_QUESTION,
        "series": pl.String,
        "holds_for": pl.Int64,
        **_columns(pl.Float64, "limit_worse", "limit_better"),
        **_columns(pl.Float64, "detection", "median_courses"),
        "baseline_courses": pl.Int64,
        "provisional": pl.Boolean,
        **_columns(pl.Int64, "cases", "signals"),
        "message": pl.String,
    },
    "audit_courses": {
        "course_id": pl.String,
        **_QUESTION,
        **_columns(pl.String, "operator", "season", "graft_batch", "semen_batch"),
        "inseminated_at": pl.String,
        **_columns(pl.Date, "d0", "known_on"),
        "operator_case": pl.Int64,
        **_columns(pl.Float64, "failed", "risk"),
    },
}
ORDER = {
    "operators": "operator, outcome, window_days",
    "batches": "kind, batch, outcome, window_days",
    "operator_series": 'operator, outcome, window_days, series, "case"',
    "series_limits": "operator, outcome, window_days, series",
    "audit_courses": "outcome, window_days, course_id",
}


def write(
    store: Store, name: str, frame: pl.DataFrame, order: str | None = None
) -> None:
    """Write a table of the audit, its numbers that are not finite as empty cells."""
    if "inseminated_at" in frame.columns:
        when = pl.col("inseminated_at").str.to_datetime("%Y-%m-%dT%H:%M:%S")
        frame = frame.with_columns(when)
    floats = pl.selectors.float()
    frame = frame.with_columns(
        pl.when(floats.is_finite()).then(floats).otherwise(None).name.keep()
    )
    store.con.register("audited", frame)
    store.table(name, f"SELECT * FROM audited ORDER BY {order or ORDER[name]}")
    store.con.unregister("audited")
