"""Measures the crossed logistic model against one plain logistic fit of the same rows.

    python tests/benchmarks/mixed_sizes.py            # 2,000, 20,000 and 100,000 rows
    python tests/benchmarks/mixed_sizes.py --million  # and 1,000,000
    python tests/benchmarks/mixed_sizes.py --mixing 1 # every batch meets every other

Prints seconds for fit and covariance together, the ratio to the plain fit, peak memory,
which form the matrix took, and how far the deviations lie from those simulated. Every
size runs in a process of its own. Batches meet only those of about the same days, as
they do at a station; `--mixing` is the share of semen batches that a graft may meet.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import time

import numpy as np

SIZES = {
    2_000: (12, 80, 60),
    20_000: (30, 800, 496),
    100_000: (60, 3_000, 1_500),
    1_000_000: (60, 20_000, 10_000),
}
DEVIATIONS = (0.4, 0.5, 0.3)
COLUMNS = 14


def simulate(rows: int, levels: tuple[int, int, int], mixing: float):
    """Columns, answers and levels of operators, grafts and semen batches."""
    rng = np.random.default_rng(rows)
    operators, grafts, semen = levels
    graft = np.sort(rng.integers(0, grafts, rows))
    near = max(2, round(mixing * semen))
    away = rng.integers(-near, near + 1, rows)
    batch = (graft * semen // grafts + away) % semen
    operator = rng.integers(0, operators, rows)
    codes = {"operator": operator, "graft": graft, "semen": batch}
    whole = np.round(rng.normal(size=(rows, COLUMNS - 1)), 1)
    X = np.column_stack([np.ones(rows), whole])
    eta = X @ np.concatenate([[1.0], rng.normal(0, 0.2, COLUMNS - 1)])
    for code, count, sd in zip(codes.values(), levels, DEVIATIONS, strict=True):
        eta += rng.normal(0, sd, count)[code]
    y = (rng.random(rows) < 1 / (1 + np.exp(-eta))).astype(float)
    return X, y, codes


def plain_seconds(X, y) -> float:
    """Seconds of one plain logistic fit by Newton's method."""
    begin = time.perf_counter()
    beta = np.zeros(X.shape[1])
    for _ in range(25):
        chance = 1 / (1 + np.exp(-(X @ beta)))
        information = (X * (chance * (1 - chance))[:, None]).T @ X
        step = np.linalg.solve(information, X.T @ (y - chance))
        beta += step
        if np.abs(step).max() < 1e-10:
            break
    return time.perf_counter() - begin


def run_once(rows: int, mixing: float) -> dict:
    """Fit one size in this process."""
    from queen_outcomes.stats.logistic import mixed_laplace
    from queen_outcomes.stats.logistic.mixed import fit_mixed

    kept = []
    made = mixed_laplace.Laplace.__init__

    def remember(self, ready):
        kept.append(self)
        made(self, ready)

    mixed_laplace.Laplace.__init__ = remember
    X, y, codes = simulate(rows, SIZES[rows], mixing)
    plain = min(plain_seconds(X, y) for _ in range(3))
    fit_mixed(X[:500], y[:500], {k: v[:500] for k, v in codes.items()})
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    begin = time.perf_counter()
    fit = fit_mixed(X, y, codes)
    seconds = time.perf_counter() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    layout = kept[-1].rows.crossing.layout
    return {
        "rows": rows, "levels": SIZES[rows], "seconds": round(seconds, 3),
        "plain": round(plain, 4), "ratio": round(seconds / plain, 1),
        "peak_gib": round(peak, 2), "before_gib": round(before, 2),
        "engine": "dense" if layout.blocks == 1 else "arrow",
        "blocks": layout.blocks, "border": layout.border,
        "widest": int(np.diff(layout.edges).max()),
        "covariance": "positive" if np.all(np.diag(fit.cov_beta) > 0) else "none",
        "se_intercept": float(np.sqrt(fit.cov_beta[0, 0])), "slope": fit.gradient_max,
        "sd": {k: round(v, 4) for k, v in fit.theta_sd.items()},
        "converged": fit.converged, "message": fit.message,
    }  # fmt: skip


def main() -> None:
    """Run each size in a fresh process and print what came out."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--million", action="store_true")
    words.add_argument("--mixing", type=float, default=0.002)
    words.add_argument("--one", type=int)
    chosen = words.parse_args()
    if chosen.one:
        print(json.dumps(run_once(chosen.one, chosen.mixing)))
        return
    for rows in SIZES:
        if rows < 1_000_000 or chosen.million:
            program = [sys.executable, __file__, "--one", str(rows)]
            subprocess.run([*program, "--mixing", str(chosen.mixing)], check=True)


if __name__ == "__main__":
    main()
