"""Foreign generator 1: every queen goes through states, a day at a time.

She waits, lays or is spent; what may happen to her on a day depends on the state, on
how long she has been in it and on the time of the year. Looks come with yard rounds.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from foreign.truth import (
    HORIZON,
    NEVER,
    YEARS,
    Courses,
    Lives,
    Rows,
    Station,
    assembled,
    noted,
    rows_of,
    stream,
    telling,
)

NAME = "daily_states"
PROTOCOLS = {"single 8": 0.0, "single 12": -0.35, "double 4": 0.15}
"""Log odds of failing that a dose protocol adds."""
WAIT, LAY, SPENT, ENDED = range(4)
YARDS = 5
DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class World:
    """Log odds of failing that operators and the later season add; ``factors`` 0 or 1.

    ``anew`` is the daily chance, for two weeks, that who does not lay is tried again.
    """

    operator: dict[str, float]
    harder: float
    factors: float
    anew: float

    def risk(self, courses: Courses) -> np.ndarray:
        """Give each course's log odds of failing, over the station's usual."""
        who = [self.operator[name] for name in courses["operator"].tolist()]
        dose = [PROTOCOLS[name] for name in courses["protocol"].tolist()]
        age = (courses["drone_age_days"] - 20) / 9
        planted = (
            np.array(dose)
            + 0.4 * age**2
            + 0.12 * np.abs(courses["queen_age_days"] - 8)
            + 0.6 * np.exp(-courses["case"] / 12)
        )
        season = self.harder * (courses["year"] == YEARS[1])
        again = 0.8 * self.factors * courses["again"]
        mean = self.factors * (planted - 0.6)
        return np.array(who) + mean + season + again + courses["shock"]

    def lives(
        self, courses: Courses, rng: np.random.Generator, until: int = HORIZON
    ) -> Lives:
        """Draw a life for every course, day by day."""
        n, risk = len(courses["d0"]), self.risk(courses)
        january = courses["d0"].astype("datetime64[Y]")
        born = (courses["d0"] - january).astype(int)
        dud = rng.random(n) < 1 / (1 + np.exp(3.1 - risk))
        single = self.factors * (courses["co2_schedule"] == "one")
        pace = np.where(dud, 0, 0.24 * np.exp(-0.25 * risk - 0.8 * single))
        empty = rng.random(n) < 0.025 * np.exp(0.6 * risk)
        level = 90 - 2.5 * risk + 7 * rng.standard_normal(n)
        luck = rng.random((HORIZON, n))

        state = np.full(n, WAIT)
        onset, spent, end = (np.full(n, NEVER) for _ in range(3))
        reason = np.full(n, "", dtype="<U12")
        for day in range(1, until):
            since = day - onset
            season = (born + day) % 365
            drawn, passed = luck[day], np.zeros(n)
            visible = day >= spent + 15
            for name, hazard in self._hazards(day, since, season, risk, level):
                chance = np.where(_may(name, state, visible), hazard, 0)
                if name == "again":
                    chance = np.where(courses["again"], 0, chance)
                elif name == "lay":
                    chance = chance * pace
                hit = (drawn >= passed) & (drawn < passed + chance)
                passed += chance
                if name == "lay":
                    onset[hit] = day
                    spent[hit & empty] = day
                    state[hit] = np.where(empty[hit], SPENT, LAY)
                elif name == "spent":
                    spent[hit], state[hit] = day, SPENT
                else:
                    end[hit], reason[hit], state[hit] = day, name, ENDED
        from_start = spent == onset
        drone = np.where(spent < NEVER, spent + np.where(from_start, 10, 14), NEVER)
        days = np.arange(HORIZON)
        young = np.clip(days - np.minimum(onset, HORIZON)[:, None] - 9, 0, None)
        score = level[:, None] - 8 * np.exp(-young / 4)
        score = score + 3 * rng.standard_normal((n, HORIZON))
        score -= np.clip(3 * (days - spent[:, None] - 9), 0, 50)
        score = np.clip(np.round(score), 5, 100)
        return Lives(onset, drone, end, reason, score).settled()

    def _hazards(self, day, since, season, risk, level):
        """Give what may happen on a day, with its chance where the state allows it."""
        winter, autumn = (season > 320) | (season < 60), (season > 225) & (season < 270)
        worse = np.exp(0.6 * risk)
        early = 0.007 if day <= 6 else 0.0025
        gone = np.where(since < 0, early * worse, 0.0009 * (1 + winter) * worse**0.5)
        fresh = (since >= 14) & (since <= 56)
        return (
            ("dead", gone * 0.5),
            ("missing", gone * 0.5),
            ("lay", (day > 2) / (1 + np.exp((6 - day) / 1.3))),
            ("again", self.anew * (15 <= day <= 24)),
            (
                "culled_fault",
                np.where(since < 0, 0.05, 0.02 * (level < 70)) * (day > 24),
            ),
            ("superseded", (0.0004 + 0.0014 * fresh + 0.0008 * autumn) * worse),
            ("spent", 0.00008 * (1 + np.maximum(since, 0) / 90) * worse),
            ("drone_layer", 0.07),
        )


def _may(name, state, visible):
    """Give which queens something may happen to."""
    alive = state != ENDED
    return {
        "dead": alive,
        "missing": alive,
        "lay": state == WAIT,
        "again": state == WAIT,
        "culled_fault": (state == WAIT) | (state == LAY),
        "superseded": (state == LAY) | (state == SPENT),
        "spent": state == LAY,
        "drone_layer": (state == SPENT) & visible,
    }[name]


def station(
    seed: int,
    *,
    courses: int = 600,
    as_of: str = "after",
    operators: int | None = None,
    null: bool = False,
    odds: dict[int, float] | None = None,
    harder: float = 0.4,
    shocks: float = 0.45,
    selling: float = 0.25,
    removals: bool = True,
    mnar: float = 1.0,
    stray: float = 0.01,
    anew: float = 0.05,
) -> Station:
    """Make a station.

    Parameters
    ----------
    seed : int
    courses : int
        First courses over both seasons; queens inseminated anew come on top.
    as_of : str
        "mid" (in the second season) or "after" it.
    operators : int, optional
        4 to 8 by the seed when not given.
    null : bool
        No operator differs and no factor has an effect; batches and seasons stay.
        Nobody is inseminated anew, for her age would tell of a bad batch.
    odds : dict, optional
        By what an operator's odds of failing are multiplied, by her place in the list;
        replaces her planted effect.
    harder : float
        Log odds of failing that the second season adds.
    shocks : float
        Standard deviation of graft batches on the log odds; semen batches have half.
    selling : float
        Chance that a queen is sold after a look with a good score.
    removals : bool
        False: the same lives, and nobody sold, moved, sampled, lost with her colony ...
    mnar : float
        How much more often losers' fields stay blank; 0 for not at all.
    stray : float
        Share of courses in colonies whose old brood nobody wrote down.
    anew : float
        Daily chance that a queen who does not lay is inseminated anew.
    """
    rng = stream(NAME, seed, "design")
    count = operators or int(rng.integers(4, 9))
    names = [f"Op{k + 1}" for k in range(count)]
    effect = rng.normal(0, 0.35, count) * (not null)
    for place, times in (odds or {}).items():
        effect[place] = np.log(times)
    world = World(
        dict(zip(names, effect.tolist(), strict=True)),
        harder,
        1.0 - null,
        anew * (not null),
    )

    first = _design(rng, courses, names, shocks)
    lives = world.lives(first, stream(NAME, seed, "lives"))
    anew = (lives.reason == "again").nonzero()[0]
    more = {name: column[anew] for name, column in first.items()}
    more["d0"] = more["d0"] + lives.end[anew] * DAY
    more["queen_age_days"] = more["queen_age_days"] + lives.end[anew]
    more["again"] = np.ones(len(anew), dtype=bool)
    more["course_id"] = np.array([f"{q}/2" for q in more["queen_id"]], dtype="<U12")
    lives = lives.and_then(world.lives(more, stream(NAME, seed, "lives anew")))
    every = {name: np.concatenate((first[name], more[name])) for name in first}

    looks = _looks(every, lives, stream(NAME, seed, "looks"), mnar, stray)
    away, why = _removed(
        every, lives, looks, stream(NAME, seed, "removals"), selling * removals
    )
    if not removals:
        away, why = np.full(len(away), NEVER), np.full(len(why), "", dtype="<U12")
    rng = stream(NAME, seed, "writing")
    last, exits = _exits(every, lives, looks, rng, (away, why))
    records = _written(every, lives, looks, rng, (last, mnar))
    records["exits"] = exits
    told = (every, lives, away, why)
    return assembled(NAME, as_of, records, told, world)


def _design(rng, courses, names, shocks) -> Courses:
    """Lay out the bench days of two seasons: who did what, on whom and with what."""
    parts = []
    for year, m in zip(YEARS, (courses // 2, courses - courses // 2), strict=True):
        days = np.sort(rng.choice(72, max(6, m // 18), replace=False))
        at = np.sort(rng.integers(0, len(days), m))
        teams = np.array([rng.permutation(len(names))[:3] for _ in days])
        who = teams[at, rng.integers(0, min(3, len(names)), m)]
        habit = rng.dirichlet(np.full(3, 4.0), len(names)).cumsum(axis=1)
        dose = (rng.random(m)[:, None] > habit[who]).sum(axis=1).clip(max=2)
        graft = at // 2 * 2 + rng.integers(0, 2, m)
        load = at * 2 + rng.integers(0, 2, m)
        g_shock = rng.normal(0, shocks, graft.max() + 1)
        s_shock = rng.normal(0, shocks / 2, load.max() + 1)
        drones = rng.integers(13, 34, load.max() + 1)
        strain = rng.integers(0, 3, load.max() + 1)
        parts.append(
            {
                "queen_id": np.array([f"Q{year % 100}-{k + 1:03d}" for k in range(m)]),
                "d0": np.datetime64(f"{year}-05-12") + days[at] * DAY,
                "year": np.full(m, year),
                "operator": np.array(names)[who],
                "protocol": np.array(list(PROTOCOLS))[dose],
                "graft_batch": np.array([f"G{year % 100}-{k:02d}" for k in graft]),
                "semen_batch": np.array([f"S{year % 100}-{k:02d}" for k in load]),
                "line": np.array(["Birch", "Alder", "Rowan"])[graft % 3],
                "drone_line": np.array(["Fen", "Moor", "Heath"])[strain[load]],
                "drone_age_days": drones[load],
                "queen_age_days": rng.integers(6, 13, m),
                "co2_schedule": rng.choice(
                    ["before", "after", "one"], m, p=(0.5, 0.3, 0.2)
                ),
                "yard": rng.integers(0, YARDS, m),
                "marked": rng.random(m) < 0.92,
                "again": np.zeros(m, dtype=bool),
                "shock": g_shock[graft] + s_shock[load],
            }
        )
    first = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    first["course_id"] = np.array([f"{q}/1" for q in first["queen_id"]], dtype="<U12")
    first["case"] = np.zeros(courses, dtype=int)
    for name in names:
        hers = first["operator"] == name
        first["case"][hers] = np.arange(1, hers.sum() + 1)
    return first


def _rounds(rng) -> list[np.ndarray]:
    """Give the days of each yard's rounds: often in summer, none in winter."""
    yards = []
    for _ in range(YARDS):
        day, days = np.datetime64("2025-05-16"), []
        while day < np.datetime64("2027-06-01"):
            month = int(str(day)[5:7])
            days += [day] * (4 <= month <= 10)
            low, high = (5, 14) if 5 <= month <= 8 else (14, 30)
            day = day + rng.integers(low, high) * DAY
        yards.append(np.array(days))
    return yards


