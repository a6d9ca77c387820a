"""The bench: queens, operators, protocols, semen loads and insemination times."""

from __future__ import annotations

import numpy as np

from demo.biology import Columns, late_weight
from demo.truth import Truth

DAY = np.timedelta64(1, "D")
TWO_DOSES = 2  # position of the two-dose protocol in PROTOCOLS
ONE_EXPOSURE = 4  # position of "one" in SCHEDULES
DOSES_48 = 5


def running_number(*keys: np.ndarray, order: np.ndarray) -> np.ndarray:
    """Position (from 0) of each row within its group, by ``order``."""
    rows = np.lexsort((order, *keys))
    new = np.zeros(len(rows), dtype=bool)
    new[:1] = True
    for key in keys:
        sorted_key = key[rows]
        new[1:] |= sorted_key[1:] != sorted_key[:-1]
    start = np.maximum.accumulate(np.where(new, np.arange(len(rows)), 0))
    out = np.empty(len(rows), dtype=np.int64)
    out[rows] = np.arange(len(rows)) - start
    return out


def _choose(scores: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """One column a row, with chances proportional to exp(scores)."""
    return (scores + rng.gumbel(size=scores.shape)).argmax(axis=1)


def rear_queens(truth: Truth, n: int, rng: np.random.Generator) -> Columns:
    """Graft batches through each season, and their queens in batch order.

    Returns codes and effects a queen: ``year, graft, graft_no`` (within its
    year), ``emerged`` (datetime64[D]), ``line, graft_effect, graft_onset``.
    """
    sizes = np.diff(np.linspace(0, n, len(truth.seasons) + 1).astype(int))
    parts, first = [], 0
    for year, size in zip(truth.seasons, sizes, strict=True):
        grafts = max(1, round(size / truth.graft_size))
        start = np.datetime64(f"{year}-{truth.first_emergence}")
        span = (np.datetime64(f"{year}-{truth.last_emergence}") - start).astype(int)
        number = np.arange(size) * grafts // max(size, 1)
        emerged = start + np.linspace(0, span, grafts).astype(int)[number] * DAY
        year_column = np.full(size, year)
        parts.append((year_column, number + first, number, emerged))
        first += grafts
    year, graft, number, emerged = (np.concatenate(p) for p in zip(*parts, strict=True))
    effect = truth.graft_sd * rng.standard_normal(first)
    line = rng.permuted(np.arange(first) % len(truth.lines))
    owner = np.full(first, -1)
    names = [o.name for o in truth.operators]
    for bad in truth.bad_grafts:
        hit = graft[emerged >= np.datetime64(bad.emerged, "D")]
        if len(hit):
            effect[hit[0]] += bad.shift
            owner[hit[0]] = names.index(bad.operator)
            line[hit[0]] = 0
    onset = truth.onset_graft_sd * rng.standard_normal(first)
    return {
        "year": year, "graft": graft, "graft_no": number, "emerged": emerged,
        "line": line[graft], "graft_effect": effect[graft],
        "graft_onset": onset[graft], "owner": owner[graft],
        "marked": rng.random(len(graft)) < 0.94,
    }  # fmt: skip


def first_days(queens: Columns, rng: np.random.Generator) -> np.ndarray:
    """Day of each queen's first insemination; nobody works on Sundays."""
    age = np.clip(np.rint(rng.normal(8.6, 1.8, len(queens["graft"]))), 5, 14)
    age += (rng.random(len(age)) < 0.01) * 2
    day = queens["emerged"] + age.astype(int) * DAY
    sunday = (day.astype(int) + 3) % 7 == 6
    return day + sunday * DAY


def assign_operators(
    truth: Truth, queens: Columns, day: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Three operators on duty a day (and for every four grafts), one a queen."""
    room = day.astype(int) * 100_000 + queens["graft"] // 4
    _, group = np.unique(room, return_inverse=True)
    load = np.log([o.workload for o in truth.operators])
    score = load + rng.gumbel(size=(group.max() + 1, len(load)))
    on_duty = np.argsort(-score, axis=1)[:, :3]
    pick = rng.choice(on_duty.shape[1], size=len(day)) if on_duty.shape[1] else 0
    operator = on_duty[group, pick]
    return np.where(queens["owner"] >= 0, queens["owner"], operator)


def assign_courses(
    truth: Truth, queens: Columns, day: np.ndarray, rng: np.random.Generator
) -> Columns:
    """Operator, dose protocol and CO2 schedule of each course."""
    n = len(day)
    operator = assign_operators(truth, queens, day, rng)
    lean = np.array([o.lean for o in truth.operators])[operator]
    score = np.array(truth.protocol_lean) + lean
    score = score + np.array(truth.lean_line)[queens["line"]]
    score = score + late_weight(day)[:, None] * np.array(truth.lean_late)
    protocol = _choose(score, rng)
    share = np.log(np.array(truth.co2_share))
    habit = 0.5 * np.cos(operator[:, None] * 1.7 + np.arange(len(share)) * 2.3)
    schedule = _choose(share + habit, rng)
    two = protocol == TWO_DOSES
    broken = two & (rng.random(n) < truth.broken_off)
    schedule = np.where(two, np.where(broken, ONE_EXPOSURE, DOSES_48), schedule)
    doses = np.where(two & ~broken, 2, 1)
    return {
        "operator": operator, "protocol": protocol, "co2_schedule": schedule,
        "doses": doses, "broken": broken, "first_day": day,
        "d0": day + (doses - 1) * 2 * DAY,
    }  # fmt: skip


def collect_semen(truth: Truth, days: np.ndarray, rng: np.random.Generator) -> Columns:
    """Pooled semen loads, as many as the season's inseminations call for.

    ``days`` are the first inseminations; a few later days are added so that
    second tries find fresh semen too.
    """
    later = days[::25] + 21 * DAY
    wanted = np.sort(np.concatenate([days, days[::3] + 2 * DAY, later]))
    day = wanted[:: truth.semen_size]
    # every working day finds a load of its own day or the day before
    working = np.unique(np.concatenate([days, days + 2 * DAY, later]))
    day = np.concatenate([day, np.setdiff1d(working[::2], day) - DAY])
    first = np.unique(days.astype("M8[Y]"), return_index=True)[1]
    day = np.concatenate([day - rng.integers(0, 2, len(day)) * DAY, days[first] - DAY])
    minute = rng.integers(8 * 60, 16 * 60, size=len(day))
    minute[-len(first) :] = 8 * 60
    collected = np.sort(day.astype("M8[m]") + minute)
    n = len(collected)
    age = np.clip(np.rint(rng.normal(20.0, 4.5, n)), 12, 34)
    return {
        "collected": collected, "drone_age_days": age,
        "spread": rng.integers(0, 4, n),
        "drone_line": rng.integers(0, len(truth.drone_lines), n),
        "semen_effect": truth.semen_sd * rng.standard_normal(n),
    }  # fmt: skip


def inseminate(
    truth: Truth, c: Columns, semen: Columns, rng: np.random.Generator
) -> Columns:
    """One row an insemination: course, day, time, semen load, doses, handling.

    ``order`` sorts an operator's queens within a day; times follow it.
    """
    second = np.flatnonzero(c["doses"] == 2)
    course = np.concatenate([np.arange(len(c["d0"])), second])
    part = np.concatenate([np.zeros(len(c["d0"]), int), np.ones(len(second), int)])
    day = c["first_day"][course] + part * 2 * DAY
    operator = c["operator"][course]
    n = len(course)
    order = running_number(operator, day, order=rng.random(n))
    # a big operator-day is squeezed into ten hours; jitter keeps the order
    step = 7 if order.max() < 80 else 1
    minute = 9 * 60 + order * step + rng.integers(0, max(step - 2, 1), n)
    at = day.astype("M8[m]") + minute
    wanted = at - rng.integers(30, 28 * 60, n).astype("m8[m]")
    load = np.searchsorted(semen["collected"], wanted, side="right") - 1
    load = np.maximum(load, 0)
    meant = np.array(truth.protocol_doses)[c["protocol"]][course]
    dose = np.round(meant + rng.normal(0, 0.25, n), 1)
    short = rng.random(n) < 0.02
    dose = np.where(short, np.round(meant * rng.uniform(0.6, 0.9, n), 1), dose)
    return {
        "course": course, "part": part, "at": at, "order": order,
        "operator": operator, "load": load, "dose_ul": dose, "dose_meant_ul": meant,
    }  # fmt: skip


def case_numbers(truth: Truth, ins: Columns) -> np.ndarray:
    """Running number of each insemination for its operator, prior cases added."""
    prior = np.array([o.prior_cases for o in truth.operators])
    count = running_number(ins["operator"], order=ins["at"].astype(np.int64))
    return count + prior[ins["operator"]]


def summarise(
    truth: Truth, queens: Columns, c: Columns, ins: Columns, semen: Columns
) -> Columns:
    """Course factors, taken from the insemination with the larger dose."""
    main = np.arange(len(c["d0"]))
    second = ins["part"] == 1
    of = ins["course"][second]
    larger = ins["dose_ul"][second] >= ins["dose_ul"][: len(main)][of]
    main[of[larger]] = np.flatnonzero(second)[larger]
    load = ins["load"][main]
    age = (ins["at"][main] - semen["collected"][load]).astype(int) / 60.0
    return queens | c | {
        "main": main, "load": load, "semen_age_h": np.maximum(age, 0.0),
        "dose_ul": np.bincount(ins["course"], weights=ins["dose_ul"]),
        "operator_case": case_numbers(truth, ins)[main],
        "queen_age_days": (c["d0"] - queens["emerged"]).astype(int),
        "drone_age_days": semen["drone_age_days"][load],
        "drone_line": semen["drone_line"][load],
        "semen_effect": semen["semen_effect"][load],
    }  # fmt: skip
