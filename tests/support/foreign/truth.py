"""What the foreign generators share: lives and their truth, a station and its folder.

A *life* is what would become of a course had nobody sold, moved, sampled or culled her
for another reason, and had her colony neither perished nor swarmed: those removals are
drawn afterwards and only cut the records short. Every truth is therefore a plain count
over lives. Days are whole days after day 0; ``NEVER`` means that it does not happen.
"""

from __future__ import annotations

import csv
import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

import numpy as np

NEVER = 10**6
HORIZON = 400
"""Days that a life is told for: the longest window, its days of grace and some more."""
GRACE = 7
GOOD = 80.0
"""Days of grace and the score of a good brood pattern, as settings have them."""
MID, AFTER = dt.date(2026, 6, 28), dt.date(2026, 11, 15)
YEARS = (2025, 2026)

Courses = dict[str, np.ndarray]
Rows = dict[str, list[dict[str, Any]]]


@dataclass(frozen=True)
class Lives:
    """What becomes of each course, removals away; arrays of one entry a course.

    Attributes
    ----------
    onset : ndarray of int
        Day of her first worker-cell egg.
    drone : ndarray of int
        First day on which her sealed brood would show her a drone-layer.
    end : ndarray of int
        Day on which she ends for a reason that is hers.
    reason : ndarray of str
        dead, missing, superseded, drone_layer, culled_fault, again (a further course
        without brood) or "".
    score : ndarray of float, shape (courses, HORIZON)
        Brood pattern that a look on each day would score, in per cent.
    """

    onset: np.ndarray
    drone: np.ndarray
    end: np.ndarray
    reason: np.ndarray
    score: np.ndarray

    def settled(self) -> Lives:
        """Take away what an earlier end forestalls."""
        onset = np.where(self.onset < self.end, self.onset, NEVER)
        drone = np.where((self.drone <= self.end) & (onset < NEVER), self.drone, NEVER)
        reason = np.where(self.end < NEVER, self.reason, "")
        return replace(self, onset=onset, drone=drone, reason=reason)

    def take(self, rows: np.ndarray) -> Lives:
        """Give some of the courses."""
        return Lives(*(getattr(self, name)[rows] for name in self.__annotations__))

    def and_then(self, more: Lives) -> Lives:
        """Give these courses followed by others."""
        pairs = ((getattr(self, n), getattr(more, n)) for n in self.__annotations__)
        return Lives(*(np.concatenate(pair) for pair in pairs))


class World(Protocol):
    """The fixed truth behind a station: effects of people, batches and seasons."""

    def lives(
        self, courses: Courses, rng: np.random.Generator, until: int = HORIZON
    ) -> Lives:
        """Draw a life for every course, from its columns alone, until a day at least."""


@dataclass(frozen=True)
class Station:
    """A station's records up to ``as_of``, and the truth behind them.

    ``courses`` has a column an attribute: ``course_id``, ``d0`` (datetime64[D]),
    ``marked``, and the factors under the names that the records use; every course with
    d0 up to ``as_of`` has an entry. ``removed`` is the day of a removal, or NEVER.
    """

    name: str
    as_of: dt.date
    records: Rows
    courses: Courses
    lives: Lives
    removed: np.ndarray
    removed_for: np.ndarray
    world: World


def stream(generator: str, seed: int, purpose: str) -> np.random.Generator:
    """Give the random numbers of one purpose, so that purposes never shift each other."""
    words = [int.from_bytes(word.encode(), "big") for word in (generator, purpose)]
    return np.random.default_rng([seed, *words])


def answers(lives: Lives, marked: np.ndarray, outcome: str, window: int):
    """Give who is asked and who of them says yes.

    Parameters
    ----------
    lives : Lives
    marked : ndarray of bool
    outcome : str
        laying, lost, drone_layer, superseded, pattern or established.
    window : int
        Days after day 0, up to HORIZON - 1.

    Returns
    -------
    asked, yes : ndarray of bool
    """
    laid, gone = lives.onset <= window, lives.end <= window
    everybody = np.ones(len(laid), dtype=bool)
    good = lives.score[:, window] >= GOOD
    if outcome == "laying":
        return everybody, laid
    if outcome == "lost":
        return everybody, gone & np.isin(lives.reason, ("dead", "missing"))
    if outcome == "drone_layer":
        return laid, laid & (lives.drone <= window)
    if outcome == "superseded":
        return laid & marked, laid & marked & gone & (lives.reason == "superseded")
    if outcome == "pattern":
        last = np.minimum(window, lives.end - 1)
        sealed = laid & (lives.onset + 9 <= last)
        return sealed, sealed & (lives.score[everybody.nonzero()[0], last] >= GOOD)
    if outcome == "established":
        return everybody, laid & ~gone & (lives.drone > window) & good
    raise ValueError(f"outcome {outcome!r} is none that a life answers")


def target(station: Station, window: int, group: dict | np.ndarray | None = None):
    """Give the courses whose window has closed, of a group where one is named."""
    closes = station.courses["d0"] + np.timedelta64(window + GRACE, "D")
    mask = closes <= np.datetime64(station.as_of)
    if isinstance(group, dict):
        for name, value in group.items():
            mask = mask & (station.courses[name] == value)
    elif group is not None:
        mask = mask & group
    return mask


