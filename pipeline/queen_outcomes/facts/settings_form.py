"""The form of `station.toml`: which names there may be, and what each may hold.

Reads a parsed document into plain values or refuses it with the place, the nearest
right name and what was expected. It knows nothing of what the values are for.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from queen_outcomes.base.errors import UsageError, nearest
from queen_outcomes.base.refs import SLOT_BITS
from queen_outcomes.facts import languages, years
from queen_outcomes.facts.column import UNITS, Column, Limits, Table
from queen_outcomes.facts.dictionary import (
    DERIVED_LIMITS,
    FIRST_DAY,
    LAST_DAY,
    TABLES,
)
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.reading import (
    ABSENT,
    BLANK_NO,
    FILLED_YES,
    FINDINGS,
    FOLDED,
    HOLE,
    MIXED,
    NO,
    NOT_LOOKED,
    PARTS,
    PASS_OVER,
    READ,
    YES,
    ColumnRule,
    Habits,
    ReadRule,
    folded_score,
)

MAIN_TERMS = (
    *("dose", "drone_age", "queen_age", "semen_age", "doses", "co2_schedule"),
    *("experience", "line", "drone_line", "year", "season"),
)
"""The factors of the models, in the default order of priority."""
LISTED_TERMS = ("instrument", "tip")
"""Factors that a station may list besides: they may be how an operator works."""
BENDING = ("dose", "drone_age", "queen_age")
"""Factors that may bend, so that their form can be fixed."""
KNOTS = {"line": 0, "3 knots": 3, "4 knots": 4}
LEAST_MEMORY_GB = 0.5
"""With less the tables of a station cannot be joined, on disk or not."""
FARTHEST = 1e9
"""No limit of a column lies further out: one that should bound nothing is inf."""
LAST_HEADING = 10_000
"""No headings stand further down; a line beyond any range would end the reading."""


@dataclass(frozen=True)
class Field:
    """One value: a reader that gives the value or None when it does not fit."""

    read: Callable[[Any], Any]
    expected: str


def _is_number(value: Any, kinds: Any = int) -> bool:
    """Tell a number from a yes or no, which Python takes for one."""
    return isinstance(value, kinds) and not isinstance(value, bool)


def whole(low: int, high: int) -> Field:
    """Make a field for whole numbers."""
    return Field(
        lambda value: value if _is_number(value) and low <= value <= high else None,
        f"a whole number from {low} to {high}",
    )


def choice(*allowed: str) -> Field:
    """Make a field for one of some words."""
    return Field(
        lambda value: value if value in allowed else None,
        "one of " + ", ".join(f'"{word}"' for word in allowed),
    )


def by_name(section: str, example: str = "Anna") -> Field:
    """Make a field for a section of whole numbers, each under a name of the station's."""
    return Field(_counts, f"[{section}] with lines such as {example} = 120")


def _counts(value: Any) -> dict[str, int] | None:
    fits = isinstance(value, dict) and all(
        _is_number(count) and 0 <= count <= 10**6 for count in value.values()
    )
    return {name.strip(): count for name, count in value.items()} if fits else None


def _text(value: Any) -> str | None:
    return value.strip() or None if isinstance(value, str) else None


def _texts(value: Any) -> tuple[str, ...] | None:
    listed = value if isinstance(value, list) else [value]
    fits = all(isinstance(text, str) for text in listed)
    return tuple(text.strip() for text in listed) if fits else None


def _terms(value: Any) -> tuple[str, ...] | None:
    named = _texts(value)
    fits = named is not None and len(set(named)) == len(named)
    return (
        named if named and fits and set(named) <= {*MAIN_TERMS, *LISTED_TERMS} else None
    )


def _memory(value: Any) -> float | None:
    size = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*GB\s*", str(value))
    fits = size is not None and LEAST_MEMORY_GB <= float(size[1]) <= 10_000
    return float(size[1]) if size and fits else None


def _numbered_headings(value: Any) -> dict[str, int] | None:
    """Read how many records, or values, the cells of some headings may hold."""
    fits = isinstance(value, dict) and all(
        name.strip() and _is_number(most, int) and 1 <= most <= 2**SLOT_BITS - 1
        for name, most in value.items()
    )
    return dict(value) if fits else None


