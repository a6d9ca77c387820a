"""Placements, checks, exits, laboratory results and the latent truth."""

from __future__ import annotations

import numpy as np
import polars as pl

from demo.bench import ONE_EXPOSURE
from demo.biology import Columns, drift_shift
from demo.fates import CODE, NEVER, REASONS
from demo.labels import Labels, dates, masked, pick
from demo.tables import YES_NO
from demo.truth import PROTOCOLS, SCHEDULES, Truth

METHODS = ("cage", "push-in cage", "tube")
LEVELS = ("none", "few", "many")
CELLS = ("none", "supersedure", "swarm", "emergency")
EXTRA_CHECKERS = ("Sorrel", "Tansy")
CHECK_NOTES = ("short of stores", "calm", "wasps about", "fed", "moved to stand 4")
WORDS = ("queen_seen", "mark_seen", "eggs", "larvae", "sealed", "brood_given")


def placements(
    names: Labels, c: Columns, cutoff: np.datetime64, rng: np.random.Generator
) -> pl.DataFrame:
    """One row a queen in a nucleus; ``removed_on`` null while she is there."""
    n = len(c["d0"])
    on = c["d0"] + np.minimum(c["placed_day"], 9).astype("m8[D]")
    off = c["d0"] + np.minimum(c["removed_day"], 9000).astype("m8[D]")
    gone = (c["removed_day"] < NEVER) & (off <= cutoff)
    brood = np.where(c["brood_at_placing"], 1, np.where(rng.random(n) < 0.6, 0, -1))
    return (
        pl.DataFrame(
            {
                "queen_id": names.queen,
                "colony_id": names.colony,
                "placed_on": dates(on),
                "removed_on": masked(off, gone).cast(pl.Date),
                "method": pick(METHODS, rng.integers(0, len(METHODS), n)),
                "brood_present": pick(YES_NO, brood),
            }
        )
        .filter(pl.Series(c["placed"]))
        .sort("placed_on", "queen_id")
    )


def checks(
    names: Labels,
    truth: Truth,
    c: Columns,
    looks: tuple[np.ndarray, np.ndarray],
    seen: Columns,
    rng: np.random.Generator,
) -> pl.DataFrame:
    """One row a look, by day; most by queen, some by nucleus only, some both."""
    course, t = looks
    n = len(t)
    people = (*names.operator, *EXTRA_CHECKERS)
    u = rng.random(n)
    queen = names.queen.gather(course).to_numpy()
    colony = names.colony.gather(course).to_numpy()
    note = np.where(rng.random(n) < 0.012, rng.integers(0, 5, n), -1)
    pattern = masked(np.nan_to_num(seen["pattern_pct"]).astype(int),
                     ~np.isnan(seen["pattern_pct"]))  # fmt: skip
    return pl.DataFrame(
        {
            "queen_id": masked(queen, u >= truth.colony_only),
            "colony_id": masked(colony, u < truth.colony_only + 0.15),
            "checked_on": dates(c["d0"][course] + t.astype("m8[D]")),
            "checker": pick(people, rng.integers(0, len(people), n)),
            **{k: pick(YES_NO, seen[k]) for k in WORDS},
            "pattern_pct": pattern.cast(pl.Float64),
            "drone_in_worker": pick(LEVELS, seen["drone_in_worker"]),
            "multiple_eggs": pick(YES_NO, seen["multiple_eggs"]),
            "queen_cells": pick(CELLS, seen["queen_cells"]),
            "note": pick(CHECK_NOTES, note),
        }
    ).sort("checked_on", "queen_id", "colony_id", "checker", maintain_order=True)


def exits(names: Labels, c: Columns, cutoff: np.datetime64) -> pl.DataFrame:
    """One row an exit that was written down."""
    day = c["d0"] + np.minimum(c["left_day"], 9000).astype("m8[D]")
    keep = c["recorded"] & (day <= cutoff) & (c["end_reason"] != CODE["none"])
    return (
        pl.DataFrame(
            {
                "queen_id": names.queen,
                "left_on": dates(day),
                "reason": pick(REASONS, c["end_reason"]),
            }
        )
        .filter(pl.Series(keep))
        .sort("left_on", "queen_id")
    )


