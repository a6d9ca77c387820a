"""A foreign generator: a store of sperm drawn down, and a colony that makes up its mind.

Nothing here is a rate multiplied by factors. What it assumes:

* **Weather is shared.** Nectar flow wanders from day to day for the whole station. A queen
  begins to lay when the days since her introduction add up to what she needs; a week of
  dearth therefore holds up every queen at once, and some wait for one good week. CO2 given
  once leaves part of the queens, not all, far from it; a few never lay.
* **A dose fills a store that saturates.** Volume x the semen's worth (batch, and drones
  that are too young or too old) x the operator's hand, which beginners improve in x the
  instrument, which wears until it is serviced. In a few queens most of it stays behind.
  Eggs draw the store down, a full store wastefully; when little is left eggs go
  unfertilised, so that drone-laying comes of arithmetic, weeks or a winter later.
* **An introduction fails past a limit** of strains that add up: nucleus, dearth, a light
  queen, brood of another's. Death of the operation comes with dirty semen and rough hands.
* **The brood's pattern wanders** with the colony, is small at first, suffers from kinship of
  line and drone line (each pair of batches its own amount) and follows the fertile share.
* **A colony remembers.** It replaces its queen on a mean of the brood that it has seen
  lately: soon after introduction, in a surge of late summer and a little in spring. She
  vanishes some weeks after it began. A laying queen who dies in the season is replaced by
  her own daughter, which counts as superseded; in winter nobody can.
* **Batches share luck** (weight of a graft, dirt and worth of semen); a third arm comes in
  the second year; operators send their queens to some yards more than to others, and in
  half of the stations none of them has another hand than the rest.
* **Yards are kept by different people**: weekly, seldom, hardly ever, or on a hunch, when a
  colony looks wrong from outside before anybody opens it. What was found good is opened
  less and sold early; "ok" is written as eggs alone; marks, scores and drones in worker
  cells are not always looked at; nobody looks in winter; a daughter's brood is scored as
  hers by who did not look for the mark; some losses are never written, and the looks end.
  Sales, and one keeper's notebook, are entered weeks late: what was not entered by the day
  is not there. Whatever is there was seen on its day.
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
)

NAME = "reserves"
BEGIN = np.datetime64("2025-01-01")
DAYS = 365 * 3
DAY = np.timedelta64(1, "D")
LINES = ("Tarn", "Fell", "Beck", "Gill")
YARDS = ("Long Dyke", "Old Pit", "Kiln", "Far Lea", "Weir")
DOSES = {"6 single": 6.0, "8 single": 8.0, "11 single": 11.0}
SCHEDULES = ("one", "before", "after")
REASONS = np.array(
    ["dead", "missing", "culled_fault", "superseded", "drone_layer", "missing"]
)


@dataclass(frozen=True)
class Reserves:
    """The fixed truth of a station.

    Attributes
    ----------
    flow : ndarray
        Nectar flow of each day from 1 January 2025, mean 0.
    hands : dict of str to dict of str to float
        Of each operator: what reaches the queen, its lack at first, roughness, first day.
    wear : dict of str to ndarray
        Of each instrument, the share delivered by day.
    weights, worths, dirt, kinship : dict of str to float
        Of graft batches, of semen batches (twice), of lines with drone lines.
    yards : ndarray of float
        Strength of each yard's nuclei.
    plain : bool
        Whether all operators have the same hand.
    """

    flow: np.ndarray
    hands: dict[str, dict[str, float]]
    wear: dict[str, np.ndarray]
    weights: dict[str, float]
    worths: dict[str, float]
    dirt: dict[str, float]
    kinship: dict[str, float]
    yards: np.ndarray
    plain: bool

    def lives(
        self, courses: Courses, rng: np.random.Generator, until: int = HORIZON
    ) -> Lives:
        """Draw a life for every course, from its columns alone, until a day at least."""
        n = len(courses["d0"])
        luck = {
            "z": rng.normal(size=(10, n)),
            "u": rng.random((12, n)),
            "e": rng.exponential(size=(8, n)),
            "wander": rng.normal(size=(HORIZON, n))[:until],
            "eye": rng.normal(size=(HORIZON, n))[:until],
        }
        queen = self._queen(courses, luck)
        course = _Course(self, queen, luck, until)
        for day in range(until):
            course.step(day)
        return course.told(self._early(courses, queen, luck))

    def _queen(self, courses: Courses, luck: dict) -> dict[str, np.ndarray]:
        """Give what she begins with: her weight, her store, what she needs to lay."""
        z, u = luck["z"], luck["u"]
        first = (courses["d0"] - BEGIN).astype(int)
        hand = {k: _of(self.hands, courses["operator"], k) for k in ("reach", "rough")}
        weight = _of(self.weights, courses["graft_batch"]) + 0.9 * z[0]
        into = _of(DOSES, courses["protocol"]) * self._reach(courses, first)
        into = into * _of(self.worths, courses["semen_batch"])
        into = into * _worth_of_age(courses["drone_age_days"])
        store = 5.6 * (1 - np.exp(-into / 6.0)) * np.exp(0.3 * z[1] + 0.06 * weight)
        behind = u[0] < 0.025 + 0.02 * (into < 4.0)
        store = np.where(behind, store * (0.02 + 0.25 * u[1]), store)
        one = courses["co2_schedule"] == "one"
        far = one & (u[2] < 0.34)
        need = np.exp(
            0.3 * z[2] - 0.05 * weight + 0.35 * hand["rough"] + 0.5 * far
            + 0.06 * (courses["co2_schedule"] == "after")
        )  # fmt: skip
        need = np.where(u[3] < 0.06, need * (1.6 + 2.4 * u[4]), need)
        never = u[5] < 0.035 + 0.03 * far + 0.04 * (weight < -1.3)
        kin = _of(self.kinship, _pairs(courses))
        return {
            "first": first,
            "weight": weight,
            "rough": hand["rough"],
            "store": store,
            "need": np.where(never, np.inf, 9.3 * need),
            "never": never,
            "base": 90.6 + 1.2 * weight - kin + 2.8 * z[3],
            "gain": 0.7 + 0.6 * u[6],
        }

    def _reach(self, courses: Courses, first: np.ndarray) -> np.ndarray:
        """Give the share of a dose that arrives, by hand, by time and by instrument."""
        op = courses["operator"]
        since = np.maximum(first - _of(self.hands, op, "since"), 0)
        lack = _of(self.hands, op, "lack") * np.exp(-since / 45)
        worn = [
            self.wear[name][day]
            for name, day in zip(courses["instrument"].tolist(), first, strict=True)
        ]
        return _of(self.hands, op, "reach") * (1 - lack) * np.array(worn)

    def _early(self, courses: Courses, queen: dict, luck: dict):
        """Give days and reasons of ends of the introduction and of the operation."""
        z, u, e = luck["z"], luck["u"], luck["e"]
        strength = self.yards[courses["yard"]] + 0.35 * self.flow[queen["first"]]
        strain = (
            z[4] - 0.45 * strength - 0.35 * queen["weight"] + 0.3 * courses["old_brood"]
            + 0.12 * (courses["queen_age_days"] > 12)
        )  # fmt: skip
        refused = np.where(strain > 1.85, 1 + np.floor(2.4 * e[0]), NEVER)
        dirt = _of(self.dirt, courses["semen_batch"])
        load = 0.02 + dirt + 0.06 * queen["rough"]
        ill = np.where(
            u[7] < 1 - np.exp(-load), 2 + np.floor(3.0 * (e[1] + e[2])), NEVER
        )
        day = np.minimum(refused, ill)
        return day, np.where(u[8] < 0.45, "dead", "missing")


class _Course:
    """Every course of a call, brought on by one day at a time."""

    def __init__(self, world: Reserves, queen: dict, luck: dict, until: int) -> None:
        n = len(queen["first"])
        self.world, self.queen, self.luck, self.until = world, queen, luck, until
        self.warm, self.rate, self.mood, self.cold = _year()
        self.store = queen["store"].copy()
        self.sum, self.wander = np.zeros(n), luck["z"][5].copy()
        self.content, self.poor = np.full(n, 0.6), np.zeros(n)
        self.onset, self.drone = np.full(n, NEVER), np.full(n, NEVER)
        self.fertile = np.ones((until, n))
        self.score = np.zeros((until, n))
        self.due = {
            name: np.zeros(n) for name in ("replace", "cull", "season", "winter")
        }
        self.day = {name: np.full(n, NEVER) for name in self.due}

    def step(self, t: int) -> None:
        """Go one day on."""
        day = self.queen["first"] + t
        flow = self.world.flow[day] * self.queen["gain"]
        self.sum += np.clip(1 + 0.38 * flow, 0.12, 2.0) * self.warm[day] * (t > 0)
        begins = (self.onset == NEVER) & (self.sum >= self.queen["need"]) & (t >= 3)
        self.onset[begins] = t
        laying = self.onset <= t
        self._draw_down(t, day, laying)
        self._look_of_brood(t, flow)
        self._opinions(t, day, laying)

    def _draw_down(self, t: int, day: np.ndarray, laying: np.ndarray) -> None:
        eggs = np.where(laying, self.rate[day], 0.0)
        self.store *= 0.9992
        self.store -= eggs * (0.0035 + 0.0022 * self.store)
        np.maximum(self.store, 0, out=self.store)
        self.fertile[t] = self.store**3 / (self.store**3 + 0.42**3)

    def _look_of_brood(self, t: int, flow: np.ndarray) -> None:
        sealed = t - self.onset - 9
        shown = self.fertile[max(t - 8, 0)]
        self.wander = 0.955 * self.wander + 0.296 * self.luck["wander"][t]
        small = np.where(sealed >= 0, 9 * np.exp(-np.maximum(sealed, 0) / 7), 0)
        score = self.queen["base"] + 4.6 * self.wander - small + 1.5 * flow
        score = score - 95 * (1 - shown) + 2.6 * self.luck["eye"][t]
        self.score[t] = np.clip(np.round(score), 3, 100)
        shows = (self.drone == NEVER) & (sealed >= 1) & (shown < 0.62)
        self.drone[shows] = t
        seen = sealed >= 0
        self.content += seen * ((self.score[t] - 82) / 11 - self.content) / 16
        self.poor += seen * ((self.score[t] < 58) - self.poor) / 10

    def _opinions(self, t: int, day: np.ndarray, laying: np.ndarray) -> None:
        e, since = self.luck["e"], t - self.onset
        young = np.where((since > 12) & (since < 45), 1.1, 0.0)
        dim = np.exp(-1.0 * self.content - 0.25 * self.queen["weight"])
        dim = np.minimum(dim, 12) * laying
        replace = dim * (self.mood[day] + 0.0014 * young * self.warm[day])
        cull = (self.poor > 0.55) * (since > 30) * 0.03 * self.warm[day]
        season = laying * 0.00022 * self.warm[day]
        winter = laying * 0.00045 * self.cold[day] * (1 + (self.store < 0.8))
        rises = {"replace": replace, "cull": cull, "season": season, "winter": winter}
        for (name, rise), limit in zip(rises.items(), e[3:7], strict=True):
            self.due[name] += rise
            now = (self.day[name] == NEVER) & (self.due[name] >= limit)
            self.day[name][now] = t

    def told(self, early) -> Lives:
        """Give the lives, each with her first end."""
        u, z = self.luck["u"], self.luck["z"]
        replaced = self.day["replace"] + 15 + np.floor(7 * np.exp(0.6 * z[6]))
        # a daughter succeeds four of five laying queens who die in the season
        heir = u[9] < 0.8
        found = self.drone + 4 + np.floor(18 * self.luck["e"][7])
        barren = np.where(
            self.queen["never"] & (u[10] < 0.85), np.floor(30 + 32 * u[11]), NEVER
        )
        ends = np.stack(
            [
                np.where(early[1] == "dead", early[0], NEVER),
                np.where(early[1] == "missing", early[0], NEVER),
                np.minimum(self.day["cull"], barren),
                np.minimum(replaced, np.where(heir, self.day["season"], NEVER)),
                np.where(u[10] < 0.8, found, NEVER),
                np.minimum(
                    self.day["winter"], np.where(heir, NEVER, self.day["season"])
                ),
            ]
        )
        end = ends.min(axis=0)
        end = np.where(end < self.until, end, NEVER).astype(int)
        reason = np.where(end < NEVER, REASONS[ends.argmin(axis=0)], "")
        score = self.score.T.copy()
        return Lives(self.onset, self.drone, end, reason, score).settled()


def _year():
    """Give by day: warmth for laying, eggs, mood to replace, and winter."""
    doy = np.arange(DAYS + HORIZON) % 365
    warm = np.clip((doy - 85) / 25, 0, 1) * np.clip((285 - doy) / 25, 0, 1)
    rate = np.clip(np.sin((doy - 45) / 270 * np.pi), 0, None) ** 0.7
    surge = np.exp(-(((doy - 238) / 15) ** 2))
    spring = 0.35 * np.exp(-(((doy - 128) / 14) ** 2))
    mood = 0.0048 * (surge + spring + 0.1 * warm)
    cold = ((doy > 310) | (doy < 75)).astype(float)
    return warm, rate, mood, cold


def _worth_of_age(days: np.ndarray) -> np.ndarray:
    """Give the worth of semen of drones of an age: unripe, ripe, and then waning."""
    ripe = 1 / (1 + np.exp(-(days - 11.0) / 1.6))
    return ripe * np.exp(-np.maximum(days - 21.0, 0) / 26)


def _of(table: dict, keys: np.ndarray, field: str | None = None) -> np.ndarray:
    if field is None:
        return np.array([table[key] for key in keys.tolist()])
    return np.array([table[key][field] for key in keys.tolist()])


def _pairs(courses: Courses) -> np.ndarray:
    return np.char.add(np.char.add(courses["line"], "|"), courses["semen_batch"])


def _wandering(rng: np.random.Generator, n: int, keep: float) -> np.ndarray:
    steps, value = rng.normal(size=n), np.zeros(n)
    for day in range(1, n):
        value[day] = keep * value[day - 1] + np.sqrt(1 - keep**2) * steps[day]
    return value


def _weather(rng: np.random.Generator) -> np.ndarray:
    doy = np.arange(DAYS + HORIZON) % 365
    dearth = -0.9 * np.exp(-(((doy - 203) / 11) ** 2))
    main = 0.6 * np.exp(-(((doy - 160) / 14) ** 2))
    return 0.85 * _wandering(rng, len(doy), 0.9) + main + dearth


def _people(rng: np.random.Generator) -> tuple[dict, bool]:
    """Give operators' hands; in half of the stations all the same."""
    plain = bool(rng.random() < 0.5)
    hands = {}
    for k in range(int(rng.integers(4, 9))):
        late = rng.random() < 0.3
        hands[f"Op{k + 1}"] = {
            "reach": 0.9,
            "rough": 0.1,
            "lack": 0.0 if plain or not late else 0.4,
            "since": 500 if late else 120,
            "gone": 365 if not late and rng.random() < 0.2 else DAYS,
            "much": float(rng.gamma(3.0)),
        }
    if not plain:
        for name in rng.choice(
            list(hands), size=int(rng.integers(1, 3)), replace=False
        ):
            hands[name] |= {"reach": 0.62, "rough": 1.2}
    hands["Op1"] |= {"since": 120, "gone": DAYS, "much": 4.0}
    return hands, plain


