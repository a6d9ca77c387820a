"""A planned trial: from request and figures to its size and what to have ready.

Nothing is rounded before the last step, and queens are counted three times: decided,
closed (some of them undecided), inseminated (some of them never asked).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import brentq

from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.stats.shares.planning import (
    Dose,
    Ready,
    Size,
    design_effect,
    enough_batches,
    few_batches_factor,
    margin_size,
    round_up,
    superiority_size,
    to_have_ready,
    within_batch_effect,
)
from queen_outcomes.trial.plan_figures import Figures, station_figures
from queen_outcomes.trial.plan_request import Request, read_request, unusual_doses

SPARE = 0.1
"""Share of the semen to have over, for what stays in tips and tubes; an allowance."""


@dataclass(frozen=True)
class TrialPlan:
    """Everything that is said of a planned trial.

    ``ready`` is for the whole trial, ``ready_a_batch`` for the graft batch that takes
    most. ``remarks`` are what a person should look at, a sentence each.
    """

    request: Request
    figures: Figures
    size: TrialSize
    ready: Ready
    ready_a_batch: Ready
    remarks: tuple[str, ...]
    settings: Settings
    as_of: dt.date


def make(
    store: Store, settings: Settings, as_of: dt.date, asked: Mapping[str, Any]
) -> TrialPlan:
    """Plan a trial with the figures of a finished build.

    Parameters
    ----------
    store : Store
        The build's tables, to read.
    settings : Settings
    as_of : date
        Of the build.
    asked : mapping
        See `plan_request.read_request`.

    Raises
    ------
    UsageError
        It cannot be planned so; the message says why and what would do.
    """
    request = read_request(asked, settings, as_of)
    figures = station_figures(store, settings, as_of, request)
    size = trial_size(request, figures)
    ul = figures.ul_a_drone.value
    needs = [Dose(arm.name, size.queens, arm.total_ul) for arm in request.arms]
    return TrialPlan(
        *(request, figures, size, to_have_ready(needs, ul, SPARE)),
        to_have_ready(_of_a_batch(request, size), ul, SPARE),
        tuple(_remarks(store, settings, request)),
        *(settings, as_of),
    )


def _of_a_batch(request: Request, size: TrialSize) -> list[Dose]:
    if request.whole_batches:
        largest = max(request.arms, key=lambda arm: arm.total_ul)
        return [Dose(largest.name, size.layout.used, largest.total_ul)]
    queens = round(size.layout.per_arm)
    return [Dose(arm.name, queens, arm.total_ul) for arm in request.arms]


def _remarks(store: Store, settings: Settings, request: Request) -> list[str]:
    remarks = unusual_doses(request.arms, settings)
    ((courses,),) = store.rows(
        "SELECT count(*) FROM courses WHERE trial = $trial", {"trial": request.name}
    )
    if courses:
        remarks.append(
            f"{courses} courses of a trial named {request.name} are in the records "
            "already: give a new trial a name of its own with --name"
        )
    return remarks


NEIGHBOURS = (0.5, 0.75, 0.9, 1.0, 1.1, 1.25, 1.5)
LOWEST_POWER, HIGHEST_POWER = 0.05, 0.9999
"""Between these the power of a number of batches is looked for."""


@dataclass(frozen=True)
class BatchLayout:
    """How the queens of a graft batch are used.

    ``used`` of them are in the trial, ``spare`` are over; a graft batch takes
    ``loads`` semen batches, each for so many of its queens as ``load_queens`` says;
    ``per_arm`` queens of a batch go to an arm that it holds.
    """

    used: int
    spare: int
    load_queens: tuple[int, ...]
    per_arm: float

    @property
    def loads(self) -> int:
        """Semen batches for one graft batch."""
        return len(self.load_queens)


@dataclass(frozen=True)
class Power:
    """Power of a number of batches; None: under 5 %."""

    batches: int
    queens: int
    decided: float
    power: float | None


@dataclass(frozen=True)
class TrialSize:
    """What the trial needs.

    Attributes
    ----------
    p_arm, p_reference : float
        Shares of successes planned with.
    alone : float
        Decided courses an arm, were they independent.
    effect, few : float
        Factors for batches being alike, and for their number being small.
    decided, closed, inseminated : int
        Courses an arm that are needed.
    batches : int
        Graft batches of the whole trial.
    queens : int
        Queens an arm in these batches; what is above ``inseminated`` is reserve.
    layout : BatchLayout
    power : float or None
        Of all these batches.
    neighbours : tuple of Power
    opposite : float or None
        ``alone`` for a difference in the other direction, where there can be one.
    """

    p_arm: float
    p_reference: float
    alone: float
    effect: float
    few: float
    decided: int
    closed: int
    inseminated: int
    batches: int
    queens: int
    layout: BatchLayout
    power: float | None
    neighbours: tuple[Power, ...]
    opposite: float | None


def trial_size(request: Request, figures: Figures) -> TrialSize:
    """Work out the size of a trial.

    Raises
    ------
    UsageError
        No number of queens would do, or a batch cannot hold a block.
    """
    p = figures.share.value
    p_arm = _share_of_arm(request, p)
    layout = lay_out(request, figures)
    trial = _Trial(request, figures, layout)
    alone = trial.alone(request.power)
    batches = trial.whole_blocks(trial.enough())
    few = trial.few(batches, request.power)
    decided = alone.first * trial.effect * few
    closed = decided / figures.decided.value
    opposite = None
    if request.difference is not None and 0 < p - request.difference < 1:
        opposite = superiority_size(
            p - request.difference, p, alpha=request.alpha, power=request.power
        ).first
    return TrialSize(
        *(p_arm, p, alone.first, trial.effect, few),
        *(round_up(decided), round_up(closed), round_up(closed / figures.asked.value)),
        *(batches, trial.queens(batches), layout, trial.power(batches)),
        tuple(trial.neighbours(batches)),
        opposite,
    )


def lay_out(request: Request, figures: Figures) -> BatchLayout:
    """Give each graft batch whole blocks, spread over its semen batches.

    Raises
    ------
    UsageError
        A graft batch has fewer queens than a block.
    """
    queens = int(figures.per_graft.value + 1e-9)
    block = 1 if request.whole_batches else request.block_size
    blocks = queens // block
    if blocks < 1:
        raise UsageError(
            "a graft batch cannot hold a block",
            where="--block-size",
            found=f"a block of {block}, {queens} queens of a graft batch",
            expected=f"a multiple of {len(request.arms)}, at most {queens}",
            hint="take smaller blocks, or draw whole batches with --by batch",
        )
    used = blocks * block
    loads = min(max(round(used / figures.per_load.value), 1), blocks)
    each, more = divmod(blocks, loads)
    load_queens = tuple((each + (at < more)) * block for at in range(loads))
    arms = 1 if request.whole_batches else len(request.arms)
    return BatchLayout(used, queens - used, load_queens, used / arms)


def _share_of_arm(request: Request, p: float) -> float:
    """Give the arm's share of successes; refuse one that there cannot be."""
    if request.margin is not None:
        if request.margin >= p:
            raise UsageError(
                "the margin lets any arm pass",
                where="--margin",
                found=f"{request.margin:g}, with {100 * p:.0f} % successes expected",
                expected=f"a margin under {p:.2f}",
            )
        return p
    difference = request.difference or 0.0
    if not 0 < p + difference < 1:
        raise UsageError(
            "no arm can differ so much",
            where="--difference",
            found=f"{100 * p:.0f} % successes expected of the reference, and "
            f"{100 * difference:+.0f} points",
            expected=f"a difference between {-p:.2f} and {1 - p:.2f}",
            hint="take a smaller difference, or a negative one to find a loss",
        )
    return p + difference


