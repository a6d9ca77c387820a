"""Writing a station's files, and the truth about them, with the same bytes each time."""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path

import xlsxwriter

# a workbook carries the day it was made; the clock must not get in
MADE = datetime.fromisoformat("2025-11-03T08:00")

COLUMNS = {
    "queens": "queen_id line graft_batch emerged_on marked mark",
    "semen": "semen_batch collected_at drone_line drone_age_days drones_handled "
    "drones_yielding volume_ul storage_c diluent motility_pct",
    "inseminations": "queen_id inseminated_at operator instrument tip semen_batch "
    "dose_ul dose_meant_ul attempts leak minutes note drone_line drone_age_days "
    "collected_at storage_c",
    "co2": "queen_id given_at minutes",
    "placements": "queen_id colony_id placed_on removed_on method brood_present",
    "checks": "queen_id colony_id checked_on checker queen_seen mark_seen eggs larvae "
    "sealed brood_given pattern_pct drone_in_worker multiple_eggs queen_cells note",
    "exits": "queen_id left_on reason",
}


def text(value: object) -> str:
    """A value of the truth as text: ISO days and minutes, plain decimals."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%dT%H:%M")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.6f}".rstrip("0").rstrip(".")
    return str(value)


def decimal(value: float, sign: str = ".") -> str:
    return f"{value:g}".replace(".", sign)


class Station:
    """One station's folder: records, truth, and what its keeper would answer."""

    def __init__(self, folder: Path, words: str) -> None:
        self.folder = folder
        self.truths: dict[str, list[dict[str, object]]] = {}
        self.unread: list[tuple[str, str, str, str]] = []
        self.no_place: list[dict[str, object]] = []
        self.words: list[tuple[str, str, str]] = []
        self.extra: dict[str, tuple[Sequence[str], list[Sequence[object]]]] = {}
        (folder / "records").mkdir(parents=True, exist_ok=True)
        (folder / "truth").mkdir(exist_ok=True)
        (folder / "station.md").write_bytes(words.strip().encode() + b"\n")

    def record(self, name: str) -> Path:
        return self.folder / "records" / name

    def table(self, name: str, rows: Iterable[Sequence[object]], **how) -> None:
        """Write one delimited text file."""
        self.record(name).write_bytes(delimited(rows, **how))

    def true(self, table: str, **values: object) -> None:
        """Add one record to the truth; columns never used stay out of the file."""
        unknown = set(values) - set(COLUMNS[table].split())
        if unknown:
            raise ValueError(f"{table} has no {sorted(unknown)}")
        self.truths.setdefault(table, []).append(values)

    def cannot_read(self, table: str, key: str, column: str, as_written: str) -> None:
        self.unread.append((table, key, column, as_written))

    def cannot_place(self, table: str, reason: str, **values: object) -> None:
        """Add a record that reads well and belongs to no queen."""
        self.no_place.append({"table": table, "reason": reason, **values})

    def word(self, column: str, as_written: str, **sets: object) -> None:
        """One entry of the keeper's word list: a written word and what it sets."""
        meant = "; ".join(f"{k}={v}" for k, v in sets.items() if v)
        entry = (column, as_written, meant)
        if entry not in self.words:
            self.words.append(entry)

    def finish(self) -> None:
        """Write all files of the truth."""
        for table, rows in self.truths.items():
            used = [c for c in COLUMNS[table].split() if any(c in r for r in rows)]
            body = [[text(r.get(c)) for c in used] for r in rows]
            self._truth(table, used, body)
        if self.unread:
            self._truth("unreadable", ["table", "key", "column", "text"], self.unread)
        if self.no_place:
            keys = list(dict.fromkeys(k for row in self.no_place for k in row))
            body = [[text(r.get(k)) for k in keys] for r in self.no_place]
            self._truth("unplaced", keys, body)
        if self.words:
            self._truth("words", ["column", "text", "means"], sorted(self.words))
        for name, (head, body) in self.extra.items():
            self._truth(name, head, [[text(v) for v in row] for row in body])

    def _truth(self, name: str, head: Sequence[str], body) -> None:
        rows = [head, *body]
        path = self.folder / "truth" / f"{name}.csv"
        path.write_bytes(delimited(rows, eol="\n"))


def delimited(
    rows: Iterable[Sequence[object]],
    sep: str = ",",
    encoding: str = "utf-8",
    eol: str = "\r\n",
) -> bytes:
    buffer = io.StringIO()
    writer = csv.writer(buffer, delimiter=sep, lineterminator=eol)
    writer.writerows(rows)
    return buffer.getvalue().encode(encoding)


@contextmanager
def workbook(path: Path) -> Iterator[xlsxwriter.Workbook]:
    book = xlsxwriter.Workbook(str(path))
    book.set_properties({"created": MADE})
    try:
        yield book
    finally:
        book.close()


def put(sheet, row: int, column: int, value: object, form=None, day=None) -> None:
    """Write a cell as its kind: a day as a day, a number as a number, else text."""
    if value is None or value == "":
        if form is not None:
            sheet.write_blank(row, column, None, form)
        return
    if isinstance(value, datetime | date):
        sheet.write_datetime(row, column, value, day)
    elif isinstance(value, int | float):
        sheet.write_number(row, column, value, form)
    else:
        sheet.write_string(row, column, str(value), form)


def sheet_of_rows(book, name: str, rows, day) -> None:
    sheet = book.add_worksheet(name)
    for i, row in enumerate(rows):
        for j, value in enumerate(row):
            put(sheet, i, j, value, None, day)
