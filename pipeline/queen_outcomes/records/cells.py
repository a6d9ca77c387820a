"""SQL that reads cells: typed columns, and the text of what could not be read.

Texts are read by explicit rules: a cast is only tried on a text whose form has been
checked, since DuckDB's own casts take much that nobody meant (1e3, nan, 0x1F). Typed
columns of Parquet files are taken as they are. What does not fit is null with its text
beside it; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from queen_outcomes.base.store import literal, quote
from queen_outcomes.facts.column import UNITS, Column, Table
from queen_outcomes.facts.reading import CellRule

NORMALISE = "to_nfkc"
"""The function that the store must have before a cast runs: a text in NFKC."""
YES, NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")
FIRST_YEAR, LAST_YEAR = 1900, 2200
_SPACES = (
    " \t\r\n\v\f\u00a0\u202f\u2007\u3000\ufeff"
    "\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2008\u2009\u200a\u200b"
)
_CONTROLS = "\t\n\v\f\r"
_CLOCK = r"([01]?\d|2[0-3]):[0-5]\d(:[0-5]\d([.,]\d+)?)?"
_ISO_CLOCK = r"([01]\d|2[0-3]):[0-5]\d(:[0-5]\d(\.\d+)?)?"
_ISO_DAY = r"\d{4}-\d{2}-\d{2}"
_SERIAL = r"[1-9]\d{4}(\.\d+)?"
_GROUPED = r"[+-]?[1-9]\d{0,2}(\.\d{3})+"
WHOLE = (
    *("TINYINT", "SMALLINT", "INTEGER", "BIGINT", "HUGEINT"),
    *("UTINYINT", "USMALLINT", "UINTEGER", "UBIGINT", "UHUGEINT"),
)
FLOAT = ("FLOAT", "DOUBLE")
MOMENTS = ("DATE", "TIMESTAMP", "TIMESTAMP_S", "TIMESTAMP_MS", "TIMESTAMP_NS")
QUANTITIES = ("number", "integer", "date", "datetime")
ZONED = "TIMESTAMP WITH TIME ZONE"


@dataclass(frozen=True)
class CellForm:
    """What about a source decides how its texts are read."""

    workbook: bool = False
    """Numbers may be dates, and are always written with a point."""
    epoch_days: int = 0
    """Days that the workbook's calendar begins after the usual one."""


# --- a whole row


def staged_columns(table: Table) -> dict[str, str]:
    """Give the columns of a staged table and their types, in order."""
    columns = {
        "ref": "BIGINT",
        "source_no": "INTEGER",
        "source_line": "BIGINT",
        "broken": "VARCHAR",
    }
    for column in table.columns:
        columns[column.name] = column.sql_type
        if column.unread:
            columns[column.unread] = "VARCHAR"
    return columns


@dataclass(frozen=True)
class _Cast:
    """SQL of a column's value, and of the text that stood in its cell."""

    value: str
    text: str
    needs_text: bool
    """The value is worked out from the text, which is made for every row."""