def _looks(courses, lives, rng, mnar, stray) -> dict[str, np.ndarray]:
    """Give every look of every life, a column a field; None where nothing was noted."""
    rounds = _rounds(rng)
    who, day = [], []
    for k, (d0, yard) in enumerate(zip(courses["d0"], courses["yard"], strict=True)):
        days = (rounds[yard] - d0).astype(int)
        days = days[(days >= 4) & (days < HORIZON)]
        days = days[rng.random(len(days)) < np.where(days < 100, 0.93, 0.6)]
        if lives.reason[k] in ("culled_fault", "drone_layer", "again"):
            days = np.append(days[days < lives.end[k]], lives.end[k])
        who.append(np.full(len(days), k))
        day.append(days)
    i, d = np.concatenate(who), np.concatenate(day)
    u = rng.random((12, len(i)))
    end, reason = lives.end[i], lives.reason[i]
    followed = (reason == "superseded") & (d >= end)
    there = (
        (d < end)
        | followed
        | (np.isin(reason, ("culled_fault", "drone_layer", "again")))
    )

    n = len(courses["d0"])
    days = np.arange(-25, HORIZON)
    heir = np.where(lives.reason == "superseded", NEVER, lives.end)
    laid = (days >= lives.onset[:, None]) & (days < heir[:, None])
    # old brood of the colony she was put into, in some written down
    old = np.where(courses["again"], 1, rng.random(n))
    laid_before = (days <= 0) & (old < 0.12 + stray)[:, None]
    total, other = laid.cumsum(axis=1), laid_before.cumsum(axis=1)
    seals = 8 + rng.integers(0, 2, n)[i]

    def brood(count, youngest, oldest):
        return count[i, d - youngest + 25] > count[i, np.maximum(d - oldest + 24, 0)]

    def stage(youngest, oldest):
        return brood(total, youngest, oldest) | brood(other, youngest, oldest)

    seen = there & (u[0] < np.where(lives.onset[i] < d, 0.78, 0.66))
    eggs = stage(0, 2) & (u[1] < 0.95)
    larvae = stage(3, seals - 1) & (u[2] < 0.98)
    sealed = stage(seals, 20) & (u[3] < 0.99)
    hers = brood(total, seals, 20) & ~brood(other, seals, 20) & sealed
    score = lives.score[i, d]
    scored = hers & (d < end + 1) & (u[4] < 0.75 - 0.08 * mnar * (score < 80))
    spent = (lives.drone[i] <= d) & (d <= end + 8)
    soon = (lives.drone[i] - 4 <= d) & ~spent
    odd = (u[5] < 0.015) & (score >= 85)
    drones = np.where(spent, "many", np.where(soon | odd, "few", "none"))
    own = np.where(followed, u[6] < 0.85, u[6] < 0.95) & seen & courses["marked"][i]
    idle = ~there & (d - end > 28) & (u[7] < 0.3)
    return {
        "course": i,
        "day": d,
        "written": there | (u[8] > 0.25),
        "queen_seen": noted(seen, u[9] < 0.92),
        "mark_seen": noted(~followed, own & (u[9] < 0.92)),
        "eggs": noted(eggs | idle, u[10] < 0.97),
        "larvae": noted(larvae, u[11] < 0.93),
        "sealed": noted(sealed, u[11] < 0.88),
        "pattern_pct": noted(score.astype(int), scored & (u[11] < 0.88)),
        "drone_in_worker": noted(drones, hers & (u[11] < 0.8)),
        "multiple_eggs": noted(idle, idle),
        "old_brood": old < 0.12,
        "there": there,
    }


