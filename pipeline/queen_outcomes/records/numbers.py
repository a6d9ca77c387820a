"""SQL that reads numbers as people write them: with units, thousands, as sums.

The decimal sign is the settings'; a number that would be one thing with a decimal sign
and another with thousands ("1,234") is not read. A unit that stands in the cell comes
before the column's, and is read where the dictionary knows it.
"""

from __future__ import annotations

import re

from queen_outcomes.base.store import literal
from queen_outcomes.facts import languages
from queen_outcomes.facts.column import UNITS, Column
from queen_outcomes.facts.reading import CellRule
from queen_outcomes.records.steps import CellForm, Steps, spaced, without_accents

MOST_DOSES = 3
"""A product's first factor counts the doses, unless only the second is as few."""
_GROUPED = r"[+-]?[1-9]\d{0,2}(\.\d{3})+"
_WIDE = "０１２３４５６７８９％−×*’µμ"
_PLAIN = "0123456789%-xx'uu"


def steps(
    name: str, text: str, column: Column, rule: CellRule, form: CellForm
) -> Steps:
    """Read a number in the column's unit.

    Parameters
    ----------
    name : str
        What the aliases begin with.
    text : str
        SQL of the cell's text, clean.
    column : Column
        Of kind number or integer.
    rule : CellRule
        The decimal sign, and the unit of numbers that have none.
    form : CellForm
        A workbook's own numbers have a point whatever the decimal sign.

    Returns
    -------
    Steps
        The value, why a text was not read, and the parts of a sum.
    """
    rest, one = f"{name}_rest", f"{name}_one"
    quick = (
        _integer(text, rule.decimal)
        if column.kind == "integer"
        else _number(text, rule.decimal, form)
    )
    kept = rule.unit or column.unit
    units = _unit_pattern(column)
    first = in_unit(f"{name}_quick", column, kept)
    plain = _plain(f"{one}.n", rule.decimal, form)
    slow = _in_written_unit(plain, f"{one}.u", column, kept)
    layers: list[dict[str, str]] = [
        {f"{name}_quick": quick},
        {rest: f"CASE WHEN {name}_quick IS NULL THEN {_fold(text)} END"},
        {
            one: _extract(
                rest, rf"({_written(rule.decimal, form)})(?: ?({units})\.?)?", "n,u"
            )
        },
    ]
    reads = [
        f"WHEN {name}_quick IS NOT NULL THEN {first}",
        f"WHEN {one}.n <> '' THEN {slow}",
    ]
    parts = ""
    if column.summed:
        layers += _sum_layers(name, units, rule.decimal)
        total = _in_written_unit(f"{name}_total", f"{name}_units[1]", column, kept)
        reads.append(f"WHEN {name}_total IS NOT NULL THEN {total}")
        parts = f"CASE WHEN {name}_total IS NOT NULL THEN {name}_parts END"
    value = f"CASE {' '.join(reads)} END"
    if column.kind == "integer":
        value = (
            f"CASE WHEN {name}_quick IS NOT NULL THEN {name}_quick "
            f"WHEN {one}.n <> '' AND {plain} = trunc({plain}) THEN TRY_CAST({plain} AS BIGINT) END"
        )
    else:
        layers.append({f"{name}_read": value})
        value = f"CASE WHEN isfinite({name}_read) THEN {name}_read END"
    layers.append({f"{name}_value": value})
    why = _why(rest, column, rule, units)
    return Steps(f"{name}_value", tuple(layers), why, parts)


def in_unit(value: str, column: Column, kept: str) -> str:
    """Give SQL of a value in our unit, from the unit that it is kept in."""
    if kept == column.unit:
        return value
    factor, offset = UNITS[column.unit][kept]
    return f"round(({value}) * {factor!r}::DOUBLE + {offset!r}::DOUBLE, 9)"


def _number(text: str, decimal: str, form: CellForm) -> str:
    """Read a plain number with the decimal sign."""
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


def _integer(text: str, decimal: str) -> str:
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


