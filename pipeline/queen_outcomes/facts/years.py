"""The year of days that are written without one, as the settings say it.

A year (2025); a season over the turn of the year ("2025/26", whose days from July on are of
2025 and those before of 2026); twelve months that begin with another one ("2025-05"); or
`ROWS`: years that stand alone in rows of the sheet, each for the days below it.
"""

from __future__ import annotations

import re
from typing import Any

Year = int | str
ROWS = "rows"
FIRST_YEAR, LAST_YEAR = 1900, 2200
SEASON_FROM = 7
"""The month that a season such as 2025/26 begins with."""
LONE_YEAR = r"(?:19|20)\d\d[.:]?"
"""A text that is a year and nothing else."""
_SEASON = re.compile(r"(\d{4})/(\d{2}|\d{4})")
_FROM_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])")


def read(value: Any) -> Year | None:
    """Read what the settings say; None where it is no year and no season."""
    if isinstance(value, bool) or not isinstance(value, int | str):
        return None
    if isinstance(value, int):
        return value if FIRST_YEAR <= value <= LAST_YEAR else None
    return value if _begins(value) else None


def read_of_sheet(value: Any) -> Year | None:
    """Read the same of a sheet, which may have its years in rows of their own."""
    return ROWS if value == ROWS else read(value)


def answered(value: Any) -> Year | None:
    """Read what a person answers: a year may stand in quotes then."""
    text = str(value).strip()
    return read_of_sheet(int(text) if re.fullmatch(r"\d{4}", text) else text)


def season(first: int) -> str:
    """Write the season over the turn of a year that begins in a year."""
    return f"{first}/{(first + 1) % 100:02}"


def begin(value: Year) -> tuple[int, int]:
    """Give year and month of the first of the twelve months that the settings name.

    Raises
    ------
    ValueError
        It names none: the years stand in rows.
    """
    found = (value, 1) if isinstance(value, int) else _begins(value)
    if found is None:
        raise ValueError(value)
    return found


def of_month(value: Year, month: int) -> int | None:
    """Give the year of a day in a month; None where rows have the years."""
    if value == ROWS:
        return None
    year, first = begin(value)
    return year if month >= first else year + 1


def first_year(value: Year) -> int | None:
    """Give the year that a season begins in; None where rows have the years."""
    return None if value == ROWS else begin(value)[0]


def of_month_sql(value: Year, month: str) -> str:
    """Give SQL of the year, as text, of a day in a month; the month is SQL of a figure."""
    year, first = begin(value)
    if first == 1:
        return f"'{year}'"
    return f"CASE WHEN TRY_CAST({month} AS INT) >= {first} THEN '{year}' ELSE '{year + 1}' END"


def _begins(text: str) -> tuple[int, int] | None:
    if match := _FROM_MONTH.fullmatch(text):
        year, month = int(match[1]), int(match[2])
    elif match := _SEASON.fullmatch(text):
        year, month = int(match[1]), SEASON_FROM
        if (year + 1) % 10 ** len(match[2]) != int(match[2]):
            return None
    else:
        return None
    return (year, month) if FIRST_YEAR <= year <= LAST_YEAR else None
