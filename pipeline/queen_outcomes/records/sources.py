"""Which files are records, which table each belongs to, and what a file's text is known by.

Looks at names and bytes only: it opens no table and imports no reader, so that any
command may ask cheaply whether the records are newer than what it shows.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path, PurePosixPath

from queen_outcomes.base.errors import RecordsError, nearest, shorten
from queen_outcomes.facts.dictionary import TABLES

TEXT_ENDINGS = (".csv", ".tsv", ".txt")
WORKBOOK_ENDING = ".xlsx"
PARQUET_ENDING = ".parquet"
ENDINGS = (*TEXT_ENDINGS, WORKBOOK_ENDING, PARQUET_ENDING)
LEGACY_ENDINGS = (".xls", ".xlsm", ".xlsb", ".ods", ".numbers")
_SKIPPED = (".", "~$")


@dataclass(frozen=True)
class Found:
    """A file under the records folder that may hold records."""

    name: str
    """Its path below the records folder, with forward slashes."""
    path: Path

    @property
    def ending(self) -> str:
        """The file's ending, in small letters."""
        return self.path.suffix.lower()


def find(records_dir: Path, endings: tuple[str, ...] = ENDINGS) -> list[Found]:
    """List the files of some endings under the records folder, by name.

    Raises
    ------
    RecordsError
        There is no such folder.
    """
    if not records_dir.is_dir():
        raise RecordsError(
            "there is no folder of records",
            where=str(records_dir),
            expected="a folder with " + ", ".join(ENDINGS) + " files",
            hint="make the folder and put the station's tables into it",
        )
    found = [
        Found(path.relative_to(records_dir).as_posix(), path)
        for path in _walk(records_dir)
        if path.suffix.lower() in endings
    ]
    return sorted(found, key=lambda file: file.name)


def _walk(folder: Path) -> Iterator[Path]:
    for path in folder.iterdir():
        if path.name.startswith(_SKIPPED):
            continue
        if path.is_dir():
            yield from _walk(path)
        elif path.is_file():
            yield path


def digest(path: Path) -> str:
    """Give the SHA-256 of a file's bytes.

    Raises
    ------
    RecordsError
        The file cannot be opened.
    """
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as problem:
        raise RecordsError(
            "a file cannot be opened",
            where=str(path),
            found=problem.strerror or str(problem),
            hint="close it in other programs and see that you may read it",
        ) from None


def fingerprint(records_dir: Path) -> dict[str, str]:
    """Give name and SHA-256 of every file that may hold records, by name."""
    return {file.name: digest(file.path) for file in find(records_dir)}


def table_named(name: str) -> str | None:
    """Give the table that a file's stem, a folder or a sheet is named for."""
    plain = name.strip().casefold()
    for table in TABLES:
        rest = plain.removeprefix(table)
        if rest != plain and not rest[:1].isalpha():
            return table
    return None


def table_of_file(name: str) -> str | None:
    """Give the table that a file is named for: its stem first, then its folders."""
    path = PurePosixPath(name)
    for part in (path.stem, *reversed(path.parent.parts)):
        if table := table_named(part):
            return table
    return None


def nearest_table(name: str) -> str | None:
    """Give the table that a file or sheet was most likely meant for."""
    path = PurePosixPath(name)
    for part in (path.stem, *reversed(path.parent.parts)):
        word = "".join(c if c.isalpha() else " " for c in part).split()
        for piece in (part, *word):
            if close := nearest(piece, TABLES):
                return close
    return None


def table_by_pattern(name: str, files: Mapping[str, tuple[str, ...]]) -> str | None:
    """Give the table whose pattern in the settings takes a file or "book.xlsx#Sheet".

    Raises
    ------
    RecordsError
        Patterns of two tables take it.
    """
    takers = [
        table
        for table, patterns in files.items()
        if any(fits(pattern, name) for pattern in patterns)
    ]
    if len(takers) > 1:
        raise RecordsError(
            "two tables claim one file",
            where=name,
            found=", ".join(takers),
            hint="make the patterns under [tables] in station.toml narrower",
        )
    return takers[0] if takers else None


def fits(pattern: str, name: str) -> bool:
    """Tell whether a pattern takes a name; letters' case does not matter."""
    plain = pattern.replace("\\", "/").removeprefix("./").removeprefix("records/")
    wanted, whole = plain.casefold(), name.casefold()
    if wanted == whole or fnmatchcase(whole, wanted):
        return True
    return "/" not in wanted and fnmatchcase(whole.rsplit("/", 1)[-1], wanted)


def refuse_idle_patterns(
    files: Mapping[str, tuple[str, ...]], names: list[str]
) -> None:
    """Refuse a pattern that takes no file or sheet: its table would be missing unseen.

    Raises
    ------
    RecordsError
        With the pattern and the nearest name there is.
    """
    for table, patterns in files.items():
        for pattern in patterns:
            if any(fits(pattern, name) for name in names):
                continue
            close = nearest(pattern, names)
            raise RecordsError(
                f'no file fits the pattern "{pattern}"',
                where=f"station.toml [tables] {table}",
                found=shorten(names, ", ") or "no files",
                hint=f'did you mean "{close}"?' if close else "mend the pattern",
            )
