"""What goes with the number of cases an operator has done."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.dashboard import theme

EVIDENCE = "evidence for the others' rate"


def experience_chart(
    rows: list[dict[str, Any]],
    *,
    what: str,
    cases: tuple[float, float],
    shares: tuple[float, float],
) -> alt.TopLevelMixin:
    """Draw one operator's share of success by case number.

    Parameters
    ----------
    rows : list of dict
        middle, stretch, courses, share, low, high, expected (None: unknown).
    what : str
        What the share is of.
    cases, shares : tuple of float
        Ends of both scales, the same for every operator.
    """
    x = alt.X(
        "middle:Q",
        title="case number",
        scale=alt.Scale(type="log", domain=list(cases), nice=False),
        axis=alt.Axis(values=_doubling(cases), format="d", grid=False),
    )
    scale = alt.Scale(domain=list(shares), nice=False)
    axis = alt.Axis(format=".0%", tickCount=5)
    y = alt.Y("share:Q", title=what, scale=scale, axis=axis)
    tooltip = _of_stretch()
    base = alt.Chart(theme.data(rows))
    layers = [
        base.mark_rule(color=theme.CLOSED, strokeWidth=2, opacity=0.6).encode(
            x=x, y=alt.Y("low:Q", title=what, scale=scale), y2="high:Q", tooltip=tooltip
        ),
        base.mark_line(color=theme.CLOSED, strokeWidth=1.5).encode(x=x, y=y),
        base.mark_point(color=theme.CLOSED, filled=True, size=60, opacity=1).encode(
            x=x, y=y, tooltip=tooltip
        ),
    ]
    known = [row for row in rows if row["expected"] is not None]
    if known:  # a layer without data would have the scripts complain
        hollow = alt.Chart(theme.data(known)).mark_point(
            color=theme.OPEN, shape="diamond", size=70, strokeWidth=2
        )
        layers.append(
            hollow.encode(
                x=x, y=alt.Y("expected:Q", title=what, scale=scale), tooltip=tooltip
            )
        )
    return theme.layered(layers, height=170)


def _of_stretch() -> list[alt.Tooltip]:
    shares = ("share", "low", "high", "expected")
    return [
        alt.Tooltip("stretch:N", title="cases"),
        alt.Tooltip("courses:Q", title="decided courses"),
        *(alt.Tooltip(f"{name}:Q", format=".0%") for name in shares),
    ]


def _doubling(cases: tuple[float, float]) -> list[int]:
    ends = [25 * 2**power for power in range(12)]
    return [end for end in (1, *ends) if cases[0] <= end <= cases[1]]


def learning_chart(rows: list[dict[str, Any]], *, limit: float) -> alt.TopLevelMixin:
    """Draw one beginner's learning curve against its limit.

    Parameters
    ----------
    rows : list of dict
        number, day, answer, value, reached.
    limit : float
        Where the cases speak for the lower rate; infinite draws none.
    """
    x = alt.X(
        "number:Q",
        title="case number",
        scale=alt.Scale(zero=False, nice=False, padding=4),
        axis=alt.Axis(grid=False, tickMinStep=1),
    )
    y = alt.Y("value:Q", title=EVIDENCE, scale=alt.Scale(domainMin=0, nice=False))
    tooltip = [
        alt.Tooltip("number:Q", title="case"),
        alt.Tooltip("day:N", title="inseminated"),
        alt.Tooltip("answer:N", title="ended"),
        alt.Tooltip("value:Q", format=".2f"),
    ]
    base = alt.Chart(theme.data(rows))
    layers: list[Any] = [
        base.mark_line(color=theme.CLOSED, strokeWidth=2).encode(
            x=x, y=y, tooltip=tooltip
        )
    ]
    if limit < float("inf"):
        layers += _limit(limit, min(row["number"] for row in rows))
    reached = [row for row in rows if row["reached"]]
    if reached:  # a layer without data would have the scripts complain
        mark = alt.Chart(theme.data(reached)).mark_point(
            shape="triangle-up", filled=True, size=110, color=theme.INK, opacity=1
        )
        layers.append(mark.encode(x=x, y=y, tooltip=tooltip))
    return theme.layered(layers, height=170)


def _limit(limit: float, first: int) -> list[alt.Chart]:
    """Draw the limit, named at its left end."""
    at = alt.Chart(theme.data([{"at": limit, "first": first, "said": "limit"}]))
    place = alt.Y("at:Q", title=EVIDENCE)
    text = at.mark_text(align="left", dx=3, dy=-7, fontSize=11, color=theme.INK)
    return [
        at.mark_rule(color=theme.QUIET, strokeDash=[6, 3]).encode(y=place),
        text.encode(y=place, x="first:Q", text="said:N"),
    ]
