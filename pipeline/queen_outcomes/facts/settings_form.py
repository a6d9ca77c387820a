"""The form of `station.toml`: which names there may be, and what each may hold.

Reads a parsed document into plain values or refuses it with the place, the nearest
right name and what was expected. It knows nothing of what the values are for.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from queen_outcomes.base.errors import UsageError, nearest
from queen_outcomes.facts.column import UNITS, Limits, Table
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.limits import DERIVED_LIMITS
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings_fields import (
    DAYS,
    TEXT,
    TEXTS,
    Field,
    choice,
    read_day,
    read_percent,
    whole,
)
from queen_outcomes.facts.settings_plan import MODELS, PLAN, by_name


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


def _unit(unit: str) -> Field:
    return choice(*UNITS[unit])


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
    "as_of": Field(read_day, "a day without quotes, such as 2026-07-05"),
    "outcomes": {
        **{outcome.setting: DAYS for outcome in OUTCOMES.values()},
        "check_days": DAYS,
        "grace_days": whole(0, 60),
        "pattern_good_pct": Field(read_percent, "a percentage above 0 and at most 100"),
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
    "models": MODELS,
    "plan": PLAN,
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
            column.name: _unit(column.unit) for column in table.columns if column.unit
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
