"""Ids and small helpers shared by the tables."""

from __future__ import annotations

import numpy as np
import polars as pl

from demo.bench import running_number
from demo.biology import Columns
from demo.truth import Truth


def pick(words: tuple[str | None, ...], codes: np.ndarray) -> pl.Series:
    """Words by code; a code of -1 is null."""
    table = pl.Series([*words, None], dtype=pl.String)
    return table.gather(np.where(codes < 0, len(words), codes))


def masked(values: np.ndarray, keep: np.ndarray) -> pl.Series:
    """Values where ``keep``, null elsewhere."""
    frame = pl.DataFrame({"v": values, "k": keep})
    return frame.select(pl.when("k").then("v").alias("v"))["v"]


def dates(values: np.ndarray) -> pl.Series:
    """datetime64[D] as polars dates."""
    return pl.Series(values.astype("M8[D]"))


def times(values: np.ndarray) -> pl.Series:
    """datetime64[m] as polars datetimes in microseconds."""
    return pl.Series(values.astype("M8[us]"))


def codes(prefix: str, year: np.ndarray, tag: str, number: np.ndarray,
          width: int) -> pl.Series:  # fmt: skip
    """Labels such as Q25-0042; the tag follows the year."""
    frame = pl.DataFrame({"y": year % 100, "n": number})
    return frame.select(
        pl.format(
            prefix + "{}" + tag + "-{}",
            pl.col("y").cast(pl.String).str.zfill(2),
            pl.col("n").cast(pl.String).str.zfill(width),
        ).alias("id")
    )["id"]


class Labels:
    """The ids of queens, grafts, semen loads and nuclei of one simulation."""

    def __init__(self, truth: Truth, c: Columns, semen: Columns, tag: str) -> None:
        first = c["course_no"] == 1
        year = c["year"][first]
        count = running_number(year, order=c["queen"][first]) + 1
        width = 4 if len(year) < 9000 else 6
        per_queen = codes("Q", year, tag, count, width)
        # one run's numbers start at 1, so a tagged run adds its first year
        self.run = f"{year.min() % 100:02d}{tag}-" if tag else ""
        self.first = first
        self.queen = per_queen.gather(c["queen"])
        self.graft = codes("G", c["year"], tag, c["graft_no"] + 1, 2)
        year = semen["collected"].astype("M8[Y]").astype(int) + 1970
        count = running_number(year, order=semen["collected"].astype(int)) + 1
        self.semen = codes("S", year, tag, count, 3)
        number = pl.Series(c["colony"] + 1).cast(pl.String).str.zfill(3)
        self.colony = (
            pl.Series("colony_id", [f"N{self.run}"]).new_from_index(0, len(number))
            + number
        )
        self.operator = tuple(o.name for o in truth.operators)
        self.line, self.drone_line = truth.lines, truth.drone_lines
        self.course = self.queen + "/" + pl.Series(c["course_no"]).cast(pl.String)
