"""The running series of a season: what they are measured by, their rows, their signals.

Risks, baselines and limits are taken from courses of earlier seasons and fixed at the
season's first build, so that a signal once shown does not vanish because a model was fitted
again. Without earlier seasons everything comes from what has closed so far, and is
provisional.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from scipy.special import expit, logit

from queen_outcomes.facts.settings import Plan, Settings
from queen_outcomes.models.closed import BATCHES, ClosedCourses, take
from queen_outcomes.models.questions import (
    ModelRequest,
    choose_form,
    chosen_under,
    fit_form,
    main_terms,
)
from queen_outcomes.models.risks import (
    RiskModel,
    read_risks,
    risk_model,
    write_risks,
)
from queen_outcomes.models.season_plan import SeasonPlan
from queen_outcomes.stats.logistic.odds_shift import odds_shift
from queen_outcomes.stats.series.calibrate import calibrate
from queen_outcomes.stats.series.cusum import running_series

Row = dict[str, Any]
HALF = 0.5
"""Failures added and taken so that a baseline without failures has finite odds."""
REPLICATES, FEWEST_REPLICATES = 20_000, 4_000
MOST_SIMULATED = 4_000_000
"""Courses simulated for one limit: a season of thousands is simulated fewer times."""
FEWEST, MOST = 5, 40
"""Operators from which on others' models are fitted, and up to which: each takes a fit."""


@dataclass(frozen=True, eq=False)
class AuditSeason:
    """What the audit of a season stands on.

    Attributes
    ----------
    name : str
    cases : ClosedCourses
        All of the question.
    settings : Settings
    plan : SeasonPlan or None
    """

    name: str
    cases: ClosedCourses
    settings: Settings
    plan: SeasonPlan | None

    def request(self, rows: np.ndarray) -> ModelRequest:
        """Ask for the main model of some of these courses."""
        return ModelRequest(
            *(take(self.cases.values, rows), self.cases.answer[rows]),
            *(main_terms(self.settings), self.settings.models.adjust_for),
            self.cases.question[0],
        )

    @property
    def is_provisional(self) -> bool:
        """Tell whether there is no earlier season to be measured by."""
        return not (self.cases.season < self.name).any()


def running_series_of(
    season: AuditSeason, current: RiskModel
) -> tuple[list[Row], list[Row]]:
    """Give every operator's running series and the limits they are held against.

    Parameters
    ----------
    season : AuditSeason
    current : RiskModel
        Stands in where there is no earlier season.
    """
    model = _risks(season, current)
    cases = season.cases.with_risk(model.risks(season.cases.values))
    rows: list[Row] = []
    limits: list[Row] = []
    for name, own in cases.by_operator().items():
        this = own[cases.season[own] == season.name]
        measured_by = _baseline(season, cases, model, name, own)
        found = series_rows(name, cases.some(this), measured_by)
        rows += found
        limits += _limit_rows(season, name, measured_by, found)
    return rows, limits


def _risks(season: AuditSeason, current: RiskModel) -> RiskModel:
    """Give the season's risk model: as fixed, else from earlier seasons' courses."""
    outcome, days = season.cases.question
    name, under = f"risk of {outcome} by day {days}", chosen_under(season.settings)
    section = season.plan.fixed(name, under) if season.plan else None
    if section:
        return read_risks(section)
    if season.is_provisional:
        return current
    earlier = season.request(np.flatnonzero(season.cases.season < season.name))
    fitted, _ = fit_form(earlier, choose_form(earlier))
    model = risk_model(outcome, fitted, season.settings.models.adjust_for)
    if season.plan:
        season.plan.fix(name, write_risks(model), under)
    return model


def _baseline(
    season: AuditSeason,
    cases: ClosedCourses,
    model: RiskModel,
    name: str,
    own: np.ndarray,
) -> Baseline:
    plan, settings = season.plan, season.settings.plan
    outcome, days = season.cases.question
    section_name = f"running series of {name}, {outcome} by day {days}"
    under = {
        "false_alarm_chance": settings.false_alarm_chance,
        "fewest_cases": settings.fewest_cases,
        "planned_cases": settings.planned_cases.get(name, 0),
    }
    section = plan.fixed(section_name, under) if plan else None
    if section:
        return Baseline.read(section)
    counted = own[cases.counted[own]]
    before = counted[cases.season[counted] < season.name]
    pattern = _pattern(season, cases, counted, before)
    found = baseline(
        *(name, cases.some(before), cases.some(pattern), model, settings),
        replicates=REPLICATES,
    )
    if plan and not season.is_provisional:
        plan.fix(section_name, asdict(found), under)
    return found


