"""What the onset model says, for the page: laying by a day, and days earlier or later.

Shows the models' tables and fits nothing. The model stands beside the curves, which
assume no shape.
"""

from __future__ import annotations

from itertools import groupby
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import findings, theme
from queen_outcomes.dashboard.charts.adjusted import difference_chart
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.adjusted_factors import LEAST_OVERLAP
from queen_outcomes.models.onset_results import ALL, AS_RECORDED
from queen_outcomes.models.terms import GROUPS, MAIN

LABELS = {name: term.label for name, term in {**MAIN, **GROUPS}.items()}
ORDER = [ALL, *LABELS]
APART = "cannot be told apart"
DAY_FORMS, SHARE_FORMS = ("+.2~r", "+.1f"), ("+.0%", "+.1%")
"""How differences are written along an axis and in what hovering shows."""
PARTS = {"chance": "chance of laying", "days": "days among layers"}

Row = dict[str, Any]


def show(store: Store, settings: Settings, charts: dict[str, Any]) -> Row:
    """Give what the page says of the model, and add its charts."""
    windows = settings.outcomes.laying_days
    fits = _rows(store, "model_fits", windows[0])
    fit = fits[0] if fits else None
    if fit is None or fit["method"] == "none":
        reason = fit["message"] if fit else "it was not fitted"
        return {"there": False, "reason": reason}
    days = _days(store)
    later = "days later than at the usual value"
    drawn = _draw(charts, "onset-days", days, later, DAY_FORMS)
    return {
        "there": True,
        "fit": fit,
        "beside": [_beside(store, window) for window in windows],
        "days": days,
        "days_said": days_in_words(days),
        "days_drawn": drawn,
        "windows": [_window(store, window, charts) for window in windows],
        "terms": [_named(row) for row in _rows(store, "model_terms", windows[0])],
        "least_overlap": round(100 * LEAST_OVERLAP),
    }


def _rows(store: Store, table: str, window: int) -> list[Row]:
    return store.records(
        f"SELECT * FROM \"{table}\" WHERE outcome = 'laying' AND model = 'onset' "
        "AND window_days = $window ORDER BY ALL",
        {"window": window},
    )


def _draw(
    charts: dict[str, Any], name: str, rows: list[Row], question: str, forms
) -> str:
    """Draw the differences that there are; give what they show, in words."""
    keys = ("name", "reference", "overlap", "difference", "low", "high")
    shown = [
        {key: row[key] for key in keys} for row in rows if row["difference"] is not None
    ]
    if shown:
        chart = difference_chart(shown, question=question, forms=forms)
        charts[name] = theme.dressed(chart)
    return findings.differences(shown) if shown else ""


def _beside(store: Store, window: int) -> str:
    """Set the model's average beside the curve, which assumes no shape."""
    (whole,) = [r for r in _rows(store, "adjusted", window) if r["factor"] == ALL]
    said = f"Laying by day {window}, all courses as they are: {_share(whole, 'probability')}"
    curve = store.records(
        "SELECT laying, low, high FROM onset_curves WHERE \"grouping\" = 'all' "
        "AND day = $window",
        {"window": window},
    )
    if curve and curve[0]["laying"] is not None:
        said += f"; by the curve above: {_share(curve[0], 'laying')}"
    return f"{said}."


def _share(row: Row, name: str) -> str:
    spread = words.limits(row["low"], row["high"])
    said = words.percent(row[name])
    return f"{said} (95 % limits {spread})" if spread else said


def _window(store: Store, window: int, charts: dict[str, Any]) -> Row:
    compared = [
        {
            **row,
            "factor": LABELS[row["factor"]],
            "name": f"{LABELS[row['factor']]}: {row['value']}",
            "overlap": words.percent(row["overlap"]),
            "difference": row["risk_difference"],
            "points": _points(row),
        }
        for row in _ordered(_rows(store, "contrasts", window))
    ]
    asked = f"difference in laying by day {window}, points"
    drawn = _draw(charts, f"onset-differences-{window}", compared, asked, SHARE_FORMS)
    adjusted = _ordered(_rows(store, "adjusted", window))
    return {
        "window": window,
        "compared": compared,
        "drawn": drawn,
        "adjusted": [
            {"factor": _label(factor), "rows": [_shown(row) for row in part]}
            for factor, part in groupby(adjusted, key=lambda row: row["factor"])
        ],
    }


def _ordered(rows: list[Row]) -> list[Row]:
    """Put the factors into the order of their priority."""
    return sorted(rows, key=lambda row: ORDER.index(row["factor"]))


def _label(factor: str) -> str:
    return "all courses" if factor == ALL else LABELS[factor]


def _shown(row: Row) -> Row:
    label = "as they are" if row["label"] == AS_RECORDED else row["label"]
    return {**row, "label": label, "share": row["probability"]}


def _points(row: Row) -> str:
    if row["risk_difference"] is None:
        return APART
    low, high = (f"{100 * row[side]:+.1f}" for side in ("low", "high"))
    return f"{100 * row['risk_difference']:+.1f} points ({low} to {high})"


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
    said = f"{_later(size)}"
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


def _named(row: Row) -> Row:
    part, _, term = row["term"].partition(": ")
    return {**row, "part": PARTS[part], "factor": LABELS[term]}
