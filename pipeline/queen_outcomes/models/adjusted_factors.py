"""What a fitted model says of each factor: adjusted probabilities and differences.

Every course is predicted with the factor changed and all else as it was, averaged over
random intercepts. Values that hardly share operators, lines or batches get no difference.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.special import expit

from queen_outcomes.models.analysis_set import has_two, numbered
from queen_outcomes.models.choose import few_groups, is_between
from queen_outcomes.models.fit import Fitted
from queen_outcomes.models.terms import OTHER, Form, Values
from queen_outcomes.stats.logistic.adjusted import (
    Adjusted,
    adjusted_probabilities,
    contrast,
    e_value,
    fixed_probability,
)
from queen_outcomes.stats.logistic.collinear import CrossProducts
from queen_outcomes.stats.logistic.mixed_average import integrate_random
from queen_outcomes.stats.shares.multiplicity import holm
from queen_outcomes.stats.tails import t_isf

GRID = 15
EDGES = (0.02, 0.98)
FEW_VALUES = 6
"""Numbers with no more distinct values than this are shown at those values."""
LEAST_OVERLAP = 0.10
FEWEST_COURSES, FEWEST_BATCHES = 20, 3
"""Courses and graft batches in cells that hold both values, below which no difference is
given."""
NO_FIGURE, NO_VERDICT = 10.0, 5.0
"""Variance inflation from which on there is no difference, and no P."""
UNSETTLED = "what is not settled: more than half of it is filled in"
"""From what two values are not told apart where too much is missing."""
SHARED = {"operator": "operator", "line": "line", "graft_batch": "graft batch"}
"""Within these, courses of both values are looked for; and what they are called."""

MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)

SHARE = ("probability", "low", "high")
"""Columns of an average with its limits."""

Row = dict[str, object]


@dataclass(frozen=True, eq=False)
class FactorPredictions:
    """A factor of a fit, its values to be shown, and the courses it applies to."""

    fitted: Fitted
    form: Form
    values: tuple
    weights: np.ndarray
    adjusted: Adjusted


COUNTED = ("cases",)
"""Units of what is counted: a value between two counts has no name."""


def label_of(form: Form, value) -> str:
    """Name a value of a factor as people know it."""
    if isinstance(value, str):
        return value
    term = form.term
    if term.kind == "season":
        day = dt.date(2025, 1, 1) + dt.timedelta(days=round(value) - 1)
        return f"{day.day} {MONTHS[day.month - 1]}"
    shown = term.as_read(value)
    whole = abs(shown) >= 100 or term.unit in COUNTED
    digits = f"{shown:.0f}" if whole else f"{shown:.3g}"
    return f"{digits} {term.unit}".strip()


def number_of(form: Form, value) -> float | None:
    """Give a value of a factor as people know it; None for a word."""
    return None if isinstance(value, str) else form.term.as_read(value)


def asked_values(form: Form, x: np.ndarray) -> tuple:
    """Give the values at which a factor is shown, in order."""
    if form.term.kind == "words":
        return tuple(sorted(form.levels))
    seen = x[np.isfinite(x)]
    distinct = np.unique(seen)
    if len(distinct) <= FEW_VALUES:
        return tuple(distinct.tolist())
    low, high = np.quantile(seen, EDGES)
    inside = distinct[(distinct >= low) & (distinct <= high)]
    if len(inside) <= 2 * GRID and (inside == np.round(inside)).all():
        return tuple(inside.tolist())  # whole days: nothing lies between them
    return tuple(np.unique(np.linspace(low, high, GRID)).tolist())


def compared_values(form: Form, x: np.ndarray) -> tuple[object, tuple]:
    """Give the usual value and those it is compared with."""
    if form.term.kind == "words":
        return form.levels[0], form.levels[1:]
    seen = x[np.isfinite(x)]
    distinct, counts = np.unique(seen, return_counts=True)
    if len(distinct) <= FEW_VALUES:
        usual = float(distinct[np.argmax(counts)])
        return usual, tuple(v for v in distinct.tolist() if v != usual)
    low, usual, high = np.quantile(seen, [0.25, 0.5, 0.75]).tolist()
    return usual, tuple(v for v in (low, high) if v != usual)


def set_to(values: Values, form: Form, value) -> dict[str, np.ndarray]:
    """Give the courses' values with one factor changed.

    A changed CO2 schedule is taken at the usual time between exposures.
    """
    column = form.term.column
    x = values[column]
    changed = dict(values)
    changed[column] = np.full(
        len(x), value, dtype=None if isinstance(value, str) else float
    )
    if column == "co2_schedule":
        changed["co2_gap"] = np.full(len(x), np.nan)
    return changed


def ask(fitted: Fitted, form: Form, values: Sequence) -> FactorPredictions:
    """Predict every course with the factor at each value, and average."""
    courses, weights = fitted.predicted, fitted.predicted_weights
    if form.term.kind == "gap":
        weights = weights * has_two(courses)
    averaged = fixed_probability
    if fitted.mixed is not None:
        averaged = partial(_averaged, deviations=fitted.deviations)

    def mean(eta: np.ndarray) -> tuple[np.ndarray, ...]:
        return averaged(eta + fitted.shift)

    X, number = fitted.predicted_X, fitted.design.forms.index(form)

    def make_X(value) -> np.ndarray:
        return fitted.design.matrix_from(X, courses, set_to(courses, form, value))

    found = adjusted_probabilities(
        *(make_X, tuple(values), fitted.beta, fitted.cov_all),
        weights=weights,
        mean_probability=mean,
        df=partial(fitted.df, columns=fitted.design.columns_of(number)),
    )
    return FactorPredictions(fitted, form, tuple(values), weights, found)


def _averaged(eta: np.ndarray, deviations: np.ndarray) -> tuple[np.ndarray, ...]:
    """Average over all random intercepts; with a slope in each deviation."""
    sd = float(np.sqrt(np.sum(deviations**2)))
    mean, slope, by_sd = integrate_random(eta, sd)
    share = deviations / sd if sd > 0 else np.zeros(len(deviations))
    return mean, slope, *(by_sd * part for part in share)


def adjusted_rows(fitted: Fitted) -> list[Row]:
    """Give every factor's adjusted probabilities."""
    rows: list[Row] = []
    for form in fitted.design.forms:
        x = fitted.courses.values[form.term.column]
        asked = ask(fitted, form, asked_values(form, x))
        found = asked.adjusted
        told = fitted.is_told(found.gradient)
        figures = np.where(told, [found.probability, found.low, found.high], np.nan).T
        for row, shown in zip(value_rows(form, x, asked.values), figures, strict=True):
            rows.append(row | dict(zip(SHARE, shown, strict=True)))
    return rows


