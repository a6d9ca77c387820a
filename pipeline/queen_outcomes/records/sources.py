"""Which files and sheets are records, and which table each is read as.

Looks at names and hashes, and into workbooks for the names of their sheets; reads no
table yet.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from functools import cached_property
from glob import escape
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from queen_outcomes.base.errors import (
    AppError,
    RecordsError,
    UsageError,
    nearest,
    shorten,
)
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import BELOW, Reading, ReadRule, takes, takes_any
from queen_outcomes.records.blanks import GUIDE

if TYPE_CHECKING:
    from queen_outcomes.records.below import BookPart
    from queen_outcomes.records.workbook import Workbook
    from queen_outcomes.records.workbook_process import WorkbookElsewhere

TEXT_ENDINGS = (".csv", ".tsv", ".txt")
WORKBOOK_ENDINGS = (".xlsx", ".ods")
PARQUET_ENDING = ".parquet"
ENDINGS = (*TEXT_ENDINGS, *WORKBOOK_ENDINGS, PARQUET_ENDING)
LEGACY_ENDINGS = (".xls", ".xlsm", ".xlsb", ".numbers")
_LOCKS = ("~$", ".~lock.")
"""What programs put beside a workbook while it is open begins so."""
_UNFINISHED = (".tmp", ".part", ".crdownload")
_OUTSIDE = (
    "it is a link that leads out of the folder of records; put the file there, or write "
    'links = "all" under [records]'
)
_LEFT_BY_SYSTEMS = ("thumbs.db", "desktop.ini")


@dataclass(frozen=True)
class RecordFile:
    """A file under the records folder that may hold records."""

    name: str
    """Its path below the records folder, with forward slashes."""
    path: Path

    @property
    def ending(self) -> str:
        """The file's ending, in small letters."""
        return self.path.suffix.lower()

    @cached_property
    def content(self) -> bytes:
        """Its bytes, read once: what is hashed is what is read.

        Raises
        ------
        RecordsError
            It cannot be opened, another program writes it at this moment, or it is no
            longer what was hashed.
        """
        content = read_whole(self.path, self.name)
        known = self.__dict__.get("sha256")
        if known and hashlib.sha256(content).hexdigest() != known:
            raise changed_meanwhile(self.name)
        return content

    @cached_property
    def sha256(self) -> str:
        """Hash of its bytes."""
        if self.ending == PARQUET_ENDING:
            return digest(self.path)
        return hashlib.sha256(self.content).hexdigest()

    def forget(self) -> None:
        """Let go of the bytes, once its rows have been read."""
        self.__dict__.pop("content", None)


@dataclass(frozen=True)
class LinesOfFile(RecordFile):
    """A text file of whose lines only those of one table are seen."""

    whole: RecordFile
    encoding: str
    """Of a text that is no Unicode."""
    begins: tuple[str, ...]
    begin: str

    @cached_property
    def content(self) -> bytes:
        """The bytes of its lines, the others empty."""
        from queen_outcomes.records import below  # late: naming needs no reader

        content = self.whole.content
        self.whole.forget()
        return below.text_parts(content, self.name, self.encoding, self.begins)[self.begin]

    @cached_property
    def sha256(self) -> str:
        """Hash of the whole file's bytes."""
        return self.whole.sha256


@dataclass(frozen=True)
class Source:
    """One file or sheet, and what it is read as: a table, or by rules of the settings."""

    name: str
    """The file's name, or "book.xlsx#Sheet"; of a table below another that and its text."""
    file: RecordFile
    sha256: str
    """Hash of the file's bytes."""
    table: str = ""
    """Empty: ``rules`` say what it is read as."""
    sheet: str = ""
    book: Workbook | WorkbookElsewhere | BookPart | None = None
    below: str = ""
    """The text with which it begins, where it stands below another table."""
    above: BookPart | None = None
    """The form that it stands below."""
    rules: tuple[ReadRule, ...] = ()

    @property
    def tables(self) -> list[str]:
        """The tables that it feeds, in the order of the rules."""
        return list(dict.fromkeys(rule.table for rule in self.rules)) or [self.table]


