"""The main model with the arm in the place of dose and doses, and what it says of arms.

Nothing that comes after the first insemination is allowed for. Every course is predicted
in every arm, and the averages are compared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from queen_outcomes.doses.arm_courses import DOSE
from queen_outcomes.doses.differences import ADJUSTED, FILLED, Difference
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.adjusted_factors import LEAST_OVERLAP, FactorPredictions, ask
from queen_outcomes.models.analysis_set import AnalysisSet
from queen_outcomes.models.choose import Earlier, by_reason
from queen_outcomes.models.closed import Fillings, take, yes_fails
from queen_outcomes.models.fit import LEVELS, Fitted, cluster_codes
from queen_outcomes.models.questions import (
    ModelRequest,
    choose_form,
    fit_form,
    main_terms,
)
from queen_outcomes.models.terms import FEWEST, GROUPS, OTHER, Form, Term, Values
from queen_outcomes.stats.logistic.adjusted import contrast
from queen_outcomes.stats.logistic.robust import FEW_FOR_CR2
from queen_outcomes.stats.tails import t_isf, t_sf

ARM = Term("arm", "words", "arm", "dose protocol")
CO2_BEFORE = Term(
    "co2_before", "words", "co2_before", "CO2 exposure before the first dose"
)
BEFOREHAND = {"co2_gap": (), "co2_schedule": (CO2_BEFORE,)}
"""Main factors of which only a part is known at the first insemination."""


@dataclass(frozen=True, eq=False)
class ArmModel:
    """The adjusted shares of yes by arm, or why there are none.

    Attributes
    ----------
    asked : FactorPredictions or None
        Predictions with every course set to each arm.
    arms : tuple of str
        In the order of the predictions.
    method, message : str
        Of the fit.
    rows : int
        Courses fitted.
    factors, left_out : tuple of str
        What was allowed for, and what not and why.
    yes_fails : bool
        Yes is the failure, so that success is the no.
    """

    asked: FactorPredictions | None
    arms: tuple[str, ...]
    method: str
    message: str
    rows: int
    factors: tuple[str, ...]
    left_out: tuple[str, ...]
    yes_fails: bool

    def share(self, arm: str) -> tuple[float, float, float]:
        """Give an arm's adjusted share of yes with 95 % limits; NaN without."""
        if self.asked is None or arm not in self.arms:
            return np.nan, np.nan, np.nan
        at, found = self.arms.index(arm), self.asked.adjusted
        if not self.asked.fitted.is_told(found.gradient)[at]:
            return np.nan, np.nan, np.nan
        return tuple(float(x[at]) for x in (found.probability, found.low, found.high))

    def difference(
        self, arm: str, reference: str, level: float, margin: float | None
    ) -> Difference:
        """Compare two arms' success; limits and P by the delta method, from one test."""
        missing = [name for name in (arm, reference) if name not in self.arms]
        if self.asked is None:
            return Difference(ADJUSTED, said=self.message)
        if missing:
            few = f"{' and '.join(missing)}: under {FEWEST} decided courses for a model"
            return Difference(ADJUSTED, said=few)
        one, other = self.arms.index(arm), self.arms.index(reference)
        adjusted = self.asked.adjusted
        lean = adjusted.gradient[one] - adjusted.gradient[other]
        fitted = self.asked.fitted
        if not fitted.is_told(lean)[0]:
            return Difference(ADJUSTED, said=FILLED)
        number = fitted.design.forms.index(self.asked.form)
        df = float(fitted.df(lean, fitted.design.columns_of(number))[0])
        found = contrast(adjusted, one, other, df=df)
        step, se = found.difference.estimate, found.difference.se
        ratio = found.risk_ratio.estimate
        if self.yes_fails:
            step, ratio = -step, found.failure_ratio.estimate
        reach = float(t_isf((1 - level) / 2, df)) * se
        over = np.nan
        if margin is not None and se > 0:
            over = float(t_sf((step + margin) / se, df))
        low, high = np.clip([step - reach, step + reach], -1, 1)
        return Difference(
            *(ADJUSTED, step, float(low), float(high), found.p, over, ratio),
            said=self.message,
        )


@dataclass(frozen=True, eq=False)
class ArmAnswers:
    """The closed courses of some arms: factors, as recorded and filled, and answers.

    Attributes
    ----------
    values : mapping of str to ndarray, shape (n,)
        As known at the first insemination.
    arm : ndarray of str, shape (n,)
    yes : ndarray, shape (n,)
        1, 0, or NaN: not settled.
    answers : ndarray, shape (m, n)
        In every filling; NaN: not at risk.
    fillings : Fillings
        Of the factors.
    """

    values: Values
    arm: np.ndarray
    yes: np.ndarray
    answers: np.ndarray
    fillings: Fillings

    def some(self, kept: np.ndarray) -> ArmAnswers:
        """Give some of the courses."""
        return ArmAnswers(
            *(take(self.values, kept), self.arm[kept], self.yes[kept]),
            self.answers[:, kept],
            self.fillings.some(kept),
        )


