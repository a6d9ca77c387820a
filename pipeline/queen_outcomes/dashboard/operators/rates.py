"""The part of the operators' page with each operator's figures over all closed courses."""

from __future__ import annotations

from functools import partial
from typing import Any

import altair as alt

from queen_outcomes.audit.said import failing
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import funnel, theme
from queen_outcomes.dashboard.charts.funnel import funnel_chart
from queen_outcomes.dashboard.charts.linked import linked
from queen_outcomes.dashboard.figures import PageFigure, only
from queen_outcomes.dashboard.operators import overview
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings
from queen_outcomes.stats.shares.funnel import flagging_p, funnel_lines

Row = dict[str, Any]
FLAGS = {**overview.FLAGS, "": overview.WITHIN}
COLUMNS = (
    ("operator", "Operator"),
    ("courses", "Settled courses"),
    ("failures", "Failed"),
    ("filled_said", overview.FILLED),
    ("expected_said", "Expected"),
    ("ratio_said", "Ratio"),
    ("adjusted_said", "Adjusted rate (limits)"),
    ("flag_said", "Flag"),
    ("p_said", "P"),
    ("undecided", "Undecided"),
    ("unknown_risk", "Risk unknown"),
)
NUMBERS = tuple(key for key, _ in COLUMNS if key not in ("operator", "flag_said"))
ROW_HEIGHT = 30
OBSERVED, EXPECTED = "observed", "expected"
OTHER_COLUMNS = (("what", "Failing as"), *COLUMNS)


def show(
    store: Store, settings: Settings, everybody: list[Row], charts: dict[str, Any]
) -> Row:
    """Give what the page says of operators over all closed courses.

    Parameters
    ----------
    store : Store
    settings : Settings
    everybody : list of dict
        All rows of `operators`.
    charts : dict
        Takes up the charts.
    """
    question = settings.plan.question
    rows = [r for r in everybody if (r["outcome"], r["window_days"]) == question]
    shown = [row for row in rows if row["shown"]]
    spread = store.records("SELECT * FROM operator_spread")
    others = [r for r in everybody if (r["outcome"], r["window_days"]) != question]
    return {
        "title": finding(rows),
        "figures": _figures(shown, failing(question), spread, charts) if shown else [],
        "columns": COLUMNS,
        "numbers": NUMBERS,
        "rows": [said(row) for row in rows],
        "ranks": ranks_said(shown),
        "rank_figure": _ranks(shown, charts),
        "spread": _spread_said(spread),
        "other_columns": OTHER_COLUMNS,
        "others": [
            {"what": failing((row["outcome"], row["window_days"])), **said(row)}
            for row in others
        ],
    }


def finding(rows: list[Row]) -> str:
    """Say who is flagged."""
    shown = [row for row in rows if row["shown"]]
    if not shown:
        return "Counts only"
    flagged = [row for row in shown if row["flag"]]
    if not flagged:
        if len(shown) == 1:
            return f"{shown[0]['operator']}: failures lie within what chance gives"
        return (
            "Over all courses together nobody lies outside what chance and batches give"
        )
    if len(flagged) == len(shown) == 2:  # two operators are one contrast, said once
        more, fewer = sorted(flagged, key=lambda row: row["flag"] == "fewer")
        return f"{more['operator']} fails more often than {fewer['operator']}"
    named = [f"{row['operator']} ({FLAGS[row['flag']]})" for row in flagged]
    verb = "is" if len(flagged) == 1 else "are"
    return (
        f"{len(flagged)} of {len(shown)} operators {verb} flagged over all courses: "
        f"{', '.join(named)}"
    )