def _removed(courses, lives, looks, rng, selling):
    """Give when and why queens leave in hand: the good ones early, others by chance."""
    n = len(courses["d0"])
    i, d = looks["course"], looks["day"]
    score = np.array([-1 if s is None else s for s in looks["pattern_pct"]])
    picked = (
        (score >= 85) & (d >= 25) & looks["written"] & (rng.random(len(i)) < selling)
    )
    sold = np.full(n, NEVER)
    np.minimum.at(sold, i[picked], (d + rng.integers(0, 4, len(i)))[picked])
    doy = (courses["d0"] - courses["d0"].astype("datetime64[Y]")).astype(int)
    chance = rng.random((4, n))
    candidates = {
        "sold": sold,
        "moved": rng.geometric(0.0005, n),
        "culled_other": rng.geometric(0.0003, n),
        "sampled": np.where(chance[0] < 0.03, rng.integers(40, 100, n), NEVER),
        "colony_lost": np.where(
            chance[1] < 0.08, 365 - doy + rng.integers(-30, 60, n), NEVER
        ),
        "swarmed": np.where(
            chance[2] < 0.06, 365 - doy + rng.integers(120, 170, n), NEVER
        ),
    }
    days = np.array(list(candidates.values()))
    first = days.argmin(axis=0)
    away = days[first, np.arange(n)]
    gone = (away < np.minimum(lives.end, HORIZON)) & (away > 0)
    why = np.where(gone, np.array(list(candidates), dtype="<U12")[first], "")
    return np.where(gone, away, NEVER), why


