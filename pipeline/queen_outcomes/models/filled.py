"""One model over courses filled in several times, joined by Rubin's rules.

The outcome of every closed course stands as in the fillings that headline and groups
stand on, and gaps in its factors are filled with each. Factors, forms and method are
chosen once; every filling is fitted in that shape, from where the first ended. Predictions
are averaged over the courses of the fillings.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit

from queen_outcomes.models.analysis_set import (
    GROUPINGS,
    AnalysisSet,
    complete_rows,
    has_two,
    numbered,
    own_level,
)
from queen_outcomes.models.choose import Design, Earlier
from queen_outcomes.models.closed import take
from queen_outcomes.models.fit import (
    Fitted,
    by_method,
    find_design,
    groupings,
    join,
    no_model,
    refit,
    wald_tests,
)
from queen_outcomes.models.terms import GROUPS, Term, Values
from queen_outcomes.stats.histories.pooling import Pooled, pool
from queen_outcomes.stats.logistic.imputation import Completed, impute
from queen_outcomes.stats.logistic.mixed import MixedFit
from queen_outcomes.stats.logistic.mixed_average import integrate_random
from queen_outcomes.stats.logistic.odds_shift import odds_shift

BEFORE = "other before"
FEWEST_FITTED = 10
"""Fillings that must give a fit; with fewer there is no model."""
SHOWN = 5
"""Fillings that predictions are averaged over."""
TINY = 1e-9
"""Squares, and parts of them, that rounding leaves of none."""
UNKNOWN = "the records do not tell the outcome of enough courses"


def fit_filled(
    courses: AnalysisSet,
    adjust_for: Sequence[str],
    earlier: Earlier | None = None,
) -> Fitted:
    """Fit each filling of outcome and factors, and join the fits.

    Parameters
    ----------
    courses : AnalysisSet
        All closed courses, with the fillings of answers and factors.
    adjust_for, earlier
        See `find_design`.
    """
    times = len(courses.answers)
    if not times or not len(courses.y):
        return no_model(courses, UNKNOWN)
    filling = courses.filling(0)
    chosen_on = replace(courses, values=filling.values)
    design = find_design(chosen_on, adjust_for, earlier)
    if isinstance(design, Fitted):
        return replace(design, courses=courses)
    random, _ = groupings(chosen_on)
    first = by_method(filling, design, random)
    if first.method == "none":
        return replace(first, courses=courses)
    levels = Levels()
    told = [Told.by(0, first, levels)]
    # one filling at a time: each has columns of its own for every course
    sets = (courses.filling(number) for number in range(1, times))
    for number, fit in enumerate(refit(first, sets), start=1):
        if fit.method == first.method:
            told.append(Told.by(number, fit, levels))
    few = find_few(len(told), times)
    if few:
        return no_model(courses, few, first.design)
    return _joined(courses, first, told)


class Levels:
    """Numbers of the levels of groups, that most fillings have alike."""

    def __init__(self) -> None:
        self._known: dict[str, tuple[np.ndarray, np.ndarray]] = {}

    def of(self, values: Values, name: str) -> np.ndarray:
        """Give a group's levels as `own_level` numbers them."""
        named = values[name]
        if name not in self._known or self._known[name][0] is not named:
            self._known[name] = (named, own_level(named))
        return self._known[name][1]


@dataclass(frozen=True, eq=False)
class Told:
    """What one filling's fit adds to the joined one.

    Attributes
    ----------
    number : int
        Of the filling.
    estimates : ndarray, shape (p + K,)
        Coefficients, and deviations of random intercepts.
    cov : ndarray, shape (p + K, p + K)
    mixed : MixedFit or None
    chance : ndarray, shape (n,)
        Every course's, with her own operator's and batches' intercepts.
    """

    number: int
    estimates: np.ndarray
    cov: np.ndarray
    mixed: MixedFit | None
    chance: np.ndarray

    @classmethod
    def by(cls, number: int, fit: Fitted, levels: Levels) -> Told:
        """Take from a filling's fit what joining needs."""
        eta = fit.X @ fit.beta
        for name in fit.mixed.names if fit.mixed else ():
            eta = eta + fit.mixed.modes[name][levels.of(fit.courses.values, name)]
        estimates = np.concatenate([fit.beta, fit.deviations])
        return cls(number, estimates, fit.cov_all, fit.mixed, expit(eta))


def find_few(found: int, times: int) -> str:
    """Say that too few fillings were fitted for a model; empty when there are enough."""
    if found >= min(FEWEST_FITTED, times):
        return ""
    return f"only {found} of {times} fillings could be fitted"


def filled_said(found: int, times: int) -> str:
    """Say that gaps were filled, what that assumes, and what could not be fitted."""
    said = (
        f"gaps in the factors were filled in {times} times, assuming that what is not "
        "recorded depends only on what is; factors tested by Wald"
    )
    return join(said, lost_said(found, times))


def lost_said(found: int, times: int) -> str:
    """Say how many fillings could not be fitted; empty when all could."""
    lost = f"{times - found} of the fillings could not be fitted"
    return lost if found < times else ""


