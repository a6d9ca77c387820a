"""Learns rates, effects of factors and chances of signs, and fills histories in.

By expectation and maximisation over the chain; each filling is drawn from rates learned
anew with batches weighted at random, so that fillings differ as far as the rates are
uncertain (a bootstrap of batches).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from queen_outcomes.base.workers import Task, Workers
from queen_outcomes.stats.histories.chain import (
    BY_QUALITY,
    CAUSES,
    EFFECTS,
    QUALITIES,
    SeenCourses,
    Sign,
)
from queen_outcomes.stats.histories.passes import (
    Counts,
    Histories,
    Rates,
    count_all,
    draw_all,
)

ROUNDS, ROUNDS_AGAIN, PAIR = 20, 3, 2
"""Rounds of learning at first, and from there for each pair of fillings."""
LOOSE, STIFF = 2.0, 100.0
"""Bounds of how much batches are pulled together, in events a batch."""
NEIGHBOURS = 9
"""Steps that make the usual rate of beginning to lay about a day."""
WEIGHING = 2**16
"""Place of the chance by which batches are weighted, beyond all steps."""
CLIP = 3.0
"""Of a course's log factor, and of what her quality adds to it."""
PULL = 1.0
"""What the slopes of quality are pulled to zero by, in events for one deviation."""
USUAL = 0.5
"""Events that the usual rate counts for in each band, as in Jeffreys' rule for a rate (from
memory). A whole one flattens a peak, and supersedures come in one: in 60 simulated stations
they lay .3 points lower by day 90, and nothing was steadier for it but by .03."""


@dataclass(frozen=True, eq=False)
class Model:
    """What is learned.

    Attributes
    ----------
    rates : Rates
    signs : tuple of Sign
    slopes : dict of str to ndarray, shape (p,)
        Of the factors, by effect.
    by_quality : dict of str to float
        Slopes of quality, by cause.
    """

    rates: Rates
    signs: tuple[Sign, ...]
    slopes: dict[str, np.ndarray]
    by_quality: dict[str, float]


def fit_histories(seen: SeenCourses, weight: np.ndarray | None = None) -> Model:
    """Learn from all courses, each by its weight, shape (n,)."""
    ones = {name: np.ones(seen.n) for name in EFFECTS}
    base = {name: _start(seen, name) for name in CAUSES}
    slopes = {name: np.zeros(len(seen.factors.ridge)) for name in EFFECTS}
    quality = dict.fromkeys(BY_QUALITY, 0.0)
    rates = Rates(base, ones, seen.quality, _by_quality(quality))
    weight = np.ones(seen.n) if weight is None else weight
    return learn(seen, Model(rates, seen.signs, slopes, quality), weight, ROUNDS)


def _by_quality(slopes: dict[str, float]) -> dict[str, np.ndarray]:
    """Give what each quality does to each cause."""
    return {name: _factor(slope * QUALITIES) for name, slope in slopes.items()}


def _start(seen: SeenCourses, name: str) -> np.ndarray:
    """Give rates to learn from: a tenth begin a day in the first weeks.

    Where nothing tells of an end, its rate stays where it began: so ends begin low, at
    one queen in fourteen a year.
    """
    if name == "begins":
        return np.where(seen.steps.days < 25, 0.1, 0.01)
    return np.full(int(seen.steps.bands[name].max()) + 1, 2e-4)


def learn(seen: SeenCourses, model: Model, weight: np.ndarray, rounds: int) -> Model:
    """Go on learning for some rounds."""
    for _ in range(rounds):
        (counts,), inside = _expected(seen, model, [weight])
        model = _improved(seen, model, counts, inside, weight)
    return model


def _expected(
    seen: SeenCourses, model: Model, weights: Sequence[np.ndarray]
) -> tuple[list[Counts], np.ndarray]:
    """Give what the model says has happened, counted once for each of ``weights``.

    Beside it the chance of each state where a finding bears on it, (k, states).
    """
    inside = np.empty(seen.at.shape, np.float32)

    def tell(block: slice, chances: np.ndarray) -> None:
        inside[seen.findings_of(block)] = seen.at_findings(chances, block)

    likely = partial(seen.likelihood, model.signs)
    return count_all(seen.steps, model.rates, likely, weights, tell), inside


def _improved(
    seen: SeenCourses, model: Model, counts: Counts, inside: np.ndarray, weight
) -> Model:
    """Give the model that fits best what is expected to have happened."""
    signs = seen.learn(seen.signs, inside, weight)
    base = {name: _rate(counts, name) for name in CAUSES}
    slopes, factor = {}, {}
    for name in EFFECTS:
        slopes[name], factor[name] = _effects(seen, model, counts, name, weight)
    quality = {
        name: _slope(counts, name, base[name], slope)
        for name, slope in model.by_quality.items()
    }
    rates = Rates(base, factor, seen.quality, _by_quality(quality))
    return Model(rates, signs, slopes, quality)


def _rate(counts: Counts, name: str) -> np.ndarray:
    """Events over days at risk, a band with few of them pulled to the usual rate.

    That is all bands'; of what is told day by day, that of the days about it.
    """
    events, days = counts.events[name], counts.days[name]
    usual = (events.sum() + 0.1) / (days.sum() + 100.0)
    if CAUSES[name].edges is None:
        near, wide = (0.25, 0.5, 0.25), np.ones(NEIGHBOURS)
        usual = (np.convolve(events, wide, "same") + 0.1) / (
            np.convolve(days, wide, "same") + 100.0
        )
        events, days = (np.convolve(x, near, "same") for x in (events, days))
    return (events + USUAL) / (days + USUAL / usual)


