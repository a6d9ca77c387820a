"""SQL that reads cells: typed columns, and the text of what could not be read.

Texts are read by explicit rules: a cast is only tried on a text whose form has been
checked, since DuckDB's own casts take much that nobody meant (1e3, nan, 0x1F). Typed
columns of Parquet files are taken as they are. What does not fit is null with its text
beside it; nothing is guessed, and what other rows hold is never looked at.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts import languages
from queen_outcomes.facts.column import Column, Table
from queen_outcomes.facts.reading import BLANK_NO, FINDINGS, HOLE, NO, YES, CellRule
from queen_outcomes.records import days, numbers
from queen_outcomes.records.steps import (
    CellForm,
    Steps,
    case,
    extract,
    spaced,
    without_accents,
)

NORMALISE = "to_nfkc"
"""The function that the store must have before a cast runs: a text in NFKC."""
TICKS = ("x", "✓", "✔", "√", "+", "×", "☑")
"""What stands for yes alone in a cell. Crosses (✗, ✘) are yes to some and no to others,
so only the settings can say."""
NO_SCORE = "which is none of the scores that its settings explain"
CHECKER = "checker"
FINDINGS_UNREAD = f"{FINDINGS}__unread"
_SPACES = (
    " \t\r\n\v\f\u00a0\u202f\u2007\u3000\ufeff"
    "\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2008\u2009\u200a\u200b"
)
_CONTROLS = r"[\t-\r]"
"""Tab, line ends and the two between: one expression is planned sooner than five."""
_LETTER, _CAPITAL = r"[^\d\s.,;:!?()/+-]", "[A-ZÀ-ÖØ-ÞĄĆČĎĘĚŁŃŇŘŚŠŤŮŹŻŽ]"
_TICKED = (
    rf"[✓✔√☑] ?({_LETTER}{{1,4}}|(?:{_LETTER}\. ?){{1,4}}{_LETTER}?)"
    rf"|[xX+×] ({_CAPITAL}{{2,4}}|(?:{_CAPITAL}\. ?){{1,4}})"
)
"""A tick and who put it. After a letter that may begin a word, only capitals are."""
WHOLE = (
    *("TINYINT", "SMALLINT", "INTEGER", "BIGINT", "HUGEINT"),
    *("UTINYINT", "USMALLINT", "UINTEGER", "UBIGINT", "UHUGEINT"),
)
FLOAT = ("FLOAT", "DOUBLE")
MOMENTS = ("DATE", "TIMESTAMP", "TIMESTAMP_S", "TIMESTAMP_MS", "TIMESTAMP_NS")
QUANTITIES = ("number", "integer", "date", "datetime")
ZONED = "TIMESTAMP WITH TIME ZONE"


# --- a whole row


def staged_columns(table: Table) -> dict[str, str]:
    """Give the columns of a staged table and their types, in order."""
    columns = {
        "ref": "BIGINT",
        "source_no": "INTEGER",
        "source_line": "BIGINT",
        "broken": "VARCHAR",
    }
    return columns | _read_columns(table)


def _read_columns(table: Table) -> dict[str, str]:
    """Give the staged columns that hold what was read, and what was not."""
    columns = {}
    for column in table.columns:
        columns[column.name] = column.sql_type
        if column.unread:
            columns[column.unread] = "VARCHAR"
        if column.why:
            columns[column.why] = "VARCHAR"
        if column.parts:
            columns[column.parts] = "BIGINT"
    if table.findings:
        columns[FINDINGS_UNREAD] = "VARCHAR"
    return columns


@dataclass(frozen=True)
class WrittenColumn:
    """Where the cells of one of our columns stand in a source, and how they are read."""

    columns: tuple[str, ...] = ()
    """Of the raw table; several are joined by a blank."""
    rule: CellRule = field(default_factory=CellRule)
    value: str | None = None
    """A text that stands in every row, in place of columns."""


@dataclass(frozen=True)
class _Cell:
    """SQL of one column's cells in the SELECT of their source."""

    column: Column
    rule: CellRule
    cell: str
    """The name that the cell has."""
    sql: str
    """The cell in the raw table."""
    text: str
    """SQL of the clean text."""
    value: str
    blank: str
    """SQL that is TRUE where nothing is written."""
    made: bool = False
    """The text is made for every row, under the name that ``text`` then is."""


