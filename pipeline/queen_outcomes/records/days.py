"""SQL that reads days and times as people write them.

A text is first held against the plain forms, which most cells have; only what is left
goes through the steps below. The order of day, month and year is the settings' and is
never taken from the text, save where the year stands first in four figures or the month
is named. What is impossible, or lies outside 1900-2200, is not read.
"""

from __future__ import annotations

from queen_outcomes.base.store import literal
from queen_outcomes.facts import languages
from queen_outcomes.facts.reading import CellRule
from queen_outcomes.records.steps import CellForm, Steps, spaced, without_accents

FIRST_YEAR, LAST_YEAR = 1900, 2200
ORDERS = {
    "dmy": "day-month-year",
    "mdy": "month-day-year",
    "ymd": "year-month-day",
}
"""Orders of three figures, and how a sentence names them."""
_CLOCK = r"([01]?\d|2[0-3]):[0-5]\d(:[0-5]\d([.,]\d+)?)?"
_ISO_CLOCK = r"([01]\d|2[0-3]):[0-5]\d(:[0-5]\d(\.\d+)?)?"
_ISO_DAY = r"\d{4}-\d{2}-\d{2}"
_SERIAL = r"[1-9]\d{4}(\.\d+)?"
_EPOCH_DAY = r"^(1899-12-3[01]|1900-01-0[01])[T ]+"
"""The day that a workbook puts before a time that has none."""
_MIDNIGHT = r"[T ]00:00(:00(\.0+)?)?$"

# the forms of a day, on a folded text
_BY = r" ?([-./,]| ) ?"
_FIGURES = rf"(\d{{1,4}}){_BY}(\d{{1,2}}){_BY}(\d{{1,4}})\.?"
_SHORT = r"(\d{1,2}) ?([-./]) ?(\d{1,2})(\.?)"
_OF = r"(?:(?:of|de|del|di) )?"
_DAY_FIRST = (
    r"(\d{1,4})(?:st|nd|rd|th|er)?[-., /]{0,3}"
    rf"{_OF}(\pL{{3,}})[-., /']{{0,3}}{_OF}(\d{{4}}|\d{{1,2}})?\.?"
)
_MONTH_FIRST = (
    r"(\pL{3,})[-., /]{0,3}(\d{1,2})(?:st|nd|rd|th)?(?:[-., /']{1,3}(\d{4}|\d{2}))?\.?"
)
_TOGETHER = r"\d{8}"
# the forms of a time
_HALF = r"(?:am|pm|a\. ?m\.?|p\. ?m\.?)"
_AFTER = rf"(?: ?(?:{_HALF}|uhr|hrs|h))"
_TIME = (
    rf"\d{{1,2}}[:h]\d{{2}}(?::\d{{2}}(?:[.,]\d{{1,9}})?)?{_AFTER}?"
    rf"|\d{{1,2}}\.\d{{2}}{_AFTER}?|\d{{1,2}}{_AFTER}|\d{{4}}"
)
_FRACTION = r"0?\.\d+|0(?:\.0+)?"
"""A time as a workbook keeps it: a share of the day."""
_BETWEEN = r"(?: ?, ?(?:at |um )?| (?:at |um |o |kl\.? )?)"
_PARTS = (
    r"^(\d{1,2})(?:[:.h](\d{2}))?(?::(\d{2}))?(?:[.,](\d{1,9}))?"
    rf" ?({_HALF}|uhr|hrs|h)?$"
)
_WIDE = "０１２３４５６７８９／．：–—−’"
_PLAIN = "0123456789/.:---'"


def steps(name: str, text: str, rule: CellRule, form: CellForm) -> Steps:
    """Read a day or a time.

    Parameters
    ----------
    name : str
        What the aliases begin with; the value is ``<name>_value``, a TIMESTAMP.
    text : str
        SQL of the cell's text, clean.
    rule : CellRule
        The order of dates, and the year of days without one.
    form : CellForm
        Whether numbers may be days of a workbook's calendar.

    Returns
    -------
    Steps
        The value and, where a text is not read, why.
    """
    rest, whole = f"{name}_rest", f"{name}_whole"
    day, clock, iso = f"{name}_day", f"{name}_clock", f"{name}_iso"
    date, micros = f"{name}_date", f"{name}_micros"
    split = _split(form)
    quick = _quick(text, rule.dates, form)
    value = (
        f"CASE WHEN {name}_quick IS NOT NULL THEN {name}_quick "
        f"WHEN {within_years(date)} AND ({clock} = '' OR {micros} IS NOT NULL) "
        f"THEN {date}::TIMESTAMP + to_microseconds(coalesce({micros}, 0)) END"
    )
    return Steps(
        layers=(
            {f"{name}_quick": quick},
            {rest: f"CASE WHEN {name}_quick IS NULL THEN {_fold(text)} END"},
            {whole: f"regexp_full_match({rest}, {literal(_whole_days())})"},
            {
                day: f"CASE WHEN {whole} THEN {rest} "
                f"ELSE regexp_extract({rest}, {split}, 1) END",
                clock: f"CASE WHEN {whole} THEN '' "
                f"ELSE regexp_extract({rest}, {split}, 2) END",
            },
            _taken_apart(name, day, clock),
            {iso: _iso(name, day, rule, form), micros: _micros(name, clock)},
            {date: _date(iso, day, form)},
            {f"{name}_value": value},
        ),
        value=f"{name}_value",
        why=_why(name, rule, form),
    )


