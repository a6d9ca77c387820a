"""When queens begin to lay: the share laying by day, by group."""

from __future__ import annotations

import datetime as dt
from typing import Any

import altair as alt

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.charts.adjusted import (
    APART,
    DAY_FORMS,
    by_factor,
    compared_row,
    draw_differences,
)
from queen_outcomes.dashboard.figures import statement
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.adjusted_factors import LEAST_OVERLAP
from queen_outcomes.models.onset_results import ALL, AS_RECORDED
from queen_outcomes.models.terms import GROUPS, MAIN

SHOWN = (
    ("co2_schedule", "CO2 schedule", "with"),
    ("protocol", "dose protocol", "with"),
    ("season", "season", "in"),
    ("line", "line", "of line"),
)
"""Groupings with a chart of their own, and how a level is named; the tables hold the
others."""
CAPTIONS = {
    "co2_schedule": "“Other before” and “other after”: besides the CO2 of the "
    "insemination there was another exposure, and the nearest lay before or after it."
}
MOST_LEVELS = 6
TABLE_DAYS = (7, 10, 14, 21, 28, 35)
DAY_AXIS = alt.X("day:Q", title="days after insemination")


def show(store: Store, settings: Settings, _as_of: dt.date) -> dict[str, Any]:
    """Give what the page `onset.html` shows."""
    window = settings.outcomes.laying_days[0]
    overall = store.records(
        "SELECT * FROM onset_curves WHERE \"grouping\" = 'all' ORDER BY day"
    )
    closed = _closed(store, window)
    charts: dict[str, Any] = {}
    if overall:
        charts["onset-all"] = onset_chart(overall, window=window)
    groups = [_group(store, window, charts, *one) for one in SHOWN]
    model = show_model(store, settings, charts)
    return {
        "model": model,
        "window": window,
        "overall": overall,
        "finding": _finding(overall, window)
        if closed >= settings.min_shown
        else f"Too early to say what share lays by day {window}: {closed} courses closed",
        "overall_table": _curve_table(overall),
        "table_days": TABLE_DAYS,
        "groups": [group for group in groups if group],
        "spread": _spread(overall),
        "charts": charts,
    }


def _group(
    store: Store,
    window: int,
    charts: dict[str, Any],
    grouping: str,
    title: str,
    joined: str,
) -> dict[str, Any] | None:
    """Draw a grouping's levels side by side; None where there are not two of them."""
    asked = {"grouping": grouping, "most": MOST_LEVELS}
    rows = store.records(statement("onset_levels"), asked)
    if len({row["level"] for row in rows}) < 2:
        return None
    name = f"onset-{grouping.replace('_', '-')}"
    charts[name] = onset_chart(rows, window=window, by=title)
    return {
        "name": name,
        "title": title,
        "said": _side_by_side(rows, window, joined),
        "table": _curve_table(rows),
        "caption": CAPTIONS.get(grouping, ""),
    }


def _closed(store: Store, window: int) -> int:
    """Count the courses whose window has closed."""
    ((closed,),) = store.rows(
        "SELECT coalesce(sum(closed), 0) FROM rates WHERE \"grouping\" = 'all' "
        "AND outcome = 'laying' AND window_days = $window",
        {"window": window},
    )
    return int(closed)


def _finding(rows: list[dict[str, Any]], window: int) -> str:
    for row in rows:
        if row["day"] == window and row["laying"] is not None:
            spread = words.limits(row["low"], row["high"])
            return f"{words.percent(row['laying'])} lay by day {window} (95 % limits {spread})"
    return f"share laying by day {window}"


def _side_by_side(rows: list[dict[str, Any]], window: int, joined: str) -> str:
    """Say the share of each level by the window's day."""
    shares = [
        f"{words.percent(row['laying'])} {joined} {row['level']}"
        for row in rows
        if row["day"] == window
    ]
    return f"Laying by day {window}: {'; '.join(shares)}"


def _spread(rows: list[dict[str, Any]]) -> dict[str, int | None]:
    """Give the days by which a tenth, half and nine tenths of the layers had begun."""
    last = rows[-1]["laying"] if rows else None
    found: dict[str, int | None] = {}
    for name, share in (("tenth", 0.1), ("half", 0.5), ("most", 0.9)):
        days = [row["day"] for row in rows if last and row["laying"] >= share * last]
        found[name] = days[0] if days else None
    return found


