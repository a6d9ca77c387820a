"""What needs a person this week: a sentence a matter, for page, paper and terminal alike.

Reads the finished tables of the audit, the rates, the checks due and what changed. What
is told is what came up lately or waits for somebody; nothing here judges anybody.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts import words
from queen_outcomes.facts.dose_words import counted, points
from queen_outcomes.facts.exports.outcomes import ATTENTION
from queen_outcomes.facts.exports.writing import write_rows
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.changes import take_over
from queen_outcomes.stats.shares.proportions import Interval, more_than

FOLDER = "09_attention"
KINDS = (
    *("signal", "closing", "stopped", "batch", "season", "flipped", "headline"),
    "quarantine",
)
"""In the order in which matters of one severity are told."""
ACT, LOOK, KNOW = 1, 2, 3
"""How bad: somebody has to go now; somebody has to look into it; good to know."""
MOST_SHOWN = 10
"""Matters shown at once, the rest are counted."""

RECENT_DAYS = 35
"""A signal is kept in view for so many days: until whatever was changed for its sake can
show, as the next courses take a month to close. A judgement."""
SOON_DAYS = 7
SILENT_DAYS, BEFORE_DAYS, FEWEST_LOOKS = 14, 60, 10
"""A checker of whom nothing came for so long, of so many looks in the days before; the
last two are judgements."""
LEAST_MOVE = 0.02
"""A headline that moved by less between two builds is no news. A judgement."""

Row = dict[str, Any]


def gather(
    store: Store, settings: Settings, as_of: dt.date, earlier: Path | None
) -> int:
    """Write the table ``attention``; give the number of its rows.

    Parameters
    ----------
    store : Store
        Holds everything but the table itself.
    settings : Settings
    as_of : date
    earlier : Path or None
        The folder of the build before, for what moved.
    """
    before = take_over(store, "rates", earlier)
    asked = (store, settings, as_of)
    rows = [
        *_signals(*asked),
        *_closing(*asked),
        *_stopped(*asked),
        *_batches(*asked),
        *_seasons(*asked),
        *_flipped(*asked),
        *_headlines(*asked),
        *_quarantine(*asked),
    ]
    store.drop(before)
    write_rows(store, ATTENTION, rows)
    return len(rows)


def worst_first(store: Store) -> list[Row]:
    """Give the rows of ``attention``, the worst first and then the latest."""
    rows = store.records("SELECT * FROM attention ORDER BY known_on DESC, sentence")
    return sorted(rows, key=lambda row: (row["severity"], KINDS.index(row["kind"])))


def told(store: Store) -> list[str]:
    """Say it in lines for a terminal; the first says that there is nothing, if so."""
    rows = worst_first(store)
    if not rows:
        return ["nothing needs attention"]
    lines = [f"needs attention: {row['sentence']}" for row in rows[:MOST_SHOWN]]
    more = len(rows) - MOST_SHOWN
    return [*lines, f"and {more} more on the first page"] if more > 0 else lines


def season_against_last(
    store: Store, question: tuple[str, int]
) -> tuple[Row, Row, Interval] | None:
    """Give the season and the one before it, and their difference; None where one is not.

    Returns
    -------
    tuple or None
        The rows of ``rates`` of both, this season first, and this minus the last with 95 %
        limits (shares). Both have an estimate with limits.
    """
    rows = store.records(
        "SELECT * FROM rates WHERE \"grouping\" = 'season' AND outcome = $outcome "
        "AND window_days = $window_days ORDER BY level DESC LIMIT 2",
        {"outcome": question[0], "window_days": question[1]},
    )
    keys = ("estimate", "estimate_low", "estimate_high")
    if len(rows) < 2 or any(row[key] is None for row in rows for key in keys):
        return None
    now, last = rows
    difference = more_than(*(Interval(*(row[key] for key in keys)) for row in rows))
    return now, last, difference


def season_said(question: tuple[str, int], now: Row, last: Row, found: Interval) -> str:
    """Say a season against the one before, in points with 95 % limits."""
    what = words.outcome_by_day(*question)
    span = f"{points(found.low)} to {points(found.high)}"
    verdict = (
        "no clear difference" if found.low <= 0 <= found.high else "a clear difference"
    )
    return (
        f"{what[:1].upper()}{what[1:]}: {words.percent(now['estimate'])} in {now['level']} "
        f"so far, {words.percent(last['estimate'])} in {last['level']}; {verdict}, "
        f"{points(found.estimate)} points ({span})"
    )


def _facts(store: Store, name: str, **given: Any) -> list[Row]:
    return store.records(resources.read("sql", FOLDER, f"{name}.sql"), given)


def _matter(kind: str, known_on: dt.date, severity: int, said: str, link: str) -> Row:
    return {
        "kind": kind,
        "known_on": known_on,
        "severity": severity,
        "sentence": f"{said}.",
        "link": link,
    }


def _signals(store: Store, _settings: Settings, as_of: dt.date) -> list[Row]:
    rows = _facts(store, "signals", as_of=as_of, recent_days=RECENT_DAYS)
    return [
        _matter(
            "signal",
            row["known_on"],
            ACT,
            f"{row['operator'] or 'The station'}: more failures than expected, "
            f"{row['failures']} of {row['courses']} courses, {row['expected']:.1f} expected"
            + (f"; most of them in graft {row['batch']}" if row["batch"] else ""),
            "operators.html#series",
        )
        for row in rows
    ]


def _batches(store: Store, settings: Settings, as_of: dt.date) -> list[Row]:
    outcome, window = settings.plan.question
    grace = settings.outcomes.grace_days
    given = {"outcome": outcome, "window_days": window, "grace_days": grace}
    return [
        _matter(
            "batch",
            row["known_on"],
            LOOK,
            f"{words.BATCH_KINDS[row['kind']].capitalize()} {row['batch']}: more failures "
            f"than expected, {row['failures']} of {row['courses']} courses, "
            f"{row['expected']:.1f} expected"
            + (
                f" (worked by {', '.join(row['operators'])})"
                if row["operators"]
                else ""
            ),
            "operators.html#batches",
        )
        for row in _facts(store, "batches_flagged", **given, as_of=as_of)
    ]


def _closing(store: Store, _settings: Settings, as_of: dt.date) -> list[Row]:
    return [
        _matter(
            "closing",
            as_of,
            ACT,
            f"The window closes in the next {SOON_DAYS} days for "
            f"{counted(row['queens'], 'queen')} still to be looked at"
            + (f", {row['unseen']} of them never looked at" if row["unseen"] else "")
            + f"; first {row['place']}, until {row['first_on'].isoformat()}",
            "due.html",
        )
        for row in _facts(store, "closing", as_of=as_of, soon_days=SOON_DAYS)
    ]


def _stopped(store: Store, _settings: Settings, as_of: dt.date) -> list[Row]:
    given = {
        "silent_days": SILENT_DAYS,
        "before_days": BEFORE_DAYS,
        "fewest_looks": FEWEST_LOOKS,
    }
    return [
        _matter(
            "stopped",
            row["last_on"] + dt.timedelta(SILENT_DAYS),
            ACT,
            f"No check by {row['checker']} since {row['last_on'].isoformat()}, "
            f"{(as_of - row['last_on']).days} days, while "
            f"{counted(row['due'], 'check is', 'checks are')} due",
            "records.html",
        )
        for row in _facts(store, "stopped", as_of=as_of, **given)
    ]


def _seasons(store: Store, settings: Settings, as_of: dt.date) -> list[Row]:
    """Tell a season whose difference from the last has its limits on one side of zero."""
    first = ("laying", settings.outcomes.laying_days[0])
    rows = []
    for question in dict.fromkeys((first, settings.plan.question)):
        both = season_against_last(store, question)
        if both is None or both[2].low <= 0 <= both[2].high:
            continue
        good = (both[2].estimate > 0) == (OUTCOMES[question[0]].fails == "no")
        severity = KNOW if good else LOOK
        said = season_said(question, *both)
        rows.append(_matter("season", as_of, severity, said, "index.html#seasons"))
    return rows


def _flipped(store: Store, _settings: Settings, as_of: dt.date) -> list[Row]:
    return [
        _matter(
            "flipped",
            as_of,
            LOOK,
            f"Corrected records turned {counted(row['courses'], 'settled answer')} on "
            f"{words.outcome_by_day(row['outcome'], row['window_days'])}, for instance "
            f"{row['example']}: {row['is']}, was {row['was']}",
            "index.html#changes",
        )
        for row in _facts(store, "flipped")
    ]


def _headlines(store: Store, _settings: Settings, as_of: dt.date) -> list[Row]:
    return [
        _matter(
            "headline",
            as_of,
            KNOW,
            f"The estimate of {words.outcome_by_day(row['outcome'], row['window_days'])} "
            f"over all courses moved from {words.percent(row['was'])} to "
            f"{words.percent(row['is'])} since the last build",
            "index.html#overall",
        )
        for row in _facts(store, "headlines_moved", least_move=LEAST_MOVE)
    ]


def _quarantine(store: Store, _settings: Settings, as_of: dt.date) -> list[Row]:
    rows = store.rows(
        'SELECT "table", count(*) FROM (SELECT DISTINCT source, line, slot, "table" '
        'FROM quarantine) GROUP BY "table" ORDER BY count(*) DESC, "table"'
    )
    if not rows:
        return []
    many = counted(sum(number for _, number in rows), "row is", "rows are")
    named = ", ".join(f"{number} of {table}" for table, number in rows)
    said = f"{many} in quarantine, to be mended: {named}"
    return [_matter("quarantine", as_of, KNOW, said, "records.html#quarantine")]