def said(row: Row) -> Row:
    """Put an operator's figures into words; counts only where they are held back."""
    counts = ("operator", "courses", "failures", "undecided", "unknown_risk")
    kept = {name: row[name] for name in counts}
    if not row["shown"]:
        blank = [name for name, _ in COLUMNS if name.endswith("_said")]
        return {
            **kept,
            **dict.fromkeys(blank, ""),
            "flag_said": apart_said(row) or "too few courses to compare",
        }
    return {
        **kept,
        "filled_said": f"{row['filled']:.1f} of {row['at_risk']:.0f}",
        "expected_said": f"{row['expected']:.1f}",
        "ratio_said": f"{row['ratio']:.2f}",
        "adjusted_said": words.share_in_words(
            row["adjusted"], row["low"], row["high"], ""
        ),
        "flag_said": apart_said(row) or FLAGS[row["flag"]],
        "p_said": f"{row['mid_p']:.2f}" if row["mid_p"] >= 0.01 else "< 0.01",
    }


def apart_said(row: Row) -> str:
    """Say what an operator cannot be told apart from; empty: nothing."""
    apart = row["apart_from"]
    return f"no verdict: cannot be told apart from {apart}" if apart else ""


def _figures(
    shown: list[Row], asked: str, spread: list[Row], charts: dict[str, Any]
) -> list[PageFigure]:
    courses, failures, expected = (
        sum(row[name] for row in shown) for name in ("at_risk", "filled", "expected")
    )
    return [
        _expected_figure(shown, charts),
        _adjusted_figure(shown, failures / courses, asked, charts),
        *_funnels(shown, expected / courses, spread, charts),
    ]


def _expected_figure(shown: list[Row], charts: dict[str, Any]) -> PageFigure:
    keys = ("operator", "courses", "failures", "expected")
    told = [{**row, "failures": round(row["filled"], 1)} for row in shown]
    drawn = expected_chart(only(told, keys))
    charts["operators-expected"] = linked(drawn, "operator", "operator")
    return PageFigure(
        "operators-expected",
        "Did more courses fail than expected?",
        "Failures observed and expected, an operator a line. "
        + "; ".join(
            f"{row['operator']} {row['filled']:.1f}, expected {row['expected']:.1f}"
            for row in shown
        ),
    )


def _adjusted_figure(
    shown: list[Row], station: float, asked: str, charts: dict[str, Any]
) -> PageFigure:
    keys = ("operator", "courses", "adjusted", "low", "high")
    drawn = adjusted_chart(
        only(shown, keys), station=round(station, 4), what=f"share {asked}"
    )
    charts["operators-adjusted"] = linked(drawn, "operator", "operator")
    return PageFigure(
        "operators-adjusted",
        _around(shown, station),
        "Adjusted share failing with 95 % limits, an operator a line. "
        + "; ".join(
            f"{row['operator']} {words.percent(row['adjusted'])}, "
            f"{words.limits(row['low'], row['high'])}"
            for row in shown
        ),
    )


def _around(shown: list[Row], station: float) -> str:
    """Say whose limits hold the station's rate."""
    around = sum(row["low"] <= station <= row["high"] for row in shown)
    whose = f"The limits of {around} of {len(shown)} operators hold"
    if around == len(shown):
        whose = "Everybody's limits hold"
    return f"{whose} the station's {words.percent(station)}"


def _funnels(
    shown: list[Row], share: float, spread: list[Row], charts: dict[str, Any]
) -> list[PageFigure]:
    """Draw the funnel, and from 20 operators on one that allows for their variance.

    The line is where flags begin; who has no verdict is not drawn.
    """
    asked = [row for row in shown if row["flag"] is not None]
    if not asked or not 0 < share < 1:
        return []
    flagged = sum(bool(row["flag"]) for row in asked)
    tail = flagging_p(flagged, len(asked)) / 2
    tails = {"low_998": tail, "high_998": 1.0 - tail}
    wanted = [("operators-funnel", 0.0, "Funnel of all closed courses")]
    if spread:
        title = "The same, with the variance between operators allowed for"
        wanted.append(("operators-funnel-spread", spread[0]["tau2"], title))
    alt_text = (
        f"Funnel of {len(asked)} operators: failures over expected against the number of "
        f"courses, with limits. {flagged} flagged."
    )
    sizes = [row["courses"] for row in asked]
    for name, tau2, _ in wanted:
        lines = funnel_lines(sizes, share, tau2, tails)
        points = _funnel_points(asked, share, lines)
        size = "courses of the operator"
        drawn = funnel_chart(points, lines, size=size, height=240, least_top=2.0)
        charts[name] = linked(drawn, "operator", "name")
    return [PageFigure(name, title, alt_text) for name, _, title in wanted]


