"""Which sheets and rows are records, and of which table."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from pathlib import PurePosixPath

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings_form import MOST_SLOTS
from queen_outcomes.records.map.asked.labels import key_of
from queen_outcomes.records.map.asked.questions import (
    LEAVE,
    NO,
    READ,
    YES,
    Question,
    question_id,
)
from queen_outcomes.records.map.seen.contents import MOST, day_of, number_of
from queen_outcomes.records.map.seen.deeds import (
    NO_RECORD,
    TABLES_OF_DEEDS,
    Deed,
    Given,
    tables_named,
)
from queen_outcomes.records.map.seen.feeds import too_wide
from queen_outcomes.records.map.seen.sheet import Sheet
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.sources import ENDINGS, LEGACY_ENDINGS, table_named

_SHOWN = 5
_DIARY_ROWS = 3
_COPY_SHARE = 0.9
_COPY_NAME = re.compile(
    r"\(\d+\)|\b(copy|kopie|kopia|copie|copia|backup|bak|old|alt|sicherung|kopi)\b|- copy",
    re.IGNORECASE,
)
_MOST_ROWS = {"inseminations": 2, "exits": 1.2}
"""Rows a queen, on average, above which a sheet may hold other things too."""
_MOST_DEEDS = 20
"""A column that says what was done has no more words for it."""
_FEW_DAYS = 1
"""A sheet with so many days may hold records, whatever its headings."""
_FEW_LIKE_DAYS = 3
"""And so with so many texts in a column that look like days, and cannot be read as such."""
_LIKE_DAY = re.compile(
    r"(?<![\d.,/-])\d{1,2}\s?[./-]\s?\d{1,2}(?:\.|[./-]\s?\d{2,4}\.?)?(?![\d/-])"
)


def rows_apart(station: Station) -> list[Question]:
    """Ask about rows that are struck through or hidden."""
    questions = []
    for sheet in station.sheets:
        if not station.parts_of(sheet.source):
            continue
        for kind, words in (("struck", "struck through"), ("hidden", "hidden")):
            rows = [row for row in sheet.rows if getattr(row, kind)]
            if rows:
                lines = ", ".join(str(row.line) for row in rows[:_SHOWN])
                questions.append(
                    Question(
                        question_id(kind, sheet.source),
                        f'Are the {len(rows)} rows of "{sheet.source}" that are {words} records?',
                        [f"rows {lines}" + (" ..." if len(rows) > _SHOWN else "")],
                        {READ: "read them like the others", LEAVE: "pass them over"},
                        default=READ if kind == "hidden" else None,
                        sources=(sheet.source,),
                    )
                )
    return questions


def journals(station: Station) -> list[Question]:
    """Ask about sheets in which queens stand more often than a table allows.

    A journal of all that happened has a queen and a day in every row as well.
    """
    questions: dict[str, Question] = {}
    for part in station.parts:
        name = question_id("rows", part.source, part.table)
        if part.feed.only:
            continue  # its rows are told by what they say was done
        if name in questions:
            continue  # a wide sheet may feed a table by several rules
        labels = Counter(part.texts("queen_id"))
        rows = sum(labels.values())
        done = diary = _things_done(part)
        if part.feed.untold:
            done = [*diary, "nothing but a queen and a day says so"]
        if rows <= _MOST_ROWS.get(part.table, rows) * len(labels) and not done:
            continue
        questions[name] = Question(
            name,
            f'Is every row of "{part.source}" one of {part.table}?',
            [f"{len(labels)} queens stand in {rows} rows", *done],
            {
                YES: "every row is",
                NO: "not so: leave the sheet unread"
                + (", and write a [[read]] with `only` for each thing done" if diary else ""),
            },
            sources=(part.source,),
        )
    return list(questions.values())


def _things_done(part: Part) -> list[str]:
    """Say which column of a diary tells what was done: it names what several tables hold."""
    told = []
    used = {h for name in part.feed.columns for h in part.feed.headings(name)}
    for column in part.sheet.columns:
        held, counts = column.contents, column.contents.counts
        if column.name in used or not 1 < len(counts) <= _MOST_DEEDS:
            continue
        if held.filled < MOST * len(held.cells):
            continue  # a diary says it in every row; fates stand in some
        topics = {text: tables_named(text) for text in counts}
        named = sum(n for text, n in counts.items() if topics[text])
        if named < MOST * held.filled or len(set().union(*topics.values())) < 2:
            continue
        if all(part.table in found for found in topics.values()):
            continue
        shown = ", ".join(f'"{text}" ({n})' for text, n in counts.most_common(_SHOWN))
        told.append(f'"{column.name}" says {shown}')
    return told


def diaries(deeds: list[Deed], settled: Given) -> list[Question]:
    """Ask of every text which table its rows belong to.

    Parameters
    ----------
    deeds : list of Deed
    settled : mapping
        What the settings say of texts under the same heading, for the defaults.
    """
    return [
        Question(
            deed.id,
            f'Which table do the {len(deed.rows)} rows with "{deed.text}" under '
            f'"{deed.heading}" belong to?',
            _diary_rows(deed, settled),
            {
                **{table: TABLES[table].grain for table in TABLES_OF_DEEDS},
                NO_RECORD: "none: they are counted, and not read",
            },
            default=settled.get(deed.key) or deed.likely or None,
            sources=deed.sources,
        )
        for deed in deeds
    ]


def _diary_rows(deed: Deed, settled: Given) -> list[str]:
    shown = [
        " | ".join(cell.text for cell in row.cells if cell.text)
        for _, row in deed.rows[:_DIARY_ROWS]
    ]
    nobody = ["no row of them names a queen"] if deed.names_nobody else []
    return [*(["so say the settings"] if deed.key in settled else []), *nobody, *shown]


def void(station: Station) -> list[Question]:
    """Ask about rows that call themselves void."""
    return [
        Question(
            question_id("void", sheet.source),
            f'Are the rows of "{sheet.source}" that call themselves void no records?',
            [f'"{first}": "{words}"' for first, words in sheet.void.items()],
            {LEAVE: "they are none: pass them over", READ: "read them like the others"},
            sources=(sheet.source,),
        )
        for sheet in station.sheets
        if sheet.void and station.parts_of(sheet.source)
    ]


def no_records(station: Station) -> list[Question]:
    """Ask about sheets that feed no table, but for forms that are still to be filled in."""
    homes = {
        key_of(t)
        for part in station.of("inseminations")
        for t in part.texts("queen_id")
    }
    questions = []
    for sheet in station.no_records:
        if sheet.grid.problem or sheet.is_form:
            continue
        headings = ", ".join(column.name for column in sheet.columns if column.name)
        labels = _labels_in(sheet, homes)
        days = _days_in(sheet)
        evidence = [f"headings: {headings}" if headings else "no headings were found"]
        if labels:
            evidence.append(f"{labels} labels of inseminated queens stand in it")
        if days:
            evidence.append(f"{days} days stand in one column")
        like_days = [] if days else _like_days(sheet)
        if len(like_days) >= _FEW_LIKE_DAYS:
            shown = ", ".join(f'"{text}"' for text in like_days[:_SHOWN])
            evidence.append(
                f"{len(like_days)} texts in one column look like days, and have no year or "
                f"cannot be read: {shown}"
            )
        if wide := too_wide(sheet):
            evidence.append(
                f"{wide} looks or doses stand side by side, and a row may hold {MOST_SLOTS}: "
                "part the sheet into several, each with the queens' labels"
            )
        questions.append(
            Question(
                question_id("ignore", sheet.source),
                f'No table was found in "{sheet.source}"; is it no record?',
                evidence,
                {
                    YES: "it is no record: leave it out",
                    NO: "it is; its columns are to be set by hand",
                },
                default=None
                if labels > 1
                or days >= _FEW_DAYS
                or len(like_days) >= _FEW_LIKE_DAYS
                or _is_named(sheet.source)
                else YES,
                sources=(sheet.source,),
            )
        )
    unopened = [
        Question(
            question_id("ignore", sheet.source),
            f'Nothing could be read in "{sheet.source}"; leave it out?',
            [sheet.grid.problem],
            {YES: "leave it out", NO: "it holds records: save it in another form"},
            default=None if _is_sheet(sheet.source) or _is_named(sheet.source) else YES,
            sources=(sheet.source,),
        )
        for sheet in station.not_opened
    ]
    return questions + unopened


def _labels_in(sheet: Sheet, homes: set[str]) -> int:
    """Count the labels of inseminated queens in the column that holds most of them.

    Headings or not: a sheet whose headings nobody knows may hold records all the same.
    Bare numbers are labels of too many things to say so.
    """
    columns: dict[int, set[str]] = defaultdict(set)
    for row in sheet.grid.rows:
        for at in row.filled:
            if not row.cells[at].text.isdigit():
                columns[at].add(key_of(row.cells[at].text))
    return max((len(texts & homes) for texts in columns.values()), default=0)


def _is_sheet(file: str) -> bool:
    """Tell whether a file that was not opened may be of a kind that holds records."""
    return PurePosixPath(file).suffix.lower() in ("", *ENDINGS, *LEGACY_ENDINGS)


def _is_named(source: str) -> bool:
    """Tell whether a file or sheet has the name of a table, whatever stands in it."""
    parts = source.split("#")  # the sign may stand in the names of both as well
    files = ("#".join(parts[:at]) for at in range(1, len(parts) + 1))
    sheets = ("#".join(parts[at:]) for at in range(1, len(parts)))
    return any(map(table_named, (*(PurePosixPath(file).stem for file in files), *sheets)))


def _days_in(sheet: Sheet) -> int:
    """Count the days in the column that holds most of them."""
    counts: Counter[int] = Counter()
    for row in sheet.grid.rows:
        for at in row.filled:
            seen = day_of(row.cells[at].text)
            counts[at] += row.cells[at].kind == "date" or bool(
                seen and not seen.yearless
            )
    return max(counts.values())


def _like_days(sheet: Sheet) -> list[str]:
    """Give the texts that look like days, of the column that holds most of them.

    Days without a year, or behind a weekday of a language that nobody taught us.
    """
    columns: dict[int, list[str]] = defaultdict(list)
    for row in sheet.grid.rows:
        for at in row.filled:
            text = row.cells[at].text
            seen = day_of(text)
            if number_of(text) is None and (seen or _LIKE_DAY.search(text)):
                columns[at].append(text)
    return max(columns.values(), key=len, default=[])


def copies(station: Station) -> list[Question]:
    """Ask about sheets whose rows nearly all stand in another sheet as well."""
    questions = []
    rows = {
        sheet.source: [tuple(c.text for c in row.cells if c.text) for row in sheet.rows]
        for sheet in station.sheets
        if station.parts_of(sheet.source)
    }
    kept = list(rows)
    for source in sorted(rows, key=lambda s: (not looks_copied(s), len(rows[s]), s)):
        if source not in kept or not rows[source]:
            continue
        for other in kept:
            if other == source or not _same_tables(station, source, other):
                continue
            have = set(rows[other])
            shared = sum(row in have for row in rows[source])
            if shared >= _COPY_SHARE * len(rows[source]):
                kept.remove(source)
                questions.append(
                    _copy_question(source, other, shared, len(rows[source]))
                )
                break
    return questions


def looks_copied(source: str) -> bool:
    """Tell whether a file's name is one that programs and people give to copies."""
    return bool(_COPY_NAME.search(PurePosixPath(source.partition("#")[0]).name))


def _same_tables(station: Station, one: str, other: str) -> bool:
    return {p.table for p in station.parts_of(one)} == {
        p.table for p in station.parts_of(other)
    }


def _copy_question(source: str, other: str, shared: int, total: int) -> Question:
    return Question(
        question_id("copy", source),
        f'Is "{source}" a copy of "{other}"?',
        [f"{shared} of its {total} rows stand in the other as well"],
        {YES: "leave it out", NO: "read both"},
        default=YES,
        sources=(source,),
    )
