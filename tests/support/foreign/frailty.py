"""Foreign generator 2: times of day and year that hang together through frailties.

Each queen has correlated scores (a Gaussian copula): how soon she lays, whether ever,
her brood, her stored sperm, how long the bees keep her. Times are quantiles of laws in
continuous time; whole days are what a look can tell. Looks follow a plan for each queen.
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

NAME = "frailty"
SHAPES = ("lognormal", "gamma", "two")
DOSES = {"6 uL": 6.0, "8 uL": 8.0, "10 uL": 10.0, "12 uL": 12.0}
SCHEDULES = {"24 h before": -24.0, "48 h before": -48.0, "one": 0.0}
SCORES = ("onset", "never", "pattern", "sperm", "kept", "death")
ALIKE = np.array(
    [
        [1.0, 0.0, -0.3, -0.2, -0.3, 0.2],
        [0.0, 1.0, 0.0, 0.0, 0.0, 0.3],
        [-0.3, 0.0, 1.0, 0.4, 0.4, -0.1],
        [-0.2, 0.0, 0.4, 1.0, 0.35, 0.0],
        [-0.3, 0.0, 0.4, 0.35, 1.0, -0.2],
        [0.2, 0.3, -0.1, 0.0, -0.2, 1.0],
    ]
)
"""Correlation of the scores of one queen."""
GRID = np.arange(0.0, HORIZON + 1)
DAY = np.timedelta64(1, "D")


def normal_share(z: np.ndarray) -> np.ndarray:
    """Give the share of a normal law below z, to three digits."""
    return 0.5 * (1 + np.tanh(0.7978845608 * (z + 0.044715 * z**3)))


def waited(share: np.ndarray, total: np.ndarray, frail: np.ndarray) -> np.ndarray:
    """Give the time at which a cumulative hazard on GRID, times frail, is used up."""
    wanted = -np.log1p(-np.clip(share, 1e-12, 1 - 1e-12)) / frail
    time = np.interp(wanted, total, GRID)
    return np.where(wanted < total[-1], time, np.inf)


@dataclass(frozen=True)
class World:
    """Operators' log odds by kind of failing, the later season's, factors 0 or 1."""

    operator: dict[str, np.ndarray]
    harder: float
    factors: float
    shape: str

    def risks(self, courses: Courses) -> np.ndarray:
        """Give log odds of failing to lay, to keep alive, and to lay well."""
        who = np.array([self.operator[name] for name in courses["operator"].tolist()])
        meant = np.array([DOSES[name] for name in courses["protocol"].tolist()])
        dose = meant * (1 + courses["slip"])
        drones = (courses["drone_age_days"] - 19) / 8
        stored = courses["semen_age_h"] / 48
        begin = np.exp(-courses["case"] / 25)
        single = courses["co2_schedule"] == "one"
        to_lay = 0.3 * drones**2 + 0.3 * stored + 0.5 * begin + 0.3 * single
        to_live = 0.06 * (dose - 8) + 0.3 * begin
        to_brood = 0.35 * drones**2 + 0.4 * stored - 0.14 * (dose - 8)
        planted = np.stack((to_lay - 0.4, to_live, to_brood - 0.3), axis=1)
        season = self.harder * (courses["year"] == YEARS[1])[:, None]
        shared = courses["graft_frailty"][:, None] * [0.9, 0.5, 0.6]
        pooled = courses["semen_frailty"][:, None] * [0.3, 0.1, 1.0]
        return who + self.factors * planted + season + shared + pooled

    def lives(
        self, courses: Courses, rng: np.random.Generator, until: int = HORIZON
    ) -> Lives:
        """Draw a life for every course: all its times at once."""
        n, (lay, live, brood) = len(courses["d0"]), self.risks(courses).T
        z = np.linalg.cholesky(ALIKE) @ rng.standard_normal((6, n))
        z = dict(zip(SCORES, z, strict=True))
        u = rng.random((8, n))
        slow = 1.25 ** (self.factors * (courses["co2_schedule"] == "one"))
        onset = 2 + slow * np.exp(0.1 * lay) * self._onset(z["onset"], u[0])
        onset[normal_share(z["never"]) > 1 / (1 + np.exp(lay - 2.7))] = np.inf

        born = (courses["d0"] - courses["d0"].astype("datetime64[Y]")).astype(int)
        worn = 0.045 * (1 - np.exp(-GRID / 4)) + 0.0008 * GRID
        worn = worn + 0.05 / (1 + np.exp((215 - GRID) / 20))
        death = waited(normal_share(z["death"]), worn, np.exp(0.7 * live))
        doubted = 0.075 * (1 - np.exp(-((GRID / 32) ** 2))) + 0.10 * GRID / 365
        doubted = doubted + 0.03 / (1 + np.exp((300 - GRID) / 15))
        tired = np.exp(0.6 * brood + 0.002 * (born - 170))
        replaced = onset + waited(normal_share(-z["kept"]), doubted, tired)

        sperm = 3.9 + 1.25 * z["sperm"] - 0.5 * brood
        left = np.clip(sperm - 1.2, 0, None)
        drone = onset + np.where(left > 0, 14 + 110 * left + 160 * left**2, 10)
        noticed = drone + 1 - 25 * np.log(u[1])
        level = 88 + 6.5 * z["pattern"] - 2.5 * brood
        tried = np.where(onset < np.inf, onset + 32, 22)
        bad = np.where(onset < np.inf, (level < 70) & (u[2] < 0.6), u[2] < 0.75)
        culled = np.where(bad, tried - 18 * np.log(u[3]), np.inf)

        times = np.stack((death, replaced, noticed, culled))
        first = times.argmin(axis=0)
        kind = np.array(["dead", "superseded", "drone_layer", "culled_fault"])[first]
        kind = kind.astype("<U12")
        kind[(kind == "dead") & (u[4] < 0.5)] = "missing"
        kind[(kind == "drone_layer") & (u[4] < 0.25)] = "superseded"
        score = self._score(level, onset, drone, u[5], rng)
        whole = [_days(t) for t in (onset, drone, times.min(axis=0))]
        return Lives(*whole, kind, score).settled()

    def _onset(self, z: np.ndarray, u: np.ndarray) -> np.ndarray:
        """Give days to the first egg, over the least possible, by the station's law."""
        if self.shape == "lognormal":
            return np.exp(1.9 + 0.5 * z)
        if self.shape == "gamma":
            k = 3.0
            cube = np.clip(1 - 1 / (9 * k) + z / (3 * np.sqrt(k)), 0.05, None) ** 3
            return 2.5 * k * cube
        return np.where(u < 0.75, np.exp(1.7 + 0.25 * z), np.exp(2.65 + 0.25 * z))

    @staticmethod
    def _score(level, onset, drone, phase, rng) -> np.ndarray:
        """Give scores that swing slowly, and fall once drone brood is sealed."""
        swing = np.sin(GRID[:HORIZON] / 20 + 6.3 * phase[:, None])
        score = level[:, None] + 2 * swing
        score = score + 2 * rng.standard_normal(score.shape)
        fall = np.clip(GRID[:HORIZON] - np.minimum(drone, 9e5)[:, None] + 6, 0, 20)
        return np.clip(np.round(score - 2.5 * fall), 2, 100)