def _exits(courses, lives, looks, rng, removed):
    """Give each course's last day in the records, and the exits that are written."""
    away, why = removed
    n = len(away)
    tell = rng.random(n)
    exits, last = [], np.full(n, NEVER)
    i, d = looks["course"], looks["day"]
    late = telling(lives, looks) & looks["written"]
    for k in range(n):
        end, reason = lives.end[k], lives.reason[k]
        if away[k] < NEVER:
            last[k] = away[k]
            day = away[k] if tell[k] < 0.95 else None
            reason = why[k]
        elif reason in ("", "again"):
            last[k], day = end, None
        else:
            after = d[(i == k) & late]
            last[k], day = _noticed(int(end), str(reason), after, tell[k])
        if day is not None:
            left_on = (courses["d0"][k] + int(day) * DAY).item()
            queen = str(courses["queen_id"][k])
            exits.append({"queen_id": queen, "left_on": left_on, "reason": str(reason)})
    return last, sorted(exits, key=lambda row: (row["left_on"], row["queen_id"]))


def _noticed(end: int, reason: str, after: np.ndarray, tell: float):
    """Give the last day of looks, and the day of the exit if one is written."""
    if reason in ("drone_layer", "culled_fault"):
        return end, end
    if reason == "dead" and end <= 5:
        return end, end if tell < 0.9 else None
    if reason == "dead" and tell < 0.6 and len(after):
        return after[0], after[0]
    if reason == "superseded":
        return NEVER, after[0] if tell < 0.3 and len(after) else None
    # an empty colony is looked at some two or three times, then used for another queen
    some = after[: 2 + (tell > 0.8)]
    final = some[-1] if len(some) else NEVER
    wrote = reason == "missing" and tell < 0.5 and len(some) > 1
    return final, final if wrote else None