@dataclass(frozen=True)
class CellReader:
    """How the cells of one source are read as the columns of one table.

    Most cells have a plain form and are read where the rows are copied, by `select`;
    `read_again` takes the texts that are then left, each once, through more steps.
    """

    table: Table
    form: CellForm

    def select(
        self,
        written: Mapping[str, WrittenColumn],
        relation: str,
        types: Mapping[str, str],
        also: Mapping[str, Sequence[tuple[str, str]]] | None = None,
    ) -> str:
        """Write the SELECT that reads a source's columns.

        Parameters
        ----------
        written : mapping
            Our column, or `FINDINGS` -> where its cells stand and how they are read.
        relation : str
            SQL of what gives the rows, such as a raw table.
        types : mapping
            The relation's column -> its DuckDB type.
        also : mapping, optional
            Our column -> (a condition over the relation, what it sets as text): used
            where neither the column's own cell nor a finding says anything.

        Returns
        -------
        str
            A SELECT of source_line, broken and the columns after it in `staged_columns`.
        """
        first = ["source_line"]
        first.append("broken" if "broken" in types else "NULL::VARCHAR AS broken")
        cells = {
            column.name: self._cell(place, column, written[column.name], types)
            for place, column in enumerate(self.table.columns)
            if column.name in written
        }
        first += [f"{one.sql} AS {one.cell}" for one in cells.values()]
        texts = ["*", *(f"{_text(c)} AS {c.text}" for c in cells.values() if c.made)]
        for name, conditions in (also or {}).items():
            column = self.table.column(name)
            sets = [(when, known_value(column, text)) for when, text in conditions]
            first.append(f"{case(sets)} AS also_{name}")
        found = written.get(FINDINGS) if self.table.findings else None
        if found:
            first.append(f"{joined_text(found, types, moment=False)} AS findings")
            text = clean_text("findings", "VARCHAR", found.rule.empty)
            key = f"replace({spaced(f'lower({text})')}, 'ß', 'ss')"
            texts.append(f"{key} AS findings_key")
            if found.rule.parts:
                alike = literal(_alternatives(found.rule))
                texts.append(f"regexp_extract_all({key}, {alike}) AS findings_parts")
                texts.append(f"regexp_replace({key}, {alike}, ' ', 'g') AS findings_rest")
        values = ["*", *(f"{one.value} AS value_{n}" for n, one in cells.items())]
        if found and found.rule.parts:
            values.append(f"{_made_of_parts(found.rule)} AS findings_made")
        outer = self._outer(cells, found.rule if found else None, set(also or {}))
        return (
            f"SELECT source_line, broken, {', '.join(outer)} FROM "
            f"(SELECT {', '.join(values)} FROM (SELECT {', '.join(texts)} "
            f"FROM (SELECT {', '.join(first)} FROM {relation})))"
        )

    def _cell(
        self,
        place: int,
        column: Column,
        written: WrittenColumn,
        types: Mapping[str, str],
    ) -> _Cell:
        cell, rule = f"cell_{place}", written.rule
        moment = column.kind in ("date", "datetime")
        if len(written.columns) == 1:
            sql, sql_type = quote(written.columns[0]), types[written.columns[0]]
        else:
            sql = joined_text(written, types, moment=moment, summed=column.summed)
            sql_type = "VARCHAR"
        native = None if rule.scores else native_value(column, cell, sql_type)
        if native is None and sql_type != "VARCHAR":
            # a Parquet column may have any type, where ours is none that it could be
            sql, sql_type = f"CAST({sql} AS VARCHAR)", "VARCHAR"
        blank = f"{cell} IS NULL"
        if sql_type == "VARCHAR":
            blank = f"coalesce(trim({cell}, {literal(_SPACES)}), '') = ''"
        if native is not None:
            value, plain = native
            if rule.words and column.kind in ("number", "integer"):
                fits = column.kind == "number"
                meant = {
                    # a count that is no whole number stays unread, as in a text
                    word: our if fits or float(our).is_integer() else "NULL"
                    for word, our in _station(rule.words).items()
                }
                value = f"CASE {_cases(_score_key(plain), meant)} ELSE {value} END"
            read = _shifted(column, _in_our_unit(column, value, rule), rule)
            read = _filled(read, plain, rule)
            return _Cell(column, rule, cell, sql, plain, read, blank)
        plain = clean_text(cell, sql_type, rule.empty)
        if column.kind in ("yes_no", "word"):
            choice = _filled(_choice(column, cell, plain, rule), plain, rule)
            return _Cell(column, rule, cell, sql, plain, choice, blank)
        text = f"text_{place}"
        value = self._value(column, cell, text, rule)
        return _Cell(column, rule, cell, sql, text, value, blank, made=True)

    def _value(self, column: Column, cell: str, text: str, rule: CellRule) -> str:
        if rule.scores:
            known = {s: f"{float(per)!r}::DOUBLE" for s, per in rule.scores.items()}
            return f"CASE {_cases(_score_key(text), known)} END"
        match column.kind:
            case "text":
                own = text if rule.words else f"{cell}::VARCHAR"
                return f"CASE WHEN {text} IS NOT NULL THEN {own} END"
            case "id" | "label":
                return label(text, is_id=column.kind == "id")
            case "number":
                value = numbers.plain_number(text, rule.decimal, self.form)
                return _in_our_unit(column, value, rule)
            case "integer":
                return numbers.plain_integer(text, rule.decimal)
            case _:
                read = days.plain_moment(
                    text, rule.order, self.form, turned=rule.turned
                )
                return _shifted(column, f"CAST({read} AS {column.sql_type})", rule)

    def read_again(
        self, store: Store, written: Mapping[str, WrittenColumn], where: str
    ) -> None:
        """Read the texts that have none of the plain forms, each once.

        Parameters
        ----------
        store : Store
            Holds ``staged_<table>``, in which what is now read takes its place; of the
            rest the reason is written down.
        written : mapping
            Our column -> how its cells are read.
        where : str
            SQL that is TRUE for the staged rows of this source.
        """
        staged = quote(f"staged_{self.table.name}")
        columns = [
            column
            for column in self.table.columns
            if column.name in written and column.unread and column.kind != "word"
        ]
        if not columns:
            return
        counts = ", ".join(f"count({quote(str(column.unread))})" for column in columns)
        (unread,) = store.rows(f"SELECT {counts} FROM {staged} WHERE {where}")
        for column, count in zip(columns, unread, strict=True):
            if count:
                self._read_again(store, column, written[column.name].rule, where)

    def _read_again(
        self, store: Store, column: Column, rule: CellRule, where: str
    ) -> None:
        staged, unread = quote(f"staged_{self.table.name}"), quote(str(column.unread))
        name = quote(column.name)
        own = _meant(column, rule)
        text = unread
        if own and column.kind != "yes_no":
            text = f"CASE {_cases(_word_key(unread), own)} ELSE {unread} END"
        texts = (
            f"SELECT DISTINCT {unread} AS written, {text} AS text "
            f"FROM {staged} WHERE {where} AND {unread} IS NOT NULL"
        )
        read = self._steps(column, rule).select(texts)
        store.execute(f"CREATE OR REPLACE TEMP TABLE read_again AS {read}")
        sets = {
            name: f"coalesce(r.value, {staged}.{name})",
            unread: f"CASE WHEN r.value IS NULL THEN {staged}.{unread} END",
        }
        if column.why:
            sets[quote(column.why)] = "r.why"
        if column.parts:
            sets[quote(column.parts)] = "r.parts"
        if column.kind == "yes_no" and CHECKER in self.table.names:
            sets[CHECKER] = f"coalesce({staged}.{CHECKER}, r.initials)"
        listing = ", ".join(f"{name} = {sql}" for name, sql in sets.items())
        store.execute(
            f"UPDATE {staged} SET {listing} FROM read_again AS r "
            f"WHERE {where} AND {staged}.{unread} = r.written"
        )
        store.drop("read_again")

    def _steps(self, column: Column, rule: CellRule) -> Steps:
        if rule.scores:
            return Steps("NULL::DOUBLE", why=literal(NO_SCORE))
        if column.kind == "yes_no":
            return _ticks(rule)
        if column.kind in ("number", "integer"):
            return numbers.steps(column, rule, self.form)
        read = days.steps(rule, self.form)
        value = _shifted(column, f"CAST({read.value} AS {column.sql_type})", rule)
        return replace(read, value=value)

    # --- what comes of a row's cells together

    def _outer(
        self, cells: Mapping[str, _Cell], found: CellRule | None, also: set[str]
    ) -> list[str]:
        outer = []
        dated = self._has_date(cells)
        for column in self.table.columns:
            one = cells.get(column.name)
            said = [f"value_{column.name}"] if one else []
            if found:
                said += _found(column, found)
            if column.name in also:
                said.append(f"also_{column.name}")
            if one and one.rule.blank == BLANK_NO and dated:
                said += _blank(one, dated)
            whole = said[0] if len(said) == 1 else f"coalesce({', '.join(said)})"
            outer.append(whole if said else f"NULL::{column.sql_type}")
            if column.unread:
                # only a cell that was not read needs its text, so only there is it made
                unread = one and (
                    f"CASE WHEN value_{column.name} IS NULL AND {one.cell} IS NOT NULL "
                    f"THEN {_plain_text(one)} END"
                )
                outer.append(unread or "NULL::VARCHAR")
            outer += ["NULL::VARCHAR"] if column.why else []
            outer += ["NULL::BIGINT"] if column.parts else []
        if self.table.findings:
            outer.append(_unknown_finding(found) if found else "NULL::VARCHAR")
        return outer

    def _has_date(self, cells: Mapping[str, _Cell]) -> str:
        """Give SQL that is TRUE for a row with a date; empty where none can have one.

        The required date decides, or any where the table requires none. That it can be
        read is not asked: a row whose date cannot be is not used.
        """
        dates = [c for c in self.table.columns if c.kind in ("date", "datetime")]
        deciding = [c for c in dates if c.required] or dates
        there = [f"NOT ({cells[c.name].blank})" for c in deciding if c.name in cells]
        return f"({' OR '.join(there)})" if there else ""


