"""Foreign generator 3: a ledger of events that weather, forage and apiaries bring.

A calendar of warmth and nectar runs through both seasons. Queens begin once they have
had warmth enough, use up their sperm as they lay, are tried by their bees whenever the
flow stops, and die in mishaps that strike an apiary. Colonies are opened on dry days.
One flat bench sheet holds everything about a course; what it lacks goes with fate.
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

NAME = "ledger"
FIRST = np.datetime64("2025-01-01")
LENGTH = 1300
"""Days of the calendar, from FIRST."""
ARMS = {"low 7": 0.3, "mid 9": 0.0, "high 11": -0.15}
"""Log odds of failing that a dose protocol adds."""
APIARIES = ("Brook", "Hill", "Mill", "Wood")
DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class Calendar:
    """Days from FIRST: warmth units, whether bees find nectar, whether it stays dry.

    ``trials`` are the days on which a flow stops, ``rounds`` those of culling, and
    ``mishaps`` are (day, apiary, share of queens that it kills).
    """

    warmth: np.ndarray
    flow: np.ndarray
    dry: np.ndarray
    trials: list[int]
    rounds: list[int]
    mishaps: list[tuple[int, int, float]]

    @property
    def laid(self) -> np.ndarray:
        """Count the days before each day that were warm enough to lay on."""
        return np.concatenate(([0], (self.warmth > 0.2).cumsum()))


def _calendar(rng, harder: float) -> Calendar:
    """Draw the weather; the second season is colder and has more mishaps if harder."""
    days = np.arange(LENGTH)
    doy, second = days % 365, (days >= 365) & (days < 730)
    shake = rng.normal(0, 1, (2, LENGTH))
    for t in range(1, LENGTH):
        shake[:, t] = 0.85 * shake[:, t - 1] + 0.5 * shake[:, t]
    heat = 12 - 10 * np.cos(2 * np.pi * (doy - 20) / 365) + 3 * shake[0]
    warmth = np.clip((heat - 2.5 * harder * second - 6) / 11, 0.02, 1.6)
    spring = np.exp(-(((doy - 145) / 22) ** 2)) + 0.8 * np.exp(
        -(((doy - 195) / 20) ** 2)
    )
    flow = spring + 0.25 * shake[1]
    dry = shake[0] + rng.normal(0, 0.7, LENGTH) > -0.5
    stops = (flow[1:] < 0.3) & (flow[:-1] >= 0.3)
    season = (doy > 130) & (doy < 270)
    trials = [int(t) + 1 for t in stops.nonzero()[0] if season[t]]
    rounds = [365 * y + d for y in (0, 1, 2) for d in (172, 192, 213, 236, 262)]
    mishaps = []
    for year in (0, 1):
        for _ in range(rng.poisson(2 + 2 * harder * year)):
            when, where = rng.integers(150, 250), int(rng.integers(len(APIARIES)))
            mishaps.append((365 * year + int(when), where, rng.uniform(0.04, 0.2)))
    return Calendar(warmth, flow, dry, trials, rounds, mishaps)


@dataclass(frozen=True)
class World:
    """The calendar, operators' log odds of failing, the later season's, factors 0 or 1."""

    calendar: Calendar
    operator: dict[str, float]
    harder: float
    factors: float

    def risk(self, courses: Courses) -> np.ndarray:
        """Give each course's log odds of failing, over the station's usual."""
        who = [self.operator[name] for name in courses["operator"].tolist()]
        arm = np.array([ARMS[name] for name in courses["protocol"].tolist()])
        age = courses["drone_age_days"]
        planted = (
            arm
            + 0.05 * np.clip(age - 24, 0, None)
            + 0.12 * np.clip(17 - age, 0, None)
            + 0.3 * (courses["co2_schedule"] == "one")
            + 0.5 * (courses["case"] <= 15)
            - 0.35
        )
        season = self.harder * (courses["year"] == YEARS[1])
        return np.array(who) + self.factors * planted + season + courses["shock"]

    def lives(
        self, courses: Courses, rng: np.random.Generator, until: int = HORIZON
    ) -> Lives:
        """Draw a life for every course: its ledger of events, of which the first counts."""
        cal, n = self.calendar, len(courses["d0"])
        risk, t0 = self.risk(courses), (courses["d0"] - FIRST).astype(int)
        u, z = rng.random((10, n)), rng.standard_normal((3, n))
        kin = risk + 0.8 * z[0]
        begun = self._onset(t0, risk, rng)
        onset = np.where(u[0] < _chance(risk - 2.6), NEVER, begun - t0)
        drone = self._drone(begun, onset, t0, 5.9 + 0.9 * z[1] - 0.35 * risk, u[1])
        level = 88.5 - 2.5 * kin + 5 * z[2]

        dearth = cal.flow[t0] < 0.3
        fought = u[2] < _chance(0.7 * risk - 3.0 + 0.7 * dearth)
        worn = rng.geometric(np.minimum(0.0006 * np.exp(0.4 * risk), 0.5))
        frost = 365 * (1 + (t0 >= 365)) + rng.integers(-20, 60, n) - t0
        frozen = u[3] < 0.07 * np.exp(0.5 * risk)
        tried = onset + 12 + rng.gamma(3, 9, n).astype(int)
        ledger = [
            (np.where(fought, 1 + rng.exponential(3.5, n).astype(int), NEVER), "lost"),
            (worn, "lost"),
            (np.where(frozen, frost, NEVER), "lost"),
            (np.where(u[4] < _chance(0.9 * kin - 3.1), tried, NEVER), "superseded"),
        ]
        for when, where, share in cal.mishaps:
            struck = (courses["apiary"] == where) & (when > t0)
            struck &= rng.random(n) < share
            ledger.append((np.where(struck, when - t0, NEVER), "lost"))
        for when in cal.trials:
            ripe = (when - t0 > onset + 15) & (rng.random(n) < _chance(0.9 * kin - 4.2))
            later = when - t0 + rng.integers(5, 20, n)
            ledger.append((np.where(ripe, later, NEVER), "superseded"))
        for when in cal.rounds:
            day, coin = when - t0, rng.random(n)
            dud = (day >= 23) & (onset > day) & (coin < 0.5)
            poor = (day > onset + 32) & (level < 68) & (coin < 0.5)
            spent = (day >= drone) & (coin < 0.55)
            ledger.append((np.where(spent, day, NEVER), "drone_layer"))
            ledger.append((np.where((dud | poor) & ~spent, day, NEVER), "culled_fault"))
        days = np.array([day for day, _ in ledger])
        first = days.argmin(axis=0)
        kinds = np.array([kind for _, kind in ledger], dtype="<U12")[first]
        kinds[(kinds == "lost") & (u[5] < 0.45)] = "dead"
        kinds[kinds == "lost"] = "missing"
        end = np.where(days.min(axis=0) < HORIZON, days.min(axis=0), NEVER)
        onset = np.where(onset < HORIZON, onset, NEVER)
        drone = np.where(drone < HORIZON, drone, NEVER)
        return Lives(
            onset, drone, end, kinds, self._score(level, drone, t0, rng)
        ).settled()

    def _onset(self, t0, risk, rng) -> np.ndarray:
        """Give the calendar day of the first egg, if she ever lays."""
        cal = self.calendar
        heat = np.concatenate(([0], cal.warmth.cumsum()))
        need = 1.5 * rng.gamma(5, 1, len(t0)) * np.exp(0.12 * risk)
        begun = np.searchsorted(heat, heat[t0 + 3] + need)
        warm = (cal.warmth > 0.2).nonzero()[0]
        return warm[np.minimum(np.searchsorted(warm, begun), len(warm) - 1)]

    def _drone(self, begun, onset, t0, stock, coin) -> np.ndarray:
        """Give the day of drone-laying: at once, or once the sperm is used up."""
        used = np.concatenate(([0], self.calendar.warmth.cumsum()))
        over = np.searchsorted(used, used[begun] + np.exp(stock)) - t0
        drone = np.where(coin < 0.012, onset + 10, over + 14)
        return np.where(onset < NEVER, drone, NEVER)

    def _score(self, level, drone, t0, rng) -> np.ndarray:
        """Give scores, a little lower in a dearth, falling in front of drone-laying."""
        days = np.arange(HORIZON)
        lean = self.calendar.flow[t0[:, None] + days] < 0.3
        score = level[:, None] - 1.5 * lean + 2 * rng.standard_normal(lean.shape)
        fall = np.clip(days - drone[:, None] + 6, 0, 20)
        return np.clip(np.round(score - 2.5 * fall), 0, 100)


def _chance(log_odds):
    return 1 / (1 + np.exp(-log_odds))


def station(
    seed: int,
    *,
    courses: int = 600,
    as_of: str = "after",
    operators: int | None = None,
    null: bool = False,
    odds: dict[int, float] | None = None,
    harder: float = 0.4,
    shocks: float = 0.6,
    selling: float = 0.3,
    removals: bool = True,
    mnar: float = 1.0,
    stray: float = 0.01,
) -> Station:
    """Make a station.

    Parameters
    ----------
    seed, courses, as_of, operators, null, odds, removals
        As in `daily_states.station`.
    harder : float
        Log odds of failing that the second season adds; its weather goes with it.
    shocks : float
        Scale of graft and semen shocks, which have heavy tails; half of the seasons
        have one graft that goes wrong altogether.
    selling : float
        Chance that a queen is sold after an opening with a good score.
    mnar : float
        How much more is left unwritten about losers, poor brood and empty colonies.
    stray : float
        Share of courses in colonies whose old brood nobody wrote down.
    """
    rng = stream(NAME, seed, "design")
    count = operators or int(rng.integers(4, 9))
    names = [f"Op{k + 1}" for k in range(count)]
    effect = rng.uniform(-0.6, 0.6, count) * (not null)
    for place, times in (odds or {}).items():
        effect[place] = np.log(times)
    who = dict(zip(names, effect.tolist(), strict=True))
    calendar = _calendar(stream(NAME, seed, "weather"), harder)
    world = World(calendar, who, harder, 1.0 - null)
    book = _sessions(rng, courses, names, shocks, calendar.dry)
    lives = world.lives(book, stream(NAME, seed, "lives"))

    rng = stream(NAME, seed, "openings")
    old = rng.random(courses)
    seen = _openings(book, lives, calendar, rng, (mnar, old < 0.18 + stray))
    rng = stream(NAME, seed, "removals")
    away, why = _removed(book, lives, seen, rng, selling)
    if not removals:
        away, why = np.full(courses, NEVER), np.full(courses, "", dtype="<U12")
    rng = stream(NAME, seed, "writing")
    last, exits = _closed(book, lives, seen, rng, (away, why))
    records: Rows = {
        "inseminations": _bench_sheet(book, lives, rng, mnar),
        "placements": _stays(book, last, old < 0.18),
        "checks": _opening_rows(book, seen, last),
        "exits": exits,
    }
    told = (book, lives, away, why)
    return assembled(NAME, as_of, records, told, world)


def _sessions(rng, courses, names, shocks, dry) -> Courses:
    """Lay out bench sessions on dry days: mostly one operator, one graft, one pool."""
    parts = []
    popular = 1 / np.arange(1, len(names) + 1) ** 0.6
    for year, m in zip(YEARS, (courses // 2, courses - courses // 2), strict=True):
        start = 365 * (year - YEARS[0])
        usable = start + 128 + dry[start + 128 : start + 210].nonzero()[0]
        many = max(5, m // 15)
        when = np.sort(rng.choice(usable, many, replace=False))
        at = np.sort(rng.integers(0, many, m))
        chief = rng.choice(len(names), many, p=popular / popular.sum())
        helper = rng.integers(0, len(names), many)
        who = np.where(rng.random(m) < 0.65, chief[at], helper[at])
        graft = np.where(rng.random(m) < 0.7, at, np.maximum(at - 1, 0))
        bad = shocks * 0.7 * np.clip(rng.standard_t(3, many), -3, 3)
        if rng.random() < 0.5:
            bad[rng.integers(many)] = 4 * shocks
        pooled = shocks * 0.4 * np.clip(rng.standard_t(3, many), -3, 3)
        order = rng.random(m).argsort()
        arm = np.empty(m, dtype=int)
        arm[order[np.argsort(at[order], kind="stable")]] = np.arange(m) % 3
        yard = (rng.integers(0, 4, many)[at] + (rng.random(m) < 0.3)) % 4
        parts.append(
            {
                "queen_id": np.array([f"{year % 100}A{k + 1}" for k in range(m)]),
                "d0": FIRST + when[at] * DAY,
                "year": np.full(m, year),
                "operator": np.array(names)[who],
                "protocol": np.array(list(ARMS))[arm],
                "graft_batch": np.array([f"g{year % 100}{k:03d}" for k in graft]),
                "semen_batch": np.array([f"s{year % 100}{k:03d}" for k in at]),
                "line": np.array(["Amber", "Jet", "Pearl", "Opal"])[graft % 4],
                "drone_line": np.array(["Amber", "Jet"])[at % 2],
                "drone_age_days": rng.integers(13, 36, many)[at],
                "queen_age_days": rng.integers(6, 15, m),
                "co2_schedule": rng.choice(
                    ["before", "after", "one"], m, p=(0.4, 0.35, 0.25)
                ),
                "apiary": yard,
                "marked": rng.random(m) < 0.88,
                "shock": bad[graft] + pooled[at],
            }
        )
    book = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    book["course_id"] = np.array([f"{q}/1" for q in book["queen_id"]])
    book["case"] = np.zeros(courses, dtype=int)
    for name in names:
        hers = book["operator"] == name
        book["case"][hers] = np.arange(1, hers.sum() + 1)
    return book


def _visits(calendar, rng) -> list[tuple[int, int, bool]]:
    """Give the days on which an apiary is visited, and whether in a hurry."""
    visits = []
    for apiary in range(len(APIARIES)):
        last, gap = 0, 7
        for t in range(LENGTH):
            doy = t % 365
            if not (95 < doy < 290 and calendar.dry[t] and t - last >= gap):
                continue
            last, gap = t, int(rng.integers(5, 12)) * (1 + (doy > 245))
            if rng.random() > 0.03:  # a sheet of the visits now and then is lost
                visits.append((t, apiary, bool(rng.random() < 0.35)))
    return visits


def _opened(book, lives, calendar, rng):
    """Give which colony was opened on which day of the calendar, and if in a hurry."""
    t0 = (book["d0"] - FIRST).astype(int)
    whom, when, hasty = [], [], []
    for t, apiary, hurried in _visits(calendar, rng):
        day = t - t0
        open_ = (book["apiary"] == apiary) & (day >= 4) & (day < HORIZON)
        open_ &= rng.random(len(t0)) < np.where(day < 75, 0.92, 0.55)
        here = open_.nonzero()[0]
        whom.append(here)
        when.append(np.full(len(here), t))
        hasty.append(np.full(len(here), hurried))
    culled = np.isin(lives.reason, ("culled_fault", "drone_layer")).nonzero()[0]
    i = np.concatenate((*whom, culled))
    t = np.concatenate((*when, t0[culled] + lives.end[culled]))
    hurry = np.concatenate((*hasty, np.zeros(len(culled), dtype=bool)))
    _, once = np.unique(i * LENGTH * 2 + t, return_index=True)
    return i[once], t[once], hurry[once]


def _openings(book, lives, calendar, rng, told) -> dict[str, np.ndarray]:
    """Give what is noted whenever a colony is opened, removals away."""
    mnar, old = told
    t0 = (book["d0"] - FIRST).astype(int)
    i, t, hurry = _opened(book, lives, calendar, rng)
    d, end, reason = t - t0[i], lives.end[i], lives.reason[i]
    heir = (reason == "superseded") & (d >= end)
    culls = np.isin(reason, ("culled_fault", "drone_layer")) & (d == end)
    there = (d < end) | heir | culls
    begun = np.minimum(t0[i] + np.minimum(lives.onset[i], LENGTH), LENGTH)
    stop = np.where(heir, LENGTH, np.minimum(t0[i] + np.minimum(end, LENGTH), LENGTH))
    laid, seal = calendar.laid, 8 + rng.integers(0, 2, len(t0))[i]

    def stage(youngest, oldest):
        low = np.clip(t - oldest, begun, LENGTH)
        return laid[np.clip(t - youngest + 1, low, np.maximum(stop, low))] > laid[low]

    before = old[i]
    u = rng.random((10, len(i)))
    sealed_hers = stage(seal, 20)
    eggs = stage(0, 2) & (u[0] < np.where(hurry, 0.9, 0.98))
    larvae = (stage(3, seal - 1) & (u[1] < 0.98)) | (before & (d <= seal - 1))
    sealed = sealed_hers | (before & (d <= 20))
    seen = there & (u[2] < np.where(hurry, 0.62, 0.88))
    marks = seen & book["marked"][i] & (u[3] < np.where(heir, 0.8, 0.93))
    score = lives.score[i, d]
    poor = score < 80
    clear = sealed_hers & ~(before & (d <= 21)) & (d <= end)
    kind = np.where(lives.drone[i] <= d, "many", "none").astype("<U4")
    kind[(lives.drone[i] - 4 <= d) & (d < lives.drone[i])] = "few"
    looked = ~hurry | (u[4] < 0.7)
    idle = ~there & ~eggs & ~larvae & ~sealed
    brooded = np.where(looked, 0.95, 0.6)
    return {
        "course": i,
        "day": d,
        "there": there,
        "written": (u[5] > 0.25 * mnar * idle),
        "queen_seen": noted(seen, u[6] < np.where(looked, 0.93, 0.75)),
        "mark_seen": noted(~heir, marks & (u[6] < 0.75)),
        "eggs": noted(eggs, u[7] < 0.97),
        "larvae": noted(larvae, u[8] < brooded),
        "sealed": noted(sealed, u[8] < brooded),
        "pattern_pct": noted(
            score.astype(int),
            clear & (u[8] < brooded) & (u[9] < 0.8 - 0.08 * mnar * poor),
        ),
        "drone_in_worker": noted(kind, clear & (u[8] < brooded) & (u[9] < 0.9)),
    }


def _removed(book, lives, seen, rng, selling):
    """Give when and why queens leave in hand; some lines sell better than others."""
    n = len(book["d0"])
    i, d = seen["course"], seen["day"]
    score = np.array([-1 if s is None else s for s in seen["pattern_pct"]])
    liked = np.where(np.isin(book["line"], ("Amber", "Opal")), 1.3, 0.8)[i]
    ordered = (score >= 84) & (d >= 27) & seen["written"]
    ordered &= rng.random(len(i)) < selling * liked
    sold = np.full(n, NEVER)
    np.minimum.at(sold, i[ordered], d[ordered])
    t0 = (book["d0"] - FIRST).astype(int)
    u, year = rng.random((5, n)), 365 * (t0 // 365)
    flooded, taken = rng.integers(0, len(APIARIES), 2)
    flood, leave = 365 + rng.integers(20, 60), 365 + rng.integers(60, 85)
    surplus = year + 265 + rng.integers(0, 8, n) - t0
    events = {
        "sold": sold,
        "culled_other": np.where(u[0] < 0.08, surplus, NEVER),
        "sampled": np.where(u[1] < 0.02, rng.integers(30, 90, n), NEVER),
        "colony_lost": np.where(
            (book["apiary"] == flooded) & (u[2] < 0.4), flood - t0, NEVER
        ),
        "moved": np.where((book["apiary"] == taken) & (u[3] < 0.7), leave - t0, NEVER),
        "swarmed": np.where(
            u[4] < 0.05, year + 365 + rng.integers(125, 160, n) - t0, NEVER
        ),
    }
    days = np.array(list(events.values()))
    days[days <= 0] = NEVER
    which, away = days.argmin(axis=0), days.min(axis=0)
    gone = away < np.minimum(lives.end, HORIZON)
    why = np.where(gone, np.array(list(events), dtype="<U12")[which], "")
    return np.where(gone, away, NEVER), why


def _closed(book, lives, seen, rng, removed):
    """Give each course's last day in the records, and the exits that are written."""
    away, why = removed
    n, tell = len(away), rng.random(len(away))
    exits, last = [], np.full(n, NEVER)
    late = seen["written"] & telling(lives, seen)
    found: list[list[int]] = [[] for _ in range(n)]
    for k, day in zip(seen["course"][late], seen["day"][late], strict=True):
        found[k].append(int(day))
    for k in range(n):
        reason, day = str(lives.reason[k]), None
        if away[k] < NEVER:
            reason, last[k] = str(why[k]), away[k]
            day = int(away[k]) if tell[k] < 0.97 else None
        elif reason:
            last[k], day = _told(reason, int(lives.end[k]), found[k], tell[k])
        if day is not None:
            left = (book["d0"][k] + day * DAY).item()
            row = {"queen_id": str(book["queen_id"][k]), "left_on": left}
            exits.append({**row, "reason": reason})
    return last, sorted(exits, key=lambda row: (row["left_on"], row["queen_id"]))