def _group(value: Any) -> dict[str, str] | None:
    """Read what a row with one filled cell gives to the rows below it."""
    given = {value: ""} if isinstance(value, str) else value
    names = {name for table in TABLES.values() for name in table.names}
    if not isinstance(given, dict) or not given or not names.issuperset(given):
        return None
    words = {name: _text(word) for name, word in given.items()}
    fits = isinstance(value, str) or all(words.values())
    return {name: word or "" for name, word in words.items()} if fits else None


def _texts_below(value: Any) -> dict[str, tuple[str, ...]] | None:
    """Read which texts of some headings choose rows; None where one is empty."""
    if not isinstance(value, dict):
        return None
    read = {heading.strip(): _texts(said) for heading, said in value.items()}
    fits = all(name and said and all(said) for name, said in read.items())
    return read if fits else None  # type: ignore[return-value]


def _date(value: Any) -> dt.date | None:
    fits = isinstance(value, dt.date) and not isinstance(value, dt.datetime)
    return value if fits and FIRST_DAY <= value <= LAST_DAY else None


def _month(value: Any) -> str | None:
    fits = isinstance(value, str) and re.fullmatch(r"(19|20|21)\d\d-(0[1-9]|1[0-2])", value)
    return value if fits else None


def _days(value: Any) -> tuple[int, ...] | None:
    listed = value if isinstance(value, list) else [value]
    fits = all(_is_number(day) and 1 <= day <= 3650 for day in listed)
    return tuple(sorted(set(listed))) if fits and listed else None


def _percent(value: Any) -> float | None:
    fits = _is_number(value, int | float) and 0 < value <= 100
    return float(value) if fits else None


def _share(value: Any) -> float | None:
    fits = _is_number(value, int | float) and 0 < value < 1
    return float(value) if fits else None


def _lines(value: Any) -> tuple[int, ...] | None:
    listed = value if isinstance(value, list) else [value]
    fits = 1 <= len(listed) <= 3 and all(
        _is_number(n) and 1 <= n <= LAST_HEADING for n in listed
    )
    return tuple(listed) if fits and listed == sorted(set(listed)) else None


def _prefixes(value: Any) -> dict[str, str] | None:
    named = {"queen_id": value} if isinstance(value, str) else value
    fits = isinstance(named, dict) and set(named) <= set(_columns_of("id"))
    texts = fits and all(isinstance(v, str) and v.count("{}") < 2 for v in named.values())
    return named if texts else None


def _columns_of(*kinds: str) -> list[str]:
    """Name the columns of some kinds, of any table, each once."""
    named = (c.name for t in TABLES.values() for c in t.columns if c.kind in kinds)
    return list(dict.fromkeys(named))


def _folds(value: Any) -> tuple[str, ...] | None:
    named = _texts(value)
    return named if named is not None and set(named) <= set(FOLDED) else None