def joined_text(
    written: WrittenColumn, types: Mapping[str, str], *, moment: bool, summed: bool = False
) -> str:
    """Give SQL of the text that several cells make together, or a constant.

    Figures of a column that may be a sum are its parts: "4" beside "4" is "4 + 4".
    """
    if written.value is not None:
        return literal(written.value)
    texts = []
    for name in written.columns:
        text = clean_text(quote(name), types[name], written.rule.empty)
        texts.append(days.joined(text) if moment else text)
    if summed:
        more = (f"regexp_replace({text}, '^([0-9])', '+ \\1')" for text in texts[1:])
        joined = f"concat_ws(' ', {', '.join((texts[0], *more))})"
        return f"nullif(regexp_replace({joined}, '^\\+ ', ''), '')"
    whole = f"concat_ws(' ', {', '.join(texts)})"
    if moment and len(texts) > 1:
        whole = days.with_year(whole)
    return f"nullif({whole}, '')"


def _text(one: _Cell) -> str:
    """Give SQL of a cell's text; the station's words for a value are taken as ours."""
    plain = clean_text(one.cell, "VARCHAR", one.rule.empty)
    if not one.rule.words:
        return plain
    return f"CASE {_cases(_word_key(plain), _meant(one.column, one.rule))} ELSE {plain} END"


