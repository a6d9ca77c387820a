"""SQL that reads numbers as people write them: with units, thousands, as sums, as spans.

The decimal sign is the settings'; a number that would be one thing with a decimal sign
and another with thousands ("1,234") is not read. A unit that stands in the cell comes
before the column's, and is read where the dictionary knows it. A span of time may be
written in two of its units ("4 min 30 s", "4'30''"); one with a colon is read
where its first figure can be one thing only, or the settings say which.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from queen_outcomes.base.store import literal
from queen_outcomes.facts import languages
from queen_outcomes.facts.column import UNITS, Column
from queen_outcomes.facts.reading import CellRule
from queen_outcomes.records.steps import (
    CellForm,
    Steps,
    case,
    extract,
    spaced,
    without_accents,
)

MOST_DOSES = 3
"""A product's first factor counts the doses, unless only the second is as few."""
_GROUPED = r"[+-]?[1-9]\d{0,2}(\.\d{3})+"
_WIDE = "０１２３４５６７８９％−×*’µμ′″”"
_PLAIN = "0123456789%-xx'uu'\"\""
_IN_WORKBOOK = r"(?:1899-12-3[01]|1900-01-0[01])[t ]+"
"""The day that a workbook puts before a time that has none."""
_COLON = r"(\d{1,3}):([0-5]\d)(?::([0-5]\d)(?:\.0+)?)?"
MINUTES, HOURS = "min:s", "h:min"
"""What the first figure of a span such as 4:30 counts, as the settings say."""
ONLY_ABOUT = "which says that it is only about"
NO_SPAN = "which may be minutes and seconds or hours and minutes"


def steps(column: Column, rule: CellRule, form: CellForm) -> Steps:
    """Read the numbers that are more than plain figures.

    Parameters
    ----------
    column : Column
        Of kind number or integer.
    rule : CellRule
        The decimal sign, and the unit of numbers that have none.
    form : CellForm
        A workbook's own numbers have a point whatever the decimal sign.

    Returns
    -------
    Steps
        From ``text``: the value in our unit, the parts of a sum, and why a text is none.
    """
    kept = rule.unit or column.unit
    units = _unit_pattern(column)
    written = rf"({_written(rule.decimal, form)})(?: ?({units})\.?)?"
    plain = _plain("one.n", rule.decimal, form)
    layers: list[dict[str, str]] = [
        {"rest": _without_marks(_fold("text"), rule.about)},
        {"one": extract("rest", written, "n,u")},
        {"plain": case([("one.n <> ''", plain)])},
    ]
    if column.kind == "integer":
        whole = case([("plain = trunc(plain)", "TRY_CAST(plain AS BIGINT)")])
        return Steps(whole, tuple(layers), _why(column, rule, units))
    reads = [("plain IS NOT NULL", _in_written_unit("plain", "one.u", column, kept))]
    parts = "NULL::BIGINT"
    if column.unit == "min":
        layers += _span_layers(kept)
        reads.append(("span IS NOT NULL", "span"))
    if column.summed:
        layers += _sum_layers(units, rule.decimal)
        total = _in_written_unit("total", "units[1]", column, kept)
        reads.append(("total IS NOT NULL", total))
        parts = case([("total IS NOT NULL", "parts")])
    layers.append({"read": case(reads)})
    value = case([("isfinite(read)", "read")])
    return Steps(value, tuple(layers), _why(column, rule, units), parts)


def in_unit(value: str, column: Column, kept: str) -> str:
    """Give SQL of a value in our unit, from the unit that it is kept in."""
    if kept == column.unit:
        return value
    factor, offset = UNITS[column.unit][kept]
    return f"round(({value}) * {factor!r}::DOUBLE + {offset!r}::DOUBLE, 9)"


def plain_number(text: str, decimal: str, form: CellForm) -> str:
    """Read plain figures with the station's decimal sign."""
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