def lab(
    names: Labels, c: Columns, cutoff: np.datetime64, rng: np.random.Generator
) -> pl.DataFrame:
    """Spermatheca results: stored sperm in millions, live share in percent."""
    day = c["d0"] + np.minimum(c["left_day"], 9000).astype("m8[D]")
    keep = c["recorded"] & (day <= cutoff) & (c["end_reason"] == CODE["sampled"])
    millions = np.round(c["stored_millions"] * rng.uniform(0.93, 1.07, len(day)), 2)
    return (
        pl.DataFrame(
            {
                "queen_id": names.queen,
                "sampled_on": dates(day),
                "sperm_millions": millions,
                "viability_pct": np.round(c["viability_pct"], 1),
            }
        )
        .filter(pl.Series(keep))
        .sort("sampled_on", "queen_id")
    )


def _answers(c: Columns, onset: np.ndarray) -> dict[str, np.ndarray]:
    """Answers to the outcomes' questions, by the course's true days."""
    stop = np.minimum(c["death_day"], c["superseded_day"])
    by_death = c["death_day"] < c["superseded_day"]
    layer = (c["drone_layer_day"] + 9 <= 60) & (c["drone_layer_day"] <= stop)
    good = c["pattern_own"] >= 80
    return {
        "laying_21": onset <= 21,
        "lost_21": by_death & (c["death_day"] <= 21),
        "superseded_90": ~by_death & (c["superseded_day"] <= 90),
        "superseded_365": ~by_death & (c["superseded_day"] <= 365),
        "drone_layer_60": layer,
        "pattern_good": good,
        "established_60": (onset <= 60) & (stop > 60) & ~layer & good,
    }


def latent(names: Labels, truth: Truth, c: Columns) -> pl.DataFrame:
    """The truth, one row a course: factors, drawn effects, fate, outcomes.

    The last columns answer the outcomes' questions as they would have turned
    out had the station never sold, moved or culled a queen.
    """
    stop = np.minimum(c["death_day"], c["superseded_day"])
    onset = np.where(c["onset_day"] <= stop, c["onset_day"], NEVER)
    names_of_days = ("end_day", "death_day", "superseded_day", "left_day",
                     "drone_layer_day")  # fmt: skip
    days = {"onset_day": onset} | {k: c[k] for k in names_of_days}
    return pl.DataFrame(
        {
            "course_id": names.course, "queen_id": names.queen,
            "course_no": c["course_no"], "season": c["year"],
            "d0": dates(c["d0"]), "first_insemination": dates(c["first_day"]),
            "operator": pick(names.operator, c["operator"]),
            "operator_case": c["operator_case"],
            "protocol": pick(PROTOCOLS, c["protocol"]),
            "doses": c["doses"], "dose_ul": c["dose_ul"],
            "co2_schedule": pick(SCHEDULES, c["co2_schedule"]),
            "one_exposure": c["co2_schedule"] == ONE_EXPOSURE,
            "queen_age_days": c["queen_age_days"],
            "drone_age_days": c["drone_age_days"],
            "semen_age_h": c["semen_age_h"],
            "line": pick(names.line, c["line"]),
            "drone_line": pick(names.drone_line, c["drone_line"]),
            "graft_batch": names.graft,
            "semen_batch": names.semen.gather(c["load"]),
            "graft_effect": c["graft_effect"], "semen_effect": c["semen_effect"],
            "drifting": drift_shift(c, truth) != 0,
            "bad_graft": c["owner"] >= 0, "broken_off": c["broken"],
            "p_lay": c["p_lay"], "lays": c["lays"],
            **{k: masked(v, v < NEVER) for k, v in days.items()},
            "end_reason": pick(REASONS, c["end_reason"]),
            "recorded": c["recorded"],
            "stored_millions": c["stored_millions"],
            "pattern_own": c["pattern_own"],
            **_answers(c, onset),
        }
    )  # fmt: skip
