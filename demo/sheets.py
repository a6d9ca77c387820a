"""Canonical frames as the station writes them: text, CSV bytes, a workbook."""

from __future__ import annotations

import io
from datetime import date, datetime, timedelta

import polars as pl
import xlsxwriter

from demo.tables import YES_NO

# the station's own column names; a table not named here keeps canonical ones
NAMES = {
    "queens": {
        "queen_id": "Queen no.", "line": "Dam line", "graft_batch": "Graft",
        "emerged_on": "Hatched", "marked": "Disc?", "mark": "Disc",
    },
    "semen": {
        "semen_batch": "Load", "collected_at": "Drawn", "drone_line": "Drones of",
        "drones_emerged_from": "Drones out from",
        "drones_emerged_to": "Drones out to", "drone_age_days": "Drone age (d)",
        "drones_handled": "Tried", "drones_yielding": "Gave",
        "volume_ul": "Vol uL", "storage_c": "Kept at C", "diluent": "Topped with",
        "motility_pct": "Motile %", "viability_pct": "Live %",
    },
    "lab": {
        "queen_id": "Queen no.", "sampled_on": "Cut on",
        "sperm_millions": "Sperm, millions", "viability_pct": "Live %",
    },
    "inseminations": {
        "insemination_id": "No.", "queen_id": "Queen no.", "inseminated_at": "When",
        "operator": "Hands", "instrument": "Bench", "tip": "Tip",
        "semen_batch": "Load", "dose_ul": "uL given", "dose_meant_ul": "uL planned",
        "protocol": "Dose plan", "attempts": "Tries", "leak": "Backflow",
        "minutes": "Min held", "note": "Remarks",
    },
    "exits": {"queen_id": "Queen no.", "left_on": "Off list", "reason": "Why"},
}  # fmt: skip
REASON_WORDS = {"culled_fault": "knocked", "dead": "found dead"}
LEAK_WORDS = {"some": "a little"}
TITLES = {"queens": "Quernbeck Station - queens raised",
          "semen": "Quernbeck Station - semen loads",
          "lab": "Quernbeck Station - spermathecae counted"}  # fmt: skip
EPOCH = date(1899, 12, 30)


def as_text(table: str, frame: pl.DataFrame) -> pl.DataFrame:
    """Every column as the text the station would write; null stays null."""
    short = table == "checks"
    day = "%d/%m/%Y" if table == "exits" else "%Y-%m-%d"
    columns = []
    for name, kind in frame.schema.items():
        column = pl.col(name)
        if kind == pl.Date:
            column = column.dt.strftime(day)
        elif kind == pl.Datetime:
            column = column.dt.strftime("%Y-%m-%d %H:%M")
        elif name in ("pattern_pct", "drone_age_days", "motility_pct"):
            column = column.cast(pl.Int64).cast(pl.String)
        elif short and kind == pl.String and frame[name].is_in(list(YES_NO)).any():
            column = column.replace({"yes": "x", "no": "-"})
        elif name in ("reason", "leak"):
            column = column.replace(REASON_WORDS | LEAK_WORDS)
        columns.append(column.cast(pl.String))
    return frame.select(columns)


def csv_text(table: str, frame: pl.DataFrame, *, separator: str = ",") -> str:
    """CSV under the station's column names."""
    names = NAMES.get(table, {})
    return frame.rename(names).write_csv(separator=separator)


def _write_cell(sheet, row: int, column: int, text: str, kind, formats: dict) -> None:
    """A date as a real date; every 97th row a bare serial, every 61st as text."""
    if kind in (pl.Date, pl.Datetime):
        when = datetime.fromisoformat(text)
        if row % 97 == 0:
            days = (when - datetime(EPOCH.year, EPOCH.month, EPOCH.day)) / timedelta(1)
            sheet.write_number(row, column, days)
        elif row % 61 == 0:
            clock = "" if kind == pl.Date else when.strftime(" %H:%M")
            sheet.write_string(row, column, when.strftime("%d.%m.%Y") + clock)
        else:
            style = formats["day" if kind == pl.Date else "time"]
            sheet.write_datetime(row, column, when, style)
    elif kind.is_numeric():
        try:
            sheet.write_number(row, column, float(text))
        except ValueError:
            sheet.write_string(row, column, text)
    else:
        sheet.write_string(row, column, text)


def workbook_bytes(texts: dict[str, pl.DataFrame], kinds: dict) -> bytes:
    """One workbook: a merged title, the header below it, then the rows."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True})
    # a fixed day: the writer would stamp the clock, and bytes would differ
    book.set_properties({"created": datetime(2025, 1, 1)})
    formats = {
        "day": book.add_format({"num_format": "dd/mm/yyyy"}),
        "time": book.add_format({"num_format": "dd/mm/yyyy hh:mm"}),
        "title": book.add_format({"bold": True, "align": "center"}),
    }
    for table, frame in texts.items():
        sheet = book.add_worksheet(table)
        last = len(frame.columns) - 1
        sheet.merge_range(0, 0, 0, last, TITLES[table], formats["title"])
        for j, name in enumerate(frame.columns):
            sheet.write_string(1, j, NAMES[table][name])
            kind = kinds[table][name]
            for i, text in enumerate(frame[name]):
                if text is not None:
                    _write_cell(sheet, i + 2, j, text, kind, formats)
        sheet.set_column(0, last, 13)
    book.close()
    return buffer.getvalue()
