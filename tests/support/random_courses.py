"""Made-up courses for the models: a design, answers and batches from a seed."""

from __future__ import annotations

import numpy as np
from scipy.special import expit


def courses(n=300, batches=25, seed=0):
    """Give X (ones, dose, age, line), 0/1 answers and batches that share a fate."""
    rng = np.random.default_rng(seed)
    batch = rng.integers(batches, size=n)
    dose, age = rng.normal(10, 1.5, n), rng.integers(5, 15, n).astype(float)
    line = (rng.random(n) < 0.4).astype(float)
    X = np.column_stack([np.ones(n), dose, age, line])
    shared = rng.normal(0, 0.6, batches)[batch]
    eta = 0.4 + 0.3 * (dose - 10) - 0.1 * (age - 10) + 0.5 * line + shared
    return X, (rng.random(n) < expit(eta)).astype(float), batch
