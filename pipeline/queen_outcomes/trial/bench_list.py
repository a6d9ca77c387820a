"""The bench list of a trial: who gets which dose, drawn by lot, as rows of the records.

The rows come back as records: what the plan knows is filled in, the rest is left empty.
"""

from __future__ import annotations

import csv
import io
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.text_layout import NO_FORMULAS, no_formula
from queen_outcomes.facts.column import UNITS, Column
from queen_outcomes.facts.dictionary import INSEMINATIONS
from queen_outcomes.facts.settings import Settings
from queen_outcomes.trial.plan import TrialSize
from queen_outcomes.trial.plan_request import Arm, Request

MOST_PLACES = 20_000


@dataclass(frozen=True)
class BenchPlace:
    """One queen's place on the list.

    ``number`` runs from 1 over the list; ``graft`` and ``load`` stand for the graft
    batch and the semen batch that are taken when the day comes.
    """

    number: int
    graft: str
    load: str
    block: str
    arm: Arm


def bench_list(request: Request, size: TrialSize) -> tuple[BenchPlace, ...]:
    """Draw the arms by lot, in permuted blocks.

    Within graft batches: in blocks of queens inside each graft batch and semen batch.
    Whole batches: in blocks of graft batches, each batch's queens all alike.

    Raises
    ------
    UsageError
        The list would be longer than any station's bench.
    """
    total = size.batches * size.layout.used
    if total > MOST_PLACES:
        raise UsageError(
            "the bench list would be too long",
            found=f"{total} queens",
            expected=f"at most {MOST_PLACES}",
            hint="ask for a larger difference or margin, or leave --csv and --sheet out",
        )
    arms = {arm.name: arm for arm in request.arms}
    drawn = _whole_batches if request.whole_batches else _within_batches
    return tuple(
        BenchPlace(number, graft, load, block, arms[arm])
        for number, (graft, load, block, arm) in enumerate(drawn(request, size), 1)
    )


_Drawn = Iterator[tuple[str, str, str, str]]


def _draw(request: Request, strata: dict[str, int]) -> dict[str, list]:
    arms = [arm.name for arm in request.arms]
    return permuted_blocks(strata, arms, request.block_size, request.seed)


def _within_batches(request: Request, size: TrialSize) -> _Drawn:
    loads = size.layout.load_queens
    strata = {
        (graft, load): (stratum_name(f"{request.name} {graft}", load), queens)
        for graft in _names("G", size.batches)
        for load, queens in zip(_names("L", len(loads)), loads, strict=True)
    }
    places = _draw(request, dict(strata.values()))
    for (graft, load), (stratum, _) in strata.items():
        for block, arm in places[stratum]:
            yield graft, load, f"{graft}-{load}-B{block}", arm


def _whole_batches(request: Request, size: TrialSize) -> _Drawn:
    stratum = f"{request.name} graft batches"
    loads = size.layout.load_queens
    drawn = _draw(request, {stratum: size.batches})[stratum]
    for graft, (block, arm) in zip(_names("G", size.batches), drawn, strict=True):
        for load, queens in zip(_names("L", len(loads)), loads, strict=True):
            for _ in range(queens):
                yield graft, load, f"B{block}", arm


def _names(letter: str, count: int) -> list[str]:
    """Number names so that their order is that of the numbers."""
    wide = len(str(count))
    return [f"{letter}{number:0{wide}d}" for number in range(1, count + 1)]


def list_columns(settings: Settings) -> dict[str, str]:
    """Give our columns of the list, each with the station's own heading.

    What only a flat sheet holds is asked for where the station keeps it there.
    """
    own = settings.reading.columns.get("inseminations", {})
    return {
        column.name: own.get(column.name, column.name)
        for column in INSEMINATIONS.columns
        if not column.flat or column.name in own
    }


def list_csv(
    places: tuple[BenchPlace, ...], request: Request, settings: Settings
) -> str:
    """Write the list as a table of inseminations, a row a dose, in the station's form."""
    headings = list_columns(settings)
    rows: list[list[str]] = []
    for place in places:
        for number, dose in enumerate(place.arm.doses, start=1):
            known = {
                "trial": request.name,
                "block": place.block,
                "protocol": place.arm.name,
                "dose_meant_ul": _written(dose, settings),
                "note": _note(place, number),
            }
            rows.append([known.get(name, "") for name in headings])
    safe = [[no_formula(cell) for cell in row] for row in rows]
    marks = [] if safe == rows else [NO_FORMULAS]
    text = io.StringIO()
    is_comma = settings.reading.decimal == ","
    writer = csv.writer(text, lineterminator="\n", delimiter=";" if is_comma else ",")
    writer.writerow([*headings.values(), *marks])
    writer.writerows([*row, *("" for _ in marks)] for row in safe)
    return text.getvalue()


def _note(place: BenchPlace, number: int) -> str:
    doses = len(place.arm.doses)
    which = f", dose {number} of {doses}" if doses > 1 else ""
    return (
        f"no. {place.number} of the list, graft batch {place.graft}, "
        f"semen batch {place.load}{which}"
    )


def _written(dose_ul: float, settings: Settings) -> str:
    """Write a dose in the station's unit and with its decimal sign."""
    column: Column = INSEMINATIONS.column("dose_meant_ul")
    kept = settings.reading.units.get("inseminations", {}).get(column.name, column.unit)
    factor, _ = UNITS[column.unit][kept]
    text = f"{dose_ul / factor:.10f}".rstrip("0").rstrip(".")
    return text.replace(".", settings.reading.decimal)


def stratum_name(graft_batch: str, semen_batch: str) -> str:
    """Name the stratum of a graft batch and a semen batch."""
    return f"{graft_batch} x {semen_batch}"


def permuted_blocks(
    strata: Mapping[str, int], arms: Iterable[str], block_size: int, seed: int
) -> dict[str, list[tuple[int, str]]]:
    """Give every queen of every stratum an arm, in blocks that hold all arms alike.

    A stratum's list depends on the seed and the stratum's name alone, so that a stratum
    added, left out or moved changes no other list.

    Parameters
    ----------
    strata : mapping of str to int
        Queens of each stratum.
    arms : iterable of str
    block_size : int
        A multiple of the number of arms.
    seed : int
        Above or equal to 0; written on the sheet, it gives the same list again.

    Returns
    -------
    dict of str to list
        The block, counted from 1, and the arm of each place of a stratum, in order. The
        last block of a stratum may be cut short.

    Notes
    -----
    Every order of a block is as likely. With two arms no arm is ever ahead by more than
    half a block. Matts JP, Lachin JM. Control Clin Trials 1988;9:327-344.
    """
    names = sorted(arms)
    block = np.repeat(np.arange(len(names)), block_size // len(names))
    lists = {}
    for stratum, queens in strata.items():
        rng = np.random.default_rng([seed, zlib.crc32(stratum.encode())])
        blocks = range(-(-queens // block_size))
        order = [arm for _ in blocks for arm in rng.permutation(block).tolist()]
        lists[stratum] = [
            (at // block_size + 1, names[arm]) for at, arm in enumerate(order[:queens])
        ]
    return lists
