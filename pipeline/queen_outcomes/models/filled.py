"""One model over gaps filled in several times, joined by Rubin's rules.

Factors, forms and method are chosen once, on the first filling; every filling is fitted in
that shape. Predictions are averaged over the courses of all fillings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from queen_outcomes.models.analysis_set import AnalysisSet, has_two, own_level
from queen_outcomes.models.choose import Earlier
from queen_outcomes.models.fit import (
    Fitted,
    Freedom,
    every_test,
    fit_courses,
    join,
    no_model,
    refit,
)
from queen_outcomes.models.terms import Values
from queen_outcomes.stats.logistic.imputation import (
    Completed,
    Pooled,
    freedom_by_gaps,
    impute,
    pool,
)
from queen_outcomes.stats.logistic.mixed import MixedFit
from queen_outcomes.stats.logistic.plain import wald_test

TIMES = 20
FEWEST_FITTED = 10
"""Fillings that must give a fit; with fewer there is no model."""


def fit_filled(
    courses: AnalysisSet,
    adjust_for: Sequence[str],
    earlier: Earlier | None = None,
    *,
    seed: int,
    times: int = TIMES,
) -> Fitted:
    """Fill the gaps in the factors, fit each filling, and join the fits.

    Parameters
    ----------
    courses : AnalysisSet
        All decided courses, gaps and all.
    adjust_for, earlier
        See `fit_courses`.
    seed, times : int
        Of the filling.
    """
    sets = [
        replace(courses, values=values)
        for values in fillings(courses, courses.y, seed=seed, times=times)
    ]
    if not sets:
        return no_model(courses, "the gaps could not be filled")
    first = fit_courses(sets[0], adjust_for, earlier)
    if first.method == "none":
        return replace(first, courses=courses)
    fits = [first, *(refit(first, filling) for filling in sets[1:])]
    found = [fit for fit in fits if fit.method == first.method]
    few = find_few(len(found), times)
    if few:
        return no_model(courses, few, first.design)
    return _joined(courses, found, times)


def fill_once(courses: AnalysisSet, seed: int) -> AnalysisSet:
    """Fill the gaps one time, to choose factors and forms on."""
    for values in fillings(courses, courses.y, seed=seed, times=1):
        return replace(courses, values=values)
    return courses


def find_few(found: int, times: int) -> str:
    """Say that too few fillings were fitted for a model; empty when there are enough."""
    if found >= min(FEWEST_FITTED, times):
        return ""
    return f"only {found} of {times} fillings of the gaps could be fitted"


def filled_said(found: int, times: int) -> str:
    """Say that gaps were filled, what that assumes, and what could not be fitted."""
    said = (
        f"gaps in the factors were filled in {times} times, assuming that what is not "
        "recorded depends only on what is; factors tested by Wald"
    )
    lost = f"{times - found} of the fillings could not be fitted"
    return join(said, lost if found < times else "")


def fillings(
    courses: AnalysisSet, outcome: np.ndarray, *, seed: int, times: int
) -> list[Values]:
    """Give the courses' values with the gaps in their factors filled, several times.

    Parameters
    ----------
    courses : AnalysisSet
    outcome : ndarray, shape (n,) or (n, k)
        What became of the courses, in numbers without gaps.
    seed, times : int
    """
    numbers, words = {}, {}
    for term in courses.terms:
        x = courses.values[term.column]
        if x.dtype.kind == "f":
            numbers[term.column] = x
        else:
            words[term.column] = _codes(x)
    batch = own_level(courses.values["graft_batch"])
    made = impute(numbers, words, outcome, batch, times=times, seed=seed)
    return [_values(courses, completed) for completed in made.completed]


def _codes(x: np.ndarray) -> np.ndarray:
    levels = np.unique(x[x != ""])
    return np.where(x == "", -1, np.searchsorted(levels, x))


def _values(courses: AnalysisSet, completed: Completed) -> Values:
    """Put one filling in the place of the courses' values."""
    values = dict(courses.values) | completed.numbers
    for column, codes in completed.words.items():
        x = courses.values[column]
        values[column] = np.unique(x[x != ""])[codes]
    if "co2_gap" in completed.numbers:  # one exposure has no time between two
        gap = completed.numbers["co2_gap"]
        values["co2_gap"] = np.where(has_two(values), gap, np.nan)
    return values


def _joined(courses: AnalysisSet, found: Sequence[Fitted], times: int) -> Fitted:
    first = found[0]
    p = len(first.beta)
    whole = [np.concatenate([fit.beta, fit.deviations]) for fit in found]
    pooled = pool(whole, [fit.cov_all for fit in found])
    cov = pooled.cov[:p, :p]
    return replace(
        first,
        courses=courses,
        beta=pooled.beta[:p],
        cov=cov,
        se=np.sqrt(np.diag(cov)),
        low=pooled.low[:p],
        high=pooled.high[:p],
        log_likelihood=float("nan"),
        tests=every_test(
            first.design,
            lambda c: wald_test(
                pooled.beta, pooled.cov, c, df=float(pooled.df[c].min())
            ),
        ),
        freedom=_freedom(found, pooled),
        mixed=_mixed(found, pooled) if first.mixed else None,
        message=join(first.message, filled_said(len(found), times)),
        filled=stacked([fit.predicted for fit in found]),
        imputations=times,
    )


def stacked(sets: Sequence[Values]) -> Values:
    """Put the values of several fillings one after the other."""
    return {name: np.concatenate([values[name] for values in sets]) for name in sets[0]}


def _freedom(found: Sequence[Fitted], pooled: Pooled) -> Freedom:
    """Give a contrast's degrees of freedom, the fewer of gaps' and of batches'."""

    def freedom(contrasts: np.ndarray) -> np.ndarray:
        rows = np.atleast_2d(contrasts)  # in coefficients, or in deviations too
        df = freedom_by_gaps(pooled, rows)
        batches = found[0].freedom(rows)
        return df if batches is None else np.minimum(df, batches)

    return freedom


def _mixed(found: Sequence[Fitted], pooled: Pooled) -> MixedFit:
    """Average the random intercepts; between fillings adds to their uncertainty."""
    fits = [fit.mixed for fit in found]
    first, m = fits[0], len(fits)
    sds = pooled.beta[-len(first.names) :].tolist()
    modes, errors = {}, {}
    for name in first.names:
        each = np.array([fit.modes[name] for fit in fits])
        within = np.mean([fit.mode_se[name] ** 2 for fit in fits], axis=0)
        modes[name] = each.mean(axis=0)
        between = each.var(axis=0, ddof=1) if m > 1 else 0.0
        errors[name] = np.sqrt(within + (1 + 1 / m) * between)
    return replace(
        first,
        theta_sd=dict(zip(first.names, sds, strict=True)),
        cov_joint=pooled.cov,
        sd_at_zero=tuple(n for n, sd in zip(first.names, sds, strict=True) if sd == 0),
        modes=modes,
        mode_se=errors,
    )
