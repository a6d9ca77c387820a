"""Lines of a text table cut into cells, by columns rather than one by one.

Only lines whose quotes do not close by themselves are looked at singly. Every line
given is a row, part of a row, or without text in any cell; none gets lost.
"""

from __future__ import annotations

import polars as pl

from queen_outcomes.records import quoting

CELLS_MISSING, CELLS_EXTRA, QUOTE_OPEN = "cells_missing", "cells_extra", "quote_open"
BLANKS = " \t\r\n\v\f\u00a0\u202f\u2007\u3000\ufeff"


class Cutter:
    """Cuts lines at one separator.

    Parameters
    ----------
    separator : str
        Comma, semicolon or tab, or another single character that the file declares.
    least, most : int
        How many cells a row must and may have.
    first_row : int
        The first physical line below the headings.
    """

    def __init__(
        self, separator: str, least: int, most: int, *, first_row: int
    ) -> None:
        self.separator, self.least, self.most = separator, least, most
        self.first_row = first_row
        mark = f"\\x{{{ord(separator):x}}}"
        cell = rf'(?:"(?:[^"]|"")*"|[^"{mark}][^{mark}]*|)'
        self.one_cell = f"{mark}{cell}"
        self.neat_line = rf'^(?:{mark}(?:"(?:[^"]|"")*"|[^"{mark}]*))*$'
        self.whole_line = f"^(?:{mark}{cell})*$"
        self.some_text = rf"[^{mark}\s]"
        self.cells = [str(number) for number in range(most)]
        self.schema = {
            "source_line": pl.Int64,
            "lines": pl.Int64,
            "broken": pl.String,
            "broken_text": pl.String,
            **dict.fromkeys(self.cells, pl.String),
        }

    def cut(
        self, whole: pl.Series, line: int, *, last: bool
    ) -> tuple[pl.DataFrame, int]:
        """Cut some lines; give their rows, and how many lines that took.

        Parameters
        ----------
        whole : Series
            The lines, carriage returns still on them.
        line : int
            The number of the first of them in the file.
        last : bool
            No lines follow. Where some do, a row that may run on is left for later,
            and fewer lines are taken than were given.
        """
        lines = (
            pl.DataFrame({"text": whole})
            .with_columns(
                pl.col("text").str.strip_suffix("\r"),
                pl.int_range(pl.len(), dtype=pl.Int64).alias("at"),
            )
            .filter(pl.col("at") + line >= self.first_row)
            .filter(pl.col("text").str.contains(self.some_text))
        )
        has_quote = pl.col("text").str.contains('"', literal=True)
        quoted = self._measure_quoted(lines.filter(has_quote))
        fits = pl.col("width").is_between(self.least, self.most)
        hard = quoted.filter(~fits)["at"].to_list()
        rows, swallowed, used = self._one_by_one(whole, hard, last=last)
        inside = pl.Series("at", swallowed, dtype=pl.Int64).implode()
        free = (pl.col("at") < used) & ~pl.col("at").is_in(inside)
        parts = [
            self._plain(lines.filter(~has_quote & free)),
            self._quoted(quoted.filter(fits & free)),
            pl.DataFrame(rows, schema=self._order, orient="row"),
        ]
        return self._finish(parts, line), used

    @property
    def _order(self) -> dict[str, pl.DataType]:
        names = {"at": pl.Int64, **self.schema}
        del names["source_line"]
        return names  # type: ignore[return-value]

    def _finish(self, parts: list[pl.DataFrame], line: int) -> pl.DataFrame:
        cells = pl.col(self.cells)
        batch = (
            pl.concat([part.select(list(self._order)) for part in parts])
            .sort("at")
            .with_columns((pl.col("at") + line).alias("source_line"))
            .select(list(self.schema))
        )
        filled = pl.any_horizontal(cells.str.strip_chars(BLANKS).str.len_bytes() > 0)
        return batch.filter(pl.col("broken").is_not_null() | filled).with_columns(
            pl.when(cells.str.len_bytes() > 0).then(cells)
        )

    def _plain(self, lines: pl.DataFrame) -> pl.DataFrame:
        """Cut lines without a quote; cells to spare are cut off when they are empty."""
        mark = self.separator
        kept = pl.col("text").str.strip_chars_end(mark + BLANKS)
        width = pl.col("text").str.count_matches(mark, literal=True) + 1
        filled = kept.str.count_matches(mark, literal=True) + 1
        lines = lines.with_columns(
            pl.when(width < self.least)
            .then(pl.lit(CELLS_MISSING))
            .when((width > self.most) & (filled > self.most))
            .then(pl.lit(CELLS_EXTRA))
            .alias("broken")
        )
        whole = pl.when(pl.col("broken").is_null()).then(pl.col("text"))
        pieces = whole.str.splitn(mark, self.most + 1).struct
        return lines.select(
            "at",
            "broken",
            pl.lit(1, pl.Int64).alias("lines"),
            pl.when(pl.col("broken").is_not_null())
            .then(pl.col("text"))
            .alias("broken_text"),
            *(pieces.field(f"field_{cell}").alias(cell) for cell in self.cells),
        )

    def _measure_quoted(self, lines: pl.DataFrame) -> pl.DataFrame:
        """Count the cells of lines whose quotes all close; null for the others."""
        led = pl.lit(self.separator) + pl.col("text")
        return lines.with_columns(led.alias("led")).with_columns(
            pl.when(pl.col("led").str.contains(self.whole_line))
            .then(pl.col("led").str.count_matches(self.one_cell))
            .fill_null(0)
            .cast(pl.Int64)
            .alias("width")
        )

    def _quoted(self, lines: pl.DataFrame) -> pl.DataFrame:
        """Cut lines whose quotes all close, and take the quotes off their cells."""
        neat = lines["led"].str.contains(self.neat_line) & (lines["width"] == self.most)
        halves = [
            part.select(
                "at",
                pl.lit(1, pl.Int64).alias("lines"),
                pl.lit(None, pl.String).alias("broken"),
                pl.lit(None, pl.String).alias("broken_text"),
            ).hstack(cut(part).get_columns())
            for part, cut in (
                (lines.filter(neat), self._neat_cells),
                (lines.filter(~neat), self._odd_cells),
            )
        ]
        return pl.concat(halves)

    def _neat_cells(self, lines: pl.DataFrame) -> pl.DataFrame:
        """Cut lines of full width in which quotes stand around cells only."""
        if lines.is_empty():
            return pl.DataFrame(schema=dict.fromkeys(self.cells, pl.String))
        return pl.read_csv(
            lines["text"].str.join("\n")[0].encode("utf-8"),
            has_header=False,
            separator=self.separator,
            schema=dict.fromkeys(self.cells, pl.String),
        )

    def _odd_cells(self, lines: pl.DataFrame) -> pl.DataFrame:
        """Cut lines in which a quote may also stand for itself."""
        found = lines["led"].str.extract_all(self.one_cell)
        cells = found.list.to_struct(fields=self.cells).struct.unnest()
        bare = pl.col(self.cells).str.slice(1)
        inner = bare.str.slice(1).str.strip_suffix('"')
        single = inner.str.replace_all('""', '"', literal=True)
        return cells.select(
            pl.when(bare.str.starts_with('"')).then(single).otherwise(bare)
        )

    def _one_by_one(
        self, whole: pl.Series, hard: list[int], *, last: bool
    ) -> tuple[list[tuple], list[int], int]:
        """Read the lines that no pattern could; give rows, inner lines, lines used."""
        rows: list[tuple] = []
        swallowed: list[int] = []
        resume = 0
        for at in hard:
            if at < resume:
                continue
            window = whole.slice(at, quoting.MOST_LINES).to_list()
            cells, took = quoting.join(window, self.separator)
            if cells == quoting.OPEN and not last and len(window) < quoting.MOST_LINES:
                return rows, swallowed, at
            broken, cells, took = self._judge(window[0], cells, took)
            text = window[0].removesuffix("\r") if broken else None
            resume = at + took
            swallowed.extend(range(at + 1, resume))
            rows.append((at, took, broken, text, *cells))
        return rows, swallowed, max(len(whole), resume)

    def _judge(
        self, first: str, cells: list[str] | str, took: int
    ) -> tuple[str | None, list[str | None], int]:
        """Say what is wrong with a record, or fill its cells up to the full width."""
        none: list[str | None] = [None] * self.most
        if isinstance(cells, str):
            text = first.removesuffix("\r")
            cells, took = quoting.split(text, self.separator, lenient=True), 1
            if isinstance(cells, str):
                return QUOTE_OPEN, none, 1
        surplus = cells[self.most :]
        if len(cells) >= self.least and not any(c.strip(BLANKS) for c in surplus):
            return None, [*cells[: self.most], *none[len(cells) :]], took
        if took > 1:
            return QUOTE_OPEN, none, 1
        return (CELLS_MISSING if len(cells) < self.least else CELLS_EXTRA), none, 1
