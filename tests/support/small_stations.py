"""Small, one-sided stations, as stations are in their first weeks; sound, and never usual.

Made from the columns that a table may have and nothing else: no look was taken at what the
analyses need. Every column is either alike for all rows, of two values, or varied; queens
number one to forty.
"""

from __future__ import annotations

import datetime as dt
import random
from pathlib import Path

FIRST = dt.date(2026, 5, 4)
LATE = dt.date(2026, 9, 15)
"""After all inseminations: one that is yet to come gives no course."""


def write_small(station: Path, seed: int) -> int:
    """Write a station's folder; give how many queens were inseminated."""
    draw = random.Random(seed)
    records = station / "records"
    records.mkdir(parents=True)
    (station / "station.toml").write_text(f'name = "Small"\nas_of = {LATE}\n')
    queens = [f"Q{n:02d}" for n in range(draw.choice((1, 2, 3, 5, 8, 12, 20, 40)))]
    apart = draw.choice((0, 1, 1, 3))
    on = {queen: FIRST + dt.timedelta(n * apart) for n, queen in enumerate(queens)}
    _write(records / "inseminations.csv", _inseminations(queens, on, draw))
    if draw.random() < 0.7:
        _write(records / "queens.csv", _queens(queens, on, draw))
    _write(records / "checks.csv", _checks(queens, on, draw))
    if draw.random() < 0.5:
        gone = [q for q in queens if draw.random() < draw.choice((0.1, 0.5, 1.0))]
        rows = [
            (q, on[q] + dt.timedelta(draw.choice((0, 3, 20, 70))), draw.choice(REASONS))
            for q in gone
        ]
        _write(records / "exits.csv", [("queen_id", "left_on", "reason"), *rows])
    if draw.random() < 0.4:
        rows = [
            (q, f"{on[q] + dt.timedelta(draw.choice((-2, 0, 1, 2)))} 09:00")
            for q in queens
            if draw.random() < 0.8
        ]
        _write(records / "co2.csv", [("queen_id", "given_at"), *rows])
    return len(queens)


REASONS = (
    *("dead", "missing", "superseded", "drone_layer"),
    *("culled_fault", "culled_other", "sold", "moved"),
)


def _column(values: tuple, draw: random.Random, rows: int) -> list:
    """Give one value for all, two, or any; some left empty in a third of the columns."""
    chosen = draw.sample(values, draw.choice((1, 1, min(2, len(values)), len(values))))
    gaps = draw.choice((0.0, 0.0, 0.3))
    return ["" if draw.random() < gaps else draw.choice(chosen) for _ in range(rows)]


def _columns(offered: dict[str, tuple], draw: random.Random, rows: int) -> dict:
    some = [name for name in offered if draw.random() < 0.6]
    return {name: _column(offered[name], draw, rows) for name in some}


def _inseminations(queens, on, draw) -> list[tuple]:
    offered = {
        "operator": ("Ann", "Ben", "Cat", "Dov", "Eve"),
        "protocol": ("single 8", "single 12", "double 4"),
        "dose_ul": (4, 6, 8, 10, 12),
        "dose_meant_ul": (8, 12),
        "semen_batch": ("S1", "S2", "S3", "S4"),
        "instrument": ("one", "two"),
        "tip": ("A", "B"),
        "attempts": (1, 2, 3),
        "leak": ("none", "some", "most"),
        "minutes": (2, 4, 9),
        "drone_age_days": (12, 16, 20, 30),
        "drone_line": ("red", "blue"),
        "trial": ("T1",),
        "block": ("b1", "b2", "b3"),
    }
    made = _columns(offered, draw, len(queens))
    hour = draw.choice(("", " 10:00"))
    rows = [
        (queen, f"{on[queen]}{hour}", *(made[name][at] for name in made))
        for at, queen in enumerate(queens)
    ]
    if draw.random() < 0.2:  # a second dose the next day
        rows += [(r[0], f"{on[r[0]] + dt.timedelta(1)}{hour}", *r[2:]) for r in rows]
    return [("queen_id", "inseminated_at", *made), *rows]


def _queens(queens, on, draw) -> list[tuple]:
    offered = {
        "line": ("x", "y", "z"),
        "graft_batch": ("g1", "g2", "g3", "g4", "g5"),
        "marked": ("yes", "no"),
    }
    made = _columns(offered, draw, len(queens))
    age = draw.choice((6, 8, None))
    days = [on[q] - dt.timedelta(age or draw.randrange(4, 14)) for q in queens]
    rows = [
        (queen, days[at], *(made[name][at] for name in made))
        for at, queen in enumerate(queens)
    ]
    return [("queen_id", "emerged_on", *made), *rows]


def _checks(queens, on, draw) -> list[tuple]:
    lays = draw.choice((0.0, 0.5, 0.9, 1.0))
    looks = draw.choice(((), (9,), (9, 21), (10, 30, 60, 95), (60,)))
    seen = draw.choice((0.0, 0.5, 1.0))
    offered = {
        "checker": ("Ann", "Fay"),
        "sealed": ("yes", "no"),
        "pattern_pct": (40, 80, 95),
        "drone_in_worker": ("none", "few", "many"),
        "queen_cells": ("none", "supersedure", "swarm", "emergency"),
        "mark_seen": ("yes", "no"),
        "brood_given": ("yes", "no"),
    }
    rows = [
        (q, on[q] + dt.timedelta(after), _said(lays, draw), _said(seen, draw))
        for q in queens
        for after in looks
        if draw.random() < 0.9
    ]
    made = _columns(offered, draw, len(rows))
    rows = [(*row, *(made[name][at] for name in made)) for at, row in enumerate(rows)]
    return [("queen_id", "checked_on", "eggs", "queen_seen", *made), *rows]


def _said(share: float, draw: random.Random) -> str:
    return "yes" if draw.random() < share else "no"


def _write(path: Path, rows: list[tuple]) -> None:
    text = "".join(f"{','.join(map(str, row))}\n" for row in rows)
    path.write_text(text, encoding="utf-8")
