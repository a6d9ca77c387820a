"""What the planned model itself tends to: fitted once on the courses of all stations.

A logistic model with lines is never exactly true of the generator, and it sees decided
courses only; its own limit is what its estimates can be unbiased for.
"""

from __future__ import annotations

from pathlib import Path

import polars as pl
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.analysis_set import GROUPINGS, analysis_set
from queen_outcomes.models.fit import Fitted, _mixed, find_design
from queen_outcomes.models.questions import main_terms
from recovery.many import planned
from recovery.measure import dose_difference


def fitted_limit(folder: Path) -> dict[str, float] | None:
    """Give the dose difference of the model on every course kept, with its error."""
    fitted = _fit(folder)
    found = dose_difference(fitted)
    if found is None:
        return None
    middle, low, high = found
    se = (high - low) / (2 * 1.96)
    return {"own": middle, "se": se, "courses": len(fitted.courses.y)}


def _fit(folder: Path) -> Fitted:
    frame = pl.concat([pl.read_parquet(path) for path in sorted(folder.glob("*"))])
    values = {
        name: column.to_numpy().astype(str if column.dtype == pl.String else float)
        for name, column in zip(frame.columns, frame.get_columns(), strict=True)
    }
    settings = planned(Settings())
    courses = analysis_set(values, values.pop("answer"), main_terms(settings))
    design = find_design(courses, settings.models.adjust_for)
    if isinstance(design, Fitted):
        return design
    X = design.matrix(courses.values)
    return _mixed(courses, design, X, list(GROUPINGS))
