"""Which columns label a sheet's rows: the queen, the colony, the load of semen."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping

from queen_outcomes.records.map.seen.contents import MOST, Contents
from queen_outcomes.records.map.seen.feed import SUPPORT, SURE
from queen_outcomes.records.map.seen.fits import SHARED_IDS
from queen_outcomes.records.map.seen.sheet import SheetColumn
from queen_outcomes.records.map.seen.words import fold

_ONE_ROW_EACH = (
    ("inseminations", "dose_ul"),
    ("inseminations", "inseminated_at"),
    ("inseminations", "semen_batch"),
    ("queens", "emerged_on"),
)
"""What stands in a row of a queen of her own."""
_WORDS, _OFTEN = 3, 4
"""So many words, each standing so often on average, are no labels."""
_LEAST_TOLD = 2
"""So many columns tell of semen where a batch is one of semen."""


class RowLabels:
    """The columns of labels, each of one kind.

    Parameters
    ----------
    columns : list of SheetColumn
        Those that stand once in a row.
    fits : mapping of (str, str, int) to float
        How well a table's column of ours fits the column at a place.
    topics : collection of str
        Tables that the file's and the sheet's name speak of.
    known_ids : frozenset of str
        Folded labels of inseminated queens.
    """

    def __init__(
        self,
        columns: list[SheetColumn],
        fits: Mapping[tuple[str, str, int], float],
        topics: Collection[str],
        known_ids: frozenset[str],
    ) -> None:
        self.columns, self.fits = columns, fits
        self.topics, self.known_ids = topics, known_ids
        self.rival = ""
        self.found = self._find()

    def _find(self) -> dict[str, SheetColumn]:
        """The columns of labels: by heading, else by the queens that stand in it."""
        found = {}
        running = self._running_numbers()
        worded = {column.at for column in self.columns if _is_worded(column.contents)}
        for name in SHARED_IDS:
            worths = [
                (worth, -at)
                for (_, ours, at), worth in self.fits.items()
                if ours == name
                and name not in running.get(at, ())
                and not (name == "queen_id" and at in worded)
            ]
            if worths:
                worth, at = max(worths, key=lambda one: (self._labels_rows(name, -one[1]), one))
                found[name] = (worth, next(c for c in self.columns if c.at == -at))
        # one column is one kind of label: the better named keeps it
        kept: dict[str, SheetColumn] = {}
        for name, (_, column) in sorted(found.items(), key=lambda item: -item[1][0]):
            if column not in kept.values():
                kept[name] = column
        if "queen_id" not in kept and self.known_ids:
            best = max(self.columns, key=self._overlap, default=None)
            if best and self._overlap(best) >= 0.5 and best not in kept.values():
                kept["queen_id"] = best
        if not kept.keys() & {"queen_id", "semen_batch"} and (load := self._own_load()):
            kept["semen_batch"] = load
        queen = kept.get("queen_id")
        if queen and "semen_batch" not in kept and self._is_of_semen():
            said = queen.heading.of("part")
            if "number" in said and "queen" not in said:  # the number is the load's
                kept["semen_batch"] = kept.pop("queen_id")
        return kept

    def _labels_rows(self, name: str, at: int) -> tuple[bool, bool]:
        """Tell whether a queen's label is new in nearly every row, and more than the row's number.

        "Mother" may be a queen too: beside queens each of whom stands once she is their mother.
        Of no other label is it asked.
        """
        held = next(c.contents for c in self.columns if c.at == at)
        new = name == "queen_id" and len(held.counts) >= MOST * max(held.filled, 1)
        return new, new and not is_run(held)

    def _running_numbers(self) -> dict[int, tuple[str, ...]]:
        """Give the columns of a number alone that label no queen, since another heading says queen.

        Where the queens below that one are not all different and the numbers are, either
        may be meant: a queen of each row, or the mother of several.

        Returns
        -------
        dict of a column's place to the labels that it does not hold
        """
        every = {at for _, name, at in self.fits if name == "queen_id"}
        fitting = [c for c in self.columns if c.at in every]
        bare = [c for c in fitting if _is_number_alone(c)]
        named = [c for c in fitting if c not in bare and _says_queen(c)]
        if not bare or not named:
            return {}
        flat = any(
            self.fits.get((t, n, c.at), 0) >= SURE for t, n in _ONE_ROW_EACH for c in self.columns
        )
        queens, rows = named[0].contents, bare[0].contents
        if flat and len(queens.counts) < queens.filled and len(rows.counts) == rows.filled:
            if not is_run(rows):
                self.rival = named[0].name
                return {c.at: ("queen_id",) for c in named}
            self.rival = bare[0].name
        # the number of a row of queens is nothing's label; beside looks it may be a hive's
        return {
            c.at: SHARED_IDS if flat and is_run(c.contents) else ("queen_id",) for c in bare
        }

    def _own_load(self) -> SheetColumn | None:
        """Give a column of batches beside what is told of semen, where no queen stands."""
        batches = [c for c in self.columns if c.heading.of("column") == {"graft_batch"}]
        return batches[0] if len(batches) == 1 and self._told_of_semen() >= _LEAST_TOLD else None

    def _told_of_semen(self) -> int:
        """Count the columns that surely tell of a load of semen."""
        return len(
            {
                at
                for (table, name, at), worth in self.fits.items()
                if table == "semen" and name in SUPPORT["semen"] and worth >= SURE
            }
        )

    def _is_of_semen(self) -> bool:
        """Tell whether the sheet's own name is that of semen, and its columns tell of it."""
        return "semen" in self.topics and self._told_of_semen() >= _LEAST_TOLD

    def _overlap(self, column: SheetColumn) -> float:
        return column.contents.share(
            fold(text) in self.known_ids for text in column.contents.texts
        )


def _is_number_alone(column: SheetColumn) -> bool:
    """Tell whether a heading says "no." and nothing else: a queen's, or the row's."""
    said = column.heading
    named = said.of("column") | said.of("topic") | set(said.unknown)
    return not named and said.of("part") - {"filler"} == {"number"}


def _says_queen(column: SheetColumn) -> bool:
    said = column.heading
    return "queen" in said.of("part") or "queen_id" in said.of("column")


def _is_worded(held: Contents) -> bool:
    """Tell whether a few words stand again and again: no label, whatever the heading says."""
    few = len(held.counts) <= _WORDS and held.filled >= _OFTEN * len(held.counts)
    return bool(held.counts) and few and not any(c.isdigit() for text in held.counts for c in text)


def is_run(held: Contents) -> bool:
    """Tell whether numbers count the rows, from 1 on and from 1 again."""
    if not all(text.rstrip(".").isdecimal() for text in held.texts):
        return False
    numbers = [0, *(int(text.rstrip(".")) for text in held.texts)]
    return all(after in (before + 1, 1) for before, after in itertools.pairwise(numbers))