def _equipment(rng: np.random.Generator) -> dict[str, np.ndarray]:
    wear = {}
    for name in ("north", "south"):
        share, now = np.ones(DAYS), 1.0
        for day in range(DAYS):
            now = 1.0 if rng.random() < 1 / 50 else now * (1 - 0.0035)
            share[day] = max(now, 0.7)
        wear[name] = share
    return wear


def _bench(rng: np.random.Generator, hands: dict, yards: int) -> Courses:
    """Draw who was inseminated when, by whom, with what, and where she went."""
    rows: list[dict] = []
    liking = {op: rng.dirichlet(np.full(yards, 2.5)) for op in hands}
    habit = {op: rng.dirichlet((2.0, 6.0, 6.0)) for op in hands}
    for year in YEARS:
        total, graft, start = int(rng.integers(265, 335)), 0, len(rows)
        opens = (np.datetime64(f"{year}-05-06") - BEGIN).astype(int)
        while len(rows) - start < total:
            graft += 1
            day = int(opens + rng.integers(0, 92))
            rows += _graft(rng, (year, graft, day), hands, (liking, habit))
    rows.sort(key=lambda row: row["day"])
    columns = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    columns["d0"] = BEGIN + columns.pop("day") * DAY
    years = columns["year"].tolist()
    ids = [f"{year % 100}-{k + 1:03d}" for k, year in enumerate(years)]
    columns["queen_id"] = np.array(ids)
    columns["course_id"] = np.array([f"{name}/1" for name in ids])
    return columns


