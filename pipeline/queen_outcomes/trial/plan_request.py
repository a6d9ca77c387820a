"""What a trial is asked for: arms, question, difference or margin, checked and in order."""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from queen_outcomes.base.errors import UsageError
from queen_outcomes.facts.settings import Settings, asked_question
from queen_outcomes.trial.allocation import permuted_blocks
from queen_outcomes.trial.plan_arms import (
    Arm,
    label,
    read_arms,
    read_reference,
    refuse_empty_words,
)

LEAST_POWER, MOST_POWER = 0.5, 0.99
ALPHA = 0.05
"""Two-sided; a margin is tested at half of it, so that limits are of 95 % either way."""


@dataclass(frozen=True)
class Request:
    """A trial to be planned.

    Attributes
    ----------
    name : str
        Of the trial, as it is to stand in the records.
    arms : tuple of Arm
    reference : str
        The arm that the others are compared with.
    question : tuple of str and int
        Outcome and window, days.
    difference : float or None
        Arm minus reference, as a share of successes, that is to be found.
    margin : float or None
        Loss that would not matter, above 0. One of the two is given.
    power : float
    by : str
        "queen": drawn by lot within graft batches; "batch": whole graft batches.
    block_size : int
        Queens of a block, or graft batches where these are drawn.
    seed : int
    share, icc, queens_per_graft, queens_per_load : float, int or None
        Stated instead of the station's own figures.
    """

    name: str
    arms: tuple[Arm, ...]
    reference: str
    question: tuple[str, int]
    difference: float | None
    margin: float | None
    power: float
    by: str
    block_size: int
    seed: int
    share: float | None = None
    icc: float | None = None
    queens_per_graft: int | None = None
    queens_per_load: int | None = None

    @property
    def alpha(self) -> float:
        """Two-sided, shared out over the comparisons with the reference (Bonferroni)."""
        return ALPHA / (len(self.arms) - 1)

    @property
    def whole_batches(self) -> bool:
        """Whether whole graft batches are drawn by lot."""
        return self.by == "batch"


def read_request(
    asked: Mapping[str, Any], settings: Settings, as_of: dt.date
) -> Request:
    """Check what was asked for and fill in what was not.

    Parameters
    ----------
    asked : mapping
        ``arms`` (texts such as "6 and 6=6+6") and any field of `Request`, ``outcome``
        and ``days``; None or absent where nothing was said.
    settings : Settings
    as_of : date
        Of the build; the trial is named after the year that follows.

    Raises
    ------
    UsageError
        Something cannot be planned as asked; the message says what would do.
    """
    arms = read_arms(asked.get("arms") or (), settings)
    name = label(asked.get("name") or f"Doses_{as_of.year + 1}")
    refuse_empty_words([name, *(arm.name for arm in arms)], settings)
    block = asked.get("block_size")
    seed = asked.get("seed")
    difference, margin = _aim(asked, settings)
    request = Request(
        name=name,
        arms=arms,
        reference=read_reference(asked.get("reference"), arms),
        question=asked_question(settings, asked.get("outcome"), asked.get("days")),
        difference=difference,
        margin=margin,
        power=_number(asked, "power", LEAST_POWER, MOST_POWER, 0.8),
        by=asked.get("by") or "queen",
        block_size=2 * len(arms) if block is None else block,
        seed=zlib.crc32(name.encode()) if seed is None else seed,
    )
    names = [arm.name for arm in arms]
    # drawing nobody refuses what could not be drawn
    permuted_blocks({}, dict.fromkeys(names, 1), request.block_size, request.seed)
    return replace(
        request,
        share=_number(asked, "share", 0.001, 0.999),
        icc=_number(asked, "icc", 0.0, 0.999),
        queens_per_graft=_count(asked, "queens_per_graft"),
        queens_per_load=_count(asked, "queens_per_load"),
    )


def _aim(
    asked: Mapping[str, Any], settings: Settings
) -> tuple[float | None, float | None]:
    """Give the difference or the margin; the station's own margin where none is said."""
    difference = _number(asked, "difference", -1.0, 1.0)
    margin = _number(asked, "margin", 0.0, 1.0)
    if difference is None and margin is None:
        margin = settings.plan.margin
    if (difference is None) == (margin is None):
        raise UsageError(
            "a trial is planned either for a difference or for a margin",
            where="--difference, --margin",
            found="both" if margin is not None else "neither",
            expected="one of them",
            hint="--difference 0.1 to find an arm better by 10 points; --margin 0.1 to "
            "show that an arm is not worse by 10 points or more",
        )
    if 0 in (difference, margin):
        raise UsageError(
            "no number of queens shows a difference of nothing",
            where="--difference, --margin",
            found="0",
            expected="a share such as 0.1",
        )
    return difference, margin


def _number(
    asked: Mapping[str, Any],
    name: str,
    low: float,
    high: float,
    default: float | None = None,
) -> Any:
    value = asked.get(name)
    if value is None:
        return default
    if not low <= value <= high:
        raise UsageError(
            "a number does not fit",
            where=f"--{name.replace('_', '-')}",
            found=f"{value:g}",
            expected=f"a number from {low:g} to {high:g}, such as 0.1 for 10 points",
        )
    return float(value)


def _count(asked: Mapping[str, Any], name: str) -> int | None:
    value = asked.get(name)
    if value is not None and not 1 <= value <= 10_000:
        raise UsageError(
            "a number of queens does not fit",
            where=f"--{name.replace('_', '-')}",
            found=str(value),
            expected="a whole number from 1 to 10000",
        )
    return value
