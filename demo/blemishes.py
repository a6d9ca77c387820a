"""Records wrong in the ways people get them wrong, planted at fixed places.

Cells and rows are spoilt while they are still text under canonical names;
broken lines are made in the finished file by `break_lines`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import polars as pl

Frames = dict[str, pl.DataFrame]
SCRIPT = "<script>alert(1)</script>"


@dataclass(frozen=True)
class Cell:
    """One spoilt cell: the ``at`` share of the way down the filled cells."""

    kind: str
    table: str
    column: str
    at: float
    now: str | Callable[[str], str]


def _comma(was: str) -> str:
    return was.replace(".", ",")


def _no_hyphen(was: str) -> str:
    return was.replace("-", "")


def _no_zeros(was: str) -> str:
    head, _, tail = was.partition("-")
    return f"{head}-{tail.lstrip('0')}"


def _month_first(was: str) -> str:
    return f"{was[5:7]}/28/{was[:4]}"


CELLS = (
    Cell("dose ten times too large", "inseminations", "dose_ul", 0.21, "80"),
    Cell("dose ten times too large", "inseminations", "dose_ul", 0.64, "120"),
    Cell("decimal comma", "inseminations", "dose_ul", 0.33, _comma),
    Cell("decimal comma", "inseminations", "dose_ul", 0.71, _comma),
    Cell("decimal comma", "semen", "volume_ul", 0.40, _comma),
    Cell("unit in the cell", "inseminations", "minutes", 0.45, "6 min"),
    Cell("word outside the list", "inseminations", "leak", 0.27, "bit"),
    Cell("word outside the list", "checks", "drone_in_worker", 0.18, "lots"),
    Cell("word outside the list", "checks", "eggs", 0.52, "maybe"),
    Cell("word outside the list", "exits", "reason", 0.30, "gone off"),
    Cell("date in another order", "checks", "checked_on", 0.12, _month_first),
    Cell("impossible date", "checks", "checked_on", 0.31, "2025-06-31"),
    Cell("impossible date", "exits", "left_on", 0.44, "31/06/2025"),
    Cell("impossible date", "inseminations", "inseminated_at", 0.38, "2025-13-04"),
    Cell("checked in the future", "checks", "checked_on", 0.60, "2062-05-30"),
    Cell("day before she emerged", "inseminations", "inseminated_at", 0.55,
         "2025-03-02 10:15"),
    Cell("queen id look-alike", "checks", "queen_id", 0.08, str.lower),
    Cell("queen id look-alike", "checks", "queen_id", 0.23, _no_hyphen),
    Cell("queen id look-alike", "checks", "queen_id", 0.04, _no_zeros),
    Cell("queen id look-alike", "exits", "queen_id", 0.25, str.lower),
    Cell("removed before placed", "placements", "removed_on", 0.35, "2025-03-30"),
    Cell("required id missing", "inseminations", "queen_id", 0.48, ""),
    Cell("required id missing", "co2", "queen_id", 0.50, ""),
    Cell("required date missing", "placements", "placed_on", 0.42, ""),
    Cell("pattern over 100", "checks", "pattern_pct", 0.37, "850"),
    Cell("pattern with a sign", "checks", "pattern_pct", 0.41, "85 %"),
    Cell("more drones gave than tried", "semen", "drones_yielding", 0.30, "940"),
    Cell("note with a comma", "inseminations", "note", 0.35,
         "tip changed, second go"),
    Cell("note with a line break", "inseminations", "note", 0.55,
         "queen small\nlooked at twice"),
    Cell("note with markup", "checks", "note", 0.45, SCRIPT),
)  # fmt: skip


def _spoil(frame: pl.DataFrame, cell: Cell) -> tuple[pl.DataFrame, str, str]:
    rows = frame[cell.column].is_not_null().arg_true()
    row = int(rows[int(cell.at * len(rows))])
    was = frame[cell.column][row]
    now = cell.now if isinstance(cell.now, str) else cell.now(was)
    values = frame[cell.column].scatter(row, now)
    return frame.with_columns(values.alias(cell.column)), was, now


def _add(frame: pl.DataFrame, **values: str) -> pl.DataFrame:
    row = pl.DataFrame(values).cast(pl.String)
    return pl.concat([frame, row], how="diagonal")


def _extra_rows(frames: Frames) -> tuple[Frames, list[tuple[str, str, str]]]:
    """Rows that should not be there; returns what was added to which table."""
    checks, ins = frames["checks"], frames["inseminations"]
    placed = frames["placements"]
    open_rows = placed["removed_on"].is_null().arg_true()
    here = placed.row(int(open_rows[20]), named=True)
    other = placed.row(int(open_rows[60]), named=True)
    file = checks["file"][0]
    checks = pl.concat([checks, checks[1500:1502]])
    for colony, queen, day in (
        ("N990", None, "2025-06-20"),
        (here["colony_id"], None, "2025-09-12"),
        (None, "Q25-9001", "2025-06-24"),
        (None, None, "2025-07-02"),
    ):
        checks = _add(checks, queen_id=queen, colony_id=colony, checked_on=day,
                      checker="Tansy", eggs="x", file=file)  # fmt: skip
    placed = _add(placed, queen_id=other["queen_id"], colony_id=here["colony_id"],
                  placed_on="2025-09-10", method="cage")  # fmt: skip
    twin = ins[700:701].with_columns(dose_ul=pl.lit("9.4"), operator=pl.lit("Hazel"))
    ins = pl.concat([ins[:701], twin, ins[701:], ins[1400:1401]])
    queens = frames["queens"]
    twin = queens[333:334].with_columns(line=pl.lit("Reed"), mark=pl.lit("blue 7"))
    queens = pl.concat([queens, twin])
    added = [
        ("row repeated exactly", "checks", checks["checked_on"][1500]),
        ("row repeated exactly", "inseminations", ins["insemination_id"][-1]),
        ("check of a nucleus with no queen", "checks", "N990"),
        ("two queens in one nucleus", "placements", other["queen_id"]),
        ("queen never inseminated", "checks", "Q25-9001"),
        ("neither queen nor nucleus", "checks", "2025-07-02"),
        ("two rows with one key", "inseminations", twin["queen_id"][0]),
        ("two rows with one key", "queens", twin["queen_id"][0]),
    ]
    added[6] = ("two rows with one key", "inseminations", ins["insemination_id"][700])
    new = {"checks": checks, "placements": placed, "inseminations": ins}
    return frames | new | {"queens": queens}, added


def plant(frames: Frames) -> tuple[Frames, pl.DataFrame]:
    """Spoil text frames.

    Parameters
    ----------
    frames : dict of DataFrame
        Text columns under canonical names; ``checks`` with a ``file`` column.

    Returns
    -------
    frames : dict of DataFrame
    planted : DataFrame
        ``kind, table, column, was, now``; ``now`` is to be found in the file.
    """
    found = []
    for cell in CELLS:
        frames[cell.table], was, now = _spoil(frames[cell.table], cell)
        found.append((cell.kind, cell.table, cell.column, was, now))
    frames, added = _extra_rows(frames)
    found += [(kind, table, None, None, now) for kind, table, now in added]
    planted = pl.DataFrame(
        found, schema=["kind", "table", "column", "was", "now"], orient="row"
    )
    return frames, pl.concat([planted, BROKEN_LINES])


# the unbalanced quote stands near the end of its file: it takes every later
# line with it, and one slip should not swallow half a season
BROKEN_LINES = pl.DataFrame(
    [
        ("short line", "placements", None, None, "Q25-0007,N777"),
        ("long line", "co2", None, None, "2025-07-01 09:40,4,,checked twice"),
        ("unbalanced quote", "checks", None, None, '"short of stores'),
    ],
    schema=["kind", "table", "column", "was", "now"],
    orient="row",
)


def break_lines(table: str, text: str) -> str:
    """Plant the broken line of this table, where it has one."""
    lines = text.splitlines(keepends=True)
    if table == "placements":
        lines.insert(900, "Q25-0007,N777\n")
    elif table == "co2":
        lines.insert(600, "Q25-0300,2025-07-01 09:40,4,,checked twice\n")
    elif table == "checks":
        cut = lines[-3].rstrip("\n").rsplit(",", 1)[0]
        lines[-3] = f'{cut},"short of stores\n'
    return "".join(lines)