def _meant(column: Column, rule: CellRule) -> dict[str, str]:
    """Give the station's words of a column, and SQL of ours for each as a cell has it."""
    numeric = column.kind in ("number", "integer")
    return {
        word: literal(our.replace(".", rule.decimal) if numeric else our)
        for word, our in _station(rule.words).items()
    }


def _plain_text(one: _Cell) -> str:
    """Give SQL of what stands in a cell, not of our word for it."""
    if one.made and one.rule.words:
        return clean_text(one.cell, "VARCHAR", one.rule.empty)
    return one.text


def _in_our_unit(column: Column, value: str, rule: CellRule) -> str:
    if column.kind != "number" or not column.unit:
        return value
    return numbers.in_unit(value, column, rule.unit or column.unit)


def _shifted(column: Column, value: str, rule: CellRule) -> str:
    """Give the day that lies as far from the written one as the settings say."""
    if not rule.days or column.kind not in ("date", "datetime"):
        return value
    return f"CAST({value} + to_days({rule.days}) AS {column.sql_type})"


def _choice(column: Column, cell: str, plain: str, rule: CellRule) -> str:
    """Read a word; one written just so is known at once, and most are."""
    is_word = column.kind == "word"
    theirs = rule.words
    station = {word.lower() for words in theirs.values() for word in words}
    usual = dict(zip(column.words, map(literal, column.words), strict=True))
    if not is_word:
        usual = dict.fromkeys(YES, "TRUE") | dict.fromkeys(NO, "FALSE")
    known = {
        word: value
        for word, value in usual.items()
        if word not in station | folded(rule.empty)
    }
    at_once = _cases(f"{cell}::VARCHAR", known)
    slow = word(plain, column.words, theirs) if is_word else yes_no(plain, theirs)
    return f"CASE WHEN {cell} IS NULL THEN NULL {at_once} ELSE {slow} END"