def arm_model(
    courses: ArmAnswers,
    outcome: str,
    settings: Settings,
    fixed: Earlier | None = None,
    stands_for: Sequence[str] = DOSE,
) -> ArmModel:
    """Fit the arms of one comparison.

    Parameters
    ----------
    courses : ArmAnswers
    outcome : str
    settings : Settings
    fixed : Earlier, optional
        The main model's factors and forms where a season has fixed them; not given:
        they are chosen now.
    stands_for : sequence of str
        Main factors that the arm takes the place of.
    """
    courses = _enough(courses)
    values = {**courses.values, ARM.column: courses.arm}
    terms, apart = arm_terms(main_terms(settings), values, stands_for)
    always = {*settings.models.adjust_for, CO2_BEFORE.name, ARM.name}
    question = ModelRequest(
        *(values, courses.yes, courses.answers, courses.fillings),
        *(terms, tuple(sorted(always))),
    )
    if fixed is None:
        form = choose_form(question)
    else:
        kept, _ = arm_terms(fixed.terms, values, stands_for)
        form = replace(fixed, terms=kept, left_out=_others(fixed.left_out))
    fitted = fit_form(question, form)
    left_out = by_reason([*fitted.courses.left_out, *fitted.design.left_out, *apart])
    found = [f.term.label for f in fitted.design.forms if f.term.name != ARM.name]
    made = ArmModel(
        *(None, (), fitted.method, fitted.message, len(fitted.courses.y)),
        *(tuple(found), left_out, yes_fails(outcome)),
    )
    if fitted.method == "none":
        return made
    form = next((f for f in fitted.design.forms if f.term.name == ARM.name), None)
    if form is None or not stands_alone(fitted, form):
        said = "cannot be told apart from what goes with it: " + ", ".join(
            [*found, *_as_levels(fitted)]
        )
        return replace(made, method="none", message=said)
    levels = tuple(name for name in form.levels if name != OTHER)
    asked = ask(fitted, form, levels)
    if not np.isfinite(asked.adjusted.probability).all():
        return replace(made, method="none", message="the model gives no estimate")
    return replace(made, asked=asked, arms=levels)


def _enough(courses: ArmAnswers) -> ArmAnswers:
    """Leave out arms with too few decided courses to stand alone."""
    names, counts = np.unique(courses.arm[np.isfinite(courses.yes)], return_counts=True)
    return courses.some(np.isin(courses.arm, names[counts >= FEWEST]))


def arm_terms(
    terms: Sequence[Term], values: Values, stands_for: Sequence[str] = DOSE
) -> tuple[tuple[Term, ...], list[str]]:
    """Give the factors with the arm in the place of some, and what had to go.

    The arm comes last: what others determine is then seen in it, and not given to it.
    An exposure to CO2 before the first dose that some arm always has, or never, is a
    part of that arm's protocol and is not allowed for.
    """
    known = [new for term in terms for new in BEFOREHAND.get(term.name, (term,))]
    made = [term for term in known if term.name not in stands_for]
    left_out = []
    if CO2_BEFORE in made and not _in_every_arm(values):
        made.remove(CO2_BEFORE)
        left_out.append(f"{CO2_BEFORE.label}: a part of some arm's protocol")
    return (*made, ARM), left_out


def _in_every_arm(values: Mapping[str, np.ndarray]) -> bool:
    given = values[CO2_BEFORE.column] == "one before"
    shares = [
        given[values[ARM.column] == arm].mean() for arm in np.unique(values[ARM.column])
    ]
    return all(LEAST_OVERLAP <= share <= 1 - LEAST_OVERLAP for share in shares)


def _others(left_out: Sequence[str]) -> tuple[str, ...]:
    """Leave out what was said of the factors that the arm stands for."""
    return tuple(said for said in left_out if not said.startswith(("dose", "CO2")))


def _as_levels(fitted: Fitted) -> list[str]:
    """Name the groupings that the fit can only hold as levels, in it or not."""
    names = fitted.mixed.names if fitted.mixed else ()
    few = not names and len(np.unique(cluster_codes(fitted.courses))) < FEW_FOR_CR2
    found = []
    for name in GROUPS:
        group = fitted.courses.values[name]
        count = len(np.unique(group[group != ""]))
        whole = name == "graft_batch" and few and count < len(group)
        if name not in names and count >= 2 and (count < LEVELS or whole):
            found.append(name)
    return found


def stands_alone(fitted: Fitted, arm: Form) -> bool:
    """Tell whether the arms say anything that the other columns do not.

    Groupings with few levels count with all of their columns, even where the fit had to
    leave some out because the arms had taken their place.
    """
    courses: AnalysisSet = fitted.courses
    others = [np.ones((len(courses.y), 1))]
    others += [f.columns(courses.values) for f in fitted.design.forms if f is not arm]
    for name in _as_levels(fitted):
        group = courses.values[name]
        others += [(group == level)[:, None] * 1.0 for level in np.unique(group)]
    without = _rank(np.hstack(others))
    return _rank(np.hstack([*others, arm.columns(courses.values)])) == without + arm.df


def _rank(X: np.ndarray) -> int:
    size = np.sqrt(np.sum(X * X, axis=0))
    return int(np.linalg.matrix_rank(X[:, size > 0] / size[size > 0], tol=1e-7))
