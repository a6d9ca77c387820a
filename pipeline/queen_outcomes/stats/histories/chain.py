"""The states a course goes through, how fast it leaves them, and what a look tells of them.

A course waits, begins to lay, may turn drone-layer, and may end: gone (dead or missing),
replaced by a daughter, or taken out. Time runs in steps, days first and coarser later.
Chances of leaving depend on the day, or on the days since laying began, for which working
queens are kept apart by when they began; and on each course's own factors.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array

STATES = ("waiting", "working", "drone_laying", "gone", "replaced", "taken")
WAITING, WORKING, DRONE, GONE, REPLACED, TAKEN = range(len(STATES))
BEGAN = (0, 8, 10, 13, 18, 28)
"""Days from which on working queens are kept apart by the day on which they began."""


SOME = 200_000
"""Findings counted at a time."""
LEAST = -40.0
"""Log chance under which nothing falls: records that contradict each other still have
an answer."""


@dataclass(frozen=True)
class Cause:
    """One way out of a state.

    Its rate is constant between ``edges``, days since day 0, or since laying began
    (``since_laying``); no edges: one rate. ``effect`` names what factors do to it.
    """

    source: int
    target: int
    effect: str
    edges: tuple[int, ...] | None = ()
    since_laying: bool = False


CAUSES: dict[str, Cause] = {
    "begins": Cause(WAITING, WORKING, "begins", None),
    "lost_unlaid": Cause(WAITING, GONE, "lost", (1, 3, 7, 14, 30, 90)),
    "taken_unlaid": Cause(WAITING, TAKEN, "taken", (14, 21, 28, 45, 90)),
    "turns": Cause(WORKING, DRONE, "turns", (7, 14, 21, 28, 42, 70, 120), True),
    "lost": Cause(WORKING, GONE, "lost", (7, 14, 30, 60, 120, 200, 300)),
    "replaced": Cause(
        WORKING, REPLACED, "replaced", (7, 14, 21, 35, 49, 70, 120, 200), True
    ),
    "taken": Cause(WORKING, TAKEN, "taken", (30, 60, 75, 100)),
    "lost_drone": Cause(DRONE, GONE, ""),
    "replaced_drone": Cause(DRONE, REPLACED, ""),
    "taken_drone": Cause(DRONE, TAKEN, ""),
}
WAYS = {
    source: [name for name, cause in CAUSES.items() if cause.source == source]
    for source in (WAITING, WORKING, DRONE)
}
EFFECTS = ("begins_early", "begins_late", "lost", "taken", "turns", "replaced")
"""What factors act on; on beginning they act twice, on the early days and on the rest, as
what delays laying need not prevent it."""
BY_QUALITY = tuple(WAYS[WORKING])
"""Causes that quality acts on: nobody is scored who waits."""
MEAN_QUALITY, FINE = 128, 32
QUALITIES = ((np.arange(256) - MEAN_QUALITY) / FINE).astype(np.float32)
"""Qualities, in deviations, of each code that they are kept by: a byte for each course and
step, as of 100,000 courses numbers would take 50 MB."""


@dataclass(frozen=True, eq=False)
class DaySteps:
    """The days at which states are told, and what follows from them alone.

    Attributes
    ----------
    days : ndarray of int, shape (g,)
        Rising from 0.
    middle : int
        The step from which on beginning counts as late.
    """

    days: np.ndarray
    middle: int

    @cached_property
    def width(self) -> np.ndarray:
        """Days in each step; day 0 is one."""
        return np.diff(self.days, prepend=-1).astype(float)

    @cached_property
    def began(self) -> np.ndarray:
        """Which set of working queens one belongs to that begins at a step, (g,)."""
        found = np.searchsorted(BEGAN, self.days, side="right")
        return np.unique(found, return_inverse=True)[1]

    @cached_property
    def bands(self) -> dict[str, np.ndarray]:
        """Place of each cause's rate, by step (g,), or by step and set (g, sets)."""
        start = np.array([self.days[self.began == b].mean() for b in range(self.sets)])
        laid = np.maximum(self.days[:, None] - start, 0)
        found = {}
        for name, cause in CAUSES.items():
            clock = laid if cause.since_laying else self.days
            edges = self.days[1:] if cause.edges is None else cause.edges
            found[name] = np.searchsorted(edges, clock, side="right")
        return found

    @property
    def sets(self) -> int:
        """Sets of working queens."""
        return int(self.began[-1]) + 1

    def before(self, day) -> np.ndarray:
        """Give the last step on or before a day; 0 where there is none."""
        found = np.searchsorted(self.days, day, side="right") - 1
        return np.maximum(found, 0)

    def behind(self, day) -> np.ndarray:
        """Give the first step on or after a day; the last where there is none."""
        return np.minimum(np.searchsorted(self.days, day), len(self.days) - 1)


