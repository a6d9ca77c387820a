"""The columns of the models' tables, as they are written.

The contract says what they mean; this says their types, and nothing else.
"""

from __future__ import annotations

from typing import Any

import polars as pl

_FIT = {"outcome": pl.String, "window_days": pl.Int64, "model": pl.String}


def _columns(kind: Any, *names: str) -> dict[str, Any]:
    return dict.fromkeys(names, kind)


SCHEMAS: dict[str, dict[str, Any]] = {
    "model_fits": {
        **_FIT,
        "method": pl.String,
        **_columns(pl.Int64, "imputations", "rows", "events"),
        "left_out": pl.String,
        **_columns(pl.Float64, "log_likelihood", "auc", "auc_low", "auc_high"),
        **_columns(pl.Float64, "brier", "brier_base"),
        **_columns(pl.Float64, "calibration_intercept", "calibration_slope"),
        "converged": pl.Boolean,
        "message": pl.String,
    },
    "model_terms": {
        **_FIT,
        "term": pl.String,
        "df": pl.Int64,
        **_columns(pl.Float64, "statistic", "p", "p_holm"),
        "chosen_form": pl.String,
    },
    "model_coefficients": {
        **_FIT,
        **_columns(pl.String, "term", "coefficient"),
        **_columns(pl.Float64, "estimate", "se", "low", "high"),
    },
    "model_groups": {
        **_FIT,
        **_columns(pl.String, "grouping", "level"),
        "courses": pl.Int64,
        **_columns(pl.Float64, "effect", "low", "high"),
    },
    "adjusted": {
        **_FIT,
        "factor": pl.String,
        "value": pl.Float64,
        "label": pl.String,
        **_columns(pl.Float64, "probability", "low", "high"),
        "courses_near": pl.Int64,
    },
    "contrasts": {
        **_FIT,
        **_columns(pl.String, "factor", "value", "reference"),
        **_columns(pl.Float64, "overlap", "risk_difference", "low", "high"),
        **_columns(pl.Float64, "odds_ratio", "or_low", "or_high", "p", "p_holm"),
        **_columns(pl.Float64, "e_value", "e_value_limit"),
    },
    "onset_days": {
        "factor": pl.String,
        "value": pl.Float64,
        "label": pl.String,
        **_columns(pl.Float64, "days", "low", "high"),
        "courses_near": pl.Int64,
        "reference": pl.String,
        **_columns(pl.Float64, "overlap", "difference"),
        **_columns(pl.Float64, "difference_low", "difference_high", "p", "p_holm"),
    },
}

RISK_MODELS: dict[str, Any] = {**_FIT, "risks": pl.String}
"""The build's own: a main model's risks, as JSON, for what leans on them later."""
MODEL_INPUTS: dict[str, Any] = {
    "outcome": pl.String,
    "window_days": pl.Int64,
    "mark": pl.String,
}
"""The build's own: a hash of all that a question's models stand on."""
