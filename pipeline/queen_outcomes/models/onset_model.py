"""The onset model of a station: what is known of laying, what enters, the fit.

What may enter is chosen as for the other models, or taken as it was fixed at the season's
first build. Where the records do not determine a factor it is left out and named; gaps are
filled in several times and the fits joined by Rubin's rules. A model that cannot be had is
a reason in words.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain

import numpy as np

from queen_outcomes.models.analysis_set import (
    RECORDED,
    RECORDED_WHEN_FIXED,
    AnalysisSet,
    analysis_set,
    complete_rows,
    take,
    with_gaps,
)
from queen_outcomes.models.choose import (
    Design,
    Earlier,
    as_earlier,
    by_reason,
    choose,
    leave_out,
    take_earlier,
)
from queen_outcomes.models.filled import (
    SHOWN,
    Shown,
    filled_said,
    fillings,
    find_few,
    shown,
)
from queen_outcomes.models.fit import (
    EACH,
    RARE,
    TOO_RARE,
    cluster_codes,
    groupings,
    join,
)
from queen_outcomes.models.terms import Term, Values
from queen_outcomes.outcomes import fills
from queen_outcomes.stats.histories.pooling import freedom_by_gaps, pool
from queen_outcomes.stats.logistic.robust import FEW_FOR_CR2, MANY_FOR_CR1
from queen_outcomes.stats.logistic.separation import find_separation
from queen_outcomes.stats.onset.onset_fit import (
    NARROW,
    WIDE,
    Courses,
    OnsetFit,
    derivatives,
    fit_onset,
)


@dataclass(frozen=True, eq=False)
class Seen:
    """What the records tell of each course's onset: arrays of one length.

    Laying began in ``(after, by]`` days after day 0, ``by`` inf including never; with
    ``or_never`` in that time or never.
    """

    after: np.ndarray
    by: np.ndarray
    or_never: np.ndarray

    @property
    def laid(self) -> np.ndarray:
        """Courses known to have laid."""
        return np.isfinite(self.by) & ~self.or_never

    def unlaid(self, day: int) -> np.ndarray:
        """Courses that ended unlaid, or were not laying on a day."""
        return ~self.laid & (self.or_never | (self.after >= day))

    @property
    def open_(self) -> np.ndarray:
        """Courses that have not laid and have not ended."""
        return np.isinf(self.by) & ~self.or_never

    def take(self, rows: np.ndarray) -> Seen:
        """Give some of the courses."""
        return Seen(self.after[rows], self.by[rows], self.or_never[rows])


def in_numbers(seen: Seen) -> np.ndarray:
    r"""Give what is known of laying as numbers, for gaps in the factors to be filled by.

    Returns
    -------
    ndarray, shape (n, 3)
        With p, m, s of the model without factors: how much likelier than p a course is
        to be a layer, given its record; how far above m its log day is then expected,
        times the chance that it is a layer, over s squared; 1 where it ended unlaid.
        Without such a model: 1 where known to have laid, and where ended unlaid.

    Notes
    -----
    The first two are the scores of log odds and log day. To first order, all that a
    record tells of a factor that goes with either lies in them: the chance of the
    record given the factor x is that without, times 1 + (effect of x) (score). An open
    course so counts as the layer that it may yet be, and a wide interval as less than
    a narrow one. That a course ended is known besides, and may go with gaps.
    """
    ended = seen.or_never.astype(float)
    ones = np.ones((len(ended), 1))
    alone = fit_onset(ones, ones, seen.after, seen.by, seen.or_never)
    if not np.isfinite(alone.sigma):
        return np.column_stack([seen.laid.astype(float), ended])
    with np.errstate(divide="ignore"):
        ends = np.log(np.maximum(seen.after, 0.0)), np.log(seen.by)
    courses = Courses(ones, ones, *ends, seen.or_never | np.isposinf(seen.by), False)
    at = np.array([*alone.gamma, *alone.beta, np.log(alone.sigma)])
    scores = derivatives(courses, at).scores[:, :2]
    # where everybody lays, chances differ from 1 by rounding alone
    return np.column_stack([scores.round(9), ended])


DAY_TERMS = ("co2_schedule", "dose", "queen_age")
"""Factors of the days to laying, numbers as lines, in order of priority."""
BATCH = "graft_batch"


@dataclass(frozen=True, eq=False)
class OnsetForm:
    """What was fixed earlier of both parts; ``left_out`` went before either chose."""

    chance: Earlier
    days: Earlier
    left_out: tuple[str, ...] = ()

    @property
    def terms(self) -> tuple[Term, ...]:
        """Give every factor once: those of the chance, then those of the days alone."""
        names = {term.name for term in self.chance.terms}
        own = (term for term in self.days.terms if term.name not in names)
        return (*self.chance.terms, *own)


@dataclass(frozen=True, eq=False)
class Batches:
    """How graft batches enter: as clusters, as levels, or not at all."""

    clusters: np.ndarray | None
    levels: tuple[str, ...]
    said: str


def find_batches(courses: AnalysisSet) -> Batches:
    """Let limits allow for batches where there are enough, else make them levels."""
    codes = cluster_codes(courses)
    count = len(np.unique(codes))
    if count >= FEW_FOR_CR2:
        said = f"limits by graft batch, over {count} batches"
        few = ", raised because they are few" if count < MANY_FOR_CR1 else ""
        return Batches(codes, (), said + few)
    if count == 1:
        return Batches(None, (), "one graft batch: nothing is said of others")
    if count < len(codes):
        return Batches(None, (BATCH,), f"{count} graft batches")
    return Batches(None, (), "each course stands by itself")


def choose_chance(
    courses: AnalysisSet,
    unlaid: np.ndarray,
    adjust_for: Sequence[str],
    batches: Batches,
    form: OnsetForm | None,
) -> Design:
    """Choose what goes with laying at all, on courses that laid or did not.

    A level seen in open courses alone would have no answer: it is not a level then.
    """
    rarer = int(min(courses.y.sum(), unlaid.sum()))
    settled = _part(courses, np.flatnonzero((courses.y > 0) | unlaid))
    levels = [name for name in groupings(settled)[1] if name != BATCH]
    fixed = [*levels, *batches.levels] if rarer >= TOO_RARE else []
    if form:
        settled = replace(settled, terms=_among(settled.terms, form.chance))
        return take_earlier(settled, form.chance, fixed=fixed)
    return choose(
        settled,
        fixed=fixed,
        adjust_for=adjust_for if rarer >= RARE else (),
        each=EACH,
        counted=(rarer, "of the rarer answer"),
    )


def choose_days(
    courses: AnalysisSet, batches: Batches, form: OnsetForm | None
) -> Design:
    """Choose what goes with the day, on courses known to have laid."""
    layers = _part(courses, np.flatnonzero(courses.y > 0))
    there = {term.name: term for term in courses.terms}
    terms = [there[name] for name in DAY_TERMS if name in there]
    lines = tuple(
        replace(term, kind="line", knots=None) if term.kind == "spline" else term
        for term in terms
    )
    if form:
        layers = replace(layers, terms=_among(lines, form.days))
        return take_earlier(layers, form.days, fixed=batches.levels)
    return choose(
        replace(layers, terms=lines),
        fixed=batches.levels,
        adjust_for=(),
        each=EACH,
        counted=(len(layers.y), "courses known to have laid"),
    )


def _among(terms: Sequence[Term], earlier: Earlier) -> tuple[Term, ...]:
    """Give the terms that were fixed for one part."""
    names = {term.name for term in earlier.terms}
    return tuple(term for term in terms if term.name in names)


def _part(courses: AnalysisSet, rows: np.ndarray) -> AnalysisSet:
    values, y = take(courses.values, rows), courses.y[rows]
    return replace(courses, values=values, y=y, rows=courses.rows[rows])


NOTHING_LEFT = "no factor is left to compare"
UNDETERMINED = "with it the records do not determine the model"

Columns = tuple[np.ndarray, np.ndarray]
"""Of the chance of laying and of the log day, a row a course."""


@dataclass(frozen=True, eq=False)
class OnsetModel:
    """The fitted onset model of a station, or why there is none.

    Attributes
    ----------
    courses : AnalysisSet
        Complete courses, or all with their gaps where these were filled in, whatever
        became of them; ``y`` is 1 where known to have laid.
    seen : Seen
        Of these courses.
    chance, days : Design
        Of the chance of laying, and of the log day among layers.
    batches : Batches
        How graft batches enter.
    fit : OnsetFit or None
    message : str
    filled : Shown or None
        The courses to average over where gaps were filled.
    imputations : int
        How often gaps were filled; 0: never.
    """

    courses: AnalysisSet
    seen: Seen
    chance: Design
    days: Design
    batches: Batches
    fit: OnsetFit | None
    message: str
    filled: Shown | None = None
    imputations: int = 0

    @property
    def method(self) -> str:
        """Give "mixture", or "none" where there is no model."""
        return "mixture" if self.fit is not None and self.fit.converged else "none"

    @property
    def form(self) -> OnsetForm:
        """Give both parts' factors and knots, so that they can be fixed."""
        gone = by_reason(self.courses.left_out)
        return OnsetForm(as_earlier(self.chance), as_earlier(self.days), gone)

    @property
    def left_out(self) -> tuple[str, ...]:
        """Give what was left out of both parts or one, and why."""
        parts = (("chance", self.chance), ("days", self.days))
        own = [
            f"{name}: {said}"
            for name, part in parts
            for said in by_reason(part.left_out)
        ]
        return (*by_reason(self.courses.left_out), *own)

    @property
    def predicted(self) -> Values:
        """Courses to average over: with the gaps filled where they were."""
        return self.courses.values if self.filled is None else self.filled.values

    @property
    def worth(self) -> np.ndarray:
        """What each of these counts for in an average."""
        return np.ones(len(self.courses.y)) if self.filled is None else self.filled.worth

    @property
    def course(self) -> np.ndarray:
        """Place of each of these among the courses."""
        if self.filled is None:
            return np.arange(len(self.courses.y))
        return self.filled.course

    @cached_property
    def as_they_are(self) -> Columns:
        """Columns of both parts of the courses to average over, no factor changed."""
        return self.columns(self.predicted)

    def columns(self, values: Values) -> Columns:
        """Give the columns of both parts for these values."""
        return self.chance.matrix(values), self.days.matrix(values)

    def changed(self, values: Values) -> Columns:
        """Give the same columns as `columns`, sooner where few factors were changed.

        ``values`` are those of `predicted`, some of the arrays put in place of others.
        """
        X, Z = self.as_they_are
        return (
            self.chance.matrix_from(X, self.predicted, values),
            self.days.matrix_from(Z, self.predicted, values),
        )


