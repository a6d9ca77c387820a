"""Adjusted probabilities by a factor's value, and differences from the usual value.

What the pages on factors, onset and doses share: charts, their titles, and the words that
stand in the tables beside them.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import groupby
from typing import Any

import altair as alt

from queen_outcomes.dashboard.charts import theme
from queen_outcomes.facts import words

ROW_HEIGHT = 24
APART = "cannot be told apart"
SHARE_FORMS, DAY_FORMS = ("+.0%", "+.1%"), ("+.2~r", "+.1f")
"""How differences are written along an axis and in what hovering shows."""
TURNS = 0.02
"""How far a curve has to leave both its ends for its turn to be told."""

Row = dict[str, Any]


def curve_chart(
    rows: list[Row],
    *,
    factor: str,
    question: str,
    days_of_year: bool = False,
) -> theme.Drawn:
    """Draw an adjusted probability with its band, and where the courses lie.

    Parameters
    ----------
    rows : list of dict
        Of `adjusted`, one factor's: value, label, probability, low, high, courses_near.
    factor, question : str
        Names of the axes, with units.
    days_of_year : bool
        The factor's values are days of the year, and are written as dates.
    """
    base = theme.chart(rows)
    x = alt.X(
        "value:Q", title=factor, scale=alt.Scale(zero=False, nice=False, padding=8)
    )
    if days_of_year:
        x = x.axis(theme.day_of_year_axis())
    y = theme.share_axis("probability", question)
    band = base.mark_area(opacity=0.2, color=theme.CLOSED).encode(
        x=x, y=alt.Y("low:Q", title=question), y2=alt.Y2("high:Q")
    )
    line = base.mark_line(color=theme.CLOSED, strokeWidth=theme.STROKE, point={"size": 30}).encode(
        x=x,
        y=y,
        tooltip=[
            alt.Tooltip("label:N", title="value"),
            alt.Tooltip("probability:Q", title="adjusted share", format=".1%"),
            alt.Tooltip("low:Q", title="lower limit", format=".1%"),
            alt.Tooltip("high:Q", title="upper limit", format=".1%"),
            alt.Tooltip("courses_near:Q", title="courses near"),
        ],
    )
    layers = [band, line]
    near = [{**row, "floor": 0} for row in rows if row["courses_near"]]
    if near:  # a layer without data would have the scripts complain
        rug = theme.chart(near).mark_point(filled=True, color=theme.QUIET, opacity=0.8)
        sizes = alt.Scale(range=[4, 160])
        layers.append(
            rug.encode(
                x=x,
                y=alt.Y("floor:Q", title=question),
                size=alt.Size("courses_near:Q", legend=None, scale=sizes),
                tooltip=[alt.Tooltip("courses_near:Q", title="courses near")],
            )
        )
    return theme.layered(layers, height=200)


def difference_chart(
    rows: list[Row],
    *,
    question: str,
    forms: tuple[str, str] = SHARE_FORMS,
) -> theme.Drawn:
    """Draw adjusted differences with their limits, one a line.

    Parameters
    ----------
    rows : list of dict
        With name, reference, overlap (in words), difference, low, high, in the order
        they are shown.
    question : str
        What the difference is of.
    forms : tuple of str
        How numbers are written along the axis and in what hovering shows.
    """
    along, hovering = forms
    names = [row["name"] for row in rows]
    base = theme.chart(rows)
    y = alt.Y(
        "name:N", title=None, sort=names, axis=alt.Axis(labelLimit=260, grid=False)
    )
    x = alt.X("difference:Q", title=question, axis=theme.signed_axis(along))
    tooltip = [
        alt.Tooltip("name:N", title="compared"),
        alt.Tooltip("reference:N", title="against"),
        alt.Tooltip("difference:Q", format=hovering),
        alt.Tooltip("low:Q", title="lower limit", format=hovering),
        alt.Tooltip("high:Q", title="upper limit", format=hovering),
        alt.Tooltip("overlap:N", title="overlap"),
    ]
    zero = theme.chart([{"none": 0}])
    layers = [
        zero.mark_rule(color=theme.QUIET, strokeDash=[5, 4]).encode(
            x=alt.X("none:Q", title=question)
        ),
        base.mark_rule(color=theme.CLOSED, strokeWidth=theme.STROKE).encode(
            y=y, x=alt.X("low:Q", title=question), x2=alt.X2("high:Q"), tooltip=tooltip
        ),
        base.mark_point(color=theme.CLOSED, filled=True, size=60, opacity=theme.SOLID).encode(
            y=y, x=x, tooltip=tooltip
        ),
    ]
    return theme.layered(layers, height=ROW_HEIGHT * len(rows))


def curve_said(factor: str, rows: list[Row]) -> str:
    """Say where a curve begins and ends, and where it turns.

    Parameters
    ----------
    factor : str
        What runs along the axis.
    rows : list of dict
        label (the value with its unit), probability; in the order of the axis.
    """
    first, last = rows[0], rows[-1]
    ends = sorted((first["probability"], last["probability"]))
    top = max(rows, key=lambda row: row["probability"])
    low = min(rows, key=lambda row: row["probability"])
    told = [_at(first)]
    if top["probability"] > ends[1] + TURNS:
        told.append(f"most at {top['label']}, {words.percent(top['probability'])}")
    elif low["probability"] < ends[0] - TURNS:
        told.append(f"least at {low['label']}, {words.percent(low['probability'])}")
    return f"{factor[:1].upper()}{factor[1:]}: {'; '.join([*told, _at(last)])}"


def _at(row: Row) -> str:
    return f"{words.percent(row['probability'])} at {row['label']}"


def differences_said(rows: list[Row]) -> str:
    """Say how many differences have limits on one side of zero.

    Parameters
    ----------
    rows : list of dict
        name, low, high; None where there are no limits.
    """
    clear = [
        row["name"]
        for row in rows
        if None not in (row["low"], row["high"]) and (row["low"] > 0 or row["high"] < 0)
    ]
    if not clear:
        return f"The limits of all {len(rows)} differences include zero"
    verb = "has" if len(clear) == 1 else "have"
    told = f"{len(clear)} of {len(rows)} differences {verb} limits on one side of zero"
    return f"{told}: {', '.join(clear)}" if len(clear) <= 3 else told


def compared_row(row: Row, label: str) -> Row:
    """Put a row of `contrasts` into words; where values hardly meet, say that instead."""
    return {
        **row,
        "factor": label,
        "name": f"{label}: {row['value']}",
        "overlap": words.percent(row["overlap"]),
        "difference": row["risk_difference"],
        "points": points_said(row) or f"{APART} from the {row['apart_from']}",
    }


def points_said(row: Row | None) -> str:
    """Say a difference of shares with its limits, in points; nothing where none is given."""
    if row is None or row["risk_difference"] is None:
        return ""
    low, high = (f"{100 * row[side]:+.1f}" for side in ("low", "high"))
    return f"{100 * row['risk_difference']:+.1f} points ({low} to {high})"


def draw_differences(
    charts: dict[str, Any],
    name: str,
    rows: list[Row],
    question: str,
    forms: tuple[str, str] = SHARE_FORMS,
) -> str:
    """Draw the differences that there are; give what they show, in words.

    Parameters
    ----------
    charts : dict
        Takes up the chart, where there is a difference to draw.
    name : str
        Of the chart.
    rows : list of dict
        As `compared_row` gives them.
    question, forms
        As `difference_chart` takes them.
    """
    keys = ("name", "reference", "overlap", "difference", "low", "high")
    shown = [
        {key: row[key] for key in keys} for row in rows if row["difference"] is not None
    ]
    if not shown:
        return ""
    charts[name] = difference_chart(shown, question=question, forms=forms)
    return differences_said(shown)


def by_factor(rows: list[Row], label: Callable[[str], str]) -> list[Row]:
    """Give the rows of `adjusted`, a table of shares a factor, in the order they come."""
    return [
        {
            "factor": label(factor),
            "rows": [{**row, "share": row["probability"]} for row in part],
        }
        for factor, part in groupby(rows, key=lambda row: row["factor"])
    ]