@dataclass(frozen=True, eq=False)
class Sign:
    """What a look may tell, with its chance in each state.

    Attributes
    ----------
    chances : ndarray, shape (r, k)
        Of each of k findings, in r rows.
    row : tuple of int
        The row of each state.
    weight : ndarray, shape (r,)
        How many looks the chances given here count for when they are learned; inf: they
        are not learned.
    alike : bool
        Rows are pulled to what is found of all states together, in place of the chances
        given here.
    """

    chances: np.ndarray
    row: tuple[int, ...]
    weight: np.ndarray
    alike: bool = False


@dataclass(frozen=True, eq=False)
class FactorColumns:
    """Factors of n courses: numbers, then levels of words, each column centred.

    Attributes
    ----------
    numbers : ndarray, shape (n, p)
        Centred.
    levels : csr_array, shape (n, q)
        1 where a course has the level. A network has hundreds of operators, so that the
        levels' shares are taken off where it is counted, and never written out.
    ridge : ndarray, shape (p + q,)
        What each column's slope is pulled to zero by.
    """

    numbers: np.ndarray
    levels: csr_array
    ridge: np.ndarray

    @classmethod
    def none(cls, n: int) -> FactorColumns:
        """Give n courses without factors."""
        return cls(np.zeros((n, 0)), csr_array((n, 0)), np.zeros(0))

    @cached_property
    def shares(self) -> np.ndarray:
        """Each level's share of the courses, (q,)."""
        return self.levels.sum(axis=0) / max(self.levels.shape[0], 1)

    @cached_property
    def _course(self) -> np.ndarray:
        """The course of each entry of the levels, which are all 1."""
        return np.repeat(np.arange(len(self.numbers)), np.diff(self.levels.indptr))

    def times(self, slopes: np.ndarray) -> np.ndarray:
        """Give each course's sum of the columns, each times its slope, (n,)."""
        ours, theirs = np.split(slopes, [self.numbers.shape[1]])
        return self.numbers @ ours + (self.levels @ theirs - self.shares @ theirs)

    def totals(self, worth: np.ndarray) -> np.ndarray:
        """Give each column's sum over the courses, each times her worth, (p + q,)."""
        levels = self.levels.T @ worth - self.shares * worth.sum()
        return np.concatenate([self.numbers.T @ worth, levels])

    def products(self, worth: np.ndarray) -> np.ndarray:
        """Give the columns' products, each course times her worth, (p + q, p + q)."""
        numbers, levels, shares = self.numbers, self.levels, self.shares
        weighed = numbers * worth[:, None]
        within = numbers.T @ weighed
        between = levels.T @ weighed - np.outer(shares, weighed.sum(axis=0))
        held = levels.T @ worth
        parts = worth[self._course], levels.indices, levels.indptr
        alike = (levels.T @ csr_array(parts, levels.shape)).toarray()
        alike += worth.sum() * np.outer(shares, shares)
        alike -= np.outer(shares, held) + np.outer(held, shares)
        return np.block([[within, between.T], [between, alike]])


