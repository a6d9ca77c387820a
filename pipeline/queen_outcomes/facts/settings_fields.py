"""The fields of `station.toml`: how one value is read, and what it is told is expected."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Field:
    """One value: a reader that gives the value or None when it does not fit."""

    read: Callable[[Any], Any]
    expected: str


def read_text(value: Any) -> str | None:
    """Read a text that is not empty."""
    return value.strip() or None if isinstance(value, str) else None


def read_day(value: Any) -> dt.date | None:
    """Read a day without a time."""
    fits = isinstance(value, dt.date) and not isinstance(value, dt.datetime)
    return value if fits else None


def whole(low: int, high: int) -> Field:
    """Make a field for whole numbers."""

    def read(value: Any) -> int | None:
        fits = isinstance(value, int) and not isinstance(value, bool)
        return value if fits and low <= value <= high else None

    return Field(read, f"a whole number from {low} to {high}")


def read_percent(value: Any) -> float | None:
    """Read a percentage above 0."""
    fits = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if fits and 0 < value <= 100 else None


def read_days(value: Any) -> tuple[int, ...] | None:
    """Read a number of days or a list of them, in order."""
    listed = value if isinstance(value, list) else [value]
    fits = all(
        isinstance(day, int) and not isinstance(day, bool) and 1 <= day <= 3650
        for day in listed
    )
    return tuple(sorted(set(listed))) if fits and listed else None


def read_texts(value: Any) -> tuple[str, ...] | None:
    """Read a text or a list of them."""
    listed = value if isinstance(value, list) else [value]
    fits = all(isinstance(text, str) for text in listed)
    return tuple(text.strip() for text in listed) if fits else None


def choice(*allowed: str) -> Field:
    """Make a field for one of some words."""
    return Field(
        lambda value: value if value in allowed else None,
        "one of " + ", ".join(f'"{word}"' for word in allowed),
    )


def share(value: Any) -> float | None:
    """Read a share above 0 and below 1."""
    fits = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if fits and 0 < value < 1 else None


def counts_by_name(value: Any) -> dict[str, int] | None:
    """Read a section of whole numbers, each under a name of the station's own."""
    fits = isinstance(value, dict) and all(
        isinstance(count, int) and not isinstance(count, bool) and 0 <= count <= 10**6
        for count in value.values()
    )
    return {name.strip(): count for name, count in value.items()} if fits else None


TEXT = Field(read_text, "a text in quotes")
DAYS = Field(read_days, "a number of days, or a list of them, each from 1 to 3650")
TEXTS = Field(read_texts, "a text in quotes, or a list of them")
SHARE = Field(share, "a share above 0 and below 1, such as 0.1")