TEXT = Field(_text, "a text in quotes")
TEXTS = Field(_texts, "a text in quotes, or a list of them")
TERMS = Field(_terms, "a list, each once, of " + ", ".join(MAIN_TERMS + LISTED_TERMS))
DATE = Field(_date, "a day without quotes, such as 2026-07-05")
DAYS = Field(_days, "a number of days, or a list of them, each from 1 to 3650")
PERCENT = Field(_percent, "a percentage above 0 and at most 100")
SHARE = Field(_share, "a share above 0 and below 1, such as 0.1")
ORDERS = choice("iso", "dmy", "mdy", "ymd", f"{MIXED}dmy", f"{MIXED}mdy")
DECIMALS = choice(".", ",")
YEAR = Field(years.read, 'a year such as 2025, or a season in quotes: "2025/26", or "2025-05" from May on')
YEAR_OF_SHEET = Field(years.read_of_sheet, f'{YEAR.expected}, or "{years.ROWS}"')
MONTH = Field(_month, 'a year and month in quotes, such as "2026-05"')
FOLDS = Field(_folds, "a list of some of " + ", ".join(FOLDED))
HABITS: dict[str, Field] = {
    "header": Field(
        _lines, f"the line of the headings, up to {LAST_HEADING}, or a list of two or three"
    ),
    "dates": ORDERS,
    "year": YEAR_OF_SHEET,
    "month": MONTH,
    "decimal": DECIMALS,
    "prefix": Field(
        _prefixes, 'a text, with at most one {}, or { queen_id = "25-", colony_id = "25-" }'
    ),
    "empty": TEXTS,
    "ditto": TEXTS,
    "pass_over": TEXTS,
    "no_record": Field(
        _texts_below,
        'headings, each with its texts, such as { "Done" = ["fed"] }',
    ),
    "encoding": choice("cp1250", "cp1251", "cp1252", "cp1253", "cp1254", "cp1257"),
    "struck": choice(READ, PASS_OVER),
    "hidden": choice(READ, PASS_OVER),
    "fill_down": TEXTS,
    "year_of": TEXT,
    "group_rows": TEXTS,
    "apart": Field(
        _numbered_headings, 'headings with a number from 1, such as { "Checks" = 4 }'
    ),
    "several": Field(
        _numbered_headings, 'headings with a number from 1, such as { "Day" = 2, "Dose" = 2 }'
    ),
    "form": Field(lambda value: "yes" if value is True else None, "true, or no such line"),
    "tables_below": TEXTS,
    "group": Field(
        _group,
        'a column, or columns with the word that stands before each, such as { graft_batch = "Series" }',
    ),
}
"""What [files."pattern"] may say."""
MOST_SLOTS = 2**SLOT_BITS - 1


def _limits(table: str, column: str, kind: str) -> Field:
    default = _default_limits(table, column, kind)

    def read(value: Any) -> Limits | None:
        fits = (
            isinstance(value, list)
            and len(value) == 2
            and all(_is_number(x, int | float) for x in value)
            and value[0] <= value[1]
            and all(abs(x) <= FARTHEST or x in (-math.inf, math.inf) for x in value)
        )
        if not fits:
            return None
        low, high = (None if math.isinf(x) else float(x) for x in value)
        low_open = bool(default and default.low_open and low == default.low)
        return Limits(low, high, low_open, why="the station's own setting")

    return Field(read, "[lowest, highest]; -inf or inf for no limit on that side")


def _default_limits(table: str, column: str, kind: str) -> Limits | None:
    if table == "derived":
        return DERIVED_LIMITS[column][0 if kind == "hard" else 1]
    return getattr(TABLES[table].column(column), kind)


def _by_table(columns: Callable[[Table], Mapping[str, Any]]) -> dict[str, Any]:
    return {name: columns(table) for name, table in TABLES.items()}


def _limit_fields(table: str, column: str) -> dict[str, Field]:
    return {kind: _limits(table, column, kind) for kind in ("hard", "soft")}


def _word_columns() -> dict[str, dict[str, Field]]:
    return {
        column.name: dict.fromkeys(column.words, TEXTS)
        for table in TABLES.values()
        for column in table.columns
        if column.kind == "word"
    }


def read_section(
    form: Mapping[str, Any],
    content: Mapping[str, Any],
    where: str,
    place: str,
    faults: list[UsageError],
) -> dict[str, Any]:
    """Read one section of the document, and the sections inside it.

    What cannot be read is left out and added to ``faults``: an unknown name (the nearest
    is suggested) or a value that does not fit.
    """
    read: dict[str, Any] = {}
    for name, value in content.items():
        here = f"{place}.{name}" if place else name
        if name not in form:
            faults.append(_unknown_name(name, form, where, place))
            continue
        expected = form[name]
        if isinstance(expected, Field):
            given = expected.read(value)
            if given is None:
                faults.append(unfit(value, expected.expected, f"{where}, {here}"))
            else:
                read[name] = given
        elif callable(expected):
            read[name] = expected(value, f"{where}, {here}", faults)
        elif isinstance(value, Mapping):
            read[name] = read_section(expected, value, where, here, faults)
        else:
            faults.append(not_a_section(value, here, where))
    return _gather_words(read, where, faults) if place == "words" else read


def unfit(value: Any, expected: str, where: str) -> UsageError:
    """Say that a setting's value is not of its form."""
    return UsageError(
        "a setting has a value that does not fit",
        where=where,
        found=repr(value),
        expected=expected,
    )