@dataclass(frozen=True)
class CellReader:
    """How the cells of one source are read as the columns of one table."""

    table: Table
    rules: Mapping[str, CellRule]
    """Our column -> how its cells are read."""
    form: CellForm

    def select(self, mapped: Mapping[str, str], raw: str, types: Mapping[str, str]):
        """Write the SELECT that reads a source's columns.

        Parameters
        ----------
        mapped : mapping
            Our column -> the source's heading.
        raw : str
            The raw table.
        types : mapping
            The raw table's column -> its DuckDB type.

        Returns
        -------
        str
            A SELECT of source_line, broken and the columns after it in `staged_columns`.
        """
        cells, outer = ["source_line"], ["source_line", "broken"]
        texts, values = ["*"], ["*"]
        cells.append("broken" if "broken" in types else "NULL::VARCHAR AS broken")
        for place, column in enumerate(self.table.columns):
            heading = mapped.get(column.name)
            if heading is None:
                outer += [f"NULL::{column.sql_type}"]
                outer += ["NULL::VARCHAR"] if column.unread else []
                continue
            cell, text, value = f"cell_{place}", f"text_{place}", f"value_{place}"
            cast = self._cast(column, cell, text, types[heading])
            cells.append(f"{quote(heading)} AS {cell}")
            if cast.needs_text:
                texts.append(f"{cast.text} AS {text}")
            values.append(f"{cast.value} AS {value}")
            outer.append(value)
            if column.unread:
                # only a cell that was not read needs its text, so only there is it made
                plain = text if cast.needs_text else cast.text
                outer.append(
                    f"CASE WHEN {value} IS NULL AND {cell} IS NOT NULL THEN {plain} END"
                )
        return (
            f"SELECT {', '.join(outer)} FROM (SELECT {', '.join(values)} "
            f"FROM (SELECT {', '.join(texts)} FROM (SELECT {', '.join(cells)} "
            f"FROM {quote(raw)})))"
        )

    def _cast(self, column: Column, cell: str, text: str, sql_type: str) -> _Cast:
        native = native_value(column, cell, sql_type)
        if native is not None:
            value, plain = native
            return _Cast(self._in_our_unit(column, value), plain, False)
        plain = clean_text(cell, sql_type, self.rules[column.name].empty)
        if column.kind in ("yes_no", "word"):
            return _Cast(self._choice(column, cell, plain), plain, False)
        value = self._value(column, cell, text)
        return _Cast(self._in_our_unit(column, value), plain, True)

    def _choice(self, column: Column, cell: str, plain: str) -> str:
        """Read a word; one written just so is known at once, and most are."""
        is_word = column.kind == "word"
        rule = self.rules[column.name]
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

    def _value(self, column: Column, cell: str, text: str) -> str:
        rule, form = self.rules[column.name], self.form
        match column.kind:
            case "text":
                return f"CASE WHEN {text} IS NOT NULL THEN {cell}::VARCHAR END"
            case "id" | "label":
                return label(text, is_id=column.kind == "id")
            case "number":
                return number(text, rule.decimal, form)
            case "integer":
                return integer(text, rule.decimal)
            case _:
                read = moment(text, rule.dates, form)
                return f"CAST({read} AS {column.sql_type})"

    def _in_our_unit(self, column: Column, value: str) -> str:
        kept = self.rules[column.name].unit
        if kept is None or kept == column.unit:
            return value
        factor, offset = UNITS[column.unit][kept]
        return f"round(({value}) * {factor!r}::DOUBLE + {offset!r}::DOUBLE, 9)"


# --- one text


def clean_text(cell: str, sql_type: str, empty: Iterable[str]) -> str:
    """Give a cell's text without blanks around it; null where nothing is written."""
    whole = cell if sql_type == "VARCHAR" else f"{cell}::VARCHAR"
    # Trimming a list of blanks costs several times a plain trim, and is rarely needed.
    odd = " OR ".join(f"contains({whole}, chr({ord(sign)}))" for sign in _CONTROLS)
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
    odd = " OR ".join(f"contains({text}, chr({ord(sign)}))" for sign in _CONTROLS)
    plain = f"CASE WHEN {wide} THEN {NORMALISE}({text}) ELSE {text} END"
    single = rf"nullif(trim(regexp_replace({plain}, '[\s\p{{Z}}]+', ' ', 'g')), '')"
    cases = [f"WHEN {wide} OR contains({text}, '  ') OR {odd} THEN {single}"]
    if is_id:
        cases.append(
            rf"WHEN contains({text}, '.0') AND regexp_full_match({text}, '\d+\.0+') "
            f"THEN split_part({text}, '.', 1)"
        )
    return f"CASE {' '.join(cases)} ELSE {text} END"


def moment(text: str, order: str, form: CellForm) -> str:
    """Read a day or a time; what is impossible or outside 1900-2200 is null."""
    cases = [
        f"WHEN length({text}) = 10 AND regexp_full_match({text}, '{_ISO_DAY}') "
        f"THEN TRY_CAST({text} AS TIMESTAMP)",
        f"WHEN regexp_full_match({text}, '{_ISO_DAY}[T ]{_ISO_CLOCK}') "
        f"THEN TRY_CAST({text} AS TIMESTAMP)",
    ]
    if order in ("dmy", "mdy"):
        cases.append(_local_day(text, order))
    if form.workbook:
        days = f"{text}::DOUBLE"
        cases.append(
            f"WHEN regexp_full_match({text}, '{_SERIAL}') THEN TIMESTAMP '1899-12-30' "
            f"+ to_seconds(round(({days} + {form.epoch_days}) * 86400)::BIGINT)"
        )
    read = f"CASE {' '.join(cases)} END"
    return f"CASE WHEN {_within_years(read)} THEN {read} END"


