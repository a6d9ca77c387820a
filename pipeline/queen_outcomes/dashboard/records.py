"""What was read, what was set aside or quarantined, and what the records lack."""

from __future__ import annotations

import datetime as dt
import math
from functools import partial
from operator import itemgetter
from typing import Any

import altair as alt

from queen_outcomes.base.store import Store, quote
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.charts.linked import linked, table
from queen_outcomes.dashboard.figures import Numbers, PageFigure, statement
from queen_outcomes.dashboard.gap_warning import gap_warning
from queen_outcomes.facts import words
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.dose_words import counted
from queen_outcomes.facts.settings import Settings

OPENED = 6
"""Reasons of quarantine that stand open; the others unfold."""
MOST_WEEKS = 80
"""Weeks that are drawn, the latest."""
MOST_CHECKERS = 20
"""Checkers that are drawn, those with most looks."""
LOST, MENDED = "in quarantine", "kept, a cell set aside"
NAMES = {"co2_schedule": "CO2 schedule", "pattern_pct": "brood pattern"}
ALIKE = 0.1
"""Checkers who lie no further behind the others fill in alike: a judgement."""
ROW_HEIGHT = 22
MOST_EXAMPLES = 5
"""Rows shown of one reason; all of them stand in the tables."""

IN_SHORT = {
    "cells_missing": "too few cells",
    "cells_extra": "too many cells",
    "quote_open": "a quotation mark never closed",
    "id_missing": "an id is missing",
    "neither_id": "neither queen nor colony is named",
    "date_missing": "a day is missing",
    "date_unreadable": "a day that cannot be read",
    "in_the_future": "a day far in the future",
    "date_in_future": "a day far in the future",
    "key_twice": "one id in different rows",
    "no_queen_in_colony": "no queen in that colony on that day",
    "two_queens_in_colony": "two queens in that colony on that day",
    "impossible_pair": "two values that exclude each other",
    "unusual_pair": "two values that rarely go together",
    "after_as_of": "dated after the as-of day, and waiting for it",
    "look_alike": "names that differ only in how they are written",
    "semen_unknown": "semen without a row of its own",
    "flat_disagrees": "two tables that disagree",
    "derived_impossible": "an age that cannot be, from the dates",
    "derived_unusual": "an unusual age, from the dates",
    "sealed_contradicted": "no sealed brood, yet its pattern scored",
    "older_brood": "brood older than hers could be",
    "onset_conflict": "looks that disagree on when laying began",
    "later_exit": "a further exit",
    "after_end": "a check after she was gone",
}
"""Headings of the reasons whose name alone does not say what was found."""


