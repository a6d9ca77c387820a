"""What the onset model says of each factor: laying by a day, and the day among layers.

Every course is predicted with the factor changed and all else as it was, and averaged.
Values that hardly share operators, lines or batches get no difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from queen_outcomes.models.adjusted_factors import (
    LEAST_OVERLAP,
    asked_values,
    compared_values,
    label_of,
    nearest,
    number_of,
    overlap,
    set_to,
)
from queen_outcomes.models.analysis_set import has_two, take
from queen_outcomes.models.onset_model import Columns, OnsetModel
from queen_outcomes.models.terms import Form
from queen_outcomes.stats.onset.onset_averages import (
    Average,
    days_shift,
    laying_by,
    laying_shift,
    median_day,
    p_of,
)
from queen_outcomes.stats.shares.multiplicity import holm

ALL, AS_RECORDED = "all", "as recorded"
"""Names of the row in which no factor is changed."""

Row = dict[str, Any]


def laying_rows(model: OnsetModel, day: int) -> list[Row]:
    """Give laying by a day with every factor at each of its values.

    The first row has every course as it is.
    """
    whole = laying_by(model.fit, *model.as_they_are, day)
    place = {"factor": ALL, "value": None, "label": AS_RECORDED}
    rows = [{**place, **_share(whole), "courses_near": len(model.courses.y)}]
    for form in _factors(model):
        x = model.courses.values[form.term.column]
        values = asked_values(form, x)
        place = nearest(form, x, values)
        for at, value in enumerate(values):
            share = laying_by(model.fit, *_columns(model, form, value), day)
            rows.append(
                {
                    "factor": form.term.name,
                    "value": number_of(form, value),
                    "label": label_of(form, value),
                    **_share(share),
                    "courses_near": int((place == at).sum()),
                }
            )
    return rows


def _share(found: Average) -> Row:
    names = ("probability", "low", "high")
    return dict(zip(names, (found.estimate, found.low, found.high), strict=True))


def laying_differences(model: OnsetModel, day: int) -> list[Row]:
    """Compare laying by a day at every factor's usual value and at others."""
    rows: list[Row] = []
    names = ("risk_difference", "low", "high", "p")
    for form in _factors(model):
        usual, others = _compared(model, form)
        before = _columns(model, form, usual)
        for value in others:
            instead = _columns(model, form, value)
            found = laying_shift(model.fit, before, instead, day)
            row = _pair(model, form, (usual, *others), value)
            rows.append(row | _difference(found, row["overlap"], names))
    return _raised(rows)


def days_rows(model: OnsetModel) -> list[Row]:
    """Give the median day among layers at the usual and other values of each factor."""
    rows: list[Row] = []
    names = ("difference", "difference_low", "difference_high", "p")
    for form in model.days.forms:
        usual, others = _compared(model, form)
        x = model.courses.values[form.term.column]
        place = nearest(form, x, (usual, *others))
        before = _columns(model, form, usual)[1]
        for at, value in enumerate((usual, *others)):
            instead = _columns(model, form, value)[1]
            found = median_day(model.fit, instead)
            row = {
                "factor": form.term.name,
                "value": number_of(form, value),
                "label": label_of(form, value),
                "days": found.estimate,
                "low": found.low,
                "high": found.high,
                "courses_near": int((place == at).sum()),
            }
            if at:
                pair = _pair(model, form, (usual, *others), value)
                shift = days_shift(model.fit, before, instead)
                shown = _difference(shift, pair["overlap"], names)
                row |= {key: pair[key] for key in ("reference", "overlap")} | shown
            rows.append(row)
    return _raised(rows)


def _factors(model: OnsetModel) -> list[Form]:
    """Give the factors of either part, each once, in the form of its chance."""
    found = {form.term.name: form for form in (*model.chance.forms, *model.days.forms)}
    return [
        next(
            (own for own in model.chance.forms if own.term.name == name),
            form,
        )
        for name, form in found.items()
    ]


def _compared(model: OnsetModel, form: Form) -> tuple[Any, tuple]:
    return compared_values(form, model.courses.values[form.term.column])


def _columns(model: OnsetModel, form: Form, value) -> Columns:
    """Give both parts' columns with a factor set, of the courses it applies to."""
    values = model.predicted
    if form.term.kind == "gap":
        two = take(values, np.flatnonzero(has_two(values)))
        return model.columns(set_to(two, form, value))
    return model.changed(set_to(values, form, value))


def _pair(model: OnsetModel, form: Form, values: Sequence, value) -> Row:
    """Name a value and the usual one, the first, and say how far they overlap."""
    place = nearest(form, model.courses.values[form.term.column], values)
    there = place == values.index(value)
    return {
        "factor": form.term.name,
        "value": label_of(form, value),
        "reference": label_of(form, values[0]),
        "overlap": overlap(model.courses.values, form, there, place == 0),
    }


def _difference(found: Average, share: float, names) -> Row:
    """Give a difference with limits and P; nothing where the values hardly meet."""
    if share < LEAST_OVERLAP:
        return dict.fromkeys(names)
    shown = (found.estimate, found.low, found.high, p_of(found))
    return dict(zip(names, shown, strict=True))


def _raised(rows: list[Row]) -> list[Row]:
    """Raise every P for how many there are."""
    p = [np.nan if row.get("p") is None else row["p"] for row in rows]
    raised = holm(np.array(p, float))
    return [
        {**row, "p_holm": high} if "p" in row else row
        for row, high in zip(rows, raised, strict=True)
    ]
