"""Running series of a season, held against seasons in which nobody differs.

A course enters when its window closes; those that close on one day enter together. Its
score is what the odds of failing multiplied by R make of it, log(1 + (R - 1) q) minus
log(1 + (R - 1) p): p its risk, q the chance that it failed by what was seen of it. Nothing
seen scores 0. Against colleagues p is moved by how hard their courses show the season to be,
and scores 0 until they are enough to tell. R is 2 for worse and 1/2 for better; sums never fall below zero (Steiner SH,
Cook RJ, Farewell VT, Treasure T. Biostatistics 2000;1:441-452).

Limits come from null seasons: the same courses on the same days in the same batches, with
everything drawn that is not known for certain: the risk model's coefficients, how far
batches deviate and each batch's deviation (shared by all operators), and how hard the
season is. The chance of a false signal is spent as courses close. Against colleagues and
against the own past a null season counts by how nearly its colleagues fared as they did in
the season as it came: in a hard season counts vary more, and a limit that holds on average
over seasons would be passed too often there, and too seldom in easy ones. What a null
season's signal spends is what it weighed that day, as the season as it came ran the same
risk whatever its colleagues show later.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import expit

from queen_outcomes.stats.series.cusum import REACHED, weights

STATION, LEVEL, DRIFT = "station", "level", "drift"
RATIOS = np.array([2.0, 0.5])
"""Odds ratios looked for: worse, better."""
FEWEST_COURSES, FEWEST_FAILURES = 5, 2
"""Decided courses and failures (for better: failures expected) before any signal."""
COLLEAGUES, COLLEAGUES_EXPECTED = 2, 10.0
"""Colleagues, and failures expected of them, from which on they tell the season."""
PENALTY = 1.0
"""Deviation of the prior that draws the season's shift to zero; weak, so that a hard
season is taken for one as soon as colleagues show it."""
PAUSE = 10
"""Courses after a signal before the next."""
TAU_FREEDOM = 5
"""Degrees of freedom of the seasons that operators' limits are held against: tau itself is
hardly known, and in a hard season they would signal too often. The station's own limits take
a normal distribution, or no season would ever be hard."""
ALTERNATIVES = 1000
"""Seasons in which an operator's odds are doubled, for the chance to see it."""
ALIKE = 0.15
"""How far, in log odds, a null season's colleagues may show another season than they did
as it came: the deviation of the normal curve that null seasons are weighted by. About the
error with which a hundred failures show it; narrower, too few seasons would count."""
GRID = np.linspace(-3.0, 3.0, 193)
"""Shifts of log odds between which sums over courses are interpolated for null seasons."""
TIED = 1e-6
"""Values nearer to each other than this are the same sum."""
ROUNDED = 1e-12
"""Sums of weights nearer to each other than this are the same."""
CLEAR = 1.1
"""How far above the largest of all values a limit lies that no season may reach."""
ASKED = 500
"""Sums looked at first for those that may pass a limit."""
BATCHES_KEPT = 64
"""Batches whose deviations are kept for the days to come."""
SMALLEST = 1e-7
"""Nearest to 0 and 1 that luck is drawn."""
STATION_HAND = -1
"""Number of the whole station among the operators."""
PULL = GRID / PENALTY**2
"""What the prior adds to the failures expected at every shift."""
SEASON, OWN, LUCK, BATCH, HEAVY = range(5)
"""What is drawn, each from a seed of its own."""