def _graft(rng, when, hands: dict, ways) -> list[dict]:
    """Draw one graft batch, inseminated over some days with some semen batches."""
    year, graft, day = when
    line = str(rng.choice(LINES, p=(0.4, 0.3, 0.2, 0.1)))
    pools = [
        {
            "semen_batch": f"{year % 100}s{graft:02d}{'ab'[k]}",
            "drone_line": str(rng.choice(LINES[:3])),
            "drone_age_days": int(np.clip(round(rng.gamma(9, 2.1)) + 3, 9, 42)),
        }
        for k in range(int(rng.integers(1, 3)))
    ]
    here = [op for op, h in hands.items() if h["since"] <= day < h["gone"]]
    much = np.array([hands[op]["much"] for op in here])
    team = rng.choice(here, size=min(2, len(here)), replace=False, p=much / much.sum())
    arms = (0.5, 0.5, 0.0) if year == YEARS[0] else (0.25, 0.35, 0.4)
    rows = []
    for _ in range(int(rng.integers(9, 24))):
        op = str(rng.choice(team))
        on = day + int(rng.integers(0, 3))
        rows.append(
            {
                "day": on,
                "year": year,
                "operator": op,
                "graft_batch": f"{year % 100}g{graft:02d}",
                "line": line,
                **pools[int(rng.integers(len(pools)))],
                "protocol": str(rng.choice(list(DOSES), p=arms)),
                "instrument": str(rng.choice(("north", "south"))),
                "co2_schedule": str(rng.choice(SCHEDULES, p=ways[1][op])),
                "queen_age_days": 7 + on - day + int(rng.poisson(1.6)),
                "yard": int(rng.choice(len(ways[0][op]), p=ways[0][op])),
                "old_brood": bool(rng.random() < 0.15),
                "marked": bool(rng.random() < 0.88),
            }
        )
    return rows


