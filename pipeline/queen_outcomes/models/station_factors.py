"""A station's factors and answers, read from its tables as arrays in the order of the ids."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.models.analysis_set import take
from queen_outcomes.models.weighted import Closed


def read_factors(store: Store, prior: Mapping[str, int]) -> dict[str, np.ndarray]:
    """Give every course's factors; ``prior`` are operators' cases before the records."""
    frame = store.frame(resources.read("sql", "06_models", "factors.sql"))
    values = {
        name: frame[name].cast(pl.Float64).to_numpy()
        if frame[name].dtype.is_numeric()
        else frame[name].to_numpy().astype(str)
        for name in frame.columns
    }
    values = {
        name: np.where(np.isfinite(x), x, np.nan) if x.dtype.kind == "f" else x
        for name, x in values.items()
    }
    before = np.array([prior.get(name, 0) for name in values["operator"]], float)
    values["experience"] = np.log(np.maximum(values["operator_case"] + before, 1))
    values["semen_age"] = np.log1p(values["semen_age_h"])
    return values


def read_closed(
    store: Store, values: Mapping[str, np.ndarray], question: tuple[str, int]
) -> Closed:
    """Give the closed courses of one outcome and window, with their answers."""
    found = store.frame(
        resources.read("sql", "06_models", "decided.sql"),
        dict(zip(("outcome", "window_days"), question, strict=True)),
    )
    ids = found["course_id"].to_numpy().astype(str)
    rows = np.flatnonzero(np.isin(values["course_id"], ids))
    # numpy orders texts by code point, whatever the database does: both are put so
    rows = rows[np.argsort(values["course_id"][rows], kind="stable")]
    found = found[np.argsort(ids, kind="stable")]
    return Closed(
        take(values, rows),
        found["answer"].cast(pl.Float64).fill_null(np.nan).to_numpy(),
        found["laid"].to_numpy().astype(bool),
        found["month"].to_numpy().astype(str),
    )
