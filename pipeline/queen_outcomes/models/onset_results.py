"""The rows that the onset model adds to the tables of the models.

One fit serves every window of laying. It stands on every course, with the same days as
the curves of laying.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.adjusted_factors import (
    SHARE,
    asked_values,
    compared_values,
    numbered_groups,
    pair_row,
    set_to,
    value_rows,
    with_holm,
)
from queen_outcomes.models.analysis_set import has_two, take
from queen_outcomes.models.choose import Design, few_groups
from queen_outcomes.models.filled import freedom_of_cases
from queen_outcomes.models.fit import join
from queen_outcomes.models.onset_model import (
    Columns,
    OnsetForm,
    OnsetModel,
    Seen,
    fit_station,
)
from queen_outcomes.models.questions import (
    chosen_under,
    main_terms,
    read_form,
    write_form,
)
from queen_outcomes.models.season_plan import SeasonPlan, Section
from queen_outcomes.models.terms import Form, Values
from queen_outcomes.outcomes.curves import onset_sets
from queen_outcomes.stats.logistic.plain import Test, wald_test
from queen_outcomes.stats.onset.onset_averages import (
    Average,
    days_shift,
    followed_share,
    laying_by,
    laying_shift,
    median_day,
    p_of,
)
from queen_outcomes.stats.shares.multiplicity import holm
from queen_outcomes.stats.tails import t_isf

ALL, AS_RECORDED = "all", "as recorded"
"""Names of the row in which no factor is changed."""

Row = dict[str, Any]


def laying_rows(model: OnsetModel, day: int) -> list[Row]:
    """Give laying by a day with every factor at each of its values.

    The first row has every course as it is.
    """
    whole = laying_by(model.fit, *model.as_they_are, day, model.worth)
    place = {"factor": ALL, "value": None, "label": AS_RECORDED}
    rows = [{**place, **_share(whole), "courses_near": len(model.courses.y)}]
    for form in _factors(model):
        x = model.courses.values[form.term.column]
        values = asked_values(form, x)
        for row, value in zip(value_rows(form, x, values), values, strict=True):
            columns, worth = _columns(model, form, value)
            share = laying_by(model.fit, *columns, day, worth)
            rows.append(row | _share(share))
    return rows


def _share(found: Average) -> Row:
    return dict(zip(SHARE, (found.estimate, found.low, found.high), strict=True))


def laying_differences(model: OnsetModel, day: int) -> list[Row]:
    """Compare laying by a day at every factor's usual value and at others."""
    rows: list[Row] = []
    names = ("risk_difference", "low", "high", "p")
    courses = model.courses.values
    shared = numbered_groups(courses)
    for form in _factors(model):
        values = _compared(model, form)
        before, worth = _columns(model, form, values[0])
        for at in range(1, len(values)):
            instead, _ = _columns(model, form, values[at])
            found = laying_shift(model.fit, before, instead, day, worth)
            found = _with_freedom(found, freedom_of_cases(form.term, courses))
            row = pair_row(courses, form, values, at, shared)
            shown = _difference(found, row["apart_from"], names)
            rows.append(row | _tested(model, form, shown))
    return with_holm(rows)


def days_rows(model: OnsetModel) -> list[Row]:
    """Give the median day among layers at the usual and other values of each factor."""
    rows: list[Row] = []
    names = ("difference", "difference_low", "difference_high", "p")
    shared = numbered_groups(model.courses.values)
    for form in model.days.forms:
        values = _compared(model, form)
        x = model.courses.values[form.term.column]
        (_, before), worth = _columns(model, form, values[0])
        for at, row in enumerate(value_rows(form, x, values)):
            (_, instead), _ = _columns(model, form, values[at])
            found = median_day(model.fit, instead, worth)
            days = {"days": found.estimate, "low": found.low, "high": found.high}
            if at:
                pair = pair_row(model.courses.values, form, values, at, shared)
                shift = days_shift(model.fit, before, instead, worth)
                told = _difference(shift, pair["apart_from"], names)
                shown = _tested(model, form, told)
                days |= {key: pair[key] for key in ("reference", "overlap")} | shown
            rows.append(row | days)
    return with_holm(rows)


def _factors(model: OnsetModel) -> list[Form]:
    """Give the factors of either part, each once, in the form of its chance."""
    found = {form.term.name: form for form in model.chance.forms}
    for form in model.days.forms:
        found.setdefault(form.term.name, form)
    return list(found.values())


def _compared(model: OnsetModel, form: Form) -> tuple:
    """Give the usual value of a factor, then those it is compared with."""
    usual, others = compared_values(form, model.courses.values[form.term.column])
    return usual, *others


