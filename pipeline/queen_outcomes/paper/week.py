"""The week on one sheet of A4, to pin to the wall."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import this_week
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings
from queen_outcomes.paper.printing import letterhead, set_pdf, svg

FILE = "this-week.pdf"
MOST_LINES, MOST_FAILED = 18, 6
"""Rows that fit on the sheet; the rest are counted."""
PICTURE = "cohorts.svg"
WIDTH, HEIGHT = 640, 150

Row = dict[str, Any]


def write(store: Store, settings: Settings, as_of: dt.date, folder: Path) -> Path:
    """Write the sheet into a dashboard's folder."""
    page = this_week.show(store, settings, as_of)
    chart = page["charts"].get("cohorts")
    size = {"width": WIDTH, "height": HEIGHT}
    images = {PICTURE: svg({**theme.dressed(chart), **size})} if chart else {}
    # what needs attention and the checks due share the middle of the sheet
    against = f"{page['against_last']}."
    sentences = {row["sentence"] for row in page["attention"]}
    most_due = MOST_LINES - len(page["attention"])
    data = {
        **letterhead(settings.name, as_of, f"The week to {as_of}"),
        "figures": _figures(page),
        "attention": [
            [row["sentence"], row["known_on"].isoformat()] for row in page["attention"]
        ],
        "attention_more": len(page["attention_more"]),
        "due": [_due_cells(row) for row in page["due"][:most_due]],
        "due_more": max(0, len(page["due"]) - most_due),
        "window": page["window"],
        "season": page["headline"] or "no estimate yet",
        # said once: it may need attention
        "against_last": "" if against in sentences else page["against_last"],
        "chart": PICTURE if chart else None,
        "rates": [
            [
                words.outcome_by_day(row["outcome"], row["window_days"]),
                row["headline"].replace("95 % limits ", ""),
                str(row["closed"]),
                str(row["open"]),
            ]
            for row in page["rates"]
        ],
        "failed": [
            [row["queen_id"], str(row["on"]), row["what"]]
            for row in page["failed"][:MOST_FAILED]
        ],
        "failed_more": max(0, len(page["failed"]) + page["failed_more"] - MOST_FAILED),
    }
    path = folder / FILE
    path.write_bytes(set_pdf("week.typ", data, as_of, images))
    return path


def _due_cells(row: Row) -> list[str]:
    keys = ("colony_id", "queen_id", "day", "on", "useful_until", "look_for")
    return [str(row[key] or "") for key in keys]


def _figures(page: Row) -> list[list[str]]:
    counts = page["counts"]
    failed = len(page["failed"]) + page["failed_more"]
    due, missed = len(page["due"]), len(page["missed"])
    told = [
        (counts["observed"], "course", "under observation"),
        (due, "check", f"due, {missed:,} missed"),
        (failed, "failure", "known since last week"),
        (counts["quarantined"], "row", "in quarantine"),
    ]
    return [
        [f"{number:,}", f"{thing}{'' if number == 1 else 's'} {rest}"]
        for number, thing, rest in told
    ]