@dataclass(frozen=True, eq=False)
class ClosedSeason:
    """Closed courses of a season with known risk, in the order of closing.

    Attributes
    ----------
    day : ndarray of int, shape (n,)
        Day on which each closed; rising.
    hand : ndarray of int, shape (n,)
        Number of the operator; -1 where none is recorded.
    q : ndarray, shape (n,)
        Chance that it failed by what was seen; NaN: nothing decides.
    logits : ndarray, shape (n,)
        Log odds of failing at the station's average hand, averaged over batches.
    conditional : ndarray, shape (n,)
        The same where no batch deviates.
    columns : ndarray, shape (n, p)
        Of the risk model, signed so that coefficients are log odds of failing.
    batches : ndarray of int, shape (n, K)
        A number at least 0 that stands for each batch and seeds it; -1: not recorded.
    """

    day: np.ndarray
    hand: np.ndarray
    q: np.ndarray
    logits: np.ndarray
    conditional: np.ndarray
    columns: np.ndarray
    batches: np.ndarray


@dataclass(frozen=True, eq=False)
class Hand:
    """An operator, as known before the season.

    Attributes
    ----------
    key : int
        Stands for the operator and seeds what is drawn.
    planned : int
        Courses of the season that the chance is spent over.
    change, change_se : float
        Log odds of failing against the average hand in earlier seasons, drawn to zero,
        and its standard error; change is NaN without earlier courses.
    is_compared : bool
        Whether there are verdicts at all.
    """

    key: int
    planned: int
    change: float
    change_se: float
    is_compared: bool = True


@dataclass(frozen=True, eq=False)
class Unknowns:
    """What null seasons draw.

    Attributes
    ----------
    tau : float
        Scale of how hard seasons are, in log odds.
    root : ndarray, shape (p, r)
        Root of the coefficients' covariance.
    variances, variance_ses : ndarray, shape (K,)
        Of each kind of batch's deviations, with standard errors.
    """

    tau: float
    root: np.ndarray
    variances: np.ndarray
    variance_ses: np.ndarray


@dataclass(frozen=True, eq=False)
class Followed:
    """A running series: what it came to, course by course, and what its limits do.

    Attributes
    ----------
    rows : ndarray of int, shape (m,)
        Its courses.
    expected : ndarray, shape (m,)
        Risk that each was held against.
    values, limits : ndarray, shape (2, m)
        Of the series for worse and for better after each course; the limit of a day is
        NaN where there is no verdict. Only the day's last course can signal.
    signals : ndarray of bool, shape (2, m)
    told : ndarray of bool, shape (m,)
        Colleagues enough had closed to tell a hard season from a change of hand.
    detection : float
        Chance that these courses had signalled if the odds had doubled at their first.
    median : float
        Courses to that signal; NaN where under half of such seasons have one.
    """

    rows: np.ndarray
    expected: np.ndarray
    values: np.ndarray
    limits: np.ndarray
    signals: np.ndarray
    told: np.ndarray
    detection: float
    median: float


def follow(
    season: ClosedSeason,
    hands: Mapping[int, Hand],
    unknowns: Unknowns,
    *,
    chance: float,
    planned: int,
    replicates: int,
    seed: int,
) -> dict[tuple[int, str], Followed]:
    """Follow the station and every operator through a season.

    Parameters
    ----------
    season : ClosedSeason
    hands : mapping of int to Hand
        Every operator of the season by number.
    unknowns : Unknowns
    chance : float
        Of a first false signal within the planned courses, for each series and direction.
    planned : int
        Courses of the station's season.
    replicates, seed : int
        Null seasons, and the seed of what is drawn. What is drawn for a day depends only
        on its own courses, so that later courses change nothing of earlier ones.

    Returns
    -------
    dict
        (number, series) -> Followed; the station's number is -1. Every operator has a
        series against colleagues, and whoever has an own past one against that.

    Raises
    ------
    ValueError
        A risk that is no number, a q outside 0 to 1, courses out of order, or a chance
        that is none.
    """
    _refuse(season, chance)
    worlds = _Worlds(season, hands, unknowns, replicates, seed)
    tracks = {(STATION_HAND, STATION): _Track(planned, chance, replicates)}
    for hand, known in hands.items():
        spent = chance if known.is_compared else 0.0
        tracks[hand, LEVEL] = _Track(known.planned, spent, replicates)
        if np.isfinite(known.change):
            tracks[hand, DRIFT] = _Track(known.planned, spent, replicates)
    sums = {series: _Sums(hands, replicates) for series in (LEVEL, DRIFT)}
    for rows in _days(season.day):
        _one_day(rows, worlds, tracks, sums)
    return {place: track.followed() for place, track in tracks.items() if track.seen}


