"""What a sheet keeps beside its texts: percentages, merged cells, fills, strikes.

One form for every kind of workbook; places count from 0.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation

Place = tuple[int, int]
"""Row and column of a cell."""


@dataclass(frozen=True)
class Merge:
    """Cells shown as one: its text stands in the first of them."""

    top: int
    left: int
    bottom: int
    right: int


@dataclass(frozen=True)
class SheetDetails:
    """What decides how a sheet's texts are to be taken."""

    percents: tuple[Place, ...] = ()
    """Cells that are shown as per cent; where they hold a number, it is a share."""
    uncalculated: dict[Place, str] = field(default_factory=dict)
    """Cells whose formula has no result yet, and the formula with its "="."""
    texts: dict[Place, str] = field(default_factory=dict)
    """Cells whose text the reader of texts does not give."""
    merges: tuple[Merge, ...] = ()
    is_hidden: bool = False
    """The sheet itself."""
    has_marked_rows: bool = False
    """Rows may be struck through or hidden, so looking for them is worth the time."""
    comments: dict[Place, str] = field(default_factory=dict)
    """What is pinned to cells, which no reader of texts gives."""

    def from_column(self, first: int) -> SheetDetails:
        """Count columns from another; what lies left of it is left out."""
        return replace(
            self,
            percents=tuple((r, c - first) for r, c in self.percents if c >= first),
            uncalculated=_from_column(self.uncalculated, first),
            texts=_from_column(self.texts, first),
            comments=_from_column(self.comments, first),
            merges=tuple(
                replace(m, left=max(m.left - first, 0), right=m.right - first)
                for m in self.merges
                if m.right >= first
            ),
        )


def _from_column(texts: dict[Place, str], first: int) -> dict[Place, str]:
    return {(r, c - first): text for (r, c), text in texts.items() if c >= first}


@dataclass
class RowMarks:
    """What a person sees of a sheet's rows besides their texts; rows count from 0."""

    fills: dict[int, set[str]] = field(default_factory=dict)
    """"#RRGGBB" in capitals; white is none."""
    struck: dict[int, set[int]] = field(default_factory=dict)
    """Columns of the cells that are struck through."""
    hidden: set[int] = field(default_factory=set)

    def add(self, row: int, columns: Iterable[int], fill: str | None, struck: bool):
        """Add cells of one look."""
        if fill:
            self.fills.setdefault(row, set()).add(fill)
        if struck:
            self.struck.setdefault(row, set()).update(columns)

    def from_column(self, first: int) -> RowMarks:
        """Count columns from another."""
        struck = {row: {c - first for c in columns} for row, columns in self.struck.items()}
        return RowMarks(self.fills, struck, self.hidden)


def as_per_cent(share: str) -> str | None:
    """Write a share as the per cent that a person sees; None: it is no number."""
    try:
        value = Decimal(share) * 100
    except InvalidOperation:
        return None
    if not value.is_finite():
        return None
    text = f"{value:f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text) + " %"


def fill_colour(text: str | None) -> str | None:
    """Write a colour as "#RRGGBB"; white is what a cell without a fill shows."""
    if not text:
        return None
    plain = "#" + text[-6:].upper()
    return None if plain == "#FFFFFF" else plain