def _columns(model: OnsetModel, form: Form, value) -> tuple[Columns, np.ndarray]:
    """Give both parts' columns with a factor set, of the courses it applies to.

    Beside them what each course counts for.
    """
    values, worth = model.predicted, model.worth
    if form.term.kind == "gap":
        rows = np.flatnonzero(has_two(values))
        return model.columns(set_to(take(values, rows), form, value)), worth[rows]
    return model.changed(set_to(values, form, value)), worth


def _difference(found: Average, apart: str, names) -> Row:
    """Give a difference with limits and P; nothing where the values hardly meet."""
    if apart:
        return dict.fromkeys(names)
    shown = (found.estimate, found.low, found.high, p_of(found))
    return dict(zip(names, shown, strict=True))


def _with_freedom(found: Average, most: float) -> Average:
    """Give a difference of laying with no more degrees of freedom than there are."""
    if not most < found.df:
        return found
    reach = float(t_isf(0.025, most)) * found.se
    low, high = np.clip([found.estimate - reach, found.estimate + reach], -1, 1)
    return replace(found, low=float(low), high=float(high), df=most)


def _tested(model: OnsetModel, form: Form, shown: Row) -> Row:
    """Leave out the P of what varies only between too few groups."""
    few = few_groups(form.term, model.courses.values)
    return shown | {"p": None} if few else shown


FOLLOWED = 0.95
"""Share of the unlaid to be followed past the days of most layers, to speak of ever."""

FORM, PARTS = "form of laying, onset model", ("chance", "days")
"""Name of what the season's file keeps of this model, and of its two parts."""

Place = tuple[str, Design, Form, list[int]]


def onset_rows(
    store: Store, settings: Settings, values: Values, plan: SeasonPlan | None = None
) -> dict[str, list[Row]]:
    """Fit the onset model and give its rows for every table that it adds to.

    Parameters
    ----------
    store : Store
        Holds courses, onset and standings.
    settings : Settings
        Windows of laying; terms and what is adjusted for.
    values : mapping of str to ndarray, shape (n,)
        Factors of every course, with `course_id`.
    plan : SeasonPlan, optional
        What is fixed for the season, and takes up what is fixed now.

    Returns
    -------
    dict of str to list of dict
    """
    windows = settings.outcomes.laying_days
    if not windows:
        return {}
    seen, under = read_seen(store, values["course_id"]), chosen_under(settings)
    section = plan.fixed(FORM, under) if plan else None
    model = fit_station(
        values,
        seen,
        main_terms(settings),
        settings.models.adjust_for,
        min(windows),
        _read(section) if section else None,
    )
    if plan and not section and model.method != "none":
        plan.fix(FORM, _written(model), under)
    return rows_of(model, windows)


def _read(section: Section) -> OnsetForm:
    parts = (read_form(section[part]) for part in PARTS)
    return OnsetForm(*parts, tuple(section["left_out"]))


def _written(model: OnsetModel) -> Section:
    form = model.form
    parts = {part: write_form(getattr(form, part)) for part in PARTS}
    said = {"courses": len(model.courses.y), "left_out": list(form.left_out)}
    return {**said, **parts}


def read_seen(store: Store, course_ids: np.ndarray) -> Seen:
    """Give what is known of each course's onset, in the order of the given ids."""
    frame = store.frame(resources.read("sql", "06_models", "onset_intervals.sql"))
    ids = frame["course_id"].to_numpy().astype(str)
    order = np.argsort(ids, kind="stable")
    rows = order[np.searchsorted(ids[order], course_ids)]
    return Seen(*onset_sets(frame[rows]))


def rows_of(model: OnsetModel, windows: tuple[int, ...]) -> dict[str, list[Row]]:
    """Give the rows of a model for every table."""
    there = model.method != "none"
    tests = term_rows(model) if there else []
    coefficients = coefficient_rows(model) if there else []
    found: dict[str, list[Row]] = {}
    for window in windows:
        place = {"outcome": "laying", "window_days": window, "model": "onset"}
        rows = {
            "model_fits": [fit_row(model)],
            "model_terms": tests,
            "model_coefficients": coefficients,
            "adjusted": laying_rows(model, window) if there else [],
            "contrasts": laying_differences(model, window) if there else [],
        }
        for name, part in rows.items():
            found.setdefault(name, []).extend({**place, **row} for row in part)
    return {**found, "onset_days": days_rows(model) if there else []}


def fit_row(model: OnsetModel) -> Row:
    """Say what was fitted on what, and whether it speaks of laying at all."""
    return {
        "method": model.method,
        "imputations": model.imputations,
        "rows": len(model.courses.y),
        "events": int(model.courses.y.sum()),
        "left_out": "; ".join(model.left_out),
        "log_likelihood": model.fit.log_likelihood if model.fit else None,
        "converged": model.method != "none",
        "message": join(_ever(model), model.message),
    }


