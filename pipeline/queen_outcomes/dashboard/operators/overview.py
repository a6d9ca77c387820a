"""The top of the operators' page: one sentence, and one row an operator.

A row holds her running series of the season as a small line with everybody's behind it,
her failures against those expected, and what stands out: one fact, said once, whether a
series signalled it or all courses together show it.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from itertools import accumulate
from typing import Any

from queen_outcomes.audit.said import batch_failed
from queen_outcomes.audit.sheet import MEASURES, SHARE
from queen_outcomes.base.store import Store
from queen_outcomes.facts import words
from queen_outcomes.facts.dose_words import counted
from queen_outcomes.facts.settings import Settings

Row = dict[str, Any]
Point = tuple[dt.date, float]
WIDE, HIGH, EDGE = 180, 40, 4
"""Of a small line, in the units of its drawing."""
WAYS = {"worse": "more failures", "better": "fewer failures"}
FLAGS = {"more": "more failures", "fewer": "fewer failures"}
WITHIN = "within chance"
MOST_BATCHES = 2
"""Flagged batches that the sentence names."""
MOVED = 2.0
"""Standard errors by which a mean must have moved to be told."""
MOST_MOVED = 2
FILLED = "Failed, filled in"
"""What stands beside the expected: with what the records do not settle filled in."""
COLUMNS = (
    ("operator", "Operator"),
    ("spark", "This season: failed − expected"),
    ("courses", "Courses"),
    ("failures", FILLED),
    ("expected", "Expected"),
    ("standing", "Stands out"),
    ("trend", "On the bench since last season"),
)


def show(store: Store, settings: Settings, rows: list[Row], flagged: list[Row]) -> Row:
    """Give the sentence and the rows.

    Parameters
    ----------
    store : Store
    settings : Settings
    rows : list of dict
        Of `operators`, the plan's question.
    flagged : list of dict
        Of `batches`, the flagged ones, the gravest first.
    """
    signals = first_signals(store)
    lines = small_lines(store, [row["operator"] for row in rows if row["shown"]])
    trends = trends_said(store, settings.min_shown)
    return {
        "lead": lead(rows, signals, flagged),
        "columns": COLUMNS,
        "rows": [
            {
                "key": f"story-{at}",
                "operator": row["operator"],
                **_numbers(row),
                "standing": standing(row, signals.get(row["operator"], [])),
                "stands_out": stands_out(row, signals.get(row["operator"], [])),
                "line": lines.get(row["operator"]),
                "trend": trends.get(row["operator"], "not recorded"),
            }
            for at, row in enumerate(rows, start=1)
        ],
    }


def _numbers(row: Row) -> Row:
    """Give courses and failures as the expected counts them; where held back, the known."""
    if not row["shown"]:
        return {
            "courses": row["courses"],
            "failures": f"{row['failures']} known",
            "expected": "",
        }
    return {
        "courses": round(row["at_risk"]),
        "failures": f"{row['filled']:.1f}",
        "expected": f"{row['expected']:.1f}",
    }


def first_signals(store: Store) -> dict[str, list[Row]]:
    """Give each operator's changes that were signalled, each by its first signal."""
    rows = store.records(
        "SELECT * FROM operator_signals WHERE operator IS NOT NULL "
        'ORDER BY operator, episode, known_on, series DESC, "case"'
    )
    found: dict[str, dict[int, Row]] = defaultdict(dict)
    for row in rows:
        found[row["operator"]].setdefault(row["episode"], row)
    return {name: list(episodes.values()) for name, episodes in found.items()}


def stands_out(row: Row, signals: list[Row]) -> bool:
    """Tell whether an operator with figures is flagged or was signalled."""
    return bool(row["shown"] and (row["flag"] or signals))


def standing(row: Row, signals: list[Row]) -> str:
    """Say the one fact about an operator: what stands out, or why nothing is said."""
    if row["apart_from"]:
        return f"no verdict: cannot be told apart from {row['apart_from']}"
    if not row["shown"]:
        return "too few courses to compare"
    said = [
        f"{WAYS[one['direction']]} this season, known {one['known_on'].isoformat()}"
        for one in signals
    ]
    if row["flag"]:
        said.insert(0, f"{FLAGS[row['flag']]} over all courses")
    return "; ".join(said) or WITHIN


def lead(
    rows: list[Row], signals: dict[str, list[Row]], flagged: list[Row]
) -> list[str]:
    """Say the page's answer: batches first, then who stands out, then how many do not.

    Parameters
    ----------
    rows : list of dict
        Of `operators`.
    signals : mapping
        As `first_signals` gives them.
    flagged : list of dict
        Of `batches`.

    Returns
    -------
    list of str
        Sentences; empty where no operator has figures and no batch is flagged.
    """
    shown = [row for row in rows if row["shown"]]
    said = []
    if flagged:
        named = "; ".join(batch_failed(one) for one in flagged[:MOST_BATCHES])
        more = len(flagged) - MOST_BATCHES
        rest = f"; and {more} more" if more > 0 else ""
        said.append(f"Batches first: {named}{rest}.")
    if not shown:
        return said
    out = [r for r in shown if stands_out(r, signals.get(r["operator"], []))]
    for row in out:
        told = standing(row, signals.get(row["operator"], []))
        said.append(f"{row['operator']}: {told}.")
    rest = len(shown) - len(out)
    within = "within what chance and batches give"
    if not out:
        who = "Every operator's failures lie" if rest > 1 else "Failures lie"
        said.append(f"{who} {within}, over all courses and in this season's series.")
    elif rest:
        verb = "lies" if rest == 1 else "lie"
        said.append(f"{counted(rest, 'other operator')} {verb} {within}.")
    return said


