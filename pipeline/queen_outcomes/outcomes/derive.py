"""Runs the SQL that derives courses, evidence and outcomes, in order.

Reads accepted_* and linked_checks, writes the tables named in STEPS. The rules stand in
the SQL files; the numbers they use come from the settings and the dictionary, here.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.facts.dictionary import DERIVED_LIMITS, GONE_REASONS
from queen_outcomes.facts.settings import Settings

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
    ("04_outcomes", "answers"),
    ("04_outcomes", "outcomes"),
    ("04_outcomes", "due"),
    ("04_outcomes", "course_findings"),
)
"""Every derivation, as folder and file stem (which is the table's name), in order."""

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
        store.step(folder, name, given)


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
        "season_first_month": settings.season_first_month,
        "windows": sorted({days for _, days in rules.windows}),
        "questions": [
            {"outcome": outcome, "window_days": days} for outcome, days in rules.windows
        ],
        "sources": [
            name
            for (name,) in store.rows(
                "SELECT source FROM sources_read ORDER BY source_no"
            )
        ],
        "grace_days": rules.grace_days,
        "course_gap_days": rules.course_gap_days,
        "look_gap_days": rules.look_gap_days,
        "hatch_days": rules.hatch_days,
        "seal_days": rules.seal_days,
        "emerge_days": rules.emerge_days,
        "pattern_good_pct": rules.pattern_good_pct,
        "missing_run_days": MISSING_RUN_DAYS,
        "drone_repeat_days": DRONE_REPEAT_DAYS,
        "early_end_days": EARLY_END_DAYS,
        "noticed_days": NOTICED_DAYS,
        "early_days": EARLY_DAYS,
        "early_until_day": EARLY_UNTIL_DAY,
        "missed_days": MISSED_DAYS,
        "check_days": list(rules.check_days),
        "gone_reasons": list(GONE_REASONS),
        "there_reasons": list(THERE_REASONS),
        **limits,
    }


def _bounds(settings: Settings, column: str) -> dict[str, float]:
    """Give a derived value's bounds; a side without one gets a bound out of reach."""
    hard, soft = DERIVED_LIMITS[column]
    hard = settings.limit("derived", column, "hard", hard)
    soft = settings.limit("derived", column, "soft", soft)
    far = 1e9
    return {
        "low": -far if hard.low is None else hard.low,
        "high": far if hard.high is None else hard.high,
        "soft_low": -far if soft is None or soft.low is None else soft.low,
        "soft_high": far if soft is None or soft.high is None else soft.high,
    }