def _funnel_points(asked: list[Row], share: float, lines: list[Row]) -> list[Row]:
    by_size = {line["size"]: line for line in lines}
    return [
        _funnel_point(row, found, by_size[row["courses"]])
        for row, found in zip(asked, funnel.figures(asked, share), strict=True)
    ]


def _funnel_point(row: Row, found: Row, line: Row) -> Row:
    """Give an operator's point; flagged where the line does not allow for it."""
    within = line["low_998"] < found["ratio"] < line["high_998"]
    return {
        **dict.fromkeys(("name", "label", "who"), row["operator"]),
        **found,
        "degree": funnel.degree(
            flagged=bool(row["flag"]) and not within, outside=False
        ),
    }


def _spread_said(spread: list[Row]) -> str:
    if not spread:
        return ""
    row = spread[0]
    return (
        f"Over {row['operators']} operators the squared, trimmed z scores average "
        f"{row['phi']:.2f} where chance alone gives 1; variance between operators "
        f"{row['tau2']:.3g} on the scale of failed over expected."
    )


def ranks_said(shown: list[Row]) -> str:
    """Say what ranks can and cannot tell."""
    ranked = [row for row in shown if row["rank_low"] is not None]
    if len(shown) < 2:
        return "There is nobody to rank against."
    if len(ranked) < 2:
        return (
            "No ranks are given: the joint model holds no random intercepts of operators, "
            "for too few operators or too few failures."
        )
    if _is_flat(ranked):
        return (
            "Ranks cannot be told apart: the joint model sees no difference between "
            f"operators that would place any of the {len(ranked)} above or below another."
        )
    return (
        "Each bar is the span of ranks an operator may have with 95 % certainty; where "
        "bars overlap, the order is not known."
    )


def _is_flat(ranked: list[Row]) -> bool:
    return len({(row["rank_low"], row["rank_high"]) for row in ranked}) == 1


def _ranks(shown: list[Row], charts: dict[str, Any]) -> PageFigure | None:
    ranked = [row for row in shown if row["rank_low"] is not None]
    if len(ranked) < 2 or _is_flat(ranked):
        return None
    keys = ("operator", "rank_low", "rank_high")
    drawn = rank_chart(only(ranked, keys))
    charts["operators-ranks"] = linked(drawn, "operator", "operator")
    spans = "; ".join(
        f"{row['operator']} {row['rank_low']} to {row['rank_high']}" for row in ranked
    )
    return PageFigure(
        "operators-ranks",
        "Which ranks may each operator have?",
        f"Spans of ranks, 1 for the fewest failing: {spans}.",
    )


def _operator_axis(rows: list[dict[str, Any]]) -> alt.Y:
    names = [row["operator"] for row in rows]
    return alt.Y(
        "operator:N",
        title=None,
        sort=names,
        scale=alt.Scale(domain=names),
        axis=alt.Axis(labelLimit=140, grid=False, ticks=False),
    )


def _layered(rows: list[dict[str, Any]], *layers: alt.Chart) -> theme.Drawn:
    return theme.layered(layers, height=ROW_HEIGHT * len(rows))


