"""SQL that reads one text: as a name, a day, a number, a word.

A cast is only tried on a text whose form has been checked, since DuckDB's own casts
take much that nobody meant (1e3, nan, 0x1F). What does not fit is null; nothing is
guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from queen_outcomes.base.store import literal
from queen_outcomes.records.cutting import BLANKS

NORMALISE = "to_nfkc"
"""The function that the store must have before a cast runs: a text in NFKC."""
YES, NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")
FIRST_YEAR, LAST_YEAR = 1900, 2200
_SPACES = BLANKS + "\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2008\u2009\u200a\u200b"
_CONTROLS = "\t\n\v\f\r"
_CLOCK = r"([01]?\d|2[0-3]):[0-5]\d(:[0-5]\d([.,]\d+)?)?"
_ISO_CLOCK = r"([01]\d|2[0-3]):[0-5]\d(:[0-5]\d(\.\d+)?)?"
_ISO_DAY = r"\d{4}-\d{2}-\d{2}"
_SERIAL = r"[1-9]\d{4}(\.\d+)?"
_GROUPED = r"[+-]?[1-9]\d{0,2}(\.\d{3})+"


@dataclass(frozen=True)
class Form:
    """What about a source decides how its texts are read."""

    workbook: bool = False
    """Numbers may be dates, and are always written with a point."""
    epoch_days: int = 0
    """Days that the workbook's calendar begins after the usual one."""


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


def moment(text: str, order: str, form: Form) -> str:
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
    found = f"CASE {' '.join(cases)} END"
    return (
        f"CASE WHEN year({found}) BETWEEN {FIRST_YEAR} AND {LAST_YEAR} THEN {found} END"
    )


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


def number(text: str, decimal: str, form: Form) -> str:
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
    station = {word: ours for ours, words in theirs.items() for word in folded(words)}
    known = dict.fromkeys(YES, "yes") | dict.fromkeys(NO, "no") | station
    return _choose(text, known, {"yes": "TRUE", "no": "FALSE"}, f"lower({text})")


def word(text: str, ours: Iterable[str], theirs: Mapping[str, Iterable[str]]) -> str:
    """Read one of our words, or the station's word for it."""
    station = {word: our for our, words in theirs.items() for word in folded(words)}
    canonical = f"translate(lower({text}), ' -', '__')"
    values = {our: literal(our) for our in ours}
    usual = _choose(text, {our: our for our in ours}, values, canonical)
    if not station:
        return usual
    return f"coalesce({_choose(text, station, values, f'lower({text})')}, {usual})"


def _choose(
    text: str, known: Mapping[str, str], values: Mapping[str, str], key: str
) -> str:
    cases = []
    for ours, value in values.items():
        words = [word for word, meant in known.items() if meant == ours]
        if words:
            cases.append(f"WHEN {key} IN ({listed(words)}) THEN {value}")
    return f"CASE WHEN {text} IS NULL THEN NULL {' '.join(cases)} END"
