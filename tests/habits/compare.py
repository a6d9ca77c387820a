"""Compares what was read with the truth, cell by cell.

The rows read are dicts with the canonical columns of the records, every value as
text (None or "" where nothing was read). Pure Python on purpose: it shares no code
with the reader that it judges.
"""

import csv
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

Row = Mapping[str, str | None]

IDS = ("queen_id", "colony_id", "semen_batch")
KEY = {
    "queens": ("queen_id",),
    "semen": ("semen_batch",),
    "inseminations": ("queen_id", "inseminated_at"),
    "co2": ("queen_id", "given_at"),
    "placements": ("queen_id", "colony_id", "placed_on"),
    "checks": ("queen_id", "colony_id", "checked_on"),
    "exits": ("queen_id", "left_on"),
    "lab": ("queen_id", "sampled_on"),
}
# where one sheet holds everything, these may stand with the insemination
FLAT = ("line", "graft_batch", "emerged_on", "marked")
# the columns of the records; a reader's own (file, line, slot) are not judged
JUDGED = {
    "queens": (*FLAT, "queen_id", "mark"),
    "semen": (
        "semen_batch",
        "collected_at",
        "drone_line",
        "drones_emerged_from",
        "drones_emerged_to",
        "drone_age_days",
        "drones_handled",
        "drones_yielding",
        "volume_ul",
        "storage_c",
        "diluent",
        "motility_pct",
        "viability_pct",
    ),
    "inseminations": (
        "queen_id",
        "inseminated_at",
        "operator",
        "instrument",
        "tip",
        "semen_batch",
        "dose_ul",
        "dose_meant_ul",
        "protocol",
        "trial",
        "block",
        "attempts",
        "leak",
        "minutes",
        "note",
        "drone_line",
        "drone_age_days",
        "collected_at",
        "storage_c",
        "co2_other_at",
        "co2_other_minutes",
    ),
    "co2": ("queen_id", "given_at", "minutes"),
    "placements": (
        "queen_id",
        "colony_id",
        "placed_on",
        "removed_on",
        "method",
        "brood_present",
    ),
    "checks": (
        "queen_id",
        "colony_id",
        "checked_on",
        "checker",
        "queen_seen",
        "mark_seen",
        "eggs",
        "larvae",
        "sealed",
        "brood_given",
        "pattern_pct",
        "drone_in_worker",
        "multiple_eggs",
        "queen_cells",
        "note",
    ),
    "exits": ("queen_id", "left_on", "reason"),
    "lab": ("queen_id", "sampled_on", "sperm_millions", "viability_pct"),
}
NUMBERS = frozenset(
    [
        "drone_age_days",
        "drones_handled",
        "drones_yielding",
        "volume_ul",
        "storage_c",
        "motility_pct",
        "viability_pct",
        "dose_ul",
        "dose_meant_ul",
        "attempts",
        "minutes",
        "co2_other_minutes",
        "pattern_pct",
        "sperm_millions",
    ]
)
MOMENTS = frozenset(
    [
        "collected_at",
        "inseminated_at",
        "given_at",
        "co2_other_at",
        "emerged_on",
        "placed_on",
        "removed_on",
        "checked_on",
        "left_on",
        "sampled_on",
        "drones_emerged_from",
        "drones_emerged_to",
    ]
)


@dataclass(frozen=True)
class Cell:
    """One cell that differs: what the paper says and what was read."""

    table: str
    key: str
    column: str
    true: str
    read: str


@dataclass
class Report:
    """Cells of one table by verdict.

    right counts non-empty cells read as they are; wrong holds cells with another
    value, missing those not read, extra those read where the paper has nothing.
    Rows without a partner give their cells to missing and extra.
    """

    right: int = 0
    wrong: list[Cell] = field(default_factory=list)
    missing: list[Cell] = field(default_factory=list)
    extra: list[Cell] = field(default_factory=list)
    rows_matched: int = 0
    rows_missing: int = 0
    rows_extra: int = 0

    @property
    def clean(self) -> bool:
        return not (
            self.wrong
            or self.missing
            or self.extra
            or self.rows_missing
            or self.rows_extra
        )

    def __str__(self) -> str:
        return (
            f"{self.right} right, {len(self.wrong)} wrong, {len(self.missing)} missing, "
            f"{len(self.extra)} extra; rows {self.rows_matched} matched, "
            f"{self.rows_missing} missing, {self.rows_extra} extra"
        )


