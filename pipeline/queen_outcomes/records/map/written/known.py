"""What `station.toml` says already: its text, and the sheets, headings and diaries it names."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from queen_outcomes.base import resources
from queen_outcomes.base.errors import UsageError
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.map.seen import deeds


def current(path: Path) -> str:
    """Give the settings as they stand; the blank form where there are none yet."""
    if path.exists():
        return path.read_bytes().decode("utf-8-sig")
    return resources.read("reports", "text", "station.toml")


def parsed(text: str, where: str) -> dict[str, Any]:
    """Read the settings as plain values.

    Raises
    ------
    UsageError
        They are not TOML.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise UsageError(
            "the settings are not valid TOML",
            where=where,
            found=str(problem),
            hint="mend that line; texts stand in quotes, dates do not",
        ) from None


def known_patterns(settings: Mapping[str, Any]) -> list[str]:
    """Give the patterns of sources that the settings speak of already."""
    found: list[str] = list(listed(settings.get("records", {}).get("ignore", [])))
    for rule in settings.get("read", []):
        found += listed(rule.get("from", []))
    for patterns in settings.get("tables", {}).values():
        found += listed(patterns)
    return found


def known_headings(settings: Mapping[str, Any]) -> dict[str, dict[str, str]]:
    """Give what [columns.TABLE] says: table -> our column -> heading; no mistakes of it."""
    tables = settings.get("columns", {})
    return {
        table: {
            name: theirs
            for name, theirs in columns.items()
            if isinstance(theirs, str) and name in TABLES[table].names
        }
        for table, columns in (tables.items() if isinstance(tables, dict) else ())
        if table in TABLES and isinstance(columns, dict)
    }


def known_deeds(settings: Mapping[str, Any]) -> dict[tuple[str, str], str]:
    """Give what the settings say of diaries: (heading, text) -> table, or no record."""
    found = {}
    holders = [
        (rule.get("only"), rule.get("table")) for rule in settings.get("read", [])
    ]
    files = settings.get("files", {})
    holders += [
        (file.get("no_record"), deeds.NO_RECORD)
        for file in (files.values() if isinstance(files, dict) else ())
        if isinstance(file, dict)
    ]
    for texts, table in holders:
        for name, said in texts.items() if isinstance(texts, dict) else ():
            found |= {deeds.key_of(name, text): table for text in listed(said)}
    return found


def is_known(source: str, patterns: Iterable[str]) -> bool:
    """Tell whether a pattern names a source; one without "#" names a file's sheets all."""
    file = source.partition("#")[0]
    return any(
        fnmatchcase(source, pattern)
        or ("#" not in pattern and fnmatchcase(file, pattern))
        for pattern in patterns
    )


def listed(value: Any) -> list[str]:
    """Give a text or the texts of a list as a list."""
    return (
        [value] if isinstance(value, str) else [v for v in value if isinstance(v, str)]
    )
