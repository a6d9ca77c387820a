"""The step of the build that fits the models and writes what they say.

Reads courses and outcomes, writes the tables of TABLES. A model that cannot be had is a
row with its reason.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import scipy

from queen_outcomes import __version__
from queen_outcomes.base.store import Store
from queen_outcomes.base.workers import Task, Workers
from queen_outcomes.facts.exports.exported import ExportColumn, ExportTable
from queen_outcomes.facts.exports.models import MODELS
from queen_outcomes.facts.exports.writing import write_rows
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.adjusted_factors import (
    Alias,
    adjusted_rows,
    aliases,
    contrast_rows,
)
from queen_outcomes.models.choose import by_reason
from queen_outcomes.models.closed import (
    ClosedCourses,
    Question,
    as_columns,
    read_closed,
    read_factors,
)
from queen_outcomes.models.factor_fills import fill_factors, read_filled_factors
from queen_outcomes.models.fit import Fitted, join, shift_said, slope_test
from queen_outcomes.models.gap_fates import GAP_FATES, gap_fates
from queen_outcomes.models.onset_results import onset_rows
from queen_outcomes.models.predictive_checks import cross_validate, look_forward
from queen_outcomes.models.questions import (
    MODEL_NAMES,
    form_sections,
    main_terms,
    models_of,
)
from queen_outcomes.models.risks import risk_model, write_risks
from queen_outcomes.models.season_plan import SeasonPlan
from queen_outcomes.outcomes.fills import beside_for
from queen_outcomes.stats.shares.multiplicity import holm
from queen_outcomes.stats.tails import norm_isf

Row = dict[str, Any]
_QUESTION = (
    ExportColumn("outcome", "text", "which outcome"),
    ExportColumn("window_days", "integer", "the outcome's window after day 0", "days"),
)
RISK_MODELS = ExportTable(
    "risk_models",
    "a main model; the build's own, for what leans on its risks later",
    (
        *_QUESTION,
        ExportColumn("model", "text", "main"),
        ExportColumn("risks", "text", "as JSON, what `read_risks` reads"),
    ),
    key=("outcome", "window_days"),
)
INPUTS = ExportTable(
    "model_inputs",
    "a question; the build's own",
    (
        *_QUESTION,
        ExportColumn(
            "mark",
            "text",
            "a hash of all that its models stand on",
            null="a form was yet to be fixed for the season",
        ),
    ),
    key=("outcome", "window_days"),
)
VERSIONS = (__version__, np.__version__, scipy.__version__)


def digest(closed: ClosedCourses) -> bytes:
    """Give a hash of a question's courses: factors and answers, in every filling."""
    found, fillings = hashlib.sha256(), closed.fillings
    arrays = {**closed.values, "answer": closed.answer, "answers": closed.answers}
    # gaps are filled by what became of the courses in other questions too
    arrays |= {f"{name} filled": made for name, made in fillings.made.items()}
    for name in sorted(arrays):
        x = np.ascontiguousarray(arrays[name])
        # a text's width follows the longest of all courses: spell it out instead
        is_text = x.dtype.kind == "U"
        raw = "\x1f".join(x.ravel().tolist()).encode() if is_text else x.tobytes()
        found.update(f"{name} {len(x)} ".encode() + raw)
    return found.digest()


def fingerprint(
    question: Question, courses: bytes, settings: Settings, plan: SeasonPlan | None
) -> str | None:
    """Give a hash of all that a question's models depend on; ``courses`` by `digest`.

    None: a form is yet to be fixed for the season, so the models must be fitted.
    """
    sections = form_sections(question, settings, plan)
    waits = plan is not None and not plan.provisional and None in sections
    if waits:
        return None
    terms = [(term.name, str(term.knots)) for term in main_terms(settings)]
    always = list(settings.models.adjust_for)
    told = [*VERSIONS, *question, terms, always, sections]
    own = json.dumps(told, default=str).encode()
    return hashlib.sha256(own + courses).hexdigest()


@contextmanager
def earlier_store(folder: Path | None) -> Iterator[Store | None]:
    """Open the build before, if it kept its models' inputs; else give None."""
    path = folder / "station.duckdb" if folder else None
    if path is None or not path.is_file():
        yield None
        return
    try:
        store = Store(path, read_only=True)
    except duckdb.Error:  # somebody else holds it open: then everything is fitted
        yield None
        return
    with store:
        yield store if store.has(INPUTS.name) else None


def take_over(
    earlier: Store | None, question: Question, mark: str | None, names: Sequence[str]
) -> dict[str, list[Row]] | None:
    """Give a question's rows of the earlier build's tables; None: they do not fit."""
    if earlier is None or mark is None or not all(map(earlier.has, names)):
        return None
    place = as_columns(question)
    where = "WHERE outcome = $outcome AND window_days = $window_days"
    marks = earlier.rows(f"SELECT mark FROM {INPUTS.name} {where}", place)
    if marks != [(mark,)]:
        return None
    return {
        name: earlier.records(
            f"SELECT * FROM {name} {where} AND model <> 'onset' ORDER BY ALL", place
        )
        for name in names
    }


