"""The part of the operators' page with each operator's figures over all closed courses."""

from __future__ import annotations

from typing import Any

from queen_outcomes.audit.sheet import failing
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import theme
from queen_outcomes.dashboard.charts import marks
from queen_outcomes.dashboard.charts.funnel import funnel_chart
from queen_outcomes.dashboard.charts.operator_rates import (
    adjusted_chart,
    expected_chart,
    rank_chart,
)
from queen_outcomes.dashboard.figures import Figure
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings
from queen_outcomes.stats.shares.funnel import funnel_lines

Row = dict[str, Any]
FLAGS = {"more": "more failures", "fewer": "fewer failures", "": "within chance"}
COLUMNS = (
    ("operator", "Operator"),
    ("courses", "Courses"),
    ("failures", "Failed"),
    ("expected_said", "Expected"),
    ("ratio_said", "Ratio"),
    ("adjusted_said", "Adjusted rate (limits)"),
    ("flag_said", "Flag"),
    ("p_said", "P"),
    ("undecided", "Undecided"),
    ("unknown_risk", "Risk unknown"),
)
NUMBERS = (
    *("courses", "failures", "expected_said", "ratio_said", "adjusted_said"),
    *("p_said", "undecided", "unknown_risk"),
)
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
        return "Operators: counts only"
    flagged = [row for row in shown if row["flag"]]
    if not flagged:
        if len(shown) == 1:
            return f"{shown[0]['operator']}: failures lie within what chance gives"
        return f"None of {len(shown)} operators is flagged"
    named = [f"{row['operator']} ({FLAGS[row['flag']]})" for row in flagged]
    verb = "is" if len(flagged) == 1 else "are"
    return (
        f"{len(flagged)} of {len(shown)} operators {verb} flagged: {', '.join(named)}"
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
            "flag_said": "too few courses to compare",
        }
    return {
        **kept,
        "expected_said": f"{row['expected']:.1f}",
        "ratio_said": f"{row['ratio']:.2f}",
        "adjusted_said": f"{words.percent(row['adjusted'])} "
        f"({words.limits(row['low'], row['high'])})",
        "flag_said": FLAGS[row["flag"]],
        "p_said": f"{row['mid_p']:.2f}" if row["mid_p"] >= 0.01 else "< 0.01",
    }


def _figures(
    shown: list[Row], asked: str, spread: list[Row], charts: dict[str, Any]
) -> list[Figure]:
    courses, failures, expected = (
        sum(row[name] for row in shown) for name in ("courses", "failures", "expected")
    )
    return [
        _expected_figure(shown, charts),
        _adjusted_figure(shown, failures / courses, asked, charts),
        *_funnels(shown, expected / courses, spread, charts),
    ]


def _expected_figure(shown: list[Row], charts: dict[str, Any]) -> Figure:
    keys = ("operator", "courses", "failures", "expected")
    charts["operators-expected"] = theme.dressed(
        expected_chart([_rounded(row, keys) for row in shown])
    )
    return Figure(
        "operators-expected",
        "Did more courses fail than expected?",
        "Failures observed and expected, an operator a line. "
        + "; ".join(
            f"{row['operator']} {row['failures']}, expected {row['expected']:.1f}"
            for row in shown
        ),
    )


def _adjusted_figure(
    shown: list[Row], station: float, asked: str, charts: dict[str, Any]
) -> Figure:
    keys = ("operator", "courses", "adjusted", "low", "high")
    charts["operators-adjusted"] = theme.dressed(
        adjusted_chart(
            [_rounded(row, keys) for row in shown],
            station=round(station, 4),
            what=f"share {asked}",
        )
    )
    return Figure(
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


def _rounded(row: Row, keys: tuple[str, ...]) -> Row:
    return {
        key: round(row[key], 4) if isinstance(row[key], float) else row[key]
        for key in keys
    }


def _funnels(
    shown: list[Row], share: float, spread: list[Row], charts: dict[str, Any]
) -> list[Figure]:
    """Draw the funnel, and from 20 operators on one that allows for their variance."""
    points = [
        {
            "name": row["operator"],
            "label": row["operator"],
            "courses": row["courses"],
            "failures": row["failures"],
            "expected": round(row["expected"], 2),
            "ratio": round(row["ratio"], 3),
            "degree": marks.degree(flagged=bool(row["flag"]), outside=False),
            "who": row["operator"],
        }
        for row in shown
    ]
    largest = max(row["courses"] for row in shown)
    flagged = sum(bool(row["flag"]) for row in shown)
    wanted = [("operators-funnel", 0.0, f"Funnel: {flagged} of {len(shown)} flagged")]
    if spread:
        title = "The same, with the variance between operators allowed for"
        wanted.append(("operators-funnel-spread", spread[0]["tau2"], title))
    found = []
    for name, tau2, title in wanted:
        lines = funnel_lines(largest, share, tau2)
        chart = funnel_chart(
            points,
            lines,
            size="courses of the operator",
            height=240,
            least_top=2.0,
        )
        charts[name] = theme.dressed(chart)
        alt = (
            f"Funnel of {len(shown)} operators: failures over expected against the "
            f"number of courses, with limits. {flagged} flagged."
        )
        found.append(Figure(name, title, alt))
    return found


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


def _ranks(shown: list[Row], charts: dict[str, Any]) -> Figure | None:
    ranked = [row for row in shown if row["rank_low"] is not None]
    if len(ranked) < 2 or _is_flat(ranked):
        return None
    keys = ("operator", "rank_low", "rank_high")
    charts["operators-ranks"] = theme.dressed(
        rank_chart([_rounded(row, keys) for row in ranked])
    )
    spans = "; ".join(
        f"{row['operator']} {row['rank_low']} to {row['rank_high']}" for row in ranked
    )
    return Figure(
        "operators-ranks",
        "Which ranks may each operator have?",
        f"Spans of ranks, 1 for the fewest failing: {spans}.",
    )
