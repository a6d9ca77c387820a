"""Sentences of an audit that terminal, sheet and page share."""

from __future__ import annotations

from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.facts.outcomes import OUTCOMES, question_columns
from queen_outcomes.facts.words import BATCH_KINDS, percent

Row = dict[str, Any]
WAYS = {"worse": "more failures", "better": "fewer failures"}
APART = "operator and batch cannot be told apart"


def failing(question: tuple[str, int]) -> str:
    """Name the failure that a question counts."""
    outcome, days = question
    return OUTCOMES[outcome].failure.format(days)


def batch_failed(batch: Row) -> str:
    """Say how many of a batch's courses failed, and how many were expected to."""
    return (
        f"{BATCH_KINDS[batch['kind']]} {batch['batch']}: {batch['failures']} of "
        f"{batch['courses']} failed, {batch['expected']:.1f} expected"
    )


def verdict(
    row: Row, name: str, question: tuple[str, int], points: list[Row] = ()
) -> str:
    """Say in one sentence how the operator's failures compare, and what the series saw.

    Parameters
    ----------
    row : dict
        Of `operators`.
    name : str
    question : tuple of str and int
    points : list of dict
        Of `operator_series`, the operator's; those with a signal are named.
    """
    what = failing(question)
    if not row["courses"]:
        return f"{name} has no course here that the records settle and whose risk is known."
    counts = f"{row['failures']} of {row['courses']} courses: {what}"
    if row["apart_from"]:
        return f"{counts}. {not_told_apart(row)}"
    if not row["shown"]:
        return f"{counts}: too few courses to compare with what was expected."
    expected = f"{row['expected']:.1f} were expected"
    if row["undecided"]:
        filled = f"{row['filled']:.1f} failed"
        expected = f"with the undecided filled in, {filled} and {expected}"
    word = {"more": "more than", "fewer": "fewer than"}.get(row["flag"], "within what")
    said = f"{counts}; {expected}: {word} chance and batches give"
    seen = _signalled(points)
    return f"{said}, over all these courses. {seen}" if seen else f"{said}."


def not_told_apart(row: Row) -> str:
    """Say what an operator cannot be told apart from, and what follows."""
    return (
        f"{row['operator']} cannot be told apart from {row['apart_from']}: nothing here "
        "clears or blames the hand."
    )


def _signalled(points: list[Row]) -> str:
    """Say which way the season's series signalled, and when it was known; else nothing."""
    first: dict[str, Row] = {}
    for point in sorted(points, key=lambda one: one["known_on"]):
        if point["signal"]:
            first.setdefault(point["signal"], point)
    if not first:
        return ""
    ways = " and ".join(
        f"{WAYS[way]} (known {point['known_on'].isoformat()})"
        for way, point in sorted(first.items())
    )
    return f"This season's series signalled {ways}."


def station_said(store: Store, question: tuple[str, int]) -> list[str]:
    """Say what the station's own running series shows; nothing where there is none."""
    given = question_columns(question)
    where = (
        "WHERE operator IS NULL AND outcome = $outcome AND window_days = $window_days"
    )
    limits = store.records(f"SELECT * FROM series_limits {where}", given)
    points = store.records(
        f"SELECT * FROM operator_series {where} AND signal <> '' ORDER BY \"case\"",
        given,
    )
    return [series_said(row, points) for row in limits]


def series_said(row: Row, points: list[Row]) -> str:
    """Say what a running series shows, the chance that it would show a change, and its limits."""
    against = {
        "station": "The whole station against its earlier seasons",
        "level": "Against colleagues this season",
        "drift": "Against the operator's own earlier courses",
    }[row["series"]]
    if row["message"]:
        return f"{against}: no verdict ({row['message']})."
    own = [p for p in points if p["series"] == row["series"] and p["signal"]]
    chance = (
        ""
        if row["detection"] is None
        else (
            f" Had the odds of failing doubled at its first course, that would show by now "
            f"with a chance of {percent(row['detection'])}."
        )
    )
    early = " Provisional: there is no earlier season." if row["provisional"] else ""
    if not own:
        return f"{against}: no signal in {row['cases']} courses.{chance}{early}"
    when = "; ".join(
        f"{WAYS[p['signal']]}, at course {p['case']} ({p['inseminated_at'].date()}, known "
        f"{p['known_on']})"
        for p in own
    )
    return f"{against}: {when}.{chance}{early}"