@dataclass(frozen=True)
class TakenIn:
    """The sources in the order of their names, and what there is besides."""

    sources: list[Source]
    notes: list[str]
    unread: list[str]
    """Files and sheets that nothing reads and no setting ignores."""
    faults: tuple[AppError, ...] = ()
    """What the settings say of files that cannot be; what it concerns is no source."""


def _refuse_no_folder(records_dir: Path) -> None:
    if not records_dir.is_dir():
        raise RecordsError(
            "there is no folder of records",
            where=str(records_dir),
            expected="a folder with " + ", ".join(ENDINGS) + " files",
            hint="make the folder and put the station's tables into it",
        )


def look_through(
    folder: Path, links: str = "inside"
) -> tuple[list[RecordFile], list[str], list[str]]:
    """List the files under a folder by name, each once, and name what is no record.

    Parameters
    ----------
    folder : Path
    links : str
        "inside": a link that leads out of the folder is not followed; "all".

    Returns
    -------
    files : list of RecordFile
    notes : list of str
        Pipes, links that lead nowhere, second names of one file, and what programs leave
        while they have a file open.
    outside : list of str
        The links that lead out of the folder.

    Raises
    ------
    RecordsError
        A folder cannot be opened, or a name is no text.
    """
    files: list[RecordFile] = []
    notes: list[str] = []
    outside: list[str] = []
    seen: dict[tuple[int, int], str] = {}
    within = None if links == "all" else folder.resolve()
    for path in _walk(folder, seen, within):
        name = path.relative_to(folder).as_posix()
        _refuse_no_text(name, folder)
        why = _no_record(path)
        if _leads_out(path, within):
            outside.append(name)
            continue
        if why is None:
            first = seen.setdefault(_identity(path), name)
            why = "" if first == name else f"it is another name of {first}"
        if why:
            notes.append(f"{name}: not read, since {why}")
        else:
            files.append(RecordFile(name, path))
    return sorted(files, key=lambda file: file.name), notes, outside


def _refuse_no_text(name: str, folder: Path) -> None:
    """Refuse a name of bytes that are no text: no setting and no table could hold it."""
    try:
        name.encode()
    except UnicodeEncodeError:
        raise RecordsError(
            "the name of a file is not text in UTF-8",
            where=str(folder),
            found=os.fsencode(name).decode("utf-8", "backslashreplace"),
            hint="rename it; old archives and drives keep letters such as ü otherwise",
        ) from None


def _leads_out(path: Path, within: Path | None) -> bool:
    """Tell a link to something that lies in another folder; not one that leads nowhere."""
    if within is None or not path.is_symlink() or not path.exists():
        return False
    return not path.resolve().is_relative_to(within)


def _walk(
    folder: Path, seen: dict[tuple[int, int], str], within: Path | None
) -> Iterator[Path]:
    """Give what lies in a folder and those below it, in order; a folder once.

    A link that leads out of ``within`` is given as it is, and not followed.
    """
    if seen.setdefault(_identity(folder), str(folder)) != str(folder):
        return
    try:
        paths = sorted(folder.iterdir())
    except OSError as problem:
        raise _cannot_open(str(folder), problem) from None
    for path in paths:
        if path.name.lower() in _LEFT_BY_SYSTEMS:
            continue
        if path.name.startswith(".") and not path.name.startswith(_LOCKS):
            continue
        if path.is_dir() and not _leads_out(path, within):
            yield from _walk(path, seen, within)
        else:
            yield path


def _identity(path: Path) -> tuple[int, int]:
    told = path.stat()
    return told.st_dev, told.st_ino


def _no_record(path: Path) -> str | None:
    """Say why something in the folder of records can be none; None: it may be one."""
    for mark in _LOCKS:
        if path.name.startswith(mark):
            opened = path.name.removeprefix(mark).removesuffix("#")
            return f'it only says that "{opened}" is open in a program; save that there'
    if path.suffix.lower() in _UNFINISHED:
        return "it is what a program left while it wrote a file"
    if path.is_file():
        return None
    if path.is_symlink() and not path.exists():
        return "it is a link that leads nowhere"
    return "it is no file but a pipe, a socket or a device"