def shape(
    courses: AnalysisSet,
    seen: Seen,
    adjust_for: Sequence[str],
    day: int,
    form: OnsetForm | None = None,
) -> OnsetModel:
    """Choose the factors of both parts, or take those fixed; nothing is fitted."""
    batches = find_batches(courses)
    chance = choose_chance(courses, seen.unlaid(day), adjust_for, batches, form)
    days = choose_days(courses, batches, form)
    return OnsetModel(courses, seen, chance, days, batches, None, courses.message)


def no_model(courses: AnalysisSet, seen: Seen, why: str) -> OnsetModel:
    """Give counts only, and the reason."""
    empty = Design((), np.zeros(1, int), np.full(1, -1), ("constant",), (), "")
    said = join(why, courses.message)
    return OnsetModel(courses, seen, empty, empty, Batches(None, (), ""), None, said)


def fit_values(model: OnsetModel, values: Values) -> OnsetFit:
    """Fit a model's shape to these values of its courses' factors."""
    seen, clusters = model.seen, model.batches.clusters
    columns = model.columns(values)
    return fit_onset(*columns, seen.after, seen.by, seen.or_never, clusters)


def fit_down(model: OnsetModel, day: int) -> OnsetModel:
    """Fit, and leave out what the records do not determine until the rest is."""
    values, batches = model.courses.values, model.batches
    while model.chance.forms or model.days.forms:
        fit = fit_values(model, values)
        model = replace(model, fit=fit)
        chance, days, why = _find_blamed(model, model.chance.matrix(values), day)
        if not chance and not days:
            said = join(fit.message, model.chance.message, model.days.message)
            told = join(said, model.message, batches.said, _levels_said(model))
            return replace(model, message=told)
        if batches.levels and BATCH in {
            model.chance.forms[k].term.name for k in chance
        }:
            why = "the graft batches as levels cannot be told apart from laying"
            break
        model = replace(
            model,
            chance=leave_out(model.chance, chance, values, why),
            days=leave_out(model.days, days, values, why),
        )
    else:
        why = NOTHING_LEFT
    return replace(model, fit=None, message=join(why, model.message))


