"""When queens begin to lay: the share laying by day, by group."""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import onset_model, theme
from queen_outcomes.dashboard.charts.onset import onset_chart
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings

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


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `onset.html` shows."""
    del as_of
    window = settings.outcomes.laying_days[0]
    overall = store.records(
        "SELECT * FROM onset_curves WHERE \"grouping\" = 'all' ORDER BY day"
    )
    closed = _closed(store, window)
    charts: dict[str, Any] = {}
    if overall:
        charts["onset-all"] = theme.dressed(onset_chart(overall, window=window))
    groups = [_group(store, window, charts, *one) for one in SHOWN]
    model = onset_model.show(store, settings, charts)
    return {
        "model": model,
        "window": window,
        "overall": overall,
        "finding": _finding(overall, window)
        if closed >= settings.min_shown
        else f"Too early to say what share lays by day {window}: {closed} courses closed",
        "overall_table": _table(overall),
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
    rows = _curves(store, grouping)
    if len({row["level"] for row in rows}) < 2:
        return None
    name = f"onset-{grouping.replace('_', '-')}"
    charts[name] = theme.dressed(onset_chart(rows, window=window, by=title))
    return {
        "name": name,
        "title": title,
        "said": _side_by_side(rows, window, joined),
        "table": _table(rows),
        "caption": CAPTIONS.get(grouping, ""),
    }


def _curves(store: Store, grouping: str) -> list[dict[str, Any]]:
    """Give the curves of the levels with most courses."""
    return store.records(
        """
        WITH largest AS (
            SELECT level
            FROM rates
            WHERE "grouping" = $grouping AND outcome = 'laying'
                AND level <> '(not recorded)'
            GROUP BY level
            ORDER BY max(courses) DESC, level
            LIMIT $most
        )
        SELECT onset_curves.*
        FROM onset_curves
        SEMI JOIN largest USING (level)
        WHERE "grouping" = $grouping
        ORDER BY level, day
        """,
        {"grouping": grouping, "most": MOST_LEVELS},
    )


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


def _table(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Give a row a level with the share by each of TABLE_DAYS, in words."""
    levels: dict[str, dict[str, Any]] = {}
    for row in rows:
        if row["day"] in TABLE_DAYS:
            cells = levels.setdefault(row["level"], {"level": row["level"]})
            spread = words.limits(row["low"], row["high"])
            share = words.percent(row["laying"])
            cells[f"day_{row['day']}"] = f"{share} ({spread})" if spread else share
    return [
        {**dict.fromkeys((f"day_{d}" for d in TABLE_DAYS), ""), **cells}
        for cells in levels.values()
    ]
