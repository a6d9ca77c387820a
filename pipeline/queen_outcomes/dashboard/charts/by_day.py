"""Shares by day: step curves, each with a band of limits, and the same as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

import altair as alt

from queen_outcomes.dashboard.charts import theme
from queen_outcomes.facts import words

DAY_AXIS = alt.X("day:Q", title="days after insemination")


def curves_by_day(
    rows: list[dict[str, Any]],
    named: tuple[str, str, str],
    *,
    days: Sequence[int] = (),
    by: str | None = None,
    levels: Sequence[str] = (),
    told: Mapping[str, str] | None = None,
    is_whole: bool = True,
) -> theme.Drawn:
    """Draw curves of a share by day.

    Parameters
    ----------
    rows : list of dict
        level, day, low, high, the share, and what ``told`` names; without a share a day
        is not drawn.
    named : tuple of str
        The share's column, its axis, and what a tooltip calls it.
    days : sequence of int
        Days marked by lines.
    by : str or None
        What the levels are, for the legend; None draws one curve without a legend.
    levels : sequence of str
        The levels in the order of their colours; empty: in that of their names.
    told : mapping of str to str, optional
        Further columns of numbers that a tooltip tells, and what it calls them.
    is_whole : bool
        Whether the axis of the share goes up to 100 %, or as far as limits and curves do.
    """
    share, title, said = named
    told = told or {}
    kept = ("level", "day", share, "low", "high", *told)
    values = [
        {name: row[name] for name in kept} for row in rows if row[share] is not None
    ]
    looks: dict[str, Any] = {"color": alt.value(theme.CLOSED)}
    if by is not None:
        names = list(levels) or sorted({row["level"] for row in values})
        told_apart = partial(theme.told_apart, "level", names, title=by)
        legend = alt.Legend(symbolType="stroke", symbolOpacity=1)
        colours, dashes = theme.SERIES[: len(names)], theme.DASHES[: len(names)]
        # told apart by dashes too, for those who do not see the colours
        looks = {
            "color": told_apart(alt.Color, colours, legend=legend),
            "strokeDash": told_apart(alt.StrokeDash, dashes),
        }
    layers = []
    banded = [row for row in values if row["low"] is not None]
    if banded:
        band = theme.chart(banded).mark_area(interpolate="step-after", opacity=0.15)
        low = alt.Y("low:Q", title=title)
        high = alt.Y2("high:Q")
        layers.append(band.encode(x=DAY_AXIS, y=low, y2=high, color=looks["color"]))
    if days:
        mark = theme.chart([{"day": day} for day in days])
        rule = mark.mark_rule(strokeDash=[2, 4], color=theme.QUIET)
        layers.append(rule.encode(x=DAY_AXIS))
    line = theme.chart(values).mark_line(
        interpolate="step-after", strokeWidth=theme.STROKE
    )
    layers.append(
        line.encode(
            x=DAY_AXIS,
            y=theme.share_axis(share, title, is_whole=is_whole),
            **looks,
            tooltip=[
                alt.Tooltip("level:N", title=by or "courses"),
                alt.Tooltip("day:Q", title="day"),
                alt.Tooltip(f"{share}:Q", title=said, format=".0%"),
                alt.Tooltip("low:Q", title="lower limit", format=".0%"),
                alt.Tooltip("high:Q", title="upper limit", format=".0%"),
                *(alt.Tooltip(f"{name}:Q", title=what) for name, what in told.items()),
            ],
        )
    )
    return theme.layered(layers, height=280)


def table_by_day(
    rows: Sequence[dict[str, Any]], share: str, days: Sequence[int]
) -> list[dict[str, str]]:
    """Give a row a level with the share by each of some days, in words.

    Parameters
    ----------
    rows : sequence of dict
        As `curves_by_day` takes them.
    share : str
        The share's column.
    days : sequence of int
        Columns ``day_<day>``; empty where there is no row of that day.
    """
    levels: dict[str, dict[str, str]] = {}
    for row in rows:
        if row["day"] in days:
            blank = {"level": row["level"], **{f"day_{day}": "" for day in days}}
            cells = levels.setdefault(row["level"], blank)
            told = words.share_in_words(row[share], row["low"], row["high"], "")
            cells[f"day_{row['day']}"] = told
    return list(levels.values())
