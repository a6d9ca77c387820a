"""SQL that reads days and times as people write them.

A text is first held against the plain forms, which most cells have; only what is left
goes through the steps below. The order of day, month and year is the settings' and is
never taken from the text, save where the year stands first in four figures or the month
is named. What is impossible, or lies outside 1900-2200, is not read. A weekday before a
day has to be that day's: where it is not, one of the two is wrong, and nobody can say which.

Where the settings say so, day and month of real dates change places: a spreadsheet that
writes 13.4. took "5/4" for the 5th of April and left "4/13" a text, so that the real ones
up to the 12th of a month are wrong, and the texts are right.
"""

from __future__ import annotations

from queen_outcomes.base.store import literal
from queen_outcomes.facts import languages, years
from queen_outcomes.facts.reading import CellRule
from queen_outcomes.facts.years import FIRST_YEAR, LAST_YEAR
from queen_outcomes.records.steps import (
    CellForm,
    Steps,
    case,
    extract,
    spaced,
    without_accents,
)

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
YEAR_LAST = (
    "(figures.s = figures.z OR (figures.s = '/' AND figures.z IN ('-', ' ')) "
    "OR (figures.s = '.' AND figures.z = ' ' AND length(figures.c) = 4))"
)
"""SQL that is TRUE where the signs between figures may stand before a year that is last: "2/6-24"
and "2/6 2024" are how a day is written in the north."""
_SHORT = r"(\d{1,2}) ?([-./]) ?(\d{1,2})(\.?)"
_NAME = r"[^\d\s.,:;/+'#-]{3,}"
"""A month's name; a class of all letters would take a regular expression long to make."""
_OF = r"(?:(?:of|de|del|di) )?"
_DAY_FIRST = (
    r"(\d{1,4})(?:(?:st|nd|rd|th|er)\b)?[-., /]{0,3}"
    rf"{_OF}({_NAME})[-., /']{{0,3}}{_OF}(\d{{4}}|\d{{1,2}})?\.?"
)
_MONTH_FIRST = (
    rf"({_NAME})[-., /]{{0,3}}(\d{{1,2}})(?:st|nd|rd|th)?"
    r"(?:[-., /']{1,3}(\d{4}|\d{2}))?\.?"
)
_TOGETHER = r"\d{8}"
_BARE = r"\d{1,2}(?:\.|st|nd|rd|th|er)?"
"""A day of a month that stands elsewhere."""
_WEEK = r"(\d{4})-?w(\d{2})-?([1-7])"
"""A day of a week, as ISO 8601 writes it."""
_MONTH_AFTER = rf"\d{{1,2}}(?: ?[-./] ?\d{{1,2}}(?:\D|$)|\.? {_NAME})"
"""What follows a name that is a weekday to some and a month to others, where it is a
weekday: a day with a month of its own ("mar. 4/8", "mar 4 août"; but "mar 4 2026")."""
_BEFORE = r"((?:[^\d\s.,]{2,}[.,]{0,2} )?)"
"""A weekday before a day."""
_CLOCK_BEHIND = r"(?:,? +(?:[a-z]{1,3}\.? )?\d{1,2}[:.h]\d{2}.*)?"
"""A time behind it."""
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


def steps(rule: CellRule, form: CellForm) -> Steps:
    """Read the days and times that have none of the plain forms.

    Parameters
    ----------
    rule : CellRule
        The order of dates, and the year of days without one.
    form : CellForm
        Whether numbers may be days of a workbook's calendar.

    Returns
    -------
    Steps
        From ``text``: the moment, a TIMESTAMP, and why a text is none.
    """
    value = (
        f"CASE WHEN {within_years('date')} AND (clock = '' OR micros IS NOT NULL) "
        f"THEN date::TIMESTAMP + to_microseconds(coalesce(micros, 0)) END"
    )
    names = {
        f"{form}_month": _month(f"{form}.m") for form in ("day_first", "month_first")
    }
    return Steps(
        layers=(
            *parts(form, bare=bool(rule.month)),
            names,
            {"iso": _iso(rule, form), "micros": _micros()},
            {"written_day": _date(rule, form)},
            {"date": f"CASE WHEN {_agrees('written_day')} THEN written_day END"},
        ),
        value=value,
        why=_why(rule, form),
    )