Z_95 = float(norm_isf(0.025))


def fit_models(
    store: Store,
    settings: Settings,
    plan: SeasonPlan | None = None,
    earlier: Path | None = None,
    workers: Workers | None = None,
) -> int:
    """Fit every model of every outcome and window, and write what they say.

    Parameters
    ----------
    store : Store
        Holds courses, onset and outcomes.
    settings : Settings
    plan : SeasonPlan, optional
        What is fixed for the season, and takes up what is fixed now; not given:
        everything is chosen anew.
    earlier : Path, optional
        The folder of the build before: a question whose models would stand on the same
        takes its rows over.
    workers : Workers, optional
        Who fits a model each; not given: all are fitted here.

    Returns
    -------
    int
        Questions taken over.
    """
    values = read_factors(store, settings.prior_cases)
    beside = beside_for(workers, len(values["course_id"]))
    fill_factors(store, settings, values)
    fillings = read_filled_factors(store, values)
    tables = {table.name: table for table in (*MODELS, RISK_MODELS)}
    own = [name for name in tables if name != "onset_days"]
    rows: dict[str, list[Row]] = {name: [] for name in tables}
    fates: list[Row] = []
    asked: list[_Asked] = []
    with earlier_store(earlier) as before:
        for question in settings.outcomes.windows:
            grace = settings.outcomes.grace_days
            closed = read_closed(store, values, question, grace, fillings=fillings)
            courses, place = digest(closed), as_columns(question)
            mark = fingerprint(question, courses, settings, plan)
            fates += [{**place, **r} for r in gap_fates(closed, main_terms(settings))]
            found = take_over(before, question, mark, own)
            asked.append(_Asked(question, courses, found, []))
            for name in MODEL_NAMES if found is None else ():
                apart = plan and plan.apart()
                task = beside.submit(_fitted, closed, settings, apart, name)
                asked[-1].tasks.append(task)
                if beside.count == 1:  # or all questions' courses would wait in memory
                    task.result()
    onset_plan = plan and plan.apart()
    of_onset = onset_rows(store, settings, values, onset_plan)
    beside.results(task for one in asked for task in one.tasks)
    marks: list[Row] = []
    for one in asked:
        for made in one.parts(plan):
            for name, part in made.items():
                rows[name] += part
        mark = fingerprint(one.question, one.courses, settings, plan)
        marks.append({**as_columns(one.question), "mark": mark})
    if plan:
        plan.take_up(onset_plan)
    for name, part in of_onset.items():
        rows[name] += part
    for name, table in tables.items():
        write_rows(store, table, rows[name])
    write_rows(store, INPUTS, marks)
    write_rows(store, GAP_FATES, fates)
    return sum(one.taken is not None for one in asked)


@dataclass(frozen=True, eq=False)
class _Asked:
    """A question, its courses' hash, its rows if taken over, else who fits them."""

    question: Question
    courses: bytes
    taken: dict[str, list[Row]] | None
    tasks: list[Task]

    def parts(self, plan: SeasonPlan | None) -> Iterator[dict[str, list[Row]]]:
        """Give the rows by table, and let the plan take up what was fixed for them."""
        if self.taken is not None:
            yield self.taken
        for task in self.tasks:
            made, fixed = task.result()
            if plan:
                plan.take_up(fixed)
            yield made


def _fitted(
    closed: ClosedCourses, settings: Settings, plan: SeasonPlan | None, model: str
) -> tuple[dict[str, list[Row]], SeasonPlan | None]:
    """Fit one of a question's models; give its rows for every table, and the plan."""
    fitted = models_of(closed, settings, plan, (model,))[model]
    place = {**as_columns(closed.question), "model": model}
    found = {
        name: [{**place, **row} for row in rows]
        for name, rows in rows_of(fitted, place).items()
    }
    if model == "main":
        told = write_risks(
            risk_model(closed.question[0], fitted, settings.models.adjust_for)
        )
        found["risk_models"] = [{**place, "risks": json.dumps(told)}]
    return found, plan


def rows_of(fitted: Fitted, place: Row) -> dict[str, list[Row]]:
    """Give a model's rows for every table."""
    seed = zlib.crc32("/".join(map(str, place.values())).encode())
    there = fitted.method != "none"
    near = aliases(fitted) if there else {}
    return {
        "model_fits": [fit_row(fitted, seed)],
        "model_terms": term_rows(fitted, near),
        "model_coefficients": coefficient_rows(fitted) if there else [],
        "model_groups": group_rows(fitted),
        "adjusted": adjusted_rows(fitted) if there else [],
        "contrasts": contrast_rows(fitted, near) if there else [],
    }


