"""What may be said of an arm against the reference, from limits and a margin.

With several arms both limits and P are Bonferroni's. Holm's P values can be smaller, but
no limits go with them that say more than "rejected" (limits that would stop at the
margin once a claim is made); and a verdict, its limits and its P must not contradict
each other. With the few arms of a station the difference is small.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

Word = Literal[
    "better",
    "not_worse",
    "not_worse_though_lower",
    "worse",
    "inconclusive",
    "interim",
    "none",
]


@dataclass(frozen=True)
class Trial:
    """How the arms came about.

    Attributes
    ----------
    closed : int
        Courses decided or closed so far, both arms.
    planned : int or None
        Courses that the plan set; None where no trial was planned.
    intended : bool
        False where the arms were guessed from doses given: a queen that died between
        two doses would count against the single dose.
    """

    closed: int
    planned: int | None = None
    intended: bool = True


@dataclass(frozen=True)
class Verdict:
    """A verdict and the sentence that goes with it."""

    word: Word
    said: str


def verdict(low: float, high: float, margin: float | None, trial: Trial) -> Verdict:
    """Judge the difference arm minus reference by its limits.

    Parameters
    ----------
    low, high : float
        Limits of the difference, adjusted over arms; NaN where there are none.
    margin : float or None
        The loss that would not matter, above 0, as the station stated it.
    trial : Trial

    Returns
    -------
    Verdict
        better ``low > 0``; not_worse ``low > -margin``, not_worse_though_lower when
        also ``high < 0``; worse ``high < -margin``; else inconclusive. none without a
        margin, limits or intended arms; interim before the planned number has closed.
    """
    hindered = _hindered(low, high, margin, trial)
    if hindered is not None:
        return hindered
    loss = f"{100 * margin:g} points"
    if low > 0:
        return Verdict("better", "better: even the lower limit is above the reference")
    if low > -margin and high < 0:
        said = f"not worse by {loss} or more, though lower"
        return Verdict("not_worse_though_lower", said)
    if low > -margin:
        return Verdict("not_worse", f"not worse by {loss} or more")
    if high < -margin:
        return Verdict("worse", f"worse by more than {loss}")
    said = f"inconclusive: a loss of {loss} is neither shown nor ruled out"
    return Verdict("inconclusive", said)


def _hindered(low, high, margin, trial: Trial) -> Verdict | None:
    """Say why there is no verdict; None where there is one."""
    if not trial.intended:
        return Verdict("none", "no verdict: the arms were guessed from doses given")
    if margin is None or not margin > 0:
        return Verdict("none", "no verdict: no margin above 0 was stated")
    if trial.planned is not None and trial.closed < trial.planned:
        said = f"interim: {trial.closed} of {trial.planned} planned courses have closed"
        return Verdict("interim", said)
    if not (np.isfinite(low) and np.isfinite(high)):
        return Verdict("none", "no verdict: the difference has no limits")
    return None


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
