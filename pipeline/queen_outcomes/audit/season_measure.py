"""The running series of a season: measured by what its first build fixed, or provisionally."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from queen_outcomes.audit.baseline import (
    REPLICATES,
    Baseline,
    baseline,
    read_baseline,
    write_baseline,
)
from queen_outcomes.audit.cases import Cases, Question
from queen_outcomes.audit.series_rows import count_signals, series_rows
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.closed import ClosedCourses
from queen_outcomes.models.questions import (
    ModelRequest,
    choose_form,
    chosen_under,
    fit_form,
    main_terms,
)
from queen_outcomes.models.risks import RiskModel, read_risks, risk_model, write_risks
from queen_outcomes.models.season_plan import SeasonPlan

Row = dict[str, Any]


@dataclass(frozen=True, eq=False)
class Season:
    """What the audit of a season stands on.

    Attributes
    ----------
    name : str
    cases : Cases
        All closed courses of the question; no risks yet.
    values : mapping of str to ndarray
        Their factors.
    closed : ClosedCourses
        The same courses as the models see them.
    question : tuple
    settings : Settings
    plan : SeasonPlan or None
    """

    name: str
    cases: Cases
    values: Mapping[str, np.ndarray]
    closed: ClosedCourses
    question: Question
    settings: Settings
    plan: SeasonPlan | None

    @property
    def is_provisional(self) -> bool:
        """Tell whether there is no earlier season to be measured by."""
        return not (self.cases.season < self.name).any()


def running_series_of(
    season: Season, current: RiskModel
) -> tuple[list[Row], list[Row]]:
    """Give every operator's running series and the limits they are held against.

    Parameters
    ----------
    season : Season
    current : RiskModel
        Stands in where there is no earlier season.
    """
    model = _risks(season, current)
    cases = season.cases.with_risk(model.risks(season.values))
    rows: list[Row] = []
    limits: list[Row] = []
    for name, own in cases.by_operator().items():
        this = own[cases.season[own] == season.name]
        measured_by = _baseline(season, cases, model, name, own)
        found = series_rows(name, cases.some(this), measured_by)
        rows += found
        limits += _limit_rows(season, name, measured_by, found)
    return rows, limits


def _risks(season: Season, current: RiskModel) -> RiskModel:
    """Give the season's risk model: as fixed, else from earlier seasons' courses."""
    outcome, days = season.question
    name, under = f"risk of {outcome} by day {days}", chosen_under(season.settings)
    section = season.plan.fixed(name, under) if season.plan else None
    if section:
        return read_risks(section)
    if season.is_provisional:
        return current
    rows = np.flatnonzero(season.cases.season < season.name)
    earlier = season.closed.some(rows)
    settings = season.settings
    asked = ModelRequest(
        *(earlier.values, earlier.answer, main_terms(settings)),
        *(settings.models.adjust_for, outcome),
    )
    fitted, _ = fit_form(asked, choose_form(asked))
    model = risk_model(outcome, fitted)
    if season.plan:
        season.plan.fix(name, write_risks(model), under)
    return model


def _baseline(
    season: Season, cases: Cases, model: RiskModel, name: str, own: np.ndarray
) -> Baseline:
    plan, settings = season.plan, season.settings.plan
    outcome, days = season.question
    section_name = f"running series of {name}, {outcome} by day {days}"
    under = {
        "false_alarm_chance": settings.false_alarm_chance,
        "fewest_cases": settings.fewest_cases,
        "planned_cases": settings.planned_cases.get(name, 0),
    }
    section = plan.fixed(section_name, under) if plan else None
    if section:
        return read_baseline(section)
    counted = own[cases.counted[own]]
    before = counted[cases.season[counted] < season.name]
    pattern = _pattern(season, cases, counted, before)
    found = baseline(
        *(name, cases.some(before), cases.some(pattern), model, settings),
        replicates=REPLICATES,
    )
    if plan and not season.is_provisional:
        plan.fix(section_name, write_baseline(found), under)
    return found


def _pattern(
    season: Season, cases: Cases, counted: np.ndarray, before: np.ndarray
) -> np.ndarray:
    """Give the courses that the operator's season looks like.

    Their own last season; for somebody new, courses spread over the station's last; in a
    first season, their own so far.
    """
    if len(before):
        return before[_of_last_season(cases, before)]
    if season.is_provisional:
        return counted
    all_before = np.flatnonzero(cases.counted & (cases.season < season.name))
    if not len(all_before):
        return counted
    last = all_before[_of_last_season(cases, all_before)]
    last = last[np.lexsort((cases.course_id[last], cases.inseminated_at[last]))]
    few = min(len(last), season.settings.plan.fewest_cases)
    return last[np.linspace(0, len(last) - 1, few).astype(int)]


def _of_last_season(cases: Cases, rows: np.ndarray) -> np.ndarray:
    return cases.season[rows] == max(cases.season[rows].tolist())


def _limit_rows(
    season: Season, name: str, measured_by: Baseline, rows: list[Row]
) -> list[Row]:
    found = []
    for series in ("level", "drift"):
        limits = getattr(measured_by, series)
        own = [row for row in rows if row["series"] == series]
        if series == "drift" and not np.isfinite(measured_by.change):
            continue
        found.append(
            {
                "operator": name,
                "series": series,
                "holds_for": limits.courses,
                "limit_worse": limits.worse,
                "limit_better": limits.better,
                "detection": limits.detection,
                "median_courses": limits.median_courses,
                "baseline_courses": measured_by.courses,
                "provisional": season.is_provisional,
                "cases": len(own),
                "signals": count_signals(own),
                "message": limits.message,
            }
        )
    return found