def joined(cell: str, sql_type: str) -> str:
    """Give SQL of one of several cells that make a moment together.

    A workbook's midnight after a day, and its first day before a time, are taken off.
    """
    whole = cell if sql_type == "VARCHAR" else f"{cell}::VARCHAR"
    return (
        f"regexp_replace(regexp_replace(trim({whole}), {literal(_EPOCH_DAY)}, ''), "
        f"{literal(_MIDNIGHT)}, '')"
    )


def within_years(moment: str) -> str:
    """Give SQL that is TRUE for a moment of the years that records can be of."""
    return f"year({moment}) BETWEEN {FIRST_YEAR} AND {LAST_YEAR}"


def _quick(text: str, order: str, form: CellForm) -> str:
    """Read the plain forms."""
    cases = [
        f"WHEN length({text}) = 10 AND regexp_full_match({text}, '{_ISO_DAY}') "
        f"THEN TRY_CAST({text} AS TIMESTAMP)",
        f"WHEN regexp_full_match({text}, '{_ISO_DAY}[T ]{_ISO_CLOCK}') "
        f"THEN TRY_CAST({text} AS TIMESTAMP)",
    ]
    if order in ("dmy", "mdy"):
        cases.append(_local_day(text, order))
    if form.workbook:
        cases.append(
            f"WHEN regexp_full_match({text}, '{_SERIAL}') THEN {_serial(text, form)}"
        )
    read = f"CASE {' '.join(cases)} END"
    return f"CASE WHEN {within_years(read)} THEN {read} END"