def fillings(
    courses: AnalysisSet,
    outcome: np.ndarray,
    *,
    seed: int,
    times: int,
) -> Iterator[Values]:
    """Give the courses' values with the gaps in their factors filled, several times.

    Parameters
    ----------
    courses : AnalysisSet
    outcome : ndarray, shape (n,) or (n, k)
        What became of the courses, in numbers without gaps.
    seed, times : int
    """
    numbers, words = in_kinds(courses.terms, courses.values)
    batch = own_level(courses.values["graft_batch"])
    made = impute(numbers, words, [outcome] * times, batch, seed=seed)
    for number, completed in enumerate(made):
        yield completed_values(courses.values, completed, [seed, number])


def in_kinds(
    terms: Sequence[Term], values: Values
) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """Give the columns of factors that are numbers, and codes of those that are words."""
    numbers, words = {}, {}
    for term in terms:
        x = values[term.column]
        if x.dtype.kind == "f":
            numbers[term.column] = x
        else:
            words[term.column] = _codes(x)
    return numbers, words


def _codes(x: np.ndarray) -> np.ndarray:
    levels = np.unique(x[x != ""])
    return np.where(x == "", -1, np.searchsorted(levels, x))


def completed_values(
    given: Values, completed: Completed, seed: Sequence[int]
) -> Values:
    """Put one filling in the place of the courses' values.

    What has no gap is one array there and here.
    """
    numbers = {k: x for k, x in completed.numbers.items() if np.isnan(given[k]).any()}
    values = dict(given) | numbers
    for column, codes in completed.words.items():
        x = given[column]
        gap = x == ""
        if gap.any():
            values[column] = np.unique(x[~gap])[codes]
    if "co2_schedule" in completed.words and "later_open" in given:
        values["co2_schedule"] = _meant(given, values["co2_schedule"], seed)
    if "co2_gap" in completed.numbers:  # one exposure has no time between two
        gap = completed.numbers["co2_gap"]
        values["co2_gap"] = np.where(has_two(values), gap, np.nan)
    return values


LIKE_THE_STATION = 10.0
"""Courses of the station's shares that an operator's own schedules are joined with."""


def _meant(given: Values, filled: np.ndarray, seed: Sequence[int]) -> np.ndarray:
    """Draw the CO2 schedules meant for queens that went before one could be seen.

    Until a later exposure was due, who was to get it and who was not fared alike: what
    became of her tells nothing of what was meant, so it is drawn as her operator gave it
    to queens that were there when it was due. Where she went later, the schedule is as
    recorded, or as it was filled in.
    """
    early, got = given["later_open"], given["co2_got"]
    if not (early > 0).any():
        return filled
    rng = np.random.default_rng(seed)
    went = rng.random(len(early)) < early
    place = rng.random(len(early))
    filled = np.where((early > 0) & ~went & (got != ""), got, filled)
    known = (early == 0) & (got != "")
    made = filled.copy()
    operators, operator = np.unique(given["operator"], return_inverse=True)
    for once in (True, False):
        # one exposure was written down: another before the insemination was not meant
        pool = known & ~((got == BEFORE) & once)
        rows = np.flatnonzero(went & ((got != "") == once))
        if not pool.any() or not len(rows):
            continue
        levels, level = np.unique(got[pool], return_inverse=True)
        counts = np.zeros((len(operators), len(levels)))
        np.add.at(counts, (operator[pool], level), 1.0)
        counts += LIKE_THE_STATION * np.bincount(level) / len(level)
        upto = np.cumsum(counts, axis=1) / counts.sum(axis=1, keepdims=True)
        drawn = (upto[operator[rows]] < place[rows, None]).sum(axis=1)
        made[rows] = levels[drawn]
    return made


def _joined(courses: AnalysisSet, first: Fitted, told: Sequence[Told]) -> Fitted:
    p, times = len(first.beta), len(courses.answers)
    group_df = group_freedom(first.design, first.X, courses.values)
    whole = np.concatenate([group_df, np.full(len(first.deviations), np.inf)])
    clustered = first.freedom(np.eye(p))
    if clustered is not None:
        whole[:p] = np.minimum(whole[:p], clustered)
    pooled = pool([one.estimates for one in told], [one.cov for one in told], whole)
    cov = pooled.cov[:p, :p]
    answers = courses.answers
    at_risk = np.isfinite(answers).mean(axis=0)
    joined = replace(
        first,
        courses=courses,
        beta=pooled.beta[:p],
        cov=cov,
        se=np.sqrt(np.diag(cov)),
        low=pooled.low[:p],
        high=pooled.high[:p],
        log_likelihood=float("nan"),
        mixed=_mixed([one.mixed for one in told], pooled) if first.mixed else None,
        message=join(first.message, lost_said(len(told), times)),
        imputations=times,
        pooled=pooled,
        group_df=group_df,
        answer=np.nanmean(answers, axis=0),
        at_risk=at_risk,
        chance=np.mean([one.chance for one in told], axis=0),
    )
    if courses.fillings.gaps:
        some = [one.number for one in told[:SHOWN]]
        sets = [courses.fillings.of(courses.values, number) for number in some]
        over = shown(courses, sets, at_risk)
        joined = replace(joined, filled=over.values, worth=over.worth)
    return replace(joined, tests=wald_tests(joined), shift=_shift(joined))