def _pattern(
    season: AuditSeason, cases: ClosedCourses, counted: np.ndarray, before: np.ndarray
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


def _of_last_season(cases: ClosedCourses, rows: np.ndarray) -> np.ndarray:
    return cases.season[rows] == max(cases.season[rows].tolist())


def _limit_rows(
    season: AuditSeason, name: str, measured_by: Baseline, rows: list[Row]
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
                "signals": sum(row["signal"] != "" for row in own),
                "message": limits.said,
            }
        )
    return found


@dataclass(frozen=True)
class SeriesLimits:
    """Limits of one running series and what they do; NaN when there are none.

    Attributes
    ----------
    courses : int
        Courses of a season that they hold for.
    worse, better : float
        Values at which the two CUSUMs signal.
    detection : float
        Chance of a signal within the season if the odds of failing doubled.
    median_courses : float
        Courses to a signal then; NaN where under half of the seasons have one.
    said : str
        Why there are no limits.
    """

    courses: int
    worse: float
    better: float
    detection: float
    median_courses: float
    said: str = ""


@dataclass(frozen=True)
class Baseline:
    """An operator's own.

    Attributes
    ----------
    courses : int
        Earlier courses that it stands on.
    change : float
        Log odds of failing against the station; NaN without earlier courses.
    level, drift : SeriesLimits
        Against the station, and against the operator's own earlier courses.
    """

    courses: int
    change: float
    level: SeriesLimits
    drift: SeriesLimits

    @classmethod
    def read(cls, section: Mapping[str, Any]) -> Baseline:
        """Read a baseline back from the season's file, where it stands as a dictionary."""
        level, drift = (SeriesLimits(**section[name]) for name in ("level", "drift"))
        return cls(section["courses"], section["change"], level, drift)

    def drift_risks(self, risks: np.ndarray) -> np.ndarray:
        """Give the risks that the operator's own earlier results lead to expect."""
        return expit(logit(risks) + self.change)