def _world(rng: np.random.Generator, hands, plain: bool, courses: Courses, yards: int):
    grafts, semen = np.unique(courses["graft_batch"]), np.unique(courses["semen_batch"])
    own = dict(zip(courses["semen_batch"], courses["drone_line"], strict=True))
    dirty = rng.random(len(semen)) < 0.12
    dirt = np.where(dirty, 0.05 + 0.14 * rng.random(len(semen)), 0.0)
    kinship = {
        f"{line}|{batch}": float(rng.gamma(2.5, 3.0 if line == own[batch] else 1.1))
        for batch in semen.tolist()
        for line in LINES
    }
    return Reserves(
        flow=_weather(rng),
        hands=hands,
        wear=_equipment(rng),
        weights=dict(
            zip(grafts.tolist(), rng.normal(0, 0.45, len(grafts)), strict=True)
        ),
        worths=dict(
            zip(semen.tolist(), np.exp(rng.normal(0, 0.2, len(semen))), strict=True)
        ),
        dirt=dict(zip(semen.tolist(), dirt, strict=True)),
        kinship=kinship,
        yards=rng.normal(0, 0.4, yards),
        plain=plain,
    )


@dataclass(frozen=True)
class Style:
    """How a keeper looks and writes: days between rounds, and chances."""

    gap: int
    first: int
    look: float
    doubt: float
    good: float
    queen: float
    mark: float
    pattern: float
    drones: float
    ok: float
    told: float
    hunch: float


