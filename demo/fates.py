"""What becomes of each queen: laying, competing ends, and what is written down."""

from __future__ import annotations

import numpy as np

from demo.biology import Columns, expit, lay_logit, logit, onset_days, operator_shift
from demo.truth import Truth

NEVER = 100_000
REASONS = (
    "dead", "missing", "superseded", "drone_layer", "culled_fault", "sold",
    "moved", "culled_other", "colony_lost", "sampled", "swarmed", "anew", "none",
)  # fmt: skip
CODE = {name: i for i, name in enumerate(REASONS)}
# how often an end is written down as an exit, and how many days late at most;
# invented: a queen found dead is noted, one that is simply gone often is not
RECORDED = (0.85, 0.60, 0.55, 0.85) + (0.97,) * 7 + (0.0, 0.0)
LAG = ((0, 3), (4, 14), (3, 25), (0, 4)) + ((0, 1),) * 9


def _day(
    hit: np.ndarray, low: np.ndarray | float, high: np.ndarray | float,
    rng: np.random.Generator,
) -> np.ndarray:  # fmt: skip
    """A whole day drawn from [low, high] where ``hit``, else never."""
    drawn = np.floor(rng.uniform(low, np.asarray(high) + 1, len(hit)))
    return np.where(hit, drawn, NEVER).astype(int)


def store_sperm(c: Columns, truth: Truth, rng: np.random.Generator) -> Columns:
    """Sperm stored (millions), live share (percent), and the queen's quality."""
    n = len(c["d0"])
    mean = truth.stored_at_8 * (c["dose_ul"] / 8.0) ** truth.stored_power
    mean = mean * np.exp(-0.002 * (c["drone_age_days"] - truth.drone_age_best) ** 2)
    mean = mean * np.exp(0.10 * operator_shift(c, truth))
    stored = mean * np.exp(truth.stored_cv * rng.standard_normal(n))
    live = np.clip(rng.normal(*truth.viability, n), 5, 99)
    return {
        "stored_millions": np.minimum(stored, truth.stored_cap),
        "viability_pct": live,
        "quality": rng.standard_normal(n),
    }


def _deaths(c: Columns, truth: Truth, rng: np.random.Generator) -> np.ndarray:
    """Day of death from the bench, introduction, daily risk or winter."""
    n = len(c["d0"])
    risk = expit(logit(truth.death_bench) - operator_shift(c, truth))
    bench = _day(rng.random(n) < risk, 0, 3, rng)
    bench = np.where(c["broken"], rng.integers(0, 2, n), bench)
    introduction = _day(rng.random(n) < truth.death_introduction, 2, 7, rng)
    daily = np.ceil(rng.exponential(1 / truth.death_a_day, n)).astype(int)
    november = c["d0"].astype("M8[Y]").astype("M8[D]") + np.timedelta64(304, "D")
    until = (november - c["d0"]).astype(int)
    winter = _day(rng.random(n) < truth.death_winter, until, until + 150, rng)
    return np.minimum.reduce([bench, introduction, daily, winter])


def _turns_drone_layer(
    c: Columns, truth: Truth, rng: np.random.Generator
) -> np.ndarray:
    """Day from which she lays drone eggs in worker cells."""
    n = len(c["d0"])
    short = c["stored_millions"] * c["viability_pct"] / truth.viability[0]
    risk = expit(logit(truth.drone_layer) + truth.drone_layer_sperm * (short - 4.0))
    hit = (rng.random(n) < risk) & c["lays"]
    later = np.where(rng.random(n) < 0.65, 0, rng.integers(20, 220, n))
    return np.where(hit, c["onset_day"] + later, NEVER)


def _superseded(c: Columns, truth: Truth, rng: np.random.Generator) -> np.ndarray:
    """Day her colony replaces her: a cluster in weeks 2-8, and a late one."""
    n = len(c["d0"])
    sperm = truth.supersede_sperm * (c["stored_millions"] - 4.0)
    early = rng.random(n) < expit(logit(truth.supersede_early) + sperm)
    late = rng.random(n) < expit(logit(truth.supersede_late) + sperm)
    day = np.where(early, 14 + np.rint(42 * rng.beta(1.8, 2.0, n)), NEVER)
    autumn = np.where(late, rng.integers(75, 340, n), NEVER)
    day = np.maximum(np.minimum(day, autumn), c["onset_day"] + 10).astype(int)
    return np.where((early | late) & c["lays"], day, NEVER)


