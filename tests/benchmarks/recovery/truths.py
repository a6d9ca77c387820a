"""True shares, from a very large simulation in which every queen is watched every day.

``share``: among the courses that a question is asked of, had nobody left and had
everything been seen on its day. ``curve``: the same as the method of the estimates would
give it; it differs where courses come under observation late. ``answer``: what the
generator itself answers, which knows no culling and sees a queen's own pattern instead
of the one that a checker would write down.
"""

from __future__ import annotations

import numpy as np
from incidence import cumulative_incidence
from recovery.world import World, nobody_leaves, simulate_fates
from scipy.special import ndtr

from demo import rows
from demo.biology import Columns, expit, lay_logit
from demo.fates import CODE, NEVER
from demo.truth import Truth

HORIZON = 400
DRONE_SEEN = 19
"""Days from her first drone eggs in worker cells until many drone cells are sealed."""
SPOILT = 9
"""Days from then until it spoils the pattern, by 25 points."""
CHECKER_SD = 3.0
"""Of a score about the pattern that is there, which the nucleus has a part in too."""
GOOD = 79.5
"""Scores are whole numbers; 80 and more is good."""
SCORED_FROM = 35
DOSES = (8.0, 12.0)
KEPT = (
    *("onset_day", "end_reason", "end_day", "drone_layer_day", "pattern_own", "death"),
    *("laying_at_8", "laying_at_12"),
)


def simulate_truth(world: World, stations: int) -> dict[str, dict]:
    """Simulate so many stations and give every true value, by name.

    The names are "<outcome> <window>", and "dose 8 to 12" for the difference.
    """
    kept, answers = [], []
    with nobody_leaves():
        for number in range(stations):
            c = simulate_fates(world, number)
            kept.append(_watched(c, world.truth))
            onset = np.where(c["onset_day"] <= _stop(c), c["onset_day"], NEVER)
            answers.append({k: v.mean() for k, v in _answered(c, onset).items()})
    c = {name: np.concatenate([part[name] for part in kept]) for name in KEPT}
    station = np.repeat(np.arange(stations), [len(p["death"]) for p in kept])
    found = _shares(c, station, world.truth)
    answer = {k: float(np.mean([a[k] for a in answers])) for k in answers[0]}
    return {
        name: {"share": share, "se": se, "curve": curve, "answer": answer.get(name)}
        for name, (share, se, curve) in found.items()
    }


def _stop(c: Columns) -> np.ndarray:
    return np.minimum(c["death_day"], c["superseded_day"])


def _answered(c: Columns, onset: np.ndarray) -> dict[str, np.ndarray]:
    """Give the generator's own answers; those asked of layers only among layers."""
    given = rows._answers(c, onset)
    layers = onset <= 60
    among = {
        "superseded 90": given["superseded_90"][onset <= 90],
        "superseded 365": given["superseded_365"][onset <= 365],
        "drone_layer 60": given["drone_layer_60"][layers],
        "pattern 60": given["pattern_good"][layers],
    }
    everybody = ("laying_21", "lost_21", "established_60")
    return among | {name.replace("_", " "): given[name] for name in everybody}


def _watched(c: Columns, truth: Truth) -> Columns:
    """Keep what the true values need of each course."""
    laid = c["lays"] & (c["onset_day"] <= c["end_day"])
    kept = {name: c[name] for name in KEPT if name in c}
    kept["onset_day"] = np.where(laid, c["onset_day"], NEVER)
    kept["death"] = c["death_day"]
    for dose in DOSES:
        kept[f"laying_at_{dose:.0f}"] = lays_by(c, truth, 21, dose)
    return kept


def lays_by(c: Columns, truth: Truth, day: int, dose: float | np.ndarray) -> np.ndarray:
    """Give each course's chance of laying by a day, had it been given that dose.

    Her death, if any, comes when it comes: the dose has no part in it.
    """
    changed = c | {"dose_ul": np.broadcast_to(dose, c["doses"].shape)}
    variance = np.log1p((truth.onset_sd / truth.onset_mean) ** 2)
    middle = (
        np.log(truth.onset_mean)
        - variance / 2
        + np.log(np.array(truth.onset_co2))[c["co2_schedule"]]
        + truth.onset_dose * np.log(changed["dose_ul"] / 10.0)
        + truth.onset_queen_age * (c["queen_age_days"] - 9)
    )
    last = np.minimum(c["death_day"], day)
    begun = ndtr((np.log(np.maximum(last, 0) + 0.5) - middle) / np.sqrt(variance))
    begun = np.where(last >= truth.onset_limits[0], begun, 0.0)
    return expit(lay_logit(changed, truth)) * begun


def _shares(
    c: Columns, station: np.ndarray, truth: Truth
) -> dict[str, tuple[float, float, float]]:
    """Give share, its error and the curve's value of every question."""
    onset, end, reason = c["onset_day"], c["end_day"], c["end_reason"]
    turned = _seen_drone_laying(c)
    lost = np.isin(reason, [CODE["dead"], CODE["missing"]])
    replaced = np.where(reason == CODE["superseded"], end, NEVER)
    value = c["pattern_own"] - 25.0 * (c["drone_layer_day"] + SPOILT < 60)
    good = ndtr((value - GOOD) / np.hypot(truth.pattern_colony_sd, CHECKER_SD))
    working = (onset <= 60) & (end > 60) & (turned > 60)
    everybody = np.ones(len(onset), bool)
    scored = (onset <= 60) & (end >= SCORED_FROM)
    found = {
        "laying 21": _mean(onset <= 21, everybody, station),
        "lost 21": _mean(lost & (end <= 21), everybody, station),
        "established 60": _mean(working * good, everybody, station),
        "pattern 60": _mean(good, scored, station),
        "dose 8 to 12": _mean(c["laying_at_12"] - c["laying_at_8"], everybody, station),
    }
    found = {name: (*two, two[0]) for name, two in found.items()}
    for name, day, window in (
        ("drone_layer", turned, 60),
        ("superseded", replaced, 90),
        ("superseded", replaced, 365),
    ):
        share = _mean(day <= window, onset <= window, station)
        found[f"{name} {window}"] = (*share, _curve(c, day, window))
    return found


def _seen_drone_laying(c: Columns) -> np.ndarray:
    """Give the day on which daily looks would show it, or she was taken out for it."""
    end = c["end_day"]
    taken = np.where(c["end_reason"] == CODE["drone_layer"], end, NEVER)
    day = np.minimum(c["drone_layer_day"] + DRONE_SEEN, taken)
    return np.where(day <= end, day, NEVER)


def _mean(value: np.ndarray, among: np.ndarray, station: np.ndarray):
    """Give a mean among some courses, and its error from station to station."""
    value, station = value[among].astype(float), station[among]
    mean = value.mean()
    off = np.bincount(station, value - mean)
    return float(mean), float(np.sqrt((off**2).sum()) / len(value))


def _curve(c: Columns, day: np.ndarray, window: int) -> float:
    """Read the incidence among layers off the product's own curve, all being seen."""
    stays = np.minimum(c["end_day"], HORIZON)
    ended = (c["end_day"] < HORIZON) & (c["end_reason"] != CODE["anew"])
    happened = day <= stays
    event = np.where(happened, 1, np.where(ended, 2, 0))
    laid = c["onset_day"] < NEVER
    curves = cumulative_incidence(
        c["onset_day"][laid],
        np.minimum(day, stays)[laid],
        event[laid],
        causes=(1, 2),
        days=[window],
    )
    return float(curves.estimate[0, 0])
