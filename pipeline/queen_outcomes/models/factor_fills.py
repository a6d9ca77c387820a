"""Gaps in the factors filled in, once for every filling of the outcomes.

Writes factor_fills: what stands in the place of each gap in every filling. All models of
the station, and its comparison of doses, stand on the same.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence

import numpy as np
import polars as pl

from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.analysis_set import (
    RECORDED_WHEN_FIXED,
    is_recorded,
    own_level,
)
from queen_outcomes.models.closed import NO_FILLINGS, Fillings
from queen_outcomes.models.filled import completed_values, in_kinds
from queen_outcomes.models.terms import BENCH, Term, Values, terms_in_order
from queen_outcomes.outcomes import fills
from queen_outcomes.stats.logistic.imputation import impute

SEED = zlib.crc32(b"gaps in the factors")


def fill_factors(store: Store, settings: Settings, values: Values) -> None:
    """Write factor_fills, one row a gap: number or word in every filling.

    A factor that is recorded for too few courses is not filled.

    Parameters
    ----------
    store : Store
        Holds fills.
    settings : Settings
    values : mapping of str to ndarray
        Factors of all courses.
    """
    models = settings.models
    every = (*terms_in_order(models.terms, models.adjust_for), *BENCH.values())
    order = np.argsort(values["course_id"], kind="stable")
    values = {name: x[order] for name, x in values.items()}
    gaps = {term.column: ~is_recorded(term, values) for term in every}
    most = (1 - RECORDED_WHEN_FIXED) * len(order)
    terms = [term for term in every if gaps[term.column].sum() <= most]
    gaps = {term.column: gaps[term.column] for term in terms}
    made: list[Values] = []
    if any(gap.any() for gap in gaps.values()):
        made = _filled(store, settings, values, terms)
    ids = {"course_id": pl.String, "factor": pl.String}
    lists = {"number": pl.List(pl.Float64), "word": pl.List(pl.String)}
    frames = [pl.DataFrame(schema={**ids, **lists})]
    for name, gap in gaps.items():
        if gap.any() and made:
            frames.append(
                _rows(values["course_id"][gap], name, [x[name][gap] for x in made])
            )
    with store.lent("written", pl.concat(frames)):
        store.table("factor_fills", "SELECT * FROM written ORDER BY factor, course_id")


def _rows(ids: np.ndarray, name: str, made: list[np.ndarray]) -> pl.DataFrame:
    told, size = np.array(made).T, len(ids)
    lists = pl.Series(told.tolist())
    is_number = told.dtype.kind == "f"
    nothing = pl.Series([None] * size)
    return pl.DataFrame(
        {
            "course_id": ids,
            "factor": [name] * size,
            "number": (lists if is_number else nothing).cast(pl.List(pl.Float64)),
            "word": (nothing if is_number else lists).cast(pl.List(pl.String)),
        }
    )


def _filled(
    store: Store, settings: Settings, values: Values, terms: Sequence[Term]
) -> list[Values]:
    """Fill the gaps with what became of the courses in view, in every filling."""
    ids = values["course_id"]
    told = [fills.read_fills(store, question, ids) for question in settings.outcomes.windows]
    told = [answers for answers in told if len(answers)]
    numbers, words = in_kinds(terms, values)
    outcomes = [
        np.column_stack([x for answers in told for x in _in_numbers(answers[k])])
        if told
        else np.zeros(len(ids))
        for k in range(fills.TIMES)
    ]
    batch = own_level(values["graft_batch"])
    done = impute(numbers, words, outcomes, batch, seed=SEED)
    return [
        completed_values(values, completed, [SEED, number])
        for number, completed in enumerate(done)
    ]


def _in_numbers(answer: np.ndarray) -> list[np.ndarray]:
    at_risk = np.isfinite(answer)
    told = np.where(at_risk, answer, 0.0)
    return [told] if at_risk.all() else [told, at_risk.astype(float)]


def read_filled_factors(store: Store, values: Values) -> Fillings:
    """Give what stands in the gaps of all courses' factors in every filling.

    ``values`` are as `read_factors` gives them, or with other columns too; what is recorded
    stays as it is.
    """
    gaps: dict[str, np.ndarray] = {}
    made: dict[str, np.ndarray] = {}
    if not store.has("factor_fills"):  # nothing has been filled in yet
        return NO_FILLINGS
    frame = store.frame("SELECT * FROM factor_fills ORDER BY factor, course_id")
    order = np.argsort(values["course_id"], kind="stable")
    ids = values["course_id"][order]
    for (name,), part in frame.partition_by("factor", as_dict=True).items():
        some = part["course_id"].to_numpy().astype(str)
        rows = order[np.searchsorted(ids, some)]
        x = values[name]
        column = "number" if x.dtype.kind == "f" else "word"
        missing = np.isnan(x[rows]) if column == "number" else x[rows] == ""
        if missing.any():
            told = np.array(part.filter(missing)[column].to_list()).T
            gaps[name], made[name] = rows[missing], told
    return Fillings(gaps, made)