def small_lines(store: Store, names: list[str]) -> dict[str, Row]:
    """Give each operator's line of the season, and everybody's behind it.

    Failures minus expected, summed by the day that courses closed; everybody's is the
    excess of all operators' courses up to that day, taken for as many courses as hers.
    All lines share both scales.
    """
    rows = store.records(
        "SELECT operator, known_on, failed, expected, signal FROM operator_series "
        "WHERE series = 'level' ORDER BY known_on, operator, \"case\""
    )
    days = sorted({row["known_on"] for row in rows})
    if not days:
        return {}
    everybody = dict(zip(days, _running(rows, days), strict=True))
    lines = {}
    for name in names:
        own = [row for row in rows if row["operator"] == name]
        if not own:
            continue
        mine = sorted({row["known_on"] for row in own})
        at = list(zip(mine, _running(own, mine), strict=True))
        usual = [
            everybody[day][1] / max(everybody[day][0], 1) * courses
            for day, (courses, _) in at
        ]
        signal = [row["known_on"] for row in own if row["signal"]]
        lines[name] = {
            "own": [(day, over) for day, (_, over) in at],
            "all": list(zip(mine, usual, strict=True)),
            "signals": signal,
        }
    values = [over for one in lines.values() for _, over in (*one["own"], *one["all"])]
    scale = _Scale(days, [0.0, *values])
    return {name: scale.drawn(name, one) for name, one in lines.items()}


def _running(rows: list[Row], days: list[dt.date]) -> list[tuple[int, float]]:
    """Give decided courses and failures beyond the expected, up to each day."""
    many: dict[dt.date, int] = defaultdict(int)
    over: dict[dt.date, float] = defaultdict(float)
    for row in rows:
        if row["failed"] is not None and row["expected"] is not None:
            many[row["known_on"]] += 1
            over[row["known_on"]] += row["failed"] - row["expected"]
    courses = accumulate(many[day] for day in days)
    excess = accumulate(over[day] for day in days)
    return list(zip(courses, excess, strict=True))


class _Scale:
    """Both scales of the small lines."""

    def __init__(self, days: list[dt.date], values: list[float]) -> None:
        self.first, self.last = days[0], days[-1]
        self.low, self.high = min(values), max(values)

    def place(self, day: dt.date, over: float) -> tuple[float, float]:
        """Give where a point lies in the drawing."""
        across = (day - self.first).days / max((self.last - self.first).days, 1)
        up = (over - self.low) / ((self.high - self.low) or 1.0)
        return (
            round(EDGE + across * (WIDE - 2 * EDGE), 1),
            round(HIGH - EDGE - up * (HIGH - 2 * EDGE), 1),
        )

    def path(self, points: list[Point]) -> str:
        """Give a line's points as a drawing takes them."""
        return " ".join(
            f"{x:g},{y:g}" for x, y in (self.place(*point) for point in points)
        )

    def drawn(self, name: str, line: Row) -> Row:
        """Give an operator's drawing and its words."""
        (_, over), (_, usual) = line["own"][-1], line["all"][-1]
        told = dict(line["own"])
        signalled = [self.place(day, told[day]) for day in line["signals"]]
        signals = ", ".join(day.isoformat() for day in line["signals"])
        return {
            "own": self.path(line["own"]),
            "all": self.path(line["all"]),
            "zero": self.place(self.first, 0.0)[1],
            "signals": signalled,
            "last": f"{over:+.1f}",
            "alt": (
                f"{name}, failures minus expected over the season's closed courses: now "
                f"{over:+.1f}, everybody's for as many courses {usual:+.1f}; signals: "
                f"{signals or 'none'}."
            ),
        }


def trends_said(store: Store, fewest: int) -> dict[str, str]:
    """Say which measures on the bench moved since the season before, by operator.

    A mean has moved when it lies more than twice the standard error of the difference
    from the season before.
    """
    rows = store.records("SELECT * FROM process_measures ORDER BY ALL")
    season = max((row["season"] for row in rows), default="")
    before = max((row["season"] for row in rows if row["season"] < season), default="")
    by = {(row["operator"], row["measure"], row["season"]): row for row in rows}
    found: dict[str, str] = {}
    for name in sorted({row["operator"] for row in rows if row["season"] == season}):
        pairs = [
            (measure, by[name, measure, season], by[name, measure, before])
            for measure in MEASURES
            if (name, measure, season) in by and (name, measure, before) in by
        ]
        enough = [p for p in pairs if min(p[1]["recorded"], p[2]["recorded"]) >= fewest]
        moved = [moved_said(*pair) for pair in enough if has_moved(*pair[1:])]
        more = len(moved) - MOST_MOVED
        rest = f"; {more} more" if more > 0 else ""
        found[name] = (
            "; ".join(moved[:MOST_MOVED]) + rest
            if moved
            else "as last season"
            if enough
            else "no season before"
        )
    return found


def has_moved(now: Row, before: Row) -> bool:
    """Tell whether two seasons' means differ by more than their error gives."""
    error = sum(row["spread"] ** 2 / row["recorded"] for row in (now, before)) ** 0.5
    return abs(now["mean"] - before["mean"]) > MOVED * error


def moved_said(measure: str, now: Row, before: Row) -> str:
    """Say how a measure moved: an arrow, and both means."""
    label, unit = MEASURES[measure]
    arrow = "↑" if now["mean"] > before["mean"] else "↓"
    form = words.percent if unit == SHARE else "{:.2f}".format
    named = f" {unit}" if unit not in ("", SHARE) else ""
    return f"{label} {arrow} {form(now['mean'])} from {form(before['mean'])}{named}"