def value_rows(form: Form, x: np.ndarray, values: Sequence) -> list[Row]:
    """Name a factor's values, and count the courses that are nearest to each."""
    place = nearest(form, x, values)
    return [
        {
            "factor": form.term.name,
            "value": number_of(form, value),
            "label": label_of(form, value),
            "courses_near": int((place == at).sum()),
        }
        for at, value in enumerate(values)
    ]


def nearest(form: Form, x: np.ndarray, values: Sequence) -> np.ndarray:
    """Give the place of the value that each course is nearest to; -1: none."""
    if form.term.kind == "words":
        places = {value: at for at, value in enumerate(values)}
        known = dict.fromkeys(form.levels, -1) | places | {"": -1}
        found = np.full(len(x), places.get(OTHER, -1))
        for name, at in known.items():
            found[x == name] = at
        return found
    away = np.abs(x[:, None] - np.asarray(values, float)[None, :])
    place = np.argmin(np.nan_to_num(away, nan=np.inf), axis=1)
    return np.where(np.isfinite(x), place, -1)


@dataclass(frozen=True)
class Alias:
    """What a factor is least told apart from, and its variance inflation because of all.

    ``few`` says between which too few groups alone it varies; empty: it does not.
    """

    name: str
    inflation: float
    few: str = ""

    @property
    def is_compared(self) -> bool:
        """Tell whether differences are given."""
        return self.inflation < NO_FIGURE

    @property
    def is_tested(self) -> bool:
        """Tell whether there is a P."""
        return self.inflation < NO_VERDICT and not self.few

    @property
    def said(self) -> str:
        """Say why it has no P; empty: it has."""
        if self.inflation < NO_VERDICT:
            return self.few
        return f"not told apart from the {self.name}: no P"


