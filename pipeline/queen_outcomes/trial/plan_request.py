"""What a trial is asked for: arms, question, difference or margin, checked and in order."""

from __future__ import annotations

import datetime as dt
import math
import unicodedata
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from queen_outcomes.base.errors import UsageError, nearest
from queen_outcomes.facts.column import Limits
from queen_outcomes.facts.dictionary import INSEMINATIONS
from queen_outcomes.facts.settings import Settings, asked_question

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
    block_size = 2 * len(arms) if block is None else block
    seed = zlib.crc32(name.encode()) if seed is None else seed
    _refuse_blocks(len(arms), block_size, seed)
    return Request(
        name=name,
        arms=arms,
        reference=read_reference(asked.get("reference"), arms),
        question=asked_question(settings, asked.get("outcome"), asked.get("days")),
        difference=difference,
        margin=margin,
        power=_number(asked, "power", LEAST_POWER, MOST_POWER, 0.8),
        by=asked.get("by") or "queen",
        block_size=block_size,
        seed=seed,
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
            expected=f"a share from {low:g} to {high:g}; 10 points are 0.1 or 10%",
            hint=f"write {_as_share(value)}" if low <= value / 100 <= high else "",
        )
    return float(value)


def _as_share(value: float) -> str:
    return f"{value / 100:g} or {value:g}%, if {value:g} per cent is meant"


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


@dataclass(frozen=True)
class Arm:
    """A dose protocol: its name as it is to stand in the records, and its doses, uL."""

    name: str
    doses: tuple[float, ...]

    @property
    def total_ul(self) -> float:
        """Volume over all doses, uL."""
        return sum(self.doses)

    @property
    def words(self) -> str:
        """The doses in words, such as "6 + 6 uL"."""
        return " + ".join(f"{dose:g}" for dose in self.doses) + " uL"


def read_arms(texts: Sequence[str], settings: Settings) -> tuple[Arm, ...]:
    """Read two arms or more, each as "name=dose" or "name=dose+dose", uL.

    Raises
    ------
    UsageError
        A text is no arm, a name stands twice, or a dose lies outside the hard limits.
    """
    arms = tuple(_read_arm(text, settings) for text in texts)
    names = [arm.name.casefold() for arm in arms]
    if len(arms) < 2:
        raise UsageError(
            "a trial compares two arms or more",
            where="--arm",
            found=", ".join(arm.name for arm in arms) or "none",
            hint='give each arm, such as --arm "single 8=8" --arm "6 and 6=6+6"',
        )
    for name in names:
        if names.count(name) > 1:
            raise UsageError(
                "two arms have one name", where="--arm", found=name, expected="one each"
            )
    return arms


def _read_arm(text: str, settings: Settings) -> Arm:
    name, _, doses = text.rpartition("=")
    try:
        read = tuple(float(part.replace(",", ".")) for part in doses.split("+"))
    except ValueError:
        read = ()
    if not (label(name) and read):
        raise UsageError(
            "an arm cannot be read",
            where="--arm",
            found=text,
            expected='its name, "=", and its doses in uL, such as "6 and 6=6+6"',
            hint='give each arm anew, such as --arm "6 and 6=6+6"',
        )
    hard = _dose_limits(settings, "hard")
    for dose in read:
        if not _within(dose, hard):
            raise UsageError(
                "a dose cannot be true",
                where=f"--arm {text}",
                found=f"{dose:g} uL",
                expected=f"{hard.words('uL')} ({hard.why})",
            )
    return Arm(label(name), read)


def _dose_limits(settings: Settings, kind: str) -> Limits:
    column = INSEMINATIONS.column("dose_meant_ul")
    return settings.limit(
        "inseminations", "dose_meant_ul", kind, getattr(column, kind)
    ) or Limits(0)


def _within(value: float, limits: Limits) -> bool:
    low, high = limits.low, limits.high
    above = low is None or value > low or (value == low and not limits.low_open)
    return math.isfinite(value) and above and (high is None or value <= high)


def label(text: str) -> str:
    """Write a name as the records are read: NFKC, blanks collapsed."""
    return " ".join(unicodedata.normalize("NFKC", text).split())


def refuse_empty_words(names: Iterable[str], settings: Settings) -> None:
    """Refuse names that the records would read as "not recorded".

    Raises
    ------
    UsageError
    """
    empty = {word.casefold() for word in settings.reading.empty}
    for name in names:
        if name.casefold() in empty or not name:
            raise UsageError(
                'a name means "not recorded" at this station',
                where="--arm, --name",
                found=f'"{name}"',
                expected="a name that is none of [words] empty in station.toml",
            )


def read_reference(given: str | None, arms: Sequence[Arm]) -> str:
    """Give the arm meant as the reference; the first where none is named.

    Raises
    ------
    UsageError
        It is none of the arms; the nearest is suggested.
    """
    names = {arm.name.casefold(): arm.name for arm in arms}
    if given is None:
        return arms[0].name
    if label(given).casefold() in names:
        return names[label(given).casefold()]
    close = nearest(given, names.values())
    raise UsageError(
        "the reference is none of the arms",
        where="--reference",
        found=given,
        expected="one of " + ", ".join(names.values()),
        hint=f'did you mean "{close}"?' if close else "name it as its --arm does",
    )


def unusual_doses(arms: Sequence[Arm], settings: Settings) -> list[str]:
    """Say which doses lie outside the usual."""
    soft = _dose_limits(settings, "soft")
    return [
        f"{arm.name}: {dose:g} uL is unusual ({soft.words('uL')}: {soft.why})"
        for arm in arms
        for dose in dict.fromkeys(arm.doses)
        if not _within(dose, soft)
    ]


def _refuse_blocks(arms: int, block_size: int, seed: int) -> None:
    """Refuse what cannot be drawn by lot in permuted blocks."""
    if block_size < arms or block_size % arms:
        raise UsageError(
            "the block cannot hold the ratio of the arms",
            found=f"a block of {block_size}",
            expected=f"a multiple of {arms}",
            hint=f"take a block of {arms * max(1, round(block_size / arms))}",
        )
    if seed < 0:
        raise UsageError(
            "the seed cannot be used",
            found=str(seed),
            expected="0 or a whole number above",
        )