def _filled(value: str, plain: str, rule: CellRule) -> str:
    """Take any text for yes where the settings do, but one that may mean no or nothing."""
    if not rule.filled:
        return value
    says = f"regexp_matches({plain}, '[\\pL\\pN]')"
    known = f"{without_accents(_word_key(plain))} IN ({listed(languages.no_words())})"
    return f"coalesce({value}, CASE WHEN {says} AND NOT {known} THEN TRUE END)"


def _ticks(rule: CellRule) -> Steps:
    """Read a tick with the initials of who put it; a word after a tick is no initials."""
    station = {word for words in rule.words.values() for word in words}
    words = folded([*YES, *NO, *station, *rule.empty])
    initials = "nullif(concat(tick.a, tick.b), '')"
    return Steps(
        "CASE WHEN who IS NOT NULL THEN TRUE END",
        (
            {"tick": extract("text", _TICKED, "a,b")},
            {"who": case([(f"lower({initials}) NOT IN ({listed(words)})", initials)])},
        ),
        initials="who",
    )


def _blank(one: _Cell, dated: str) -> list[str]:
    """Give what a cell without a sign means in a column of ticks."""
    meant = {"yes_no": "FALSE", "word": "'none'" if "none" in one.column.words else ""}
    no = meant.get(one.column.kind)
    return [f"CASE WHEN {one.blank} AND {dated} THEN {no} END"] if no else []


def _found(column: Column, rule: CellRule) -> list[str]:
    """Give what the free words of a row set in one column."""
    whens = []
    for text, sets, fits, number in _numbered(rule):
        if HOLE.findall(text) == [column.name]:
            whens.append(f"WHEN {fits} THEN TRY_CAST({number} AS {column.sql_type})")
        elif column.name in sets:
            whens.append(f"WHEN {fits} THEN {known_value(column, sets[column.name])}")
    values = {
        text: known_value(column, sets[column.name])
        for text, sets in _whole(rule).items()
        if column.name in sets
    }
    whens += [_cases("findings_key", values)] if values else []
    whens += _of_parts(column, rule)
    return [f"CASE {' '.join(whens)} END"] if whens else []


_FIGURES = r"\d+(?:[.,]\d+)?"
_BETWEEN = ",;:/+&|()%-"
"""What may stand between the parts of a text, and is none itself; no point, as that of "n.k."
is of an abbreviation."""


def _between(rule: CellRule) -> str:
    """Give the form of what stands between parts: no sign that says something where it stands alone."""
    signs = [sign for sign in _BETWEEN if not rule.findings.get(sign)]
    return rf"^[\s{re.escape(''.join(signs))}]*$"


def _alternatives(rule: CellRule) -> str:
    """Give the form of one part: the longest that fits is it; figures are never torn apart."""
    words = [part for part in rule.parts if not HOLE.search(part) and not part.isdigit()]
    return "|".join([*map(re.escape, sorted(words, key=len, reverse=True)), _FIGURES])


