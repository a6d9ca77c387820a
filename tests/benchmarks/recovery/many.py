"""Many stations at once through the product's own reading, checking and deriving.

One folder of records holds the stations of a chunk; what is read off it later is a
station at a time. A station's tag stands in place of the grouping "all", so that the
product's own statement counts the rates of each.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl
from filled_in import fill_courses
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Models, Settings
from queen_outcomes.models.closed import ClosedCourses, read_closed, read_factors
from queen_outcomes.models.factor_fills import fill_factors, read_filled_factors
from queen_outcomes.models.onset_model import Seen
from queen_outcomes.models.onset_results import read_seen
from queen_outcomes.outcomes import derive
from queen_outcomes.outcomes.fills import estimate_rates
from queen_outcomes.outcomes.signs import histories_given
from queen_outcomes.records.accept import accept_records
from queen_outcomes.records.staging import stage_records
from recovery.world import AS_OF, World, prior_cases, simulate_station, tag

QUESTION = ("laying", 21)
PLAN = ("dose", "doses", "experience", "semen_age", "line", "season")
"""A station's own list of terms: with the factors that it asks about it would have no
answers left for the others, so none of these is ever dropped."""
TAG_AT = slice(3, 6)
"""Where the tag stands in a course's id: Q25AAA-0001/1."""


@dataclass(frozen=True, eq=False)
class Many:
    """Stations, derived: what the methods are handed.

    Attributes
    ----------
    settings : Settings
        A station's defaults.
    rates : DataFrame
        The product's rates; `level` is the station's tag.
    histories : dict of str to DataFrame
        By tag, in the order of the ids.
    estimates : dict of str to dict
        By tag: "<outcome> <window>" -> estimate and its limits.
    laying : ClosedCourses
        Every course of all stations with its answer, in the order of the ids, not filled in.
    closed : dict of str to ClosedCourses
        By tag: the station's own, filled in.
    seen : Seen
        What is known of the onset of each course of `laying`.
    station : ndarray of str
        Tag of each course of `laying`.
    """

    settings: Settings
    rates: pl.DataFrame
    histories: dict[str, pl.DataFrame]
    estimates: dict[str, dict[str, list]]
    laying: ClosedCourses
    closed: dict[str, ClosedCourses]
    seen: Seen
    station: np.ndarray


def write_records(world: World, seed: int, numbers: range, folder: Path) -> None:
    """Simulate the stations and write their tables, one file each."""
    parts: dict[str, list[pl.DataFrame]] = {}
    for number in numbers:
        for name, frame in simulate_station(world, seed, number).items():
            parts.setdefault(name, []).append(frame)
    folder.mkdir()
    for name, frames in parts.items():
        if name != "latent":
            pl.concat(frames).write_parquet(folder / f"{name}.parquet")


def derive_stations(world: World, seed: int, numbers: range, place: Path) -> Many:
    """Simulate stations, and run the build's steps up to the derivations and rates."""
    write_records(world, seed, numbers, place / "records")
    settings = Settings(as_of=AS_OF, prior_cases=prior_cases(world, numbers))
    with Store(place / "station.duckdb", threads=1, memory="4GB") as store:
        staged = stage_records(store, place / "records", settings)
        sources = [source.name for source in staged.sources]
        accept_records(store, settings, AS_OF, sources)
        derive.derive(store, settings, AS_OF)
        _count(store, settings)
        return _taken(store, settings, [tag(number) for number in numbers])


def _count(store: Store, settings: Settings) -> None:
    """Count the rates with the station in place of all, and write the histories."""
    store.step("05_rates", "course_groups", {})
    own = f"substr(course_id, {TAG_AT.start + 1}, {TAG_AT.stop - TAG_AT.start})"
    store.execute(f'UPDATE course_groups SET "all" = {own}')
    derive.count_groups(store, settings)
    store.step("05_rates", "histories", histories_given())


def _estimates(
    store: Store, settings: Settings, letters: str
) -> tuple[dict[str, list], ClosedCourses]:
    """Give a station's headlines and closed courses, filled in by themselves."""
    own = f"substr(course_id, {TAG_AT.start + 1}, {TAG_AT.stop - TAG_AT.start})"
    kept = {"courses": f"{own} = '{letters}'"}
    kept["rates"] = f"\"grouping\" = 'all' AND level = '{letters}'"
    store.execute("CREATE SCHEMA own")
    for name, which in kept.items():
        store.execute(
            f"CREATE VIEW own.{name} AS SELECT * FROM main.{name} WHERE {which}"
        )
    store.execute("SET search_path = 'own,main'")
    found = estimate_rates(store, settings, fill_courses(store, settings))
    values = read_factors(store, settings.prior_cases)
    fill_factors(store, settings, values)
    fillings = read_filled_factors(store, values)
    grace = settings.outcomes.grace_days
    closed = read_closed(store, values, QUESTION, grace, fillings=fillings)
    store.execute("SET search_path = 'main'")
    store.execute("DROP SCHEMA own CASCADE")
    names = ("estimate", "estimate_low", "estimate_high")
    return {
        f"{row['outcome']} {row['window_days']}": [row[name] for name in names]
        for row in found
        if row["estimate"] is not None
    }, closed


def _taken(store: Store, settings: Settings, tags: list[str]) -> Many:
    counted = store.frame("SELECT * FROM rates WHERE \"grouping\" = 'all'")
    frame = store.frame("SELECT * FROM histories")
    names = frame["course_id"].to_numpy().astype(str)
    frame = frame[np.argsort(names, kind="stable")]
    histories = frame.partition_by("all", as_dict=True, maintain_order=True)
    values = read_factors(store, settings.prior_cases)
    grace = settings.outcomes.grace_days
    filled = {letters: _estimates(store, settings, letters) for letters in tags}
    store.execute(
        "CREATE TABLE fills (course_id TEXT, outcome TEXT, window_days BIGINT, "
        "clock TEXT, answers TINYINT[])"
    )
    laying = read_closed(store, values, QUESTION, grace)
    ids = laying.values["course_id"]
    return Many(
        replace(settings, prior_cases={}),
        counted,
        {letters: histories[(letters,)] for letters in tags},
        {letters: found for letters, (found, _) in filled.items()},
        laying,
        {letters: closed for letters, (_, closed) in filled.items()},
        read_seen(store, ids),
        np.array([course[TAG_AT] for course in ids]),
    )


def planned(settings: Settings) -> Settings:
    """Give the settings of a station that wants the dose compared, whatever comes."""
    return replace(settings, models=Models(PLAN, PLAN))