def parts(form: CellForm, *, bare: bool = False) -> tuple[dict[str, str], ...]:
    """Give the layers that take a text apart, `figures` among what they give.

    ``bare``: a day of the month alone is a day.
    """
    split = _split(form)
    return (
        {"spelled": _fold("text")},
        {"weekday": _weekday("spelled")},
        {
            "rest": "CASE weekday WHEN '' THEN spelled "
            "ELSE ltrim(spelled[length(weekday) + 1:], '., ') END"
        },
        {"whole": f"regexp_full_match(rest, {literal(_whole_days(bare))})"},
        {
            "day": f"CASE WHEN whole THEN rest ELSE regexp_extract(rest, {split}, 1) END",
            "clock": f"CASE WHEN whole THEN '' ELSE regexp_extract(rest, {split}, 2) END",
        },
        _taken_apart(),
    )


def joined(text: str) -> str:
    """Give SQL of one of several cells that make a moment together.

    A workbook's midnight after a day, and its first day before a time, are taken off.
    """
    late = f"regexp_replace({text}, {literal(_EPOCH_DAY)}, '')"
    return f"regexp_replace({late}, {literal(_MIDNIGHT)}, '')"


def with_year(text: str) -> str:
    """Give SQL that puts a year from a cell of its own behind its day: "5-7 2025" is "5-7-2025"."""
    return rf"regexp_replace({text}, '^(\d{{1,2}}) ?([-./]) ?(\d{{1,2}})\.? (\d{{4}})$', '\1\2\3\2\4')"


def with_year_above(text: str, year: str, *, workbook: bool) -> str:
    """Give SQL that puts a year that stands in a row above behind a day that has none.

    ``workbook``: a number such as 3.1 may be no day.
    """
    signs = "[-/]" if workbook else "[-./]"
    cases = [
        (
            f"regexp_full_match({text}, {literal(form)})",
            f"regexp_replace({text}, {literal(f'^{form}$')}, {put})",
        )
        for form, put in (
            (
                rf"{_BEFORE}(\d{{1,2}}) ?({signs}) ?(\d{{1,2}})()({_CLOCK_BEHIND})",
                rf"'\1\2\3\4\3' || {year} || '\6'",
            ),
            (
                rf"{_BEFORE}(\d{{1,2}}) ?(\.) ?(\d{{1,2}})(\.)({_CLOCK_BEHIND})",
                rf"'\1\2\3\4\3' || {year} || '\6'",
            ),
            (
                rf"{_BEFORE}(\d{{1,2}}(?:\.|st|nd|rd|th|er)?[- ]{{0,2}}{_OF}{_NAME}\.?|"
                rf"{_NAME}\.? ?\d{{1,2}}(?:\.|st|nd|rd|th)?)({_CLOCK_BEHIND})",
                rf"'\1\2 ' || {year} || '\3'",
            ),
        )
    ]
    return case([(f"{year} IS NOT NULL AND {when}", then) for when, then in cases], text)


def with_year_of(text: str, moment: str, order: str, form: CellForm) -> str:
    """Give SQL that puts a year behind a day that has none: the first such day from a moment on.

    A day of a form that is not read here ("2 Jan") stays without: nobody has told which side it lies on.
    """
    same, next_one = (
        with_year_above(text, f"CAST(year({moment}) + {more} AS VARCHAR)", workbook=form.workbook)
        for more in (0, 1)
    )
    read = plain_moment(same, order, form)
    before = f"{read} < date_trunc('day', {moment})"
    return f"CASE WHEN {moment} IS NULL OR {read} IS NULL THEN {text} WHEN {before} THEN {next_one} ELSE {same} END"