def _of_parts(column: Column, rule: CellRule) -> list[str]:
    """Give what the parts of a text set in one column, where it is made of nothing else."""
    whens: list[str] = []
    by_value: dict[str, list[str]] = {}
    for part, sets in rule.parts.items():
        if column.name in sets:
            by_value.setdefault(sets[column.name], []).append(part)
        if HOLE.findall(part) == [column.name]:
            number = f"regexp_extract(findings_key, {literal(_FIGURES)})"
            plain = f"TRY_CAST(replace({number}, ',', '.') AS {column.sql_type})"
            whens.append(f"WHEN findings_made AND {_numbers()} = 1 THEN {plain}")
    for text, parts in by_value.items():
        value = known_value(column, text)
        whens.append(f"WHEN findings_made AND {_has_any(parts)} THEN {value}")
    others = [part for part, sets in rule.parts.items() if set(sets) & set(rule.absent)]
    if column.name in rule.absent and others:
        value = known_value(column, rule.absent[column.name])
        whens.append(f"WHEN findings_made AND {_has_any(others)} THEN {value}")
    return whens


def _numbers() -> str:
    return f"len(regexp_extract_all(findings_key, {literal(_FIGURES)}))"


def _has_any(parts: Iterable[str]) -> str:
    return f"list_has_any(findings_parts, [{listed(parts)}])"


def _made_of_parts(rule: CellRule) -> str:
    """Give SQL that is TRUE for a text that no line has as a whole, made of known parts alone.

    Two parts that set one column otherwise contradict each other: such a text is not read.
    """
    known = [part for part in rule.parts if not HOLE.search(part)]
    any_number = len(known) < len(rule.parts)
    said = [
        "len(findings_parts) > 0",
        f"regexp_matches(findings_rest, {literal(_between(rule))})",
        # what is no word of the settings is a figure: any, or one of theirs
        f"{_numbers()} <= 1"
        if any_number
        else f"list_has_all([{listed(known)}], findings_parts)",
        *(f"NOT {each}" for each in _of_whole_texts(rule)),
        *_contradictions(rule),
    ]
    return f"({' AND '.join(said)})"


def _of_whole_texts(rule: CellRule) -> list[str]:
    whole = _whole(rule)
    known = [f"findings_key IN ({listed(whole)})"] if whole else []
    return known + [f"({fits})" for _, _, fits, _ in _numbered(rule)]


def _contradictions(rule: CellRule) -> list[str]:
    by_column: dict[str, dict[str, list[str]]] = {}
    for part, sets in rule.parts.items():
        for name, value in sets.items():
            by_column.setdefault(name, {}).setdefault(value, []).append(part)
    return [
        f"NOT ({_has_any(one)} AND {_has_any(other)})"
        for values in by_column.values()
        for one, other in combinations(values.values(), 2)
    ]


def _whole(rule: CellRule) -> dict[str, Mapping[str, str]]:
    """Give the free words without a number that may be any."""
    return {text: sets for text, sets in rule.findings.items() if not HOLE.search(text)}


def _numbered(rule: CellRule) -> list[tuple[str, Mapping[str, str], str, str]]:
    """Give the free words with a hole for a number: the text, and what it sets.

    And SQL that is TRUE where a cell fits this text first, and of the number. A text that
    is written out whole comes before them all.
    """
    whole = _whole(rule)
    before = [f"findings_key IN ({listed(whole)})"] if whole else []
    found = []
    for text, sets in rule.findings.items():
        if hole := HOLE.search(text):
            left, right = (re.escape(part.strip()) for part in HOLE.split(text)[::2])
            unit = " ?%?" if hole[1].endswith("_pct") else ""
            figure = rf"(\d+(?:{re.escape(rule.decimal)}\d+)?)"
            form = literal(rf"^{left} ?{figure}{unit} ?{right}$")
            fits = f"regexp_matches(findings_key, {form})"
            first = " AND ".join([*(f"NOT {one}" for one in before), fits])
            number = f"regexp_extract(findings_key, {form}, 1)"
            plain = f"replace({number}, {literal(rule.decimal)}, '.')"
            found.append((text, sets, first, plain))
            before.append(fits)
    return found


def _unknown_finding(rule: CellRule) -> str:
    text = clean_text("findings", "VARCHAR", rule.empty)
    known = [*_of_whole_texts(rule), *(["findings_made"] if rule.parts else [])]
    return f"CASE WHEN NOT ({' OR '.join(known)}) THEN {text} END" if known else text


