"""`station.toml` becomes one frozen, validated Settings.

Windows, margins and limits live here and in the dictionary and nowhere else: SQL
gets them as parameters and the methods page prints them from here. A mistyped name
is refused with the nearest right one.
"""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field, make_dataclass
from pathlib import Path
from typing import Any

from queen_outcomes.base.console import plain
from queen_outcomes.base.errors import UsageError, nearest, raise_all
from queen_outcomes.facts.column import Limits
from queen_outcomes.facts.languages import ENGLISH
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.reading import ABSENT, FINDINGS, PARTS, Reading
from queen_outcomes.facts.settings_form import FORM, MAIN_TERMS, read_section

STATION_FILE = "station.toml"


@dataclass(frozen=True)
class OutcomeRules:
    """The rules that settle outcomes, in days unless the name says otherwise."""

    grace_days: int = 7
    pattern_good_pct: float = 80.0
    course_gap_days: int = 7
    look_gap_days: int = 7
    hatch_days: int = 3
    seal_days: int = 8
    emerge_days: int = 21
    check_days: tuple[int, ...] = (7, 14, 21, 35, 60, 90, 365)

    @property
    def windows(self) -> list[tuple[str, int]]:
        """Every outcome and window, in the order they are shown."""
        return [
            (name, days)
            for name, outcome in OUTCOMES.items()
            for days in getattr(self, outcome.setting)
        ]


Outcomes = make_dataclass(
    "Outcomes",
    [(o.setting, tuple[int, ...], field(default=o.days)) for o in OUTCOMES.values()],
    bases=(OutcomeRules,),
    frozen=True,
    namespace={
        "__doc__": "The rules, and each outcome's windows in days after day 0.",
        "__module__": __name__,
    },
)
"""`OutcomeRules` with a field ``<name>_days`` of windows for every outcome."""


@dataclass(frozen=True)
class Models:
    """Which factors the models hold, in order of priority."""

    terms: tuple[str, ...] = MAIN_TERMS
    adjust_for: tuple[str, ...] = (
        "line",
        "drone_line",
        "year",
        "season",
        "co2_schedule",
    )
    """Factors that are never dropped for want of answers."""
    forms: Mapping[str, str] = field(default_factory=dict)
    """factor -> "line", "3 knots" or "4 knots", fixed whatever the answers allow."""


@dataclass(frozen=True)
class Plan:
    """What the station set out to learn this season, before it saw the answers.

    ``margin`` is a share; None where the station states none, and nothing is then
    called not worse. ``false_alarm_chance`` is a season's, for each direction of a
    running series. Both counts by name come from sections of their own.
    """

    outcome: str = "laying"
    days: int = 21
    margin: float | None = None
    false_alarm_chance: float = 0.01
    fewest_cases: int = 50
    planned_cases: Mapping[str, int] = field(default_factory=dict)
    """operator -> cases planned for the season."""
    planned_arms: Mapping[str, int] = field(default_factory=dict)
    """trial -> closed courses planned for each arm."""

    @property
    def question(self) -> tuple[str, int]:
        """The outcome and window that technique and doses are judged by."""
        return self.outcome, self.days


@dataclass(frozen=True)
class Settings:
    """Everything `station.toml` decides, with the defaults filled in."""

    name: str = "Our station"
    language: str = ENGLISH
    """Of the sheets to write on: the name of a file of words."""
    as_of: dt.date | None = None
    outcomes: Outcomes = field(default_factory=Outcomes)
    reading: Reading = field(default_factory=Reading)
    limits: Mapping[str, Mapping[str, Mapping[str, Limits]]] = field(
        default_factory=dict
    )
    """table (or "derived") -> column -> "hard" or "soft" -> the station's own limit."""
    models: Models = field(default_factory=Models)
    plan: Plan = field(default_factory=Plan)
    prior_cases: Mapping[str, int] = field(default_factory=dict)
    """operator -> cases before the first record."""
    min_shown: int = 10
    history_builds: int = 60
    memory: float | None = None
    """GB that the build's tables may take; None: as the machine has."""
    season_first_month: int = 1

    def limit(self, table: str, column: str, kind: str, default: Limits | None):
        """Give the station's own limit where it set one, else the dictionary's.

        None where there is no limit on either side.
        """
        limit = self.limits.get(table, {}).get(column, {}).get(kind, default)
        if limit is None or (limit.low is None and limit.high is None):
            return None
        return limit

    def resolved(self) -> dict[str, Any]:
        """Give all of it as JSON holds it, as a build's journal keeps it."""
        return json.loads(json.dumps(asdict(self), default=plain))


def load(station: Path) -> Settings:
    """Read and validate a station's settings.

    Parameters
    ----------
    station : Path
        The station's folder, which holds `station.toml`.

    Raises
    ------
    UsageError
        No such file, not TOML, an unknown name, or a value of the wrong form.
    """
    path = station / STATION_FILE
    try:
        text = text_of(station)
    except FileNotFoundError:
        raise UsageError(
            "there is no station",
            where=str(station),
            expected=f"a folder with a {STATION_FILE}",
            hint="make one with `queen-outcomes new DIR`, or name the right folder",
        ) from None
    except (OSError, UnicodeDecodeError) as problem:
        raise UsageError(
            "the settings cannot be read", where=str(path), found=str(problem)
        ) from None
    try:
        return parse(tomllib.loads(text), where=str(path))
    except tomllib.TOMLDecodeError as problem:
        raise UsageError(
            "the settings are not valid TOML",
            where=str(path),
            found=str(problem),
            hint="mend that line; texts stand in quotes, dates do not",
        ) from None