def group_freedom(design: Design, X: np.ndarray, values: Values) -> np.ndarray:
    r"""Give the degrees of freedom that operators and batches leave each column, (p,).

    Parameters
    ----------
    design : Design
    X : ndarray, shape (n, p)
        Its columns.
    values : mapping of str to ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (p,)
        The fewest of all kinds of groups; infinite for the constant.

    Notes
    -----
    A part s of a column's squares lies between the groups: 1 for what is the same within
    each, some hundredths for what was drawn by lot course by course, and nearly 1 for the
    time of year, as a graft batch is inseminated within days. Of the error only that part
    hangs on how much groups differ, which is known as well as
    :math:`d = G - 1 - \sum s` degrees of freedom let it be; so the error has
    :math:`d / s^2` (Satterthwaite FE. Biometrics 1946;2:110-114). Within groups a square
    tells at least as much as between them, so s errs to the side of care.
    """
    found = np.full(len(design.owner), np.inf)
    names = [form.term.name for form in design.forms]
    factors = np.flatnonzero(
        [number >= 0 and names[number] not in GROUPS for number in design.owner]
    )
    for kind in GROUPINGS:
        if kind in names:
            continue  # its levels are fixed: what differs between them tells nothing
        some = values[kind] != ""
        code = numbered(values[kind][some])
        groups = len(np.unique(code))
        if groups > 1:
            share = _share_between(X[some][:, factors], code)
            left = max(groups - 1.0 - share.sum(), 1.0)
            found[factors] = np.minimum(
                found[factors], left / np.maximum(share, TINY) ** 2
            )
    for number, form in enumerate(design.forms):
        columns = design.columns_of(number)
        found[columns] = np.minimum(found[columns], freedom_of_cases(form.term, values))
    return found


def _share_between(X: np.ndarray, code: np.ndarray) -> np.ndarray:
    """Give the part of each column's squares about its mean that lies between groups."""
    X = X - X.mean(axis=0)
    count = np.bincount(code)
    sums = np.column_stack([np.bincount(code, column) for column in X.T])
    every = (X**2).sum(axis=0)
    between = (sums**2 / count[:, None]).sum(axis=0)
    return np.divide(between, every, out=np.zeros_like(every), where=every > TINY)


def freedom_of_cases(term: Term, values: Values) -> float:
    """Give the degrees of freedom of operators' cases; infinite for other factors.

    Cases run on within each operator: there are as many stories as operators, less one.
    """
    if term.name != "experience":
        return np.inf
    named = values["operator"][values["operator"] != ""]
    return max(len(np.unique(named)) - 1.0, 1.0)


def _shift(fitted: Fitted) -> float:
    """Find what brings chances averaged over operators and batches to the headline."""
    weights = fitted.predicted_weights
    eta = fitted.predicted_X @ fitted.beta
    spread = float(np.sqrt(np.sum(fitted.deviations**2)))
    share = np.mean(np.nanmean(fitted.courses.answers, axis=1))

    def chance(x: np.ndarray) -> np.ndarray:
        return weights * integrate_random(x, spread)[0]

    shift = odds_shift(eta, float(share * weights.sum()), chance)
    return shift if np.isfinite(shift) else 0.0


@dataclass(frozen=True, eq=False)
class Shown:
    """Courses to average predictions over: who has no gap once, the others as filled.

    Attributes
    ----------
    values : mapping of str to ndarray, shape (k,)
    course : ndarray of int, shape (k,)
        Place of each among the courses.
    worth : ndarray, shape (k,)
        What each counts for: together as much as their courses.
    """

    values: Values
    course: np.ndarray
    worth: np.ndarray


def shown(
    courses: AnalysisSet, sets: Sequence[Values], worth: np.ndarray | None = None
) -> Shown:
    """Give courses without gaps once, and those with gaps as often as they were filled.

    Parameters
    ----------
    courses : AnalysisSet
        With the gaps.
    sets : sequence of mapping
        Their values in a few fillings: `SHOWN` of them.
    worth : ndarray, shape (n,), optional
        What a course counts for; not given: 1.
    """
    worth = np.ones(len(courses.y)) if worth is None else worth
    whole = complete_rows(courses)
    gappy = np.setdiff1d(np.arange(len(courses.y)), whole)
    parts = [take(sets[0], whole), *(take(values, gappy) for values in sets)]
    rows = [whole, *(gappy for _ in sets)]
    counts = [worth[whole], *(worth[gappy] / len(sets) for _ in sets)]
    return Shown(_stacked(parts), np.concatenate(rows), np.concatenate(counts))


def _stacked(sets: Sequence[Values]) -> Values:
    """Put the values of several fillings one after the other."""
    return {name: np.concatenate([values[name] for values in sets]) for name in sets[0]}


def _mixed(fits: Sequence[MixedFit], pooled: Pooled) -> MixedFit:
    """Average the random intercepts; between fillings adds to their uncertainty."""
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