def _serial(text: str, form: CellForm) -> str:
    days = f"TRY_CAST({text} AS DOUBLE)"
    return (
        "TIMESTAMP '1899-12-30' "
        f"+ to_seconds(round(({days} + {form.epoch_days}) * 86400)::BIGINT)"
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


# --- the forms that take some steps


def _fold(text: str) -> str:
    """Write a text small, with plain signs, single blanks and no word for "year"."""
    plain = f"translate({text}, '{_WIDE}', {literal(_PLAIN)})"
    folded = spaced(without_accents(plain))
    for pattern, instead in (
        (r"(\d) ?r(?:\.|oku)?$", r"\1"),  # Polish "12.05.2025 r."
        (r"(\d)t(\d)", r"\1 \2"),
        (r"(\d) ?h ?(\d)", r"\1h\2"),
    ):
        folded = f"regexp_replace({folded}, {literal(pattern)}, {literal(instead)})"
    return folded


def _whole_days() -> str:
    forms = (_FIGURES, _SHORT, _DAY_FIRST, _MONTH_FIRST, _TOGETHER, _SERIAL)
    return "|".join(f"(?:{form})" for form in forms)


def _split(form: CellForm) -> str:
    time = f"{_TIME}|{_FRACTION}" if form.workbook else _TIME
    return literal(rf"^(.*[^ ,]){_BETWEEN}({time})$")


def _taken_apart(name: str, day: str, clock: str) -> dict[str, str]:
    forms = {
        "figures": (_FIGURES, day, "a,s,b,z,c"),
        "short": (_SHORT, day, "a,s,b,z"),
        "dayfirst": (_DAY_FIRST, day, "d,m,y"),
        "monthfirst": (_MONTH_FIRST, day, "m,d,y"),
        "time": (_PARTS, rf"regexp_replace({clock}, '^(\d\d)(\d\d)$', '\1:\2')", "h,m,s,f,half"),
    }  # fmt: skip
    return {
        f"{name}_{form}": f"regexp_extract({of}, {literal(f'^(?:{pattern})$')}, "
        f"[{', '.join(map(literal, parts.split(',')))}])"
        for form, (pattern, of, parts) in forms.items()
    }


def _iso(name: str, day: str, rule: CellRule, form: CellForm) -> str:
    """Write a day as year-month-day; null where the form or the year is lacking."""
    named = []
    first, last = f"{name}_dayfirst", f"{name}_monthfirst"
    year_first = f"length({first}.d) = 4"
    if rule.dates == "ymd":
        year_first = (
            f"({year_first} OR (length({first}.d) = 2 AND length({first}.y) = 2))"
        )
    named.append(
        f"WHEN {first}.m <> '' AND {year_first} "
        f"THEN {_ymd(f'{first}.d', _month(f'{first}.m'), f'{first}.y')}"
    )
    for of in (first, last):
        short = f"{of}.m <> '' AND length({of}.d) <= 2"
        month = _month(f"{of}.m")
        named.append(
            f"WHEN {short} AND length({of}.y) IN (2, 4) "
            f"THEN {_ymd(f'{of}.y', month, f'{of}.d')}"
        )
        if rule.year:
            year = f"'{rule.year}'"
            named.append(
                f"WHEN {short} AND {of}.y = '' THEN {_ymd(year, month, f'{of}.d')}"
            )
    return f"CASE {figures_iso(name, day, rule.dates)} {_yearless(name, rule, form)} {' '.join(named)} END"


def figures_iso(name: str, day: str, order: str) -> str:
    """Give the WHENs that write three figures as year-month-day, by an order."""
    f = f"{name}_figures"
    one = f"{f}.a <> '' AND {f}.s = {f}.z"
    cases = [
        f"WHEN {one} AND length({f}.a) = 4 AND length({f}.c) <= 2 "
        f"THEN {_ymd(f'{f}.a', f'{f}.b', f'{f}.c')}",
        f"WHEN regexp_full_match({day}, '{_TOGETHER}') "
        f"AND {day}[1:4]::INT BETWEEN {FIRST_YEAR} AND {LAST_YEAR} "
        f"AND TRY_CAST({_ymd(f'{day}[1:4]', f'{day}[5:6]', f'{day}[7:8]')} AS DATE) "
        f"IS NOT NULL THEN {_ymd(f'{day}[1:4]', f'{day}[5:6]', f'{day}[7:8]')}",
    ]
    if order in ("dmy", "mdy"):
        a, b = (f"{f}.b", f"{f}.a") if order == "dmy" else (f"{f}.a", f"{f}.b")
        month, date = ("3:4", "1:2") if order == "dmy" else ("1:2", "3:4")
        cases += [
            f"WHEN {one} AND length({f}.a) <= 2 AND length({f}.c) IN (2, 4) "
            f"THEN {_ymd(f'{f}.c', a, b)}",
            f"WHEN regexp_full_match({day}, '{_TOGETHER}') "
            f"THEN {_ymd(f'{day}[5:8]', f'{day}[{month}]', f'{day}[{date}]')}",
        ]
    if order == "ymd":
        cases.append(
            f"WHEN {one} AND length({f}.a) = 2 AND length({f}.c) <= 2 "
            f"THEN {_ymd(f'{f}.a', f'{f}.b', f'{f}.c')}"
        )
    return " ".join(cases)


def _yearless(name: str, rule: CellRule, form: CellForm) -> str:
    if not rule.year or rule.dates == "iso":
        return ""
    s = f"{name}_short"
    month, date = (f"{s}.b", f"{s}.a") if rule.dates == "dmy" else (f"{s}.a", f"{s}.b")
    year = f"'{rule.year}'"
    # a workbook makes the number 3.1 of "3.10", so only a closing point shows a day
    sure = f"AND ({s}.s <> '.' OR {s}.z = '.')" if form.workbook else ""
    return f"WHEN {s}.a <> '' {sure} THEN {_ymd(year, month, date)}"


def _ymd(year: str, month: str, date: str) -> str:
    full = f"CASE WHEN length({year}) = 2 THEN '20' || {year} ELSE {year} END"
    return f"({full}) || '-' || lpad({month}, 2, '0') || '-' || lpad({date}, 2, '0')"


def _month(word: str) -> str:
    """Give the two figures of a month's name; null where no language has it."""
    numbers = languages.months()
    cases = " ".join(
        f"WHEN {word} IN ({', '.join(literal(n) for n, m in sorted(numbers.items()) if m == number)}) "
        f"THEN '{number:02d}'"
        for number in range(1, 13)
    )
    return f"(CASE {cases} END)"


def _date(iso: str, day: str, form: CellForm) -> str:
    read = f"TRY_CAST({iso} AS DATE)"
    if not form.workbook:
        return read
    # the day of a workbook whose hour stands in a cell of its own
    return (
        f"CASE WHEN regexp_full_match({day}, {literal(_SERIAL)}) "
        f"THEN CAST({_serial(day, form)} AS DATE) ELSE {read} END"
    )


def _micros(name: str, clock: str) -> str:
    """Give a time as microseconds after midnight; null where there is no such time."""
    t = f"{name}_time"
    hour = f"TRY_CAST({t}.h AS INT)"
    half = f"translate({t}.half, '. ', '')"
    minute, second = (f"coalesce(TRY_CAST({t}.{p} AS INT), 0)" for p in "ms")
    micro = f"coalesce(TRY_CAST(rpad({t}.f, 6, '0')[1:6] AS INT), 0)"
    hours = (
        f"CASE WHEN {half} IN ('am', 'pm') THEN CASE WHEN {hour} BETWEEN 1 AND 12 "
        f"THEN {hour} % 12 + CASE {half} WHEN 'pm' THEN 12 ELSE 0 END END "
        f"WHEN {hour} <= 23 AND ({t}.m <> '' OR {t}.half <> '') THEN {hour} END"
    )
    fits = f"{minute} <= 59 AND {second} <= 59"
    return (
        f"CASE WHEN {clock} <> '' THEN CASE WHEN {t}.h <> '' AND {fits} THEN "
        f"((({hours}) * 60 + {minute}) * 60 + {second}) * 1000000::BIGINT + {micro} "
        f"WHEN regexp_full_match({clock}, {literal(_FRACTION)}) "
        f"THEN round(TRY_CAST({clock} AS DOUBLE) * 86400)::BIGINT * 1000000 END END"
    )


# --- why a text is no day


def _why(name: str, rule: CellRule, form: CellForm) -> str:
    """Give SQL of the true cause, as the end of a sentence that has quoted the text."""
    rest, day, clock = f"{name}_rest", f"{name}_day", f"{name}_clock"
    f, short = f"{name}_figures", f"{name}_short"
    first, last = f"{name}_dayfirst", f"{name}_monthfirst"
    cases = [
        (f"{rest}[1] = '#'", "'which is an error of a spreadsheet and no date'"),
        (
            rf"regexp_matches({rest}, ':\d\d(\.\d+)? ?(z|[+-]\d\d:?\d\d)$')",
            "'which has an offset; times are the station''s own, so take the offset out'",
        ),
        (
            f"regexp_full_match({rest}, {literal(_TIME)}) AND contains({rest}, ':')",
            "'which is a time without a day'",
        ),
        (
            f"{within_years(f'{name}_date')} AND {clock} <> ''",
            f"'whose day can be read and whose time cannot: \"' || {clock} || '\"'",
        ),
        (
            f"{name}_date IS NOT NULL",
            f"'whose year is not from {FIRST_YEAR} to {LAST_YEAR}'",
        ),
        (f"{f}.a <> '' AND {f}.s <> {f}.z", "'which has two kinds of separators'"),
        *_other_orders(name, day, rule),
        (f"{f}.a <> ''", "'and there is no such day'"),
        (
            f"{short}.a <> '' AND {short}.s <> '.'",
            "'which has no year; write it in, or set year for its file'",
        ),
        (
            rf"{short}.a <> '' AND regexp_full_match({day}, '\d+\.\d+\.')",
            "'which has no year; write it in, or set year for its file'",
        ),
        (f"{short}.a <> ''", "'which is a number, or a day without its year'"),
    ]
    for of in (first, last):
        month = _month(f"{of}.m")
        cases += [
            (
                f"{of}.m <> '' AND {month} IS NULL",
                f"'which names no month that is known: \"' || {of}.m || '\"'",
            ),
            (
                f"{of}.m <> '' AND {of}.y = ''",
                "'which has no year; write it in, or set year for its file'",
            ),
            (f"{of}.m <> ''", "'and there is no such day'"),
        ]
    if not form.workbook:
        cases.append(
            (
                f"regexp_full_match({rest}, {literal(_SERIAL)})",
                "'which is a number: a spreadsheet may have put it for the day '"
                f" || strftime({_serial(rest, form)}, '%Y-%m-%d')",
            )
        )
    cases += [
        (rf"regexp_full_match({rest}, '[\d.,]+')", "'which is a number and no date'"),
        (rf"NOT regexp_matches({rest}, '\d')", "'which is a text and no date'"),
    ]
    whens = " ".join(f"WHEN {condition} THEN {says}" for condition, says in cases)
    return f"CASE {whens} ELSE 'which is no date that can be read' END"


def _other_orders(name: str, day: str, rule: CellRule) -> list[tuple[str, str]]:
    """Tell figures that fit another order than the one set."""
    cases = []
    fits = {
        order: f"TRY_CAST(CASE {figures_iso(name, day, order)} END AS DATE) IS NOT NULL"
        for order in ORDERS
    }
    if rule.dates == "iso":
        cases.append(
            (
                f"{fits['dmy']} AND {fits['mdy']}",
                '\'which may be day-month-year or month-day-year; set dates = "dmy" or "mdy" for its file\'',
            )
        )
    said = ORDERS.get(rule.dates, "year-month-day")
    cases += [
        (
            fits[order],
            literal(
                f"which is not {said}, as the settings have it, but {words}; "
                f'correct it, or set dates = "{order}" for its file'
            ),
        )
        for order, words in ORDERS.items()
        if order != rule.dates
    ]
    return cases
