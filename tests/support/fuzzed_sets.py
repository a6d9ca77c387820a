"""Random sets of records, sound and damaged, and a count of their rows that is not ours.

Every row that is written carries a mark of its own. What became of the rows is counted by
the marks and by plain sets of Python, never by the ledger's own SQL.
"""

from __future__ import annotations

import io
import random
import re
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import opendocument_files as ods
import polars as pl
import xlsxwriter
from queen_outcomes.base import store as stores
from queen_outcomes.base.store import quote
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import load
from queen_outcomes.records import staging

MARK = re.compile(r"zq\d{6}w")
HOSTILE = (
    "", "", " ", "\u00a0", "0", "-0", "1e309", "-1e-400", "NaN", "inf", "9" * 400,
    "9223372036854775808", "-9223372036854775809", "0x1F", "1_000", "1.2.3", "12.0",
    "0000-00-00", "9999-12-31", "10000-01-01", "1582-10-10", "2026-02-30", "31.12.2026",
    "2026-06-01T25:61", "2026-06-01 24:00", "-2026-06-01", "45000", "45000.5", "1900-02-29",
    "=1+1", "=cmd|' /C calc'!A0", "+1", "-", "@x", "\t=1", "'", '"', '""', 'a"b', "a,b;c\td",
    "<script>alert(1)</script>", "</script>", "<!--", "]]>", "&lt;", "{{ 7*7 }}", "{% raw %}",
    "\u202eabc", "\u200f", "\u2028", "\u0000", "\x1b[31mred", "\r", "line\none", "\x85", "\x0b",
    "\ud7ff", "\ufeff", "\ufffd", "e\u0301", "\U0001f41d" * 3, "ﬁ", "İ", "ß", "x" * 40_000,
    "yes", "no", "YES", "Ja", "true", "?", "n/a", "#N/A", "none", "many", "95 %", "8 uL",
    "4+4", "2x4", "1/2", "8,5", "1.000,5", "5 µl", "do.", "null", "None", "'; DROP TABLE x; --",
    "$1", "\\", "\\N", "%s", "../..", "C:\\x", "NUL", "  Q1  ", "q1", "Q01", "Q-1",
)  # fmt: skip
TOKENS = (
    b'"', b'""', b'"\n', b",", b";", b"\t", b"\n", b"\r", b"\r\n", b"\0", b"\xff", b"\xfe\xff",
    b"\xef\xbb\xbf", b"\x1a", b"\xc3", b"\x81", b"sep=;\n", b"queen_id", b"<", b">", b"&", b"/>",
    b'r="XFD1048576"', b's="9999"', b't="s"', b"-1", b"99999999999", b"<v>", b"</row>", b"%",
)  # fmt: skip
SETTINGS = (
    "", "", "", '[dates]\norder = "dmy"\n', '[dates]\norder = "mixed:mdy"\n',
    '[numbers]\ndecimal = ","\n', '[records]\nfold = ["queen_id"]\nditto = [\'"\', "do."]\n',
    '[records]\nsame.operator = { "Ada" = ["A", "ada"] }\n',
    '[files."*"]\npass_over = ["Total*"]\n', '[records]\nco2 = "other"\n',
    '[files."*"]\nencoding = "cp1250"\nempty = ["-", "?"]\n',
    '[[read]]\nfrom = "checks*"\ntable = "checks"\n'
    'only = { "queen_id" = ["Q1", "Q2", "Q3", "0"] }\n'
    '[read.columns]\nqueen_id = "queen_id"\nchecked_on = "checked_on"\n',
    '[[read]]\nfrom = "checks*"\ntable = "checks"\n'
    '[read.columns]\nqueen_id = "queen_id"\nchecked_on = "checked_on"\n'
    'pattern_pct = { from = "queen_id", scores = { Q1 = 10, Q2 = 85, "8.5" = 90, "-" = 0 } }\n',
    '[[read]]\nfrom = "checks*"\ntable = "checks"\n'
    '[read.columns]\nqueen_id = "queen_id"\nchecked_on = "checked_on"\n'
    'findings = { from = ["remark"], parts = { zq = {}, w = { eggs = "yes" }, '
    '"-" = { eggs = "no" }, "{pattern_pct}" = {} }, absent = { larvae = "no" } }\n',
)  # fmt: skip
LARGE = 0.06
"""Share of sets with many tables, columns and rows; the others cost half as much or less."""
DAMAGED = 0.12
"""Share of files that are damaged: most such sets end refused, and show nothing of their rows."""
ROWS_ONLY = 0.6
"""Share of damaged text files whose headings are left alone, so that their rows are read."""
OPTIONAL = tuple(name for name, table in TABLES.items() if not table.required)


