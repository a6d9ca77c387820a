"""The part of the operators' page on the bench itself, and on how checkers agree."""

from __future__ import annotations

from typing import Any

import altair as alt

from queen_outcomes.audit.sheet import MEASURES, SHARE, stands_outside
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.charts.linked import linked
from queen_outcomes.dashboard.figures import Numbers, PageFigure, only
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings

Row = dict[str, Any]
ROW_HEIGHT = 24
KEYS = (
    *("operator", "recorded", "mean", "low", "high", "station_mean", "station_low"),
    *("station_high", "before"),
)
COLUMNS = (
    ("operator", "Operator"),
    ("recorded", "Recorded"),
    ("mean_said", "Mean"),
    ("middle", "Middle 80 %"),
    ("before_said", "Mean the season before"),
    ("station_said", "Station's mean"),
    ("station_middle", "Station's middle 80 %"),
)
NUMBERS = tuple(key for key, _ in COLUMNS if key != "operator")
OWN_COLUMNS = (
    ("measure", "On the bench"),
    ("recorded", "Recorded"),
    ("mean_said", "Mean"),
    ("before_said", "Season before"),
    ("station_said", "Station"),
    ("station_middle", "Station's middle 80 %"),
)
MEANINGS = {
    "mean": "mean",
    "low": "a tenth below",
    "high": "a tenth above",
    "before": "mean the season before",
    "station_mean": "station's mean",
}
"""What the chart's numbers are, for what hovering shows."""
CHECKED = {
    "eggs": "eggs seen or not",
    "drone_in_worker": "drone brood in worker cells: none, few, many",
    "pattern_pct": "brood pattern, %",
}
PAIR_COLUMNS = (
    ("checkers", "Checkers"),
    ("pairs", "Pairs of looks"),
    ("agree_said", "The same"),
    ("figure", "Kappa or mean difference"),
    ("limits", "Limits"),
    ("message", "To know"),
)


def show(store: Store, settings: Settings, charts: dict[str, Any]) -> Row:
    """Give what the page says of the bench and of checkers."""
    rows = store.records("SELECT * FROM process_measures ORDER BY ALL")
    season = max((row["season"] for row in rows), default="")
    before = max((row["season"] for row in rows if row["season"] < season), default="")
    measures = []
    for measure, (label, unit) in MEASURES.items():
        own = _measure(rows, measure, season, before, settings.min_shown)
        if own:
            name = f"{label} ({unit})" if unit else label
            measures.append(_figure(measure, name, own, charts))
    return {
        "season": season,
        "before": before,
        "own": _own(measures),
        "said": _title(measures, season),
        "measures": measures,
        "checkers": _checkers(store),
    }


def _own(measures: list[Row]) -> dict[str, Numbers]:
    """Give each operator's measures, one a row."""
    found: dict[str, list[Row]] = {}
    for measure in measures:
        name = measure["name"].removesuffix(f" ({SHARE})")
        for row in measure["table"].rows:
            found.setdefault(row["operator"], []).append({**row, "measure": name})
    return {
        operator: Numbers(OWN_COLUMNS, rows, NUMBERS)
        for operator, rows in found.items()
    }


def _measure(
    rows: list[Row], measure: str, season: str, before: str, fewest: int
) -> list[Row]:
    """Give this season's operators, figures of too few records held back."""
    own = [row for row in rows if row["measure"] == measure]
    earlier = {
        row["operator"]: row["mean"]
        for row in own
        if row["season"] == before and row["recorded"] >= fewest
    }
    return [
        {
            **row,
            "shown": row["recorded"] >= fewest,
            "before": earlier.get(row["operator"]),
        }
        for row in own
        if row["season"] == season
    ]