def plain_integer(text: str, decimal: str) -> str:
    """Read a plain whole number, also when a program wrote it as 3.0."""
    sign = r"\." if decimal == "." else ","
    whole = f"TRY_CAST(split_part({text}, '{decimal}', 1) AS BIGINT)"
    return (
        rf"CASE WHEN regexp_full_match({text}, '[+-]?\d+({sign}0+)?') THEN {whole} END"
    )


# --- the forms that take some steps


def _fold(text: str) -> str:
    plain = text
    for sign, plainer in (languages.MICRO | languages.DEGREES).items():
        plain = f"replace({plain}, {literal(sign)}, {literal(plainer)})"
    return spaced(without_accents(f"translate({plain}, '{_WIDE}', {literal(_PLAIN)})"))


def _marks(about: Iterable[str]) -> str:
    """Give a pattern of marks of a number that is only about right."""
    names = {languages.folded(mark).rstrip(".") for mark in about} - {""}
    return "|".join(re.escape(n) for n in sorted(names, key=lambda n: (-len(n), n)))


def marks_in(texts: Iterable[str]) -> list[str]:
    """Give the marks of an approximate number in texts, as they stand there."""
    known = set(languages.about_words())
    return list(
        dict.fromkeys(
            mark
            for text in texts
            for mark in re.findall(r"[~≈]|[^\W\d_]+\.?", text)
            if languages.folded(mark).rstrip(".") in known
        )
    )


def _without_marks(text: str, about: Iterable[str]) -> str:
    """Take the marks before or behind a number off, where the settings have some."""
    marks = _marks(about)
    if not marks:
        return text
    first = literal(rf"^(?:{marks})\.? ?([+\d.,-])")
    last = literal(rf"([^\pL ]|[^\pL ] ?\pL+) ?(?:{marks})\.?$")
    return f"regexp_replace(regexp_replace({text}, {first}, '\\1'), {last}, '\\1')"


def _unit_pattern(column: Column) -> str:
    """Give the names of a quantity's units, the longest first."""
    names = {*languages.units(column.unit)}
    if column.unit == "C":
        names |= set(languages.NO_UNIT)
    ordered = sorted(names, key=lambda name: (-len(name), name))
    return "|".join(re.escape(name) for name in ordered) or r"[^\s\S]"


def _written(decimal: str, form: CellForm) -> str:
    """Give the forms of a number that can be one thing only."""
    point, group = (r"\.", ",") if decimal == "." else (",", r"\.")
    plain = rf"\d+(?:{point}\d+)?|{point}\d+"
    thousands = (
        rf"[1-9]\d{{0,2}}(?:[ ']\d{{3}})+(?:{point}\d+)?"
        rf"|[1-9]\d{{0,2}}(?:{group}\d{{3}})+{point}\d+"
        rf"|[1-9]\d{{0,2}}(?:{group}\d{{3}}){{2,}}"
    )
    own = ""
    if form.workbook and decimal == ",":
        # a number that the workbook keeps, unless it could be thousands
        own = r"|\d+\.(?:\d{1,2}|\d{4,})|(?:0|[1-9]\d{3,})\.\d{3}"
    return rf"[+-]?(?:{plain}|{thousands}{own})"


def _plain(number: str, decimal: str, form: CellForm) -> str:
    """Give SQL of a number's value, from the forms of `_written`."""
    if decimal == ".":
        return f"TRY_CAST(translate({number}, ', ''', '') AS DOUBLE)"
    theirs = f"replace(translate({number}, '. ''', ''), ',', '.')"
    if form.workbook:
        own = rf"regexp_full_match({number}, '[+-]?\d+\.\d+')"
        theirs = f"CASE WHEN {own} THEN {number} ELSE {theirs} END"
    return f"TRY_CAST({theirs} AS DOUBLE)"


def _in_written_unit(value: str, unit: str, column: Column, kept: str) -> str:
    """Give a value in our unit, from the unit in the cell, else from the column's."""
    named: dict[str, list[str]] = {}
    for name, means in languages.units(column.unit).items():
        named.setdefault(means, []).append(name)
    cases = " ".join(
        f"WHEN {unit} IN ({', '.join(map(literal, sorted(names)))}) "
        f"THEN {in_unit(value, column, means)}"
        for means, names in named.items()
    )
    without = in_unit(value, column, kept)
    return f"CASE {cases} ELSE {without} END" if cases else without


