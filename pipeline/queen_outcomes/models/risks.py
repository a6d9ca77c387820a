"""The risk of failing that a course had before anybody touched it.

From the main model, with what happens on the bench left out and the operator's part set
to the average over courses: what the station's average hand would have made of the same
queens, semen and dates. A season's risk model is fixed at its first build.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from queen_outcomes.facts.settings_form import LISTED_TERMS
from queen_outcomes.models.analysis_set import (
    AnalysisSet,
    complete_rows,
    is_recorded,
    own_level,
)
from queen_outcomes.models.choose import Design
from queen_outcomes.models.closed import BATCHES, failures_of, yes_fails
from queen_outcomes.models.terms import MAIN, Form, Values
from queen_outcomes.stats.logistic.mixed_average import integrate_random
from queen_outcomes.stats.logistic.odds_shift import odds_shift

if TYPE_CHECKING:
    from queen_outcomes.models.fit import Fitted


@dataclass(frozen=True, eq=False)
class RiskModel:
    """Chances of failing by what was known beforehand.

    Attributes
    ----------
    forms : tuple of Form
        Of the main factors; none: every course has the station's rate.
    kept : ndarray of int
        Columns of all that the forms give that the coefficients belong to.
    beta : ndarray
        Log odds of yes; the operators' average is in the first.
    shift : float
        Added to every log odds of yes so that the expected failures add up to the
        observed.
    deviations : dict of str to float
        Of the random intercepts of operators and batches; empty without any.
    is_yes_failure : bool
    courses, failures : int
        What it was made from.
    message : str
        What to know; empty when there is nothing.
    usual : mapping of str to tuple of float
        By factor, what its columns come to where it was filled in: it stands for the
        factor of a course that lacks it.
    """

    forms: tuple[Form, ...]
    kept: np.ndarray
    beta: np.ndarray
    shift: float
    deviations: Mapping[str, float]
    is_yes_failure: bool
    courses: int
    failures: int
    message: str = ""
    usual: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    def batch_deviations(self) -> np.ndarray:
        """Give the deviations of graft and semen batches; 0 without any."""
        return np.array([self.deviations.get(name, 0.0) for name in BATCHES])

    def risks(self, values: Values) -> np.ndarray:
        """Give each course's risk; NaN where a factor of the model is not recorded."""
        eta = self.columns(values) @ self.beta
        yes = self._chance_of_yes(eta + self.shift)
        risk = yes if self.is_yes_failure else 1.0 - yes
        known = np.ones(len(risk), bool)
        for form in self.forms:
            if form.term.name not in self.usual:
                known &= is_recorded(form.term, values)
        return np.where(known, risk, np.nan)

    def columns(self, values: Values) -> np.ndarray:
        """Give the columns that the coefficients belong to, shape (n, p)."""
        n = len(next(iter(values.values())))
        parts = [np.ones((n, 1))]
        for form in self.forms:
            made = form.columns(values)
            if form.term.name in self.usual:
                gap = ~is_recorded(form.term, values)
                made = np.where(gap[:, None], self.usual[form.term.name], made)
            parts.append(made)
        return np.column_stack(parts)[:, self.kept]

    def _chance_of_yes(self, eta: np.ndarray) -> np.ndarray:
        spread = float(np.sqrt(np.sum(self.batch_deviations() ** 2)))
        return integrate_random(eta, spread)[0]

    def recalibrated(
        self, values: Values, failed: np.ndarray, weights: np.ndarray | None = None
    ) -> RiskModel:
        """Shift all log odds so that expected and observed failures agree.

        ``failed`` is a share of failures, NaN: takes no part; ``weights`` say what each
        course is worth, 1 when not given.
        """
        known = np.isfinite(failed) & np.isfinite(self.risks(values))
        eta = (self.columns(values) @ self.beta)[known]
        worth = np.ones(len(eta)) if weights is None else weights[known]
        observed, whole = float(worth @ failed[known]), float(worth.sum())
        if not 0 < observed < whole:
            return self
        yes = observed if self.is_yes_failure else whole - observed
        shift = odds_shift(eta, yes, lambda x: worth * self._chance_of_yes(x))
        return replace(self, shift=shift)