def _figure(measure: str, name: str, rows: list[Row], charts: dict[str, Any]) -> Row:
    shown = [row for row in rows if row["shown"]]
    # the middle 80 % of a yes or no says nothing: only its share is drawn and told
    is_share = measure == "leak"
    figure = None
    if shown:
        key = f"process-{measure.replace('_', '-')}"
        values = only([_chart_row(row, is_share) for row in shown], KEYS, 3)
        axis = name.removesuffix(" (share)")
        drawn = process_chart(values, measure=axis, is_share=is_share)
        charts[key] = linked(drawn, "operator", "operator")
        means = "; ".join(f"{row['operator']} {row['mean']:.2f}" for row in shown)
        title = axis[:1].upper() + axis[1:]
        figure = PageFigure(key, title, f"{axis}, mean by operator: {means}.")
    return {
        "name": name,
        "outside": [row["operator"] for row in shown if stands_outside(row)],
        "figure": figure,
        "table": Numbers(
            COLUMNS,
            [_said(row, is_share) for row in rows],
            NUMBERS,
            f"The numbers: {name.removesuffix(' (share)')}",
        ),
    }


def _chart_row(row: Row, is_share: bool) -> Row:
    if is_share:
        row = {**row, **dict.fromkeys(("low", "high"), row["mean"])}
        row |= dict.fromkeys(("station_low", "station_high"), row["station_mean"])
    return row


def _said(row: Row, is_share: bool) -> Row:
    found = {"operator": row["operator"], "recorded": row["recorded"]}
    if not row["shown"]:
        blank = [key for key in NUMBERS if key != "recorded"]
        return {**found, **dict.fromkeys(blank, ""), "mean_said": "too few"}
    before, form = row["before"], words.percent if is_share else "{:.2f}".format
    span = "" if is_share else "{:.1f} to {:.1f}"
    return {
        **found,
        "mean_said": form(row["mean"]),
        "middle": span.format(row["low"], row["high"]),
        "before_said": "" if before is None else form(before),
        "station_said": form(row["station_mean"]),
        "station_middle": span.format(row["station_low"], row["station_high"]),
    }


def _title(measures: list[Row], season: str) -> str:
    if not any(measure["figure"] for measure in measures):
        return "Nothing to compare yet."
    outside = [measure for measure in measures if measure["outside"]]
    if not outside:
        return f"Season {season}: no operator's mean lies beyond the station's middle 80 %."
    named = "; ".join(
        f"{measure['name']} ({', '.join(measure['outside'])})" for measure in outside
    )
    return f"Season {season}: means outside the station's middle 80 %: {named}."


def _checkers(store: Store) -> list[Row]:
    rows = store.records("SELECT * FROM checker_agreement ORDER BY ALL")
    found = []
    for measure, label in CHECKED.items():
        own = [row for row in rows if row["measure"] == measure]
        if own:
            any_two = [row for row in own if row["first_checker"] is None]
            pairs = [row for row in own if row["first_checker"] is not None]
            found.append(
                {
                    "name": label,
                    "short": short_said(any_two[0]),
                    "said": any_two_said(any_two[0], pairs),
                    "table": Numbers(
                        PAIR_COLUMNS,
                        [_pair(row) for row in pairs],
                        ("pairs", "agree_said", "figure", "limits"),
                        f"Pair by pair: {label}",
                    ),
                }
            )
    return found


def short_said(row: Row) -> str:
    """Say in a few words how any two checkers agree."""
    many = f"{row['pairs']} pairs of looks"
    if row["spread"] is not None:
        return f"{many}, 95 % of two scores within {row['spread']:.0f} points"
    if row["agree"] is not None:
        return f"{many}, {words.percent(row['agree'] / row['pairs'])} the same"
    return many