def _exits(
    c: Columns, truth: Truth, turned: np.ndarray, rng: np.random.Generator
) -> dict[str, np.ndarray]:
    """Days on which the station itself would end her observation."""
    n = len(c["d0"])
    found = turned + rng.integers(24, 42, n)
    idle = _day(~c["lays"] & (rng.random(n) < 0.75), 24, 45, rng)
    poor = c["lays"] & (c["pattern_own"] < 76) & (rng.random(n) < 0.5)
    odds = logit(truth.sold) + truth.sold_quality * c["quality"]
    buy = c["lays"] & (rng.random(n) < expit(odds)) & (turned == NEVER)
    sale = np.maximum(28, c["onset_day"] + 14)
    days = {
        "drone_layer": np.where(turned < NEVER, found, NEVER),
        "culled_fault": np.minimum(idle, _day(poor, 62, 95, rng)),
        "sold": _day(buy, sale, sale + 60, rng),
    }
    for reason, share, low in (
        ("moved", 0.03, 20), ("culled_other", 0.03, 15), ("colony_lost", 0.025, 20),
        ("sampled", 0.03, 30), ("swarmed", 0.02, 45),
    ):  # fmt: skip
        days[reason] = _day(rng.random(n) < share, low, low + 90, rng)
    days["swarmed"] = np.where(c["lays"], days["swarmed"], NEVER)
    return days


def decide(c: Columns, truth: Truth, rng: np.random.Generator) -> Columns:
    """Fate of each course, as it truly is and as it gets written down.

    Returns
    -------
    dict
        ``p_lay, lays, onset_day`` (day of the first egg were she left alive;
        NEVER for non-layers), ``drone_layer_day``, ``end_reason`` (position in
        `REASONS`), ``end_day``, ``death_day`` and ``superseded_day`` (as they would
        have been, whatever came first), ``recorded`` (an exit row is written),
        ``left_day`` (its day), ``watched_until`` (last day looked at).
    """
    c = c | store_sperm(c, truth, rng)
    n = len(c["d0"])
    chance = expit(lay_logit(c, truth))
    lays = rng.random(n) < chance
    onset = np.where(lays, onset_days(c, truth, rng), NEVER)
    own = truth.pattern_mean + truth.pattern_queen_sd * c["quality"]
    own = own - 2.5 * np.maximum(3.5 - c["stored_millions"], 0)
    c |= {"p_lay": chance, "lays": lays, "onset_day": onset, "pattern_own": own}
    turned = _turns_drone_layer(c, truth, rng)
    death = _deaths(c, truth, rng)
    seen_dead = rng.random(n) < np.where(death < 8, 0.65, 0.3)
    days = {"dead": np.where(seen_dead, death, NEVER),
            "missing": np.where(seen_dead, NEVER, death),
            "superseded": _superseded(c, truth, rng)}  # fmt: skip
    days |= _exits(c, truth, turned, rng)
    table = np.column_stack([days.get(r, np.full(n, NEVER)) for r in REASONS])
    reason = table.argmin(axis=1)
    day = table[np.arange(n), reason]
    reason = np.where(day >= NEVER, CODE["none"], reason)
    c |= {"drone_layer_day": turned, "death_day": death, "end_day": day}
    c |= {"superseded_day": days["superseded"], "end_reason": reason}
    return c | write_down(reason, day, rng)


def write_down(
    reason: np.ndarray, day: np.ndarray, rng: np.random.Generator
) -> Columns:
    """Whether and when an end becomes an exit, and how long checks go on."""
    n = len(reason)
    recorded = rng.random(n) < np.array(RECORDED)[reason]
    lag = np.array(LAG)
    left = day + rng.integers(lag[reason, 0], lag[reason, 1] + 1)
    # an unnoted loss is looked at a while longer; a supersedure to the plan's end
    onward = np.where(reason == CODE["superseded"], 400, rng.integers(15, 40, n))
    watched = np.where(recorded, left, day + onward)
    return {
        "recorded": recorded,
        "left_day": np.where(recorded, left, NEVER),
        "watched_until": np.minimum(watched, NEVER),
    }


def try_again(
    c: Columns, wanted: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Non-layers inseminated anew: their positions and the day (from d0)."""
    day = rng.integers(15, 27, len(c["d0"]))
    able = ~c["lays"] & (c["end_day"] > day + 3) & (c["queen_age_days"] < 13)
    chosen = np.sort(rng.permutation(np.flatnonzero(able))[:wanted])
    return chosen, day[chosen]