def risk_model(
    outcome: str, fitted: Fitted, adjust_for: Sequence[str] = ()
) -> RiskModel:
    """Take the risks out of a fitted main model, the operators at their average.

    Instrument and tip may be how an operator works: they are left out of what she is
    expected to reach unless ``adjust_for`` names them.

    Without a model every course has the station's rate, and the message says so.
    """
    courses = fitted.courses
    y, worth = filled_answers(courses)
    failed = failures_of(outcome, y)
    settled = np.isfinite(courses.y)
    known = failures_of(outcome, courses.y[settled])
    sizes = {"courses": len(y), "failures": int(known.sum())}
    if fitted.method == "none":
        some = np.isfinite(y)
        rate = (float(worth[some] @ y[some]) + 0.5) / (float(worth[some].sum()) + 1.0)
        why = f"no factor could be allowed for ({fitted.message}): the station's rate"
        flat = np.array([np.log(rate / (1.0 - rate))])
        return RiskModel(
            (),
            np.zeros(1, int),
            flat,
            0.0,
            {},
            yes_fails(outcome),
            **sizes,
            message=why,
        )
    forms, kept, beta = _without_operator(fitted, adjust_for)
    deviations = dict(fitted.mixed.theta_sd) if fitted.mixed else {}
    model = RiskModel(
        *(forms, kept, beta, 0.0, deviations, yes_fails(outcome)),
        **sizes,
        usual={form.term.name: _usual(fitted, form) for form in forms},
    )
    return model.recalibrated(courses.values, failed, worth)


def filled_answers(courses: AnalysisSet) -> tuple[np.ndarray, np.ndarray]:
    """Give each course's share of yes over the fillings, and share of those at risk."""
    if courses.answers is None or not len(courses.answers):
        return courses.y, np.ones(len(courses.y))
    return np.nanmean(courses.answers, axis=0), np.isfinite(courses.answers).mean(
        axis=0
    )


def _usual(fitted: Fitted, form: Form) -> tuple[float, ...]:
    """Give what a factor's columns come to where it was filled in; else on average."""
    made = form.columns(fitted.predicted)
    gaps = len(fitted.courses.y) - int(
        is_recorded(form.term, fitted.courses.values).sum()
    )
    if gaps and fitted.filled is not None:
        # courses without gaps come first
        made = made[len(complete_rows(fitted.courses)) :]
    return tuple(made.mean(axis=0).tolist())


def _without_operator(
    fitted: Fitted, adjust_for: Sequence[str]
) -> tuple[tuple[Form, ...], np.ndarray, np.ndarray]:
    """Drop operator and batch columns; their average over courses joins the constant."""
    design, beta = fitted.design, fitted.beta.copy()
    staying = {name for name in MAIN if name not in LISTED_TERMS or name in adjust_for}
    gone = [k for k, form in enumerate(design.forms) if form.term.name not in staying]
    constant = float(beta[0])
    for number in gone:
        columns = design.columns_of(number)
        constant += float(fitted.X[:, columns].mean(axis=0) @ beta[columns])
    if fitted.mixed is not None and "operator" in fitted.mixed.modes:
        constant += _mean_mode(fitted)
    stay = np.array([k not in gone for k in design.owner])
    beta[0] = constant
    forms = tuple(form for k, form in enumerate(design.forms) if k not in gone)
    return forms, _places(design, gone)[stay], beta[stay]


def _mean_mode(fitted: Fitted) -> float:
    """Give the operators' mean random intercept over courses."""
    modes = fitted.mixed.modes["operator"]
    return float(modes[own_level(fitted.courses.values["operator"])].mean())


def _places(design: Design, gone: Sequence[int]) -> np.ndarray:
    """Give the kept columns' places once the columns of some forms are gone."""
    sizes = [1, *(form.df for form in design.forms)]
    starts = np.concatenate([[0], np.cumsum(sizes)])
    less = np.zeros(len(design.kept), int)
    for number in gone:
        less += (design.kept >= starts[number + 2]) * sizes[number + 1]
    return design.kept - less


def write_risks(model: RiskModel) -> dict[str, Any]:
    """Give a risk model as the season's file keeps it."""
    return {
        "terms": [form.term.name for form in model.forms],
        "knots": {f.term.name: f.knots.tolist() for f in model.forms if len(f.knots)},
        "levels": {f.term.name: list(f.levels) for f in model.forms if f.levels},
        "centres": {f.term.name: f.centre for f in model.forms},
        "kept": model.kept.tolist(),
        "beta": model.beta.tolist(),
        "shift": model.shift,
        "deviations": dict(model.deviations),
        "is_yes_failure": model.is_yes_failure,
        "courses": model.courses,
        "failures": model.failures,
        "said": model.message,
        "usual": {name: list(x) for name, x in model.usual.items()},
    }


def read_risks(section: Mapping[str, Any]) -> RiskModel:
    """Read back what `write_risks` gave."""
    forms = tuple(
        Form(
            MAIN[name],
            np.array(section["knots"].get(name, ()), float),
            tuple(section["levels"].get(name, ())),
            section["centres"][name],
        )
        for name in section["terms"]
    )
    return RiskModel(
        forms,
        np.array(section["kept"], int),
        np.array(section["beta"], float),
        section["shift"],
        dict(section["deviations"]),
        section["is_yes_failure"],
        section["courses"],
        section["failures"],
        section["said"],
        {name: tuple(x) for name, x in section.get("usual", {}).items()},
    )
