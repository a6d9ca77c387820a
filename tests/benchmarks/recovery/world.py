"""The stations of the benchmark: what they are simulated from, and under which names.

Every station has the same truth and the same people; grafts, semen loads and queens are
drawn anew. Ids and names carry a tag of three letters, so that many stations can be kept
in one folder of records without meeting.
"""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace

import numpy as np
import polars as pl

from demo import fates, generator
from demo.biology import Columns
from demo.truth import Truth

SEASONS = (2025, 2026)
AS_OF = dt.date(2027, 9, 30)
"""A year after the last season's end, so that every window has closed."""
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
MOST_STATIONS = len(LETTERS) ** 3
FAULTS = ("drone_layer", "culled_fault")
NONE = {"drone_line": (0.0, 0.0, 0.0), "semen_age": 0.0, "drone_age": 0.0}
PARAMETERS = {
    "drone_line": "drone_line_effect",
    "semen_age": "semen_age_slope",
    "drone_age": "drone_age_curve",
}
"""Factor -> the parameter that holds its effect on laying."""


@dataclass(frozen=True)
class World:
    """What every station of a run has in common.

    Attributes
    ----------
    courses : int
        Of each station, second tries included.
    graft_size : int
        Queens of one graft.
    graft_sd : float
        Deviation between grafts, on the logit of laying.
    planted : bool
        Keep the demo's drifting hand and its bad graft, which are the same in every
        station and so no draw from any distribution of batches.
    without : tuple of str
        Factors that have no effect on laying here.
    """

    courses: int = 600
    graft_size: int = 40
    graft_sd: float = 0.35
    planted: bool = False
    without: tuple[str, ...] = ("drone_line", "semen_age")

    @property
    def truth(self) -> Truth:
        """Give the generator's parameters."""
        flat = {PARAMETERS[name]: NONE[name] for name in self.without}
        grafts = {"graft_size": self.graft_size, "graft_sd": self.graft_sd}
        truth = replace(Truth(), seasons=SEASONS, **grafts, **flat)
        return truth if self.planted else replace(truth, drifts=(), bad_grafts=())

    def told(self) -> dict:
        """Give the choices as plain values."""
        return asdict(self) | {"without": list(self.without)}


def tag(number: int) -> str:
    """Give a station's three letters."""
    first, rest = divmod(number, len(LETTERS) ** 2)
    second, third = divmod(rest, len(LETTERS))
    return LETTERS[first] + LETTERS[second] + LETTERS[third]


def named(truth: Truth, letters: str) -> Truth:
    """Give the people names of their own station, so that cases are counted apart."""

    def own(name: str) -> str:
        return f"{name} {letters}"

    return replace(
        truth,
        operators=tuple(replace(o, name=own(o.name)) for o in truth.operators),
        drifts=tuple(replace(d, operator=own(d.operator)) for d in truth.drifts),
        bad_grafts=tuple(
            replace(b, operator=own(b.operator)) for b in truth.bad_grafts
        ),
    )


def simulate_station(world: World, seed: int, number: int) -> dict[str, pl.DataFrame]:
    """Give a station's records and its latent truth."""
    letters = tag(number)
    return generator.simulate(
        named(world.truth, letters),
        zlib.crc32(f"{seed}/{letters}".encode()),
        courses=world.courses,
        tag=letters,
        until=AS_OF.year,
    )


def simulate_fates(world: World, number: int) -> Columns:
    """Give a station's true fates, without anybody looking; its seed is of its own."""
    seed = zlib.crc32(f"truth/{tag(number)}".encode())
    rng = np.random.Generator(np.random.PCG64(seed))
    return generator._courses(world.truth, world.courses, rng)[0]


def prior_cases(world: World, numbers: range) -> dict[str, int]:
    """Give everybody's cases before the first record."""
    people = world.truth.operators
    return {f"{o.name} {tag(n)}": o.prior_cases for n in numbers for o in people}


@contextmanager
def nobody_leaves() -> Iterator[None]:
    """Simulate the same queens as if none were sold, moved, sampled or lost sight of.

    What is culled for a fault still is: it competes with the other ends.
    """
    given = fates._exits

    def only_faults(c, truth, turned, rng):
        days = given(c, truth, turned, rng)
        return {
            reason: day if reason in FAULTS else np.full(len(day), fates.NEVER)
            for reason, day in days.items()
        }

    fates._exits = only_faults
    try:
        yield
    finally:
        fates._exits = given
