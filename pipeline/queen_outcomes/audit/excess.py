"""Where an operator's failures beyond the expected lie: in which batches, and whose they were."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.audit.cases import Cases
from queen_outcomes.models.risks import BATCHES

LARGE = 0.5
"""Share of an operator's excess that makes one batch worth naming first."""


@dataclass(frozen=True)
class BatchPart:
    """What one batch adds to an operator's failures beyond the expected.

    Attributes
    ----------
    kind : str
        graft_batch or semen_batch.
    batch : str
    courses, failures : int
        Of the operator in this batch.
    expected : float
    alone : bool
        Nobody else has a decided course in it: batch and operator cannot be told apart.
    """

    kind: str
    batch: str
    courses: int
    failures: int
    expected: float
    alone: bool

    @property
    def excess(self) -> float:
        """Failures beyond the expected."""
        return self.failures - self.expected


def batch_parts(name: str, cases: Cases) -> list[BatchPart]:
    """Give each batch's part in an operator's excess, the largest first.

    Parameters
    ----------
    name : str
        The operator.
    cases : Cases
        All courses of the station, with risks.
    """
    counted = cases.some(np.flatnonzero(cases.counted))
    own = counted.operator == name
    others = (counted.operator != name) & (counted.operator != "")
    found: list[BatchPart] = []
    for kind in BATCHES:
        batch = getattr(counted, kind)
        elsewhere = set(batch[others].tolist())
        for label in np.unique(batch[own & (batch != "")]).tolist():
            here = own & (batch == label)
            found.append(
                BatchPart(
                    kind,
                    label,
                    int(here.sum()),
                    int(counted.failed[here].sum()),
                    float(counted.risk[here].sum()),
                    label not in elsewhere,
                )
            )
    return sorted(found, key=lambda part: (-part.excess, part.kind, part.batch))