def _find_blamed(model: OnsetModel, X, day: int) -> tuple[list[int], list[int], str]:
    """Give the factors of both parts that must go after a fit, and why.

    Those that separate courses that laid from those that did not; else the last one.
    """
    fit, chance, days = model.fit, model.chance, model.days
    if fit.kind == "everybody" and chance.forms:
        every = list(range(len(chance.forms)))
        return every, [], "every course is fitted as laying sooner or later"
    if fit.converged or _is_of_spread(fit):
        return [], [], ""
    settled = (model.courses.y > 0) | model.seen.unlaid(day)
    apart = find_separation(X[settled], model.courses.y[settled])
    owners = {int(chance.owner[j]) for j in apart.columns} - {-1}
    if owners:
        return sorted(owners), [], UNDETERMINED
    if chance.forms and len(chance.kept) >= len(days.kept):
        return [len(chance.forms) - 1], [], UNDETERMINED
    return [], [len(days.forms) - 1] if days.forms else [], UNDETERMINED


def _is_of_spread(fit: OnsetFit) -> bool:
    """Tell whether it is the days' spread that cannot be had; no factor is to blame."""
    return bool(np.isfinite(fit.sigma)) and not NARROW < fit.sigma < WIDE


def _levels_said(model: OnsetModel) -> str:
    """Say where graft batches stand as levels."""
    if not model.batches.levels:
        return ""
    parts = (("the chance", model.chance), ("the days", model.days))
    inside = [
        name for name, part in parts if BATCH in {form.term.name for form in part.forms}
    ]
    where = " and ".join(inside)
    return f"as levels of {where}" if where else "limits take no account of them"


