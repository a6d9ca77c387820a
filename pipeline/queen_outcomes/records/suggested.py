"""Settings as they must be written into `station.toml`, for whoever suggests one.

A suggestion is TOML: its section, and the whole new value of each line, what the station
has set already included, so that it can take the place of a line that is there. What
belongs into an existing [[read]] begins with a comment that says into which.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from queen_outcomes.facts.reading import FOLDED, Reading, ReadRule, stated, takes
from queen_outcomes.records.mapping import SlotMapping, SourceMapping

INTO_RULE = "# in {place}, under [read.columns]"
"""How a suggestion begins that belongs into an existing [[read]]."""
_FIGURE = re.compile(r"-?\d+(\.\d+)?")
_BARE = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-")


def toml(value: Any) -> str:
    """Write a text, a number, a list or a table in TOML, on one line."""
    if isinstance(value, Mapping):
        pairs = ", ".join(f"{key(name)} = {toml(v)}" for name, v in value.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml, value))}]"
    # a text of JSON is one of TOML, but for one sign
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def key(name: str) -> str:
    """Write a name as TOML takes it left of "="."""
    return name if name and set(name) <= _BARE else toml(name)


def in_file(source: str, reading: Reading, name: str, value: Any) -> str:
    """Give what sets one habit of a file; in the section that sets it already, if any."""
    pattern = next(
        (
            pattern
            for pattern, habits in reading.habits.items()
            if takes(pattern, source) and name in stated(habits)
        ),
        source,
    )
    return f"[files.{toml(pattern)}]\n{name} = {toml(value)}"


def empty_in_file(source: str, reading: Reading, words: Iterable[str]) -> str:
    """Give what adds words for "not recorded" to those that count in a file."""
    own = reading.habits_of(source).empty
    known = reading.empty if own is None else own
    return in_file(source, reading, "empty", [*dict.fromkeys([*known, *words])])


def in_records(reading: Reading, **lines: Any) -> str:
    """Give lines of [records]; lists are added to what is set."""
    written = []
    for name, value in lines.items():
        whole = value
        if isinstance(value, list):
            whole = [*dict.fromkeys([*getattr(reading, name), *value])]
        if name == "fold":
            whole = [column for column in FOLDED if column in whole]
        written.append(f"{name} = {toml(whole)}")
    return "\n".join(["[records]", *written])


def same(reading: Reading, groups: Mapping[str, Mapping[str, Sequence[str]]]) -> str:
    """Give the lines of [records] that take spellings for one name.

    ``groups``: column -> the spelling to keep -> its other spellings.
    """
    lines = ["[records]"]
    for column, named in groups.items():
        whole = {name: list(o) for name, o in reading.same.get(column, {}).items()}
        for name, others in named.items():
            have = whole.setdefault(name, [])
            have += [other for other in others if other not in have]
        lines.append(f"same.{column} = {toml(whole)}")
    return "\n".join(lines)


def words(reading: Reading, column: str, meant: Mapping[str, Sequence[str]]) -> str:
    """Give the lines of [words] that explain words of a column; "yes_no" for ticks."""
    known = reading.words.get(column, {})
    lines = ["[words]" if column == "yes_no" else f"[words.{column}]"]
    for ours, theirs in meant.items():
        whole = [*dict.fromkeys([*known.get(ours, ()), *theirs])]
        lines.append(f"{ours} = {toml(whole)}")
    return "\n".join(lines)


def about(reading: Reading, marks: Iterable[str]) -> str:
    """Give the line of [words] that takes marks of an approximate number off."""
    return f"[words]\nabout = {toml([*dict.fromkeys([*reading.about, *marks])])}"


def in_column(
    source: SourceMapping, slot: SlotMapping, name: str, said: Mapping[str, Any]
) -> str:
    """Give what says how one column of a source is read; see `in_columns`."""
    return in_columns(source, slot, {name: said})


def in_columns(
    source: SourceMapping, slot: SlotMapping, said: Mapping[str, Mapping[str, Any]]
) -> str:
    """Give what says how columns of a source are read.

    Lines for its [[read]]; a sheet without one gets a [[read]] with all its columns.
    ``said``: our column -> what is to be said of it.
    """
    rule = _rule_of(source, next(iter(said)))
    if rule is not None:
        lines = [f"{n} = {toml(_column(slot, n) | dict(s))}" for n, s in said.items()]
        return "\n".join([INTO_RULE.format(place=rule.place), *lines])
    lines = ["[[read]]", f"from = {toml(source.name)}"]
    lines += [f"table = {toml(source.table.name)}", "[read.columns]"]
    for ours in slot.cells:
        spec = _column(slot, ours)
        value = spec | dict(said[ours]) if ours in said else spec["from"]
        lines.append(f"{ours} = {toml(value)}")
    return "\n".join(lines)


def _words_said(words: Mapping[str, Sequence[str]]) -> dict[str, Any]:
    """Give words of a column as a [[read]] has them: of numbers, what each text counts as."""
    if all(_FIGURE.fullmatch(ours) for ours in words):
        return {text: float(ours) for ours, texts in words.items() for text in texts}
    return {ours: list(texts) for ours, texts in words.items()}


def _rule_of(source: SourceMapping, name: str) -> ReadRule | None:
    rules = [r for r in source.grid.source.rules if r.table == source.table.name]
    return next((r for r in rules if name in r.columns), None)


def _column(slot: SlotMapping, name: str) -> dict[str, Any]:
    """Give what a column is read from now, in the words of its rule where it has one."""
    cell = slot.cells[name]
    rule = cell.rule
    headings = list(rule.headings) if rule else list(cell.columns)
    spec: dict[str, Any] = {"from": headings[0] if len(headings) == 1 else headings}
    for line in ("unit", "dates", "year", "days", "decimal") if rule else ():
        value = getattr(rule, line)
        spec |= {line: value} if value is not None else {}
    for line in ("blank", "filled") if rule else ():
        value = getattr(rule, line)
        spec |= {line: value} if value is not None else {}
    if rule and rule.empty is not None:
        spec["empty"] = list(rule.empty)
    if rule and rule.scores:
        spec["scores"] = dict(rule.scores)
    if rule and (rule.words or rule.findings):
        spec["words"] = rule.findings or _words_said(rule.words)
    for line in ("parts", "absent") if rule else ():
        value = getattr(rule, line)
        spec |= {line: dict(value)} if value else {}
    return spec
