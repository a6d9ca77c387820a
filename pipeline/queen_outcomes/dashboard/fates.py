"""What became of the queens, week by week: the picture that the page Queens opens with."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from typing import Any

import altair as alt

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.charts.linked import linked
from queen_outcomes.dashboard.figures import Numbers, PageFigure, statement
from queen_outcomes.facts.dose_words import counted

FATES = {
    "not_laying": "not laying by day {}",
    "failed": "laid, then failed",
    "unknown": "not known: not seen in time",
    "early": "too early to say",
    "left": "left: sold, moved, sampled …",
    "laying": "laying when last seen",
}
"""What is known of a course, failures first: they stand on the axis, to be compared."""
COLOURS = ("#b3580f", "#8e4d9e", "#987a00", "#7d8790", "#5b8c3a", "#1b6ca8")
HEIGHT = 190

Row = dict[str, Any]


def show(store: Store, window: int, as_of: dt.date, charts: dict[str, Any]) -> Row:
    """Give the sentence and the picture.

    Parameters
    ----------
    store : Store
    window : int
        Days by which laying is first asked about.
    as_of : date
    charts : dict
        Takes up the chart.
    """
    asked = {"as_of": as_of, "window_days": window}
    found = store.records(statement("fates"), asked)
    if not found:
        return {"said": "", "figure": None}
    names = {fate: said.format(window) for fate, said in FATES.items()}
    rows = [{**row, "fate": names[row["fate"]]} for row in found]
    charts["fates"] = linked(fate_chart(rows, list(names.values())), "week", "iso_week")
    said = fates_said(found, window)
    weeks: dict[str, Row] = {}
    for row in rows:
        week = weeks.setdefault(row["iso_week"], dict.fromkeys(names.values(), 0))
        week[row["fate"]] = row["courses"]
    columns = [
        ("iso_week", "Week"),
        *((one, one[:1].upper() + one[1:]) for one in names.values()),
    ]
    table = [{"iso_week": week, **counts} for week, counts in weeks.items()]
    return {
        "said": said,
        "figure": PageFigure(
            "fates",
            "What became of them, by week of insemination",
            f"Courses by week of insemination and what is known of them. {said}",
            Numbers(columns, table, tuple(names.values()), "The weeks as a table"),
        ),
    }


def fates_said(rows: list[Row], window: int) -> str:
    """Say what is known of the latest season's courses.

    Parameters
    ----------
    rows : list of dict
        Of `fates.sql`.
    window : int
        Days by which laying is first asked about.
    """
    season = max(row["season"] for row in rows)
    of: Counter[str] = Counter()
    for row in rows:
        if row["season"] == season:
            of[row["fate"]] += row["courses"]
    total = sum(of.values())
    failed = of["not_laying"] + of["failed"]
    parts = [f"{of['laying']:,} lay when last seen"]
    if failed:
        told = (
            f"{of['not_laying']:,} not laying by day {window}, {of['failed']:,} later"
        )
        parts.append(f"{failed:,} failed ({told})")
    parts += [
        f"{of[fate]:,} {said}"
        for fate, said in (
            ("left", "left for other reasons"),
            ("early", "are too recent to say"),
            ("unknown", "were not seen in time"),
        )
        if of[fate]
    ]
    listed = f"{', '.join(parts[:-1])} and {parts[-1]}" if parts[1:] else parts[0]
    return f"Of {counted(total, 'course')} of season {season}, {listed}."


def fate_chart(rows: list[Row], fates: list[str]) -> theme.Drawn:
    """Stack what is known of each week's courses.

    Parameters
    ----------
    rows : list of dict
        iso_week, season, fate (in words), courses.
    fates : list of str
        In the order in which they are stacked, from the axis on.
    """
    place = {fate: at for at, fate in enumerate(fates)}
    values = [{**row, "place": place[row["fate"]]} for row in rows]
    weeks = sorted({row["iso_week"] for row in rows})
    bars = theme.chart(values).mark_bar(opacity=theme.SOLID)
    return theme.layered(
        [
            bars.encode(
                x=alt.X(
                    "iso_week:N",
                    title="week of insemination (ISO)",
                    scale=alt.Scale(domain=weeks, paddingInner=0.15),
                    axis=alt.Axis(
                        labelAngle=theme.UPRIGHT, labelOverlap="greedy", labelSeparation=8
                    ),
                ),
                y=alt.Y("courses:Q", title="courses", axis=alt.Axis(tickMinStep=theme.WHOLE)),
                color=theme.told_apart("fate", fates, alt.Color, COLOURS),
                order=alt.Order("place:Q"),
                tooltip=[
                    alt.Tooltip("iso_week:N", title="week"),
                    alt.Tooltip("fate:N", title="known of them"),
                    alt.Tooltip("courses:Q"),
                ],
            )
        ],
        height=HEIGHT,
    )
