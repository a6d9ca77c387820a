"""A small station whose people have names that no script, word or number can hold.

The names stand where a station may write them: as operators and checkers, in benches,
protocols, lines, batches and ids, in the names of files, in remarks, in a row that cannot
be read, and in the settings.
"""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

from trial_station import write_station, write_table

OPERATORS = ("Zyxwal", "Quopbo Vrinthe", "Äxolfrün")
CHECKERS = ("Zyxwal", "Plimzqa")
OTHERS = ("Worfgrul", "Yttrbeq", "Hjalpfusk")
"""Known to the settings, to a row in quarantine, and to a remark alone."""
FRAGMENTS = (
    *("zyxwal", "quopbo", "vrinthe", "xolfr", "plimzq", "worfgrul", "yttrbeq"),
    "hjalpfusk",
)
"""What nothing that leaves may hold, in small letters."""
SETTINGS = """\
name = "Station Zyxwal"
as_of = 2026-10-01

[prior_cases]
Worfgrul = 12
Zyxwal = 30

[columns.inseminations]
protocol = "Dose plan"
operator = "Hands"
"""


def write_named(place: Path) -> Path:
    """Write the station; give its folder."""
    write_station(place, grafts=8, each=12)
    (place / "station.toml").write_text(SETTINGS, encoding="utf-8")
    records = place / "records"
    done = _rows(records / "inseminations.csv")
    for number, row in enumerate(done):
        row["Hands"] = OPERATORS[number % 3]
        row["instrument"] = f"{OPERATORS[number % 2]}'s bench"
        row["Dose plan"] += " (Zyxwal)"
        row["semen_batch"] += "-plimzqa"
        row["line"] = "QUOPBO line" if number % 4 else "Amber"
        row["note"] = "Hjalpfusk helped" if number % 5 == 0 else ""
    done.append(done[0] | {"inseminated_at": "one day", "Hands": "Yttrbeq"})
    write_table(records / "inseminations.csv", done)
    loads = _rows(records / "semen.csv")
    write_table(
        records / "semen.csv",
        [row | {"semen_batch": f"{row['semen_batch']}-plimzqa"} for row in loads],
    )
    looks = _rows(records / "checks.csv")
    again = []
    for number, row in enumerate(looks):
        row["checker"] = CHECKERS[number % 2]
        row["pattern_pct"] = str(70 + number % 25) if row["eggs"] == "yes" else ""
        row["note"] = "for Hjalpfusk" if number % 7 == 0 else ""
        if number % 3 == 0:  # the other looks the day after
            day = dt.date.fromisoformat(row["checked_on"]) + dt.timedelta(days=1)
            other = {"checked_on": day.isoformat(), "checker": CHECKERS[1 - number % 2]}
            again.append(row | other)
    (records / "checks.csv").unlink()
    write_table(records / "checks_Plimzqa_2026.csv", [*looks, *again])
    return place


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
