"""Whether an operator can be told apart from what she works with: batches and factors.

An operator's figure is hers only where others worked on the same batches, and where no
factor coincides with her. Otherwise nobody is cleared or blamed: what she cannot be told
apart from is said instead of a figure.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from queen_outcomes.facts.words import BATCH_KINDS
from queen_outcomes.models.closed import BATCHES, ClosedCourses
from queen_outcomes.models.risks import RiskModel
from queen_outcomes.models.terms import Term
from queen_outcomes.stats.logistic.collinear import CrossProducts

NO_FIGURE, NO_VERDICT = 10.0, 5.0
"""Variance inflation from which on there is no figure, and no verdict."""
FEWEST_COURSES, FEWEST_BATCHES = 20, 3
"""Courses and batches that an operator shares with others, below which there is none."""
RUNAWAY = 4.0
"""Deviation of batches, in log odds, beyond which batches decide."""
OPERATOR = "operator "
"""Sets an operator's name off from those of factors."""
MOST_COURSES = 20_000
"""Courses on which inflation is measured: of more, those of some graft batches."""
PAIRS, ALIKE = 10.0, 0.1
"""Unlike pairs expected within batches, and the share of them seen, below which batches
decide."""


@dataclass(frozen=True)
class Apart:
    """What an operator cannot be told apart from.

    Attributes
    ----------
    name : str
        In words; empty: nothing.
    has_figure : bool
        Figures are given, without a verdict.
    """

    name: str = ""
    has_figure: bool = True


def apart_from(
    cases: ClosedCourses, model: RiskModel, terms: Sequence[Term]
) -> dict[str, Apart]:
    """Give for every operator what the operator cannot be told apart from.

    Parameters
    ----------
    cases : ClosedCourses
        With risks, and the factors of the terms where they are to be asked.
    model : RiskModel
        For how far batches deviate.
    terms : sequence of Term
        All factors that may matter, also those that a model had no room for.
    """
    counted = cases.some(np.flatnonzero(cases.counted & (cases.operator != "")))
    names = np.unique(cases.operator[cases.operator != ""]).tolist()
    if len(names) < 2:
        return {name: Apart() for name in names}
    decides = deciding_batches(counted, model)
    if decides:
        apart = Apart(f"{decides}, which decide nearly everything", has_figure=False)
        return dict.fromkeys(names, apart)
    others = {BATCH_KINDS[kind]: getattr(counted, kind) for kind in BATCHES}
    others |= {term.label: _filled(counted, term) for term in terms}
    some = _thinned(counted)
    others = {name: values[some] for name, values in others.items()}
    few = _few_shared(counted)
    number = np.searchsorted(names, counted.operator[some])
    hands = {name: number == at for at, name in enumerate(names)}
    # nobody is told apart from an operator who did all of them, or none
    asked = [
        n for n, own in hands.items() if n not in few and own.any() and not own.all()
    ]
    told = dict(few)
    if asked:
        risk = counted.risk[some]
        given = {OPERATOR + name: hands[name] for name in asked} | others
        products = CrossProducts(given, risk * (1 - risk))
        wider = products.inflations([OPERATOR + n for n in asked], list(others))
        told |= {
            name: _hidden(OPERATOR + name, wider[OPERATOR + name], products, others)
            for name in asked
        }
    return {name: told.get(name, Apart()) for name in names}


def _thinned(counted: ClosedCourses) -> np.ndarray:
    """Give the rows of every so manieth graft batch of a large station."""
    each = -(-len(counted) // MOST_COURSES)
    codes = np.unique(counted.graft_batch, return_inverse=True)[1]
    alone = np.arange(len(counted)) % each == 0
    return np.flatnonzero(np.where(counted.graft_batch == "", alone, codes % each == 0))


def deciding_batches(counted: ClosedCourses, model: RiskModel) -> str:
    """Name the kind of batch within which courses fare alike; empty: neither."""
    for kind in BATCHES:
        batch = getattr(counted, kind)
        known = batch != ""
        codes = np.unique(batch[known], return_inverse=True)[1]
        failed, risk = counted.failed[known], counted.risk[known]
        size, bad = np.bincount(codes), np.bincount(codes, failed)
        fail, both = np.bincount(codes, risk), np.bincount(codes, risk * (1 - risk))
        unlike = float((bad * (size - bad)).sum())
        expected = float((fail * (size - fail) - both).sum())
        runs_away = model.deviations.get(kind, 0.0) >= RUNAWAY
        if runs_away or (expected >= PAIRS and unlike < ALIKE * expected):
            return f"the {BATCH_KINDS[kind]}es"
    return ""


def _filled(counted: ClosedCourses, term: Term) -> np.ndarray:
    """Give a factor's values, those not recorded at the mean."""
    x = counted.values[term.column]
    if x.dtype.kind not in "fiu":
        return x
    seen = np.isfinite(x)
    return np.where(seen, x, x[seen].mean() if seen.any() else 0.0)


def _few_shared(counted: ClosedCourses) -> dict[str, Apart]:
    """Name the kind of batch of which operators share too few, of those who do."""
    found: dict[str, Apart] = {}
    for kind in BATCHES:
        levels, codes = np.unique(getattr(counted, kind), return_inverse=True)
        if len(levels) < 2:
            continue
        size, named = np.bincount(codes), levels != ""
        for name, rows in counted.by_operator().items():
            if name not in found and not _shares(codes[rows], size, named):
                found[name] = Apart(f"the {BATCH_KINDS[kind]}es", has_figure=False)
    return found


def _hidden(
    name: str, wider: float, products: CrossProducts, others: Iterable[str]
) -> Apart:
    """Give what goes with an operator so closely that her part cannot be seen.

    ``wider`` is her inflation because of all others together.
    """
    if wider < NO_VERDICT:
        return Apart()
    alone = {other: products.inflation(name, [other]) for other in others}
    return Apart(f"the {max(alone, key=alone.get)}", has_figure=wider < NO_FIGURE)


def _shares(own: np.ndarray, size: np.ndarray, named: np.ndarray) -> bool:
    """Tell whether enough courses lie in batches of an operator and others.

    Parameters
    ----------
    own : ndarray of int, shape (k,)
        Batches of the operator's courses.
    size : ndarray, shape (batches,)
        All courses of each.
    named : ndarray of bool, shape (batches,)
        Courses whose batch is not recorded are not asked.
    """
    batches, hers = np.unique(own, return_counts=True)
    batches, hers = batches[named[batches]], hers[named[batches]]
    if not len(batches):
        return True
    both = batches[hers < size[batches]]
    return size[both].sum() >= FEWEST_COURSES and len(both) >= FEWEST_BATCHES