def known_value(column: Column, text: str) -> str:
    """Give SQL of a value that the settings write in our own words.

    Parameters
    ----------
    column : Column
        What it is a value of.
    text : str
        "yes" or "no", one of the column's words, a number, an ISO date, or a name.

    Raises
    ------
    ValueError
        The text is none of these.
    """
    allowed = ("yes", "no") if column.kind == "yes_no" else column.words
    if column.kind in ("yes_no", "word") and text not in allowed:
        raise ValueError(f"{column.name} cannot be {text!r}")
    match column.kind:
        case "yes_no":
            return "TRUE" if text == "yes" else "FALSE"
        case "number":
            return f"{float(text)!r}::DOUBLE"
        case "integer":
            return f"{int(text)}::BIGINT"
        case "date":
            return f"DATE '{dt.date.fromisoformat(text)}'"
        case "datetime":
            return f"TIMESTAMP '{dt.datetime.fromisoformat(text)}'"
        case _:
            return literal(text)


# --- one text


def clean_text(cell: str, sql_type: str, empty: Iterable[str]) -> str:
    """Give a cell's text without blanks around it; null where nothing is written."""
    whole = cell if sql_type == "VARCHAR" else f"{cell}::VARCHAR"
    # Trimming a list of blanks costs several times a plain trim, and is rarely needed.
    odd = f"regexp_matches({whole}, '{_CONTROLS}')"
    text = (
        f"nullif(CASE WHEN strlen({whole}) <> length({whole}) OR {odd} "
        f"THEN trim({whole}, {literal(_SPACES)}) ELSE trim({whole}) END, '')"
    )
    words = folded(empty) - {""}
    if not words:
        return text
    return f"CASE WHEN lower({text}) NOT IN ({listed(words)}) THEN {text} END"


def folded(words: Iterable[str]) -> set[str]:
    """Give words in small letters, in each way that SQL or Python may fold them."""
    return {form for word in words for form in (word.lower(), word.casefold())}


def listed(words: Iterable[str]) -> str:
    """Give words as a list in SQL."""
    return ", ".join(literal(word) for word in sorted(words))


def label(text: str, *, is_id: bool) -> str:
    """Read a name: NFKC, inner blanks collapsed; an id loses a spreadsheet's ".0"."""
    wide = f"strlen({text}) <> length({text})"
    odd = f"regexp_matches({text}, '{_CONTROLS}')"
    plain = f"CASE WHEN {wide} THEN {NORMALISE}({text}) ELSE {text} END"
    single = rf"nullif(trim(regexp_replace({plain}, '[\s\p{{Z}}]+', ' ', 'g')), '')"
    cases = [f"WHEN {wide} OR contains({text}, '  ') OR {odd} THEN {single}"]
    if is_id:
        cases.append(
            rf"WHEN contains({text}, '.0') AND regexp_full_match({text}, '\d+\.0+') "
            f"THEN split_part({text}, '.', 1)"
        )
    return f"CASE {' '.join(cases)} ELSE {text} END"


def yes_no(text: str, theirs: Mapping[str, Iterable[str]]) -> str:
    """Read yes and no: the station's words first, then the usual ones, then ticks."""
    known = (
        dict.fromkeys((*YES, *TICKS), "yes")
        | dict.fromkeys(NO, "no")
        | _station(theirs)
    )
    truths = {"yes": "TRUE", "no": "FALSE"}
    values = {word: truths[ours] for word, ours in known.items()}
    return f"CASE WHEN {text} IS NULL THEN NULL {_cases(_word_key(text), values)} END"


def is_tick(text: str, theirs: Iterable[str] = ()) -> str:
    """Give SQL that is TRUE for a tick, alone or with initials, or a word of ``theirs``."""
    alone = f"{_word_key(text)} IN ({listed({*TICKS, *folded(theirs)})})"
    return f"({alone} OR regexp_full_match({text}, {literal(_TICKED)}))"


def word(text: str, ours: Iterable[str], theirs: Mapping[str, Iterable[str]]) -> str:
    """Read one of our words, or the station's word for it."""
    canonical = f"translate(lower({text}), ' -', '__')"
    usual = _cases(canonical, {our: literal(our) for our in ours})
    station = {word: literal(our) for word, our in _station(theirs).items()}
    own = _cases(_word_key(text), station)
    return f"CASE WHEN {text} IS NULL THEN NULL {own} {usual} END"