def _sum_layers(units: str, decimal: str) -> list[dict[str, str]]:
    """Take "4+4", "4 + 4 ul" or "2x4" apart: the total, its parts and its unit."""
    point = r"\." if decimal == "." else ","
    figure = rf"\d+(?:{point}\d+)?"
    term = rf"{figure}(?: ?(?:{units}))?"
    is_sum, is_product = rf"{term}(?: ?\+ ?{term})+", rf"{term} ?x ?{term}"
    bare = f"regexp_replace(rest, {literal(f'(?:{units})')}, ' ', 'g')"
    each = f"lambda x: replace(x, '{decimal}', '.')::DOUBLE"
    # a factor with a unit is the dose, so that the other one counts
    first_has = f"regexp_matches(rest, {literal(f'^{figure} ?(?:{units})')})"
    last_has = f"regexp_matches(rest, {literal(f'(?:{units})$')})"
    few = f"{{0}} = trunc({{0}}) AND {{0}} BETWEEN 1 AND {MOST_DOSES}"
    count = case(
        [
            (f"{first_has} AND {last_has}", "NULL"),
            (f"{few.format('figures[1]')} AND NOT {first_has}", "figures[1]"),
            (f"{few.format('figures[2]')} AND NOT {last_has}", "figures[2]"),
        ]
    )
    kind = [
        (f"regexp_full_match(rest, {literal(is_sum)})", "'sum'"),
        (f"regexp_full_match(rest, {literal(is_product)})", "'product'"),
    ]
    found = f"regexp_extract_all({bare}, {literal(figure)})"
    named = f"list_distinct(regexp_extract_all(rest, {literal(f'(?:{units})')}))"
    both = "CASE kind WHEN 'sum' THEN list_sum(figures) ELSE list_product(figures) END"
    parts = f"CASE kind WHEN 'sum' THEN len(figures) WHEN 'product' THEN {count} END"
    sure = "parts IS NOT NULL AND len(units) <= 1 AND list_min(figures) > 0"
    return [
        {"kind": case(kind)},
        {
            "figures": case([("kind IS NOT NULL", f"list_transform({found}, {each})")]),
            "units": case([("kind IS NOT NULL", named)]),
        },
        {"parts": f"({parts})::BIGINT"},
        {"total": case([(sure, f"round({both}, 9)")])},
    ]