def _days(time: np.ndarray) -> np.ndarray:
    return np.where(time < HORIZON, np.ceil(np.minimum(time, HORIZON)), NEVER).astype(
        int
    )


def station(
    seed: int,
    *,
    courses: int = 600,
    as_of: str = "after",
    operators: int | None = None,
    null: bool = False,
    odds: dict[int, float] | None = None,
    harder: float = 0.35,
    shocks: float = 0.5,
    selling: float = 0.3,
    removals: bool = True,
    mnar: float = 1.0,
    stray: float = 0.08,
    onset: str | None = None,
) -> Station:
    """Make a station.

    Parameters
    ----------
    seed, courses, as_of, operators, null, odds, harder, removals, mnar
        As in `daily_states.station`.
    shocks : float
        Standard deviation of graft and of semen frailties.
    selling : float
        Share of the well-scored queens that every buyer's day takes, best first.
    stray : float
        Share of courses given a frame of brood, written down, at an early look.
    onset : str, optional
        lognormal, gamma or two (components); by the seed when not given.
    """
    rng = stream(NAME, seed, "design")
    count = operators or int(rng.integers(4, 9))
    effects = rng.multivariate_normal(
        np.zeros(3), 0.1 * np.eye(3) + 0.05, count, method="cholesky"
    )
    effects = effects * (not null)
    for place, times in (odds or {}).items():
        effects[place] = np.log(times)
    names = [f"Op{k + 1}" for k in range(count)]
    shape = onset or SHAPES[int(rng.integers(3))]
    world = World(dict(zip(names, effects, strict=True)), harder, 1.0 - null, shape)
    bench = _bench(rng, courses, names, shocks)
    lives = world.lives(bench, stream(NAME, seed, "lives"))
    looks = _looks(bench, lives, stream(NAME, seed, "looks"), mnar, stray)
    rng = stream(NAME, seed, "removals")
    away, why = _removed(bench, lives, looks, rng, selling)
    if not removals:
        away, why = np.full(courses, NEVER), np.full(courses, "", dtype="<U12")
    rng = stream(NAME, seed, "writing")
    last, exits = _ends(bench, lives, looks, rng, (away, why))
    records = _bench_rows(bench, lives, rng, mnar)
    records["placements"] = [
        {"queen_id": str(q), "colony_id": f"C{q}", "placed_on": d0, "removed_on": None}
        for q, d0 in zip(bench["queen_id"], bench["d0"].tolist(), strict=True)
    ]
    records["checks"] = _yard_rows(bench, looks, last)
    records["exits"] = [row for row in exits if row["reason"] != "lab only"]
    sperm = rng.normal(3.8, 1.2, courses).clip(0.2, 7.5).round(2)
    records["lab"] = [
        {
            "queen_id": str(bench["queen_id"][k]),
            "sampled_on": (bench["d0"][k] + away[k] * DAY).item(),
            "sperm_millions": float(sperm[k]),
        }
        for k in (why == "sampled").nonzero()[0]
    ]
    told = (bench, lives, away, why)
    return assembled(NAME, as_of, records, told, world)