def contrast_rows(fitted: Fitted, near: Mapping[str, Alias]) -> list[Row]:
    """Compare every factor's usual value with its alternatives; Holm over all."""
    rows: list[Row] = []
    shared = numbered_groups(fitted.courses.values)
    for form in fitted.design.forms:
        usual, others = compared_values(form, fitted.courses.values[form.term.column])
        if others:
            asked = ask(fitted, form, (usual, *others))
            own = near[form.term.name]
            places = range(1, len(asked.values))
            rows += [contrast_row(asked, at, own, shared) for at in places]
    return with_holm(rows)


def aliases(fitted: Fitted) -> dict[str, Alias]:
    """Give what each factor of a model is least told apart from.

    Against all other factors of the model and the operators, unshrunk. Batches are not
    asked: within most of them a factor hardly varies, and it is between batches that the
    model compares it (`overlap` asks how many hold both values).
    """
    free = fitted.design.pull == 0  # a bend drawn to a line cannot run off with another
    columns = [
        fitted.X[:, [j for j in fitted.design.columns_of(k) if free[j]]]
        for k in range(len(fitted.design.forms))
    ]
    weights = expit(fitted.X @ fitted.beta)
    weights *= 1.0 - weights
    forms = fitted.design.forms
    every = {"operator": fitted.courses.values["operator"]}
    every |= {one.term.label: x for one, x in zip(forms, columns, strict=True)}
    products, found = CrossProducts(every, weights), {}
    for form in forms:
        own = form.term.label
        near = _alias(products, own, [name for name in every if name != own])
        few = few_groups(form.term, fitted.courses.values)
        found[form.term.name] = replace(near, few=few)
    return found


def _alias(products: CrossProducts, own: str, others: Sequence[str]) -> Alias:
    wider = products.inflation(own, others)
    if wider < NO_VERDICT:
        return Alias("", wider)
    alone = {name: products.inflation(own, [name]) for name in others}
    return Alias(max(alone, key=alone.get), wider)


def with_holm(rows: list[Row]) -> list[Row]:
    """Raise every P for how many there are; a row that has none stays as it is."""
    p = [np.nan if row.get("p") is None else row["p"] for row in rows]
    raised = holm(np.array(p, float))
    return [
        {**row, "p_holm": high} if "p" in row else row
        for row, high in zip(rows, raised, strict=True)
    ]


def contrast_row(
    asked: FactorPredictions, at: int, near: Alias, shared: Mapping[str, np.ndarray]
) -> Row:
    """Compare one of the asked values with the first; nothing where they hardly overlap."""
    row = pair_row(asked.fitted.courses.values, asked.form, asked.values, at, shared)
    blank = (
        *("risk_difference", "low", "high", "odds_ratio", "or_low", "or_high", "p"),
        *("e_value", "e_value_limit"),
    )
    if row["apart_from"] or not near.is_compared:
        return (
            row | {"apart_from": row["apart_from"] or near.name} | dict.fromkeys(blank)
        )
    row["apart_from"] = near.name
    gradient = asked.adjusted.gradient[at] - asked.adjusted.gradient[0]
    if not asked.fitted.is_told(gradient)[0]:
        return row | {"apart_from": UNSETTLED} | dict.fromkeys(blank)
    number = asked.fitted.design.forms.index(asked.form)
    columns = asked.fitted.design.columns_of(number)
    df = float(asked.fitted.df(gradient, columns)[0])
    found = contrast(asked.adjusted, at, 0, df=df)
    difference = found.difference
    failures = found.failure_ratio
    hidden = e_value(failures.estimate, failures.low, failures.high)
    numbers = (
        *(difference.estimate, difference.low, difference.high),
        *odds_ratio(asked, at),
        found.p if near.is_tested else None,
        *(hidden.estimate, hidden.limit),
    )
    return row | dict(zip(blank, numbers, strict=True))