def read_whole(path: Path, name: str) -> bytes:
    """Read a file's bytes, and make sure that nobody wrote it meanwhile.

    Raises
    ------
    RecordsError
        It cannot be opened, or it changed while it was read.
    """
    try:
        with path.open("rb") as file:
            before = os.fstat(file.fileno())
            content = file.read()
            after = os.fstat(file.fileno())
    except OSError as problem:
        raise _cannot_open(name, problem) from None
    grown = len(content) != after.st_size or before.st_mtime_ns != after.st_mtime_ns
    if grown or before.st_size != after.st_size:
        raise changed_meanwhile(name)
    return content


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
        raise _cannot_open(str(path), problem) from None


def refuse_changed(sources: Iterable[Source]) -> None:
    """Refuse a file that is read where it lies and is no longer what was hashed.

    Raises
    ------
    RecordsError
        Its bytes have changed.
    """
    for file in {source.file.name: source.file for source in sources}.values():
        if file.ending == PARQUET_ENDING and digest(file.path) != file.sha256:
            raise changed_meanwhile(file.name)


def changed_meanwhile(name: str) -> RecordsError:
    """Say that a file is no longer what it was when the reading began."""
    return RecordsError(
        "the file changed while it was read",
        where=name,
        expected="a file that nobody writes meanwhile",
        hint="close the program that writes it, or let the copying end, and run this "
        "again",
    )


def _cannot_open(name: str, problem: OSError) -> RecordsError:
    return RecordsError(
        "a file cannot be opened",
        where=name,
        found=problem.strerror or str(problem),
        hint="close it in other programs and see that you may read it",
    )


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
    """Tell whether a pattern under [tables] takes a name; letters' case does not matter."""
    plain = pattern.replace("\\", "/").removeprefix("./").removeprefix("records/")
    if BELOW in plain or BELOW in name:
        return takes(plain, name)
    wanted, whole = plain.casefold(), name.casefold()
    if wanted == whole or fnmatchcase(whole, wanted):
        return True
    return "/" not in wanted and fnmatchcase(whole.rsplit("/", 1)[-1], wanted)


def idle_patterns(reading: Reading, offered: Sequence[Source]) -> list[AppError]:
    """Say which patterns of the settings take no file or sheet: it would be missing unseen."""
    names = [source.name for source in offered]
    files = sorted({*names, *(source.file.name for source in offered)})
    faults: list[AppError] = []
    for table, patterns in reading.files.items():
        faults += [
            _idle(pattern, f"[tables] {table}", files)
            for pattern in patterns
            if not any(fits(pattern, name) for name in files)
        ]
    faults += [
        _no_table_below(text, pattern)
        for pattern, habits in reading.habits.items()
        for text in habits.tables_below
        if not any(takes(f"{pattern}{BELOW}{escape(' '.join(text.split()))}", s.name) for s in offered)
    ]
    places = [(rule.place, rule.sources) for rule in reading.rules]
    places += [(f'[files."{pattern}"]', (pattern,)) for pattern in reading.habits]
    kept = [name for name in names if not takes_any(reading.ignore, name)]
    # of a sheet that is no record, a table below it may be one
    parted = [pattern for pattern, habits in reading.habits.items() if habits.tables_below]
    for place, patterns in places:
        faults += [
            _idle(pattern, place, kept)
            for pattern in patterns
            if not any(takes(pattern, name) for name in kept) and pattern not in parted
        ]
    return faults


def _no_table_below(text: str, pattern: str) -> RecordsError:
    return RecordsError(
        f'no row begins with "{text}"',
        where=f'station.toml [files."{pattern}"], tables_below',
        expected="the first text of the row in which the table begins, as it stands there",
        hint="mend that line",
    )


def _idle(pattern: str, place: str, names: list[str]) -> RecordsError:
    close = nearest(pattern, names)
    return RecordsError(
        f'no file fits the pattern "{pattern}"',
        where=f"station.toml {place}",
        found=shorten(names, ", ") or "no files",
        hint=f'did you mean "{close}"?' if close else "mend the pattern",
    )


