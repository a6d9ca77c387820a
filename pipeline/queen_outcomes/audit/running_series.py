"""The running series of a season: what they are measured by, their rows, their signals.

Risks, own pasts and what null seasons draw are taken from courses of earlier seasons and
fixed at the season's first build, so that a signal once shown does not vanish because a
model was fitted again. Without earlier seasons everything comes from what has closed so
far, and is provisional.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from queen_outcomes.audit.season_nulls import (
    SPENT,
    OwnPast,
    own_past,
    season_numbers,
    unknowns_of,
)
from queen_outcomes.base.workers import Task, Workers
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.choose import Earlier
from queen_outcomes.models.closed import (
    BATCHES,
    NO_FILLINGS,
    ClosedCourses,
    take,
)
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
from queen_outcomes.stats.series.null_seasons import (
    LEVEL,
    PAUSE,
    STATION,
    STATION_HAND,
    ClosedSeason,
    Followed,
    Hand,
    Unknowns,
    follow,
)

Row = dict[str, Any]
REPLICATES, FEWEST_REPLICATES = 10_000, 2_000
MOST_SIMULATED = 40_000_000
"""Courses drawn for a season: one of many thousands is drawn fewer times."""
FEWEST, MOST = 5, 40
"""Operators from which on others' models are fitted, and up to which: each takes a fit."""
NOBODY = np.empty(0, int)
SEASON_UNTOLD = (
    "operator or season cannot be told apart: that takes two colleagues and ten failures "
    "expected of their closed courses"
)


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

    def request(
        self, rows: np.ndarray, without: str = "", *, settled: bool = True
    ) -> ModelRequest:
        """Ask for the main model of some of these courses, a term left out.

        ``settled``: of what the records settle alone, as series count nothing else.
        """
        terms = [t for t in main_terms(self.settings) if t.name != without]
        always = [name for name in self.settings.models.adjust_for if name != without]
        some = self.cases.some(rows)
        return ModelRequest(
            *(some.values, some.answer),
            *(some.answer[None, :] if settled else some.answers, some.fillings),
            *(tuple(terms), tuple(always)),
        )

    @property
    def is_provisional(self) -> bool:
        """Tell whether there is no earlier season to be measured by."""
        return not (self.cases.season < self.name).any()

    def fixed(self, name: str, under: Mapping[str, Any], make) -> dict[str, Any]:
        """Give what is fixed for the season under a name, else make it and fix it."""
        outcome, days = self.cases.question
        name = f"{name} {outcome} by day {days}"
        found = self.plan.fixed(name, under) if self.plan else None
        if found is None:
            found = make()
            if self.plan and not self.is_provisional:
                self.plan.fix(name, found, under)
        return found


def closing_chances(cases: ClosedCourses) -> np.ndarray:
    """Give each course's chance of having failed, by what was seen of it at its close.

    1 and 0 where the records settle it; NaN where they do not: nothing decides.
    """
    return cases.failed


def running_series_of(
    season: AuditSeason, current: RiskModel, apart: Mapping[str, str]
) -> tuple[list[Row], list[Row]]:
    """Give the station's and every operator's running series, and their limits.

    Parameters
    ----------
    season : AuditSeason
    current : RiskModel
        Stands in where there is no earlier season.
    apart : mapping of str to str
        Operators who cannot be told apart from something else, and from what: their
        series are shown and never signal.
    """
    model = risks_before(season, current)
    cases = season.cases.with_risk(model.risks(season.cases.values))
    rows = np.flatnonzero(cases.season == season.name)
    rows = rows[np.lexsort((cases.course_id[rows], cases.d0[rows]))]
    this = cases.some(rows)
    known = np.isfinite(this.risk)
    if not known.any():
        return [], []
    names = np.unique(this.operator[this.operator != ""]).tolist()
    pasts = _pasts(season, cases, model, names)
    hands = {
        at: Hand(
            *(zlib.crc32(name.encode()), pasts[name].planned),
            *(pasts[name].change, pasts[name].change_se, not apart.get(name)),
        )
        for at, name in enumerate(names)
    }
    planned = season.fixed(
        "planned courses of",
        {"planned_cases": dict(season.settings.plan.planned_cases)},
        lambda: {"courses": _planned_of_all(season)},
    )["courses"]
    followed = follow(
        _closed(this, model, names),
        hands,
        _unknowns(season, cases, model),
        chance=SPENT * season.settings.plan.false_alarm_chance,
        planned=planned,
        replicates=_replicates(max(planned, len(this))),
        seed=zlib.crc32(season.name.encode()),
    )
    made: list[Row] = []
    limits: list[Row] = []
    for (at, series), found in sorted(followed.items()):
        name = names[at] if at != STATION_HAND else None
        if series == STATION and season.is_provisional:
            continue  # measured by itself it would say nothing
        own = _series_rows(name, series, this, found)
        made += own
        past = pasts.get(name, OwnPast(0, np.nan, np.nan, planned))
        limits.append(
            _limit_row(name, series, found, own, past, apart.get(name, ""))
            | {"provisional": season.is_provisional}
        )
    return made, limits