def not_a_section(value: Any, here: str, where: str) -> UsageError:
    """Say that a value stands where a section should."""
    return UsageError(
        "a section was expected",
        where=f"{where}, {here}",
        found=repr(value),
        expected=f"[{here}] with lines below it",
    )


def _unknown_name(name: str, form: Iterable[str], where: str, place: str) -> UsageError:
    return unknown_name(name, form, f"{where}, [{place}]" if place else where)


def unknown_name(name: str, form: Iterable[str], where: str) -> UsageError:
    """Say that there is no such setting, and which is nearest."""
    close = nearest(name, form)
    return UsageError(
        f'there is no setting named "{name}"',
        where=where,
        found=name,
        expected="one of " + ", ".join(form),
        hint=f'did you mean "{close}"?' if close else "take the line out",
    )


def _gather_words(
    read: dict[str, Any], where: str, faults: list[UsageError]
) -> dict[str, Any]:
    """Bring the plain lists of `[words]` into the shape of its sections."""
    gathered = {name: words for name, words in read.items() if isinstance(words, dict)}
    free = {name: gathered.pop(name) for name in (FINDINGS, PARTS, ABSENT) if name in gathered}
    yes_no = {name: read[name] for name in ("yes", "no") if name in read}
    if yes_no:
        gathered["yes_no"] = yes_no
    empty = {"empty": read["empty"]} if "empty" in read else {}
    for column, ours in gathered.items():
        faults += shared_words(column, {**ours, **empty}, f"{where}, [words] {column}")
    for name in ("empty", "about"):
        if name in read:
            gathered[name] = {name: read[name]}
    return gathered | free


def shared_words(
    column: str, ours: Mapping[str, tuple[str, ...]], where: str
) -> list[UsageError]:
    """Say which words stand for two of ours, or for another of ours than they are."""
    meant = {word: our for our, words in _own_words(column).items() for word in words}
    seen: dict[str, str] = {}
    faults = []
    for our, theirs in ours.items():
        for word in theirs:
            folded = word.casefold()
            other = seen.setdefault(folded, our)
            if other != our:
                faults.append(
                    UsageError(
                        "one of the station's words stands for two of ours",
                        where=where,
                        found=f'"{word}" for both "{other}" and "{our}"',
                        expected="each word once",
                    )
                )
            elif meant.get(folded, our) != our:
                faults.append(
                    UsageError(
                        "a word of ours is said to mean another",
                        where=where,
                        found=f'"{word}", which is {meant[folded]}, for {our}',
                        expected=f'"{word}" for {meant[folded]} or not at all',
                    )
                )
    return faults


def _own_words(column: str) -> dict[str, tuple[str, ...]]:
    if column == "yes_no":
        return {"yes": YES, "no": NO}
    return {
        word: (word,)
        for table in TABLES.values()
        for each in table.columns
        if each.name == column
        for word in each.words
    }


# --- the station's own sheets: [records] same, [files."pattern"], [[read]]

Faults = list[UsageError]


def _named(value: Any, where: str, faults: Faults) -> Mapping[str, Any]:
    """Take a section whose names are the station's own."""
    if isinstance(value, Mapping):
        return value
    place = where.rpartition(", ")
    faults.append(not_a_section(value, place[2], place[0]))
    return {}


def _same(value: Any, where: str, faults: Faults) -> dict[str, Any]:
    """Read which spellings are one: column -> the one to keep -> the others."""
    known = _columns_of("id", "label", "text")
    read: dict[str, Any] = {}
    for column, groups in _named(value, where, faults).items():
        here = f"{where}.{column}"
        if column not in known:
            faults.append(unknown_name(column, known, where))
            continue
        kept: dict[str, tuple[str, ...]] = {}
        for name, others in _named(groups, here, faults).items():
            spelled = _texts(others)
            if spelled is None:
                faults.append(unfit(others, TEXTS.expected, f"{here}.{name}"))
            else:
                kept[name] = spelled
        faults += _shared_spellings(kept, here)
        read[column] = kept
    return read