def fit_row(fitted: Fitted, seed: int) -> Row:
    """Say what was fitted on what, and how well it predicts."""
    checked = cross_validate(fitted, seed)
    predictive = {}
    if checked:
        predictive = {
            **{name: getattr(checked, name) for name in ("auc", "auc_low", "auc_high")},
            "brier": checked.brier,
            "brier_base": checked.base_brier,
            "calibration_intercept": checked.intercept,
            "calibration_slope": checked.slope,
        }
    return {
        "method": fitted.method,
        "imputations": fitted.imputations,
        "rows": len(fitted.courses.y),
        "events": int(np.nansum(fitted.courses.y)),
        "settled": int(np.isfinite(fitted.courses.y).sum()),
        **agreement(fitted),
        "left_out": "; ".join(
            by_reason([*fitted.courses.left_out, *fitted.design.left_out])
        ),
        "log_likelihood": fitted.log_likelihood,
        **predictive,
        "converged": fitted.converged,
        "message": join(fitted.message, look_forward(fitted), shift_said(fitted.shift)),
    }


def agreement(fitted: Fitted) -> Row:
    """Give the share of yes in the fillings, and what the model makes of it."""
    if fitted.answer is None:
        return {}
    weights = fitted.at_risk
    share, chance = (
        float(np.average(x, weights=weights)) for x in (fitted.answer, fitted.chance)
    )
    return {"share": share, "predicted": chance, "shift": fitted.shift}


def term_rows(fitted: Fitted, near: Mapping[str, Alias]) -> list[Row]:
    """Give the test of every factor as a whole, and whether a spline bends.

    There is none of a factor that is hardly told apart from another.
    """
    names = [form.term.name for form in fitted.design.forms]
    told = [near[name].is_tested for name in names]
    tests = zip(fitted.tests, told, strict=True)
    p = [test.p if is_tested else np.nan for test, is_tested in tests]
    raised = holm(p)
    return [
        {
            "term": form.term.name,
            "df": test.df,
            "statistic": test.statistic,
            "p": p[number],
            "p_holm": p_holm,
            "chosen_form": join(
                form.said, bends(fitted, number), near[form.term.name].said
            ),
        }
        for number, (form, test, p_holm) in enumerate(
            zip(fitted.design.forms, fitted.tests, raised, strict=True)
        )
    ]


def bends(fitted: Fitted, number: int) -> str:
    """Test a spline against a line, by Wald; say nothing of other forms."""
    columns = fitted.design.columns_of(number)[1:]
    if not len(fitted.design.forms[number].knots) or not columns:
        return ""
    p = slope_test(fitted, columns).p
    return f"against a line P = {p:.2g}" if np.isfinite(p) else ""


def coefficient_rows(fitted: Fitted) -> list[Row]:
    """Give every coefficient, in log odds within batch and operator."""
    forms = fitted.design.forms
    return [
        {
            "term": forms[owner].term.name if owner >= 0 else "constant",
            "coefficient": name.split(": ", 1)[-1],
            "estimate": fitted.beta[j],
            "se": fitted.se[j],
            "low": fitted.low[j],
            "high": fitted.high[j],
        }
        for j, (name, owner) in enumerate(
            zip(fitted.design.names, fitted.design.owner, strict=True)
        )
    ]


def group_rows(fitted: Fitted) -> list[Row]:
    """Give each grouping's deviation (level null) and each level's intercept."""
    if fitted.mixed is None:
        return []
    rows: list[Row] = []
    for name, sd in fitted.mixed.theta_sd.items():
        levels, counts = np.unique(fitted.courses.values[name], return_counts=True)
        rows.append(
            {"grouping": name, "level": None, "courses": len(fitted.courses.y)}
            | {"effect": sd, **deviation_limits(fitted, name)}
        )
        named = levels != ""
        first = int(
            named.argmax()
        )  # texts that are missing sort first and have no name
        modes, errors = fitted.mixed.modes[name], fitted.mixed.mode_se[name]
        for at in np.flatnonzero(named):
            effect, arm = modes[at - first], Z_95 * errors[at - first]
            rows.append(
                {"grouping": name, "level": str(levels[at]), "courses": int(counts[at])}
                | {"effect": effect, "low": effect - arm, "high": effect + arm}
            )
    return rows


def deviation_limits(fitted: Fitted, name: str) -> Row:
    """Give a deviation's limits, on the logarithm; none where it is zero."""
    mixed = fitted.mixed
    sd, at = mixed.theta_sd[name], len(fitted.beta) + mixed.names.index(name)
    se = float(np.sqrt(max(mixed.cov_joint[at, at], 0.0)))
    if not (sd > 0 and se > 0):
        return {"low": None, "high": None}
    arm = Z_95 * se / sd
    return {"low": sd * np.exp(-arm), "high": sd * np.exp(min(arm, 50.0))}
