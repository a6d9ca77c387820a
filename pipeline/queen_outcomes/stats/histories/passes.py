"""Forwards and backwards over the steps: where each course probably was, and a draw of it.

States here are waiting, a set of working queens for each stretch of days in which they
began, and the four others; arrays run over steps first and courses last.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields
from functools import cached_property, partial
from itertools import pairwise

import numpy as np

from queen_outcomes.stats.histories.chain import (
    BY_QUALITY,
    CAUSES,
    DRONE,
    EFFECTS,
    GONE,
    QUALITIES,
    STATES,
    WAITING,
    WAYS,
    WORKING,
    DaySteps,
)

NOT_ENDED = -1
BLOCK = 750
"""Courses worked on together, at most: a chain takes some 30 kB for each while it is counted,
and what a processor keeps at hand is a few tens of MB."""


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
        each = [partial(chance, block) for chance in chances]
        drawn.append(chain.draw(chain.backwards(), each))
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

    What working queens leave by is kept in parts, and never written out for each way, step,
    set and course: what sets differ in, what courses differ in, and how long is left to leave
    in. Those are the largest arrays of a build, and most of its time goes by their number.

    Parameters
    ----------
    steps : DaySteps
    rates : Rates
    seen : ndarray, shape (g, states, n)
        Chance of what was seen, by step and state.
    """

    def __init__(self, steps: DaySteps, rates: Rates, seen: np.ndarray) -> None:
        self.steps, self.rates, self.seen, self.n = steps, rates, seen, seen.shape[2]
        self.ways = {source: self._leaving(source) for source in (WAITING, DRONE)}
        self.begun = 1 + steps.began
        self.sets = slice(1, 1 + steps.sets)
        self.places = {WAITING: 0, DRONE: self._place(DRONE)}
        self.targets = [self._place(CAUSES[name].target) for name in BY_QUALITY]
        self.base, self.quality, self.factor = self._parts()
        self.stay, self.share = self._left(self.base @ self.factor)

    def _place(self, state: int) -> int:
        """Give the place of a state other than working in this module's order."""
        return state if state < WORKING else state + self.steps.sets - 1

    def _rate(self, name: str) -> np.ndarray:
        """Give a cause's rate by step, and by set where it depends on that."""
        return self.rates.base[name][self.steps.bands[name]].astype(np.float32)

    def _leaving(self, source: int) -> np.ndarray:
        """Chance to stay, then to leave by each way, (1 + ways, g, n)."""
        shape = (1 + len(WAYS[source]), len(self.steps.days), self.n)
        chances = np.empty(shape, np.float32)
        rates = chances[1:]
        for rate, name in zip(rates, WAYS[source], strict=True):
            rate[:] = self._rate(name)[:, None]
            for effect, where in parts_of(self.steps, name):
                rate[where] *= self.rates.factor[effect].astype(np.float32)
        if source == WAITING:
            rates[0, 0] = 0.0  # nobody lays on day 0
        chances[0], share = self._left(rates.sum(axis=0))
        rates *= share
        return chances

    def _parts(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Give what the rates of who works are the product of.

        By set, (g, sets, w); and by course, (g, w, n), of her quality alone and of all.
        """
        shape = (len(self.steps.days), self.steps.sets, len(BY_QUALITY))
        base = np.empty(shape, np.float32)
        quality = np.empty((shape[0], shape[2], self.n), np.float32)
        for way, name in enumerate(BY_QUALITY):
            base[:, :, way] = self._rate(name).reshape(shape[0], -1)
            quality[:, way] = _at(self.rates.quality, self.rates.by_quality[name])
        effects = [self.rates.factor[CAUSES[name].effect] for name in BY_QUALITY]
        return base, quality, quality * np.array(effects, np.float32)

    def _left(self, total: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Give the chance to stay by the sum of all rates, and what makes a rate a chance."""
        width = self.steps.width.astype(np.float32)
        stay = np.multiply(total, -width.reshape(-1, *[1] * (total.ndim - 1)))
        np.exp(stay, out=stay)
        share = 1 - stay
        share /= total
        return stay, share

    def _weigh(self, chances: np.ndarray, told: np.ndarray) -> None:
        """Weigh chances of all places, (s, n), by what is told of states, (states, n)."""
        chances[0] *= told[WAITING]
        chances[self.sets] *= told[WORKING]
        chances[self.places[DRONE] :] *= told[DRONE:]

    def forwards(self) -> tuple[np.ndarray, np.ndarray]:
        """Chance of each place given what was seen so far, (1 + g, s, n), and the scale, (g, n).

        Before the first step, and after each.
        """
        steps = len(self.steps.days)
        found = np.zeros((1 + steps, self.steps.sets + len(STATES) - 1, self.n), np.float32)
        scale = np.empty((steps, self.n), np.float32)
        found[0, 0] = 1.0
        for step in range(steps):
            now, new = found[step], found[step + 1]
            new[:] = now
            new[self.sets] *= self.stay[step]
            came = self.base[step].T @ (now[self.sets] * self.share[step])
            came *= self.factor[step]
            moved = [(to, each) for to, each in zip(self.targets, came, strict=True)]
            for source, place in self.places.items():
                new[place], *out = now[place] * self.ways[source][:, step]
                moved += zip(self._to(source, step), out, strict=True)
            for to, each in moved:
                new[to] += each
            self._weigh(new, self.seen[step])
            new.sum(axis=0, out=scale[step])
            new /= scale[step]
        return found, scale

    def _to(self, source: int, step: int) -> list[int]:
        """Give the places that each way out of a state leads to at a step."""
        return [
            int(self.begun[step]) if name == "begins" else self._place(CAUSES[name].target)
            for name in WAYS[source]
        ]

    def backwards(self, scale: np.ndarray | None = None) -> np.ndarray:
        """Chance of what was seen from each step on, given its state, (g, s, n).

        Over the scales of these steps, so that it times the chance of what was seen
        before, and of the way there, is the chance given everything. Without them each
        step's largest is 1: what is drawn hangs on a step's chances beside each other.
        """
        told = self.seen if scale is None else self.seen / scale[:, None]
        shape = (len(told), self.steps.sets + len(STATES) - 1, self.n)
        ahead = np.empty(shape, np.float32)
        ahead[-1] = 1.0
        self._weigh(ahead[-1], told[-1])
        for step in range(len(ahead) - 1, 0, -1):
            after, before = ahead[step], ahead[step - 1]
            before[:] = after
            for source, place in self.places.items():
                to = after[[place, *self._to(source, step)]]
                np.einsum("wn,wn->n", self.ways[source][:, step], to, out=before[place])
            left = self.base[step] @ (self.factor[step] * after[self.targets])
            left *= self.share[step]
            before[self.sets] *= self.stay[step]
            before[self.sets] += left
            self._weigh(before, told[step - 1])
            if scale is None:
                before /= before.max(axis=0)
        return ahead

    def count(self, weights: Sequence[np.ndarray]) -> tuple[list[Counts], np.ndarray]:
        """Count what probably happened, each course by its weight; once by each of several.

        Beside it the chance of each state at each step, (g, states, n).
        """
        weights = [weight.astype(np.float32) for weight in weights]
        found, scale = self.forwards()
        ahead = self.backwards(scale)
        before = found[:-1]
        inside = before * ahead  # so far of who stays; where nobody leaves it is all
        came, expected = (
            dict(zip(EFFECTS, part, strict=True))
            for part in np.zeros((2, len(EFFECTS), self.n))
        )
        told = [(Counts({}, {}, came, expected), weight) for weight in weights]
        for source in self.places:
            self._count_leaving(source, before, ahead, inside, told)
        self._count_working(before, ahead, inside, told)
        return [counts for counts, _ in told], self._narrow(inside, found[-1:])

    def _count_leaving(self, source: int, before, ahead, inside, told) -> None:
        """Count who left a state other than working, and put all who were in it ``inside``."""
        place, (stay, *ways) = self.places[source], self.ways[source]
        stayed = inside[:, place] * stay
        moved = {}
        for name, way in zip(WAYS[source], ways, strict=True):
            moved[name] = before[:, place] * way
            moved[name] *= self._ahead_of(name, ahead)
        inside[:, place] = stayed + sum(moved.values())
        # who leaves does so halfway through the step
        risk = (inside[:, place] + stayed) * self._halves[:, None]
        for name, part in moved.items():
            base = self._rate(name)
            for effect, where in parts_of(self.steps, name):
                (counts, _), *_ = told
                counts.came[effect] += part[where].sum(axis=0)
                counts.expected[effect] += base[where] @ risk[where]
            for counts, weight in told:
                self._add(counts, name, part, risk, weight)

    def _ahead_of(self, name: str, ahead: np.ndarray) -> np.ndarray:
        """Give what is ahead once a cause came, by step, (g, n)."""
        if name == "begins":
            return ahead[np.arange(len(ahead)), self.begun]
        return ahead[:, self._place(CAUSES[name].target)]

    @cached_property
    def _halves(self) -> np.ndarray:
        """Half the days in each step, (g,)."""
        return (self.steps.width / 2).astype(np.float32)

    def _count_working(self, before, ahead, inside, told) -> None:
        """Count who left from working, and put all who worked ``inside``."""
        stayed = inside[:, self.sets]
        stayed *= self.stay
        left = before[:, self.sets] * self.share
        toward = self.factor * ahead[:, self.targets]
        stepped = self.base @ toward
        stepped *= left
        stepped += stayed
        risk = stayed + stepped
        risk *= self._halves[:, None, None]
        inside[:, self.sets] = stepped
        by_way = self.base.swapaxes(1, 2)
        moved = by_way @ left
        moved *= toward
        likely = by_way @ risk
        at = _at(self.rates.quality, QUALITIES)
        (one, _), *_ = told
        for way, name in enumerate(BY_QUALITY):
            effect = CAUSES[name].effect
            one.came[effect] += moved[:, way].sum(axis=0)
            one.expected[effect] += np.einsum(
                "gn,gn->n", likely[:, way], self.quality[:, way]
            )
        whole = risk.sum(axis=1, keepdims=True)
        for counts, weight in told:
            for way, name in enumerate(BY_QUALITY):
                counts.events_at[name] = np.einsum("gn,gn,n->", moved[:, way], at, weight)
                if CAUSES[name].since_laying:
                    came = toward[:, way] * weight
                    events = self.base[:, :, way] * (left @ came[:, :, None])[:, :, 0]
                    at_risk = risk
                else:
                    events, at_risk = moved[:, way] @ weight, whole
                worth = self.factor[:, way] * weight
                worths = np.stack([worth, worth * at, worth * at * at], axis=2)
                self._add_by_quality(counts, name, events, at_risk @ worths)

    def _narrow(self, inside: np.ndarray, last: np.ndarray) -> np.ndarray:
        """Put the working together again, of the states after each step."""
        narrow = np.empty((len(inside), len(STATES), self.n), np.float32)
        for part, some in ((narrow[:-1], inside[1:]), (narrow[-1:], last)):
            part[:, WAITING] = some[:, 0]
            some[:, self.sets].sum(axis=1, out=part[:, WORKING])
            part[:, DRONE:] = some[:, self.places[DRONE] :]
        return narrow

    def _add(self, counts: Counts, name: str, part, risk, weight) -> None:
        """Add what happened by one cause, (g, n)."""
        band, size = self.steps.bands[name], len(self.rates.base[name])
        counts.events[name] = np.bincount(band, part @ weight, size)
        days = risk @ weight
        for effect, where in parts_of(self.steps, name):
            factor = self.rates.factor[effect].astype(np.float32)
            days[where] = risk[where] @ (weight * factor)
        counts.days[name] = np.bincount(band, days, size)

    def _add_by_quality(self, counts: Counts, name: str, events, days) -> None:
        """Add what happened by a cause that quality acts on.

        Events by step, (g,) or (g, sets), and days at risk, (g, 1 or sets, 3), each times
        its quality to the power of 0, 1 and 2.
        """
        band, size = self.steps.bands[name].ravel(), len(self.rates.base[name])
        counts.events[name] = np.bincount(band, events.ravel(), size)
        for kind, each in zip(
            (counts.days, counts.days_at, counts.days_at_square),
            np.moveaxis(days, 2, 0),
            strict=True,
        ):
            kind[name] = np.bincount(band, each.ravel(), size)

    def draw(
        self, ahead: np.ndarray, chances: Sequence[Callable[[int], np.ndarray]]
    ) -> list[Histories]:
        """Draw histories of every course, one for each of ``chances``.

        Parameters
        ----------
        ahead : ndarray
            From `backwards`.
        chances : sequence of callable
            Step -> ndarray, shape (n,), even on [0, 1).
        """
        times = len(chances)  # all at once: the first n are the first history's
        course = np.tile(np.arange(self.n), times)
        state, into = np.zeros((2, times * self.n), int)
        # whole days and few states: narrow, as all fillings are kept side by side
        never = np.full(times * self.n, np.inf, np.float32)
        when = {place: never.copy() for place in (WORKING, DRONE, GONE)}
        ended = np.full(times * self.n, NOT_ENDED, np.int8)
        for step, day in enumerate(self.steps.days):
            u, was = np.concatenate([each(step) for each in chances]), state.copy()
            for source in WAYS:
                rows = np.flatnonzero(was == source)
                own, who = into[rows], course[rows]
                moving = self._chances(source, step, own, who)
                to = self._to(source, step)
                places = [own, *(np.full(len(rows), place) for place in to)]
                upto = np.cumsum(moving * ahead[step][np.array(places), who], axis=0)
                pick = (u[rows] * upto[-1] >= upto[:-1]).sum(axis=0)
                for way, name in enumerate(WAYS[source], 1):
                    hit, target = rows[pick == way], CAUSES[name].target
                    state[hit], into[hit] = target, to[way - 1]
                    when[min(target, GONE)][hit] = day
                    if target >= GONE:
                        ended[hit] = target
        parts = [np.split(x, times) for x in (*when.values(), ended)]
        return [Histories(*each) for each in zip(*parts, strict=True)]

    def _chances(self, source: int, step: int, own, rows) -> np.ndarray:
        """Give some courses' chance to stay in their places, then to leave, (1 + ways, r)."""
        if source != WORKING:
            return self.ways[source][:, step, rows]
        sets = own - 1
        rates = self.base[step, sets].T * self.factor[step][:, rows]
        leaving = rates * self.share[step, sets, rows]
        return np.concatenate([self.stay[step, sets, rows][None], leaving])
