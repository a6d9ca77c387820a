"""Forwards and backwards over the steps: where each course probably was, and a draw of it.

States here are waiting, a set of working queens for each stretch of days in which they
began, and the four others; arrays run over steps first and courses last.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, fields
from functools import partial
from itertools import pairwise

import numpy as np

from queen_outcomes.stats.histories.chain import (
    BY_QUALITY,
    CAUSES,
    DRONE,
    EFFECTS,
    GONE,
    QUALITIES,
    WAITING,
    WAYS,
    WORKING,
    DaySteps,
)

NOT_ENDED = -1
BLOCK = 2500
"""Courses worked on together, at most: a chain takes some 45 kB for each while it is counted."""


@dataclass(frozen=True, eq=False)
class Rates:
    """Rates a day: each cause's by its bands, times what acts on it.

    Attributes
    ----------
    base : dict of str to ndarray
        By cause and band.
    factor : dict of str to ndarray, shape (n,)
        By effect and course.
    quality : ndarray of uint8, shape (g, n)
        As in `SeenCourses`.
    by_quality : dict of str to ndarray, shape (256,)
        By cause and code of quality, of causes that it acts on.
    """

    base: dict[str, np.ndarray]
    factor: dict[str, np.ndarray]
    quality: np.ndarray
    by_quality: dict[str, np.ndarray]

    def of(self, block: slice) -> Rates:
        """Give the rates of some courses."""
        factor = {name: x[block] for name, x in self.factor.items()}
        return Rates(self.base, factor, self.quality[:, block], self.by_quality)


@dataclass(frozen=True, eq=False)
class Counts:
    """What probably happened.

    Attributes
    ----------
    events, days : dict of str to ndarray
        By cause and band: how often it came, and the days at risk of it, each counted
        by what acts on it: the course's factor, and the day's quality.
    came, expected : dict of str to ndarray, shape (n,)
        By effect and course: events, and how many the rates without factors expect, but
        with quality.
    events_at : dict of str to float
        By cause that quality acts on: events, each times its day's quality.
    days_at, days_at_square : dict of str to ndarray
        By such a cause and band: the days at risk, each times its quality, and times the
        square of that.
    """

    events: dict[str, np.ndarray]
    days: dict[str, np.ndarray]
    came: dict[str, np.ndarray]
    expected: dict[str, np.ndarray]
    events_at: dict[str, float] = field(default_factory=dict)
    days_at: dict[str, np.ndarray] = field(default_factory=dict)
    days_at_square: dict[str, np.ndarray] = field(default_factory=dict)


OF_COURSES = ("came", "expected")
OF_ALL = ("events", "days", "events_at", "days_at", "days_at_square")


@dataclass(frozen=True, eq=False)
class Histories:
    """Drawn histories: days (inf: never) and the state each course ended in, (n,).

    ``ended_as`` is -1 where a course had not ended.
    """

    onset: np.ndarray
    drone: np.ndarray
    end: np.ndarray
    ended_as: np.ndarray


def blocks(n: int) -> list[slice]:
    """Part n courses, so that memory does not grow with their number; at least one part."""
    parts = max(-(-n // BLOCK), 1)
    edges = np.linspace(0, n, parts + 1).astype(int).tolist()
    return [slice(*pair) for pair in pairwise(edges)]


Seen = Callable[[slice], np.ndarray]
"""Gives the chance of what was seen of a block of courses, (g, states, n)."""


def count_all(
    steps: DaySteps,
    rates: Rates,
    seen: Seen,
    weights: Sequence[np.ndarray],
    tell: Callable[[slice, np.ndarray], None],
) -> list[Counts]:
    """Count what probably happened to all courses, a block at a time; see `Chain`.

    Counted once for each of ``weights``, of shape (n,). ``tell`` is told of each block the
    chance of each state at each step, (g, states, n), which takes too much memory to be
    kept of all courses.
    """
    parts = []
    for block in blocks(len(weights[0])):
        chain = Chain(steps, rates.of(block), seen(block))
        counts, inside = chain.count([weight[block] for weight in weights])
        tell(block, inside)
        parts.append(counts)
    of_courses = _joined([counts[0] for counts in parts], OF_COURSES, np.concatenate)
    return [
        Counts(**_joined(each, OF_ALL, partial(np.sum, axis=0)), **of_courses)
        for each in zip(*parts, strict=True)
    ]


def _joined(
    parts: Sequence[Counts], kinds: Sequence[str], join: Callable
) -> dict[str, dict[str, np.ndarray]]:
    """Join some kinds of the counts of blocks."""
    found = {}
    for kind in kinds:
        each = [getattr(part, kind) for part in parts]
        found[kind] = {name: join([some[name] for some in each]) for name in each[0]}
    return found


def draw_all(
    steps: DaySteps,
    rates: Rates,
    seen: Seen,
    number: int,
    chances: Sequence[Callable[[slice, int], np.ndarray]],
) -> list[Histories]:
    """Draw histories of so many courses, one for each of ``chances``, a block at a time.

    Each of ``chances`` gives numbers even on [0, 1) for a block of courses and a step.
    """
    drawn: list[list[Histories]] = []
    for block in blocks(number):
        chain = Chain(steps, rates.of(block), seen(block))
        ahead = chain.backwards(chain.forwards()[1])
        drawn.append([chain.draw(ahead, partial(chance, block)) for chance in chances])
    return [
        Histories(
            *(
                np.concatenate([getattr(part, field.name) for part in parts])
                for field in fields(Histories)
            )
        )
        for parts in zip(*drawn, strict=True)
    ]


def parts_of(steps: DaySteps, name: str) -> tuple[tuple[str, slice], ...]:
    """Name what factors act on for a cause, and at which steps; nothing: on none."""
    if name == "begins":
        early, late = EFFECTS[:2]
        return (early, slice(0, steps.middle)), (late, slice(steps.middle, None))
    return ((CAUSES[name].effect, slice(None)),) if CAUSES[name].effect else ()


def _at(codes: np.ndarray, table: np.ndarray) -> np.ndarray:
    """Read codes of a byte off a table of 256; none is clipped, but it is quicker so."""
    return table.astype(np.float32).take(codes, mode="clip")


class Chain:
    """A chain with its rates, over what was seen of n courses.

    Parameters
    ----------
    steps : DaySteps
    rates : Rates
    seen : ndarray, shape (g, states, n)
        Chance of what was seen, by step and state.
    """

    def __init__(self, steps: DaySteps, rates: Rates, seen: np.ndarray) -> None:
        self.steps, self.rates, self.n = steps, rates, seen.shape[2]
        self.by_quality = {
            name: _at(rates.quality, rates.by_quality[name]) for name in BY_QUALITY
        }
        sets = np.repeat(seen[:, WORKING : WORKING + 1], steps.sets, axis=1)
        self.seen = np.concatenate([seen[:, :1], sets, seen[:, 2:]], axis=1)
        self.ways = {source: self._leaving(source) for source in WAYS}
        self.begun = 1 + steps.began
        working = slice(1, 1 + steps.sets)
        self.places = {WAITING: 0, WORKING: working, DRONE: self._place(DRONE)}

    def _place(self, state: int) -> int:
        """Give the place of a state other than working in this module's order."""
        return state if state < WORKING else state + self.steps.sets - 1

    def base(self, name: str) -> np.ndarray:
        """Give a cause's rate by step, and by set where it depends on that."""
        return self.rates.base[name][self.steps.bands[name]]

    def _leaving(self, source: int) -> np.ndarray:
        """Chance to stay, then to leave by each way, (1 + ways, g, [sets,] n)."""
        sets = (self.steps.sets,) if source == WORKING else ()
        shape = (1 + len(WAYS[source]), len(self.steps.days), *sets, self.n)
        chances = np.empty(shape, np.float32)
        stay, rates = chances[0], chances[1:]
        for rate, name in zip(rates, WAYS[source], strict=True):
            base = self.base(name)
            rate[:] = base.reshape(*base.shape, *[1] * (rate.ndim - base.ndim))
            for effect, where in parts_of(self.steps, name):
                factor = self.rates.factor[effect].astype(np.float32)
                if name in BY_QUALITY:
                    factor = (self.by_quality[name] * factor)[:, None]
                rate[where] *= factor
        if source == WAITING:
            rates[0, 0] = 0.0  # nobody lays on day 0
        # all in one place: these are the largest arrays of a build
        total = rates.sum(axis=0)
        width = self.steps.width.astype(np.float32)
        np.multiply(total, -width.reshape(-1, *[1] * (total.ndim - 1)), out=stay)
        np.exp(stay, out=stay)
        np.divide(1 - stay, total, out=total)
        rates *= total
        return chances

    def forwards(self) -> tuple[np.ndarray, np.ndarray]:
        """Chance of each state given what was seen so far, (g, s, n), and the scale."""
        found, scale = np.empty_like(self.seen), np.empty_like(self.seen[:, 0])
        now = np.zeros_like(found[0])
        now[0] = 1.0
        for step in range(len(found)):
            new = found[step]
            new[:] = now
            for source, place in self.places.items():
                new[place] *= self.ways[source][0, step]
            for source, place in self.places.items():
                for way, name in enumerate(WAYS[source], 1):
                    came = now[place] * self.ways[source][way, step]
                    if source == WORKING:
                        came = came.sum(axis=0)
                    new[self._to(name, step)] += came
            new *= self.seen[step]
            new.sum(axis=0, out=scale[step])
            new /= scale[step]
            now = new
        return found, scale

    def _to(self, name: str, step: int) -> int:
        if name == "begins":
            return int(self.begun[step])
        return self._place(CAUSES[name].target)

    def backwards(self, scale: np.ndarray) -> np.ndarray:
        """Chance of what was seen from each step on, given its state, (g, s, n).

        Over the scales of these steps, so that it times the chance of what was seen
        before, and of the way there, is the chance given everything.
        """
        ahead = self.seen / scale[:, None]
        for step in range(len(ahead) - 1, 0, -1):
            after = ahead[step]
            before = ahead[step - 1]
            later = after.copy()
            for source, place in self.places.items():
                ways = self.ways[source][:, step]
                later[place] = after[place] * ways[0]
                for way, name in enumerate(WAYS[source], 1):
                    later[place] += ways[way] * after[self._to(name, step)]
            before *= later
        return ahead

    def _moves(self, ahead: np.ndarray) -> Iterator[tuple[str, int, np.ndarray]]:
        """Give each cause, its way, and what is ahead once it came, (g, n)."""
        for names in WAYS.values():
            for way, name in enumerate(names, 1):
                if name == "begins":
                    yield name, way, ahead[np.arange(len(ahead)), self.begun]
                else:
                    yield name, way, ahead[:, self._place(CAUSES[name].target)]

    def count(self, weights: Sequence[np.ndarray]) -> tuple[list[Counts], np.ndarray]:
        """Count what probably happened, each course by its weight; once by each of several.

        Beside it the chance of each state at each step, (g, states, n).
        """
        weights = [weight.astype(np.float32) for weight in weights]
        found, scale = self.forwards()
        ahead = self.backwards(scale)
        before = np.concatenate([np.zeros_like(found[:1]), found[:-1]])
        before[0, 0] = 1.0
        inside = before * ahead
        stayed = {s: inside[:, p] * self.ways[s][0] for s, p in self.places.items()}
        moved = {}
        for name, way, after in self._moves(ahead):
            source = CAUSES[name].source
            out = before[:, self.places[source]] * self.ways[source][way]
            out *= after[:, None] if source == WORKING else after
            moved[name] = out
        for source, place in self.places.items():
            inside[:, place] = stayed[source] + sum(
                moved[name] for name in WAYS[source]
            )
        of_courses = [
            dict(zip(EFFECTS, part, strict=True))
            for part in np.zeros((2, len(EFFECTS), self.n))
        ]
        counts = [Counts({}, {}, *of_courses) for _ in weights]
        narrow = self._narrow(inside, found)
        width = (self.steps.width / 2).astype(np.float32)
        for source, place in self.places.items():
            risk = inside[:, place] + stayed[source]
            risk *= width.reshape(-1, *[1] * (risk.ndim - 1))
            whole = risk.sum(axis=1) if source == WORKING else risk
            for name in WAYS[source]:
                own = CAUSES[name].since_laying
                part = moved[name]
                if source == WORKING and not own:
                    part = part.sum(axis=1)
                at_risk = risk if own else whole
                self._add_to_courses(*of_courses, name, part, at_risk)
                for each, weight in zip(counts, weights, strict=True):
                    add = self._add_by_quality if name in BY_QUALITY else self._add
                    add(each, name, part, at_risk, weight)
        return counts, narrow

    def _narrow(self, inside: np.ndarray, found: np.ndarray) -> np.ndarray:
        """Put the working together again, of the states after each step."""
        after = np.concatenate([inside[1:], found[-1:]])
        working = after[:, self.places[WORKING]].sum(axis=1, keepdims=True)
        return np.concatenate(
            [after[:, :1], working, after[:, self._place(DRONE) :]], axis=1
        )

    def _add_to_courses(self, came: dict, expected: dict, name: str, part, risk) -> None:
        """Add to each course what happened by one cause, (g, [sets,] n)."""
        base = self.rates.base[name][self.steps.bands[name]].astype(np.float32)
        if name in BY_QUALITY:
            effect, g = CAUSES[name].effect, len(base)
            parts, risks = (x.reshape(g, -1, self.n) for x in (part, risk))
            likely = (base.reshape(g, 1, -1) @ risks)[:, 0]
            came[effect] += parts.sum(axis=(0, 1))
            expected[effect] += np.einsum("gn,gn->n", likely, self.by_quality[name])
            return
        for effect, where in parts_of(self.steps, name):
            came[effect] += part[where].sum(axis=0)
            expected[effect] += base[where] @ risk[where]

    def _add(self, counts: Counts, name: str, part, risk, weight) -> None:
        """Add what happened by one cause, (g, n)."""
        band, size = self.steps.bands[name], len(self.rates.base[name])
        counts.events[name] = np.bincount(band, part @ weight, size)
        days = risk @ weight
        for effect, where in parts_of(self.steps, name):
            factor = self.rates.factor[effect].astype(np.float32)
            days[where] = risk[where] @ (weight * factor)
        counts.days[name] = np.bincount(band, days, size)

    def _add_by_quality(self, counts: Counts, name: str, part, risk, weight) -> None:
        """Add what happened by a cause that quality acts on, (g, [sets,] n)."""
        band, effect = self.steps.bands[name], CAUSES[name].effect
        part, risk = (x.reshape(len(band), -1, self.n) for x in (part, risk))
        at = _at(self.rates.quality, QUALITIES)
        counts.events_at[name] = np.einsum("gsn,gn,n->", part, at, weight)
        worth = self.by_quality[name] * (
            weight * self.rates.factor[effect].astype(np.float32)
        )
        worths = np.stack([worth, worth * at, worth * at * at], axis=1)
        days, days_at, square = (worths @ risk.swapaxes(1, 2)).swapaxes(0, 1)
        for told, each in (
            (counts.events, part @ weight),
            (counts.days, days),
            (counts.days_at, days_at),
            (counts.days_at_square, square),
        ):
            told[name] = np.bincount(
                band.ravel(), each.ravel(), len(self.rates.base[name])
            )

    def draw(self, ahead: np.ndarray, chance: Callable[[int], np.ndarray]) -> Histories:
        """Draw one history of each course.

        Parameters
        ----------
        ahead : ndarray
            From `backwards`.
        chance : callable
            Step -> ndarray, shape (n,), even on [0, 1).
        """
        state, into = np.zeros(self.n, int), np.zeros(self.n, int)
        # whole days and few states: narrow, as all fillings are kept side by side
        never = np.full(self.n, np.inf, np.float32)
        when = {place: never.copy() for place in (WORKING, DRONE, GONE)}
        ended = np.full(self.n, NOT_ENDED, np.int8)
        for step, day in enumerate(self.steps.days):
            u, was = chance(step), state.copy()
            for source in WAYS:
                rows = np.flatnonzero(was == source)
                ways, own = self.ways[source][:, step], into[rows]
                chances = ways[:, own - 1, rows] if source == WORKING else ways[:, rows]
                to = [self._to(name, step) for name in WAYS[source]]
                places = [own, *(np.full(len(rows), place) for place in to)]
                upto = np.cumsum(chances * ahead[step][np.array(places), rows], axis=0)
                pick = (u[rows] * upto[-1] >= upto[:-1]).sum(axis=0)
                for way, name in enumerate(WAYS[source], 1):
                    hit, target = rows[pick == way], CAUSES[name].target
                    state[hit], into[hit] = target, to[way - 1]
                    when[min(target, GONE)][hit] = day
                    if target >= GONE:
                        ended[hit] = target
        return Histories(when[WORKING], when[DRONE], when[GONE], ended)
