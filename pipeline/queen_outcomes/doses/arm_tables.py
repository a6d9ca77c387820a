"""The columns of the dose comparison's tables, as they are written."""

from __future__ import annotations

from typing import Any

import polars as pl

from queen_outcomes.base.store import Store

_QUESTION = {"outcome": pl.String, "window_days": pl.Int64}


Row = dict[str, Any]


def _columns(kind: Any, *names: str) -> dict[str, Any]:
    return dict.fromkeys(names, kind)


SCHEMAS: dict[str, dict[str, Any]] = {
    "arms": {
        **_columns(pl.String, "trial", "arm"),
        **_columns(pl.Int64, "courses", "closed", "yes", "no", "undecided", "left"),
        **_columns(pl.Float64, "rate", "low", "high", "mean_dose_ul"),
        "doses": pl.Int64,
        **_columns(pl.Float64, "adjusted", "adjusted_low", "adjusted_high"),
        "batches": pl.Int64,
        "source": pl.String,
        **_columns(pl.Boolean, "intended", "randomised", "reference"),
        "planned": pl.Int64,
        "said": pl.String,
    },
    "arm_contrasts": {
        **_columns(pl.String, "trial", "arm", "reference"),
        **_QUESTION,
        "method": pl.String,
        **_columns(pl.Float64, "difference", "low", "high", "p", "p_holm", "ratio"),
        "margin": pl.Float64,
        "verdict": pl.String,
        **_columns(pl.Boolean, "primary", "intended"),
        "closed": pl.Int64,
        **_columns(pl.Float64, "overlap", "p_margin"),
        **_columns(pl.Float64, "newcombe_low", "newcombe_high"),
        **_columns(pl.Float64, "unseen_low", "unseen_high", "homogeneity_p"),
        **_columns(pl.String, "said", "note"),
    },
    "arm_costs": {
        **_columns(pl.String, "trial", "arm"),
        **_columns(pl.Float64, "semen_ul_per_success", "low", "high"),
        **_columns(pl.Float64, "drones_per_success", "drones_low", "drones_high"),
        **_columns(pl.Float64, "queens_per_success", "queens_low", "queens_high"),
        "assumptions": pl.String,
        **_columns(pl.Int64, "courses", "successes"),
        "frontier": pl.Boolean,
    },
    "dose_response": {
        **_QUESTION,
        **_columns(pl.Float64, "dose_ul", "probability", "low", "high"),
        "courses_near": pl.Int64,
        "trend_p": pl.Float64,
    },
    "arm_courses": {
        **_columns(pl.String, "course_id", "trial", "arm", "block", "source"),
    },
    "arm_models": {
        "trial": pl.String,
        **_QUESTION,
        "method": pl.String,
        "primary": pl.Boolean,
        "rows": pl.Int64,
        **_columns(pl.String, "factors", "left_out", "message"),
    },
    "arm_overlap": {
        **_columns(pl.String, "trial", "arm", "reference", "grouping"),
        "shared": pl.Float64,
    },
    "arm_needs": {
        "trial": pl.String,
        "margin": pl.Float64,
        **_columns(pl.Int64, "queens_alone", "queens"),
    },
    "dose_trends": {
        **_QUESTION,
        **_columns(pl.Float64, "slope", "z", "p", "lack_p"),
        **_columns(pl.String, "scored_by", "message"),
    },
    "dose_for": {
        **_QUESTION,
        "asked": pl.String,
        **_columns(pl.Float64, "success", "dose_ul", "low", "high"),
        "said": pl.String,
    },
}
"""The first four leave the build; the others are its own, for the page and `compare`."""


def write(store: Store, name: str, rows: list[Row]) -> None:
    """Write one of these tables, in an order of its own."""
    frame = pl.DataFrame(filled(name, rows), schema=SCHEMAS[name])
    store.con.register("compared", frame)
    store.table(name, "SELECT * FROM compared ORDER BY ALL")
    store.con.unregister("compared")


def filled(name: str, rows: list[Row]) -> list[Row]:
    """Give rows with all columns of a table, as they are written.

    A number that is not finite is an empty cell, as is the trial of courses outside
    of trials.
    """
    return [
        {column: _plain(column, row.get(column)) for column in SCHEMAS[name]}
        for row in rows
    ]


def _plain(column: str, value: Any) -> Any:
    if column == "trial":
        return value or None
    if isinstance(value, float):
        return float(value) if abs(value) < float("inf") else None
    return value
