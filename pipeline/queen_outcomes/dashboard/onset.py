"""When queens begin to lay: the share laying by day, by group."""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import endings
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.charts.adjusted import (
    APART,
    DAY_FORMS,
    by_factor,
    compared_row,
    draw_differences,
)
from queen_outcomes.dashboard.charts.by_day import curves_by_day, table_by_day
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
    "insemination there was another exposure, and the nearest lay before or after it. "
    "Compared are queens still there when a later one was due: only these could get it."
}
MOST_LEVELS = 6
TABLE_DAYS = (7, 10, 14, 21, 28, 35)


def show(store: Store, settings: Settings, _as_of: dt.date) -> dict[str, Any]:
    """Give what the page `onset.html` shows."""
    window = settings.outcomes.laying_days[0]
    overall = store.records(
        "SELECT * FROM onset_curves WHERE \"grouping\" = 'all' ORDER BY day"
    )
    rates = store.records(
        "SELECT * FROM rates WHERE outcome = 'laying' AND window_days = $window",
        {"window": window},
    )
    shares = {(row["grouping"], row["level"]): row for row in rates}
    headline = shares.get(("all", "all"), {"closed": 0, "estimate": None})
    charts: dict[str, Any] = {}
    if overall:
        charts["onset-all"] = onset_chart(overall, window=window)
    groups = [_group(store, window, charts, shares, *one) for one in SHOWN]
    model = show_model(store, settings, overall, charts)
    return {
        "model": model,
        "window": window,
        "overall": overall,
        "finding": _finding(headline, window)
        if headline["closed"] >= settings.min_shown
        else f"Too early to say what share lays by day {window}: {headline['closed']} "
        "courses closed",
        "overall_table": table_by_day(overall, "laying", TABLE_DAYS),
        "table_days": TABLE_DAYS,
        "groups": [group for group in groups if group],
        "endings": endings.show(store, settings.min_shown, charts),
        "spread": _spread(overall),
        "charts": charts,
    }


def _group(
    store: Store,
    window: int,
    charts: dict[str, Any],
    shares: dict[tuple[str, str], dict[str, Any]],
    grouping: str,
    title: str,
    joined: str,
) -> dict[str, Any] | None:
    """Draw a grouping's levels side by side; None where there are not two of them."""
    asked = {"grouping": grouping, "most": MOST_LEVELS}
    rows = store.records(statement("onset_levels"), asked)
    levels = list(dict.fromkeys(row["level"] for row in rows))
    if len(levels) < 2:
        return None
    name = f"onset-{grouping.replace('_', '-')}"
    charts[name] = onset_chart(rows, window=window, by=title)
    return {
        "name": name,
        "title": title,
        "said": _side_by_side(
            [shares.get((grouping, level)) for level in levels], window, joined
        ),
        "table": table_by_day(rows, "laying", TABLE_DAYS),
        "caption": CAPTIONS.get(grouping, ""),
        "tested": _tested(store, grouping),
    }


def _tested(store: Store, grouping: str) -> str:
    """Say whether the levels of a grouping begin to lay alike; empty: not asked."""
    for row in store.records(
        'SELECT * FROM onset_tests WHERE "grouping" = $grouping', {"grouping": grouping}
    ):
        if row["p"] is None:
            return f"No P: {row['message']}."
        return (
            f"P = {row['p']:.2g} if the groups began to lay alike "
            f"({row['p_holm']:.2g} for all groupings tested): a score test over all days, "
            f"that allows for the {row['batches']} graft batches; not adjusted."
        )
    return ""


def _finding(headline: dict[str, Any], window: int) -> str:
    """Say the headline: the curve is a picture of the days, and read off nowhere."""
    if headline["estimate"] is None:
        return f"share laying by day {window}"
    spread = words.limits(headline["estimate_low"], headline["estimate_high"])
    share = words.percent(headline["estimate"])
    return f"{share} lay by day {window} (95 % limits {spread})"


def _side_by_side(rates: list[dict[str, Any] | None], window: int, joined: str) -> str:
    """Say the share of each level by the window's day, as the rates have it."""
    told = [
        f"{words.percent(row['estimate'])} {joined} {row['level']}"
        for row in rates
        if row and row["estimate"] is not None
    ]
    return f"Laying by day {window}: {'; '.join(told)}" if told else ""


def _spread(rows: list[dict[str, Any]]) -> dict[str, int | None]:
    """Give the days by which a tenth, half and nine tenths of the layers had begun."""
    last = rows[-1]["laying"] if rows else None
    parts = {"tenth": 0.1, "half": 0.5, "most": 0.9}
    return {
        name: next(
            (r["day"] for r in rows if last and r["laying"] >= part * last), None
        )
        for name, part in parts.items()
    }


LABELS = {name: term.label for name, term in {**MAIN, **GROUPS}.items()}
ORDER = [ALL, *LABELS]
PARTS = {"chance": "chance of laying", "days": "days among layers"}

Row = dict[str, Any]


def show_model(
    store: Store, settings: Settings, overall: list[Row], charts: dict[str, Any]
) -> Row:
    """Give what the page says of the model, and add its charts."""
    windows = settings.outcomes.laying_days
    (fit,) = _of_model(store, "model_fits", windows[0])
    if fit["method"] == "none":
        return {"there": False, "reason": fit["message"]}
    days = _days(store)
    later = "days later than at the usual value"
    drawn = draw_differences(charts, "onset-days", days, later, DAY_FORMS)
    return {
        "there": True,
        "fit": fit,
        "beside": [_beside(store, window, overall) for window in windows],
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


def _beside(store: Store, window: int, overall: list[Row]) -> str:
    """Set the model's average beside the curve, which assumes no shape."""
    (whole,) = [r for r in _of_model(store, "adjusted", window) if r["factor"] == ALL]
    share = words.share_in_words(whole["probability"], whole["low"], whole["high"])
    said = f"Laying by day {window}, all courses as they are: {share}"
    on_curve = [row for row in overall if row["day"] == window]
    if on_curve and on_curve[0]["laying"] is not None:
        limits = (on_curve[0][name] for name in ("laying", "low", "high"))
        said += f"; by the curve above: {words.share_in_words(*limits)}"
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
        has_limits = None not in (row["low"], row["high"])
        limits = f" ({row['low']:.1f} to {row['high']:.1f})" if has_limits else ""
        shown = {
            "factor": factor,
            "name": f"{factor}: {row['label']}",
            "days_said": f"{row['days']:.1f}{limits}",
            "overlap": "" if usual else words.percent(row["overlap"]),
            "shift": "" if usual else shift_in_words(row),
            "low": row["difference_low"],
            "high": row["difference_high"],
        }
        found.append({**row, **shown})
    return found


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
) -> theme.Drawn:
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
    told = {"at_risk": "courses not known either way"}
    named = ("laying", "share laying", "laying by then")
    return curves_by_day(rows, named, days=(window,), by=by, told=told)