def contradictions(reading: Reading, source: Source) -> Iterator[AppError]:
    """Say which settings of one level disagree about a source."""
    for setting, patterns in reading.disagreements(source.name):
        yield UsageError(
            f'two patterns disagree on "{setting}"',
            where=f"station.toml, for {source.name}",
            found=" and ".join(f'[files."{pattern}"]' for pattern in patterns),
            expected="one of them to take this file, or both to say the same",
            hint="make one of the patterns narrower",
        )
    yield from _read_twice(source)
    for table, patterns in reading.files.items() if source.rules else ():
        # by its own name only: a pattern may well take more than the rules leave
        if table not in source.tables and source.name in patterns:
            yield UsageError(
                "a sheet is named both under [tables] and by a [[read]]",
                where=f"station.toml [tables] {table}",
                found=f"{source.name}, which {source.rules[0].place} reads",
                expected=f"a [[read]] of it for {table}, or none",
                hint="take one of them out: what a [[read]] names is read by it alone",
            )


def _read_twice(source: Source) -> Iterator[UsageError]:
    """Tell of rules that read the same records of one sheet, so that each counts twice."""
    seen: dict[tuple[str, tuple[str, ...]], list[ReadRule]] = {}
    for rule in source.rules:
        dated = TABLES[rule.table].dated.name
        days = rule.columns.get(dated)
        slots = [" ".join(sorted(slot.values())) for slot in rule.slots] or [""]
        for slot in slots if days else [""]:
            # the day before a day is another one
            said = (*days.headings, days.value or "", slot, str(days.days or 0)) if days else ()
            others = seen.setdefault((rule.table, said), [])
            other = next((one for one in others if not _are_apart(one, rule)), rule)
            others.append(rule)
            if other is not rule:
                yield UsageError(
                    "two rules read the same records of one sheet",
                    where=f"station.toml, for {source.name}",
                    found=f"{other.place} and {rule.place}",
                    expected="one rule for a table, another day in each, or other rows (only)",
                    hint="take one of them out, or make its pattern narrower",
                )
                break


def _are_apart(one: ReadRule, other: ReadRule) -> bool:
    """Tell whether two rules choose rows by other texts of the same column."""
    ours, theirs = (
        {
            heading.casefold(): {text.casefold() for text in texts}
            for heading, texts in rule.only.items()
        }
        for rule in (one, other)
    )
    return any(ours[name].isdisjoint(theirs[name]) for name in ours.keys() & theirs.keys())



def take_in(records_dir: Path, reading: Reading) -> TakenIn:
    """Give the sources in the order of their names, and what else lies there.

    Returns
    -------
    TakenIn
        Its ``faults`` tell of files that cannot be opened, of patterns that take nothing,
        of settings of one level that disagree about a source, of files that two tables
        claim, and of a required table that is missing.

    Raises
    ------
    RecordsError
        There are no records.
    """
    _refuse_no_folder(records_dir)
    there, notes, outside = look_through(records_dir, reading.links)
    found = [
        file
        for file in there
        if file.ending in ENDINGS and not takes_any(reading.ignore, file.name)
    ]
    unread = [
        file.name
        for file in there
        if file.ending not in ENDINGS and not takes_any(reading.ignore, file.name)
    ]
    notes += [_other_ending(name) for name in unread]
    outside = [name for name in outside if not takes_any(reading.ignore, name)]
    unread += outside
    notes += [f"{name}: not read, since {_OUTSIDE}" for name in outside]
    offered, faults = _all_offered(found, reading)
    # a pattern may be meant for sheets of a file that cannot be opened
    faults = faults or idle_patterns(reading, offered)
    taken: list[Source] = []
    kept = [each for each in offered if not takes_any(reading.ignore, each.name)]
    for source in kept:
        rules = tuple(reading.rules_for(source.name))
        try:
            if rules:
                if source.book is not None and source.book.is_empty(source.sheet):
                    notes.append(f"{source.name}: not read, since the sheet is empty")
                else:
                    taken.append(replace(source, rules=rules))
                continue
            table, note, is_left = _table_of(source, reading.files)
        except RecordsError as fault:
            # said of a workbook, it holds for each of its sheets
            known = [other.text() for other in faults]
            faults += [] if fault.text() in known else [fault]
            continue
        notes += [note] if note else []
        unread += [source.name] if is_left else []
        taken += [replace(source, table=table)] if table else []
    taken.sort(key=lambda source: source.name)
    against = {source.name: [*contradictions(reading, source)] for source in taken}
    faults += [fault for each in against.values() for fault in each]
    notes += _copies({source.file.name: source.sha256 for source in kept})
    _refuse_none(there, records_dir)
    # a table that a fault hides would be told twice
    faults += [] if faults else _lacking(taken, there, records_dir, notes)
    sound = [source for source in taken if not against[source.name]]
    return TakenIn(sound, notes, sorted(unread), tuple(faults))