def any_two_said(row: Row, pairs: list[Row]) -> str:
    """Say how any two checkers agree, and how far the pairs lie apart."""
    start = f"{row['pairs']} pairs of looks"
    told = [pair for pair in pairs if not pair["message"]]
    if row["spread"] is not None:
        said = f"{start}: 95 % of two scores lie within {row['spread']:.0f} points."
    elif row["kappa"] is not None:
        said = (
            f"{start}, {words.percent(row['agree'] / row['pairs'])} the same; kappa "
            f"{row['kappa']:.2f}, where 1 is full agreement and 0 what chance gives."
        )
    elif row["agree"] is not None:
        said = f"{start}, {row['agree']} of them the same; no kappa: {row['message']}."
    else:
        said = f"{start}: {row['message']}."
    if not told:
        return f"{said} No pair of checkers has enough looks of its own."
    if row["kappa"] is None:
        return said
    ends = sorted(told, key=lambda pair: (pair["kappa"], pair["first_checker"]))
    low, high = ends[0], ends[-1]
    if low is high:
        return said
    return (
        f"{said} By pair from {_kappa(low)} to {_kappa(high)}, 95 % limits in brackets."
    )


def _kappa(row: Row) -> str:
    return f"{row['kappa']:.2f} ({_names(row)}; {_limits(row) or 'always the same'})"


def _limits(row: Row) -> str:
    return "" if row["low"] is None else f"{row['low']:.2f} to {row['high']:.2f}"


def _names(row: Row) -> str:
    return f"{row['first_checker']} and {row['second_checker']}"


def _pair(row: Row) -> Row:
    figure = row["kappa"] if row["kappa"] is not None else row["mean"]
    return {
        "checkers": _names(row),
        "pairs": row["pairs"],
        "agree_said": "" if row["agree"] is None else str(row["agree"]),
        "figure": "" if figure is None else f"{figure:.2f}",
        "limits": _limits(row),
        "message": row["message"],
    }


def process_chart(
    rows: list[dict[str, Any]], *, measure: str, is_share: bool = False
) -> theme.Drawn:
    """Draw one measure, an operator a line.

    Parameters
    ----------
    rows : list of dict
        operator, recorded, mean, low, high (the middle 80 %), station_mean,
        station_low, station_high, before (mean of the season before, or None).
    measure : str
        Its name and unit.
    is_share : bool
        Written in per cent.
    """
    y = alt.Y(
        "operator:N",
        title=None,
        scale=alt.Scale(domain=[row["operator"] for row in rows]),
        axis=alt.Axis(labelLimit=120, grid=False, ticks=False),
    )
    scale = alt.Scale(zero=is_share, nice=False, padding=8)
    axis = alt.Axis(format=".0%" if is_share else "~g", tickCount=6)
    x = alt.X("mean:Q", title=measure, scale=scale, axis=axis)
    form = ".0%" if is_share else ".2f"
    tooltip = [
        alt.Tooltip("operator:N"),
        alt.Tooltip("recorded:Q"),
        *(alt.Tooltip(f"{k}:Q", title=v, format=form) for k, v in MEANINGS.items()),
    ]
    # the station's middle 80 % as a band, its mean as a line
    station, base = theme.chart(rows[:1]), theme.chart(rows)
    layers = [
        station.mark_rect(color=theme.QUIET, opacity=0.18).encode(
            x=alt.X("station_low:Q", title=measure), x2=alt.X2("station_high:Q")
        ),
        station.mark_rule(color=theme.QUIET, strokeDash=[5, 4]).encode(
            x=alt.X("station_mean:Q", title=measure)
        ),
        base.mark_rule(color=theme.CLOSED, strokeWidth=theme.STROKE, opacity=0.6).encode(
            y=y, x=alt.X("low:Q", title=measure), x2=alt.X2("high:Q"), tooltip=tooltip
        ),
        base.mark_point(color=theme.CLOSED, filled=True, size=55, opacity=theme.SOLID).encode(
            y=y, x=x, tooltip=tooltip
        ),
    ]
    before = [row for row in rows if row["before"] is not None]
    if before:  # a layer without data would have the scripts complain
        hollow = theme.chart(before).mark_point(
            color=theme.OPEN, shape="diamond", size=60, strokeWidth=1.5
        )
        layers.append(hollow.encode(y=y, x=alt.X("before:Q", title=measure)))
    return theme.layered(layers, height=ROW_HEIGHT * len(rows))