def _shared_spellings(groups: Mapping[str, tuple[str, ...]], where: str) -> Faults:
    seen: dict[str, str] = {}
    faults = []
    for name, others in groups.items():
        for spelling in (name, *others):
            folded = " ".join(spelling.split()).casefold()
            other = seen.setdefault(folded, name)
            if other != name:
                faults.append(
                    UsageError(
                        "one spelling stands for two names",
                        where=where,
                        found=f'"{spelling}" for both "{other}" and "{name}"',
                        expected="each spelling once",
                    )
                )
    return faults


def _files(value: Any, where: str, faults: Faults) -> dict[str, Habits]:
    read = {}
    for pattern, habits in _named(value, where, faults).items():
        here = f'files."{pattern}"'
        if isinstance(habits, Mapping):
            file = where.rpartition(", ")[0]
            read[pattern] = Habits(**read_section(HABITS, habits, file, here, faults))
        else:
            faults.append(not_a_section(habits, here, where.rpartition(", ")[0]))
    return read


def _rules(value: Any, where: str, faults: Faults) -> tuple[ReadRule, ...]:
    file = where.rpartition(", ")[0]
    if not (isinstance(value, list) and all(isinstance(v, Mapping) for v in value)):
        faults.append(unfit(value, "sections that begin with [[read]]", where))
        return ()
    given = (_rule(n, rule, file, faults) for n, rule in enumerate(value, start=1))
    return tuple(rule for rule in given if rule is not None)


RULE = ("from", "table", "only", "each", "columns", "colours")


def _rule(
    number: int, content: Mapping[str, Any], file: str, faults: Faults
) -> ReadRule | None:
    """Read one [[read]]; None where it cannot be read, with the reasons in ``faults``."""
    where = f"{file}, [[read]] no. {number}"
    before = len(faults)
    faults += [unknown_name(n, RULE, where) for n in content if n not in RULE]
    faults += [
        unfit(content.get(name), field.expected, f"{where}, {name}")
        for name, field in (("from", TEXTS), ("table", choice(*TABLES)))
        if name not in content or field.read(content[name]) is None
    ]
    table = TABLES.get(str(content.get("table")))
    if table is None:
        return None
    slots = _slots(content.get("each", []), f"{where}, each", faults)
    columns = _columns(table, content, slots, where, faults)
    colours = _colours(table, content.get("colours", {}), f"{where}, colours", faults)
    only = _only(content.get("only", {}), f"{where}, only", faults)
    if len(faults) > before:
        return None
    sources = _texts(content["from"]) or ()
    return ReadRule(number, sources, table.name, columns, slots, colours, only)


def _only(value: Any, where: str, faults: Faults) -> dict[str, tuple[str, ...]]:
    """Read which rows a rule takes: a heading, and the texts that stand below it."""
    read = {}
    for heading, said in _named(value, where, faults).items():
        texts = _texts(said)
        if texts and all(text.strip() for text in (heading, *texts)):
            read[heading] = tuple(text.strip() for text in texts)
        else:
            expected = 'a heading and its texts, such as { "Done" = ["inseminated", "II"] }'
            faults.append(unfit({heading: said}, expected, where))
    return read


def _columns(
    table: Table, content: Mapping[str, Any], slots: tuple, where: str, faults: Faults
) -> dict[str, ColumnRule]:
    columns: dict[str, ColumnRule] = {}
    said = _named(content.get("columns", {}), f"{where}, columns", faults)
    for name, value in said.items():
        here = f"{where}, columns.{name}"
        rule = _column_rule(table, name, value, here, faults)
        if rule:
            columns[name] = rule
            faults += _idle_braces(rule, slots, here)
    if not said:
        faults.append(unfit(dict(said), "[read.columns] with lines below it", where))
    return columns


def _colours(
    table: Table, value: Any, where: str, faults: Faults
) -> dict[str, dict[str, str]]:
    read = {}
    for fill, sets in _named(value, where, faults).items():
        if not re.fullmatch("#[0-9A-Fa-f]{6}", fill):
            faults.append(unfit(fill, 'a colour such as "#FFFF00"', where))
        read[fill.upper()] = sets_of(table, sets, f'{where}, "{fill}"', faults)
    return read


