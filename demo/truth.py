"""The truth behind the invented station: every parameter, and what it leans on.

The pipeline never imports this module.  Each field carries a ``source`` in its
metadata: the published figure it follows and how that figure is known (*read*
in the publication, from *memory*, common *practice*, *derived* by arithmetic),
or *invented* where nothing supports the number.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from datetime import date
from typing import Any

PROTOCOLS = ("single 8", "single 12", "6 and 6")
SCHEDULES = ("before_24", "before_48", "after_24", "after_48", "one", "doses_48")


def _p(default: Any, source: str) -> Any:
    """A field with its default and what supports it."""
    return field(default=default, metadata={"source": source})


@dataclass(frozen=True)
class Operator:
    """One person at the bench (invented).

    ``skill`` is a shift of the logit of laying; ``prior_cases`` are queens done
    before the first record; ``workload`` is relative; ``lean`` is added to the
    log-odds of choosing each of `PROTOCOLS`.
    """

    name: str
    skill: float
    prior_cases: int
    workload: float
    lean: tuple[float, float, float]


@dataclass(frozen=True)
class Drift:
    """From ``since`` on, this operator's logit of laying shifts by ``shift``."""

    operator: str
    since: date
    shift: float


@dataclass(frozen=True)
class BadGraft:
    """The first graft emerging on or after ``emerged``: all by one operator."""

    emerged: date
    operator: str
    shift: float


TEAM = (
    Operator("Alder", 0.35, 640, 1.1, (0.9, -0.9, 0.0)),
    Operator("Birch", 0.15, 310, 1.0, (0.5, -0.4, 0.1)),
    Operator("Hazel", 0.05, 120, 1.0, (0.0, 0.0, 0.3)),
    Operator("Linden", 0.05, 180, 1.7, (0.1, 0.1, -0.1)),
    Operator("Rowan", -0.35, 25, 0.9, (-0.6, 0.8, 0.0)),
    Operator("Willow", -0.30, 0, 0.9, (-0.7, 0.9, -0.2)),
)