@dataclass
class MadeSet:
    """A station's folder with records, and what was done to them."""

    station: Path
    done: list[str] = field(default_factory=list)


@dataclass
class Counted:
    """What an independent count found."""

    rows: int = 0
    wrong: list[str] = field(default_factory=list)


def make(station: Path, draw: random.Random) -> MadeSet:
    """Write a station whose records may be hostile, damaged, or sound."""
    made = MadeSet(station)
    records = station / "records"
    records.mkdir(parents=True)
    settings = 'name = "Fuzz"\nas_of = 2026-08-01\n' + draw.choice(SETTINGS)
    (station / "station.toml").write_text(settings, encoding="utf-8")
    marks = iter(range(draw.randrange(100_000), 10**6))
    large = draw.random() < LARGE
    some = draw.sample(OPTIONAL, draw.choice((0, 0, 1, 2, 5) if large else (0, 0, 0, 1)))
    for name in ("inseminations", "checks", *some):
        if draw.random() < 0.01:
            continue  # a required table may be missing
        for part in range(draw.choice((1, 1, 1, 1, 2))):
            headings, rows = _table(name, draw, marks, large=large)
            ending, write = draw.choice(FORMS)
            stem = name if not part else f"{name}_{draw.choice(('b', '2026', 'β', '#1'))}"
            path = records / f"{stem}.{ending}"
            write(path, headings, rows, draw)
            made.done.append(path.name)
            if draw.random() < DAMAGED:
                _damage(path, draw)
                made.done.append(f"damaged {path.name}")
    return made


def _table(
    name: str, draw: random.Random, marks: Any, *, large: bool
) -> tuple[list[str], list[list[str]]]:
    table = TABLES[name]
    must = [c.name for c in table.columns if c.required]
    must += [table.dated.name] if table.dated else []
    must += ["queen_id"] if "queen_id" in table.names else []
    other = [n for n in table.names if n not in must]
    columns = list(dict.fromkeys(must)) + draw.sample(
        other, draw.randrange(len(other) + 1 if large else min(4, len(other) + 1))
    )
    draw.shuffle(columns)
    hostile = draw.choice((0.0, 0.02, 0.1, 0.5))
    count = draw.choice((0, 1, 2, 3, 5, 8, 8, 12, 60) if large else (0, 1, 2, 3, 5, 8))
    rows = [
        [_cell(table, column, draw, hostile) for column in columns]
        + [f"zq{next(marks):06d}w"]
        for _ in range(count)
    ]
    if rows and draw.random() < 0.2:
        rows.append(list(draw.choice(rows)))
    return [*columns, "remark"], rows


def _cell(table: Any, column: str, draw: random.Random, hostile: float) -> str:
    if draw.random() < hostile:
        return draw.choice(HOSTILE)
    kind = next(c.kind for c in table.columns if c.name == column)
    day = f"2026-{draw.randrange(4, 8):02d}-{draw.randrange(1, 31):02d}"
    usual = {
        "date": (day,),
        "datetime": (day, f"{day} {draw.randrange(24):02d}:30"),
        "yes_no": ("yes", "no", ""),
        "number": ("1", "2", "8", "8.5", "60", ""),
        "integer": ("1", "2", "3", ""),
        "queen_id": tuple(f"Q{number}" for number in range(1, 9)),
    }
    others = ("", "A", "B", "none", "many", "dead", "N1")
    return draw.choice(usual.get(column) or usual.get(kind) or others)


# --- forms


def _text(separator: str, encoding: str, end: str) -> Callable[..., None]:
    def write(path: Path, headings: list[str], rows: list[list[str]], _: Any) -> None:
        lines = [separator.join(_quoted(c) for c in row) for row in [headings, *rows]]
        text = end.join(lines) + end
        path.write_bytes(text.encode(encoding, "replace"))

    return write


def _quoted(cell: str) -> str:
    cell = cell.replace("\0", "")  # a NUL makes it no text, which one damage in ten does
    if any(sign in cell for sign in ',;\t"\r\n'):
        return '"' + cell.replace('"', '""') + '"'
    return cell


