"""Packs what is shown of each queen into files that the page loads when she is picked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import polars as pl

from queen_outcomes.dashboard import packing
from queen_outcomes.facts.column import LINE_BITS

QUEENS_A_FILE = 2000

EVENTS = (
    "emerged",
    "semen",
    "inseminated",
    "co2",
    "placed",
    "checked",
    "left",
    "sampled",
    "quarantined",
    "another",
    "drones",
    "brood",
    "empty",
    "no_brood",
    "queen",
    "nothing",
)
"""What a row of the records tells (see `trail.sql`), or what a look that counts is drawn as
(see `queen_looks.sql`)."""
WORDED = {
    "records": ("remark",),
    "answers": ("rule",),
    "due": ("look_for", "settles"),
}
"""Columns of words, by table."""
WHOLE = {
    "courses": ("course", "conflict", "end_after", "inferred", "exit_day", "next_day"),
    "records": ("on", "until", "event", "place", "laying_after", "laying_by"),
    "answers": ("asked", "after", "by"),
    "due": ("course", "day", "on"),
}
"""Columns of whole numbers, by table."""


def files(
    told: Mapping[str, pl.DataFrame],
    queens: list[str],
    sources: list[str],
    questions: list[tuple[str, int]],
) -> Iterator[dict[str, Any]]:
    """Give what each file holds: the queens in order, `QUEENS_A_FILE` to a file.

    Parameters
    ----------
    told : mapping of DataFrame
        As `queen_details.tables` gives them.
    queens : list of str
        Every queen's label, in order.
    sources : list of str
        The sources' names in the order of their numbers.
    questions : list of (str, int)
        Outcomes and windows, in the order that the page numbers them.

    Yields
    ------
    dict
        ``words``, and each table: ``rows``, how many each queen of the file has, and its
        packed columns. ``on`` and ``until`` are days after the queen's first day 0;
            ``asked`` is (course - 1) * number of questions + number of the question from zero;
        ``place`` is line * number of sources + number of the source from zero;
        ``says`` lists phrases that ", " joins, ``settled`` places among her records.
    """
    coded = _coded(told, queens, sources, questions)
    for start in range(0, len(queens), QUEENS_A_FILE):
        end = min(start + QUEENS_A_FILE, len(queens))
        here = {
            name: frame.filter(pl.col("queen").is_between(start, end, closed="left"))
            for name, frame in coded.items()
        }
        yield _packed(here, start, end - start)


def _coded(
    told: Mapping[str, pl.DataFrame],
    queens: list[str],
    sources: list[str],
    questions: list[tuple[str, int]],
) -> dict[str, pl.DataFrame]:
    """Put numbers in the place of queens, dates, sources and what has a fixed order."""
    first = (
        pl.DataFrame({"queen_id": queens}, schema={"queen_id": pl.String})
        .with_row_index("queen")
        .join(
            told["courses"].group_by("queen_id").agg(first=pl.col("d0").min()),
            on="queen_id",
            how="left",
        )
    )
    numbered = {
        name: frame.join(first, on="queen_id", maintain_order="left")
        for name, frame in told.items()
    }
    days = [
        (pl.col(name) - pl.col("first")).dt.total_days().alias(name)
        for name in ("on", "until")
    ]
    numbered["due"] = numbered["due"].with_columns(days[0])
    source, line = pl.col("ref") // 2**LINE_BITS - 1, pl.col("ref") % 2**LINE_BITS
    numbered["records"] = numbered["records"].with_columns(
        *days,
        place=line * len(sources) + source,
        event=_number(pl.coalesce("shape", "event"), EVENTS),
    )
    asked = [f"{outcome} {window}" for outcome, window in questions]
    question = pl.concat_str("outcome", "window_days", separator=" ")
    numbered["answers"] = numbered["answers"].with_columns(
        asked=(pl.col("course") - 1) * len(asked) + _number(question, asked)
    )
    return numbered


def _number(column: pl.Expr, values: tuple[str, ...] | list[str]) -> pl.Expr:
    return column.replace_strict(
        list(values), list(range(len(values))), return_dtype=pl.Int64
    )


def _packed(here: dict[str, pl.DataFrame], start: int, queens: int) -> dict[str, Any]:
    """Give one file's tables, and the words that they share."""
    says = packing.phrases(here["records"]["says"].to_list())
    shared = packing.Words(
        [
            *says,
            *(
                here[name][column].replace("", None)
                for name, worded in WORDED.items()
                for column in worded
            ),
        ]
    )
    packed: dict[str, Any] = {"words": shared.all}
    for name, frame in here.items():
        columns = {
            column: packing.numbers(frame[column].cast(pl.Int64))
            for column in WHOLE[name]
        }
        columns |= {
            column: packing.numbers(shared.places(frame[column].replace("", None)))
            for column in WORDED.get(name, ())
        }
        packed[name] = packing.without_gaps(columns)
        counts = np.bincount(frame["queen"].to_numpy() - start, minlength=queens)
        packed[name]["rows"] = packing.numbers(pl.Series(counts))
    packed["records"]["says"] = packing.lists([shared.places(row) for row in says])
    settled = here["answers"]["settled"].to_list()
    packed["answers"]["settled"] = packing.lists([row or [] for row in settled])
    return packed