@dataclass(frozen=True)
class Truth:
    """All parameters of the invented station; see each field's ``source``."""

    # --- size and calendar -------------------------------------------------
    seasons: tuple[int, ...] = _p((2025, 2026), "invented")
    courses: int = _p(2400, "invented")
    first_emergence: str = _p("04-20", "invented; first drones are mature by then")
    last_emergence: str = _p("08-01", "invented")
    graft_size: int = _p(40, "invented")
    semen_size: int = _p(15, "invented: queens served by one pooled load")
    operators: tuple[Operator, ...] = _p(TEAM, "invented")
    lines: tuple[str, ...] = _p(("Amber", "Flint", "Moss", "Reed"), "invented")
    drone_lines: tuple[str, ...] = _p(("Copper", "Dun", "Slate"), "invented")

    # --- ever lays: additive on the logit ----------------------------------
    lay_base: float = _p(3.05, "invented; leaves about 88 % laying, as B4")
    line_effect: tuple[float, ...] = _p((0.2, -0.75, 0.1, 0.05), "invented")
    drone_line_effect: tuple[float, ...] = _p((0.1, 0.0, -0.15), "invented")
    dose_slope: float = _p(
        1.2, "per log(dose / 10 uL); direction read (8-12 uL standard), size invented"
    )
    dose_excess: float = _p(
        -0.15, "per uL of a single dose over 18: read that deaths rise; size invented"
    )
    split_penalty: float = _p(-0.2, "invented: a queen handled twice")
    drone_age_best: float = _p(20.0, "read: sperm counts peak near day 20")
    drone_age_curve: float = _p(-0.006, "per day squared; invented")
    queen_age_best: tuple[float, float] = _p((7.0, 10.0), "read 5-14; middle invented")
    queen_age_young: float = _p(-0.30, "per day younger; read that under 4 is bad")
    queen_age_old: float = _p(-0.16, "per day older; read that over 14 is worse")
    semen_age_slope: float = _p(-0.04, "per log(1 + hours); read: six weeks harmless")
    learning_depth: float = _p(-1.0, "invented: shift at the very first case")
    learning_cases: float = _p(45.0, "invented: cases after which 1/e is left")
    late_effect: float = _p(-0.4, "invented: the season's second half")
    year_effect: tuple[float, ...] = _p((0.0, -0.05), "invented; cycles over years")
    graft_sd: float = _p(0.35, "invented: between graft batches")
    semen_sd: float = _p(0.25, "invented: between semen batches")
    co2_lay: tuple[float, ...] = _p(
        (0.0, 0.05, 0.0, 0.0, -0.10, 0.0), "by SCHEDULES; one only: 88 % lay, B4, read"
    )
    drifts: tuple[Drift, ...] = _p(
        (Drift("Linden", date(2026, 5, 18), -0.95),), "invented: odds about x 2.5"
    )
    bad_grafts: tuple[BadGraft, ...] = _p(
        (BadGraft(date(2026, 5, 20), "Birch", -2.2),), "invented"
    )

    # --- who gets what: deliberately not randomised ------------------------
    protocol_doses: tuple[float, ...] = _p((8.0, 12.0, 6.0), "uL; read 8-12 standard")
    protocol_lean: tuple[float, ...] = _p((0.3, 0.0, -0.4), "invented log-odds")
    lean_line: tuple[tuple[float, ...], ...] = _p(
        ((0.5, -0.8, 0.2), (-1.0, 1.2, -0.2), (0.2, -0.2, 0.2), (0.1, 0.0, 0.1)),
        "invented: the awkward line is given more semen",
    )
    lean_late: tuple[float, ...] = _p((-0.4, 0.7, -0.1), "invented")
    broken_off: float = _p(0.015, "invented: two-dose queens dead before the second")
    co2_share: tuple[float, ...] = _p((0.38, 0.14, 0.22, 0.13, 0.13), "invented")
    again_share: float = _p(0.02, "invented: courses that are a second try")

    # --- onset among layers: lognormal, days after the last insemination ---
    onset_mean: float = _p(9.1, "two exposures: B3, read")
    onset_sd: float = _p(4.1, "two exposures: B3, second-hand")
    onset_graft_sd: float = _p(0.08, "invented, on the log scale")
    onset_dose: float = _p(-0.10, "per log(dose / 10 uL); invented")
    onset_queen_age: float = _p(0.012, "per day over 9; invented")
    onset_co2: tuple[float, ...] = _p(
        (1.0, 0.93, 1.06, 1.0, 2.14, 0.95),
        "factor on the mean; B2 orders them; one only: means 17-22 days, B4, read",
    )
    onset_limits: tuple[int, int] = _p((3, 55), "B3 from day 3, B4 up to 55; read")

    # --- semen --------------------------------------------------------------
    drone_gives_none: float = _p(0.405, "Rhodes et al. 2011; read")
    drone_uL: float = _p(1.09, "mean of drones that give; Rhodes et al. 2011; read")
    drone_uL_sd: float = _p(0.45, "invented")
    stored_at_8: float = _p(3.6, "million sperm, 8 uL; B5 and B6 give 3.0-5.3, read")
    stored_power: float = _p(0.55, "derived from B5: 8 uL 3.05, 16 uL 4.64")
    stored_cv: float = _p(0.25, "invented; naturally mated 33 %, read")
    stored_cap: float = _p(7.5, "memory: the spermatheca holds 7-8 million")
    viability: tuple[float, float] = _p((83.7, 10.0), "mean read; SD narrowed")

    # --- ends ----------------------------------------------------------------
    death_bench: float = _p(0.025, "invented: days 0-3, operators alike at skill 0")
    death_introduction: float = _p(0.03, "invented: days 2-7")
    death_a_day: float = _p(0.0004, "invented")
    death_winter: float = _p(0.18, "invented; B1 has 37 of 59 alive in May, read")
    supersede_early: float = _p(0.07, "practice: first 2-8 weeks; size invented")
    supersede_late: float = _p(0.08, "practice: a late second peak; size invented")
    supersede_sperm: float = _p(-0.6, "per million stored over 4; read that low dose")
    drone_layer: float = _p(0.025, "at 4 million stored; invented")
    drone_layer_sperm: float = _p(-1.1, "per million stored; invented")
    sold: float = _p(0.42, "invented: of laying queens, from day 28 on")
    sold_quality: float = _p(0.9, "invented: log-odds per SD of quality")
    pattern_mean: float = _p(88.0, "read: good means under 20 % empty cells")
    pattern_queen_sd: float = _p(5.5, "invented")
    pattern_colony_sd: float = _p(6.0, "read that colonies matter; size invented")

    # --- looking --------------------------------------------------------------
    check_days: tuple[int, ...] = _p((7, 10, 14, 21, 35, 60, 90), "practice")
    check_missed: float = _p(0.11, "invented")
    check_late: float = _p(0.06, "invented")
    misjudged: float = _p(0.006, "invented: a brood cell read wrongly")
    colony_only: float = _p(0.08, "invented: checks that name only the nucleus")


def sources(truth: Truth | None = None) -> dict[str, str]:
    """What each parameter leans on, by name."""
    return {f.name: f.metadata["source"] for f in fields(truth or Truth())}


def for_scale(truth: Truth, *, operators: int, seasons: tuple[int, ...]) -> Truth:
    """The same biology in a large network of stations.

    Parameters
    ----------
    truth : Truth
        Parameters to start from.
    operators : int
        How many people; their skill runs evenly over -0.4 to 0.4.
    seasons : tuple of int
        Years.  Drifts start in the middle of the last one, for one in fifty.
    """
    people = tuple(
        Operator(
            f"op{i + 1:03d}",
            round(-0.4 + 0.8 * ((i * 37) % operators) / max(operators - 1, 1), 3),
            (i * 53) % 700,
            1.0,
            TEAM[i % len(TEAM)].lean,
        )
        for i in range(operators)
    )
    since = date(seasons[-1], 5, 18)
    drifts = tuple(Drift(p.name, since, -0.95) for p in people[::50])
    bad = tuple(
        BadGraft(date(y, 5, 20), people[y % operators].name, -2.2) for y in seasons
    )
    return replace(
        truth, operators=people, seasons=seasons, drifts=drifts, bad_grafts=bad
    )
