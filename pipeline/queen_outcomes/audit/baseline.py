"""What a season's running series are measured by: risks, baselines and limits.

Taken from courses of earlier seasons and fixed at the season's first build, so that a signal
once shown does not vanish because a model was fitted again. Without earlier seasons
everything comes from what has closed so far, and is provisional.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import expit, logit

from queen_outcomes.audit.cases import Cases
from queen_outcomes.facts.settings import Plan
from queen_outcomes.models.risks import RiskModel
from queen_outcomes.stats.logistic.odds_shift import odds_shift
from queen_outcomes.stats.series.calibrate import Calibration, calibrate

HALF = 0.5
"""Failures added and taken so that a baseline without failures has finite odds."""
REPLICATES, FEWEST_REPLICATES = 20_000, 4_000
MOST_SIMULATED = 4_000_000
"""Courses simulated for one limit: a season of thousands is simulated fewer times."""


@dataclass(frozen=True)
class Limits:
    """Limits of one running series and what they do; NaN when there are none.

    Attributes
    ----------
    courses : int
        Courses of a season that they hold for.
    worse, better : float
        Values at which the two CUSUMs signal.
    detection : float
        Chance of a signal within the season if the odds of failing doubled.
    median_courses : float
        Courses to a signal then; NaN where under half of the seasons have one.
    message : str
        Why there are no limits.
    """

    courses: int
    worse: float
    better: float
    detection: float
    median_courses: float
    message: str = ""


@dataclass(frozen=True)
class Baseline:
    """An operator's own.

    Attributes
    ----------
    courses : int
        Earlier courses that it stands on.
    change : float
        Log odds of failing against the station; NaN without earlier courses.
    level, drift : Limits
        Against the station, and against the operator's own earlier courses.
    """

    courses: int
    change: float
    level: Limits
    drift: Limits

    def drift_risks(self, risks: np.ndarray) -> np.ndarray:
        """Give the risks that the operator's own earlier results lead to expect."""
        return expit(logit(risks) + self.change)


def baseline(
    name: str,
    earlier: Cases,
    pattern: Cases,
    model: RiskModel,
    plan: Plan,
    *,
    replicates: int = REPLICATES,
) -> Baseline:
    """Set an operator's baseline and the limits of both series.

    Parameters
    ----------
    name : str
        The operator; seeds the simulation.
    earlier : Cases
        The operator's counted courses of earlier seasons, in order.
    pattern : Cases
        Courses that a season looks like: the operator's own last season, in order; the
        station's for somebody new.
    model : RiskModel
        For how far batches deviate.
    plan : Plan
    """
    change = np.nan
    n = len(earlier)
    if n:
        failures = float(earlier.failed.sum())
        shrunken = failures * (1 - 2 * HALF / (n + 2 * HALF)) + HALF
        change = odds_shift(logit(earlier.risk), min(max(shrunken, HALF), n - HALF))
    own = Baseline(n, change, *(Limits(0, *(np.nan,) * 4),) * 2)
    season = _season(name, pattern, plan)
    if not len(season):
        none = Limits(0, *(np.nan,) * 4, message="no closed course to learn from")
        return replace(own, level=none, drift=none)
    seed = zlib.crc32(name.encode())

    times = min(replicates, max(FEWEST_REPLICATES, MOST_SIMULATED // len(season)))

    def limits(risks: np.ndarray) -> Limits:
        return _limits(
            calibrate(
                risks,
                season.shared(model.deviations),
                false_alarm_chance=plan.false_alarm_chance,
                replicates=times,
                seed=seed,
            )
        )

    level = limits(season.risk)
    drift = limits(own.drift_risks(season.risk)) if np.isfinite(change) else own.drift
    return replace(own, level=level, drift=drift)


def _limits(found: Calibration) -> Limits:
    worse = found.worse
    return Limits(
        found.courses,
        worse.limit,
        found.better.limit,
        worse.detection,
        worse.median_courses,
        found.message,
    )


def _season(name: str, pattern: Cases, plan: Plan) -> Cases:
    """Repeat a season's courses to the length that limits must hold for.

    Repeated batches are batches of their own.
    """
    size = len(pattern)
    if not size:
        return pattern
    length = max(size, plan.planned_cases.get(name, 0), plan.fewest_cases)
    rows = np.arange(length) % size
    again = (np.arange(length) // size).astype(str)
    long = pattern.some(rows)

    def renamed(batch: np.ndarray) -> np.ndarray:
        joined = np.char.add(np.char.add(batch, "\x1f"), again)
        return np.where(batch == "", "", joined)

    return replace(
        long,
        graft_batch=renamed(long.graft_batch),
        semen_batch=renamed(long.semen_batch),
    )


def write_baseline(own: Baseline) -> dict[str, Any]:
    """Give a baseline as the season's file keeps it."""
    return {
        "courses": own.courses,
        "change": own.change,
        "level": _written(own.level),
        "drift": _written(own.drift),
    }


def _written(limits: Limits) -> dict[str, Any]:
    return {
        "courses": limits.courses,
        "worse": limits.worse,
        "better": limits.better,
        "detection": limits.detection,
        "median_courses": limits.median_courses,
        "said": limits.message,
    }


def read_baseline(section: Mapping[str, Any]) -> Baseline:
    """Read back what `write_baseline` gave."""
    level, drift = (Limits(*section[name].values()) for name in ("level", "drift"))
    return Baseline(section["courses"], section["change"], level, drift)