def not_read(ending: str) -> str:
    """Say why a file of an ending that nothing reads is not read, and what to do."""
    if ending in LEGACY_ENDINGS:
        return f"it is a {ending} file; save it as .xlsx"
    if not ending:
        return "it has no ending; add .csv to its name if it is a table"
    return f"a {ending} file is no table"


def _other_ending(name: str) -> str:
    ending = PurePosixPath(name).suffix.lower()
    said = f"{name}: not read, since {not_read(ending)}"
    if ending in LEGACY_ENDINGS:
        return said
    return f"{said}{';' if ending else ', or'} name it under [records] ignore"


def _all_offered(
    files: Sequence[RecordFile], reading: Reading
) -> tuple[list[Source], list[AppError]]:
    """Give what all files offer, and what is wrong with those that cannot be opened."""
    offered: list[Source] = []
    faults: list[AppError] = []
    for file in files:
        try:
            for source in _offered(file):
                offered += _tables_of(source, reading)
        except RecordsError as fault:
            faults.append(fault)
    return offered, faults


def _offered(file: RecordFile) -> list[Source]:
    """Give a file, or each sheet of a workbook, before its table is known."""
    sha = file.sha256
    if file.ending not in WORKBOOK_ENDINGS:
        return [Source(file.name, file, sha)]
    # late: naming needs no reader
    from queen_outcomes.records.workbook import open_workbook

    book = open_workbook(file.content, file.name)
    file.forget()
    return [
        Source(f"{file.name}#{sheet}", file, sha, sheet=sheet, book=book)
        for sheet in book.sheets
    ]


def _tables_of(source: Source, reading: Reading) -> list[Source]:
    """Give a source, and the tables below its first as sources of their own."""
    habits = reading.habits_of(source.name)
    begins = habits.tables_below
    if not begins or source.file.ending == PARQUET_ENDING:
        return [source]
    from queen_outcomes.records import below, delimited  # late: naming needs no reader

    def named(begin: str, **parts: Any) -> Source:
        name = f"{source.name}{BELOW}{begin}" if begin else source.name
        return replace(source, name=name, below=begin, **parts)

    book = source.book
    if book is not None:
        found = below.spans_of_sheet(book.read(source.sheet), begins)
        books = {
            begin: below.BookPart(book, source.sheet, rows) for begin, rows in found.items()
        }
        form = books[""] if habits.form else None
        return [
            named(begin, book=part, above=form if begin else None)
            for begin, part in books.items()
        ]
    encoding, file = habits.encoding or delimited.OTHER, source.file
    there = below.text_parts(file.content, file.name, encoding, begins)
    return [
        named(begin, file=LinesOfFile(file.name, file.path, file, encoding, begins, begin))
        for begin in there
    ]


def _table_of(
    source: Source, files: Mapping[str, tuple[str, ...]]
) -> tuple[str | None, str | None, bool]:
    """Give a source's table, or a note that says why it has none and if it is left unread."""
    name, sheet, book = source.name, source.sheet, source.book
    if source.below:
        table = table_by_pattern(name, files) or table_named(source.below)
    elif book is None:
        table = table_by_pattern(name, files) or table_of_file(name)
    else:
        table = _table_of_sheet(source, book, files)
        if table is None and sheet == GUIDE:  # the blank workbook's own words
            return None, None, False
        if book.is_empty(sheet):
            note = f"{name}: not read, since the sheet is empty" if table else None
            return None, note, False
    return (table, None, False) if table else (None, _belongs_nowhere(name), True)


