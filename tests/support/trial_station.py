"""A small station written out as CSV files, for plans and the trials that come of them."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

LOOKS = (12, 21, 25)
"""Days after insemination on which every colony is looked into."""
SETTINGS = """\
name = "Trial station"
as_of = {as_of}

[columns.inseminations]
protocol = "Dose plan"
operator = "Hands"
"""


@dataclass(frozen=True)
class Queen:
    """A queen of a graft batch, done on a day, who lays or does not."""

    queen_id: str
    graft: str
    on: dt.date
    lays: bool


def write_table(path: Path, rows: Iterable[dict]) -> None:
    """Write rows of one form as CSV."""
    rows = list(rows)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0], lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def write_queens(records: Path, queens: list[Queen]) -> None:
    """Write who the queens are and what was seen of them."""
    known = ({"queen_id": q.queen_id, "graft_batch": q.graft} for q in queens)
    write_table(records / "queens.csv", known)
    looks = (
        {
            "queen_id": q.queen_id,
            "checked_on": (q.on + dt.timedelta(days=day)).isoformat(),
            "queen_seen": "yes",
            "eggs": "yes" if q.lays else "no",
        }
        for q in queens
        for day in LOOKS
    )
    write_table(records / "checks.csv", looks)


def write_station(place: Path, *, grafts=12, each=12, share=0.65, seed=1) -> Path:
    """Write a station's first season: two protocols side by side, drawn by no list."""
    records = place / "records"
    records.mkdir(parents=True)
    (place / "station.toml").write_text(SETTINGS.format(as_of="2026-10-01"))
    rng = np.random.default_rng(seed)
    queens, done = [], []
    for graft in range(grafts):
        chance = rng.beta(share * 19, (1 - share) * 19)
        on = dt.date(2026, 5, 1) + dt.timedelta(days=7 * graft)
        for number in range(each):
            dose = 8 if number % 2 else 12
            lays = bool(rng.random() < chance)
            queen = Queen(f"Q{graft:02d}-{number:02d}", f"26-{graft:02d}", on, lays)
            queens.append(queen)
            done.append(
                {
                    "queen_id": queen.queen_id,
                    "inseminated_at": f"{on} 10:00",
                    "Hands": "Ash" if number % 3 else "Elm",
                    "semen_batch": f"S{graft:02d}-{number // 6}",
                    "dose_ul": dose,
                    "dose_meant_ul": dose,
                    "Dose plan": f"single {dose}",
                }
            )
    write_queens(records, queens)
    write_table(records / "inseminations.csv", done)
    semen = {row["semen_batch"]: 70.0 for row in done}
    loads = [
        {"semen_batch": name, "drones_handled": 110, "volume_ul": volume}
        for name, volume in semen.items()
    ]
    write_table(records / "semen.csv", loads)
    return place
