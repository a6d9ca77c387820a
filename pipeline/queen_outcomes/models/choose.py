"""What goes into a model, in which form: variation, a budget, and no two alike.

The order of the terms is the order of priority. Nothing is fitted; the answers are used
for nothing but how many there are of the rarer one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from queen_outcomes.models.analysis_set import GROUPINGS, AnalysisSet
from queen_outcomes.models.closed import BATCHES
from queen_outcomes.models.terms import (
    GROUPS,
    Form,
    Term,
    Values,
    coarsen,
    find_form,
    straightened,
)
from queen_outcomes.stats.logistic.collinear import independent_columns

FEWEST_GROUPS = 5
"""Groups that a factor varying only between them needs for a P."""
AT_ONCE = 500
"""Courses looked at together for whether a factor varies within batches."""
BATCHES_EACH = 10
"""Batches for each degree of freedom that varies only between batches."""


@dataclass(frozen=True, eq=False)
class Design:
    """The factors of a model and the columns they become.

    Attributes
    ----------
    forms : tuple of Form
    kept : ndarray of int
        Columns that stand on their own, of all that the forms give after the constant.
    owner : ndarray of int
        For each kept column the number of its form; -1 for the constant.
    names : tuple of str
        Of the kept columns.
    left_out : tuple of str
    message : str
    """

    forms: tuple[Form, ...]
    kept: np.ndarray
    owner: np.ndarray
    names: tuple[str, ...]
    left_out: tuple[str, ...]
    message: str

    @property
    def pull(self) -> np.ndarray:
        """Precision with which each coefficient is drawn to zero, shape (p,)."""
        every = [np.zeros(1), *(form.pull for form in self.forms)]
        return np.concatenate(every)[self.kept]

    def matrix(self, values: Values) -> np.ndarray:
        """Give the columns for these values, the constant first."""
        return _whole(self.forms, values)[:, self.kept]

    def matrix_from(self, X: np.ndarray, before: Values, values: Values) -> np.ndarray:
        """Give the columns for these values, X being those for the values before.

        Only the columns of factors that are another array than before are made anew.
        """
        made, first = X.copy(order="K"), 1
        for number, form in enumerate(self.forms):
            places = self.columns_of(number)
            if values[form.term.column] is not before[form.term.column]:
                made[:, places] = form.columns(values)[:, self.kept[places] - first]
            first += form.df
        return made

    def columns_of(self, number: int) -> list[int]:
        """Give the places of one factor's columns."""
        return np.flatnonzero(self.owner == number).tolist()


def _whole(forms: Sequence[Form], values: Values) -> np.ndarray:
    n = len(next(iter(values.values())))
    return np.column_stack([np.ones(n), *(form.columns(values) for form in forms)])