def truth(station: Station, outcome: str, window: int, group=None) -> float:
    """Give the share of yes that these very courses have; NaN where nobody is asked."""
    asked, yes = answers(station.lives, station.courses["marked"], outcome, window)
    mask = target(station, window, group)
    return _share(yes[mask].sum(), asked[mask].sum())


def expected(
    station: Station,
    outcome: str,
    window: int,
    *,
    group=None,
    do: dict[str, Any] | None = None,
    draws: int = 60,
    seed: int = 0,
) -> float:
    """Give the share of yes to expect of these courses, their own luck drawn anew.

    People, batches and seasons keep their effects. ``do`` sets columns for every
    course, as ``{"operator": "Op1"}``: the mean over the station's case mix. Two calls
    with one seed share their luck, so that differences are steadier than shares.
    """
    rows = target(station, window, group).nonzero()[0]
    courses = {name: column[rows] for name, column in station.courses.items()}
    for name, value in (do or {}).items():
        courses[name] = np.full(len(rows), value)
    total = np.zeros(2)
    for draw in range(draws):
        luck = stream(station.name, seed, f"luck{draw}")
        lives = station.world.lives(courses, luck, window + 1)
        asked, yes = answers(lives, courses["marked"], outcome, window)
        total += yes.sum(), asked.sum()
    return _share(*total)


def _share(yes: float, asked: float) -> float:
    return float(yes / asked) if asked else float("nan")


def noted(values: np.ndarray, where: np.ndarray) -> np.ndarray:
    """Give values as cells, None where nothing was noted."""
    cells = values.astype(object)
    cells[~where] = None
    return cells


def telling(lives: Lives, looks: dict[str, np.ndarray]) -> np.ndarray:
    """Give which looks fall after an end and could tell of it.

    Somebody writes that a queen was superseded on seeing one without her mark.
    """
    course = looks["course"]
    strange = np.equal(looks["mark_seen"], False).astype(bool)
    after = looks["day"] >= lives.end[course]
    return after & ((lives.reason[course] != "superseded") | strange)


def rows_of(columns: dict[str, Any], order: tuple[str, str]) -> list[dict[str, Any]]:
    """Give columns as rows, in the order of two of them."""
    cells = zip(*columns.values(), strict=True)
    rows = [dict(zip(columns, row, strict=True)) for row in cells]
    return sorted(rows, key=lambda row: tuple(row[name] for name in order))


DATED = {
    "inseminations": "inseminated_at",
    "co2": "given_at",
    "placements": "placed_on",
    "checks": "checked_on",
    "exits": "left_on",
    "lab": "sampled_on",
}


def cut(records: Rows, as_of: dt.date) -> Rows:
    """Give the records as they stood that day; of queens, those inseminated by then."""
    last = np.datetime64(as_of) + np.timedelta64(1, "D")
    kept = dict(records)
    for table, name in DATED.items():
        rows = records.get(table, [])
        kept[table] = [row for row in rows if np.datetime64(row[name]) < last]
    for row in kept["placements"]:
        if row.get("removed_on") and row["removed_on"] > as_of:
            row["removed_on"] = None
    for row in kept["inseminations"]:
        if row.get("co2_other_at") and np.datetime64(row["co2_other_at"]) >= last:
            row["co2_other_at"] = None
    there = {row["queen_id"] for row in kept["inseminations"]}
    used = {row["semen_batch"] for row in kept["inseminations"]}
    for table, name, known in (
        ("queens", "queen_id", there),
        ("semen", "semen_batch", used),
        ("co2", "queen_id", there),
        ("placements", "queen_id", there),
    ):
        kept[table] = [row for row in kept.get(table, []) if row[name] in known]
    return kept


def write(station: Station, folder: Path) -> Path:
    """Write a folder that a build reads as it is: settings and one CSV file a table."""
    (folder / "records").mkdir(parents=True, exist_ok=True)
    settings = f'name = "{station.name}"\nas_of = {station.as_of.isoformat()}\n'
    (folder / "station.toml").write_text(settings, encoding="utf-8")
    for table, rows in station.records.items():
        columns = list(dict.fromkeys(name for row in rows for name in row))
        if not columns:
            continue
        path = folder / "records" / f"{table}.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            out = csv.writer(file, lineterminator="\n")
            out.writerow(columns)
            out.writerows([_cell(row.get(name)) for name in columns] for row in rows)
    return folder


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        return value.isoformat(sep=" ", timespec="minutes")
    return str(value)


def assembled(
    name: str,
    as_of: str,
    records: Rows,
    told: tuple[Courses, Lives, np.ndarray, np.ndarray],
    world: World,
) -> Station:
    """Give the station as it stood on the day that ``as_of`` ("mid", "after") names.

    ``told`` has the courses, their settled lives, and when and why they were removed.
    """
    day = {"mid": MID, "after": AFTER}[as_of]
    courses, lives, removed, removed_for = told
    rows = (courses["d0"] <= np.datetime64(day)).nonzero()[0]
    begun = {column: values[rows] for column, values in courses.items()}
    life, away = lives.take(rows), (removed[rows], removed_for[rows])
    # a first dose of two does not make a course before the second is given
    bench = [begun["d0"] - np.timedelta64(days, "D") for days in (0, 1)]
    given = {pair for d in bench for pair in zip(begun["queen_id"], d, strict=True)}
    records["inseminations"] = [
        row
        for row in records["inseminations"]
        if (row["queen_id"], np.datetime64(row["inseminated_at"], "D")) in given
    ]
    return Station(name, day, cut(records, day), begun, life, *away, world)