def _slots(value: Any, where: str, faults: Faults) -> tuple[Mapping[str, str], ...]:
    listed = value if isinstance(value, list) else [value]
    slots: list[Mapping[str, str]] = []
    for slot in listed:
        named = {"": slot} if isinstance(slot, str) else slot
        texts = isinstance(named, dict) and named
        if not texts or any(_slot_text(v) is None for v in named.values()):
            expected = (
                'texts, or sections such as { check = "1st check", date = "date" }'
            )
            faults.append(unfit(slot, expected, where))
            continue
        slots.append({name: str(_slot_text(v)) for name, v in named.items()})
    if len(slots) > MOST_SLOTS:
        faults.append(unfit(f"{len(slots)} slots", f"at most {MOST_SLOTS}", where))
    return tuple(slots)


def _slot_text(value: Any) -> str | None:
    """Read what stands in the place of {}; nothing does in "Look" beside "Look 2"."""
    return "" if isinstance(value, str) and not value.strip() else _constant(value)


def braces(text: str) -> list[str]:
    """Give the names of the slots' texts that a heading asks for."""
    return re.findall(r"\{([^{}]*)\}", text)


def _idle_braces(rule: ColumnRule, slots: tuple, where: str) -> Faults:
    """Say which names in braces no slot has."""
    if not slots:
        return []
    known = {name for slot in slots for name in slot}
    asked = [
        name for text in (*rule.headings, rule.value or "") for name in braces(text)
    ]
    return [
        UsageError(
            f'no slot of "each" has "{{{name}}}"',
            where=where,
            found="{" + name + "}",
            expected=" or ".join("{" + each + "}" for each in sorted(known)),
        )
        for name in asked
        if name not in known
    ]


def _constant(value: Any) -> str | None:
    """Give a constant as the text that a cell would hold."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value.strip() or None
    if isinstance(value, int | float):
        return f"{value:g}" if math.isfinite(value) else None
    return value.isoformat(" ") if isinstance(value, dt.datetime) else _day(value)


def _day(value: Any) -> str | None:
    return value.isoformat() if isinstance(value, dt.date) else None


COLUMN: dict[str, Any] = {
    "from": TEXTS,
    "value": Field(_constant, "a text, a number, a day or a yes"),
    "title": TEXT,
    "dates": ORDERS,
    "year": YEAR,
    "decimal": DECIMALS,
    "empty": TEXTS,
    "blank": choice(BLANK_NO, NOT_LOOKED),
}
"""What a column of a [[read]] may say, besides its unit, words, scores and ``filled``."""


def column_form(table: Table, column: Column | None) -> dict[str, Any]:
    """Give what a [[read]] may say of one column of a table; None: of free words."""
    form = dict(COLUMN)
    if column is None:
        return form | {
            "words": lambda v, w, f: findings_of(v, table, w, f),
            PARTS: lambda v, w, f: parts_of(v, table, w, f),
            ABSENT: lambda v, w, f: sets_of(table, v, w, f),
        }
    if column.unit:
        form["unit"] = choice(*UNITS[column.unit])
    if column.unit == "%":
        form["scores"] = _scores
    if column.kind in ("date", "datetime"):
        form["days"] = whole(-366, 366)
    if column.kind in ("word", "yes_no"):
        form["words"] = lambda v, w, f: _words_of(column, v, w, f)
    if column.kind in ("number", "integer"):
        form["words"] = _numbers_meant
    if column.kind == "yes_no":
        form["filled"] = choice(FILLED_YES)
    return form


def _column_rule(
    table: Table, name: str, value: Any, where: str, faults: Faults
) -> ColumnRule | None:
    pseudo = (FINDINGS,) if findable(table) else ()
    if name not in (*table.names, *pseudo):
        known = (*table.names, *pseudo)
        faults.append(unknown_name(name, known, where.rpartition(".")[0]))
        return None
    if not isinstance(value, Mapping):
        headings = _texts(value)
        if not headings or not all(headings):
            faults.append(unfit(value, "a heading, or a list of them", where))
            return None
        return ColumnRule(headings)
    column, before = None if name == FINDINGS else table.column(name), len(faults)
    file, _, place = where.partition(", ")
    read = read_section(column_form(table, column), value, file, place, faults)
    if column is not None and "words" in read:
        named = "yes_no" if column.kind == "yes_no" else column.name
        empty = {"empty": read["empty"]} if "empty" in read else {}
        faults += shared_words(named, {**read["words"], **empty}, f"{where}.words")
    for other in ("unit", "words"):
        if "scores" in read and other in read:
            expected = f"no {other} beside scores, which say all that is read"
            faults.append(unfit(value[other], expected, where))
    headings, constant = read.pop("from", ()), read.pop("value", None)
    given = [bool(headings), constant is not None, "title" in read]
    if len(faults) == before and sum(given) != 1:
        expected = 'one of from = "heading", value = "constant" and title = "word"'
        faults.append(unfit(value, expected, where))
    if column is None and "words" in read:
        read["findings"] = read.pop("words")
    return ColumnRule(headings, constant, **read) if len(faults) == before else None


def _words_of(column: Column, value: Any, where: str, faults: Faults) -> dict[str, Any]:
    """Read words of one column, as ours = theirs or as theirs = ours."""
    ours = ("yes", "no") if column.kind == "yes_no" else column.words
    read: dict[str, tuple[str, ...]] = {}
    for name, said in _named(value, where, faults).items():
        theirs = _texts(said)
        if theirs is not None and name in ours:
            read[name] = read.get(name, ()) + theirs
        elif isinstance(said, str) and said in ours:
            read[said] = (*read.get(said, ()), name)
        else:
            faults.append(
                unfit({name: said}, f"one of {', '.join(ours)} = your words", where)
            )
    return read


def _scores(value: Any, where: str, faults: Faults) -> dict[str, float]:
    """Read what each score of the station's own is in per cent."""
    read: dict[str, float] = {}
    for score, said in _named(value, where, faults).items():
        fits = _is_number(said, int | float) and 0 <= said <= 100
        if not fits or not score.strip():
            faults.append(unfit({score: said}, "score = 0 to 100 per cent", where))
        elif folded_score(score) in map(folded_score, read):
            faults.append(unfit(score, "each score once, in capitals or not", where))
        else:
            read[score.strip()] = said
    return read