def _within_years(moment: str) -> str:
    return f"year({moment}) BETWEEN {FIRST_YEAR} AND {LAST_YEAR}"


def _local_day(text: str, order: str) -> str:
    same = "|".join(
        rf"\d{{1,2}}{s}\d{{1,2}}{s}(\d{{4}}|\d{{2}})" for s in (r"\.", "/", "-")
    )
    head = f"translate(split_part({text}, ' ', 1), '/-', '..')"
    first, second, year = (f"split_part({head}, '.', {n})" for n in (1, 2, 3))
    day, month = (first, second) if order == "dmy" else (second, first)
    full_year = f"CASE WHEN length({year}) = 2 THEN '20' || {year} ELSE {year} END"
    iso = f"({full_year}) || '-' || lpad({month}, 2, '0') || '-' || lpad({day}, 2, '0')"
    clock = f"trim(substr({text}, length({head}) + 1))"
    padded = f"CASE WHEN {clock}[2] = ':' THEN ' 0' ELSE ' ' END || {clock}"
    return (
        f"WHEN regexp_full_match({text}, '({same})( +{_CLOCK})?') THEN "
        f"TRY_CAST({iso} || CASE WHEN {clock} = '' THEN '' ELSE "
        f"replace({padded}, ',', '.') END AS TIMESTAMP)"
    )


def number(text: str, decimal: str, form: CellForm) -> str:
    """Read a number with the station's decimal sign; thousands are never guessed."""
    if decimal == ".":
        good, plain = rf"regexp_full_match({text}, '[+-]?\d+(\.\d+)?')", text
    else:
        good = rf"regexp_full_match({text}, '[+-]?\d+(,\d+)?')"
        plain = f"replace({text}, ',', '.')"
        if form.workbook:
            good = (
                rf"({good} OR (regexp_full_match({text}, '[+-]?\d+\.\d+') "
                f"AND NOT regexp_full_match({text}, '{_GROUPED}')))"
            )
    read = f"TRY_CAST({plain} AS DOUBLE)"
    return f"CASE WHEN {good} AND isfinite({read}) THEN {read} END"


def integer(text: str, decimal: str) -> str:
    """Read a whole number, also when a program wrote it as 3.0."""
    sign = r"\." if decimal == "." else ","
    whole = f"TRY_CAST(split_part({text}, '{decimal}', 1) AS BIGINT)"
    return (
        rf"CASE WHEN regexp_full_match({text}, '[+-]?\d+({sign}0+)?') THEN {whole} END"
    )


def yes_no(text: str, theirs: Mapping[str, Iterable[str]]) -> str:
    """Read yes and no: the station's words first, then the usual ones."""
    known = dict.fromkeys(YES, "yes") | dict.fromkeys(NO, "no") | _station(theirs)
    truths = {"yes": "TRUE", "no": "FALSE"}
    values = {word: truths[ours] for word, ours in known.items()}
    return f"CASE WHEN {text} IS NULL THEN NULL {_cases(f'lower({text})', values)} END"


def word(text: str, ours: Iterable[str], theirs: Mapping[str, Iterable[str]]) -> str:
    """Read one of our words, or the station's word for it."""
    canonical = f"translate(lower({text}), ' -', '__')"
    usual = _cases(canonical, {our: literal(our) for our in ours})
    station = {word: literal(our) for word, our in _station(theirs).items()}
    own = _cases(f"lower({text})", station)
    return f"CASE WHEN {text} IS NULL THEN NULL {own} {usual} END"


def _station(theirs: Mapping[str, Iterable[str]]) -> dict[str, str]:
    """Give the station's words, folded, and ours for each."""
    return {word: ours for ours, words in theirs.items() for word in folded(words)}


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
        return f"CASE WHEN {_within_years(cell)} THEN {day} END"
    if column.kind in ("id", "label", "text"):
        return f"CAST({cell} AS VARCHAR)"
    return f"NULL::{column.sql_type}"