def within_years(moment: str) -> str:
    """Give SQL that is TRUE for a moment of the years that records can be of."""
    return f"year({moment}) BETWEEN {FIRST_YEAR} AND {LAST_YEAR}"


def plain_moment(text: str, order: str, form: CellForm, *, turned: bool = False) -> str:
    """Read a day or a time of the plain forms; what is impossible is null.

    ``turned``: day and month of real dates change places.
    """
    real = _turned(f"TRY_CAST({text} AS TIMESTAMP)", turned)
    cases = [
        f"WHEN length({text}) = 10 AND regexp_full_match({text}, '{_ISO_DAY}') "
        f"THEN {real}",
        f"WHEN regexp_full_match({text}, '{_ISO_DAY}[T ]{_ISO_CLOCK}') THEN {real}",
    ]
    if order in ("dmy", "mdy"):
        cases.append(_local_day(text, order))
    if form.workbook:
        cases.append(
            f"WHEN regexp_full_match({text}, '{_SERIAL}') "
            f"THEN {_turned(_serial(text, form), turned)}"
        )
    read = f"CASE {' '.join(cases)} END"
    return f"CASE WHEN {within_years(read)} THEN {read} END"


def _turned(moment: str, turned: bool) -> str:
    """Give SQL that changes day for month where that makes a day."""
    if not turned:
        return moment
    swapped = f"TRY_CAST(strftime({moment}, '%Y-%d-%m %H:%M:%S.%f') AS TIMESTAMP)"
    return f"CASE WHEN day({moment}) <= 12 THEN {swapped} ELSE {moment} END"


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


def _weekday(text: str) -> str:
    """Give SQL of the weekday's name that stands before a day; empty where none does."""
    months = languages.months()
    known = sorted(languages.weekdays(), key=lambda name: (-len(name), name))
    alone, either = (
        "|".join(name for name in known if (name in months) is is_month)
        for is_month in (False, True)
    )
    apart = r"(?:[.,]{1,2} ?| )"
    surely = literal(rf"^(?:({alone}){apart}.*|({either}){apart}{_MONTH_AFTER}.*)$")
    return f"concat(regexp_extract({text}, {surely}, 1), regexp_extract({text}, {surely}, 2))"


def _agrees(date: str) -> str:
    """Give SQL that is TRUE where no weekday stands before a day, or the day's own."""
    known = "".join(
        f" {name}:{''.join(map(str, sorted(numbers)))}"
        for name, numbers in languages.weekdays().items()
    )
    at = f"instr({literal(known)}, ' ' || weekday || ':')"
    meant = f"split_part({literal(known)}[{at} + length(weekday) + 2:], ' ', 1)"
    return f"(weekday = '' OR contains({meant}, isodow({date})::VARCHAR))"


def _whole_days(bare: bool) -> str:
    forms = (_FIGURES, _SHORT, _DAY_FIRST, _MONTH_FIRST, _TOGETHER, _WEEK, _SERIAL)
    forms += (_BARE,) if bare else ()
    return "|".join(f"(?:{form})" for form in forms)


def _split(form: CellForm) -> str:
    time = f"{_TIME}|{_FRACTION}" if form.workbook else _TIME
    return literal(rf"^(.*[^ ,]){_BETWEEN}({time})$")


def _taken_apart() -> dict[str, str]:
    four = r"regexp_replace(clock, '^(\d\d)(\d\d)$', '\1:\2')"
    forms = {
        "figures": (_FIGURES, "day", "a,s,b,z,c"),
        "short": (_SHORT, "day", "a,s,b,z"),
        "day_first": (_DAY_FIRST, "day", "d,m,y"),
        "month_first": (_MONTH_FIRST, "day", "m,d,y"),
        "week": (_WEEK, "day", "y,w,d"),
        "time": (_PARTS, four, "h,m,s,f,half"),
    }
    return {
        form: extract(of, pattern, names)
        for form, (pattern, of, names) in forms.items()
    }