Row = dict[str, Any]
Charts = dict[str, Any]


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `records.html` shows."""
    grouped = store.records(statement("reasons_found"), {"most": MOST_EXAMPLES})
    for row in grouped:
        row["told"] = IN_SHORT.get(row["reason"], row["reason"].replace("_", " "))
    sources = store.records('SELECT * FROM sources ORDER BY source, "table"')
    charts: Charts = {}
    weeks = _weeks(store, as_of, charts)
    complete = _complete(store, as_of, charts)
    blanks = _blanks(store, as_of, charts, settings.min_shown)
    looks = store.records(statement("linked_looks"), {"as_of": as_of}) if blanks else []
    return {
        "sources": sources,
        "said": read_said(sources, grouped),
        "weeks": weeks,
        "complete": complete,
        "blanks": blanks,
        "charts": charts,
        "linked": table(looks, ("week", "checker"), "check") if weeks else None,
        "opened": OPENED,
        "quarantine": [row for row in grouped if row["kind"] == "quarantine"],
        "listed": [row for row in grouped if row["kind"] == "listed"],
        "coverage": coverage(store),
        "warning": gap_warning(store, settings.plan.question),
        "expectations": store.records(
            'SELECT * FROM expectations ORDER BY failed = 0, "table", expectation'
        ),
    }


def read_said(sources: list[Row], grouped: list[Row]) -> str:
    """Say how many rows were read, how many are lost, and how many cells set aside."""
    read, lost = (
        sum(row[key] for row in sources) for key in ("rows_read", "quarantined")
    )
    aside = sum(row["found"] for row in grouped if row["severity"] == "set_aside")
    if not read:
        return "No row has been read yet."
    kept = "every one is accepted"
    if lost:
        kept = f"{lost:,} {'waits' if lost == 1 else 'wait'} in quarantine"
    cells = (
        f"; {counted(aside, 'cell was', 'cells were')} set aside in rows that are used"
    )
    return f"Of {read:,} rows read, {kept}{cells if aside else ''}."


def _weeks(store: Store, as_of: dt.date, charts: Charts) -> PageFigure | None:
    """Draw rows lost and mended by week."""
    rows = store.records(statement("rows_by_week"), {"as_of": as_of})[-MOST_WEEKS:]
    troubled = [row for row in rows if row["quarantined"] or row["set_aside"]]
    if not rows:
        return None
    charts["rows"] = linked(week_chart(rows), "week", "iso_week")
    worst = max(
        rows, key=lambda row: (row["quarantined"], row["set_aside"], row["iso_week"])
    )
    title = (
        f"Rows lost or mended in {len(troubled)} of {counted(len(rows), 'week')}, most in "
        f"{worst['iso_week']}"
        if troubled
        else "No row was lost or mended in any week"
    )
    columns = (
        ("iso_week", "Week"),
        ("accepted", "Accepted"),
        ("set_aside", "Of them a cell set aside"),
        ("quarantined", "In quarantine"),
    )
    numbers = ("accepted", "set_aside", "quarantined")
    said = f"Rows of the records by week: in quarantine, and kept with a cell set aside. {title}."
    return PageFigure(
        "rows", title, said, Numbers(columns, rows, numbers, "The weeks as a table")
    )


def week_chart(rows: list[Row]) -> theme.Drawn:
    """Draw each week's rows in quarantine, and those kept with a cell set aside.

    Parameters
    ----------
    rows : list of dict
        Of `rows_by_week.sql`.
    """
    values = [
        {
            "iso_week": row["iso_week"],
            "kind": kind,
            "rows": row[key],
            "of": row["accepted"],
        }
        for row in rows
        for kind, key in ((LOST, "quarantined"), (MENDED, "set_aside"))
    ]
    x = alt.X(
        "iso_week:N",
        title="week of the row (ISO)",
        scale=alt.Scale(domain=[row["iso_week"] for row in rows], paddingInner=0.15),
        axis=alt.Axis(labelAngle=theme.UPRIGHT, labelOverlap="greedy", labelSeparation=8),
    )
    most = max(row["quarantined"] + row["set_aside"] for row in rows)
    y = alt.Y(
        "rows:Q",
        title="rows",
        scale=alt.Scale(domain=[0, max(most, 1)]),
        axis=alt.Axis(tickMinStep=theme.WHOLE, format="d"),
    )
    by = partial(theme.told_apart, "kind", (LOST, MENDED))
    bars = theme.chart(values).mark_bar(opacity=theme.SOLID)
    tooltip = [
        alt.Tooltip("iso_week:N", title="week"),
        alt.Tooltip("kind:N", title="rows"),
        alt.Tooltip("rows:Q", title="how many"),
        alt.Tooltip("of:Q", title="rows accepted", format=","),
    ]
    looks = by(alt.Color, (theme.OPEN, theme.CLOSED))
    return theme.layered(
        [bars.encode(x=x, y=y, color=looks, tooltip=tooltip)], height=150
    )


def _complete(store: Store, as_of: dt.date, charts: Charts) -> PageFigure | None:
    """Draw how complete each thing recorded of a course is, month by month."""
    rows = _by("month", store.records(statement("recorded_by_month"), {"as_of": as_of}))
    cells = [_cell(row, "month", row["month"], "courses") for row in rows]
    least = _least(cells)
    if not least:
        return None
    charts["complete"] = share_chart(
        cells, along="month", title="month of day 0", unit="courses"
    )
    title = f"Of a course, {least['item']} is left out most: recorded of {words.percent(least['share'])}"
    return _cells_figure("complete", title, cells, "courses", "month")


def _blanks(
    store: Store, as_of: dt.date, charts: Charts, fewest: int
) -> PageFigure | None:
    """Draw what each checker fills in."""
    rows = _by("checker", store.records(statement("blanks_by_checker"), {"as_of": as_of}))
    looks = {row["checker"]: row["looks"] for row in rows}
    shown = sorted(looks, key=lambda name: (-looks[name], name))[:MOST_CHECKERS]
    cells = [
        _cell(r, "checker", r["checker"], "looks")
        for r in rows
        if r["checker"] in shown
    ]
    if not cells:
        return None
    drawn = share_chart(cells, along="checker", title="checker", unit="looks")
    charts["blanks"] = linked(drawn, "checker", "checker")
    return _cells_figure(
        "blanks", furthest_said(cells, fewest), cells, "looks", "checker"
    )


def _by(name: str, rows: list[Row]) -> list[Row]:
    """Put rows in the order of one column, each of its levels' own in the order they came.

    Columns turned into rows come in the columns' order, but which level comes first is up
    to the engine's threads.
    """
    return sorted(rows, key=itemgetter(name))


def _cell(row: Row, along: str, name: str, unit: str) -> Row:
    return {
        along: name,
        "item": NAMES.get(row["item"], row["item"].replace("_", " ")),
        "of": row[unit],
        "recorded": row["recorded"],
        "share": round(row["recorded"] / row[unit], 4),
    }


def _least(cells: list[Row]) -> Row | None:
    """Give the thing recorded least often over all, with its share."""
    totals: dict[str, list[int]] = {}
    for cell in cells:
        own = totals.setdefault(cell["item"], [0, 0])
        own[0] += cell["recorded"]
        own[1] += cell["of"]
    shares = [
        {"item": item, "share": n / of} for item, (n, of) in sorted(totals.items())
    ]
    return min(shares, key=lambda row: row["share"], default=None)


def furthest_said(cells: list[Row], fewest: int) -> str:
    """Say which checker leaves what blank more than the others do.

    Parameters
    ----------
    cells : list of dict
        checker, item, recorded, of, share.
    fewest : int
        Looks under which a checker is not compared.
    """
    counts = [cell for cell in cells if cell["of"] >= fewest]
    if len({cell["checker"] for cell in counts}) < 2:
        return "What is filled in at a look"
    found = []
    for cell in counts:
        others = [c for c in cells if c["item"] == cell["item"] and c is not cell]
        usual = sum(c["recorded"] for c in others) / sum(c["of"] for c in others)
        found.append(
            (usual - cell["share"], cell["checker"], cell["item"], cell, usual)
        )
    behind, *_, cell, usual = max(found, key=lambda one: one[:3])
    if behind < ALIKE:
        return (
            "Checkers fill in alike: nobody lies more than "
            f"{max(1, math.ceil(100 * behind))} points behind the others"
        )
    return (
        f"{cell['checker']} fills in {cell['item']} at {words.percent(cell['share'])} of "
        f"looks, the others at {words.percent(usual)}"
    )


def _cells_figure(
    chart: str, title: str, cells: list[Row], unit: str, along: str
) -> PageFigure:
    columns = (
        ("item", "What"),
        (along, along.capitalize()),
        ("share", "Share filled in"),
        ("recorded", "Filled in"),
        ("of", f"Of {unit}"),
    )
    numbers = ("share", "recorded", "of")
    said = f"Share of {unit} that have each thing filled in, by {along}. {title}."
    return PageFigure(chart, title, said, Numbers(columns, cells, numbers))


def share_chart(
    cells: list[Row], *, along: str, title: str, unit: str
) -> theme.Drawn:
    """Draw shares filled in as a grid of numbers, the darker the more is blank.

    Parameters
    ----------
    cells : list of dict
        item, ``along``, share, recorded, of.
    along : str
        The field whose values stand side by side.
    title : str
        What they are.
    unit : str
        What the shares are of.
    """
    values = [{**cell, "blank": round(1 - cell["share"], 4)} for cell in cells]
    items = list(dict.fromkeys(cell["item"] for cell in cells))
    x = alt.X(
        f"{along}:N", title=title, axis=alt.Axis(labelAngle=theme.UPRIGHT, labelOverlap="greedy")
    )
    y = alt.Y(
        "item:N", title=None, sort=items, axis=alt.Axis(labelLimit=160, ticks=False)
    )
    depth = alt.Scale(domain=[0, 1], range=[0.02, 0.55])
    tooltip = [
        alt.Tooltip("item:N", title="what"),
        alt.Tooltip(f"{along}:N"),
        alt.Tooltip("share:Q", title="filled in", format=".1%"),
        alt.Tooltip("of:Q", title=f"of {unit}", format=","),
    ]
    base = theme.chart(values)
    return theme.layered(
        [
            base.mark_rect(color=theme.OPEN).encode(
                x=x,
                y=y,
                opacity=alt.Opacity("blank:Q", scale=depth, legend=None),
                tooltip=tooltip,
            ),
            base.mark_text(color=theme.INK, fontSize=12).encode(
                x=x, y=y, text=alt.Text("share:Q", format=".0%")
            ),
        ],
        height=ROW_HEIGHT * len(items),
    )


def coverage(store: Store) -> list[dict[str, Any]]:
    """Give, for each column, how many accepted rows hold a value in it."""
    found = []
    for one in TABLES.values():
        names = [column.name for column in one.columns if not column.flat]
        counts = ", ".join(f"count({quote(name)})" for name in names)
        ((rows, *filled),) = store.rows(
            f"SELECT count(*), {counts} FROM accepted_{one.name}"
        )
        if rows:
            found += [
                {"table": one.name, "column": name, "rows": rows, "filled": count}
                for name, count in zip(names, filled, strict=True)
            ]
    return found