def _numbers_meant(value: Any, where: str, faults: Faults) -> dict[str, Any]:
    """Read what texts of a column of numbers count as: the text = a number."""
    read: dict[str, tuple[str, ...]] = {}
    for text, said in _named(value, where, faults).items():
        number = None if isinstance(said, str | bool) else _constant(said)
        if number is not None and _is_figure(number):
            read[number] = (*read.get(number, ()), text)
        else:
            faults.append(unfit({text: said}, 'your text = a number, "8-9" = 8.5', where))
    return read


def findable(table: Table) -> list[str]:
    """Name the columns that free words may set: no ids, days or names."""
    if table.name not in ("checks", "exits", "inseminations"):
        return []
    kinds = ("yes_no", "word", "number", "integer")
    return [column.name for column in table.columns if column.kind in kinds]


def findings_of(
    value: Any, table: Table | None, where: str, faults: Faults
) -> dict[str, Any]:
    """Read free words: each text, and the columns that it sets.

    A number in a text may go into a column, which then stands in its place in braces.
    """
    read = {}
    for text, sets in _named(value, where, faults).items():
        place = f'{where}."{text}"'
        read[text] = sets_of(table, sets, place, faults)
        known = _numbers_found(table)
        holes = HOLE.findall(text)
        faults += [unknown_name(name, known, place) for name in holes if name not in known]
        if len(holes) > 1 or set(holes) & set(read[text]):
            faults.append(
                unfit(text, "at most one column in braces, which nothing else sets", place)
            )
    return read


def parts_of(
    value: Any, table: Table | None, where: str, faults: Faults
) -> dict[str, Any]:
    """Read what texts are made of: as `findings_of`, but a number's place is a part of its own."""
    read = findings_of(value, table, where, faults)
    numbered = [text for text in read if HOLE.search(text)]
    for text in numbered:
        if not HOLE.fullmatch(text):
            faults.append(unfit(text, "braces alone, as parts stand in any order", where))
        if any(sign.isdigit() for other in read for sign in HOLE.sub("", other)):
            faults.append(unfit(text, "no part with a figure beside one for any number", where))
    faults += [unfit(text, "a text", where) for text in read if not text.strip()]
    if len(numbered) > 1:
        faults.append(unfit(numbered[1], "one part for any number", where))
    return read