def _table_of_sheet(
    source: Source,
    book: Workbook | WorkbookElsewhere | BookPart,
    files: Mapping[str, tuple[str, ...]],
) -> str | None:
    """Give a sheet's table: its own pattern or name first, then its workbook's."""
    own = table_by_pattern(source.name, files) or table_named(source.sheet)
    if own:
        return own
    name = source.file.name
    claimed = table_by_pattern(name, files)
    whole = claimed or table_of_file(name)
    if whole is None:
        return None
    filled = [other for other in book.sheets if not book.is_empty(other)]
    if len(filled) <= 1:
        return whole
    if claimed and not any(map(table_named, filled)):
        raise RecordsError(
            "the workbook has several sheets and the settings do not say which",
            where=name,
            found=", ".join(filled),
            hint=f'write "{name}#Sheet" under [tables] in station.toml',
        )
    return None


def _belongs_nowhere(name: str) -> str:
    close = nearest_table(name.replace("#", "/"))
    ask = f'; was "{close}" meant?' if close else ""
    return f"{name}: not read, since its name is that of no table{ask}"


def loud_note(unread: Sequence[str]) -> list[str]:
    """Say that files were left unread, and what to do; nothing where all were read."""
    if not unread:
        return []
    one = len(unread) == 1
    names = shorten([f'"{name}"' for name in unread], ", ")
    return [
        f"NOT READ: {len(unread)} file{'' if one else 's'} or sheet{'' if one else 's'} "
        f"in records/ ({names}). Say in station.toml what {'it is' if one else 'they are'} "
        f"with [[read]] or [tables], or write under [records]: ignore = [{names}]"
    ]


def _copies(digests: Mapping[str, str]) -> list[str]:
    first: dict[str, str] = {}
    notes = []
    for name, sha in sorted(digests.items()):
        original = first.setdefault(sha, name)
        if original != name:
            notes.append(f"{name}: the same file, byte for byte, as {original}")
    return notes


def _refuse_none(found: Sequence[RecordFile], records_dir: Path) -> None:
    if not found:
        raise RecordsError(
            "the folder of records is empty",
            where=str(records_dir),
            expected="files named for their tables: " + ", ".join(TABLES),
            hint="put the station's tables there as .csv, .xlsx, .ods or .parquet",
        )


def _starts(names: Iterable[str]) -> tuple[str, ...]:
    """Give how notes on files, or on sheets of them, begin."""
    return tuple(f"{name}{sign}" for name in names for sign in ":#")


def _lacking(
    taken: Sequence[Source],
    found: Sequence[RecordFile],
    records_dir: Path,
    notes: Sequence[str],
) -> list[RecordsError]:
    """Say which tables that there must be are not there."""
    there = {table for source in taken for table in source.tables}
    lacking = [t.name for t in TABLES.values() if t.required and t.name not in there]
    if not lacking:
        return []
    names = {nearest_table(file.name): file.name for file in reversed(found)}
    named_so = [names[one] for one in lacking if table_of_file(names.get(one, "")) == one]
    meant = [
        f'"{names[one]}" for {one}'
        for one in lacking
        if one in names and names[one] not in named_so
    ]
    # of a file that has the table's own name, what kept it from being read
    why = [note for note in notes if note.startswith(_starts(named_so))]
    named = " and ".join(f'"{one}"' for one in lacking)
    several = len(lacking) > 1
    return [
        RecordsError(
            f"the table{'s' if several else ''} {named} {'are' if several else 'is'} "
            "missing",
            where=str(records_dir),
            found=shorten([file.name for file in found], ", "),
            expected=f"files or sheets named {' and '.join(lacking)}",
            hint=(f"{shorten(why)}; " if why else "")
            + (f"was {', '.join(meant)} meant? " if meant else "")
            + "`queen-outcomes map` finds out what your own files hold; or rename them, "
            "or name them under [tables] in station.toml",
        )
    ]