def _word_key(text: str) -> str:
    """Give SQL of a word as it is looked up: small, with single blanks inside."""
    # signs that only choose between two pictures of a tick are no part of it
    plain = f"translate(lower({text}), '\ufe0e\ufe0f', '')"
    return f"CASE WHEN contains({text}, '  ') THEN {spaced(plain)} ELSE {plain} END"


def _score_key(text: str) -> str:
    """Give SQL of a score as it is looked up: as a word, without a typed number's ".0"."""
    whole = rf"regexp_replace({text}, '^(\d+)\.0+$', '\1')"
    return _word_key(whole)


def _station(theirs: Mapping[str, Iterable[str]]) -> dict[str, str]:
    """Give the station's words, folded, and ours for each."""
    return {
        " ".join(word.split()): ours
        for ours, words in theirs.items()
        for word in folded(words)
    }


def _cases(key: str, values: Mapping[str, str]) -> str:
    """Write WHEN ... THEN for words and the SQL that each stands for."""
    return " ".join(
        f"WHEN {key} IN ({listed(w for w, v in values.items() if v == value)}) "
        f"THEN {value}"
        for value in dict.fromkeys(values.values())
    )


# --- one typed cell


def native_value(column: Column, cell: str, sql_type: str) -> tuple[str, str] | None:
    """Give SQL for a typed cell's value and its text, or None to read it as text.

    Parameters
    ----------
    column : Column
        What it is to become.
    cell : str
        The cell in SQL.
    sql_type : str
        Its DuckDB type.
    """
    kind = column.kind
    text = f"CAST({cell} AS VARCHAR)"
    if sql_type in FLOAT or sql_type.startswith("DECIMAL"):
        plain = cell if sql_type in FLOAT else f"CAST({cell} AS DOUBLE)"
        return _from_float(kind, plain)
    if sql_type in WHOLE:
        return _from_whole(kind, cell), text
    if sql_type in MOMENTS:
        return _from_moment(column, cell), text
    if sql_type == "BOOLEAN" and kind in ("yes_no", *QUANTITIES):
        return cell if kind == "yes_no" else f"NULL::{column.sql_type}", text
    if sql_type == ZONED and kind in ("date", "datetime"):
        utc = f"strftime({cell} AT TIME ZONE 'UTC', '%Y-%m-%dT%H:%M:%SZ')"
        return f"NULL::{column.sql_type}", utc
    return None


def _from_whole(kind: str, cell: str) -> str:
    match kind:
        case "number":
            return f"CAST({cell} AS DOUBLE)"
        case "integer":
            return f"TRY_CAST({cell} AS BIGINT)"
        case "yes_no":
            return f"CASE {cell} WHEN 1 THEN TRUE WHEN 0 THEN FALSE END"
        case "date":
            return "NULL::DATE"
        case "datetime":
            return "NULL::TIMESTAMP"
        case _:
            return f"CAST({cell} AS VARCHAR)"


def _from_float(kind: str, cell: str) -> tuple[str, str]:
    # Not-a-number is how some programs write an empty cell; it is one here.
    value = f"CASE WHEN NOT isnan({cell}) THEN {cell} END"
    whole = f"CASE WHEN isfinite({cell}) AND {cell} = trunc({cell}) THEN"
    plain = f"coalesce({whole} CAST(TRY_CAST({cell} AS HUGEINT) AS VARCHAR) END, CAST({value} AS VARCHAR))"
    match kind:
        case "number":
            read = f"CASE WHEN isfinite({cell}) THEN CAST({cell} AS DOUBLE) END"
        case "integer":
            read = f"{whole} TRY_CAST({cell} AS BIGINT) END"
        case "yes_no" | "date" | "datetime":
            read = _from_whole(kind, cell)
        case _:
            read = plain
    return read, plain


def _from_moment(column: Column, cell: str) -> str:
    if column.kind in ("date", "datetime"):
        day = f"CAST({cell} AS {column.sql_type})"
        return f"CASE WHEN {days.within_years(cell)} THEN {day} END"
    if column.kind in ("id", "label", "text"):
        return f"CAST({cell} AS VARCHAR)"
    return f"NULL::{column.sql_type}"