def _span_layers(kept: str) -> list[dict[str, str]]:
    """Take "4 min 30 s", "4'30''", "1 h 30" or "4:30" apart: the span in minutes."""
    named: dict[str, list[str]] = {"min": ["m", "'"], "s": ["''", '"'], "h": []}
    for name, unit in languages.units("min").items():
        named.get(unit, []).append(name)
    h, m, s = (
        f"(?:{'|'.join(re.escape(n) for n in sorted(named[u], key=lambda n: (-len(n), n)))})"
        for u in ("h", "min", "s")
    )
    apart = r"\.?,? ?(?:(?:and|e|y|et|und|i|a) )?"
    hours = rf"(\d{{1,2}}) ?{h}{apart}([0-5]?\d)(?: ?{m})?\.?"
    minutes = rf"(\d{{1,3}}) ?{m}(?:{apart}([0-5]?\d)(?: ?{s})?\.?)?"
    seconds = rf"(\d{{1,3}}) ?{s}\.?"
    number = "TRY_CAST({} AS DOUBLE)".format
    hour_first = f"{number('colon.a')} * 60 + {number('colon.b')}"
    minute_first = f"{number('colon.a')} + {number('colon.b')} / 60"
    all_three = (
        f"{hour_first} + coalesce({number('colon.c')}, 0) / 60"  # 0:04:30
    )
    no_hours = r"regexp_full_match(colon.a, '0+')"
    hour_names, minute_names = (
        ", ".join(literal(name) for name in sorted(named[unit])) for unit in ("h", "min")
    )
    colon = [
        (f"colon.c <> '' AND {no_hours}", all_three),
        (f"colon.c = '' AND colon.u IN ({minute_names})", minute_first),
        (f"colon.c = '' AND colon.u IN ({hour_names})", hour_first),
    ]
    two = "(colon.c = '' OR regexp_full_match(colon.c, '0+'))"
    if kept == MINUTES:
        # a workbook takes a typed 4:30 for the time of day 04:30:00
        colon.append((two, minute_first))
    elif kept == HOURS:
        colon.append(("true", all_three))
    spans = [
        ("colon.a <> ''", case(colon)),
        ("hours.a <> ''", f"{number('hours.a')} * 60 + {number('hours.b')}"),
        (
            "minutes.a <> ''",
            f"{number('minutes.a')} + coalesce({number('minutes.b')}, 0) / 60",
        ),
        ("seconds.a <> ''", f"{number('seconds.a')} / 60"),
    ]
    bare = f"regexp_replace(rest, {literal('^' + _IN_WORKBOOK)}, '')"
    return [
        {
            "colon": extract(bare, rf"{_COLON}(?: ?({h}|{m})\.?)?", "a,b,c,u"),
            "hours": extract("rest", hours, "a,b"),
            "minutes": extract("rest", minutes, "a,b"),
            "seconds": extract("rest", seconds, "a"),
        },
        {"span": f"round({case(spans)}, 9)"},
    ]


# --- why a text is no number


def _why_no_span(column: Column, rule: CellRule) -> list[tuple[str, str]]:
    """Tell a span with a colon, whose first figure may be minutes or hours."""
    if column.unit != "min" or rule.unit in (MINUTES, HOURS):
        return []
    says = (
        f'{NO_SPAN}; set unit = "{MINUTES}" or "{HOURS}" for its column'
    )
    return [(rf"(?:{_IN_WORKBOOK})?{_COLON}", says)]


def _why(column: Column, rule: CellRule, units: str) -> str:
    """Give SQL of the cause, as the end of a sentence that has quoted the text."""
    other = "," if rule.decimal == "." else "."
    signs = {".": "a point", ",": "a comma"}
    point, wrong = re.escape(rule.decimal), re.escape(other)
    unit = rf"(?: ?(?:{units})\.?)?"
    figure = rf"\d+(?:{point}\d+)?"
    known = ", ".join(u for u in UNITS.get(column.unit, {}) if ":" not in u)
    marks = _marks(languages.about_words())
    cases = [
        *_why_no_span(column, rule),
        (
            rf"(?:{marks})\.? ?{figure}{unit}|{figure}{unit} ?(?:{marks})\.?",
            f"{ONLY_ABOUT} that number",
        ),
        (
            rf"[+-]?[1-9]\d{{0,2}}{wrong}\d{{3}}{unit}",
            "which may be a number of thousands or one with decimals; write it "
            "without the sign between",
        ),
        (
            rf"[+-]?\d+{wrong}\d+{unit}",
            f"which has {signs[other]} for its decimal sign, where the settings say "
            f'decimal = "{rule.decimal}"',
        ),
        (
            rf"{figure} ?(?:-|/|to|bis|do) ?{figure}.*",
            "which is two numbers; write the one that counts",
        ),
    ]
    if column.summed:
        cases.append(
            (
                rf"{figure}{unit} ?x ?{figure}{unit}",
                "which does not show how many doses it is; write the number of doses "
                "first, as 2x4",
            )
        )
    if column.kind == "integer":
        cases.append((rf"[+-]?\d+{point}\d+", "which is no whole number"))
    if known:
        cases.append((rf"[+-]?{figure} ?\pL+[\d.]?", f"whose unit is none of: {known}"))
    whens = [
        (f"regexp_full_match(rest, {literal(form)})", literal(says))
        for form, says in cases
    ]
    return case(whens, literal("which is no number that can be read"))
