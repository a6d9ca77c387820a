"""Diaries: sheets in which a row is one thing done, and a column says what.

Finds that column and its texts, of each of which is asked which table its rows belong to,
and gives every table its own rows and what it can take from the headings that all of them share.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.headings import tidy
from queen_outcomes.records.map.seen import meanings
from queen_outcomes.records.map.seen.contents import MOST, is_ditto
from queen_outcomes.records.map.seen.feed import Feed, Use, unit_of
from queen_outcomes.records.map.seen.feeds import allocated
from queen_outcomes.records.map.seen.fits import FINDINGS, MAIN_DATE, can_hold, ours_of
from queen_outcomes.records.map.seen.headings import heading
from queen_outcomes.records.map.seen.opened import Cell, Row
from queen_outcomes.records.map.seen.sheet import Sheet, SheetColumn
from queen_outcomes.records.map.seen.words import fold, vocabulary

NO_RECORD = "no record"
KIND = "deed"
TABLES_OF_DEEDS = ("inseminations", "co2", "placements", "checks", "exits", "semen", "queens", "lab")
"""The tables that rows of a diary may belong to, in the order of the options."""
_MOST_DEEDS = 20
"""A column that says what was done has no more words for it."""
_EACH = 2
"""So many rows, on average, each of its words stands in."""
_BY_HEADING, _BY_WORDS = 0.0, 0.5
"""The share of rows whose words name a table, under a heading that says "what", and under
any other."""
_PERHAPS = 0.55
"""How sure a column is that is taken for what stands in it: it is asked about."""

Given = Mapping[tuple[str, str], str]
"""(heading, text), both folded -> the table of its rows, or `NO_RECORD`."""


@dataclass(frozen=True)
class Deed:
    """One text of such a column, in all the diaries that have it under the same heading."""

    heading: str
    text: str
    rows: tuple[tuple[Sheet, Row], ...]

    @property
    def id(self) -> str:
        """The id of its question."""
        return f"{KIND}:{self.heading}:{self.text}"

    @property
    def key(self) -> tuple[str, str]:
        """What its answer is kept under."""
        return key_of(self.heading, self.text)

    @property
    def sources(self) -> tuple[str, ...]:
        """The diaries that it stands in."""
        return tuple(dict.fromkeys(sheet.source for sheet, _ in self.rows))

    @property
    def likely(self) -> str:
        """The table that its word names; `NO_RECORD` where no row names a queen; or nothing."""
        tables = tables_named(self.text)
        if len(tables) == 1 and _is_plain(self.text):
            return next(iter(tables))
        return NO_RECORD if not tables and self.names_nobody else ""

    @property
    def names_nobody(self) -> bool:
        """Whether its rows have nothing where others of their sheet have the queen."""
        return not any(row.text(at) for sheet, row in self.rows for at in _labels(sheet))


def key_of(name: str, text: str) -> tuple[str, str]:
    """Give a heading and a text as they are compared: as a build compares them."""
    return tidy(name).casefold(), " ".join(text.split()).casefold()


def tables_named(text: str) -> set[str]:
    """Give the tables whose records a word for something done may be."""
    said = heading(text)
    days = {table for table, day in MAIN_DATE.items() if day in said.of("column")}
    ends = fold(text) in vocabulary().words["reason"]
    return set(said.of("topic")) | days | ({"exits"} if ends else set())


def _is_plain(text: str) -> bool:
    """Tell whether all of a text is known, and none of it denies or asks: "IS?", "not seen"."""
    known = not heading(text).unknown or fold(text) in vocabulary().words["reason"]
    denials = meanings.denying()
    denied = any(f" {phrase} " in f" {fold(text)} " for phrase in denials)
    return known and not denied and "?" not in text


def _labels(sheet: Sheet) -> list[int]:
    return [
        column.at
        for column in sheet.columns
        if "queen" in column.heading.of("part") or "queen_id" in column.heading.of("column")
    ]


# -- the column -----------------------------------------------------------------------


def column_of(sheet: Sheet) -> SheetColumn | None:
    """Give the column that says what was done in each row; None where there is none.

    It is filled in nearly every row with few texts, and these name what several tables
    hold; under a heading that asks what was done, some of them do.
    """
    return next((column for column in sheet.columns if _tells(sheet, column)), None)


def _tells(sheet: Sheet, column: SheetColumn) -> bool:
    held, said = column.contents, column.heading
    asks = "deed" in said.of("part")
    if not column.name or (said.of("column") and not asks) or said.of("topic"):
        return False
    counts = Counter(text.casefold() for text in held.texts)
    if not 1 < len(counts) <= _MOST_DEEDS or held.filled < MOST * len(sheet.rows):
        return False
    if held.filled < _EACH * len(counts) or held.number_share or held.day_share:
        return False
    named = {text: tables_named(text) for text in counts}
    clear = {next(iter(tables)) for tables in named.values() if len(tables) == 1}
    share = sum(n for text, n in counts.items() if named[text]) / held.filled
    return len(clear) > 1 and share > (_BY_HEADING if asks else _BY_WORDS)


def with_short_rows(sheet: Sheet) -> Sheet:
    """Give a diary back the rows of two cells that say what was done, and to whom.

    Where most rows are longer they pass for notes between records.
    """
    column = column_of(sheet)
    if column is None:
        return sheet
    known = {text.casefold() for text in column.contents.texts}
    taken = {
        row.line
        for row in (*sheet.passed, *sheet.groups)
        if row.text(column.at).casefold() in known and len(row.filled) > 1
    }
    if not taken:
        return sheet
    rows = sorted(
        (*sheet.rows, *(row for row in sheet.passed if row.line in taken)),
        key=lambda row: row.line,
    )
    whole = replace(
        sheet, rows=rows, passed=[row for row in sheet.passed if row.line not in taken]
    )
    whole.columns = [_cut(column, rows) for column in sheet.columns]
    return whole


def _cut(column: SheetColumn, rows: list[Row]) -> SheetColumn:
    """Give a column as it stands in some rows."""
    cells = [row.cells[column.at] if column.at < len(row.cells) else Cell() for row in rows]
    return replace(column, contents=column.contents.of(cells))


# -- the questions ----------------------------------------------------------------------


def listed(sheets: list[Sheet]) -> list[Deed]:
    """List the different texts that say what was done, in the order of their number."""
    found: dict[tuple[str, str], list[tuple[Sheet, Row]]] = {}
    written: dict[tuple[str, str], tuple[str, str]] = {}
    for sheet in sheets:
        column = column_of(sheet)
        for row in sheet.rows if column else ():
            text = row.text(column.at)  # type: ignore[union-attr]
            if text and not is_ditto(text):
                key = key_of(column.name, text)  # type: ignore[union-attr]
                found.setdefault(key, []).append((sheet, row))
                written.setdefault(key, (column.name, text))  # type: ignore[union-attr]
    return sorted(
        (Deed(*written[key], tuple(rows)) for key, rows in found.items()),
        key=lambda deed: (deed.heading, -len(deed.rows), deed.text),
    )


def likely(deeds: list[Deed], said: Given) -> dict[tuple[str, str], str]:
    """Give the table of each text: as answered, else as its word says; or nothing."""
    given = {deed.key: said.get(deed.key) or deed.likely for deed in deeds}
    return {key: table for key, table in given.items() if table}


# -- the rows of a table --------------------------------------------------------------


def parts(sheet: Sheet, given: Given, known_ids: frozenset[str]) -> Iterator[tuple[Sheet, Feed]]:
    """Give each table's rows of a diary, and what fills its columns.

    Parameters
    ----------
    sheet : Sheet
    given : mapping
        Which table each text's rows belong to.
    known_ids : frozenset of str
        As in `feeds.find`.
    """
    column = column_of(sheet)
    if column is None:
        return
    texts: dict[str, list[str]] = {}
    for text in dict.fromkeys(column.contents.texts):
        table = given.get(key_of(column.name, text), NO_RECORD)
        if table != NO_RECORD:
            texts.setdefault(table, []).append(text)
    filled = _days_down(sheet)
    for table in TABLES:
        if table not in texts:
            continue
        own = [row for row in filled.rows if row.text(column.at) in texts[table]]
        rows = replace(filled, rows=own, whole=sheet)
        rows.columns = [_cut(one, own) for one in filled.columns]
        feed = _feed(rows, column, table, known_ids)
        if _is_whole(feed):
            feed.only = {column.name: _each_once(texts[table])}
            yield rows, feed


def _each_once(texts: list[str]) -> list[str]:
    """Give texts that are one without case once, as they are written first."""
    return list({text.casefold(): text for text in reversed(texts)}.values())[::-1]


def no_record(sheet: Sheet, given: Given) -> dict[str, list[str]]:
    """Give the texts of a diary whose rows are no records, by their heading."""
    column = column_of(sheet)
    if column is None:
        return {}
    texts = [
        text
        for text in dict.fromkeys(column.contents.texts)
        if given.get(key_of(column.name, text)) == NO_RECORD
    ]
    return {column.name: _each_once(texts)} if texts else {}


def _days_down(sheet: Sheet) -> Sheet:
    """Fill the day that is written once into the rows below it: a table has some of them."""
    places = [c.at for c in sheet.columns if c.contents.filled and c.contents.day_share >= MOST]
    above: dict[int, Cell] = {}
    rows = []
    for row in sheet.rows:
        cells = list(row.cells)
        for at in places:
            if row.text(at):
                above[at] = row.cells[at]
            elif at in above and at < len(cells):
                cells[at] = replace(above[at], fill=cells[at].fill)
        rows.append(replace(row, cells=tuple(cells)))
    return replace(sheet, rows=rows)


def _feed(rows: Sheet, deed: SheetColumn, table: str, known_ids: frozenset[str]) -> Feed:
    columns = [column for column in rows.columns if column.at != deed.at]
    feed = allocated(rows, columns, table, known_ids)
    used = {name for each in feed.columns for name in feed.headings(each)}
    left = [
        column
        for column in columns
        if column.name and column.name not in used and column.contents.filled
    ]
    own = next(column for column in rows.columns if column.at == deed.at)
    take = _TAKEN.get(table)
    if take is not None:
        take(feed, left, own)
    return feed


def _is_whole(feed: Feed) -> bool:
    """Tell whether a rule has the columns without which no row is a record."""
    table = TABLES[feed.table]
    required = {column.name for column in table.columns if column.required}
    either = not table.either or set(table.either) & set(feed.uses)
    return required <= set(feed.uses) and bool(either)


def _number(feed: Feed, left: list[SheetColumn], name: str) -> None:
    """Take a column of numbers for a quantity of a table that no heading names."""
    kind = ours_of(feed.table, name).kind
    for column in left:
        if name not in feed.uses and can_hold(kind, name, column.contents) == 1:
            feed.uses[name] = Use([column.name], _PERHAPS, unit_of(column, feed.table, name))


def _dose(feed: Feed, left: list[SheetColumn], deed: SheetColumn) -> None:
    del deed
    _number(feed, left, "dose_ul")


def _minutes(feed: Feed, left: list[SheetColumn], deed: SheetColumn) -> None:
    del deed
    _number(feed, left, "minutes")


def _colony(feed: Feed, left: list[SheetColumn], deed: SheetColumn) -> None:
    del deed
    if "colony_id" not in feed.uses and left:
        most = max(left, key=lambda column: (column.contents.filled, -column.at))
        feed.uses["colony_id"] = Use([most.name], _PERHAPS)


def _words(feed: Feed, left: list[SheetColumn], deed: SheetColumn) -> None:
    """Take what is written of a look, in one heading or several, for its findings.

    A remark is among them: where the words for a look are nobody's own they stand anywhere.
    """
    if FINDINGS in feed.uses:
        return
    said = [*([deed] if _are_findings(deed) else []), *left]
    remark = feed.uses.get("note")
    texts = [c.name for c in said if can_hold("text", FINDINGS, c.contents) > 0]
    if remark is not None and (texts or not _tells_of_a_look(feed)):
        del feed.uses["note"]
        texts += remark.names
    if texts:
        feed.uses[FINDINGS] = Use(texts, _PERHAPS)


def _are_findings(deed: SheetColumn) -> bool:
    return any(meanings.of_findings(text) for text in deed.contents.counts)


def _tells_of_a_look(feed: Feed) -> bool:
    """Tell whether a rule has columns that say what was seen."""
    kinds = ("yes_no", "word", "number")
    return any(ours_of("checks", name).kind in kinds for name in feed.uses if name != FINDINGS)


def _reason(feed: Feed, left: list[SheetColumn], deed: SheetColumn) -> None:
    """Take the column whose words most are reasons; the word for what was done among them."""
    if "reason" in feed.uses:
        return
    choices = ours_of("exits", "reason").words

    def known(column: SheetColumn) -> float:
        held = column.contents
        return held.share(meanings.of_word(t, "reason", choices) for t in held.texts)

    filled = max((column.contents.filled for column in left), default=0)
    named = fold(deed.contents.texts[0]) if deed.contents.texts else ""
    says = all(fold(t) in vocabulary().words["reason"] for t in deed.contents.counts) and named
    among = [*left, *([deed] if says or not filled else [])]
    best = max(among, key=lambda column: (known(column), column.contents.filled), default=None)
    if best is not None and best.contents.filled:
        sure = 1.0 if known(best) >= MOST else _PERHAPS
        feed.uses["reason"] = Use([best.name], sure)


_TAKEN = {
    "inseminations": _dose,
    "co2": _minutes,
    "placements": _colony,
    "checks": _words,
    "exits": _reason,
}
"""What a table takes from headings that say nothing by themselves, such as "value"."""