def folded(label: str) -> str:
    """A label without case, blanks, hyphens and leading zeros of its numbers."""
    plain = re.sub(r"[\W_]+", "", unicodedata.normalize("NFKC", label)).casefold()
    return re.sub(r"0+(?=\d)", "", re.sub(r"(?<=\D)0+(?=\d)", "", plain))


def as_written(label: str) -> str:
    return label


def normal(column: str, value: str | None, same_id: Callable[[str], str]) -> object:
    """A value in a form in which equal meanings are equal; None where empty.

    A moment at midnight equals its day: no paper here holds a midnight, and a reader
    may keep days and moments in one type.
    """
    text = " ".join(str("" if value is None else value).split())
    if not text:
        return None
    if column in IDS:
        return same_id(text)
    if column in NUMBERS:
        return _number(text)
    if column in MOMENTS:
        return _moment(text)
    return text


def _number(text: str) -> object:
    try:
        # the truth is written with six decimals (59 F is no round number of C)
        return round(float(text), 4)
    except ValueError:
        return text


def _moment(text: str) -> object:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return text


def compare(
    table: str,
    read: Iterable[Row],
    truth: Iterable[Row],
    same_id: Callable[[str], str] = as_written,
) -> Report:
    """Match the rows of one table and count their cells.

    Parameters
    ----------
    table
        Name of the table of the records; gives the key.
    read, truth
        Rows with canonical columns; only the columns of the truth are counted as
        right, wrong or missing, and all columns of the records as extra.
    same_id
        Gives one form to labels that are the same; `folded` where a station spells
        its labels in several ways.
    """
    true_rows, read_rows = list(truth), list(read)
    report = Report()
    for true_row, read_row in _pairs(table, true_rows, read_rows, same_id):
        _count(report, table, true_row, read_row, same_id)
    return report


def _pairs(table, true_rows, read_rows, same_id):
    """Partners: the same key, then the most cells in common with half a key."""

    def values(row: Row) -> dict[str, object]:
        columns = JUDGED[table]
        return {
            c: v for c in columns if (v := normal(c, row.get(c), same_id)) is not None
        }

    true_values = [values(row) for row in true_rows]
    read_values = [values(row) for row in read_rows]
    left, free = set(range(len(true_rows))), set(range(len(read_rows)))
    for shared in (_whole_key, _half_key):
        groups: dict[object, list[int]] = {}
        for j in sorted(free):
            for key in shared(table, read_values[j]):
                groups.setdefault(key, []).append(j)
        scored = [
            (-_common(true_values[i], read_values[j]), i, j)
            for i in sorted(left)
            for key in shared(table, true_values[i])
            for j in groups.get(key, ())
        ]
        for _, i, j in sorted(set(scored)):
            if i in left and j in free:
                left.remove(i)
                free.remove(j)
                yield true_rows[i], read_rows[j]
    for i in sorted(left):
        yield true_rows[i], None
    for j in sorted(free):
        yield None, read_rows[j]


def _whole_key(table: str, row: dict[str, object]) -> list[object]:
    """The key with moments cut to days, so that a lost hour is one wrong cell.

    Where both the queen and the colony are known, either will do as the key.
    """
    names = [n for n in KEY[table] if n in IDS and n in row]
    days = tuple(_day(row[n]) for n in KEY[table] if n not in IDS and n in row)
    return [(n, row[n], *days) for n in names]


def _half_key(table: str, row: dict[str, object]) -> list[object]:
    """One part of the key alone: its label, or its day."""
    return [(n, _day(row[n])) for n in KEY[table] if n in row]


def _day(value: object) -> object:
    return value.date() if isinstance(value, datetime) else value