def _refuse(season: ClosedSeason, chance: float) -> None:
    q = season.q[~np.isnan(season.q)]
    if not np.isfinite(season.logits).all():
        raise ValueError("a risk is missing, 0 or 1: such a course has no place here")
    if ((q < 0) | (q > 1)).any():
        raise ValueError("a chance of having failed lies outside 0 to 1")
    if not 0 < chance < 1:
        raise ValueError(
            f"a chance of a false signal of {chance} is not between 0 and 1"
        )
    if (np.diff(season.day) < 0).any():
        raise ValueError("the courses are not in the order of closing")


def _days(day: np.ndarray) -> list[np.ndarray]:
    """Give the rows of each day."""
    starts = np.flatnonzero(np.diff(day)) + 1
    return np.split(np.arange(len(day)), starts) if len(day) else []


class _Worlds:
    """Null seasons: what is drawn for a season, and day by day.

    Numbers of failures come in one order: every null season, then some of them with the
    odds doubled, then the season as it came.
    """

    def __init__(self, season, hands, unknowns, replicates: int, seed: int) -> None:
        self.season, self.hands = season, hands
        self.replicates, self.seed = replicates, seed
        rng = np.random.default_rng([seed, SEASON])
        self.usual = rng.normal(0.0, unknowns.tau, replicates)
        heavy = np.random.default_rng([seed, HEAVY])
        self.shift = unknowns.tau * heavy.standard_t(TAU_FREEDOM, replicates)
        of_each = (len(unknowns.variances), replicates)
        spread = unknowns.variances[:, None], unknowns.variance_ses[:, None]
        self.deviations = np.sqrt(np.abs(rng.normal(*spread, of_each)))
        draws = rng.standard_normal((unknowns.root.shape[1], replicates))
        self.coefficients = unknowns.root @ draws
        # a batch's courses close on several days, one soon after the other
        self.effect = lru_cache(maxsize=BATCHES_KEPT)(self._effect)
        self.own = {
            at: self.change(at) + one.change_se * self._keyed(OWN, one.key)
            for at, one in hands.items()
        }

    def change(self, hand: int) -> float:
        """Give an operator's change of log odds in the past; 0 without one."""
        change = self.hands[hand].change
        return change if np.isfinite(change) else 0.0

    def _keyed(self, *key: int) -> np.ndarray:
        rng = np.random.default_rng([self.seed, *key])
        return rng.standard_normal(self.replicates, np.float32)

    def luck(self, rows: np.ndarray, day: int) -> np.ndarray:
        """Give log odds of courses of a day with a logistic number added, shape (len(rows), B).

        With the season's shift, above zero the course failed.
        """
        season, size = self.season, (len(rows), self.replicates)
        even = np.random.default_rng([self.seed, LUCK, day]).random(size, np.float32)
        even = np.clip(even, SMALLEST, 1 - SMALLEST)
        found = np.log(even / (1 - even))
        found += season.columns[rows] @ self.coefficients
        found += season.conditional[rows, None]
        for kind, batches in enumerate(season.batches[rows].T):
            for batch in np.unique(batches[batches >= 0]).tolist():
                found[batches == batch] += self.effect(kind, batch)
        return found

    def _effect(self, kind: int, batch: int) -> np.ndarray:
        """Give a batch's deviation in every null season."""
        return self.deviations[kind] * self._keyed(BATCH, kind, batch)

    def failures(self, luck: np.ndarray, q: np.ndarray, moved) -> np.ndarray:
        """Count failures of some decided courses, shape (B + A + 1,).

        What was not settled counts in every season as it came.
        """
        settled = (q == 0) | (q == 1)
        place = luck[settled] + moved
        doubled = place[:, :ALTERNATIVES] > -np.log(RATIOS[0])
        drawn = np.concatenate([(place > 0.0).sum(axis=0), doubled.sum(axis=0)])
        return np.append(drawn + q[~settled].sum(), q.sum())