def _replicates(courses: int) -> int:
    return min(REPLICATES, max(FEWEST_REPLICATES, MOST_SIMULATED // max(courses, 1)))


def risks_before(season: AuditSeason, current: RiskModel) -> RiskModel:
    """Give the season's risk model: as fixed, else from earlier seasons' courses.

    The year is no term of it: the season that it is for is none of theirs.
    """
    if season.is_provisional:
        return current.recalibrated(season.cases.values, season.cases.failed)

    def made() -> dict[str, Any]:
        earlier = season.request(
            np.flatnonzero(season.cases.season < season.name), without="year"
        )
        fitted = fit_form(earlier, choose_form(earlier))
        adjust_for = season.settings.models.adjust_for
        return write_risks(risk_model(season.cases.question[0], fitted, adjust_for))

    return read_risks(season.fixed("risk of", chosen_under(season.settings), made))


def _unknowns(season: AuditSeason, cases: ClosedCourses, model: RiskModel) -> Unknowns:
    """Give what null seasons draw; of a season measured by itself the risks are known."""

    def made() -> dict[str, Any]:
        rows = cases.counted
        rows = rows if season.is_provisional else rows & (cases.season < season.name)
        earlier = cases.some(np.flatnonzero(rows))
        found = unknowns_of(earlier, model, is_known=season.is_provisional)
        return {
            "tau": found.tau,
            "root": found.root.tolist(),
            "variances": found.variances.tolist(),
            "variance_ses": found.variance_ses.tolist(),
        }

    kept = season.fixed("null seasons of", chosen_under(season.settings), made)
    columns = len(model.beta)
    root = np.array(kept["root"], float).reshape(columns, -1)
    parts = (np.array(kept[name]) for name in ("variances", "variance_ses"))
    return Unknowns(kept["tau"], root, *parts)


def _pasts(
    season: AuditSeason, cases: ClosedCourses, model: RiskModel, names: list[str]
) -> dict[str, OwnPast]:
    """Give some operators' own pasts, from their courses of earlier seasons."""
    asked = (*BATCHES, "operator", "year", "course_id")
    values = {column: cases.values[column] for column in asked}
    # what is cut out for every operator is only what is looked at
    lean = replace(cases, values=values, fillings=NO_FILLINGS)
    earlier = lean.some(np.flatnonzero(cases.season < season.name))
    owned = earlier.by_operator()
    # in the order of the courses, so that sums keep their last digits
    rows = {name: np.sort(owned.get(name, NOBODY)) for name in names}
    return {n: _past(season, earlier.some(rows[n]), model, n) for n in names}


def _past(
    season: AuditSeason, before: ClosedCourses, model: RiskModel, name: str
) -> OwnPast:
    plan = season.settings.plan

    def made() -> dict[str, Any]:
        courses = plan.planned_cases.get(name, 0)
        last = _last_season(before, np.arange(len(before)))
        courses = courses or max(last, plan.fewest_cases, 1)
        found = own_past(before.some(np.flatnonzero(before.counted)), model)
        return {"planned": courses, **found}

    under = {
        "fewest_cases": plan.fewest_cases,
        "planned_cases": plan.planned_cases.get(name, 0),
    }
    kept = season.fixed(f"own past of {name},", under, made)
    return OwnPast(*(kept[k] for k in ("courses", "change", "change_se", "planned")))


def _last_season(cases: ClosedCourses, rows: np.ndarray) -> int:
    """Count the courses of the last season of some."""
    seasons = cases.season[rows]
    return int((seasons == max(seasons.tolist(), default="")).sum())


def _planned_of_all(season: AuditSeason) -> int:
    plan = season.settings.plan
    before = np.flatnonzero(season.cases.season < season.name)
    if season.is_provisional:
        before = np.arange(len(season.cases))
    last = _last_season(season.cases, before)
    return max(last, sum(plan.planned_cases.values()), plan.fewest_cases, 1)


def _closed(this: ClosedCourses, model: RiskModel, names: list[str]) -> ClosedSeason:
    """Give a season's courses as numbers; of those of unknown risk nothing decides."""
    known = np.isfinite(this.risk)
    risk = np.where(known, this.risk, 0.5)
    logits, conditional, columns = season_numbers(this.with_risk(risk), model)
    batches = np.column_stack(
        [
            [zlib.crc32(b.encode()) if b else -1 for b in getattr(this, kind).tolist()]
            for kind in BATCHES
        ]
    )
    places = {name: at for at, name in enumerate(names)}
    hand = np.array([places.get(name, -1) for name in this.operator.tolist()], int)
    q = np.where(known, closing_chances(this), np.nan)
    days = this.known_on.astype("datetime64[D]").astype(int)
    return ClosedSeason(days, hand, q, logits, conditional, columns, batches)


def _series_rows(
    name: str | None, series: str, this: ClosedCourses, found: Followed
) -> list[Row]:
    own = this.some(found.rows)
    expected = np.where(np.isfinite(own.risk), found.expected, np.nan)
    over = closing_chances(own) - expected
    words = np.where(
        found.signals[0], "worse", np.where(found.signals[1], "better", "")
    )
    columns = {
        "case": range(1, len(own) + 1),
        "course_id": own.course_id.tolist(),
        "inseminated_at": own.inseminated_at.tolist(),
        "known_on": own.known_on.tolist(),
        "failed": np.where(own.decided, own.failed > 0, None).tolist(),
        "expected": expected.tolist(),
        "sum_over_expected": np.nancumsum(over).tolist(),
        "cusum_worse": found.values[0].tolist(),
        "cusum_better": found.values[1].tolist(),
        "limit_worse": found.limits[0].tolist(),
        "limit_better": found.limits[1].tolist(),
        "signal": words.tolist(),
        "season_told": found.told.tolist(),
    }
    return [
        {"operator": name, "series": series, **dict(zip(columns, row, strict=True))}
        for row in zip(*columns.values(), strict=True)
    ]


def _limit_row(
    name: str | None,
    series: str,
    found: Followed,
    rows: list[Row],
    past: OwnPast,
    apart: str,
) -> Row:
    said = f"cannot be told apart from {apart}" if apart else ""
    if not said and series == LEVEL and not found.told[-1]:
        said = SEASON_UNTOLD
    worse, better = (
        limits[np.isfinite(limits)][-1:].tolist() for limits in found.limits
    )
    return {
        "operator": name,
        "series": series,
        "holds_for": past.planned,
        "limit_worse": worse[0] if worse else None,
        "limit_better": better[0] if better else None,
        "detection": None if said else found.detection,
        "median_courses": None if said else found.median,
        "baseline_courses": past.courses,
        "cases": len(rows),
        "signals": sum(row["signal"] != "" for row in rows),
        "message": said,
    }


def expected_by_others(season: AuditSeason, workers: Workers) -> dict[str, Task]:
    """Begin on each operator's expected failures by the others' model; empty if not done.

    A task gives None where the others' courses give no model.
    """
    owned = season.cases.by_operator()
    if not FEWEST <= len(owned) <= MOST:
        return {}
    everybody = np.arange(len(season.cases))
    form = choose_form(season.request(everybody, settled=False))
    if form is None:
        return {}
    return {
        name: workers.submit(_by_others, season, own, form)
        for name, own in owned.items()
    }


def _by_others(season: AuditSeason, own: np.ndarray, form: Earlier) -> float | None:
    """Give what the model of all other courses expects of some."""
    rest = np.setdiff1d(np.arange(len(season.cases)), own)
    fitted = fit_form(season.request(rest, settled=False), form)
    if fitted.method == "none":
        return None
    adjust_for = season.settings.models.adjust_for
    model = risk_model(season.cases.question[0], fitted, adjust_for)
    risks = model.risks(take(season.cases.values, own))
    worth = np.isfinite(season.cases.answers[:, own]).mean(axis=0)
    return float(np.nansum(worth * risks))


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
        courses from where the CUSUM last left zero up to its signal. Signals of one
        operator and direction whose runs share courses, or that follow within `PAUSE`
        courses, are one episode, whichever series they are of.
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
            | {"season_told": row["season_told"]}
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
    return _in_episodes(signals), batches


def _in_episodes(signals: list[Row]) -> list[Row]:
    """Number the episodes of each operator from 1."""
    last: dict[tuple[Any, str], tuple[int, int]] = {}
    count: dict[Any, int] = {}
    for row in sorted(signals, key=lambda one: (one["case"], one["series"])):
        place = (row["operator"], row["direction"])
        reached, episode = last.get(place, (-PAUSE, 0))
        if not episode or min(row["first_case"], row["case"] - PAUSE) > reached:
            count[row["operator"]] = episode = count.get(row["operator"], 0) + 1
        last[place] = (row["case"], episode)
        row["episode"] = episode
    return signals


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