def _iso(rule: CellRule, form: CellForm) -> str:
    """Write a day as year-month-day; null where the form or the year is lacking."""
    year_first = "length(day_first.d) = 4"
    if rule.order == "ymd":
        two = "length(day_first.d) = 2 AND length(day_first.y) = 2"
        year_first = f"({year_first} OR ({two}))"
    cases = [
        *_bare_cases(rule),
        *figures_cases(rule.order),
        *_yearless_cases(rule, form),
        ("week.y <> ''", _day_of_week()),
        (
            f"day_first.m <> '' AND {year_first}",
            _ymd("day_first.d", "day_first_month", "day_first.y"),
        ),
    ]
    for of in ("day_first", "month_first"):
        named = f"{of}.m <> '' AND length({of}.d) <= 2"
        month, date = f"{of}_month", f"{of}.d"
        cases.append(
            (f"{named} AND length({of}.y) IN (2, 4)", _ymd(f"{of}.y", month, date))
        )
        if _has_year(rule):
            cases.append(
                (f"{named} AND {of}.y = ''", _ymd(_year(rule, month), month, date))
            )
    return case(cases)


def figures_cases(order: str) -> list[tuple[str, str]]:
    """Give the forms of figures alone: the condition, and the day as year-month-day."""
    one = "figures.a <> '' AND figures.s = figures.z"
    together = f"regexp_full_match(day, '{_TOGETHER}')"
    year, month, date = "day[1:4]", "day[5:6]", "day[7:8]"
    whole = _ymd(year, month, date)
    cases = [
        (
            f"{one} AND length(figures.a) = 4 AND length(figures.c) <= 2",
            _ymd("figures.a", "figures.b", "figures.c"),
        ),
        (
            f"{together} AND TRY_CAST({year} AS INT) BETWEEN {FIRST_YEAR} AND {LAST_YEAR} "
            f"AND TRY_CAST({whole} AS DATE) IS NOT NULL",
            whole,
        ),
    ]
    if order in ("dmy", "mdy"):
        first, second = ("figures.b", "figures.a"), ("day[3:4]", "day[1:2]")
        if order == "mdy":
            first, second = first[::-1], second[::-1]
        last = "length(figures.a) <= 2 AND length(figures.c) IN (2, 4)"
        cases += [
            (f"figures.a <> '' AND {YEAR_LAST} AND {last}", _ymd("figures.c", *first)),
            (together, _ymd("day[5:8]", *second)),
        ]
    if order == "ymd":
        short = "length(figures.a) = 2 AND length(figures.c) <= 2"
        cases.append(
            (f"{one} AND {short}", _ymd("figures.a", "figures.b", "figures.c"))
        )
    return cases


def _bare_cases(rule: CellRule) -> list[tuple[str, str]]:
    """Give a day of the month alone, where the settings say of which month."""
    if not rule.month:
        return []
    figure = r"lpad(regexp_extract(day, '^\d+'), 2, '0')"
    return [(_is_bare(), f"{literal(rule.month + '-')} || {figure}")]


def _is_bare() -> str:
    return f"regexp_full_match(day, {literal(_BARE)})"


def _day_of_week() -> str:
    """Give the day of an ISO week as year-month-day; null where the year has no such week."""
    fourth = "make_date(TRY_CAST(week.y AS INT), 1, 4)"  # always in the first week
    days = "(TRY_CAST(week.w AS INT) - 1) * 7 + TRY_CAST(week.d AS INT)"
    day = f"({fourth} - isodow({fourth})::INT + {days})"
    written = "week.y || week.w"
    return f"CASE WHEN strftime({day}, '%G%V') = {written} THEN strftime({day}, '%Y-%m-%d') END"


def _yearless_cases(rule: CellRule, form: CellForm) -> list[tuple[str, str]]:
    if not _has_year(rule) or rule.order == "iso":
        return []
    month, date = "short.a", "short.b"
    if rule.order == "dmy":
        month, date = date, month
    # a workbook makes the number 3.1 of "3.10", so only a closing point shows a day
    sure = " AND (short.s <> '.' OR short.z = '.')" if form.workbook else ""
    return [(f"short.a <> ''{sure}", _ymd(_year(rule, month), month, date))]


