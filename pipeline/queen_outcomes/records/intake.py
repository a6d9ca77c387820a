"""Which file or sheet is read as which table, and what is said about the others.

Opens workbooks to learn their sheets' names; reads no table yet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from queen_outcomes.base.errors import RecordsError, shorten
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records import sources
from queen_outcomes.records.blanks import GUIDE
from queen_outcomes.records.sources import Found
from queen_outcomes.records.workbook import Workbook


@dataclass(frozen=True)
class Source:
    """One file or sheet, and the table it is read as."""

    name: str
    path: Path
    table: str
    sha256: str
    sheet: str | None = None
    book: Workbook | None = None


@dataclass(frozen=True)
class _Place:
    """A file or sheet before its table is known."""

    name: str
    file: Found
    sheet: str | None = None
    book: Workbook | None = None


def take_in(
    records_dir: Path, files: Mapping[str, tuple[str, ...]]
) -> tuple[list[Source], list[str]]:
    """Give the sources in the order of their names, and notes about other files.

    Raises
    ------
    RecordsError
        No records, a required table is missing, or two tables claim a file.
    """
    found = sources.find(records_dir)
    others = sources.find(records_dir, sources.LEGACY_ENDINGS)
    notes = [
        f"{file.name}: not read, since it is a {file.ending} file; save it as .xlsx"
        for file in others
    ]
    places = [place for file in found for place in _places(file)]
    names = [place.name for place in places] + [file.name for file in found]
    sources.refuse_idle_patterns(files, sorted(set(names)))
    digests = {file.name: sources.digest(file.path) for file in found}
    taken: list[Source] = []
    for place in places:
        table, note = _table_of(place, files)
        notes += [note] if note else []
        if table:
            file = place.file
            sha = digests[file.name]
            taken.append(
                Source(place.name, file.path, table, sha, place.sheet, place.book)
            )
    notes += _copies(digests)
    _refuse_lacking(taken, [*found, *others], records_dir)
    return sorted(taken, key=lambda source: source.name), notes


def _places(file: Found) -> list[_Place]:
    if file.ending != sources.WORKBOOK_ENDING:
        return [_Place(file.name, file)]
    book = Workbook(file.path, file.name)
    return [_Place(f"{file.name}#{sheet}", file, sheet, book) for sheet in book.sheets]


def _table_of(
    place: _Place, files: Mapping[str, tuple[str, ...]]
) -> tuple[str | None, str | None]:
    """Give a place's table, or a note that says why it has none."""
    if place.sheet is None:
        table = sources.table_by_pattern(place.name, files)
        table = table or sources.table_of_file(place.name)
        return table, None if table else _belongs_nowhere(place.name)
    table = _table_of_sheet(place, files)
    if table is None and place.sheet == GUIDE:  # the blank workbook's own words
        return None, None
    if place.book.is_empty(place.sheet):  # type: ignore[union-attr]
        note = f"{place.name}: not read, since the sheet is empty" if table else None
        return None, note
    return table, None if table else _belongs_nowhere(place.name)


def _table_of_sheet(place: _Place, files: Mapping[str, tuple[str, ...]]) -> str | None:
    """Give a sheet's table: its own pattern or name first, then its workbook's."""
    sheet, book = place.sheet or "", place.book
    own = sources.table_by_pattern(place.name, files) or sources.table_named(sheet)
    if own or book is None:
        return own
    claimed = sources.table_by_pattern(place.file.name, files)
    whole = claimed or sources.table_of_file(place.file.name)
    if whole is None:
        return None
    filled = [other for other in book.sheets if not book.is_empty(other)]
    if len(filled) <= 1:
        return whole
    if claimed and not any(map(sources.table_named, filled)):
        raise RecordsError(
            "the workbook has several sheets and the settings do not say which",
            where=place.file.name,
            found=", ".join(filled),
            hint=f'write "{place.file.name}#Sheet" under [tables] in station.toml',
        )
    return None


def _belongs_nowhere(name: str) -> str:
    close = sources.nearest_table(name.replace("#", "/"))
    ask = f'; was "{close}" meant?' if close else ""
    return f"{name}: not read, since its name is that of no table{ask}"


def _copies(digests: Mapping[str, str]) -> list[str]:
    first: dict[str, str] = {}
    notes = []
    for name, sha in sorted(digests.items()):
        original = first.setdefault(sha, name)
        if original != name:
            notes.append(f"{name}: the same file, byte for byte, as {original}")
    return notes


def _refuse_lacking(
    taken: Sequence[Source], found: Sequence[Found], records_dir: Path
) -> None:
    if not found:
        raise RecordsError(
            "the folder of records is empty",
            where=str(records_dir),
            expected="files named for their tables: " + ", ".join(TABLES),
            hint="put the station's tables there as .csv, .xlsx or .parquet",
        )
    there = {source.table for source in taken}
    for table in TABLES.values():
        if table.required and table.name not in there:
            close = next(
                (f.name for f in found if sources.nearest_table(f.name) == table.name),
                None,
            )
            raise RecordsError(
                f'the table "{table.name}" is missing',
                where=str(records_dir),
                found=shorten([file.name for file in found], ", "),
                expected=f"a file or sheet named {table.name}",
                hint=f'was "{close}" meant? rename it, or name it under [tables] '
                "in station.toml"
                if close
                else f"name the station's file under [tables] {table.name} in "
                "station.toml",
            )
