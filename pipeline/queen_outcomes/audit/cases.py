"""The closed courses of one question as the audit sees them: who, which batches, what risk."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from queen_outcomes.base.store import Store
from queen_outcomes.models.closed import BATCHES, Question, read_closed
from queen_outcomes.models.risks import RiskModel, read_risks
from queen_outcomes.stats.shares.shared_effects import SharedEffects


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
        dict(zip(("outcome", "window_days"), question, strict=True)),
    )
    return read_risks(json.loads(text))


def read_cases(
    store: Store, values: Mapping[str, np.ndarray], question: Question, grace_days: int
) -> tuple[Cases, dict[str, np.ndarray]]:
    """Read the closed courses of a question, without risks, and their factors."""
    closed = read_closed(store, values, question, grace_days)
    cases = Cases(**{f.name: getattr(closed, f.name) for f in fields(Cases)})
    return cases, dict(closed.values)