def text_of(station: Path) -> str:
    """Give the text of a station's settings."""
    return (station / STATION_FILE).read_bytes().decode("utf-8-sig")


def states(station: Path, section: str, name: str) -> bool:
    """Tell whether valid settings say something themselves, be it the default."""
    return name in tomllib.loads(text_of(station)).get(section, {})


def parse(content: Mapping[str, Any], *, where: str = STATION_FILE) -> Settings:
    """Turn a parsed TOML document into Settings; see `load` for the errors.

    All faults are told at once.
    """
    faults: list[UsageError] = []
    sections = read_section(FORM, content, where, "", faults)
    outcomes = Outcomes(**sections.get("outcomes", {}))
    faults += _outcome_faults(outcomes, where)
    dates, numbers = sections.get("dates", {}), sections.get("numbers", {})
    words = dict(sections.get("words", {}))
    reading = Reading(
        files=sections.get("tables", {}),
        columns=sections.get("columns", {}),
        words=words,
        **{name: words.pop(name, {}) for name in (FINDINGS, PARTS, ABSENT)},
        empty=words.pop("empty", {}).get("empty", ()),
        about=words.pop("about", {}).get("about", ()),
        date_order=dates.get("order", "iso"),
        decimal=numbers.get("decimal", "."),
        units=sections.get("units", {}),
        habits=sections.get("files", {}),
        rules=sections.get("read", ()),
        **sections.get("records", {}),
    )
    by_name = ("planned_cases", "planned_arms")
    given = {name: sections[name] for name in by_name if name in sections}
    plan = Plan(**sections.get("plan", {}), **given)
    faults += _plan_faults(plan, outcomes, where)
    faults += _heading_faults(reading, where)
    raise_all(faults)
    show = sections.get("show", {})
    names = ("name", "language", "as_of", "memory", "prior_cases")
    top = {name: sections[name] for name in names if name in sections}
    season = sections.get("season", {})
    return Settings(
        outcomes=outcomes,
        reading=reading,
        limits=sections.get("limits", {}),
        season_first_month=season.get("first_month", 1),
        models=Models(**sections.get("models", {})),
        plan=plan,
        **top,
        **show,
    )


def _outcome_faults(outcomes: Outcomes, where: str) -> Iterator[UsageError]:
    longest_first = [days for _, days in outcomes.windows]
    if not outcomes.hatch_days < outcomes.seal_days < outcomes.emerge_days:
        yield UsageError(
            "the stages of brood are out of order",
            where=f"{where} [outcomes]",
            found=f"hatch {outcomes.hatch_days}, seal {outcomes.seal_days}, "
            f"emerge {outcomes.emerge_days} days",
            expected="hatch_days < seal_days < emerge_days",
        )
    if outcomes.course_gap_days >= min(longest_first):
        yield UsageError(
            "a further dose could change an outcome already closed",
            where=f"{where} [outcomes]",
            found=f"course_gap_days {outcomes.course_gap_days}",
            expected=f"fewer days than the shortest window, {min(longest_first)}",
        )


def _plan_faults(plan: Plan, outcomes: Outcomes, where: str) -> Iterator[UsageError]:
    if plan.question not in outcomes.windows:
        asked = [f"{name} by day {days}" for name, days in outcomes.windows]
        yield UsageError(
            "the plan asks what the outcomes do not",
            where=f"{where} [plan]",
            found=f"{plan.outcome} by day {plan.days}",
            expected="one of " + ", ".join(asked),
            hint=f"add {plan.days} to {plan.outcome}_days under [outcomes]",
        )


def _heading_faults(reading: Reading, where: str) -> Iterator[UsageError]:
    """Tell of columns of ours that would be read from one heading: one would be lost."""
    for table, columns in reading.columns.items():
        seen: dict[str, str] = {}
        for ours, theirs in columns.items():
            other = seen.setdefault(" ".join(theirs.split()).casefold(), ours)
            if other != ours:
                yield UsageError(
                    "one heading stands for two columns",
                    where=f"{where} [columns.{table}]",
                    found=f'"{theirs}" for both {other} and {ours}',
                    expected="a heading for each",
                    hint="take one of the lines out; where one heading feeds several "
                    "columns, write a [[read]]",
                )


def asked_question(
    settings: Settings, outcome: str | None, days: int | None
) -> tuple[str, int]:
    """Give outcome and window asked for, what was left out filled in.

    Parameters
    ----------
    settings : Settings
    outcome : str, optional
        Else the outcome of [plan].
    days : int, optional
        Else the window of [plan] for its outcome, the first window for others.

    Raises
    ------
    UsageError
        The station does not ask that; the message says what it asks.
    """
    windows, plan = settings.outcomes.windows, settings.plan
    outcome = plan.outcome if outcome is None else outcome
    own = [window for name, window in windows if name == outcome]
    if days is None:
        days = plan.days if outcome == plan.outcome else next(iter(own), None)
    if days in own:
        return outcome, days
    close = nearest(outcome, [name for name, _ in windows])
    hint = f'did you mean "{close}"?' if close else ""
    if own and days > 0:
        hint = (
            f"add {days} to {outcome}_days under [outcomes] in station.toml and build"
        )
    raise UsageError(
        "this outcome and window are not asked of this station",
        where="--outcome, --days",
        found=outcome if days is None else f"{outcome} by day {days}",
        expected="one of " + ", ".join(f"{name} by day {day}" for name, day in windows),
        hint=hint,
    )