def _told(reason: str, end: int, later: list[int], tell: float):
    """Give the last day of an ended queen's records, and the day of her exit or None."""
    if reason in ("culled_fault", "drone_layer"):
        return end, end
    if reason == "superseded":
        return NEVER, later[0] if later and tell < 0.35 else None
    if reason == "dead" and end <= 10 and tell < 0.6:
        return end, end
    seen = later[:1] if reason == "dead" and tell < 0.7 else later[:3]
    final = seen[-1] if seen else NEVER
    return final, final if seen and tell < 0.6 else None


def _bench_sheet(book, lives, rng, mnar) -> list[dict]:
    """Write the flat bench sheet; more cells are empty for those that came to nothing."""
    n = len(book["d0"])
    loser = (lives.end <= 60) | (lives.onset > 21)
    blank = rng.random((6, n)) < 0.04 + 0.14 * mnar * loser
    clock = np.zeros(n, dtype=int)
    turn: dict[tuple, int] = {}
    rows = []
    for k in range(n):
        c = {name: column[k].item() for name, column in book.items()}
        d0, bench = c["d0"], (c["d0"], c["operator"])
        clock[k] = turn[bench] = turn.get(bench, -1) + 1
        at = dt.datetime.combine(d0, dt.time(9)) + dt.timedelta(
            minutes=12 * int(clock[k])
        )
        gap = {"before": -24, "after": 24, "one": None}[c["co2_schedule"]]
        other = None
        if gap and not blank[0, k] and lives.end[k] > (gap > 0):
            other = at + dt.timedelta(hours=gap)
        rows.append(
            {
                "queen_id": c["queen_id"],
                "inseminated_at": at,
                "operator": c["operator"],
                "semen_batch": c["semen_batch"],
                "dose_ul": None if blank[1, k] else float(c["protocol"].split()[1]),
                "protocol": None if blank[2, k] and blank[1, k] else c["protocol"],
                "attempts": None if blank[3, k] else int(1 + (rng.random() < 0.15)),
                "line": c["line"],
                "graft_batch": c["graft_batch"],
                "emerged_on": d0 - dt.timedelta(c["queen_age_days"]),
                "marked": c["marked"],
                "drone_line": c["drone_line"],
                "drone_age_days": None if blank[4, k] else c["drone_age_days"],
                "collected_at": dt.datetime.combine(d0, dt.time(6, 30)),
                "co2_other_at": other,
            }
        )
    return sorted(rows, key=lambda row: (row["inseminated_at"], row["queen_id"]))


def _stays(book, last, old) -> list[dict]:
    """Write who was put where; taken out where her records end."""
    rows = []
    for k, d0 in enumerate(book["d0"].tolist()):
        where = APIARIES[book["apiary"][k]]
        gone = d0 + dt.timedelta(int(last[k])) if last[k] < NEVER else None
        rows.append(
            {
                "queen_id": str(book["queen_id"][k]),
                "colony_id": f"{where} {k + 1}",
                "placed_on": d0,
                "removed_on": gone,
                "brood_present": True if old[k] else None,
            }
        )
    return rows


def _opening_rows(book, seen, last) -> list[dict]:
    keep = seen["written"] & (seen["day"] <= last[seen["course"]])
    i = seen["course"][keep]
    fields = [f for f in seen if f not in ("course", "day", "there", "written")]
    columns = {"queen_id": book["queen_id"][i].tolist()}
    columns["colony_id"] = [f"{APIARIES[book['apiary'][k]]} {k + 1}" for k in i]
    columns["checked_on"] = (book["d0"][i] + seen["day"][keep] * DAY).tolist()
    columns |= {name: seen[name][keep].tolist() for name in fields}
    return rows_of(columns, ("checked_on", "queen_id"))