def _ever(model: OnsetModel) -> str:
    """Say how many lay at all, where the unlaid were followed long enough to tell."""
    if model.method == "none" or model.fit.kind == "everybody":
        return ""
    columns, open_ = model.as_they_are, model.seen.open_
    every = open_[model.course]
    after, worth = model.seen.after[model.course][every], model.worth
    followed = followed_share(model.fit, columns[1][every], after, worth=worth[every])
    if followed >= FOLLOWED:
        ever = laying_by(model.fit, *columns, np.inf, worth)
        return f"{_said(ever)} lay sooner or later"
    seen = round(followed * open_.sum())
    return (
        f"nothing is said of laying ever: of {open_.sum()} courses that have not laid and "
        f"have not ended, {seen} were followed past the day by which 95 % of layers lay"
    )


def _said(share) -> str:
    spread = ""
    if np.isfinite(share.low):
        spread = f" (95 % limits {100 * share.low:.0f} to {100 * share.high:.0f})"
    return f"{100 * share.estimate:.0f} %{spread}"


def _places(model: OnsetModel) -> Iterator[Place]:
    """Give every factor with its part and the places of its coefficients."""
    p = len(model.fit.gamma)
    for part, design, start in (("chance", model.chance, 0), ("days", model.days, p)):
        for number, form in enumerate(design.forms):
            columns = [start + j for j in design.columns_of(number)]
            yield part, design, form, columns


def term_rows(model: OnsetModel) -> list[Row]:
    """Test every factor of either part as a whole, by Wald with batches."""
    places = list(_places(model))
    few = [few_groups(form.term, model.courses.values) for _, _, form, _ in places]
    tests = [
        replace(_test(model, form, columns), p=np.nan)
        if why
        else _test(model, form, columns)
        for (_, _, form, columns), why in zip(places, few, strict=True)
    ]
    raised = holm(np.array([test.p for test in tests], float))
    return [
        {
            "term": f"{part}: {form.term.name}",
            "df": test.df,
            "statistic": test.statistic,
            "p": test.p,
            "p_holm": p_holm,
            "chosen_form": join(form.said, _bends(model, form, columns), why),
        }
        for (part, _, form, columns), test, p_holm, why in zip(
            places, tests, raised, few, strict=True
        )
    ]


def _test(model: OnsetModel, form: Form, columns: list[int]) -> Test:
    """Test coefficients together; no test where the batches are fewer than these."""
    fit = model.fit
    if fit.clusters <= len(columns) + 1:
        return Test(np.nan, len(columns), np.nan)
    every = np.eye(len(fit.cov_joint))
    df = min(fit.df(every[j]) for j in columns)
    df = min(df, freedom_of_cases(form.term, model.courses.values))
    return wald_test(_estimates(model), fit.cov_joint, columns, df=df)


def _bends(model: OnsetModel, form: Form, columns: list[int]) -> str:
    """Test a spline against a line; say nothing of other forms."""
    if not len(form.knots) or len(columns) < 2:
        return ""
    p = _test(model, form, columns[1:]).p
    return f"against a line P = {p:.2g}" if np.isfinite(p) else ""


def coefficient_rows(model: OnsetModel) -> list[Row]:
    """Give the coefficients: log odds of laying, log days, log of the days' spread."""
    fit, names = model.fit, []
    parts = [("chance", model.chance), ("days", model.days)]
    for part, design in parts:
        for name, owner in zip(design.names, design.owner, strict=True):
            term = design.forms[owner].term.name if owner >= 0 else "constant"
            names.append((f"{part}: {term}", name.split(": ", 1)[-1]))
    names.append(("days: spread", "log of the deviation"))
    estimate = _estimates(model)
    se = np.sqrt(np.maximum(np.diag(fit.cov_joint), 0.0))
    df = np.array([fit.df(row) for row in np.eye(len(se))])
    arm = t_isf(0.025, df) * se
    return [
        {
            "term": term,
            "coefficient": coefficient,
            "estimate": estimate[j],
            "se": se[j],
            "low": estimate[j] - arm[j],
            "high": estimate[j] + arm[j],
        }
        for j, (term, coefficient) in enumerate(names)
        # where everybody lays, the chance is a fixed number and no estimate
        if fit.kind != "everybody" or not term.startswith("chance")
    ]


def _estimates(model: OnsetModel) -> np.ndarray:
    fit = model.fit
    return np.concatenate([fit.gamma, fit.beta, [np.log(fit.sigma)]])