def _extract(text: str, pattern: str, names: str) -> str:
    listed = ", ".join(map(literal, names.split(",")))
    return f"regexp_extract({text}, {literal(f'^(?:{pattern})$')}, [{listed}])"


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


def _sum_layers(name: str, units: str, decimal: str) -> list[dict[str, str]]:
    """Take "4+4", "4 + 4 ul" or "2x4" apart: the total, its parts and its unit."""
    rest, numbers = f"{name}_rest", f"{name}_numbers"
    point = r"\." if decimal == "." else ","
    figure = rf"\d+(?:{point}\d+)?"
    term = rf"{figure}(?: ?(?:{units}))?"
    is_sum, is_product = rf"{term}(?: ?\+ ?{term})+", rf"{term} ?x ?{term}"
    bare = f"regexp_replace({rest}, {literal(f'(?:{units})')}, ' ', 'g')"
    each = f"lambda x: replace(x, '{decimal}', '.')::DOUBLE"
    few = f"= trunc({{0}}) AND {{0}} BETWEEN 1 AND {MOST_DOSES}"
    a, b = f"{numbers}[1]", f"{numbers}[2]"
    # a factor with a unit is the dose, so that the other one counts
    unit_after_first = f"regexp_matches({rest}, {literal(f'^{figure} ?(?:{units})')})"
    unit_after_last = f"regexp_matches({rest}, {literal(f'(?:{units})$')})"
    count = (
        f"CASE WHEN {unit_after_first} AND {unit_after_last} THEN NULL "
        f"WHEN {a} {few.format(a)} AND NOT {unit_after_first} THEN {a} "
        f"WHEN {b} {few.format(b)} AND NOT {unit_after_last} THEN {b} END"
    )
    kind = f"{name}_kind"
    return [
        {
            kind: f"CASE WHEN regexp_full_match({rest}, {literal(is_sum)}) THEN 'sum' "
            f"WHEN regexp_full_match({rest}, {literal(is_product)}) THEN 'product' END"
        },
        {
            numbers: f"CASE WHEN {kind} IS NOT NULL THEN list_transform("
            f"regexp_extract_all({bare}, {literal(figure)}), {each}) END",
            f"{name}_units": f"CASE WHEN {kind} IS NOT NULL THEN list_distinct("
            f"regexp_extract_all({rest}, {literal(f'(?:{units})')})) END",
        },
        {
            f"{name}_parts": f"CASE WHEN {kind} = 'sum' THEN len({numbers}) "
            f"WHEN {kind} = 'product' THEN {count} END::BIGINT"
        },
        {
            f"{name}_total": f"CASE WHEN {name}_parts IS NOT NULL "
            f"AND len({name}_units) <= 1 AND list_min({numbers}) > 0 THEN round("
            f"CASE {kind} WHEN 'sum' THEN list_sum({numbers}) "
            f"ELSE list_product({numbers}) END, 9) END"
        },
    ]


# --- why a text is no number


def _why(rest: str, column: Column, rule: CellRule, units: str) -> str:
    """Give SQL of the cause, as the end of a sentence that has quoted the text."""
    other = "," if rule.decimal == "." else "."
    signs = {".": "a point", ",": "a comma"}
    point, wrong = re.escape(rule.decimal), re.escape(other)
    unit = rf"(?: ?(?:{units})\.?)?"
    figure = rf"\d+(?:{point}\d+)?"
    known = ", ".join(UNITS.get(column.unit, {}))
    cases = [
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
    if column.kind == "integer":
        cases.append((rf"[+-]?\d+{point}\d+", "which is no whole number"))
    if known:
        cases.append((rf"[+-]?{figure} ?\pL+[\d.]?", f"whose unit is none of: {known}"))
    whens = " ".join(
        f"WHEN regexp_full_match({rest}, {literal(form)}) THEN {literal(says)}"
        for form, says in cases
    )
    return f"CASE {whens} ELSE 'which is no number that can be read' END"
