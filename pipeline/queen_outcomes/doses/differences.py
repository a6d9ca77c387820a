"""Two arms without a model: do they meet, how do they differ, and what may be said of it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from queen_outcomes.facts.dose_words import counted
from queen_outcomes.models.adjusted_factors import LEAST_OVERLAP
from queen_outcomes.models.analysis_set import own_level
from queen_outcomes.models.choose import is_between
from queen_outcomes.models.terms import Values
from queen_outcomes.stats.histories.pooling import (
    MOST_UNSETTLED,
    pool,
    unsettled_of,
)
from queen_outcomes.stats.shares.clustered_strata import (
    BatchDifference,
    Blocked,
)
from queen_outcomes.stats.shares.clustering import (
    batch_counts,
    clustered_share,
    effective_counts,
)
from queen_outcomes.stats.shares.proportions import (
    Interval,
    difference_bounds,
    newcombe_difference,
    score_limits,
    score_test,
)
from queen_outcomes.stats.shares.strata import breslow_day_test, risk_ratio
from queen_outcomes.stats.tails import norm_isf, t_isf, t_sf

UNADJUSTED, STRATIFIED, ADJUSTED = "unadjusted", "stratified", "adjusted"
UNKNOWN = "the records do not tell the outcome of enough courses"
FILLED = "more than half of what it rests on is not settled by the records"
NOTHING = Interval(np.nan, np.nan, np.nan)


@dataclass(frozen=True)
class Difference:
    """The difference of success, an arm minus the reference, by one method.

    Attributes
    ----------
    method : str
    estimate, low, high : float
        Above 0: the arm succeeds more often. NaN where there is none.
    p : float
        Two-sided, of no difference: the test of the limits.
    p_margin : float
        One-sided, of being worse by the margin or more; NaN without a margin.
    ratio : float
        Of the shares of success.
    newcombe : Interval
        Newcombe's limits, beside those of the score test.
    unseen : Interval
        What the undecided and those that left could make of it: bounds, no limits.
    homogeneity_p : float
        Breslow and Day's, of the same odds ratio in every block.
    said : str
        What to know, or why there is none.
    """

    method: str
    estimate: float = np.nan
    low: float = np.nan
    high: float = np.nan
    p: float = np.nan
    p_margin: float = np.nan
    ratio: float = np.nan
    newcombe: Interval = NOTHING
    unseen: Interval = NOTHING
    homogeneity_p: float = np.nan
    said: str = ""


@dataclass(frozen=True, eq=False)
class ArmPair:
    """The closed courses of an arm and of the reference; shape (n,).

    ``success`` is 1, 0 or NaN (not settled); ``filled``, shape (m, n), the same in every
    filling, NaN: not at risk; ``first`` is true in the arm; a missing
    batch or block is an empty text. ``level`` is that of limits, ``margin`` may be None.
    """

    success: np.ndarray
    filled: np.ndarray
    first: np.ndarray
    batch: np.ndarray
    block: np.ndarray
    level: float
    margin: float | None

    @property
    def decided(self) -> np.ndarray:
        """Tell which courses the records settle."""
        return np.isfinite(self.success)

    @cached_property
    def clusters(self) -> np.ndarray:
        """Codes of the graft batches; a course without one stands alone."""
        return own_level(self.batch)


def unadjusted(pair: ArmPair) -> Difference:
    """Compare the two arms as they are, on the number of courses that batches leave.

    Score limits, whose test gives P (Farrington and Manning's against a margin), and
    Newcombe's beside them.
    """
    if not len(pair.filled):
        return Difference(UNADJUSTED, said=UNKNOWN)
    counts, shares, seen = [], [], []
    clusters = pair.clusters
    for arm in (pair.first, ~pair.first):
        found = filled_counts(pair.filled[:, arm], clusters[arm])
        if found.unsettled > MOST_UNSETTLED:
            return Difference(UNADJUSTED, said=FILLED)
        counts += (found.yes, found.n)
        shares.append(found.share)
        own = pair.success[arm]
        known = np.isfinite(own)
        seen.append((int(own[known].sum()), int(known.sum()), int((~known).sum())))
    limits = score_limits(*counts, pair.level)
    margin = pair.margin
    over = np.nan if margin is None else score_test(*counts, -margin).p_above
    ratio = shares[0] / shares[1] if shares[1] > 0 else np.nan
    return Difference(
        *(UNADJUSTED, limits.estimate, limits.low, limits.high),
        *(score_test(*counts, 0.0).p, over, ratio),
        newcombe_difference(*counts, pair.level),
        difference_bounds(*seen),
        said="" if counts[1] and counts[3] else "no course in one of the arms",
    )


@dataclass(frozen=True)
class FilledCounts:
    """A share over fillings as counts of so many independent courses."""

    share: float
    yes: float
    n: float
    unsettled: float


def filled_counts(filled: np.ndarray, clusters: np.ndarray) -> FilledCounts:
    """Give as many courses as would tell a share as well as these do, gaps and all.

    Parameters
    ----------
    filled : ndarray, shape (m, n)
        1, 0, NaN: not at risk.
    clusters : ndarray of int, shape (n,)

    Returns
    -------
    FilledCounts
        ``n = p (1 - p) / T`` with T by Rubin's rules over the fillings, within each by the
        design effect of batches; the effective number itself where all are alike.
    """
    found = []
    for one in filled:
        at_risk = np.isfinite(one)
        if not at_risk.any():
            return FilledCounts(np.nan, 0.0, 0.0, 0.0)
        share = clustered_share(*batch_counts(one[at_risk], clusters[at_risk]))
        found.append((share.share, effective_counts(share)[1]))
    shares, sizes = np.array(found).T
    share, m = float(shares.mean()), len(shares)
    within = float(np.mean(shares * (1 - shares) / sizes))
    between = float(shares.var(ddof=1)) if m > 1 else 0.0
    total = within + (1 + 1 / m) * between
    size = share * (1 - share) / total if total > 0 else float(sizes.mean())
    size = min(size, float(sizes.mean()))
    return FilledCounts(
        share, share * size, size, float(unsettled_of(between, total, m))
    )


def stratified(pair: ArmPair, *, by_lot: bool) -> Difference:
    """Pool the difference over blocks; over graft batches where there are no blocks.

    Parameters
    ----------
    pair : ArmPair
    by_lot : bool
        Blocks of a trial are recorded; a course without a block compares nothing.
    """
    if not len(pair.filled):
        return Difference(STRATIFIED, said=UNKNOWN)
    placed = (pair.block != "") if by_lot else (pair.batch != "")
    block = pair.block if by_lot else pair.clusters
    over = "block" if by_lot else "graft batch"
    many = "blocks" if by_lot else "graft batches"
    asked = np.isfinite(pair.filled).any(axis=0)
    if not (placed & asked).any():
        return Difference(STRATIFIED, said=f"no {many} are recorded")

    @lru_cache(maxsize=1)  # often the same courses are at risk in every filling
    def blocked(asked: bytes) -> Blocked:
        kept = np.frombuffer(asked, bool)
        return Blocked(pair.first[kept], block[kept], pair.clusters[kept])

    found = []
    for one in pair.filled:
        kept = placed & np.isfinite(one)
        found.append(blocked(kept.tobytes()).difference(one[kept], pair.level))
    first = found[0]
    if any(one.method == "none" for one in found):
        empty = not len(first.strata.n)
        why = f"no {over} holds both arms" if empty else first.message
        return Difference(STRATIFIED, said=why)
    out = first.left_out + int((asked & ~placed).sum())
    blocks = len(first.strata.n)
    hold = "holds" if blocks == 1 else "hold"
    said = f"over {counted(blocks, over, many)} that {hold} both arms"
    if out:
        said += f"; {counted(out, 'course')} in none of them"
    if first.message:
        said += f"; {first.message}"
    return _over_fillings(pair, found, said)


def _middle_ratio(ratios: np.ndarray) -> float:
    """Give the geometric mean; 0 where all are, NaN where some are 0 or without end."""
    if not ratios.any():
        return 0.0
    usable = np.isfinite(ratios).all() and ratios.all()
    return float(np.exp(np.log(ratios).mean())) if usable else np.nan


def _over_fillings(
    pair: ArmPair, found: Sequence[BatchDifference], said: str
) -> Difference:
    """Join the blocks' differences of all fillings by Rubin's rules."""
    first, margin = found[0], pair.margin
    ratio = _middle_ratio(np.array([risk_ratio(one.strata) for one in found]))
    alike = float(np.median([breslow_day_test(one.strata).p for one in found]))
    each = np.array([one.estimate for one in found])
    if np.ptp(each) == 0:
        over = np.nan if margin is None else first.p_above(-margin)
        limits = (first.estimate, first.low, first.high, first.p(), over, ratio)
        return Difference(STRATIFIED, *limits, homogeneity_p=alike, said=said)
    reach = norm_isf((1 - pair.level) / 2)
    errors = [
        one.se if np.isfinite(one.se) else (one.high - one.low) / (2 * reach)
        for one in found
    ]
    pooled = pool(
        each[:, None],
        [[[se**2]] for se in errors],
        float(np.mean([one.df for one in found])),
    )
    if unsettled_of(pooled.between, pooled.cov, pooled.used)[0, 0] > MOST_UNSETTLED:
        return Difference(STRATIFIED, said=FILLED)
    step, se = float(pooled.beta[0]), float(np.sqrt(pooled.cov[0, 0]))
    arm = float(t_isf((1 - pair.level) / 2, pooled.df[0])) * se
    low, high = np.clip([step - arm, step + arm], -1, 1)
    over = np.nan
    if margin is not None:
        over = float(t_sf((step + margin) / se, pooled.df[0]))
    p = float(2 * t_sf(abs(step) / se, pooled.df[0]))
    return Difference(
        *(STRATIFIED, step, float(low), float(high), p, over, ratio),
        homogeneity_p=alike,
        said=said,
    )


SHARED = {
    "operator": "operators",
    "line": "lines",
    "year": "seasons",
    "graft_batch": "graft batches",
}
"""Where courses of both arms are looked for, and how it is called."""


@dataclass(frozen=True)
class Overlap:
    """How far two arms share what goes with them.

    Attributes
    ----------
    shares : dict of str to float
        Grouping -> share of the two arms' courses that lie in levels with both arms.
    whole_batches : int
        Batches of the arm with fewer of them, where every batch stood in one arm; -1
        where batches hold both.
    nobody : bool
        One of the arms has no such course at all.
    """

    shares: dict[str, float]
    whole_batches: int
    nobody: bool = False

    @property
    def least(self) -> float:
        """The smallest of the shares; 1 where nothing is recorded to ask."""
        return min(self.shares.values(), default=1.0)

    @property
    def apart(self) -> str:
        """Say why the two cannot be told apart; empty when they can."""
        if self.nobody:
            return "nothing to compare: of one of the arms no course is decided"
        short = [SHARED[name] for name, x in self.shares.items() if x < LEAST_OVERLAP]
        if short:
            return f"cannot be told apart: they hardly share {' and '.join(short)}"
        if 0 <= self.whole_batches < 2:
            return (
                "cannot be told apart: every graft batch stood in one arm, and one of "
                "the arms had a single batch"
            )
        return ""


def find_overlap(
    values: Values,
    first: np.ndarray,
    second: np.ndarray,
    shared: Collection[str] = tuple(SHARED),
) -> Overlap:
    """Look where the courses of two arms lie.

    Parameters
    ----------
    values : mapping of str to ndarray, shape (n,)
    first, second : ndarray of bool, shape (n,)
    shared : collection of str
        Groupings of `SHARED` to look at.

    Returns
    -------
    Overlap
        A grouping that is not recorded for any course is not asked. Where every batch
        stood in one arm, arms are compared between batches, so batches are not asked.
    """
    if not (first.any() and second.any()):
        return Overlap({}, -1, nobody=True)
    shares: dict[str, float] = {}
    chosen = first | second
    arm = np.where(first, "first", "second")[chosen]
    batch = values["graft_batch"][chosen]
    kept = batch != ""
    between = is_between(arm, batch)
    for name in shared:
        group = values[name]
        known = chosen & (group != "")
        if not known.any() or (name == "graft_batch" and between):
            continue
        code = np.unique(group, return_inverse=True)[1]
        both = (np.bincount(code, first) > 0) & (np.bincount(code, second) > 0)
        shares[name] = float(both[code[known]].mean())
    fewest = -1
    if between and len(np.unique(batch[kept])) < kept.sum():
        arms = [arm[kept] == name for name in ("first", "second")]
        fewest = min(len(np.unique(batch[kept][one])) for one in arms)
    return Overlap(shares, fewest)


@dataclass(frozen=True)
class Verdict:
    """A verdict, one of `dose_words.VERDICTS` or "none", and the sentence for it."""

    word: str
    said: str


def verdict(
    low: float,
    high: float,
    margin: float | None,
    closed: int,
    planned: int | None = None,
) -> Verdict:
    """Judge the difference arm minus reference by its limits.

    Parameters
    ----------
    low, high : float
        Limits of the difference, adjusted over arms; NaN where there are none.
    margin : float or None
        The loss that would not matter, above 0, as the station stated it.
    closed : int
        Courses closed so far, both arms.
    planned : int, optional
        Courses that the plan set; not given: no trial was planned.

    Returns
    -------
    Verdict
        better ``low > 0``; not_worse ``low > -margin``, not_worse_though_lower when
        also ``high < 0``; worse ``high < -margin``; else inconclusive. none without a
        margin or limits; interim before the planned number has closed.
    """
    if margin is None or not margin > 0:
        return Verdict("none", "no verdict: no margin above 0 is stated")
    word = "none"
    loss = f"{100 * margin:g} points"
    if planned is not None and closed < planned:
        word = "interim"
        said = f"interim: {closed} of {planned} planned courses have closed"
    elif not (np.isfinite(low) and np.isfinite(high)):
        said = "no verdict: the difference has no limits"
    elif low > 0:
        word = "better"
        said = "better: even the lower limit is above the reference"
    elif low > -margin and high < 0:
        word = "not_worse_though_lower"
        said = f"not worse by {loss} or more, though lower"
    elif low > -margin:
        word, said = "not_worse", f"not worse by {loss} or more"
    elif high < -margin:
        word, said = "worse", f"worse by more than {loss}"
    else:
        word = "inconclusive"
        said = f"inconclusive: a loss of {loss} is neither shown nor ruled out"
    return Verdict(word, said)


def simultaneous_level(comparisons: int, level: float = 0.95) -> float:
    """Give the level each comparison's limits need so that all hold together."""
    return 1.0 - (1.0 - level) / max(comparisons, 1)


def simultaneous_p(p) -> np.ndarray:
    """Adjust P values in step with `simultaneous_level`: times their number, at most 1.

    NaN is not counted and stays. ``p < 0.05`` exactly when limits at the simultaneous
    level of 95 % leave the tested difference out.
    """
    p = np.asarray(p, float)
    return np.minimum(1.0, p * np.sum(~np.isnan(p)))
