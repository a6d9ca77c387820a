"""A comparison that the build did not make: arms, a question or days of the user's own."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from queen_outcomes.base import resources
from queen_outcomes.base.errors import NoModelError, UsageError, nearest, shorten
from queen_outcomes.base.store import Store
from queen_outcomes.doses import arm_rows
from queen_outcomes.doses.arm_courses import (
    Comparison,
    comparisons_by,
    find_comparisons,
    read_answers,
    read_courses,
)
from queen_outcomes.doses.compared import CompareRequest, Once, margin_said
from queen_outcomes.doses.comparing import ArmQuestion, compare
from queen_outcomes.doses.costs import drone_semen
from queen_outcomes.doses.results import asked_of, fixed_form, primary_rows
from queen_outcomes.facts.exports.doses import DOSES, DOSES_INTERNAL
from queen_outcomes.facts.exports.writing import filled
from queen_outcomes.facts.settings import Settings, asked_question
from queen_outcomes.models.season_plan import SeasonPlan

Row = dict[str, Any]


def comparison_of(request: CompareRequest, found: Sequence[Comparison]) -> Comparison:
    """Give the comparison that holds the arms named, cut down to them.

    Raises
    ------
    UsageError
        There is no such trial or arm; the nearest is suggested.
    NoModelError
        One arm only.

    Notes
    -----
    Without a trial the comparison with most of the arms named, then with most courses.
    """
    if request.trial is not None:
        trials = [one.trial for one in found if one.trial]
        _refuse_unknown("trial", request.trial, trials, "--trial")
        found = [one for one in found if one.trial == request.trial]
    known = list(dict.fromkeys(n for one in found for n in one.commonest))
    named = read_names(request.arms, known)
    reference = request.reference
    asked = {*named, *([reference] if reference else [])}
    if reference:
        _refuse_unknown("arm", reference, known, "--reference")
    for name in sorted(named):
        _refuse_unknown("arm", name, known, "--arms")
    chosen = max(
        found,
        key=lambda one: (len(asked & set(one.commonest)), (one.arm != "").sum()),
        default=None,
    )
    if chosen is None or not known:
        raise NoModelError(
            "there is no arm to compare",
            expected=f"records of {request.by}"
            if request.by
            else "protocols or doses of inseminations",
            hint=f"record {request.by or 'protocol, or dose_meant_ul,'} in the records",
        )
    missing = asked - set(chosen.commonest)
    if missing:
        raise UsageError(
            "these arms stand in different trials",
            where="--arms",
            found=", ".join(sorted(asked)),
            expected="arms of one trial, or all outside of trials",
            hint="name the trial with --trial",
        )
    if named:
        chosen = chosen.only(np.isin(chosen.arm, sorted(asked)))
    if len(chosen.commonest) < 2:
        raise NoModelError(
            "there is one arm only",
            found=", ".join(chosen.commonest),
            expected="two arms or more",
            hint="name another with --arms: " + shorten(known, ", "),
        )
    return chosen


def read_names(texts: Sequence[str], known: Sequence[str]) -> list[str]:
    """Part what was given into names; a known arm with a comma in it stays whole."""
    names: list[str] = []
    for text in texts:
        parts = [text] if text in known else text.split(",")
        names += [part.strip() for part in parts if part.strip()]
    return list(dict.fromkeys(names))


def _refuse_unknown(what: str, name: str, known: Sequence[str], where: str) -> None:
    """Refuse a name that is not known; the nearest is suggested."""
    if name in known:
        return
    close = nearest(name, known)
    raise UsageError(
        f"there is no such {what}",
        where=where,
        found=name,
        expected="one of " + shorten(list(known), ", ")
        if known
        else f"no {what} is recorded",
        hint=f'did you mean "{close}"?' if close else f"name one of these with {where}",
    )


def compare_once(
    store: Store,
    settings: Settings,
    as_of: dt.date,
    request: CompareRequest,
    plan: SeasonPlan | None = None,
) -> Once:
    """Compare the arms asked for.

    Parameters
    ----------
    store : Store
        A finished build.
    settings : Settings
    as_of : date
        The build's.
    request : CompareRequest
    plan : SeasonPlan, optional
        What the season has fixed; nothing is added to it.

    Raises
    ------
    UsageError, NoModelError
        See `asked_question` and `comparison_of`.
    """
    question = asked_question(settings, request.outcome, request.days)
    until = question[1] + settings.outcomes.grace_days
    courses = read_courses(store, settings.prior_cases, until)
    if request.is_of_protocols:
        whole = find_comparisons(courses)
    else:
        whole = comparisons_by(courses, request.by, request.since)
    one = comparison_of(request, whole)
    ids = courses.values["course_id"]
    answers = read_answers(store, question, ids, settings.outcomes.grace_days)
    base = asked_of(one, answers, settings, None)
    margin = None
    if request.is_of_protocols:
        base, margin = as_built(store, one, base), settings.plan.margin
    asked = replace(
        base,
        reference=request.reference or base.reference,
        margin=margin if request.margin is None else request.margin,
        fixed=fixed_form(one, answers, plan),
    )
    found = compare(courses, one, answers, asked)
    rows = {
        "arm_contrasts": arm_rows.contrast_rows(found),
        "arm_models": [arm_rows.model_row(found)],
        **primary_rows(courses, found, drone_semen(store, as_of)),
    }
    tables = {table.name: table for table in (*DOSES, *DOSES_INTERNAL)}
    return Once(
        *(request, one.trial, question, asked.reference, asked.margin),
        margin_said(request, settings, question),
        sum(int((w.arm == "").sum()) for w in whole if w.trial == one.trial),
        {name: filled(tables[name], some) for name, some in rows.items()},
    )


def as_built(store: Store, one: Comparison, asked: ArmQuestion) -> ArmQuestion:
    """Take reference and primary method over from the build, where they apply."""
    sql = resources.read("sql", "08_doses", "fixed_methods.sql")
    for reference, method in store.rows(sql, {"trial": one.trial}):
        there = bool(np.any(one.arm == reference))
        return replace(
            asked, method=method, reference=reference if there else asked.reference
        )
    return asked
