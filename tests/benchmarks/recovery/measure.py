"""What the product's methods say of one station: estimates, limits and tests.

Each part is the product's own function, handed the station's own courses.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import polars as pl
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.adjusted_factors import (
    Alias,
    ask,
    contrast_row,
    numbered_groups,
)
from queen_outcomes.models.analysis_set import AnalysisSet, analysis_set, take
from queen_outcomes.models.fit import Fitted
from queen_outcomes.models.onset_model import fit_station as fit_onset_model
from queen_outcomes.models.questions import (
    ModelRequest,
    choose_form,
    fit_form,
    main_terms,
)
from queen_outcomes.stats.onset.onset_averages import laying_by
from recovery.many import QUESTION, Many, planned
from recovery.truths import DOSES


def measure(many: Many, letters: str) -> dict[str, Any]:
    """Give a station's figures as plain values; what there is none of is null."""
    seconds: dict[str, float] = {}

    def timed(name: str, part: Callable, *given):
        begin = time.perf_counter()
        found = part(*given)
        seconds[name] = round(time.perf_counter() - begin, 4)
        return found

    rows = np.flatnonzero(many.station == letters)
    history, plan = many.histories[letters], planned(many.settings)
    main = timed("main", fit_station, many, letters, many.settings)
    asked = timed("plan", fit_station, many, letters, plan)
    found = {
        "courses": len(rows),
        "batches": history["cluster"].n_unique(),
        "rates": _rates(many.rates.filter(pl.col("level") == letters)),
        "estimates": many.estimates[letters],
        "dose": timed("difference", dose_difference, asked),
        "p": {"main": _tests(main), "plan": _tests(asked)},
        "onset": timed("onset", _onset, many, rows),
        "said": {"main": _said(main), "plan": _said(asked)},
    }
    return found | {"seconds": seconds}


def _rates(counted: pl.DataFrame) -> dict[str, list[Any]]:
    """Give yes, no and the two limits of every plain rate."""
    return {
        f"{row['outcome']} {row['window_days']}": [
            *(row["yes"], row["no"], row["low"], row["high"])
        ]
        for row in counted.sort("outcome", "window_days").iter_rows(named=True)
    }


def decided_courses(many: Many, rows: np.ndarray, settings: Settings) -> AnalysisSet:
    """Give the courses among some rows that the records settle."""
    decided = rows[many.laying.decided[rows]]
    values = take(many.laying.values, decided)
    return analysis_set(values, many.laying.answer[decided], main_terms(settings))


def fit_station(many: Many, letters: str, settings: Settings) -> Fitted:
    """Fit the main model of laying as the station's settings have it."""
    closed = many.closed[letters]
    asked = ModelRequest(
        *(closed.values, closed.answer, closed.answers, closed.fillings),
        main_terms(settings),
        settings.models.adjust_for,
    )
    return fit_form(asked, choose_form(asked))


def dose_difference(fitted: Fitted) -> list[float] | None:
    """Give the adjusted difference between the doses, with its limits."""
    forms = [form for form in fitted.design.forms if form.term.name == "dose"]
    if not forms:
        return None
    shared = numbered_groups(fitted.courses.values)
    row = contrast_row(ask(fitted, forms[0], DOSES), 1, Alias("", 1.0), shared)
    if row["apart_from"]:
        return None
    return _plain(row["risk_difference"], row["low"], row["high"])


def _tests(fitted: Fitted) -> dict[str, float | None]:
    """Give the P of every term."""
    forms = fitted.design.forms
    pairs = zip(forms, fitted.tests, strict=True) if fitted.tests else ()
    return {form.term.name: _plain(test.p)[0] for form, test in pairs}


def _onset(many: Many, rows: np.ndarray) -> list[float | None] | None:
    """Fit the onset model on every course; give laying by the window's end."""
    settings, day = many.settings, QUESTION[1]
    values, seen = take(many.laying.values, rows), many.seen.take(rows)
    always = settings.models.adjust_for
    model = fit_onset_model(values, seen, main_terms(settings), always, day)
    if model.method == "none":
        return None
    found = laying_by(model.fit, *model.columns(model.courses.values), day)
    return _plain(found.estimate, found.low, found.high)


def _said(fitted: Fitted) -> str:
    forms = ", ".join(f"{form.term.name} {form.df}" for form in fitted.design.forms)
    return f"{fitted.method}: {forms}"


def _plain(*values: float) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]