@dataclass(frozen=True, eq=False)
class SeenCourses:
    """All that was seen of n courses.

    Attributes
    ----------
    steps : DaySteps
    ruled_out : ndarray of bool, shape (g, states, n)
        What is known to be otherwise, by step and state.
    course, sign, finding : ndarray of int, shape (k,)
        One look's finding of one sign, course by course.
    at : ndarray of int, shape (k, states)
        The step at which it bears on each state.
    signs : tuple of Sign
    factors : FactorColumns
    batches : tuple of ndarray of int, each of shape (n,)
        Groups of courses that share their fate.
    quality : ndarray of uint8, shape (g, n)
        Codes in `QUALITIES` of what her scores known at each step's begin say of her;
        `MEAN_QUALITY` as long as there are none.
    """

    steps: DaySteps
    ruled_out: np.ndarray
    course: np.ndarray
    sign: np.ndarray
    finding: np.ndarray
    at: np.ndarray
    signs: tuple[Sign, ...]
    factors: FactorColumns
    batches: tuple[np.ndarray, ...]
    quality: np.ndarray

    @property
    def n(self) -> int:
        """Courses."""
        return self.ruled_out.shape[2]

    def findings_of(self, block: slice) -> slice:
        """Give which findings are of some courses."""
        start, stop, _ = block.indices(self.n)
        return slice(*np.searchsorted(self.course, [start, stop]).tolist())

    def _places(self, block: slice) -> np.ndarray:
        """Give the places of a block's findings in its (g, states, n), (r, states)."""
        (start, stop, _), rows = block.indices(self.n), self.findings_of(block)
        n = stop - start
        places = np.multiply(self.at[rows], len(STATES) * n, dtype=np.intp)
        places += n * np.arange(len(STATES))
        places += (self.course[rows] - start)[:, None]
        return places

    @cached_property
    def _told(self) -> np.ndarray:
        """The number of what each finding tells, all signs' findings in one row, (k,)."""
        width = [sign.chances.shape[1] for sign in self.signs]
        starts = np.cumsum([0, *width])[:-1].astype(np.int16)
        return starts[self.sign] + self.finding.astype(np.int16)

    @cached_property
    def _cells(self) -> np.ndarray:
        """The places in the table of all signs' chances of what is told, (c, states)."""
        sizes = np.cumsum([0, *(sign.chances.size for sign in self.signs)])
        starts = zip(self.signs, sizes[:-1], strict=True)
        own = [
            start + np.arange(width)[:, None] + width * np.array(sign.row)
            for sign, start in starts
            for width in sign.chances.shape[1:]
        ]
        return np.concatenate(own)

    def likelihood(self, signs: tuple[Sign, ...], block: slice) -> np.ndarray:
        """Give the chance of what was seen of some courses, (g, states, n); at most 1."""
        table = np.log(np.concatenate([sign.chances.ravel() for sign in signs]))
        ruled_out, rows = self.ruled_out[:, :, block], self.findings_of(block)
        told = table[self._cells][self._told[rows]]
        found = np.bincount(self._places(block).ravel(), told.ravel(), ruled_out.size)
        # of no findings the sums are whole numbers
        found = found.reshape(ruled_out.shape).astype(float, copy=False)
        np.add(found, LEAST, out=found, where=ruled_out)
        found -= found.max(axis=1, keepdims=True)
        np.maximum(found, LEAST, out=found)
        return np.exp(found, dtype=np.float32)

    def at_findings(self, inside: np.ndarray, block: slice) -> np.ndarray:
        """Pick from (g, states, n) of a block what its findings bear on, (r, states)."""
        return inside.ravel()[self._places(block)]

    def learn(
        self, signs: tuple[Sign, ...], inside: np.ndarray, weight: np.ndarray
    ) -> tuple[Sign, ...]:
        """Learn the signs' chances from where each course probably was.

        Parameters
        ----------
        signs : tuple of Sign
            As they began.
        inside : ndarray, shape (k, states)
            Chance of each state where a finding bears on it.
        weight : ndarray, shape (n,)
        """
        cells = self._cells
        of_states = np.zeros(cells.T.shape)
        for at in range(0, len(self.course), SOME):
            rows = slice(at, at + SOME)
            each = inside[rows] * weight[self.course[rows]][:, None]
            # in one sum with what was counted: its last digits hang on the order alone
            told = np.append(np.arange(len(cells)), self._told[rows])
            for some, counted in zip(each.T, of_states, strict=True):
                counted[:] = np.bincount(told, np.append(counted, some), len(cells))
        size = sum(sign.chances.size for sign in signs)
        count = np.bincount(cells.T.ravel(), of_states.ravel(), size)
        found, start = [], 0
        for sign in signs:
            part = count[start : start + sign.chances.size].reshape(sign.chances.shape)
            start += sign.chances.size
            fixed = np.isinf(sign.weight)[:, None]
            usual = sign.chances
            if sign.alike:
                usual = (part.sum(axis=0) + usual[0]) / (part.sum() + 1.0)
            more = part + usual * np.where(fixed, 1, sign.weight[:, None])
            learned = more / more.sum(axis=1, keepdims=True)
            found.append(replace(sign, chances=np.where(fixed, sign.chances, learned)))
        return tuple(found)