def _one_day(rows: np.ndarray, worlds: _Worlds, tracks, sums) -> None:
    """Take in the courses that close on one day."""
    season = worlds.season
    hand, q, logits = season.hand[rows], season.q[rows], season.logits[rows]
    decided = np.flatnonzero(np.isfinite(q))
    luck = np.empty((len(rows), worlds.replicates), np.float32)
    luck[decided] = worlds.luck(rows[decided], int(season.day[rows[0]]))
    failures = worlds.failures(luck[decided], q[decided], worlds.usual)
    station = _Day(rows, logits, q, failures, _Shifts.none(len(failures)), told=True)
    tracks[STATION_HAND, STATION].take(station, has_verdict=True)
    waiting = []
    for at in np.unique(hand[hand >= 0]).tolist():
        own = hand == at
        seen = np.flatnonzero(own & np.isfinite(q))
        worlds_of = {LEVEL: (0.0, 0.0), DRIFT: (worlds.change(at), worlds.own[at])}
        for series, (change, moved) in worlds_of.items():
            failures = worlds.failures(luck[seen], q[seen], worlds.shift + moved)
            sums[series].add(at, logits[seen] + change, failures)
            if (at, series) in tracks:
                waiting.append((at, series, own, logits[own] + change, failures))
    for at, series, own, changed, counted in waiting:
        shifts, told = sums[series].season_by_others(at)
        waits = series == LEVEL and not told
        seen = np.where(waits, np.nan, q[own])
        day = _Day(rows[own], changed, seen, counted * (not waits), shifts, told)
        tracks[at, series].take(day, has_verdict=told or series == DRIFT)


@dataclass(frozen=True, eq=False)
class _Shifts:
    """How hard the season is in every season: some values, and whose each of them is.

    Colleagues' failures are whole numbers, so that ten thousand seasons have few shifts.
    """

    values: np.ndarray
    which: np.ndarray

    @classmethod
    def none(cls, seasons: int) -> _Shifts:
        """Give every season no shift."""
        return cls(np.zeros(1), np.zeros(seasons, np.intp))

    @classmethod
    def found(cls, failures: np.ndarray, expected: np.ndarray) -> _Shifts:
        """Give the shifts of `GRID` at which so many failures are expected."""
        least = failures.min()
        which = (failures - least).astype(np.intp)
        counts = np.arange(which.max() + 1.0) + least
        if not np.array_equal(counts[which], failures):  # some were not settled
            counts, which = failures, np.arange(len(failures))
        return cls(np.interp(counts, expected, GRID), which)

    @property
    def as_it_came(self) -> float:
        """That of the season as it came."""
        return self.values[self.which[-1]]

    def read(self, by_shift: np.ndarray) -> np.ndarray:
        """Read off what has a value at every shift of `GRID`, for every season."""
        return np.interp(self.values, GRID, by_shift)[self.which]