def choose(
    courses: AnalysisSet,
    *,
    fixed: Sequence[str],
    adjust_for: Sequence[str],
    each: int,
    counted: tuple[int, str] | None = None,
    drawn: bool = False,
) -> Design:
    """Choose factors and forms.

    Parameters
    ----------
    courses : AnalysisSet
    fixed : sequence of str
        Groupings that enter as levels.
    adjust_for : sequence of str
        Factors that the budget never drops.
    each : int
        Of the rarer answer for each degree of freedom.
    counted : tuple of int and str, optional
        How many there are of what limits the model, and what that is; the rarer answer
        when not given.
    drawn : bool
        Where the budget allows only a line, keep a bend that is drawn to one.
    """
    terms = [*courses.terms, *(GROUPS[name] for name in fixed)]
    forms, left_out = _that_vary(terms, courses.values)
    keep = {*adjust_for, *fixed}
    if counted is None:
        counted = (courses.rarer, "of the rarer answer")
    rarer, what = counted
    why = f"{rarer} {what} allow {rarer // each} degrees of freedom"
    told = (courses.values, left_out, why)
    forms = _within(forms, rarer // each, keep, told, drawn=drawn)
    for kind in BATCHES:
        some = (forms, kind, keep, courses.values, left_out)
        forms = _within_batches(*some, drawn=drawn)
    taken = sum(form.cost for form in forms)
    over = taken > rarer // each
    message = f"what is always adjusted for takes {taken}; {why}" if over else ""
    return _independent(forms, courses.values, left_out, message)


@dataclass(frozen=True)
class Earlier:
    """A choice fixed earlier: its factors, what was left out then, what was said."""

    terms: tuple[Term, ...]
    left_out: tuple[str, ...]
    message: str


def as_earlier(design: Design, left_out: Sequence[str] = ()) -> Earlier:
    """Give a design's factors and knots, so that they can be fixed.

    ``left_out`` names what had gone before the choice.
    """
    terms = [
        replace(
            form.term, knots=tuple(form.knots.tolist()) or 0, is_drawn=form.is_drawn
        )
        for form in design.forms
        if form.term.name not in GROUPS
    ]
    gone = by_reason([*left_out, *design.left_out])
    return Earlier(tuple(terms), gone, design.message)


def take_earlier(
    courses: AnalysisSet, earlier: Earlier, *, fixed: Sequence[str]
) -> Design:
    """Take the factors in the forms that were fixed earlier; no budget is asked."""
    terms = [*courses.terms, *(GROUPS[name] for name in fixed)]
    forms, vary_not = _that_vary(terms, courses.values)
    left_out = [*earlier.left_out, *vary_not]
    return _independent(forms, courses.values, left_out, earlier.message)


def leave_out(
    design: Design, numbers: Sequence[int], values: Values, why: str
) -> Design:
    """Give a design without some of its forms, and say why they went."""
    stay = [form for k, form in enumerate(design.forms) if k not in numbers]
    gone = [f"{design.forms[k].term.label}: {why}" for k in numbers]
    return _independent(stay, values, [*design.left_out, *gone], design.message)


def straight(design: Design, values: Values) -> Design:
    """Give a design with lines in place of bends that are drawn to one."""
    if not any(form.is_drawn for form in design.forms):
        return design
    forms = [straightened(f) if f.is_drawn else f for f in design.forms]
    return _independent(forms, values, list(design.left_out), design.message)


def by_reason(left_out: Sequence[str]) -> tuple[str, ...]:
    """Join what was left out for the same reason: "dose, line: does not vary"."""
    names: dict[str, list[str]] = {}
    for said in left_out:
        name, _, why = said.partition(": ")
        names.setdefault(why, []).append(name)
    return tuple(f"{', '.join(found)}: {why}" for why, found in names.items())


def _that_vary(terms: Sequence[Term], values: Values) -> tuple[list[Form], list[str]]:
    forms, left_out = [], []
    for term in terms:
        form = find_form(term, values)
        if form is None:
            left_out.append(f"{term.label}: does not vary")
        else:
            forms.append(form)
    return forms, left_out


def _within(
    forms: list[Form],
    allowed: int,
    keep: set[str],
    told: tuple[Values, list[str], str],
    among: set[str] | None = None,
    *,
    drawn: bool,
) -> list[Form]:
    """Make forms simpler, then drop them, the last first, until they fit."""
    values, left_out, why = told
    forms = list(forms)

    def inside() -> bool:
        counted = [f for f in forms if among is None or f.term.name in among]
        return sum(form.cost for form in counted) <= allowed

    for _ in range(2):
        for at in reversed(range(len(forms))):
            simpler = None if inside() else coarsen(forms[at], values, drawn=drawn)
            if simpler is not None and (among is None or forms[at].term.name in among):
                forms[at] = simpler
    for form in reversed(list(forms)):
        name = form.term.name
        if not inside() and name not in keep and (among is None or name in among):
            forms.remove(form)
            left_out.append(f"{form.term.label}: {why}")
    return forms


def _within_batches(
    forms, kind: str, keep: set[str], values: Values, left_out, *, drawn: bool
):
    """Hold what varies only between batches to the number of batches."""
    batch = values[kind]
    batches = len(np.unique(batch[batch != ""]))
    if not 2 <= batches < len(batch):
        return forms
    among = {
        form.term.name
        for form in forms
        if form.term.name not in GROUPS and is_between(values[form.term.column], batch)
    }
    word = GROUPS[kind].label
    allowed = batches // BATCHES_EACH
    why = f"varies only between the {batches} {word}es, too few for more factors"
    return _within(forms, allowed, keep, (values, left_out, why), among, drawn=drawn)


def is_between(x: np.ndarray, batch: np.ndarray) -> bool:
    """Tell whether a factor is the same for all courses of every batch."""
    known = (batch != "") & ((x != "") if x.dtype.kind == "U" else np.isfinite(x))
    places = np.flatnonzero(known)
    first: dict[str, Any] = {}
    # most factors vary within the first batches there are: no further is looked
    for start in range(0, len(places), AT_ONCE):
        some = places[start : start + AT_ONCE]
        pairs = zip(batch[some].tolist(), x[some].tolist(), strict=True)
        if any(first.setdefault(name, value) != value for name, value in pairs):
            return False
    return len(first) > 0


def few_groups(term: Term, values: Values) -> str:
    """Say that a factor varies only between too few groups for a P; empty: it does not.

    What is the same for all courses of an operator, a batch or a season is compared between
    these; of a handful the difference describes those that there were, and foretells no
    others.
    """
    x = values[term.column]
    kinds = {"year": "season"} | {name: GROUPS[name].label for name in GROUPINGS}
    for column, label in kinds.items():
        group = values.get(column)
        if group is None or not is_between(x, group):
            continue
        groups = len({*group.tolist()} - {""})
        if groups < FEWEST_GROUPS:
            plural = f"{label}es" if label.endswith("batch") else f"{label}s"
            return f"describes these {groups} {plural}: no P"
    return ""


def _independent(forms, values: Values, left_out: list[str], message: str) -> Design:
    """Leave out columns that earlier ones determine; forms without any go."""
    X = _whole(forms, values)
    owner = np.concatenate([[-1], *(np.full(f.df, k) for k, f in enumerate(forms))])
    names = ["constant", *(f"{f.term.label}: {n}" for f in forms for n in f.names)]
    kept = np.array(independent_columns(X), int)
    first = {k: int(np.flatnonzero(owner == k)[0]) for k in range(len(forms))}
    # a bend without its line would be drawn to no effect at all
    stay = [
        k
        for k, form in enumerate(forms)
        if (first[k] in kept if form.is_drawn else (owner[kept] == k).any())
    ]
    for k, form in enumerate(forms):
        lost = form.df - int((owner[kept] == k).sum())
        if k not in stay:
            left_out.append(
                f"{form.term.label}: cannot be told apart from those before it"
            )
        elif lost:
            left_out.append(f"{form.term.label}: in part the same as those before it")
    if len(stay) < len(forms):
        return _independent([forms[k] for k in stay], values, left_out, message)
    return Design(
        tuple(forms),
        kept,
        owner[kept],
        tuple(names[j] for j in kept),
        tuple(dict.fromkeys(left_out)),
        message,
    )
