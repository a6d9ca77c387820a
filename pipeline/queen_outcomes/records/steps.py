"""What the readers of cells share: how a source writes, and steps of SQL.

Reading a text takes several steps, each of which leans on those before. They are given
as layers of columns, and `cells.py` puts the layers of all columns into nested SELECTs,
so that no step is written out twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class CellForm:
    """What about a source decides how its texts are read."""

    workbook: bool = False
    """Numbers may be dates, and are always written with a point."""
    epoch_days: int = 0
    """Days that the workbook's calendar begins after the usual one."""


@dataclass(frozen=True)
class Steps:
    """SQL that reads one column: layers of columns, and what comes of them."""

    value: str
    """SQL of what was read; null where nothing was."""
    layers: tuple[Mapping[str, str], ...] = ()
    """name -> SQL, which may name columns of the layers before."""
    why: str = ""
    """SQL of why a text was not read, as the end of a sentence; empty: none is given."""
    parts: str = ""
    """SQL of how many parts a sum or product has; empty: the column has none."""
    initials: str = ""
    """SQL of who put a tick; empty: the column has no ticks."""


def without_accents(text: str) -> str:
    """Give SQL of a text in small letters without accents; micro signs are "u"."""
    return f"strip_accents(lower({text}))"


def spaced(text: str) -> str:
    """Give SQL of a text without blanks around it, and with single ones inside."""
    return rf"trim(regexp_replace({text}, '[\s\pZ]+', ' ', 'g'))"
