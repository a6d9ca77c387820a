"""How records, words, files' habits and rules are put into a document of settings.

Lists are added to; what a keeper wrote stays.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import tomlkit
from tomlkit.items import AoT, Array, InlineTable

from queen_outcomes.records.map.written.known import listed
from queen_outcomes.records.map.written.patterns import escaped
from queen_outcomes.records.map.written.rules import NewRule

_WIDE = 88


ORDER_KEYS = {"dates": ("dates", "order"), "decimal": ("numbers", "decimal")}
"""Habits that the station has when all its files have them."""


def section_of(parent: Any, name: str) -> Any:
    """Give a section, made where there is none."""
    if name not in parent:
        if isinstance(parent, tomlkit.TOMLDocument) and parent.body:
            parent.add(tomlkit.nl())
        parent[name] = tomlkit.table()
    return parent[name]


def without_station(document: Any, habits: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out what the station says already."""
    kept = dict(habits)
    for habit, (section, key) in ORDER_KEYS.items():
        if kept.get(habit) == document.get(section, {}).get(key, object()):
            del kept[habit]
    return kept


def put_records(document: Any, records: Mapping[str, Any]) -> None:
    """Add to [records]: lists are joined, and groups of labels by their columns."""
    if not records:
        return
    section = section_of(document, "records")
    for key, value in records.items():
        if isinstance(value, list):
            have = listed(section.get(key, []))
            section[key] = array_of([*have, *(v for v in value if v not in have)])
        elif isinstance(value, Mapping):
            same = section_of(section, key)
            for column, groups in value.items():
                merged = {k: list(v) for k, v in dict(same.get(column, {})).items()}
                for name, others in groups.items():
                    have = merged.setdefault(name, [])
                    have += [other for other in others if other not in have]
                same[column] = value_of(merged)
        else:
            section[key] = value


def put_words(document: Any, words: Mapping[str, Any]) -> None:
    """Add words to [words]; what a word means already stays."""
    if not words:
        return
    section = section_of(document, "words")
    # plain lists stand above the sections, or TOML would put them into the last one
    lists = {name: value for name, value in words.items() if isinstance(value, list)}
    for name, value in lists.items():
        have = listed(section.get(name, []))
        merged = array_of([*have, *(v for v in value if v not in have)])
        section[name] = merged
    for name, value in words.items():
        if name in lists:
            continue
        inner = section_of(section, name)
        for key, meant in value.items():
            if isinstance(meant, list):
                have = listed(inner.get(key, []))
                inner[key] = array_of([*have, *(v for v in meant if v not in have)])
            elif key not in inner:
                inner[key] = value_of(meant)


def put_file(document: Any, source: str, habits: Mapping[str, Any]) -> None:
    """Add habits to a file's part of [files]; those that stand there stay."""
    if not habits:
        return
    section = section_of(section_of(document, "files"), escaped(source))
    for key, value in habits.items():
        if key in ("pass_over", "fill_down"):
            have = listed(section.get(key, []))
            section[key] = array_of([*have, *(v for v in value if v not in have)])
        elif key == "no_record":
            texts = {name: listed(said) for name, said in section.get(key, {}).items()}
            for name, more in value.items():
                have = texts.setdefault(name, [])
                have += [text for text in more if text not in have]
            section[key] = value_of(texts)
        elif key == "apart" and key in section:
            section[key] = value_of(dict(value) | dict(section[key]))
        elif key == "prefix" and key in section:
            section[key] = value_of(_named(value) | _named(section[key]))
        elif key not in section:
            section[key] = value_of(value)


def _named(prefix: Any) -> dict[str, str]:
    """Give prefixes by their columns; a text alone is the queens'."""
    return {"queen_id": str(prefix)} if isinstance(prefix, str) else dict(prefix)


def put_rule(document: Any, rule: NewRule) -> None:
    """Add a rule behind the others."""
    table = tomlkit.table()
    sources = [escaped(source) for source in rule.sources]
    table["from"] = sources[0] if len(sources) == 1 else array_of(sources)
    table["table"] = rule.table
    if rule.only:
        table["only"] = value_of(rule.only)
    if rule.each:
        table["each"] = array_of(rule.each)
    columns = tomlkit.table()
    for name, spec in rule.columns.items():
        columns[name] = value_of(spec)
    table["columns"] = columns
    if rule.colours:
        colours = tomlkit.table()
        for fill, sets in rule.colours.items():
            colours[fill] = value_of(sets)
        table["colours"] = colours
    if "read" not in document:
        document.add(tomlkit.nl())
        document["read"] = tomlkit.aot()
    rules = document["read"]
    assert isinstance(rules, AoT)
    rules.append(table)


def value_of(value: Any) -> Any:
    """Give a value as a document holds it: lists and tables in one line where they fit."""
    if isinstance(value, Mapping):
        return _inline(value)
    return array_of(value) if isinstance(value, list | tuple) else value


def _inline(value: Mapping[str, Any]) -> InlineTable:
    table = tomlkit.inline_table()
    for key, inner in value.items():
        table[key] = value_of(inner)
    return table


def array_of(values: Iterable[Any]) -> Array:
    """Give a list, over several lines where one would be too long."""
    array = tomlkit.array()
    for value in values:
        array.append(value_of(value))
    return array.multiline(len(array.as_string()) > _WIDE)
