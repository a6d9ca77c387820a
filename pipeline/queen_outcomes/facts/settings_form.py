"""The form of `station.toml`: which names there may be, and what each may hold.

Reads a parsed document into plain values or refuses it with the place, the nearest
right name and what was expected. It knows nothing of what the values are for.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from queen_outcomes.base.errors import UsageError, nearest
from queen_outcomes.facts.column import UNITS, Limits, Table
from queen_outcomes.facts.dictionary import DERIVED_LIMITS, TABLES
from queen_outcomes.facts.outcomes import OUTCOMES

MAIN_TERMS = (
    *("dose", "drone_age", "queen_age", "semen_age", "doses", "co2_schedule"),
    *("experience", "line", "drone_line", "year", "season"),
)
"""The factors of the models, in the default order of priority."""
BENDING = ("dose", "drone_age", "queen_age")
"""Factors that may bend, so that their form can be fixed."""
KNOTS = {"line": 0, "3 knots": 3, "4 knots": 4}


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
    return named if named and fits and set(named) <= set(MAIN_TERMS) else None


def _date(value: Any) -> dt.date | None:
    fits = isinstance(value, dt.date) and not isinstance(value, dt.datetime)
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


TEXT = Field(_text, "a text in quotes")
TEXTS = Field(_texts, "a text in quotes, or a list of them")
TERMS = Field(_terms, "a list, each once, of " + ", ".join(MAIN_TERMS))
DATE = Field(_date, "a day without quotes, such as 2026-07-05")
DAYS = Field(_days, "a number of days, or a list of them, each from 1 to 3650")
PERCENT = Field(_percent, "a percentage above 0 and at most 100")
SHARE = Field(_share, "a share above 0 and below 1, such as 0.1")


def _limits(table: str, column: str, kind: str) -> Field:
    default = _default_limits(table, column, kind)

    def read(value: Any) -> Limits | None:
        fits = (
            isinstance(value, list)
            and len(value) == 2
            and all(isinstance(x, int | float) for x in value)
            and value[0] <= value[1]
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


FORM: dict[str, Any] = {
    "name": TEXT,
    "as_of": DATE,
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
    "dates": {"order": choice("iso", "dmy", "mdy")},
    "numbers": {"decimal": choice(".", ",")},
    "tables": _by_table(lambda table: TEXTS),  # type: ignore[arg-type,return-value]
    "columns": _by_table(lambda table: dict.fromkeys(table.names, TEXT)),
    "words": {"yes": TEXTS, "no": TEXTS, "empty": TEXTS, **_word_columns()},
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
}


def read_section(
    form: Mapping[str, Any], content: Mapping[str, Any], where: str, place: str
) -> dict[str, Any]:
    """Read one section of the document, and the sections inside it.

    Raises
    ------
    UsageError
        An unknown name (the nearest is suggested) or a value that does not fit.
    """
    read: dict[str, Any] = {}
    for name, value in content.items():
        here = f"{place}.{name}" if place else name
        if name not in form:
            _refuse_name(name, form, where, place)
        expected = form[name]
        if isinstance(expected, Field):
            read[name] = _read_field(expected, value, f"{where}, {here}")
        elif isinstance(value, Mapping):
            read[name] = read_section(expected, value, where, here)
        else:
            raise UsageError(
                "a section was expected",
                where=f"{where}, {here}",
                found=repr(value),
                expected=f"[{here}] with lines below it",
            )
    return _gather_words(read, where) if place == "words" else read


def _read_field(field: Field, value: Any, where: str) -> Any:
    read = field.read(value)
    if read is None:
        raise UsageError(
            "a setting has a value that does not fit",
            where=where,
            found=repr(value),
            expected=field.expected,
        )
    return read


def _refuse_name(name: str, form: Iterable[str], where: str, place: str) -> None:
    close = nearest(name, form)
    raise UsageError(
        f'there is no setting named "{name}"',
        where=f"{where}, [{place}]" if place else where,
        found=name,
        expected="one of " + ", ".join(form),
        hint=f'did you mean "{close}"?' if close else "take the line out",
    )


def _gather_words(read: dict[str, Any], where: str) -> dict[str, Any]:
    """Bring the plain lists of `[words]` into the shape of its sections."""
    gathered = {name: words for name, words in read.items() if isinstance(words, dict)}
    yes_no = {name: read[name] for name in ("yes", "no") if name in read}
    if yes_no:
        gathered["yes_no"] = yes_no
    if "empty" in read:
        gathered["empty"] = {"empty": read["empty"]}
    for column, ours in gathered.items():
        _refuse_shared_words(column, ours, where)
    return gathered


def _refuse_shared_words(
    column: str, ours: Mapping[str, tuple[str, ...]], where: str
) -> None:
    seen: dict[str, str] = {}
    for our, theirs in ours.items():
        for word in theirs:
            other = seen.setdefault(word.casefold(), our)
            if other != our:
                raise UsageError(
                    "one of the station's words stands for two of ours",
                    where=f"{where}, [words] {column}",
                    found=f'"{word}" for both "{other}" and "{our}"',
                    expected="each word once",
                )