def _has_year(rule: CellRule) -> bool:
    """Tell whether the settings name the year of days without one."""
    return rule.year not in (None, years.ROWS)


def _year(rule: CellRule, month: str) -> str:
    """Give SQL of the year that the settings have for days of a month."""
    return f"({years.of_month_sql(rule.year or 0, month)})"


def _ymd(year: str, month: str, date: str) -> str:
    full = f"CASE WHEN length({year}) = 2 THEN '20' || {year} ELSE {year} END"
    return f"({full}) || '-' || lpad({month}, 2, '0') || '-' || lpad({date}, 2, '0')"


def _month(word: str) -> str:
    """Give the two figures of a month's name; not a number where no language has it."""
    known = "".join(
        f" {name}:{number:02d}" for name, number in languages.months().items()
    )
    at = f"instr({literal(known)}, ' ' || {word} || ':')"
    # one text to search in is planned many times faster than a list of cases
    return f"CASE WHEN {at} > 0 THEN {literal(known)}[{at} + length({word}) + 2:{at} + length({word}) + 3] END"


def _date(rule: CellRule, form: CellForm) -> str:
    read, cases = "TRY_CAST(iso AS DATE)", []
    if rule.turned:
        real = _turned("TRY_CAST(iso AS TIMESTAMP)", rule.turned)
        cases.append((f"regexp_full_match(day, '{_ISO_DAY}')", f"CAST({real} AS DATE)"))
    if form.workbook:
        # the day of a workbook whose hour stands in a cell of its own
        serial = f"CAST({_turned(_serial('day', form), rule.turned)} AS DATE)"
        cases.append((f"regexp_full_match(day, {literal(_SERIAL)})", serial))
    return case(cases, read) if cases else read


def _micros() -> str:
    """Give a time as microseconds after midnight; null where there is no such time."""
    hour = "TRY_CAST(time.h AS INT)"
    half = "translate(time.half, '. ', '')"
    minute, second = (f"coalesce(TRY_CAST(time.{p} AS INT), 0)" for p in "ms")
    micro = "coalesce(TRY_CAST(rpad(time.f, 6, '0')[1:6] AS INT), 0)"
    afternoon = f"CASE {half} WHEN 'pm' THEN 12 ELSE 0 END"
    hours = case(
        [
            (
                f"{half} IN ('am', 'pm')",
                f"CASE WHEN {hour} BETWEEN 1 AND 12 THEN {hour} % 12 + {afternoon} END",
            ),
            (f"{hour} <= 23 AND (time.m <> '' OR time.half <> '')", hour),
        ]
    )
    return case(
        [
            ("clock = ''", "NULL::BIGINT"),
            (
                f"time.h <> '' AND {minute} <= 59 AND {second} <= 59",
                f"((({hours}) * 60 + {minute}) * 60 + {second}) * 1000000::BIGINT + {micro}",
            ),
            (
                f"regexp_full_match(clock, {literal(_FRACTION)})",
                "round(TRY_CAST(clock AS DOUBLE) * 86400)::BIGINT * 1000000",
            ),
        ]
    )


# --- why a text is no day

_NO_YEAR = "which has no year; write it in, or set year for its file"
_NO_YEAR_ABOVE = "which has no year: none stands alone in a row above it"
_SURELY_SHORT = r"short.s <> '.' OR regexp_full_match(day, '\d+\.\d+\.')"
"""SQL that is TRUE for day and month where a workbook's number can be no such text."""


