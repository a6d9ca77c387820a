"""From a course's factors to the chance of laying and the day of onset."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from demo.truth import PROTOCOLS, SCHEDULES, Truth

Columns = dict[str, np.ndarray]


def expit(x: np.ndarray | float) -> np.ndarray:
    """The logistic function."""
    return 1.0 / (1.0 + np.exp(-np.asarray(x, dtype=float)))


def logit(p: float) -> float:
    """Log-odds of a probability."""
    return float(np.log(p / (1.0 - p)))


def drift_shift(c: Columns, truth: Truth) -> np.ndarray:
    """Shift of the logit by the planted drifts; 0 where there is none.

    ``c`` needs ``operator`` (position in ``truth.operators``) and ``d0``.
    """
    names = [o.name for o in truth.operators]
    shift = np.zeros(len(c["operator"]))
    for drift in truth.drifts:
        hit = c["operator"] == names.index(drift.operator)
        hit &= c["d0"] >= np.datetime64(drift.since, "D")
        shift[hit] += drift.shift
    return shift


def operator_shift(c: Columns, truth: Truth) -> np.ndarray:
    """Skill, learning and drift of the operator, on the logit of laying."""
    skill = np.array([o.skill for o in truth.operators])[c["operator"]]
    learning = truth.learning_depth * np.exp(-c["operator_case"] / truth.learning_cases)
    return skill + learning + drift_shift(c, truth)


def late_weight(day: np.ndarray) -> np.ndarray:
    """0 early in the season to 1 late in it, half-way on 1 July."""
    of_year = (day - day.astype("M8[Y]").astype("M8[D]")).astype(int)
    return expit((of_year - 181) / 7.0)


def dose_shift(dose: np.ndarray, doses: np.ndarray, truth: Truth) -> np.ndarray:
    """Effect of the course's dose (uL, summed) given in ``doses`` parts."""
    single = np.where(doses > 1, 0.0, np.maximum(dose - 18.0, 0.0))
    return (
        truth.dose_slope * np.log(dose / 10.0)
        + truth.dose_excess * single
        + np.where(doses > 1, truth.split_penalty, 0.0)
    )


def lay_logit(c: Columns, truth: Truth) -> np.ndarray:
    """Logit of the chance that a queen ever lays, left alive.

    ``c`` holds arrays, one value a course: codes ``operator, line, drone_line,
    co2_schedule``; ``d0``; ``dose_ul, doses, drone_age_days, queen_age_days,
    semen_age_h, operator_case``; and the drawn ``graft_effect, semen_effect``.
    """
    low, high = truth.queen_age_best
    age = c["queen_age_days"]
    year = c["d0"].astype("M8[Y]").astype(int) + 1970 - 2025
    years = np.array(truth.year_effect)
    return (
        truth.lay_base
        + np.array(truth.line_effect)[c["line"]]
        + np.array(truth.drone_line_effect)[c["drone_line"]]
        + np.array(truth.co2_lay)[c["co2_schedule"]]
        + dose_shift(c["dose_ul"], c["doses"], truth)
        + truth.drone_age_curve * (c["drone_age_days"] - truth.drone_age_best) ** 2
        + truth.queen_age_young * np.maximum(low - age, 0)
        + truth.queen_age_old * np.maximum(age - high, 0)
        + truth.semen_age_slope * np.log1p(c["semen_age_h"])
        + truth.late_effect * late_weight(c["d0"])
        + years[year % len(years)]
        + operator_shift(c, truth)
        + c["graft_effect"]
        + c["semen_effect"]
    )


def onset_days(c: Columns, truth: Truth, rng: np.random.Generator) -> np.ndarray:
    """Day of the first egg, counted from d0, were she to lay; whole days."""
    variance = np.log1p((truth.onset_sd / truth.onset_mean) ** 2)
    mu = np.log(truth.onset_mean) - variance / 2
    rest = np.sqrt(max(variance - truth.onset_graft_sd**2, 0.01))
    log_day = (
        mu
        + np.log(np.array(truth.onset_co2))[c["co2_schedule"]]
        + truth.onset_dose * np.log(c["dose_ul"] / 10.0)
        + truth.onset_queen_age * (c["queen_age_days"] - 9)
        + c["graft_onset"]
        + rest * rng.standard_normal(len(c["dose_ul"]))
    )
    return np.clip(np.rint(np.exp(log_day)), *truth.onset_limits).astype(int)


def p_lay(latent: pl.DataFrame, truth: Truth, **changed: Any) -> np.ndarray:
    """Each course's true chance of laying, with some factors set otherwise.

    Parameters
    ----------
    latent : DataFrame
        The ``latent`` table of `demo.generator.simulate`.
    truth : Truth
        The parameters it was made with.
    **changed
        Columns of ``latent`` to overwrite with one value, e.g. ``dose_ul=8.0,
        doses=1``; ``protocol="single 12"`` sets dose and doses as planned.

    Returns
    -------
    ndarray
        Probabilities; their mean is the adjusted probability in these courses.
    """
    if (protocol := changed.pop("protocol", None)) is not None:
        k = PROTOCOLS.index(protocol)
        doses = 2 if k == 2 else 1
        changed |= {"doses": doses, "dose_ul": truth.protocol_doses[k] * doses}
    frame = latent.with_columns(**{k: pl.lit(v) for k, v in changed.items()})
    codes = {
        "operator": [o.name for o in truth.operators],
        "line": list(truth.lines),
        "drone_line": list(truth.drone_lines),
        "co2_schedule": list(SCHEDULES),
    }
    c = {name: frame[name].to_numpy() for name in NUMERIC}
    for name, words in codes.items():
        numbers = frame[name].replace_strict(
            words, list(range(len(words))), return_dtype=pl.Int64
        )
        c[name] = numbers.to_numpy()
    c["d0"] = frame["d0"].to_numpy().astype("M8[D]")
    return expit(lay_logit(c, truth))


NUMERIC = (
    "dose_ul",
    "doses",
    "drone_age_days",
    "queen_age_days",
    "semen_age_h",
    "operator_case",
    "graft_effect",
    "semen_effect",
)