def _workbook(path: Path, headings: list[str], rows: list[list[str]], draw: Any) -> None:
    quiet = {"strings_to_formulas": False, "strings_to_urls": False, "nan_inf_to_errors": True}
    with xlsxwriter.Workbook(path, quiet) as book:
        sheet = book.add_worksheet(draw.choice(("Sheet1", "a'b", "Päge")))
        for number, row in enumerate([headings, *rows]):
            for column, cell in enumerate(row):
                text = re.sub("[\x00-\x08\x0b-\x1f]", "", cell)[:32_000]
                if draw.random() < 0.1 and re.fullmatch(r"\d{1,5}", text):
                    sheet.write_number(number, column, int(text))
                else:
                    sheet.write_string(number, column, text)


def _opendocument(path: Path, headings: list[str], rows: list[list[str]], _: Any) -> None:
    def clean(cell: str) -> str:
        text = re.sub("[\x00-\x08\x0b-\x1f]", "", cell)
        return text.replace("&", "&amp;").replace("<", "&lt;")

    ods.write(path, [ods.row(*(ods.cell(clean(c)) for c in row)) for row in [headings, *rows]])


def _parquet(path: Path, headings: list[str], rows: list[list[str]], draw: Any) -> None:
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(headings)
    frame = pl.DataFrame(dict(zip(headings, columns, strict=True)), schema=dict.fromkeys(headings, pl.String))
    if draw.random() < 0.5:
        typed = draw.choice((pl.Float64, pl.Int64, pl.Date, pl.Boolean, pl.Binary, pl.UInt64))
        name = draw.choice(headings[:-1])
        if typed is pl.Binary:
            frame = frame.with_columns(pl.col(name).cast(typed))
        elif typed is pl.Boolean:
            frame = frame.with_columns(pl.col(name) == "yes")
        elif typed is pl.Date:
            frame = frame.with_columns(pl.col(name).str.to_date("%Y-%m-%d", strict=False))
        else:
            frame = frame.with_columns(pl.col(name).cast(typed, strict=False))
    frame.write_parquet(path)


FORMS = (
    *(("csv", _text(s, e, n)) for s in ",;" for e in ("utf-8", "utf-8-sig", "cp1252") for n in ("\n", "\r\n")),
    ("csv", _text(",", "utf-16", "\n")), ("csv", _text(",", "utf-8", "\r")),
    ("tsv", _text("\t", "utf-8", "\n")), ("txt", _text("\t", "utf-16", "\r\n")),
    *[("xlsx", _workbook)] * 3, *[("ods", _opendocument)] * 2, *[("parquet", _parquet)] * 2,
)  # fmt: skip


# --- damage


def damage_all(made: MadeSet, draw: random.Random) -> None:
    """Damage half of a set's files once more."""
    for path in sorted((made.station / "records").iterdir()):
        if draw.random() < 0.5:
            _damage(path, draw)


def _damage(path: Path, draw: random.Random) -> None:
    content = path.read_bytes()
    try:
        parts = _damaged_parts(content, draw) if draw.random() < 0.8 else None
    except (zipfile.BadZipFile, ValueError, OSError, EOFError, zlib.error, NotImplementedError):
        parts = None  # no workbook, or one whose zip is damaged already
    if parts is None:
        text = path.suffix in (".csv", ".tsv", ".txt") and draw.random() < ROWS_ONLY
        whole = content.find(b"\n") + 1 if text else 0
        parts = content[:whole] + damaged(content[whole:], draw)
    path.write_bytes(parts)


def damaged(content: bytes, draw: random.Random) -> bytes:
    """Change bytes here and there: flipped, cut, doubled, and signs that matter put in."""
    changed = bytearray(content)
    for _ in range(draw.choice((1, 1, 2, 4, 16))):
        at = draw.randrange(len(changed) + 1)
        length = draw.choice((1, 1, 2, 8, 64))
        match draw.randrange(7):
            case 0 if at < len(changed):
                changed[at] ^= 1 << draw.randrange(8)
            case 1:
                del changed[at : at + length]
            case 2:
                changed[at:at] = changed[at : at + length]
            case 3:
                changed[at:at] = draw.choice(TOKENS)
            case 4:
                changed[at : at + 1] = draw.choice(TOKENS)
            case 5:
                changed[at:at] = draw.randbytes(length)
            case 6 if draw.random() < 0.2:
                del changed[at:]
    return bytes(changed)