def _why(rule: CellRule, form: CellForm) -> str:
    """Give SQL of the true cause, as the end of a sentence that has quoted the text."""
    no_year = literal(_NO_YEAR_ABOVE if rule.year == years.ROWS else _NO_YEAR)
    no_day = literal("and there is no such day")
    cases = [
        ("rest[1] = '#'", literal("which is an error of a spreadsheet and no date")),
        (
            r"regexp_matches(rest, ':\d\d(\.\d+)? ?(z|[+-]\d\d:?\d\d)$')",
            literal(
                "which has an offset; times are the station's own, so take the offset out"
            ),
        ),
        (
            f"regexp_full_match(rest, {literal(_TIME)}) AND contains(rest, ':')",
            literal("which is a time without a day"),
        ),
        (
            "written_day IS NOT NULL AND date IS NULL",
            "'whose weekday is not that of its day: ' || strftime(written_day, '%Y-%m-%d') "
            "|| ' is a ' || strftime(written_day, '%A')",
        ),
        (
            f"{within_years('date')} AND clock <> ''",
            "'whose day can be read and whose time cannot: \"' || clock || '\"'",
        ),
        (
            "date IS NOT NULL",
            literal(f"whose year is not from {FIRST_YEAR} to {LAST_YEAR}"),
        ),
        (
            "figures.a <> '' AND figures.s <> figures.z",
            literal("which has two kinds of separators"),
        ),
        *_other_orders(rule),
        *_no_such_day(rule),
        ("figures.a <> '' OR week.y <> ''", no_day),
        (
            r"regexp_full_match(rest, '(\d{4}.?)?(w|kw|sem)\.? ?\d{1,2}(.?\d{4})?')",
            literal("which is a week and no day"),
        ),
        *_no_such_short_day(rule, form),
        (f"short.a <> '' AND ({_SURELY_SHORT})", no_year),
        ("short.a <> ''", literal("which is a number, or a day without its year")),
    ]
    for of in ("day_first", "month_first"):
        cases += [
            (
                f"{of}.m <> '' AND {of}_month IS NULL",
                f"'which names no month that is known: \"' || {of}.m || '\"'",
            ),
            *([] if _has_year(rule) else [(f"{of}.m <> '' AND {of}.y = ''", no_year)]),
            (f"{of}.m <> ''", no_day),
        ]
    if not form.workbook:
        cases.append(
            (
                f"regexp_full_match(rest, {literal(_SERIAL)})",
                "'which is a number: a spreadsheet may have put it for the day '"
                f" || strftime({_serial('rest', form)}, '%Y-%m-%d')",
            )
        )
    cases += [
        (
            r"regexp_full_match(rest, '[\d.,]+')",
            literal("which is a number and no date"),
        ),
        (r"NOT regexp_matches(rest, '\d')", literal("which is a text and no date")),
    ]
    return case(cases, literal("which is no date that can be read"))


def _no_such_short_day(rule: CellRule, form: CellForm) -> list[tuple[str, str]]:
    """Tell days without a year that are none, or lack their order, where the year is set."""
    if not _has_year(rule):
        return []
    said = "and there is no such day"
    if rule.order == "iso":
        said = 'whose order is not set; set dates = "dmy" or "mdy" for its file'
    sure = f" AND ({_SURELY_SHORT})" if form.workbook else ""
    return [(f"short.a <> ''{sure}", literal(said))]


def _no_such_day(rule: CellRule) -> list[tuple[str, str]]:
    if not rule.month:
        return []
    return [(_is_bare(), literal(f"and {rule.month}, the month set for its file, has no such day"))]


def fits(order: str) -> str:
    """Give SQL that is TRUE for figures that are a day in an order; after `parts`."""
    return f"TRY_CAST({case(figures_cases(order))} AS DATE) IS NOT NULL"


def _other_orders(rule: CellRule) -> list[tuple[str, str]]:
    """Tell figures that fit another order than the one set."""
    said = "year-month-day in full" if rule.order == "iso" else ORDERS[rule.order]
    cases = [
        (
            fits(order),
            literal(
                f"which is not {said}, as the settings have it, but {words}; "
                f'correct it, or set dates = "{order}" for its file'
            ),
        )
        for order, words in ORDERS.items()
        if order != rule.order
    ]
    if rule.order == "iso":
        both = literal(
            "which may be day-month-year or month-day-year; "
            'set dates = "dmy" or "mdy" for its file'
        )
        cases.insert(0, (f"{fits('dmy')} AND {fits('mdy')}", both))
    return cases
