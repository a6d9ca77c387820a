"""An operator's running series: small panels that share their scales."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.dashboard import theme

CASE = "closed course of the season"
EVIDENCE = "fewer ← → more"
OVER = "failed − expected"
EXTENT = 30
"""Room for the numbers of a vertical axis: panels one below the other line up."""
CROSS = "M-0.6,-0.6L0.6,0.6M-0.6,0.6L0.6,-0.6"


def _case(title: str | None = None) -> alt.X:
    """Give the axis of cases; without a title also without numbers, as one lies below."""
    return alt.X(
        "case:Q",
        title=title,
        scale=alt.Scale(nice=False, domainMin=0),
        axis=alt.Axis(tickMinStep=1, grid=False, labels=title is not None),
    )


def _tooltip(*more: str) -> list[alt.Tooltip]:
    return [
        alt.Tooltip("case:Q", title="course of the season"),
        alt.Tooltip("done:N", title="inseminated"),
        alt.Tooltip("known:N", title="known"),
        alt.Tooltip("answer:N", title="ended"),
        *(alt.Tooltip(f"{name}:Q", format=".2f") for name in more),
    ]


def cusum_chart(
    rows: list[dict[str, Any]],
    *,
    limits: tuple[float | None, float | None],
    span: tuple[float, float],
) -> alt.TopLevelMixin:
    """Draw the evidence for more failures upwards, for fewer mirrored downwards.

    Parameters
    ----------
    rows : list of dict
        case, done, known, answer (failed, not, undecided), worse, better (negative),
        signal, said (the words by a signal).
    limits : tuple
        Values at which there is a signal; the lower one is negative. None: none.
    span : tuple of float
        Ends of the vertical scale, the same for every operator.
    """
    y = alt.Y(
        "worse:Q",
        title=EVIDENCE,
        scale=alt.Scale(domain=list(span), nice=False),
        axis=alt.Axis(
            tickCount=5, minExtent=EXTENT, labelExpr="format(abs(datum.value), '~g')"
        ),
    )
    base = alt.Chart(theme.data(rows))
    tooltip = _tooltip("worse", "better")
    layers = [
        _rule(0.0, "", [1, 0], y),
        *(
            _rule(at, said, [6, 3], y)
            for at, said in zip(limits, ("limit: more", "limit: fewer"), strict=True)
            if at is not None
        ),
        base.mark_line(color=theme.OPEN, strokeWidth=2).encode(
            x=_case(), y=y, tooltip=tooltip
        ),
        base.mark_line(color=theme.CLOSED, strokeWidth=2, strokeDash=[3, 2]).encode(
            x=_case(), y=alt.Y("better:Q", title=EVIDENCE), tooltip=tooltip
        ),
        *_marked(rows, tooltip, foot=span[0]),
    ]
    return theme.layered(layers, height=160)


def _rule(at: float, said: str, dash: list[int], y: alt.Y) -> alt.LayerChart:
    base = alt.Chart(theme.data([{"at": at, "said": said, "first": 0}]))
    place = alt.Y("at:Q", title=EVIDENCE)
    line = base.mark_rule(color=theme.QUIET, strokeDash=dash).encode(y=place)
    if not said:
        return line
    above = at > 0
    text = base.mark_text(
        align="left", dx=3, dy=9 if above else -7, fontSize=11, color=theme.INK
    )
    return alt.layer(
        line, text.encode(y=place, x=alt.X("first:Q", title=None), text="said:N")
    )


def _marked(
    rows: list[dict[str, Any]], tooltip: list, *, foot: float
) -> list[alt.Chart]:
    """Mark signals with their day, and undecided courses by a cross at the foot."""
    found = []
    signals = [
        {**row, "at": row["worse"] if row["signal"] == "more" else row["better"]}
        for row in rows
        if row["signal"]
    ]
    if signals:
        base = alt.Chart(theme.data(signals))
        place = {"x": _case(), "y": alt.Y("at:Q", title=EVIDENCE)}
        late = signals[-1]["case"] > rows[-1]["case"] / 2
        text = base.mark_text(
            align="right" if late else "left",
            dx=-9 if late else 9,
            dy=-6,
            fontSize=12,
            color=theme.INK,
        )
        mark = base.mark_point(
            shape="triangle-up", filled=True, size=110, color=theme.INK, opacity=1
        )
        found += [
            mark.encode(**place, tooltip=tooltip),
            text.encode(**place, text="said:N"),
        ]
    undecided = [{**row, "at": foot} for row in rows if row["answer"] == "undecided"]
    if undecided:
        cross = alt.Chart(theme.data(undecided)).mark_point(
            shape=CROSS, size=40, color=theme.INK, strokeWidth=1.2, yOffset=-6
        )
        found.append(
            cross.encode(x=_case(), y=alt.Y("at:Q", title=EVIDENCE), tooltip=tooltip)
        )
    return found


def over_expected_chart(
    rows: list[dict[str, Any]], *, span: tuple[float, float]
) -> alt.TopLevelMixin:
    """Draw failures minus expected, summed over the season's courses.

    Parameters
    ----------
    rows : list of dict
        case, done, known, answer, over.
    span : tuple of float
        Ends of the vertical scale.
    """
    y = alt.Y(
        "over:Q",
        title=OVER,
        scale=alt.Scale(domain=list(span), nice=False),
        axis=alt.Axis(tickCount=4, minExtent=EXTENT),
    )
    zero = alt.Chart(theme.data([{"at": 0}]))
    base = alt.Chart(theme.data(rows))
    layers = [
        zero.mark_rule(color=theme.QUIET).encode(y=alt.Y("at:Q", title=OVER)),
        base.mark_line(color=theme.INK, strokeWidth=1.5).encode(
            x=_case(CASE), y=y, tooltip=_tooltip("over")
        ),
    ]
    return theme.layered(layers, height=100)
