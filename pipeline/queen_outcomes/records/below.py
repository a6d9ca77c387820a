"""Tables that stand below each other on one sheet, or in one text file: each as a sheet.

By the settings alone: `tables_below` has the text with which each further table begins. A
table keeps the lines of the whole, whose other rows are empty to it, so that every place
that is named is the one in the file.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import polars as pl

from queen_outcomes.records import delimited
from queen_outcomes.records.headings import tidy
from queen_outcomes.records.sheet_details import RowMarks, SheetDetails

if TYPE_CHECKING:
    from queen_outcomes.records.workbook import Workbook
    from queen_outcomes.records.workbook_process import WorkbookElsewhere

Spans = dict[str, range]
"""The text that a table begins with -> its rows, from 0; of the first table it is empty."""


def spans(firsts: Sequence[str | None], begins: Sequence[str]) -> Spans:
    """Give the rows of each table.

    Parameters
    ----------
    firsts : sequence of str or None
        The first text of each row.
    begins : sequence of str
        The texts with which further tables begin, each in the first row that has it; one
        that no row has gives no table.
    """
    wanted = {tidy(text).casefold(): tidy(text) for text in begins}
    starts: dict[str, int] = {"": 0}
    for row, first in enumerate(firsts):
        text = wanted.pop(tidy(first).casefold(), None)
        if text is not None:
            starts[text] = row
    ends = [*list(starts.values())[1:], len(firsts)]
    return {text: range(at, end) for (text, at), end in zip(starts.items(), ends, strict=True)}


def spans_of_sheet(frame: pl.DataFrame, begins: Sequence[str]) -> Spans:
    """Give the rows of each table of a sheet."""
    texts = [pl.col(name).str.strip_chars() for name in frame.columns]
    filled = [pl.when(text.str.len_bytes() > 0).then(text) for text in texts]
    firsts = frame.select(pl.coalesce(filled)).to_series().to_list() if filled else []
    return spans(firsts, begins)


@dataclass(frozen=True)
class BookPart:
    """A workbook of whose sheet only one table is seen; it has what a `Workbook` has."""

    whole: Workbook | WorkbookElsewhere
    sheet: str
    rows: range

    @property
    def epoch_days(self) -> int:
        """Days that its calendar begins after the usual one."""
        return self.whole.epoch_days

    @property
    def sheets(self) -> list[str]:
        """The one sheet."""
        return [self.sheet]

    def is_empty(self, sheet: str) -> bool:
        """Tell whether the table holds no text: its rows reach to the next."""
        return not any(
            (column.str.strip_chars().str.len_bytes() > 0).any() for column in self.read(sheet)
        )

    def first_column(self, sheet: str) -> int:
        """Give the sheet's column, from 0, that is the first of `read`'s."""
        return self.whole.first_column(sheet)

    def details(self, sheet: str) -> SheetDetails:
        """Give what the sheet keeps beside the table's texts."""
        every = self.whole.details(sheet)
        return replace(
            every,
            merges=tuple(merge for merge in every.merges if merge.top in self.rows),
            uncalculated={
                place: text for place, text in every.uncalculated.items() if place[0] in self.rows
            },
        )

    def marks(self, sheet: str) -> RowMarks:
        """Give the sheet's fills, strikes and hidden rows."""
        return self.whole.marks(sheet)

    def read(self, sheet: str) -> pl.DataFrame:
        """Read the sheet's cells as text, those of other tables empty."""
        return self._frame if sheet == self.sheet else self.whole.read(sheet)

    @cached_property
    def _frame(self) -> pl.DataFrame:
        frame = self.whole.read(self.sheet)
        row = pl.int_range(pl.len())
        own = (row >= self.rows.start) & (row < self.rows.stop)
        return frame.select(pl.when(own).then(pl.col(name)).alias(name) for name in frame.columns)


def text_parts(
    content: bytes, name: str, other: str, begins: Sequence[str]
) -> dict[str, bytes]:
    """Give a text file's tables: with which text each begins -> the file with its lines alone.

    What is given is UTF-8 with its mark, whatever the file is in.

    Raises
    ------
    RecordsError
        It is no text table.
    """
    form = delimited.examine(content, name, other)
    text = content[form.skip :].decode(form.encoding, errors="queen_outcomes_latin")
    lines = io.StringIO(text, newline="").readlines()
    found = spans([_first(line) for line in lines], begins)
    return {
        begin: "".join(
            line if at in rows else line[len(line.rstrip("\r\n")) :]
            for at, line in enumerate(lines)
        ).encode("utf-8-sig")
        for begin, rows in found.items()
    }


def _first(line: str) -> str:
    """Give the first text of a line, whatever parts its cells."""
    for sign in delimited.SEPARATORS:
        line = line.replace(sign, "\n")
    return next((text for cell in line.split("\n") if (text := cell.strip().strip('"'))), "")
