"""Days that are headings of columns: which of them stand in no order among the others."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from queen_outcomes.facts.reading import FINDINGS
from queen_outcomes.records.mapping import SlotMapping, SourceMapping

LEAST = 3
"""Of two days nobody can tell that one is out of order."""


def out_of_order(days: Sequence[dt.date]) -> list[int]:
    """Give the places of days without which the others run one way.

    Parameters
    ----------
    days : sequence of date
        As they stand side by side; the latest may stand first.

    Returns
    -------
    list of int
        As few as possible; empty where all are in order.
    """
    numbers = [day.toordinal() for day in days]
    kept = max(_longest(numbers), _longest([-number for number in numbers]), key=len)
    return [place for place in range(len(days)) if place not in kept]


def _longest(numbers: Sequence[int]) -> list[int]:
    """Give the places of the longest part that never goes back."""
    best: list[list[int]] = []
    for place, number in enumerate(numbers):
        before = [part for part in best if numbers[part[-1]] <= number]
        best.append([*max(before, key=len, default=[]), place])
    return max(best, key=len, default=[])


def astray(source: SourceMapping) -> Iterator[tuple[str, str, str]]:
    """Give the columns whose constant days stand in no order: heading, day, and what is beside.

    ``source`` is read as checks; slots stand as the settings have them.
    """
    slots = [
        (slot.cells[FINDINGS].columns[0], day)
        for slot in source.slots
        if FINDINGS in slot.cells and slot.cells[FINDINGS].columns and (day := _day(slot))
    ]
    wrong = out_of_order([day for _, day in slots]) if len(slots) >= LEAST else []
    for place in wrong:
        beside = [
            f'{where} "{slots[at][0]}" ({slots[at][1]})'
            for where, at in (("behind", place - 1), ("before", place + 1))
            if 0 <= at < len(slots)
        ]
        yield slots[place][0], slots[place][1].isoformat(), " and ".join(beside)


def _day(slot: SlotMapping) -> dt.date | None:
    """Give the day that the settings name for all looks of a slot."""
    cell = slot.cells.get("checked_on")
    try:
        return dt.date.fromisoformat(str(cell and cell.value))
    except ValueError:
        return None
