"""Takes a question's models over from the build before, when nothing they stand on changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import scipy

from queen_outcomes import __version__
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.closed import ClosedCourses, Question
from queen_outcomes.models.questions import form_sections, main_terms
from queen_outcomes.models.season_plan import SeasonPlan

Row = dict[str, Any]
INPUTS = "model_inputs"
VERSIONS = (__version__, np.__version__, scipy.__version__)


def fingerprint(
    closed: ClosedCourses, settings: Settings, plan: SeasonPlan | None
) -> str | None:
    """Give a hash of all that a question's models depend on.

    None: a form is yet to be fixed for the season, so the models must be fitted.
    """
    sections = form_sections(closed.question, settings, plan)
    waits = plan is not None and not plan.provisional and None in sections
    if waits:
        return None
    terms = [(term.name, str(term.knots)) for term in main_terms(settings)]
    always = list(settings.models.adjust_for)
    told = [*VERSIONS, *closed.question, terms, always, sections]
    digest = hashlib.sha256(json.dumps(told, default=str).encode())
    arrays = {**closed.values, "answer": closed.answer, "laid": closed.laid}
    for name in sorted(arrays):
        x = np.ascontiguousarray(arrays[name])
        # a text's width follows the longest of all courses: spell it out instead
        raw = "\x1f".join(x.tolist()).encode() if x.dtype.kind == "U" else x.tobytes()
        digest.update(f"{name} {len(x)} ".encode() + raw)
    digest.update("\x1f".join(closed.month.tolist()).encode())
    return digest.hexdigest()


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
        yield store if store.has(INPUTS) else None


def take_over(
    earlier: Store | None, question: Question, mark: str | None, names: Sequence[str]
) -> dict[str, list[Row]] | None:
    """Give a question's rows of the earlier build's tables; None: they do not fit."""
    if earlier is None or mark is None or not all(map(earlier.has, names)):
        return None
    place = dict(zip(("outcome", "window_days"), question, strict=True))
    where = "WHERE outcome = $outcome AND window_days = $window_days"
    marks = earlier.rows(f"SELECT mark FROM {INPUTS} {where}", place)
    if marks != [(mark,)]:
        return None
    return {
        name: earlier.records(
            f"SELECT * FROM {name} {where} AND model <> 'onset' ORDER BY ALL", place
        )
        for name in names
    }