def _curve_table(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Give a row a level with the share by each of TABLE_DAYS, in words."""
    levels: dict[str, dict[str, Any]] = {}
    for row in rows:
        if row["day"] in TABLE_DAYS:
            cells = levels.setdefault(row["level"], {"level": row["level"]})
            limits = row["low"], row["high"]
            cells[f"day_{row['day']}"] = words.share_in_words(
                row["laying"], *limits, ""
            )
    return [
        {**dict.fromkeys((f"day_{d}" for d in TABLE_DAYS), ""), **cells}
        for cells in levels.values()
    ]


LABELS = {name: term.label for name, term in {**MAIN, **GROUPS}.items()}
ORDER = [ALL, *LABELS]
PARTS = {"chance": "chance of laying", "days": "days among layers"}

Row = dict[str, Any]


def show_model(store: Store, settings: Settings, charts: dict[str, Any]) -> Row:
    """Give what the page says of the model, and add its charts."""
    windows = settings.outcomes.laying_days
    fits = _of_model(store, "model_fits", windows[0])
    fit = fits[0] if fits else None
    if fit is None or fit["method"] == "none":
        reason = fit["message"] if fit else "it was not fitted"
        return {"there": False, "reason": reason}
    days = _days(store)
    later = "days later than at the usual value"
    drawn = draw_differences(charts, "onset-days", days, later, DAY_FORMS)
    return {
        "there": True,
        "fit": fit,
        "beside": [_beside(store, window) for window in windows],
        "days": days,
        "days_said": days_in_words(days),
        "days_drawn": drawn,
        "windows": [_window(store, window, charts) for window in windows],
        "terms": [
            {**row, "part": PARTS[part], "factor": LABELS[term]}
            for row in _of_model(store, "model_terms", windows[0])
            for part, _, term in (row["term"].partition(": "),)
        ],
        "least_overlap": round(100 * LEAST_OVERLAP),
    }


def _of_model(store: Store, table: str, window: int) -> list[Row]:
    return store.records(
        f"SELECT * FROM \"{table}\" WHERE outcome = 'laying' AND model = 'onset' "
        "AND window_days = $window ORDER BY ALL",
        {"window": window},
    )


def _beside(store: Store, window: int) -> str:
    """Set the model's average beside the curve, which assumes no shape."""
    (whole,) = [r for r in _of_model(store, "adjusted", window) if r["factor"] == ALL]
    share = words.share_in_words(whole["probability"], whole["low"], whole["high"])
    said = f"Laying by day {window}, all courses as they are: {share}"
    curve = store.records(
        "SELECT laying, low, high FROM onset_curves WHERE \"grouping\" = 'all' "
        "AND day = $window",
        {"window": window},
    )
    if curve and curve[0]["laying"] is not None:
        said += f"; by the curve above: {words.share_in_words(*curve[0].values())}"
    return f"{said}."


def _window(store: Store, window: int, charts: dict[str, Any]) -> Row:
    compared = [
        compared_row(row, LABELS[row["factor"]])
        for row in _ordered(_of_model(store, "contrasts", window))
    ]
    asked = f"difference in laying by day {window}, points"
    drawn = draw_differences(charts, f"onset-differences-{window}", compared, asked)
    adjusted = [
        {**row, "label": "as they are" if row["label"] == AS_RECORDED else row["label"]}
        for row in _ordered(_of_model(store, "adjusted", window))
    ]
    return {
        "window": window,
        "compared": compared,
        "drawn": drawn,
        "adjusted": by_factor(adjusted, _label),
    }


def _ordered(rows: list[Row]) -> list[Row]:
    """Put the factors into the order of their priority."""
    return sorted(rows, key=lambda row: ORDER.index(row["factor"]))


def _label(factor: str) -> str:
    return "all courses" if factor == ALL else LABELS[factor]


def _days(store: Store) -> list[Row]:
    """Give the days of each value, the usual one of a factor first."""
    rows = store.records("SELECT * FROM onset_days ORDER BY ALL")
    rows = sorted(rows, key=lambda row: row["reference"] is not None)
    found = []
    for row in _ordered(rows):
        factor = LABELS[row["factor"]]
        usual = row["reference"] is None
        shown = {
            "factor": factor,
            "name": f"{factor}: {row['label']}",
            "days_said": _with_limits(row["days"], row["low"], row["high"]),
            "overlap": "" if usual else words.percent(row["overlap"]),
            "shift": "" if usual else shift_in_words(row),
            "low": row["difference_low"],
            "high": row["difference_high"],
        }
        found.append({**row, **shown})
    return found


def _with_limits(value: float, low: float | None, high: float | None) -> str:
    said = f"{value:.1f}"
    return said if None in (low, high) else f"{said} ({low:.1f} to {high:.1f})"


def shift_in_words(row: Row) -> str:
    """Say by how many days layers begin earlier or later, with limits."""
    size = row["difference"]
    if size is None:
        return APART
    said = _later(size)
    low, high = row["difference_low"], row["difference_high"]
    if None in (low, high):
        return said
    if low > 0 or high < 0:
        least, most = sorted((abs(low), abs(high)))
        return f"{said} (95 % limits {least:.1f} to {most:.1f})"
    return f"{said} (95 % limits {_later(low)} to {_later(high)})"


def _later(days: float) -> str:
    return f"{abs(days):.1f} days {'later' if days >= 0 else 'earlier'}"


def days_in_words(days: list[Row]) -> list[str]:
    """Say which differences of days have limits on one side of none."""
    compared = [row for row in days if row["difference"] is not None]
    if not compared:
        return ["No difference in days can be given."]
    clear = [row for row in compared if None not in (row["low"], row["high"])]
    clear = [row for row in clear if row["low"] > 0 or row["high"] < 0]
    said = [
        f"Layers with {row['factor']} “{row['label']}” begin {row['shift']} than with "
        f"“{row['reference']}”."
        for row in clear
    ]
    if not said:
        return ["The limits of every difference in days include zero."]
    if len(clear) < len(compared):
        said.append("The limits of every other difference in days include zero.")
    return said


def onset_chart(
    rows: list[dict[str, Any]], *, window: int, by: str | None = None
) -> alt.TopLevelMixin:
    """Draw curves of the share laying by day.

    Parameters
    ----------
    rows : list of dict
        Of `onset_curves`: level, day, laying, low, high, at_risk.
    window : int
        The day marked by a line.
    by : str or None
        What the levels are, for the legend; None draws one curve without a legend.
    """
    kept = ("level", "day", "laying", "low", "high", "at_risk")
    values = [
        {name: row[name] for name in kept} for row in rows if row["laying"] is not None
    ]
    levels = sorted({row["level"] for row in values})
    colour = _colour(levels, by)
    layers = []
    banded = [row for row in values if row["low"] is not None]
    if banded:
        layers.append(_band(banded, colour))
    mark = theme.chart([{"day": window}])
    layers += [
        mark.mark_rule(strokeDash=[2, 4], color=theme.QUIET).encode(x=DAY_AXIS),
        _line(values, levels, colour, by),
    ]
    return theme.layered(layers, height=280)


def _colour(levels: list[str], by: str | None) -> Any:
    if by is None:
        return alt.value(theme.CLOSED)
    return alt.Color(
        "level:N",
        title=by,
        scale=alt.Scale(domain=levels, range=theme.SERIES[: len(levels)]),
        legend=alt.Legend(symbolType="stroke", symbolOpacity=1),
    )


def _band(values: list[dict[str, Any]], colour: Any) -> alt.Chart:
    band = theme.chart(values)
    return band.mark_area(interpolate="step-after", opacity=0.15).encode(
        x=DAY_AXIS, y=alt.Y("low:Q", title="share laying"), y2="high:Q", color=colour
    )


def _line(
    values: list[dict[str, Any]], levels: list[str], colour: Any, by: str | None
) -> alt.Chart:
    base = theme.chart(values)
    line = base.mark_line(interpolate="step-after", strokeWidth=2).encode(
        x=DAY_AXIS,
        y=theme.share_axis("laying", "share laying"),
        color=colour,
        tooltip=[
            alt.Tooltip("level:N", title=by or "courses"),
            alt.Tooltip("day:Q", title="day"),
            alt.Tooltip("laying:Q", title="laying by then", format=".0%"),
            alt.Tooltip("low:Q", title="lower limit", format=".0%"),
            alt.Tooltip("high:Q", title="upper limit", format=".0%"),
            alt.Tooltip("at_risk:Q", title="courses not known either way"),
        ],
    )
    if by is None:
        return line
    # told apart by dashes too, for those who do not see the colours
    dashes = alt.Scale(domain=levels, range=theme.DASHES[: len(levels)])
    return line.encode(strokeDash=alt.StrokeDash("level:N", title=by, scale=dashes))