def _bench(rng, courses, names, shocks) -> Courses:
    """Lay out two seasons graft by graft; a graft is done by one to three people."""
    parts = []
    for year, m in zip(YEARS, (courses // 2, courses - courses // 2), strict=True):
        grafts = max(5, m // 16)
        graft = np.sort(rng.integers(0, grafts, m))
        ready = np.sort(rng.beta(1.6, 2.2, grafts)) * 80 + 8
        d0 = (ready[graft] + rng.integers(0, 3, m)).astype(int)
        crew = rng.random((grafts, len(names))).argsort(axis=1)[:, :3]
        size = rng.integers(1, 4, grafts)
        who = crew[graft, (rng.random(m) * size[graft]).astype(int)]
        pool = d0 // 6
        age = rng.gamma(12, 1.8, pool.max() + 1).round().clip(13, 38).astype(int)
        policy = rng.dirichlet(np.full(4, 1.5), grafts).cumsum(axis=1)
        dose = (rng.random(m)[:, None] > policy[graft]).sum(axis=1).clip(max=3)
        hour = rng.integers(9, 18, m)
        parts.append(
            {
                "queen_id": np.array([f"{year}/{k + 1}" for k in range(m)]),
                "d0": np.datetime64(f"{year}-05-08") + d0 * DAY,
                "hour": hour,
                "year": np.full(m, year),
                "operator": np.array(names)[who],
                "protocol": np.array(list(DOSES))[dose],
                "slip": rng.normal(0, 0.04, m),
                "graft_batch": np.array([f"{year % 100}.{k}" for k in graft]),
                "semen_batch": np.array([f"P{year % 100}.{k}" for k in pool]),
                "line": np.array(["Slate", "Chalk"])[graft % 2],
                "drone_age_days": age[pool],
                "semen_age_h": (d0 % 6) * 24 + hour - 6,
                "queen_age_days": 7 + rng.binomial(5, 0.4, m),
                "co2_schedule": rng.choice(list(SCHEDULES), m, p=(0.55, 0.25, 0.2)),
                "instrument": rng.choice(["Bench 1", "Bench 2"], m),
                "tip": rng.choice(["long", "short", "new"], m),
                "marked": rng.random(m) < 0.95,
                "graft_frailty": rng.normal(0, shocks, grafts)[graft],
                "semen_frailty": rng.normal(0, shocks, pool.max() + 1)[pool],
            }
        )
    bench = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    bench["course_id"] = np.array([f"{q}/1" for q in bench["queen_id"]])
    bench["case"] = np.zeros(courses, dtype=int)
    order = np.lexsort((bench["hour"], bench["d0"]))
    for name in names:
        hers = order[bench["operator"][order] == name]
        bench["case"][hers] = np.arange(1, len(hers) + 1)
    return bench


def _plan(bench, lives, rng) -> np.ndarray:
    """Give the days of the looks meant for each queen, -1 where one fell out."""
    n = len(bench["d0"])
    usual = np.array([6, 10, 14, 21, 29, 42, 61, 64, 90])
    days = usual + np.round(rng.normal(0, 1.6, (n, len(usual)))).astype(int)
    days[:, 6:] += rng.integers(0, 4, (n, 1))
    days[rng.random(days.shape) < [0.3, 0.4, 0.2, 0.2, 0.35, 0.25, 0.2, 0.6, 0.25]] = -1
    # who found nothing comes back sooner
    unsure = (days >= 9) & (days < 30) & (lives.onset[:, None] > days)
    more = np.where(unsure & (rng.random(days.shape) < 0.4), days + 4, -1)
    year = bench["d0"].astype("datetime64[Y]")
    rounds = [(year + np.timedelta64(0, "Y")).astype("datetime64[D]") + 262 * DAY]
    spring = (year + np.timedelta64(1, "Y")).astype("datetime64[D]")
    rounds += [spring + day * DAY for day in (105, 128, 150, 171, 190, 205, 222, 240)]
    late = np.stack([(day - bench["d0"]).astype(int) for day in rounds], axis=1)
    late = late + rng.integers(-4, 5, late.shape)
    late[(rng.random(late.shape) < 0.25) | (late <= 100) | (late >= HORIZON)] = -1
    return np.concatenate((days, more, late), axis=1)


def _looks(bench, lives, rng, mnar, stray) -> dict[str, np.ndarray]:
    """Give what a look would note, on each planned day of each whole life."""
    days = np.sort(_plan(bench, lives, rng), axis=1)
    twice = np.zeros(days.shape, dtype=bool)
    twice[:, 1:] = days[:, 1:] == days[:, :-1]
    i, slot = ((days > 0) & ~twice).nonzero()
    d = days[i, slot]
    u = rng.random((10, len(i)))
    onset, end, reason = lives.onset[i], lives.end[i], lives.reason[i]
    heir = (reason == "superseded") & (d >= end)
    there = (d < end) | heir
    stop = np.where(reason == "superseded", NEVER, end)
    frame = np.where(
        rng.random(len(bench["d0"])) < stray,
        5 + rng.integers(0, 9, len(bench["d0"])),
        NEVER,
    )
    # the frame goes in at the first look on or after its day, if she does not lay yet
    first = np.full(len(bench["d0"]), NEVER)
    fits = (d >= frame[i]) & (d < 25) & (onset > d) & there
    np.minimum.at(first, i[fits], d[fits])
    given = d == first[i]
    after = d - first[i]
    other = (after >= 0) & (after < 13)
    seal = 8 + (i % 2)
    hers = {
        "eggs": (d >= onset) & (d < stop + 3),
        "larvae": (d >= onset + 3) & (d < stop + seal),
        "sealed": (d >= onset + seal) & (d < stop + 21),
    }
    seen = {
        "eggs": (hers["eggs"] & (u[0] < 0.96)) | given,
        "larvae": (hers["larvae"] & (u[1] < 0.99)) | ((after >= 0) & (after < 8)),
        "sealed": hers["sealed"] | other,
    }
    sharp = np.array([0.88, 0.76])[i % 2] - 0.04 * (onset > d)
    queen = there & (u[2] < sharp)
    marked = bench["marked"][i] & queen & (u[3] < np.where(heir, 0.8, 0.96))
    score = lives.score[i, d]
    clear = hers["sealed"] & ~((after >= 0) & (after < 22)) & (d <= end)
    drone = lives.drone[i]
    kind = np.where(drone <= d, "many", np.where(drone - 3 <= d, "few", "none"))
    kind = np.where(heir, "none", kind)
    scored = clear & (u[4] < 0.8 - 0.06 * mnar * (score < 80))
    stages = {name: noted(found, u[5] < 0.9) for name, found in seen.items()}
    stages["eggs"] = noted(seen["eggs"], u[6] < 0.97)
    return {
        "course": i,
        "day": d,
        "there": there,
        "checker": np.array(["Ch1", "Ch2"])[i % 2].astype(object),
        "queen_seen": noted(queen, u[7] < 0.95),
        "mark_seen": noted(~heir, marked & (u[7] < 0.95)),
        **stages,
        "brood_given": noted(given, given),
        "pattern_pct": noted(score.astype(int), scored & (u[5] < 0.9)),
        "drone_in_worker": noted(kind, clear & (u[5] < 0.9) & (u[8] < 0.92)),
    }


def _removed(bench, lives, looks, rng, selling):
    """Give when and why queens leave in hand; on a buyer's day the best scored go."""
    n = len(bench["d0"])
    doy = (bench["d0"] - bench["d0"].astype("datetime64[Y]")).astype(int)
    u = rng.random((5, n))
    winter = 365 - doy
    chance = {
        "moved": np.where(u[0] < 0.05, winter + rng.integers(-150, -60, n), NEVER),
        "culled_other": 1 + rng.exponential(4000, n).astype(int),
        "sampled": np.where(u[1] < 0.03, rng.integers(35, 80, n), NEVER),
        "colony_lost": np.where(u[2] < 0.07, winter + rng.integers(-40, 70, n), NEVER),
        "swarmed": np.where(u[3] < 0.05, winter + rng.integers(125, 175, n), NEVER),
    }
    days = np.array(list(chance.values()))
    days[days <= 0] = NEVER
    which = days.argmin(axis=0)
    away, why = days.min(axis=0), np.array(list(chance), dtype="<U12")[which]

    scored = np.array([s is not None for s in looks["pattern_pct"]]).nonzero()[0]
    on = bench["d0"][looks["course"][scored]] + looks["day"][scored] * DAY
    last, when = np.full(n, -1), np.full(n, np.datetime64("1970-01-01"))
    for buyer in sorted(
        np.datetime64(f"{year}-06-14") + day * DAY
        for year in YEARS
        for day in range(0, 100, 13)
    ):
        for k in scored[(on > buyer - 13 * DAY) & (on <= buyer)]:
            course = looks["course"][k]
            last[course], when[course] = looks["pattern_pct"][k], buyer
        day = (buyer - bench["d0"]).astype(int)
        open_ = (day >= 25) & (day < np.minimum(away, lives.end)) & (day < 150)
        stock = (open_ & (last >= 84) & (when >= buyer - 26 * DAY)).nonzero()[0]
        best = stock[np.argsort(-last[stock], kind="stable")][
            : int(selling * len(stock))
        ]
        away[best], why[best] = day[best], "sold"
    gone = away < np.minimum(lives.end, HORIZON)
    return np.where(gone, away, NEVER), np.where(gone, why, "")


def _ends(bench, lives, looks, rng, removed):
    """Give each course's last day in the records, and the exits that are written."""
    away, why = removed
    tell, exits, last = rng.random(len(away)), [], np.full(len(away), NEVER)
    after_end = telling(lives, looks)
    found: dict[int, list[int]] = {}
    for k, day in zip(looks["course"][after_end], looks["day"][after_end], strict=True):
        found.setdefault(int(k), []).append(int(day))
    for k, (end, fate) in enumerate(zip(lives.end.tolist(), lives.reason, strict=True)):
        reason = fate
        later, day = found.get(k, []), None
        if away[k] < NEVER:
            last[k] = day = int(away[k])
            silent = why[k] == "sampled" and tell[k] < 0.3
            reason = "lab only" if silent else why[k]
        elif reason in ("drone_layer", "culled_fault"):
            last[k] = day = end
        elif reason in ("dead", "missing"):
            soon = end <= 7 and reason == "dead"
            at = 0 if reason == "dead" else 1
            last[k] = end if soon else later[at] if len(later) > at else NEVER
            if tell[k] < (0.85 if soon else 0.55) and last[k] < NEVER:
                day = int(last[k])
        elif reason == "superseded" and later and tell[k] < 0.4:
            last[k] = day = later[0]
        if day is not None:
            left = (bench["d0"][k] + day * DAY).item()
            queen = str(bench["queen_id"][k])
            exits.append({"queen_id": queen, "left_on": left, "reason": str(reason)})
    return last, sorted(exits, key=lambda row: (row["left_on"], row["queen_id"]))


def _bench_rows(bench, lives, rng, mnar) -> Rows:
    """Write queens, semen, inseminations and CO2; losers' fields are blank more often."""
    n = len(bench["d0"])
    odd = 0.05 + 0.1 * mnar * ((lives.end <= 60) | (lives.onset > 21))
    blank = rng.random((6, n)) < odd
    minutes = rng.gamma(6, 0.7, n).round(1)
    rows: Rows = {"queens": [], "semen": [], "inseminations": [], "co2": []}
    pools: dict[str, dict] = {}
    for k in range(n):
        c = {name: column[k].item() for name, column in bench.items()}
        d0 = c["d0"]
        at = dt.datetime.combine(d0, dt.time(c["hour"], int(rng.integers(60))))
        emerged = d0 - dt.timedelta(c["queen_age_days"])
        rows["queens"].append(
            {
                "queen_id": c["queen_id"],
                "line": c["line"],
                "graft_batch": c["graft_batch"],
                "emerged_on": emerged,
                "marked": c["marked"],
                "mark": "disc" if c["marked"] else None,
            }
        )
        meant = DOSES[c["protocol"]]
        rows["inseminations"].append(
            {
                "insemination_id": f"I{c['queen_id']}",
                "queen_id": c["queen_id"],
                "inseminated_at": at,
                "operator": c["operator"],
                "instrument": None if blank[0, k] else c["instrument"],
                "tip": None if blank[1, k] else c["tip"],
                "semen_batch": c["semen_batch"],
                "dose_ul": None if blank[2, k] else round(meant * (1 + c["slip"]), 1),
                "dose_meant_ul": meant,
                "protocol": c["protocol"],
                "minutes": None if blank[3, k] else float(minutes[k]),
            }
        )
        collected = d0 - dt.timedelta(c["semen_age_h"] // 24)
        pools.setdefault(
            c["semen_batch"],
            {
                "semen_batch": c["semen_batch"],
                "collected_at": dt.datetime.combine(collected, dt.time(6)),
                "drones_emerged_from": collected
                - dt.timedelta(c["drone_age_days"] + 2),
                "drones_emerged_to": collected - dt.timedelta(c["drone_age_days"] - 2),
                "storage_c": 16,
            },
        )
        gap = SCHEDULES[c["co2_schedule"]]
        own = {"queen_id": c["queen_id"], "given_at": at, "minutes": float(minutes[k])}
        rows["co2"].append(own)
        if gap and not blank[4, k]:
            other = at + dt.timedelta(hours=gap + float(rng.integers(-3, 4)))
            rows["co2"].append({**own, "given_at": other, "minutes": 5})
    rows["semen"] = list(pools.values())
    return rows


def _yard_rows(bench, looks, last) -> list[dict]:
    keep = (looks["day"] <= last[looks["course"]]).nonzero()[0]
    i = looks["course"][keep]
    columns = {"colony_id": [f"C{q}" for q in bench["queen_id"][i]]}
    columns["checked_on"] = (bench["d0"][i] + looks["day"][keep] * DAY).tolist()
    fields = [name for name in looks if name not in ("course", "day", "there")]
    columns |= {name: looks[name][keep].tolist() for name in fields}
    return rows_of(columns, ("checked_on", "colony_id"))
