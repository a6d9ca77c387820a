"""How often a trial's limits claim what they may: the equal arm, and the arm at the margin.

    python tests/benchmarks/trials.py --trials 2000

Trials are made up with known truth: two arms side by side in blocks within graft batches
that share a part of their luck, compared by the method and judged by the rule of the
build. At the margin "not worse" may come in 2.5 % of trials (3.4 % with the error of
counting 2,000 and of 95 % limits); for equal arms it comes as often as the plan's power.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1] / "support"))

from powers import margin_power
from queen_outcomes.doses.differences import (
    ArmPair,
    stratified,
    unadjusted,
    verdict,
)
from queen_outcomes.stats.shares.planning import few_batches_factor, within_batch_effect
from scipy.special import expit, logit
from scipy.stats import norm

NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(64)


@dataclass(frozen=True)
class Made:
    """A trial's truth: shares of success, margin, layout, and how alike batches are."""

    reference: float
    arm: float
    margin: float = 0.10
    batches: int = 40
    each: int = 12
    sd: float = 0.35
    """Of the batches' log odds."""

    @property
    def an_arm(self) -> int:
        """Queens an arm."""
        return self.batches * self.each // 2


def centre(share: float, sd: float) -> float:
    """Give the log odds whose average over batches is the share."""
    low, high = logit(share) - 3.0, logit(share) + 3.0
    for _ in range(60):
        middle = (low + high) / 2
        mean = WEIGHTS @ expit(middle + sd * NODES) / WEIGHTS.sum()
        low, high = (middle, high) if mean < share else (low, middle)
    return middle


def make(truth: Made, rng: np.random.Generator) -> ArmPair:
    """Draw one trial: blocks of four within batches, two queens an arm in each."""
    batch = np.repeat(np.arange(truth.batches), truth.each)
    block = np.arange(len(batch)) // 4
    order = rng.permuted(np.tile([0, 0, 1, 1], (len(batch) // 4, 1)), axis=1)
    first = order.ravel() == 1
    luck = truth.sd * rng.standard_normal(truth.batches)[batch]
    level = np.where(
        first, centre(truth.arm, truth.sd), centre(truth.reference, truth.sd)
    )
    success = (rng.random(len(batch)) < expit(level + luck)).astype(float)
    names = batch.astype(str), block.astype(str)
    return ArmPair(success, success[None, :], first, *names, 0.95, truth.margin)


def icc(truth: Made) -> float:
    """Give the correlation of two queens of one batch, at the reference's share."""
    p = expit(centre(truth.reference, truth.sd) + truth.sd * NODES)
    mean = WEIGHTS @ p / WEIGHTS.sum()
    spread = WEIGHTS @ (p - mean) ** 2 / WEIGHTS.sum()
    return float(spread / (mean * (1 - mean)))


def power(truth: Made) -> float:
    """Give the chance of "not worse" or better that a plan would state."""
    effect = within_batch_effect(truth.each / 2, icc(truth), 0.0)
    few = few_batches_factor(truth.batches, arms_share_batches=True)
    n = truth.an_arm / (effect * few)
    return margin_power(n, n, truth.arm, truth.reference, -truth.margin)


@dataclass(frozen=True)
class Counted:
    """Shares of trials by one method: verdicts, limits that hold the truth, and worse."""

    not_worse: float
    covered: float
    wrong: float


def run(truth: Made, trials: int, seed: int) -> dict[str, Counted]:
    """Judge many trials by both methods; the method of the build is "stratified"."""
    rng = np.random.default_rng(seed)
    found = {"stratified": [], "unadjusted": []}
    true = truth.arm - truth.reference
    for _ in range(trials):
        pair = make(truth, rng)
        for one in (stratified(pair, by_lot=True), unadjusted(pair)):
            word = verdict(one.low, one.high, truth.margin, 2 * truth.an_arm).word
            found[one.method].append(
                (
                    word in ("better", "not_worse", "not_worse_though_lower"),
                    one.low <= true <= one.high,
                    word in ("better", "worse"),
                )
            )
    return {
        name: Counted(*(float(x) for x in np.mean(rows, axis=0)))
        for name, rows in found.items()
    }


def main() -> None:
    """Print the shares for equal arms and for an arm at the margin."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=2000)
    trials = parser.parse_args().trials
    print("reference  arm   batches  sd    method       not worse  planned  covered")
    for share in (0.70, 0.82):
        for step in (0.0, -0.10):
            for batches, sd in ((20, 0.35), (40, 0.35), (40, 0.8)):
                truth = Made(share, share + step, batches=batches, sd=sd)
                begin = time.perf_counter()
                for name, c in run(truth, trials, seed=2026).items():
                    print(
                        f"{share:9.2f} {truth.arm:5.2f} {batches:8d} {sd:5.2f}  {name:<11}"
                        f" {c.not_worse:10.3f} {power(truth):8.3f} {c.covered:8.3f}"
                    )
                print(f"    {time.perf_counter() - begin:.0f} s", flush=True)
    error = norm.isf(0.025) * np.sqrt(0.025 * 0.975 / trials)
    print(f"at the margin 0.025 may be passed by {error:.4f}, the error of counting")


if __name__ == "__main__":
    main()