SEED = zlib.crc32(b"laying, onset model")


def fill(courses: AnalysisSet, seen: Seen, times: int) -> Iterator[AnalysisSet]:
    """Fill the gaps in the factors several times, with what is known of laying."""
    for values in fillings(courses, in_numbers(seen), seed=SEED, times=times):
        yield replace(courses, values=values)


def over_fillings(first: OnsetModel, sets: Iterable[AnalysisSet]) -> OnsetModel:
    """Fit the other fillings in the shape of the first, and join the fits."""
    if first.method == "none":
        return first
    found: list[OnsetFit] = []
    some: list[Values] = []
    times = 0
    for filling in sets:
        fit = fit_values(first, filling.values) if times else first.fit
        times += 1
        if not fit.converged or fit.kind != first.fit.kind:
            continue
        found.append(fit)
        if len(some) < SHOWN:
            some.append(filling.values)
    few = find_few(len(found), times)
    if few:
        return replace(first, fit=None, message=join(few, first.courses.message))
    return replace(
        first,
        fit=join_fits(found),
        message=join(first.message, filled_said(len(found), times)),
        filled=shown(first.courses, some),
        imputations=times,
    )


def join_fits(fits: Sequence[OnsetFit]) -> OnsetFit:
    """Join fits of one shape and kind; limits allow for gaps and for batches.

    Parameters
    ----------
    fits : sequence of OnsetFit

    Returns
    -------
    OnsetFit
        Means of gamma, beta and log sigma, with Rubin's covariance. A contrast has the
        fewer degrees of freedom of gaps and of batches. No log-likelihood.
    """
    first = fits[0]
    p, q = len(first.gamma), len(first.beta)
    whole = [np.array([*fit.gamma, *fit.beta, np.log(fit.sigma)]) for fit in fits]
    pooled = pool(whole, [fit.cov_joint for fit in fits])

    def freedom(contrast) -> float:
        return min(float(freedom_by_gaps(pooled, contrast)[0]), first.df(contrast))

    return replace(
        first,
        gamma=pooled.beta[:p],
        beta=pooled.beta[p : p + q],
        sigma=float(np.exp(pooled.beta[-1])),
        cov_joint=pooled.cov,
        log_likelihood=float("nan"),
        freedom=freedom,
    )