def _numbers_found(table: Table | None) -> list[str]:
    """Name the columns that a number inside free words may fill."""
    tables = [table] if table else list(TABLES.values())
    return [
        name
        for each in tables
        for name in findable(each)
        if each.column(name).kind in ("number", "integer")
    ]


def sets_of(
    table: Table | None, value: Any, where: str, faults: Faults
) -> dict[str, str]:
    """Read what a word or a colour sets; a word of no table sets any table's columns."""
    tables = [table] if table else list(TABLES.values())
    known = {n: t.column(n) for t in tables for n in findable(t)}
    if table and not known:
        known = {c.name: c for c in table.columns if c.kind in ("yes_no", "word")}
    read: dict[str, str] = {}
    for name, said in _named(value, where, faults).items():
        text = _constant(said)
        if name not in known:
            faults.append(unknown_name(name, known, where))
            continue
        column = known[name]
        ours = ("yes", "no") if column.kind == "yes_no" else column.words
        fits = text is not None and (text in ours if ours else _is_figure(text))
        if fits:
            read[name] = str(text)
        else:
            expected = " or ".join(f'"{word}"' for word in ours) or "a number"
            faults.append(unfit(said, expected, f"{where} {name}"))
    return read


def _is_figure(text: str) -> bool:
    return re.fullmatch(r"-?\d+(\.\d+)?", text) is not None


FORM: dict[str, Any] = {
    "name": TEXT,
    "language": choice(*languages.printed()),
    "as_of": DATE,
    "memory": Field(_memory, 'a size such as "4 GB", of at least 0.5 GB'),
    "outcomes": {
        **{outcome.setting: DAYS for outcome in OUTCOMES.values()},
        "check_days": DAYS,
        "grace_days": whole(0, 60),
        "pattern_good_pct": PERCENT,
        "course_gap_days": whole(1, 30),
        "look_gap_days": whole(0, 60),
        "hatch_days": whole(1, 10),
        "seal_days": whole(2, 20),
        "emerge_days": whole(3, 40),
    },
    "show": {
        "min_shown": whole(1, 1000),
        "history_builds": whole(0, 10_000),
    },
    "models": {
        "terms": TERMS,
        "adjust_for": TERMS,
        "forms": dict.fromkeys(BENDING, choice(*KNOTS)),
    },
    "plan": {
        "outcome": choice(*OUTCOMES),
        "days": whole(1, 3650),
        "margin": SHARE,
        "false_alarm_chance": SHARE,
        "fewest_cases": whole(1, 10_000),
    },
    "prior_cases": by_name("prior_cases"),
    "planned_cases": by_name("planned_cases"),
    "planned_arms": by_name("planned_arms", "Doses_2026"),
    "season": {"first_month": whole(1, 12)},
    "dates": {"order": ORDERS},
    "numbers": {"decimal": DECIMALS},
    "tables": _by_table(lambda table: TEXTS),  # type: ignore[arg-type,return-value]
    "columns": _by_table(lambda table: dict.fromkeys(table.names, TEXT)),
    "words": {
        **dict.fromkeys(("yes", "no", "empty", "about"), TEXTS),
        **_word_columns(),
        FINDINGS: lambda value, where, faults: findings_of(value, None, where, faults),
        PARTS: lambda value, where, faults: parts_of(value, None, where, faults),
        ABSENT: lambda value, where, faults: sets_of(None, value, where, faults),
    },
    "units": _by_table(
        lambda table: {
            column.name: choice(*UNITS[column.unit])
            for column in table.columns
            if column.unit
        }
    ),
    "limits": {
        **_by_table(
            lambda table: {
                column.name: _limit_fields(table.name, column.name)
                for column in table.columns
                if column.kind in ("number", "integer")
            }
        ),
        "derived": {name: _limit_fields("derived", name) for name in DERIVED_LIMITS},
    },
    "records": {
        "ignore": TEXTS,
        "fold": FOLDS,
        "same": _same,
        "ditto": TEXTS,
        "co2": choice("every", "other"),
        "next_placement": choice("open", "ends"),
        "links": choice("inside", "all"),
    },
    "files": _files,
    "read": _rules,
}
