"""The closed courses of one question as the audit sees them: who, which batches, what risk."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import polars as pl

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.outcomes import question_columns
from queen_outcomes.models.analysis_set import take
from queen_outcomes.models.risks import BATCHES, RiskModel, failures_of, read_risks
from queen_outcomes.stats.shares.shared_effects import SharedEffects

Question = tuple[str, int]
Row = dict[str, Any]
LARGE = 0.5
"""Share of an operator's excess that makes one batch worth naming first."""


@dataclass(frozen=True, eq=False)
class Cases:
    """Closed courses, in the order of the ids; all arrays of one length n.

    Attributes
    ----------
    course_id, operator, season, graft_batch, semen_batch, inseminated_at : ndarray of str
        Empty where it is not recorded.
    d0, known_on : ndarray of datetime64[D]
        Day 0, and the day the window closed.
    operator_case : ndarray
        Running number of the operator's inseminations; NaN without an operator.
    failed : ndarray
        1, 0, or NaN: the records do not settle it.
    risk : ndarray
        Of failing, at the station's average hand; NaN where a factor is not recorded.
    """

    course_id: np.ndarray
    operator: np.ndarray
    season: np.ndarray
    graft_batch: np.ndarray
    semen_batch: np.ndarray
    inseminated_at: np.ndarray
    d0: np.ndarray
    known_on: np.ndarray
    operator_case: np.ndarray
    failed: np.ndarray
    risk: np.ndarray

    def __len__(self) -> int:
        return len(self.course_id)

    @property
    def counted(self) -> np.ndarray:
        """Tell which courses are decided and have a known risk."""
        return np.isfinite(self.failed) & np.isfinite(self.risk)

    def some(self, rows: np.ndarray) -> Cases:
        """Give some of the courses, in the order of ``rows``."""
        return Cases(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})

    def with_risk(self, risk: np.ndarray) -> Cases:
        """Give the same courses with other risks."""
        return replace(self, risk=risk)

    def frame(self) -> pl.DataFrame:
        """Give them as a frame, a column an attribute."""
        return pl.DataFrame({f.name: getattr(self, f.name) for f in fields(self)})

    def shared(self, deviations: Mapping[str, float]) -> SharedEffects:
        """Give which batches these courses share, and how far batches deviate."""
        levels = np.column_stack([_codes(getattr(self, name)) for name in BATCHES])
        return SharedEffects(
            levels, np.array([deviations.get(name, 0.0) for name in BATCHES])
        )

    def by_operator(self) -> dict[str, np.ndarray]:
        """Give each named operator's courses, in the order they were inseminated."""
        order = np.lexsort((self.course_id, self.inseminated_at, self.operator))
        names, starts = np.unique(self.operator[order], return_index=True)
        parts = np.split(order, starts[1:])
        pairs = zip(names.tolist(), parts, strict=True) if len(order) else ()
        return {name: rows for name, rows in pairs if name}


def _codes(names: np.ndarray) -> np.ndarray:
    codes = np.unique(names, return_inverse=True)[1]
    return np.where(names == "", -1, codes)


def read_risk_model(store: Store, question: Question) -> RiskModel:
    """Read the risks that the models' step wrote down for an outcome and window."""
    ((text,),) = store.rows(
        "SELECT risks FROM risk_models WHERE outcome = $outcome AND "
        "window_days = $window_days",
        question_columns(question),
    )
    return read_risks(json.loads(text))


def read_cases(
    store: Store, values: Mapping[str, np.ndarray], question: Question, grace_days: int
) -> tuple[Cases, dict[str, np.ndarray]]:
    """Read the closed courses of a question, without risks, and their factors."""
    frame = store.frame(
        resources.read("sql", "07_audit", "closed_courses.sql"),
        {**question_columns(question), "grace_days": grace_days},
    )
    answer = frame["answer"].to_numpy().astype(float)
    failed = pl.Series(failures_of(question[0], answer))
    cases = _ordered(frame.with_columns(failed=failed, risk=pl.lit(np.nan)))
    rows = np.flatnonzero(np.isin(values["course_id"], cases.course_id))
    rows = rows[np.argsort(values["course_id"][rows], kind="stable")]
    return cases, take(values, rows)


def read_audited(store: Store, question: Question) -> Cases:
    """Read the courses of a question with their risks, as the build left them."""
    sql = resources.read("sql", "07_audit", "audited_courses.sql")
    return _ordered(store.frame(sql, question_columns(question)))


def _ordered(frame: pl.DataFrame) -> Cases:
    """Put courses in the order of numpy's texts, by code point, whatever the database's."""
    frame = frame.sort("course_id")
    kinds = dict.fromkeys(("d0", "known_on"), "datetime64[D]")
    kinds |= dict.fromkeys(("operator_case", "failed", "risk"), "float64")
    columns = (field.name for field in fields(Cases))
    return Cases(
        **{
            name: frame[name].to_numpy().astype(kinds.get(name, "str"))
            for name in columns
        }
    )


def batch_parts(operator: str, cases: Cases) -> list[Row]:
    """Give each batch's part in an operator's excess, the largest first.

    Parameters
    ----------
    operator : str
    cases : Cases
        All courses of the station, with risks.

    Returns
    -------
    list of dict
        As in the table `operator_batches`, and ``excess``, the failures beyond the
        expected. ``alone``: batch and operator cannot be told apart.
    """
    counted = cases.some(np.flatnonzero(cases.counted))
    own = counted.operator == operator
    others = (counted.operator != operator) & (counted.operator != "")
    parts: list[Row] = []
    for kind in BATCHES:
        batch = getattr(counted, kind)
        elsewhere = set(batch[others].tolist())
        for label in np.unique(batch[own & (batch != "")]).tolist():
            here = own & (batch == label)
            failures = int(counted.failed[here].sum())
            expected = float(counted.risk[here].sum())
            parts.append(
                {
                    "operator": operator,
                    "kind": kind,
                    "batch": label,
                    "courses": int(here.sum()),
                    "failures": failures,
                    "expected": expected,
                    "excess": failures - expected,
                    "alone": label not in elsewhere,
                }
            )
    return sorted(parts, key=lambda p: (-p["excess"], p["kind"], p["batch"]))