class _Sums:
    """Failures of each operator so far, and those expected at every shift of `GRID`."""

    def __init__(self, hands: Mapping[int, Hand], replicates: int) -> None:
        width = replicates + min(replicates, ALTERNATIVES) + 1
        self.plain = np.r_[:replicates, : min(replicates, ALTERNATIVES), width - 1]
        self.place = {hand: at for at, hand in enumerate(hands)}
        self.failures = np.zeros((len(hands), width))
        self.total = np.zeros(width)
        self.expected = np.zeros((len(hands), len(GRID)))

    def add(self, hand: int, logits: np.ndarray, failures: np.ndarray) -> None:
        """Add a day's decided courses of an operator."""
        at = self.place[hand]
        # when one operator's odds are doubled, colleagues are as in the null season
        plain = failures[self.plain]
        self.failures[at] += plain
        self.total += plain
        self.expected[at] += expit(logits[:, None] + GRID).sum(axis=0)

    def season_by_others(self, hand: int) -> tuple[_Shifts, bool]:
        """Give how hard the season is by the other operators' courses, in each season.

        The shift of log odds that is likeliest with a normal prior of deviation `PENALTY`; and
        whether colleagues are enough to tell a hard season from a change of hand.
        """
        at, usual = self.place[hand], len(GRID) // 2
        others = np.delete(self.expected, at, axis=0)
        expected = others.sum(axis=0)
        shifts = _Shifts.found(self.total - self.failures[at], expected + PULL)
        enough = expected[usual] >= COLLEAGUES_EXPECTED
        colleagues = np.count_nonzero(others[:, usual])
        return shifts, bool(enough and colleagues >= COLLEAGUES)


@dataclass(frozen=True, eq=False)
class _Day:
    """A series' courses of one day; shifts are the season's, in every season."""

    rows: np.ndarray
    logits: np.ndarray
    q: np.ndarray
    failures: np.ndarray
    shifts: _Shifts
    told: bool

    def scores(self) -> tuple[np.ndarray, np.ndarray]:
        """Give the day's score in every season, and its courses' own as they came.

        Of shapes (2, B + A + 1) and (2, m); exact for the season as it came.
        """
        seen = np.isfinite(self.q)
        q = self.q[seen]
        partly = q[(q > 0) & (q < 1)]
        risks = expit(self.logits[seen][:, None] + GRID)
        given = expit(self.logits + self.shifts.as_it_came)
        every, each = [], []
        for ratio in RATIOS:
            fall = -weights(risks, ratio)[0].sum(axis=0)
            gain = np.log(ratio) * (self.failures - partly.sum())
            gain += np.log1p((ratio - 1) * partly).sum()
            own = np.log1p((ratio - 1) * self.q) + weights(given, ratio)[0]
            own = np.where(seen, own, 0.0)
            gain -= self.shifts.read(fall)
            gain[-1] = own.sum()
            every.append(gain)
            each.append(own)
        return np.array(every), np.array(each)


def _likeness(shifts: _Shifts, replicates: int) -> np.ndarray:
    """Give null seasons weights by how nearly their colleagues fared as they did here."""
    which = shifts.which[:replicates]
    far = ((shifts.values - shifts.as_it_came) / ALIKE) ** 2
    # shifts of no null season may lie nearer, and weigh nothing
    weight = np.exp(-0.5 * np.maximum(far - far[which].min(), 0.0))[which]
    return weight / weight.sum()


def _passing(
    values: np.ndarray, weight: np.ndarray, allowed: float
) -> tuple[np.ndarray, int]:
    """Give the largest values, the largest first, and how many of them may pass.

    One more at least than may pass, if there is one; few may, and the rest is not sorted.
    """
    asked = ASKED
    while True:
        some = np.arange(len(values))
        if asked < len(values):
            least = np.partition(values, -asked)[-asked]
            some = np.flatnonzero(values >= least)
        order = some[np.argsort(-values[some], kind="stable")]
        passing = int((np.cumsum(weight[order]) <= allowed).sum())
        if passing < len(order) or len(order) == len(values):
            return order, passing
        asked *= 4