def _slope(counts: Counts, name: str, rate: np.ndarray, slope: float) -> float:
    """Take one step of a ridge Poisson regression on quality, each band with its own rate.

    The bands' rates give way with the slope: early bands are those of queens not scored
    yet, and what is at zero there would otherwise pull for many rounds.
    """
    days, at = counts.days[name], counts.days_at[name]
    spread = counts.days_at_square[name] - at**2 / np.maximum(days, 1e-9)
    push = counts.events_at[name] - rate @ at - PULL * slope
    return float(slope + np.clip(push / (rate @ spread + PULL), -1.0, 1.0))


def _effects(
    seen: SeenCourses, model: Model, counts: Counts, name: str, weight: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Take one step of a ridge Poisson regression, then pull the batches together."""
    factors, slopes = seen.factors, model.slopes[name]
    came, expected = counts.came[name], counts.expected[name]
    before = model.rates.factor[name]
    # the level is the rates' own, which are learned in the same round
    level = (weight @ came) / max(weight @ (expected * before), 1e-12)
    expected = expected * level
    mean = weight * expected * before
    push = factors.totals(weight * came - mean) - factors.ridge * slopes
    step = np.linalg.solve(factors.products(mean) + np.diag(factors.ridge), push)
    slopes = slopes + step * min(1.0, 1.0 / max(np.abs(step).max(initial=0), 1e-9))
    own = _factor(factors.times(slopes))
    return slopes, own * _batched(seen, came, expected, own, weight)


def _factor(x):
    return np.exp(np.clip(x, -CLIP, CLIP))


def _batched(seen: SeenCourses, came, expected, own, weight) -> np.ndarray:
    """Give the batches' part in the factors, a gamma's mean given what came of them."""
    parts = [np.ones(seen.n) for _ in seen.batches]
    for at, codes in enumerate(seen.batches):
        others = own * np.prod([p for k, p in enumerate(parts) if k != at], axis=0)
        y = np.bincount(codes, weight * came)
        mu = np.bincount(codes, weight * expected * others)
        extra = ((y - mu) ** 2 - y).sum() / max((mu**2).sum(), 1e-9)
        pull = np.clip(1.0 / max(extra, 1e-9), LOOSE, STIFF)
        parts[at] = ((y + pull) / (mu + pull))[codes]
    return np.prod(parts, axis=0) if parts else np.ones(seen.n)


def begin_filling(
    seen: SeenCourses,
    model: Model,
    keys: np.ndarray,
    clusters: np.ndarray,
    times: int,
    workers: Workers,
    supposed: Sequence[tuple[Sign, ...]] = (),
) -> tuple[list[Task], list[Task]]:
    """Begin to draw whole histories, several times, each pair from rates learned anew.

    Parameters
    ----------
    seen : SeenCourses
    model : Model
        From `fit_histories`.
    keys : ndarray of uint64, shape (n,)
        A number of each course that depends on nothing but its name: all chance comes
        of it, so that neither order nor company of the courses matters to it.
    clusters : ndarray of int, shape (n,)
        Batches that are weighted as one, 0..k-1.
    times : int
    workers : Workers
    supposed : sequence of tuple of Sign
        Other chances of signs, under each of which the first pair is drawn once more. Chance,
        and how batches are weighted, are the same, so that they differ by the signs alone.

    Returns
    -------
    tuple of lists of Task
        Each task gives a pair, a list of Histories: of all, and of ``supposed``.
    """
    firsts = range(0, times, PAIR)
    weights = [_weight(keys, clusters, first) for first in firsts]
    # the first round of learning is from one model: what it expects is counted once for all
    counts, inside = _expected(seen, model, weights)
    bare = replace(seen)  # without what it has worked out of itself

    def begun(some: SeenCourses, number: int) -> Task:
        weight, first = weights[number], firsts[number]
        again = _improved(some, model, counts[number], inside, weight)
        numbers = range(times)[first : first + PAIR]
        return workers.submit(_pair, some, again, keys, weight, numbers)

    under = [replace(seen, signs=signs) for signs in supposed]
    return [begun(bare, k) for k in range(len(firsts))], [begun(s, 0) for s in under]


def fill_in(
    seen: SeenCourses,
    model: Model,
    keys: np.ndarray,
    clusters: np.ndarray,
    times: int,
) -> list[Histories]:
    """Draw whole histories here; see `begin_filling`."""
    tasks, _ = begin_filling(seen, model, keys, clusters, times, Workers(1))
    return [drawn for task in tasks for drawn in task.result()]


def _weight(keys: np.ndarray, clusters: np.ndarray, number: int) -> np.ndarray:
    """Weight the batches at random, by one on average, (n,)."""
    names = np.full(len(np.bincount(clusters)), np.iinfo(np.uint64).max, np.uint64)
    np.minimum.at(names, clusters, keys)
    weight = -np.log1p(-even(names, number, WEIGHING))[clusters]
    return weight / weight.mean()


def _pair(seen: SeenCourses, model: Model, keys, weight, numbers) -> list[Histories]:
    """Draw the histories of some numbers, after what is left of the rounds of learning."""
    again = learn(seen, model, weight, ROUNDS_AGAIN - 1)
    chances = [lambda block, step, k=k: even(keys[block], k, step) for k in numbers]
    likely = partial(seen.likelihood, again.signs)
    return draw_all(seen.steps, again.rates, likely, seen.n, chances)


def even(keys: np.ndarray, *places: int) -> np.ndarray:
    """Give a number on [0, 1) for each key and place, always the same (splitmix64)."""
    x = keys.copy()
    for place in places:
        x += np.uint64((place + 1) * 0x9E3779B97F4A7C15 % 2**64)
        x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        x ^= x >> np.uint64(31)
    return (x >> np.uint64(11)) * 2.0**-53
