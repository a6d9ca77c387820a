"""What the readers of cells share: how a source writes, and steps of SQL.

Reading a text takes several steps, each of which leans on those before: layers of
columns in nested SELECTs, so that no step is written out twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from queen_outcomes.base.store import literal


@dataclass(frozen=True)
class CellForm:
    """What about a source decides how its texts are read."""

    workbook: bool = False
    """Numbers may be dates, and are always written with a point."""
    epoch_days: int = 0
    """Days that the workbook's calendar begins after the usual one."""


@dataclass(frozen=True)
class Steps:
    """SQL that reads a column ``text``: layers of columns, and what comes of them."""

    value: str
    """SQL of what was read; null where nothing was."""
    layers: tuple[Mapping[str, str], ...] = ()
    """name -> SQL, which may name columns of the layers before."""
    why: str = "NULL::VARCHAR"
    """SQL of why a text was not read, as the end of a sentence that has quoted it."""
    parts: str = "NULL::BIGINT"
    """SQL of how many parts a sum or product has."""
    initials: str = "NULL::VARCHAR"
    """SQL of who put a tick."""

    def select(self, texts: str) -> str:
        """Write the SELECT of written, value, why, parts and initials.

        ``texts`` is a SELECT of ``text``, and of ``written``, what stands in the cell.
        Only what was not read has a reason.
        """
        query = texts
        for layer in self.layers:
            columns = ", ".join(f"{sql} AS {name}" for name, sql in layer.items())
            query = f"SELECT *, {columns} FROM ({query})"
        return (
            "SELECT written, value, CASE WHEN value IS NULL THEN why END AS why, parts, "
            f"initials FROM (SELECT written, {self.value} AS value, {self.why} AS why, "
            f"{self.parts} AS parts, {self.initials} AS initials FROM ({query}))"
        )


def case(cases: Sequence[tuple[str, str]], otherwise: str = "NULL") -> str:
    """Write a CASE from conditions and what each gives."""
    whens = " ".join(f"WHEN {when} THEN {then}" for when, then in cases)
    return f"CASE {whens} ELSE {otherwise} END"


def extract(text: str, pattern: str, names: str) -> str:
    """Give SQL that takes a whole text apart; the parts are empty where it differs."""
    listed = ", ".join(map(literal, names.split(",")))
    return f"regexp_extract({text}, {literal(f'^(?:{pattern})$')}, [{listed}])"


def without_accents(text: str) -> str:
    """Give SQL of a text in small letters without accents."""
    return f"replace(strip_accents(lower({text})), 'ı', 'i')"


def spaced(text: str) -> str:
    """Give SQL of a text without blanks around it, and with single ones inside."""
    return rf"trim(regexp_replace({text}, '[\s\pZ]+', ' ', 'g'))"