@dataclass(frozen=True)
class _Trial:
    """The sizes of one trial by power and by number of batches."""

    request: Request
    figures: Figures
    layout: BatchLayout

    @property
    def arms(self) -> int:
        return len(self.request.arms)

    @property
    def decided_a_batch(self) -> float:
        """Decided courses that a batch gives to an arm it holds."""
        f = self.figures
        return self.layout.per_arm * f.asked.value * f.decided.value

    @property
    def effect(self) -> float:
        f, m = self.figures, self.decided_a_batch
        if self.request.whole_batches:
            return design_effect(m, f.icc.value, f.cv.value)
        return within_batch_effect(m, f.icc.value, f.arm_by_batch.value)

    def alone(self, power: float) -> Size:
        r, p = self.request, self.figures.share.value
        if r.margin is not None:
            half = r.alpha / 2
            return margin_size(p, p, -r.margin, alpha=half, power=power)
        p_arm = p + (r.difference or 0.0)
        return superiority_size(p_arm, p, alpha=r.alpha, power=power)

    def enough(self) -> int:
        """Fewest graft batches of the whole trial; refuse where none would do."""
        r = self.request
        batches = enough_batches(
            self.alone(r.power),
            self.decided_a_batch,
            self.effect,
            arms_share_batches=not r.whole_batches,
            alpha=r.alpha / 2,
            power=r.power,
        )
        if not batches:
            raise UsageError(
                "no number of queens that a station could raise would do",
                found=f"{self.alone(r.power).first:.0f} decided courses an arm, were "
                "they independent",
                hint="ask for a larger difference or margin, or for less power",
            )
        return batches * (self.arms if r.whole_batches else 1)

    def whole_blocks(self, batches: int) -> int:
        """Fill the last block of graft batches where these are drawn by lot."""
        if not self.request.whole_batches:
            return batches
        block, power = self.request.block_size, self.request.power
        batches = -(-batches // block) * block
        # blocks of batches take degrees of freedom that the first count did not know of
        needed = self.alone(power).first * self.effect
        while self.decided(batches) < needed * self.few(batches, power) - 1e-9:
            batches += block
        return batches

    def _compared(self, batches: int) -> int:
        """Batches that one comparison stands on; each further block takes one away."""
        if not self.request.whole_batches:
            return batches
        blocks = -(-batches // self.request.block_size)
        return 2 * (batches // self.arms) - (blocks - 1)

    def few(self, batches: int, power: float) -> float:
        return few_batches_factor(
            self._compared(batches),
            arms_share_batches=not self.request.whole_batches,
            alpha=self.request.alpha / 2,
            power=power,
        )

    def queens(self, batches: int) -> int:
        """Queens an arm."""
        held = batches // self.arms if self.request.whole_batches else batches
        return round(held * self.layout.per_arm)

    def decided(self, batches: int) -> float:
        f = self.figures
        return self.queens(batches) * f.asked.value * f.decided.value

    def power(self, batches: int) -> float | None:
        """Give the power at which the size, few batches allowed for, is this number."""
        have = self.decided(batches) / self.effect

        def lacking(power: float) -> float:
            return self.alone(power).first * self.few(batches, power) - have

        if not lacking(LOWEST_POWER) < 0:
            return None
        if lacking(HIGHEST_POWER) < 0:
            return HIGHEST_POWER
        return float(brentq(lacking, LOWEST_POWER, HIGHEST_POWER, xtol=1e-10))

    def neighbours(self, batches: int) -> list[Power]:
        step = self.arms if self.request.whole_batches else 1
        counts = {max(round(batches * f / step), 1) * step for f in NEIGHBOURS}
        return [
            Power(n, self.queens(n), self.decided(n), self.power(n))
            for n in sorted({*counts, batches})
            if np.isfinite(self.few(n, self.request.power))
        ]