def _written(courses, lives, looks, rng, how) -> Rows:
    """Write the bench's and the yard's rows; losers' fields are blank more often."""
    last, mnar = how
    n = len(courses["d0"])
    loser = (lives.end <= 60) | (lives.onset > 21)
    blank = rng.random((6, n)) < 0.06 + 0.10 * mnar * loser
    rows: Rows = {
        t: [] for t in ("queens", "semen", "inseminations", "co2", "placements")
    }
    loads: dict[str, dict] = {}
    leaks = rng.choice(["none", "some", "most"], n, p=(0.8, 0.16, 0.04))
    tries, hours = 1 + (rng.random((2, n)) < 0.1).sum(axis=0), rng.integers(9, 17, n)
    for k in range(n):
        c = {name: column[k].item() for name, column in courses.items()}
        d0, at = c["d0"], dt.datetime.combine(c["d0"], dt.time(int(hours[k])))
        if not c["again"]:
            rows["queens"].append(
                {
                    "queen_id": c["queen_id"],
                    "line": c["line"],
                    "graft_batch": c["graft_batch"],
                    "emerged_on": d0 - dt.timedelta(c["queen_age_days"]),
                    "marked": c["marked"],
                }
            )
            colony = {"queen_id": c["queen_id"], "colony_id": f"N{c['queen_id'][1:]}"}
            old = True if looks["old_brood"][k] else None
            rows["placements"].append({**colony, "placed_on": d0, "brood_present": old})
        age = (
            None
            if blank[0, k] and c["semen_batch"] not in loads
            else c["drone_age_days"]
        )
        loads.setdefault(
            c["semen_batch"],
            {
                "semen_batch": c["semen_batch"],
                "collected_at": dt.datetime.combine(d0, dt.time(7)),
                "drone_line": c["drone_line"],
                "drone_age_days": age,
            },
        )
        doses = (4, 4) if c["protocol"] == "double 4" else (int(c["protocol"][-2:]),)
        for part, dose in enumerate(doses):
            row = {
                "queen_id": c["queen_id"],
                "inseminated_at": at - dt.timedelta(len(doses) - 1 - part),
                "operator": c["operator"],
                "semen_batch": c["semen_batch"],
                "dose_ul": None if blank[1, k] else dose,
                "protocol": c["protocol"],
                "attempts": None if blank[2, k] else int(tries[k]),
                "leak": None if blank[3, k] else str(leaks[k]),
            }
            rows["inseminations"].append(row)
        gap = {"before": -24, "after": 24, "one": None}[c["co2_schedule"]]
        due = at + dt.timedelta(hours=gap or 0)
        exposures = [at, due] if gap and lives.end[k] > (gap > 0) else [at]
        rows["co2"] += [
            {"queen_id": c["queen_id"], "given_at": time, "minutes": 4}
            for time in sorted(exposures)
            if not blank[4, k]
        ]
    rows["semen"] = list(loads.values())
    rows["checks"] = _check_rows(courses, looks, last)
    rows["inseminations"].sort(key=lambda row: (row["inseminated_at"], row["queen_id"]))
    return rows


def _check_rows(courses, looks, last) -> list[dict]:
    keep = (looks["written"] & (looks["day"] <= last[looks["course"]])).nonzero()[0]
    i = looks["course"][keep]
    fields = ("queen_seen", "mark_seen", "eggs", "larvae", "sealed")
    fields += ("pattern_pct", "drone_in_worker", "multiple_eggs")
    columns = {"queen_id": courses["queen_id"][i].tolist()}
    columns["checked_on"] = (courses["d0"][i] + looks["day"][keep] * DAY).tolist()
    columns |= {name: looks[name][keep].tolist() for name in fields}
    return rows_of(columns, ("checked_on", "queen_id"))