def expected_chart(rows: list[dict[str, Any]]) -> theme.Drawn:
    """Set each operator's failures beside those expected of the same courses.

    Parameters
    ----------
    rows : list of dict
        operator, courses, failures, expected.
    """
    x, y = "courses that failed", _operator_axis(rows)
    long = [
        {
            "operator": row["operator"],
            "kind": kind,
            "failures": row[key],
            "courses": row["courses"],
        }
        for row in rows
        for kind, key in ((EXPECTED, "expected"), (OBSERVED, "failures"))
    ]
    base = theme.chart(rows)
    by = partial(theme.told_apart, "kind", (OBSERVED, EXPECTED))
    return _layered(
        rows,
        base.mark_rule(color=theme.QUIET, strokeWidth=theme.STROKE).encode(
            y=y, x=alt.X("expected:Q", title=x), x2=alt.X2("failures:Q")
        ),
        theme.chart(long)
        .mark_point(size=75, strokeWidth=theme.STROKE)
        .encode(
            y=y,
            x=alt.X("failures:Q", title=x),
            shape=by(alt.Shape, ("circle", "diamond")),
            color=by(alt.Color, (theme.CLOSED, theme.OPEN)),
            fill=by(alt.Fill, (theme.CLOSED, "transparent")),
            tooltip=[
                alt.Tooltip("operator:N"),
                alt.Tooltip("kind:N", title="failures"),
                alt.Tooltip("failures:Q", title="number", format=".1f"),
                alt.Tooltip("courses:Q"),
            ],
        ),
    )


def adjusted_chart(
    rows: list[dict[str, Any]], *, station: float, what: str
) -> theme.Drawn:
    """Draw adjusted failure rates with their limits, and the station's rate.

    Parameters
    ----------
    rows : list of dict
        operator, courses, adjusted, low, high (shares).
    station : float
        The share failing of all courses.
    what : str
        What the share is of.
    """
    y, axis = _operator_axis(rows), alt.Axis(format=".0%")
    tooltip = [
        alt.Tooltip("operator:N"),
        *(alt.Tooltip(f"{k}:Q", format=".1%") for k in ("adjusted", "low", "high")),
        alt.Tooltip("courses:Q"),
    ]
    base = theme.chart(rows)
    scale = alt.Scale(zero=True, nice=True)
    middle = theme.chart([{"station": station}])
    return _layered(
        rows,
        middle.mark_rule(color=theme.QUIET, strokeDash=[5, 4]).encode(
            x=alt.X("station:Q", title=what),
            tooltip=alt.Tooltip("station:Q", format=".1%"),
        ),
        base.mark_rule(color=theme.CLOSED, strokeWidth=theme.STROKE).encode(
            y=y,
            x=alt.X("low:Q", title=what, axis=axis, scale=scale),
            x2=alt.X2("high:Q"),
            tooltip=tooltip,
        ),
        base.mark_point(color=theme.CLOSED, filled=True, size=70).encode(
            y=y, x=alt.X("adjusted:Q", title=what), tooltip=tooltip
        ),
    )


def rank_chart(rows: list[dict[str, Any]]) -> theme.Drawn:
    """Draw the span of ranks that each operator may have.

    Parameters
    ----------
    rows : list of dict
        operator, rank_low, rank_high.
    """
    title = "rank, 1 for the fewest failing"
    base = theme.chart(rows)
    x = alt.X(
        "rank_low:Q",
        title=title,
        scale=alt.Scale(domain=[0.5, len(rows) + 0.5], nice=False),
        axis=alt.Axis(values=list(range(1, len(rows) + 1)), format="d"),
    )
    tooltip = [alt.Tooltip("operator:N"), "rank_low:Q", "rank_high:Q"]
    tick = base.mark_point(shape="stroke", angle=90, size=120, color=theme.CLOSED)
    return _layered(
        rows,
        base.mark_rule(color=theme.CLOSED, strokeWidth=4, opacity=0.6).encode(
            y=_operator_axis(rows), x=x, x2=alt.X2("rank_high:Q"), tooltip=tooltip
        ),
        tick.encode(y=_operator_axis(rows), x=alt.X("rank_low:Q", title=title)),
        tick.encode(y=_operator_axis(rows), x=alt.X("rank_high:Q", title=title)),
    )