def odds_ratio(asked: FactorPredictions, at: int) -> tuple[float, float, float]:
    """Give the odds ratio within batch and operator, with limits."""
    fitted, form = asked.fitted, asked.form
    one = np.flatnonzero(asked.weights > 0)[:1]
    course = {name: x[one] for name, x in fitted.predicted.items()}
    X = [
        fitted.design.matrix(set_to(course, form, asked.values[place]))[0]
        for place in (at, 0)
    ]
    step = X[0] - X[1]
    columns = fitted.design.columns_of(fitted.design.forms.index(form))
    arm = float(t_isf(0.025, fitted.df(step, columns)[0]))
    size, spread = step @ fitted.beta, arm * np.sqrt(step @ fitted.cov @ step)
    with np.errstate(over="ignore"):
        return tuple(float(np.exp(size + side * spread)) for side in (0, -1, 1))


def numbered_groups(values: Values) -> dict[str, np.ndarray]:
    """Give codes of the groups that compared values are looked for in."""
    return {name: numbered(values[name]) for name in SHARED}


def pair_row(
    courses: Values,
    form: Form,
    values: Sequence,
    at: int,
    shared: Mapping[str, np.ndarray] | None = None,
) -> Row:
    """Name a value and the usual one, the first, and say how far they overlap.

    ``overlap`` is the smallest share, over operators, lines and graft batches, of courses
    whose cell holds both values; ``apart_from`` names where too few do: no difference can
    be given then. A factor that is the same for a whole batch (a line, a season) is
    compared between batches, so batches are not asked; nor is a grouping that is the
    factor itself. ``shared`` are the `numbered_groups`, where several pairs ask for them.
    """
    shared = shared or numbered_groups(courses)
    place = nearest(form, courses[form.term.column], values)
    cells = list(_cells(courses, form, place == at, place == 0, shared))
    apart = [label for label, share, is_few in cells if is_few or share < LEAST_OVERLAP]
    return {
        "factor": form.term.name,
        "value": label_of(form, values[at]),
        "reference": label_of(form, values[0]),
        "overlap": min((share for _, share, _ in cells), default=1.0),
        "apart_from": apart[0] if apart else "",
    }


def _cells(
    values: Values,
    form: Form,
    one: np.ndarray,
    other: np.ndarray,
    shared: Mapping[str, np.ndarray],
) -> Iterator[tuple[str, float, bool]]:
    """Give each grouping, the share of courses in cells of both, and whether they are few."""
    for name, label in SHARED.items():
        group, x = values[name], values[form.term.column]
        batchwise = name == "graft_batch" and is_between(x, group)
        if name == form.term.name or batchwise or not (group != "").any():
            continue
        code = shared[name]
        both = (np.bincount(code, one) > 0) & (np.bincount(code, other) > 0)
        chosen = (one | other) & (group != "")
        meeting = both[code[chosen]]
        batches = len(np.unique(code[chosen][meeting]))
        few = name == "graft_batch" and batches < FEWEST_BATCHES
        few |= meeting.sum() < FEWEST_COURSES
        yield label, float(meeting.mean()) if len(meeting) else 0.0, bool(few)