STYLES = (
    Style(7, 5, 0.85, 0.95, 0.5, 0.75, 0.85, 0.6, 0.7, 0.1, 0.9, 0.0),
    Style(19, 12, 0.8, 0.85, 0.65, 0.65, 0.6, 0.55, 0.5, 0.15, 0.85, 0.0),
    Style(31, 15, 0.7, 0.8, 0.4, 0.5, 0.5, 0.4, 0.4, 0.3, 0.7, 0.2),
    Style(8, 8, 0.3, 0.95, 0.15, 0.7, 0.75, 0.5, 0.6, 0.35, 0.9, 0.5),
    Style(11, 9, 0.6, 0.7, 0.5, 0.6, 0.5, 0.7, 0.7, 0.05, 0.85, 0.0),
)
CHECK = ("queen_seen", "mark_seen", "eggs", "larvae", "sealed", "pattern_pct")
CHECK += ("drone_in_worker", "multiple_eggs")


class _Keeper:
    """One keeper's rounds of a yard, and what she writes of every colony there."""

    def __init__(self, rng, style: Style, courses: Courses, lives: Lives) -> None:
        self.rng, self.style, self.courses, self.lives = rng, style, courses, lives
        self.checks: list[dict] = []
        self.exits: list[dict] = []
        self.removed: dict[int, tuple[int, str]] = {}
        self.rounds = self._rounds()

    def _chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def _rounds(self) -> np.ndarray:
        days = []
        for year in range(3):
            day = 365 * year + 95
            while day < 365 * year + 285:
                days.append(day)
                day += max(3, int(self.rng.normal(self.style.gap, self.style.gap / 6)))
        return np.array(days)

    def follow(self, k: int) -> None:
        """Write everything that is written of one course."""
        first = int((self.courses["d0"][k] - BEGIN).astype(int))
        fate = self._misfortune(first)
        state = {"doubt": False, "good": False, "empty": 0, "away": fate[0]}
        state["why"] = fate[1]
        for day in (self.rounds - first).tolist():
            if day < self.style.first:
                continue
            if self._culled(k, day, state) or day >= state["away"]:
                break
            if day > 395 or not self._goes(k, day, state):
                continue
            seen = self._seen(k, day)
            self._write(k, day, seen, state)
            if self._finds_out(k, day, seen, state):
                return
            self._sells(day, seen, state)
        self._goes_away(k, state)

    def _misfortune(self, first: int) -> tuple[int, str]:
        """Draw a removal that has nothing to do with her."""
        chances = {"colony_lost": 0.012, "swarmed": 0.012, "moved": 0.03}
        chances |= {"culled_other": 0.02, "sampled": 0.012}
        for why, chance in chances.items():
            if self._chance(chance):
                return int(self.rng.integers(20, 150)), why
        if self._chance(0.1):
            winter = 365 * (first // 365) + int(self.rng.integers(330, 420)) - first
            return winter, "colony_lost"
        return NEVER, ""

    def _goes(self, k: int, day: int, state: dict) -> bool:
        """Say whether this colony is opened on this round."""
        gone = day - int(self.lives.end[k])
        queenless = gone > 4 and self.lives.reason[k] in ("dead", "missing")
        late = day > 16 and day < self.lives.onset[k]
        if (queenless or late) and self._chance(self.style.hunch):
            state["doubt"] = True
        if state["doubt"]:
            return self._chance(self.style.doubt)
        return self._chance(self.style.good if state["good"] else self.style.look)

    def _seen(self, k: int, day: int) -> dict:
        """Give what is there to be seen, hers or not."""
        end = int(self.lives.end[k])
        if day < end:
            return self._hers(k, day)
        return self._after(k, day, day - end, int(self.lives.onset[k]))

    def _hers(self, k: int, day: int) -> dict:
        """Give what is seen while she is there."""
        laid = day - int(self.lives.onset[k])
        return {
            "queen": True,
            "mark": bool(self.courses["marked"][k]),
            "eggs": laid >= 0 or self._old(k, day, 3),
            "larvae": laid >= 4 or self._old(k, day, 8),
            "sealed": laid >= 9 or self._old(k, day, 20),
            "score": int(self.lives.score[k, day]) if laid >= 9 else None,
            "drones": day >= self.lives.drone[k],
            "turning": day >= self.lives.drone[k] - 14,
            "many": False,
        }

    def _old(self, k: int, day: int, last: int) -> bool:
        """Say whether brood of the nucleus's former queen is still so young."""
        return bool(self.courses["old_brood"][k]) and day <= last

    def _after(self, k: int, day: int, gone: int, onset: int) -> dict:
        """Give what is seen in a colony that she is gone from."""
        laid = onset < NEVER
        replaced = self.lives.reason[k] == "superseded"
        # a daughter raised while she laid follows soon, one raised from her last eggs late
        gap = 26 if k % 5 == 0 else 3 * (k % 3)
        heir = replaced and gone >= gap
        # bees that had brood of another's when they lost her may raise a queen from it
        foreign = not laid and self.courses["old_brood"][k] and k % 2 == 0
        other = heir or (foreign and gone > 27)
        score = int(np.clip(self.rng.normal(90, 5), 40, 100))
        workers = not replaced and not other and gone > 34 and k % 3 == 0
        return {
            "queen": other,
            "mark": False,
            "eggs": other or workers,
            "larvae": other or workers or (laid and gone < 6) or self._old(k, day, 8),
            "sealed": (other and gone > (gap + 9 if heir else 36))
            or workers
            or (laid and gone < 20)
            or self._old(k, day, 20),
            "score": score if heir and gone > gap + 9 else None,
            "drones": workers,
            "turning": False,
            "many": workers,
        }

    def _write(self, k: int, day: int, seen: dict, state: dict) -> None:
        """Write a look: all that was noticed, or eggs alone where all is well."""
        style, row = self.style, dict.fromkeys(CHECK)
        trouble = not seen["eggs"] or seen["drones"] or (seen["score"] or 90) < 70
        row["eggs"] = seen["eggs"]
        short = not trouble and self._chance(style.ok)
        if not short:
            met = seen["queen"] and self._chance(style.queen)
            row["queen_seen"] = met
            if met and self._chance(style.mark):
                row["mark_seen"] = seen["mark"]
            row |= {"larvae": seen["larvae"], "sealed": seen["sealed"]}
            if seen["score"] is not None and self._chance(style.pattern):
                row["pattern_pct"] = seen["score"]
            row |= self._cells(seen)
        row["course"], row["day"] = k, day
        self.checks.append(row)
        state["doubt"] = bool(trouble and (day > 13 or seen["drones"]))
        state["good"] = not trouble and (seen["score"] or 0) >= 84

    def _cells(self, seen: dict) -> dict:
        if not seen["sealed"] or not self._chance(self.style.drones):
            return {"drone_in_worker": "many"} if seen["drones"] else {}
        few = seen["turning"] or self._chance(0.015)
        drones = "many" if seen["drones"] else "few" if few else "none"
        multiple = True if seen["many"] and self._chance(0.8) else None
        return {"drone_in_worker": drones, "multiple_eggs": multiple}

    def _finds_out(self, k: int, day: int, seen: dict, state: dict) -> bool:
        """Say whether this look ends her records, and write it if that is written."""
        reason = str(self.lives.reason[k])
        if day < self.lives.end[k]:
            return False
        if reason == "superseded":
            strange = (
                seen["queen"]
                and self.checks[-1]["mark_seen"] is False
                and self.courses["marked"][k]
            )
            return bool(strange) and self._leaves(k, day, "superseded", 0.7)
        if seen["queen"]:
            return False
        state["empty"] += 1
        dead = reason == "dead" and day < 14
        if not dead and state["empty"] < 2 and not self._chance(0.4):
            return False
        self._leaves(k, day, "dead" if dead else "missing", self.style.told)
        return True

    def _leaves(self, k: int, day: int, why: str, share: float = 1.0) -> bool:
        late = int(self.rng.integers(0, 22)) if why == "sold" else 0
        if not self._chance(share):
            return False
        self.exits.append(
            {"course": k, "day": day, "reason": why, "entered": day + late}
        )
        return True

    def _culled(self, k: int, day: int, state: dict) -> bool:
        """Write that she was taken out for a fault of hers, on that very day."""
        end, reason = int(self.lives.end[k]), str(self.lives.reason[k])
        if reason not in ("culled_fault", "drone_layer") or not end <= day:
            return False
        if end >= state["away"]:
            return False
        state["away"] = NEVER
        if self._chance(0.6):
            self._write(k, end, self._hers(k, end), state)
        self._leaves(k, end, reason, 0.93)
        return True

    def _sells(self, day: int, seen: dict, state: dict) -> None:
        """Decide on a sale, by what was seen, written or not."""
        if day < 24 or not seen["sealed"] or state["why"] == "sold":
            return
        good = (seen["score"] or 0) >= 84
        on = day + int(self.rng.integers(0, 11))
        if self._chance(0.24 if good else 0.04) and on < state["away"]:
            state["away"], state["why"] = on, "sold"

    def _goes_away(self, k: int, state: dict) -> None:
        """Write a removal; who catches her for it sees whether it is she."""
        day, why = state["away"], state["why"]
        if day >= NEVER:
            return
        end, reason = int(self.lives.end[k]), str(self.lives.reason[k])
        if day < end:
            self.removed[k] = (day, why)
            self._leaves(k, day, why, 0.95)
        elif reason == "superseded" and self.courses["marked"][k]:
            caught = why in ("sold", "sampled", "culled_other")
            self._leaves(k, day, "superseded" if caught else why, 0.95)
        elif reason == "superseded" or why == "colony_lost":
            self._leaves(k, day, why, 0.95)


def station(seed: int, *, as_of: str) -> Station:
    """Give a station of this generator.

    Parameters
    ----------
    seed : int
    as_of : str
        "mid" (28 June of the second season) or "after" (15 November).
    """
    rng = stream(NAME, seed, "world")
    yards = int(rng.integers(3, 6))
    hands, plain = _people(rng)
    courses = _bench(stream(NAME, seed, "bench"), hands, yards)
    world = _world(rng, hands, plain, courses, yards)
    lives = world.lives(courses, stream(NAME, seed, "lives"))
    keepers = _kept(stream(NAME, seed, "looks"), courses, lives, yards)
    removed = np.full(len(courses["d0"]), NEVER)
    removed_for = np.full(len(removed), "", dtype="<U12")
    for keeper in keepers:
        for k, (day, why) in keeper.removed.items():
            removed[k], removed_for[k] = day, why
    book = stream(NAME, seed, "book")
    last = {"mid": "2026-06-28", "after": "2026-11-15"}[as_of]
    records = _records(book, courses, keepers, np.datetime64(last))
    told = (courses, lives, removed, removed_for)
    return assembled(NAME, as_of, records, told, world)


def _kept(rng, courses: Courses, lives: Lives, yards: int) -> list[_Keeper]:
    styles = rng.permutation(len(STYLES))[:yards]
    keepers = []
    for yard, style in enumerate(styles.tolist()):
        keeper = _Keeper(rng, STYLES[style], courses, lives)
        for k in np.flatnonzero(courses["yard"] == yard).tolist():
            keeper.follow(k)
        keepers.append(keeper)
    return keepers


def _records(rng, c: Courses, keepers: list[_Keeper], last) -> Rows:
    """Give the tables as they had been entered by the last day."""
    n = len(c["d0"])
    blank = rng.random((6, n)) < 0.09
    at = [_at(day, 540 + int(rng.integers(0, 470))) for day in c["d0"].tolist()]
    columns = {"queen_id": c["queen_id"].tolist(), "inseminated_at": at}
    columns |= {name: c[name].tolist() for name in ("operator", "semen_batch")}
    columns["protocol"] = c["protocol"].tolist()
    columns["dose_ul"] = noted(_of(DOSES, c["protocol"]), ~blank[0]).tolist()
    columns["instrument"] = noted(c["instrument"], ~blank[1]).tolist()
    notebook = int(rng.integers(len(keepers))) if rng.random() < 0.4 else None
    checks, exits = [], []
    for yard, keeper in enumerate(keepers):
        slow = yard == notebook
        checks += [row for row in keeper.checks if _entered(c, row, slow) <= last]
        exits += [
            row
            for row in keeper.exits
            if c["d0"][row["course"]] + row["entered"] * DAY <= last
        ]
    return {
        "queens": _queens(c),
        "semen": _semen(rng, c),
        "inseminations": rows_of(columns, ("inseminated_at", "queen_id")),
        "co2": _exposures(rng, c, at, ~blank[2]),
        "placements": _places(c, ~blank[3]),
        "checks": _checks(c, checks),
        "exits": _exits(c, exits),
        "lab": [],
    }


def _at(day: dt.date, minutes: int) -> dt.datetime:
    return dt.datetime.combine(day, dt.time()) + dt.timedelta(minutes=minutes)


def _entered(c: Courses, row: dict, slow: bool) -> np.datetime64:
    """Give when a look was entered: at once, or with the next month's first day."""
    day = c["d0"][row["course"]] + row["day"] * DAY
    if not slow:
        return day
    return (day.astype("datetime64[M]") + np.timedelta64(1, "M")).astype(
        "datetime64[D]"
    )


def _queens(c: Courses) -> list[dict]:
    emerged = (c["d0"] - c["queen_age_days"] * DAY).tolist()
    columns = {name: c[name].tolist() for name in ("queen_id", "line", "graft_batch")}
    columns |= {"emerged_on": emerged, "marked": c["marked"].tolist()}
    return rows_of(columns, ("queen_id", "line"))


def _semen(rng, c: Courses) -> list[dict]:
    rows = []
    for batch in np.unique(c["semen_batch"]).tolist():
        of = np.flatnonzero(c["semen_batch"] == batch)
        age = int(c["drone_age_days"][of[0]])
        rows.append(
            {
                "semen_batch": batch,
                "collected_at": _at(c["d0"][of].min().item(), 405),
                "drone_line": str(c["drone_line"][of[0]]),
                "drone_age_days": None if rng.random() < 0.12 else age,
            }
        )
    return rows


def _exposures(rng, c: Courses, at: list, written: np.ndarray) -> list[dict]:
    rows = []
    for k in np.flatnonzero(written).tolist():
        days = {"one": (0,), "before": (-1, 0), "after": (0, 1)}[c["co2_schedule"][k]]
        for day in days:
            shift = dt.timedelta(days=day, minutes=0 if day == 0 else 30)
            when, name = at[k] + shift, str(c["queen_id"][k])
            rows.append({"queen_id": name, "given_at": when, "minutes": 6})
    return sorted(rows, key=lambda row: (row["given_at"], row["queen_id"]))


def _places(c: Courses, sure: np.ndarray) -> list[dict]:
    rows = []
    for k, day in enumerate(c["d0"].tolist()):
        rows.append(
            {
                "queen_id": str(c["queen_id"][k]),
                "colony_id": _colony(c, k),
                "placed_on": day,
                "brood_present": True if c["old_brood"][k] and sure[k] else None,
            }
        )
    return rows


def _colony(c: Courses, k: int) -> str:
    return f"{YARDS[c['yard'][k]]} {k + 1}"


def _checks(c: Courses, seen: list[dict]) -> list[dict]:
    rows = []
    for row in seen:
        k = row["course"]
        day = (c["d0"][k] + row["day"] * DAY).item()
        head = {"queen_id": str(c["queen_id"][k]), "colony_id": _colony(c, k)}
        rows.append(head | {"checked_on": day} | {name: row[name] for name in CHECK})
    return sorted(rows, key=lambda row: (row["checked_on"], row["queen_id"]))


def _exits(c: Courses, left: list[dict]) -> list[dict]:
    rows = [
        {
            "queen_id": str(c["queen_id"][row["course"]]),
            "left_on": (c["d0"][row["course"]] + row["day"] * DAY).item(),
            "reason": row["reason"],
        }
        for row in left
    ]
    return sorted(rows, key=lambda row: (row["left_on"], row["queen_id"]))
