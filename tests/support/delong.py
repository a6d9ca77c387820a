"""The standard error of an AUC by another way than resampling."""

from __future__ import annotations

import numpy as np
from scipy.stats import rankdata


def delong_se(y, p) -> float:
    """Give the standard error of the AUC for independent courses.

    From the placements of each yes among the no and the other way round. DeLong ER et
    al. Biometrics 1988;44:837-845. For courses in groups use `auc_limits`.
    """
    y, p = np.asarray(y, float), np.asarray(p, float)
    yes, no = p[y == 1], p[y == 0]
    if min(len(yes), len(no)) < 2:
        return np.nan
    ranks = rankdata(p)
    above = (ranks[y == 1] - rankdata(yes)) / len(no)
    under = 1.0 - (ranks[y == 0] - rankdata(no)) / len(yes)
    return float(
        np.sqrt(np.var(above, ddof=1) / len(yes) + np.var(under, ddof=1) / len(no))
    )