def _damaged_parts(content: bytes, draw: random.Random) -> bytes:
    """Damage a part of a workbook, packed again so that only what is in it is wrong."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as book, zipfile.ZipFile(out, "w") as other:
        parts = {name: book.read(name) for name in book.namelist()}
        names = list(parts)
        likely = [n for n in names if "sheet1" in n or "content" in n or "shared" in n]
        name = draw.choice(likely if likely and draw.random() < 0.7 else names)
        parts[name] = damaged(parts[name], draw)
        for each, part in parts.items():
            other.writestr(each, part)
    return out.getvalue()


# --- an independent count


class CountingStore(stores.Store):
    """A store whose rows are counted anew before it is let go."""

    records_dir: Path
    counted: Counted

    def __init__(self, *words: Any, **named: Any) -> None:
        # threads cost more than they bring where a table has ten rows
        super().__init__(*words, **{**named, "threads": 1})

    def __exit__(self, *_: object) -> None:
        if self.has("listed_records") and self.has("sources"):
            count(self, self.records_dir, self.counted)
        self.close()


def read_only(made: MadeSet, counted: Counted) -> None:
    """Open and read a set's files as `check` does, and look for every row's mark.

    A tenth of what `check` takes, so that ten times as many damaged files can be tried.

    Raises
    ------
    AppError
        The records or the settings are refused.
    """
    records, chosen = made.station / "records", load(made.station)
    with stores.Store(threads=1) as store:
        mapped, _ = staging.map_records(store, records, chosen)
        with staging.naming_damaged(store, mapped.sources):
            staging._land(store, mapped.sources)
            for source in mapped.sources:
                counted.rows += store.rows(f"SELECT count(*) FROM raw_{source.no}")[0][0]
                _count_marks(store, f"raw_{source.no}", source.name, records, counted)


def count(store: stores.Store, records: Path, counted: Counted) -> None:
    """Count every row of every source by hand, and name what is not where it must be."""
    numbers = store.rows('SELECT source_no, source, "table", rows_read FROM sources_read')
    by_name = {(source, table): number for number, source, table, _ in numbers}
    fates = _fates(store, by_name)
    for number, source, _, read in numbers:
        raw = f"raw_{number}"
        lines = [line for (line,) in store.rows(f"SELECT source_line FROM {raw}")]
        counted.rows += len(lines)
        if len(lines) != read or len(set(lines)) != len(lines):
            counted.wrong.append(f"{source}: {len(lines)} rows stand, {read} are told")
        for line in lines:
            fate = fates.pop((number, line), Counter())
            if fate.total() != 1:
                counted.wrong.append(f"{source}:{line} is {dict(fate) or 'nowhere'}")
        _count_marks(store, raw, source, records, counted)
    for number, line in fates:
        counted.wrong.append(f"source {number} has no line {line}")


def _fates(
    store: stores.Store, by_name: dict[tuple[str, str], int]
) -> dict[tuple[int, int], Counter[str]]:
    """Gather what became of each line of each source, from the tables as they stand."""
    fates: dict[tuple[int, int], Counter[str]] = {}

    def add(fate: str, number: int, line: int) -> None:
        fates.setdefault((number, line), Counter())[fate] += 1

    by_ref = {f"accepted_{table}": "accepted" for table in TABLES}
    for name, fate in {**by_ref, "passed_over": "passed over"}.items():
        for (ref,) in store.rows(f"SELECT ref FROM {name}"):
            add(fate, ref >> 36, ref & (2**30 - 1))
    told = {
        "quarantine": "quarantined",
        "listed_records WHERE reason = 'repeated_row'": "repeated",
    }
    for name, fate in told.items():
        rows = store.rows(f'SELECT DISTINCT source, line, "table" FROM {name}')
        for source, line, table in rows:
            add(fate, by_name[source, table], line)
    return fates


def _count_marks(
    store: stores.Store, raw: str, source: str, records: Path, counted: Counted
) -> None:
    """Look for the mark of every row of the file among the rows that stand."""
    path = records / source.partition("#Sheet1")[0]
    written = _marks(path) if path.is_file() else None
    if written is None:
        return
    columns = [name for name in store.columns(raw) if name != "source_line"]
    found = Counter(MARK.findall(" ".join(columns)))
    cells = ", ".join(f"CAST({quote(name)} AS VARCHAR)" for name in columns)
    for row in store.rows(f"SELECT {cells} FROM {raw}"):
        for cell in row:
            found.update(MARK.findall(cell or ""))
    if found != written:
        lost, more = written - found, found - written
        counted.wrong.append(f"{source}: lost {dict(lost)}, too many {dict(more)}")


def _marks(path: Path) -> Counter[str] | None:
    """Give the marks that a text file holds; None: not a form whose marks are to be seen."""
    if path.suffix not in (".csv", ".tsv", ".txt"):
        return None
    content = path.read_bytes()
    wide = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}.get(content[:2])
    text = content.decode(wide or "latin-1", "replace")
    return Counter(MARK.findall(text))
