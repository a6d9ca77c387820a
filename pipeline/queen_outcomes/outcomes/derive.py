"""Runs the SQL that derives courses, evidence, outcomes and plain rates, in order.

Reads accepted_*, linked_checks and listed_records, writes the tables named in STEPS and
RATES, `listed`, and for comparing doses `outcomes_from_first`. The rules stand in the SQL
files; the numbers they use come from the settings and the dictionary, here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from queen_outcomes.base.store import Store, literal
from queen_outcomes.facts.dictionary import DERIVED_LIMITS, GONE_REASONS
from queen_outcomes.facts.outcomes import OUTCOMES, TO_SEE, refuse_unknown
from queen_outcomes.facts.reasons import REASONS, message_sql
from queen_outcomes.facts.settings import Outcomes, Settings
from queen_outcomes.facts.words import source_names
from queen_outcomes.outcomes.answers import write_answers

STEPS = (
    ("02_courses", "doses_given"),
    ("02_courses", "operator_days"),
    ("02_courses", "queen_facts"),
    ("02_courses", "semen_facts"),
    ("02_courses", "co2_exposures"),
    ("02_courses", "co2_schedule"),
    ("02_courses", "courses"),
    ("03_evidence", "queen_days"),
    ("03_evidence", "course_exits"),
    ("03_evidence", "looks"),
    ("03_evidence", "earlier_looks"),
    ("03_evidence", "brood_given_days"),
    ("03_evidence", "evidence"),
    ("03_evidence", "drone_events"),
    ("03_evidence", "so_far"),
    ("03_evidence", "end_signs"),
    ("03_evidence", "end_hints"),
    ("04_outcomes", "standings"),
    ("04_outcomes", "onset"),
    ("04_outcomes", "ends"),
    ("04_outcomes", "meant"),
    ("04_outcomes", "window_facts"),
    ("04_outcomes", "answers"),
    ("04_outcomes", "outcomes"),
    ("04_outcomes", "due"),
    ("04_outcomes", "course_findings"),
)
"""Every derivation, as folder and file stem (which is the table's name), in order."""

RATES = ("course_groups", "cluster_counts", "rates")
COUNTED_AT_ONCE = 300_000
"""Courses above which each question is counted by itself, as memory may be short."""

THERE_REASONS = (
    "sold",
    "moved",
    "sampled",
    "swarmed",
    "drone_layer",
    "culled_fault",
    "culled_other",
)
"""Exits for which somebody must have had the queen in hand, or seen her go."""

MISSING_RUN_DAYS = 3
"""Looks without queen or eggs must span this many days before she counts as missing."""
DRONE_REPEAT_DAYS = 7
"""Two looks with little drone brood must lie this far apart to make a drone-layer."""
EARLY_END_DAYS = 5
"""A queen gone by this day cannot have begun to lay; no look is needed to say so."""

NOTICED_DAYS = 30
"""A loss written down without a look is taken to have come so many days before at most.

A judgement: nobody misses a queen, or finds another in her place, without opening the
colony, and whoever does writes it down; looks lie further apart than this in winter only.
"""

EARLY_DAYS = 2
"""The first checks may come this many days before their day and still answer for it."""
EARLY_UNTIL_DAY = 14
MISSED_DAYS = 30
"""A missed check is shown for this long."""

Z_95 = 1.959963984540054
"""Standard normal quantile of two-sided 95 % limits."""

FROM_FIRST = "from_first"
"""The schema in which the queens inseminated on two days are derived anew."""
TWICE = "SELECT queen_id FROM main.courses WHERE first_on < d0"
NARROWED = ("accepted_inseminations", "linked_checks")

PARTS = {"column": '"column"', "value": "value", "other": "other"}
"""What course_findings gives to fill a reason's sentence with."""


def derive(store: Store, settings: Settings, as_of: dt.date) -> None:
    """Derive courses, onset, ends and outcomes as of a day.

    Parameters
    ----------
    store : Store
        Holds accepted_<table> for every table, linked_checks and sources_read.
    settings : Settings
        Windows, grace, stage lengths and limits.
    as_of : date
        Records dated after this day are not used.
    """
    given = parameters(store, settings, as_of)
    for folder, name in STEPS:
        _step(store, folder, name, given)
    store.drop("answers")  # outcomes has them, with the places of their rows


def _step(store: Store, folder: str, name: str, given: dict[str, Any]) -> None:
    """Write one table of STEPS."""
    if name == "answers":  # the one that many files make
        write_answers(store, given)
    else:
        store.step(folder, name, given)


def derive_from_first(store: Store, settings: Settings, as_of: dt.date) -> None:
    """Write ``outcomes_from_first`` (course_id, outcome, window_days, state, closed).

    The outcomes once more, for comparing doses: day 0 is a course's first insemination. A
    queen inseminated on two days had to live until the second; counted from there she
    would be flattered. Only queens with such a course are derived anew.

    Parameters
    ----------
    store : Store
        Holds what `derive` reads and wrote.
    settings : Settings
    as_of : date
    """
    given = parameters(store, settings, as_of, from_first=True)
    store.execute(f"CREATE SCHEMA {FROM_FIRST}")
    try:
        for name in NARROWED:
            store.execute(
                f"CREATE VIEW {FROM_FIRST}.{name} AS SELECT * FROM main.{name} "
                f"WHERE queen_id IN ({TWICE})"
            )
        # new tables land in the first of these, and hide those of the second
        store.execute(f"SET search_path = '{FROM_FIRST},main'")
        for folder, name in STEPS:
            _step(store, folder, name, given)
            if name == "outcomes":
                break
        store.execute("SET search_path = 'main'")
        store.step("04_outcomes", "outcomes_from_first", {})
    finally:
        store.execute("SET search_path = 'main'")
        store.execute(f"DROP SCHEMA {FROM_FIRST} CASCADE")


def count_rates(store: Store, settings: Settings) -> None:
    """Count the outcomes by every grouping, with limits that allow for graft batches.

    Reads courses and outcomes, writes course_groups and rates; for the formulas see
    ``sql/05_rates/rates.sql``.

    Raises
    ------
    LedgerError
        An outcome or a state stands there that is not declared.
    """
    refuse_unknown(store.rows("SELECT DISTINCT outcome, state FROM outcomes"))
    store.step("05_rates", RATES[0], {})
    count_groups(store, settings)


def count_groups(store: Store, settings: Settings) -> None:
    """Count the outcomes by the groups that `course_groups` gives; write rates."""
    given = {"min_shown": settings.min_shown, "z": Z_95}
    groups, counts, rates = RATES
    ((courses,),) = store.rows(f"SELECT count(*) FROM {groups}")
    all_at_once = [(None, None)]
    many = courses > COUNTED_AT_ONCE
    first, *more = settings.outcomes.windows if many else all_at_once
    store.step("05_rates", counts, _question(first))
    for question in more:
        store.more("05_rates", counts, _question(question))
    store.step("05_rates", rates, given)
    store.drop(counts)


def _question(asked: tuple[str | None, int | None]) -> dict[str, Any]:
    return dict(zip(("outcome", "window_days"), asked, strict=True))


def write_listed(store: Store) -> None:
    """Write `listed`, everything for a second look: one row a row and reason.

    From listed_records (what each row says by itself) and course_findings (what only
    shows once rows are linked), in the order of the files.
    """
    rows = store.rows("SELECT DISTINCT reason FROM course_findings ORDER BY reason")
    reasons = [code for (code,) in rows]
    severities = _cases({code: literal(REASONS[code].severity) for code in reasons})
    messages = _cases({code: message_sql(code, PARTS) for code in reasons})
    store.table(
        "listed",
        f"""
        SELECT source, line, slot, "table", severity, reason, "column", value, message
        FROM listed_records
        UNION ALL
        SELECT
            sources.source,
            ref_line(found.ref),
            ref_slot(found.ref),
            found."table",
            CASE found.reason {severities} END,
            found.reason,
            found."column",
            found.value,
            CASE found.reason {messages} END
        FROM course_findings AS found
        INNER JOIN sources_read AS sources
            ON sources.source_no = ref_source(found.ref)
        ORDER BY ALL
        """,
    )


def _cases(branches: Mapping[str, str]) -> str:
    """Give the branches of a CASE; one never is, for a station without findings."""
    some = {"": "''", **branches}
    return " ".join(f"WHEN {literal(code)} THEN {then}" for code, then in some.items())


def parameters(
    store: Store, settings: Settings, as_of: dt.date, *, from_first: bool = False
) -> dict[str, Any]:
    """Give every number and list that the SQL files name, by its name there."""
    rules = settings.outcomes
    limits = {
        f"{column}_{side}": bound
        for column in DERIVED_LIMITS
        for side, bound in _bounds(settings, column).items()
    }
    return {
        "as_of": as_of,
        "from_first": from_first,
        "co2": settings.reading.co2,
        "season_first_month": settings.season_first_month,
        # the rules and the outcomes' windows, by the names they have in the settings
        **{name: _listed(value) for name, value in asdict(rules).items()},
        "windows": sorted({days for _, days in rules.windows}),
        "looks": _looks(rules),
        "to_see": list(TO_SEE),
        "sources": source_names(store),
        "missing_run_days": MISSING_RUN_DAYS,
        "drone_repeat_days": DRONE_REPEAT_DAYS,
        "early_end_days": EARLY_END_DAYS,
        "noticed_days": NOTICED_DAYS,
        "early_days": EARLY_DAYS,
        "early_until_day": EARLY_UNTIL_DAY,
        "missed_days": MISSED_DAYS,
        "gone_reasons": list(GONE_REASONS),
        "there_reasons": list(THERE_REASONS),
        **limits,
    }


def _listed(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _looks(rules: Outcomes) -> list[dict[str, Any]]:
    """Give, for each outcome and window, which planned looks can settle it."""
    laying = max(rules.laying_days)
    looks = []
    for name, window in rules.windows:
        spans = {
            "until": (0, window),
            "after_laying": (laying + 1, window),
            "from": (window, window + rules.grace_days),
        }
        first, last = spans[OUTCOMES[name].looks]
        looks.append(
            {
                "outcome": name,
                "window_days": window,
                "first_look": first,
                "last_look": last,
                "look_for": list(OUTCOMES[name].look_for),
            }
        )
    return looks


def _bounds(settings: Settings, column: str) -> dict[str, float]:
    """Give a derived value's bounds; a side without one gets a bound out of reach."""
    hard, soft = DERIVED_LIMITS[column]
    hard = settings.limit("derived", column, "hard", hard)
    soft = settings.limit("derived", column, "soft", soft)
    far = 1e9
    return {
        "low": -far if hard is None or hard.low is None else hard.low,
        "high": far if hard is None or hard.high is None else hard.high,
        "soft_low": -far if soft is None or soft.low is None else soft.low,
        "soft_high": far if soft is None or soft.high is None else soft.high,
    }