def _common(one: dict[str, object], other: dict[str, object]) -> int:
    return sum(1 for column, value in one.items() if other.get(column) == value)


def _count(report: Report, table: str, true_row, read_row, same_id) -> None:
    if true_row is None:
        report.rows_extra += 1
    elif read_row is None:
        report.rows_missing += 1
    else:
        report.rows_matched += 1
    either = true_row if true_row is not None else read_row
    key = " ".join(str(either.get(n)) for n in KEY[table] if either.get(n))
    for column in JUDGED[table]:
        true = (true_row or {}).get(column)
        got = (read_row or {}).get(column)
        wanted, found = (normal(column, v, same_id) for v in (true, got))
        cell = Cell(table, key, column, true or "", str(got or ""))
        if wanted is None and found is None:
            continue
        if wanted is None:
            # a check of a colony may carry the queen that the link found
            if not (read_row and true_row and column in ("queen_id", "colony_id")):
                report.extra.append(cell)
        elif found is None:
            report.missing.append(cell)
        elif wanted == found:
            report.right += 1
        else:
            report.wrong.append(cell)


def compare_station(
    read: Mapping[str, Iterable[Row]],
    truth: Path,
    same_id: Callable[[str], str] = as_written,
) -> dict[str, Report]:
    """Compare all tables of a station with its `truth` folder.

    Where the reader has no table of queens, the four columns of a flat sheet are
    taken from its inseminations. Rows that the truth lists as unplaced may be read
    or not. Labels that `same_id` makes equal must have been read in one spelling
    across all tables, else they link to nothing: each further spelling is a wrong
    cell of the table it stands in.
    """
    tables = {name: [dict(row) for row in rows] for name, rows in read.items()}
    if not tables.get("queens"):
        tables["queens"] = _from_flat(tables.get("inseminations", []))
    for table in ("queens", "semen"):
        # one line a dose names her again: the same row is one queen
        tables[table] = _distinct(table, tables.get(table, []))
    unplaced = _rows(truth / "unplaced.csv")
    reports = {}
    for table in KEY:
        true_rows = _rows(truth / f"{table}.csv")
        rows = [
            r for r in tables.get(table, []) if not _is_unplaced(table, r, unplaced)
        ]
        if true_rows or rows:
            reports[table] = compare(table, rows, true_rows, same_id)
    for cell in _two_spellings(tables, same_id):
        reports[cell.table].wrong.append(cell)
    return reports


def _rows(path: Path) -> list[dict[str, str]]:
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def _from_flat(inseminations: list[dict]) -> list[dict]:
    queens: dict[str, dict] = {}
    for row in inseminations:
        if any(row.get(column) for column in FLAT):
            queens.setdefault(
                row["queen_id"], {c: row.get(c) for c in ("queen_id", *FLAT)}
            )
    return list(queens.values())


def _distinct(table: str, rows: list[dict]) -> list[dict]:
    return list(
        {tuple(row.get(c) for c in JUDGED[table]): row for row in rows}.values()
    )


def _is_unplaced(table: str, row: Row, unplaced: list[dict[str, str]]) -> bool:
    def same(column: str, value: str) -> bool:
        return normal(column, row.get(column), as_written) == normal(
            column, value, as_written
        )

    return any(
        entry["table"] == table
        and all(
            same(c, v) for c, v in entry.items() if c not in ("table", "reason") and v
        )
        for entry in unplaced
    )


def _two_spellings(tables: Mapping[str, list[dict]], same_id) -> list[Cell]:
    """Labels in another spelling than where the label first stands."""
    first: dict[tuple[str, str], str] = {}
    cells = []
    order = ["inseminations", *(name for name in KEY if name != "inseminations")]
    for table in order:
        for row in tables.get(table, []):
            for column in IDS:
                label = row.get(column)
                if not label or column not in JUDGED[table]:
                    continue
                known = first.setdefault((column, same_id(label)), label)
                if known != label:
                    cells.append(Cell(table, known, column, known, label))
    return cells