def baseline(
    name: str,
    earlier: ClosedCourses,
    pattern: ClosedCourses,
    model: RiskModel,
    plan: Plan,
    *,
    replicates: int = REPLICATES,
) -> Baseline:
    """Set an operator's baseline and the limits of both series.

    Parameters
    ----------
    name : str
        The operator; seeds the simulation.
    earlier : ClosedCourses
        The operator's counted courses of earlier seasons, in order.
    pattern : ClosedCourses
        Courses that a season looks like: the operator's own last season, in order; the
        station's for somebody new.
    model : RiskModel
        For how far batches deviate.
    plan : Plan
    """
    change = np.nan
    n = len(earlier)
    if n:
        failures = float(earlier.failed.sum())
        shrunken = failures * (1 - 2 * HALF / (n + 2 * HALF)) + HALF
        change = odds_shift(logit(earlier.risk), min(max(shrunken, HALF), n - HALF))
    own = Baseline(n, change, *(SeriesLimits(0, *(np.nan,) * 4),) * 2)
    season = _season(name, pattern, plan)
    if not len(season):
        none = SeriesLimits(0, *(np.nan,) * 4, said="no closed course to learn from")
        return replace(own, level=none, drift=none)
    seed = zlib.crc32(name.encode())

    times = min(replicates, max(FEWEST_REPLICATES, MOST_SIMULATED // len(season)))

    def limits(risks: np.ndarray) -> SeriesLimits:
        found = calibrate(
            risks,
            season.shared(model.deviations),
            false_alarm_chance=plan.false_alarm_chance,
            replicates=times,
            seed=seed,
        )
        worse, better = found.worse, found.better
        return SeriesLimits(
            *(found.courses, worse.limit, better.limit),
            *(worse.detection, worse.median_courses, found.message),
        )

    level = limits(season.risk)
    drift = limits(own.drift_risks(season.risk)) if np.isfinite(change) else own.drift
    return replace(own, level=level, drift=drift)


def _season(name: str, pattern: ClosedCourses, plan: Plan) -> ClosedCourses:
    """Repeat a season's courses to the length that limits must hold for.

    Repeated batches are batches of their own.
    """
    size = len(pattern)
    if not size:
        return pattern
    length = max(size, plan.planned_cases.get(name, 0), plan.fewest_cases)
    rows = np.arange(length) % size
    again = (np.arange(length) // size).astype(str)
    long = pattern.some(rows)

    def renamed(batch: np.ndarray) -> np.ndarray:
        joined = np.char.add(np.char.add(batch, "\x1f"), again)
        return np.where(batch == "", "", joined)

    batches = {kind: renamed(long.values[kind]) for kind in BATCHES}
    return replace(long, values={**long.values, **batches})


def series_rows(name: str, own: ClosedCourses, measured_by: Baseline) -> list[Row]:
    """Give both series of an operator's courses of a season.

    Parameters
    ----------
    name : str
    own : ClosedCourses
        Closed courses of the season in the order they were inseminated, with the risks
        that the season is measured by.
    measured_by : Baseline
    """
    rows = _one(name, "level", own, own.risk, measured_by.level)
    if np.isfinite(measured_by.change):
        risks = measured_by.drift_risks(own.risk)
        rows += _one(name, "drift", own, risks, measured_by.drift)
    return rows


def _one(
    name: str, series: str, own: ClosedCourses, risks: np.ndarray, limits: SeriesLimits
) -> list[Row]:
    worse, better = (
        at if np.isfinite(at) else np.inf for at in (limits.worse, limits.better)
    )
    found = running_series(own.failed, risks, limit_worse=worse, limit_better=better)
    words = np.where(
        found.worse.signal, "worse", np.where(found.better.signal, "better", "")
    )
    decided = np.isfinite(own.failed)
    failed = np.where(decided, own.failed > 0, None).tolist()
    columns = {
        "case": range(1, len(own) + 1),
        "course_id": own.course_id.tolist(),
        "inseminated_at": own.inseminated_at.tolist(),
        "known_on": own.known_on.tolist(),
        "failed": failed,
        "expected": risks.tolist(),
        "sum_over_expected": found.over_expected.tolist(),
        "cusum_worse": found.worse.value.tolist(),
        "cusum_better": found.better.value.tolist(),
        "signal": words.tolist(),
    }
    held = {"limit_worse": limits.worse, "limit_better": limits.better}
    given = {"operator": name, "series": series, **held}
    return [
        {**given, **dict(zip(columns, row, strict=True))}
        for row in zip(*columns.values(), strict=True)
    ]


def expected_by_others(season: AuditSeason) -> dict[str, float]:
    """Give each operator's expected failures by the others' model; empty if not done.

    An operator is not in it where the others' courses give no model.
    """
    owned = season.cases.by_operator()
    if not FEWEST <= len(owned) <= MOST:
        return {}
    everybody = np.arange(len(season.cases))
    form = choose_form(season.request(everybody))
    if form is None:
        return {}
    found = {}
    for name, own in owned.items():
        others = season.request(np.setdiff1d(everybody, own))
        fitted, _ = fit_form(others, form, tested=False)
        if fitted.method != "none":
            adjust_for = season.settings.models.adjust_for
            model = risk_model(season.cases.question[0], fitted, adjust_for)
            risks = model.risks(take(season.cases.values, own))
            known = season.cases.decided[own] & np.isfinite(risks)
            found[name] = float(risks[known].sum())
    return found


def signal_rows(
    series: list[Row], cases: ClosedCourses, parts: list[Row]
) -> tuple[list[Row], list[Row]]:
    """Give every signal of the running series, and the batches that led up to it.

    Parameters
    ----------
    series : list of dict
        Rows of `operator_series`, those of one series together and in order.
    cases : ClosedCourses
        All courses, for the batch of each.
    parts : list of dict
        Every operator's batches, for whether anybody else worked on them.

    Returns
    -------
    list of dict, list of dict
        Rows of `operator_signals` and of `signal_batches`. A run holds the decided
        courses from where the CUSUM last left zero up to its signal.
    """
    place = {course: at for at, course in enumerate(cases.course_id.tolist())}
    alone = {(p["operator"], p["kind"], p["batch"]): p["alone"] for p in parts}
    signals: list[Row] = []
    batches: list[Row] = []
    for at, row in enumerate(series):
        if row["signal"] == "":
            continue
        run = [one for one in _run(series, at) if _is_decided(one)]
        whose = {name: row[name] for name in ("operator", "series", "case")}
        dated = {n: row[n] for n in ("course_id", "inseminated_at", "known_on")}
        first = run[0]["case"]
        signals.append(
            {**whose, **dated, "direction": row["signal"], "first_case": first}
            | _sums(run)
        )
        for kind in BATCHES:
            names = getattr(cases, kind)
            held: dict[str, list[Row]] = {}
            for one in run:
                batch = str(names[place[one["course_id"]]])
                held.setdefault(batch, []).append(one)
            held.pop("", None)
            batches += [
                {**whose, "kind": kind, "batch": batch, **_sums(own)}
                | {"alone": alone.get((row["operator"], kind, batch), False)}
                for batch, own in held.items()
            ]
    return signals, batches


def _sums(run: list[Row]) -> Row:
    return {
        "courses": len(run),
        "failures": sum(one["failed"] for one in run),
        "expected": float(sum(one["expected"] for one in run)),
    }


def _run(series: list[Row], at: int) -> list[Row]:
    """Give the rows from where the CUSUM last left zero up to its signal."""
    place = (series[at]["operator"], series[at]["series"])
    direction = series[at]["signal"]
    value = f"cusum_{direction}"
    first = at
    for back in range(at - 1, -1, -1):
        row = series[back]
        elsewhere = (row["operator"], row["series"]) != place
        if elsewhere or row["signal"] == direction or row[value] <= 0:
            break
        first = back
    return series[first : at + 1]


def _is_decided(row: Row) -> bool:
    return row["failed"] is not None and row["expected"] == row["expected"]