def fit_station(
    values: Values,
    seen: Seen,
    terms: Sequence[Term],
    adjust_for: Sequence[str],
    day: int,
    form: OnsetForm | None = None,
) -> OnsetModel:
    """Choose the factors of both parts and fit.

    Where not nearly all courses are complete in what was chosen, gaps are filled in;
    factors and forms are chosen on one filling.

    Parameters
    ----------
    values : mapping of str to ndarray, shape (n,)
        Factors and groups of every course.
    seen : Seen
        Of the same courses.
    terms : sequence of Term
        That may go with the chance of laying, in order of priority.
    adjust_for : sequence of str
        Factors that the budget does not drop, where answers are not rare.
    day : int
        Not laying on this day counts as not laying when the budget is reckoned.
    form : OnsetForm, optional
        Factors and forms of both parts that were fixed earlier; not given: chosen now.

    Returns
    -------
    OnsetModel
    """
    courses = _standing(values, seen, terms, form)
    if form is None and _is_gappy(courses) and not _too_few(courses):
        for once in fill(courses, seen, times=1):
            form = shape(once, seen, adjust_for, day).form
            courses = _standing(values, seen, terms, form)
    seen = seen.take(courses.rows)
    why = _too_few(courses)
    if why:
        return no_model(courses, seen, why)
    if not _is_gappy(courses):
        return fit_down(shape(courses, seen, adjust_for, day, form), day)
    sets = fill(courses, seen, fills.TIMES)
    once = next(sets)
    first = fit_down(shape(once, seen, adjust_for, day, form), day)
    return over_fillings(replace(first, courses=courses), chain([once], sets))


def _standing(
    values: Values, seen: Seen, terms: Sequence[Term], form: OnsetForm | None
) -> AnalysisSet:
    """Give the complete courses; all, gaps and all, where not nearly all are complete."""
    y = seen.laid.astype(float)
    asked, recorded = (form.terms, RECORDED_WHEN_FIXED) if form else (terms, RECORDED)
    found = analysis_set(values, y, asked, recorded)
    said = f"{len(found.y)} of {len(y)} courses are complete in every factor"
    if found.is_short:
        found = with_gaps(found, values, y)
    else:
        short = len(found.y) < len(y)
        said = f"{said}, and these figures stand on them" if short else ""
    gone = (*form.left_out, *found.left_out) if form else found.left_out
    return replace(found, left_out=gone, message=said)


def _is_gappy(courses: AnalysisSet) -> bool:
    return len(complete_rows(courses)) < len(courses.y)


def _too_few(courses: AnalysisSet) -> str:
    """Say why no model can be had of so few; empty when there are enough."""
    if not len(courses.y):
        return "there are no courses"
    layers = int(courses.y.sum())
    if layers >= RARE:
        return ""
    known = f"{layers} courses are" if layers else "no course is"
    few = ", too few for a model of the day" if layers else ""
    return f"{known} known to have laid{few}"