class _Track:
    """One running series in all seasons, day by day."""

    def __init__(self, planned: int, chance: float, replicates: int) -> None:
        self.planned, self.chance, self.replicates = planned, chance, replicates
        width = replicates + min(replicates, ALTERNATIVES) + 1
        self.value, self.failures = np.zeros((len(RATIOS), width)), np.zeros(width)
        self.crossed = np.zeros((len(RATIOS), replicates), bool)
        # as weighed on the day itself: seasons that crossed it may weigh less later on,
        # and what the season as it came has spent would be spent again
        self.spent = np.zeros(len(RATIOS))
        self.found_at = np.zeros(width - 1 - replicates)
        self.seen = self.decided = 0
        self.expected = 0.0
        self.after = [-PAUSE, -PAUSE]
        self.said: list[tuple[np.ndarray, ...]] = []

    def take(self, day: _Day, *, has_verdict: bool) -> None:
        """Take in a day's courses, set its limits and see who passes them."""
        every, each = day.scores()
        path = np.maximum(self.value[:, -1:] + np.cumsum(each, axis=1), 0.0)
        self.value = np.maximum(self.value + every, 0.0)
        path[:, -1] = self.value[:, -1]
        self.failures += day.failures
        self.seen += len(day.rows)
        self.decided += int(np.isfinite(day.q).sum())
        self.expected += float(expit(day.logits[np.isfinite(day.q)]).sum())
        weight = _likeness(day.shifts, self.replicates)
        limits = [self._limit(way, weight) if has_verdict else np.nan for way in (0, 1)]
        signals = np.zeros(path.shape, bool)
        for way, limit in enumerate(limits):
            signals[way, -1] = self._pass(way, limit, weight)
        given = expit(day.logits + day.shifts.as_it_came)
        held = np.repeat(np.array(limits)[:, None], len(day.rows), axis=1)
        told = np.full(len(day.rows), day.told)
        self.said.append((day.rows, given, path, held, signals, told))

    def _open(self, way: int) -> np.ndarray:
        """Tell which seasons have seen enough for a signal."""
        if RATIOS[way] < 1:
            enough = self.expected >= FEWEST_FAILURES
            return np.full(len(self.failures), enough)
        return self.failures >= FEWEST_FAILURES

    def _limit(self, way: int, weight: np.ndarray) -> float:
        """Give the smallest limit that null seasons pass no oftener than may be spent."""
        allowed = self.chance * self.seen / self.planned - self.spent[way]
        paused = self.seen - self.after[way] < PAUSE
        early = self.decided < FEWEST_COURSES
        is_spent = allowed + ROUNDED < (weight**2).sum()  # less than one season's worth
        if early or paused or is_spent or self.seen > self.planned:
            return np.nan
        asked = ~self.crossed[way] & self._open(way)[: self.replicates]
        values, weight = self.value[way, : self.replicates][asked], weight[asked]
        order, passing = _passing(values, weight, allowed + ROUNDED)
        if passing == len(values):
            return TIED
        top = values[order]
        under, over = top[passing], top[:passing]
        larger = over[over > under + TIED]
        # at the least value that passes, not between it and the next: a season as it came
        # that falls into the gap would be one false signal more than the null seasons have
        return float(larger[-1] if len(larger) else CLEAR * under + TIED)

    def _pass(self, way: int, limit: float, weight: np.ndarray) -> bool:
        """Mark the seasons that reach a limit; tell whether the season as it came does."""
        if np.isnan(limit):
            return False
        reached = self._open(way) & (self.value[way] >= limit - REACHED)
        first = reached[: self.replicates] & ~self.crossed[way]
        self.spent[way] += weight[first].sum()
        self.crossed[way] |= first
        if RATIOS[way] > 1:
            new = reached[self.replicates : -1] & (self.found_at == 0)
            self.found_at[new] = self.seen
        if reached[-1]:
            self.after[way] = self.seen
            self.value[way, : self.replicates] = self.value[way, -1] = 0.0
        return bool(reached[-1])

    def followed(self) -> Followed:
        """Give what it came to."""
        parts = [np.concatenate(part, axis=-1) for part in zip(*self.said, strict=True)]
        found = np.sort(self.found_at[self.found_at > 0])
        share = len(found) / len(self.found_at)
        half = (len(self.found_at) + 1) // 2
        median = float(found[half - 1]) if len(found) >= half else np.nan
        return Followed(*parts, share, median)
