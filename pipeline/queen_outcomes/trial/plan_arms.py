"""The arms of a planned trial: their names and doses, checked against the records' limits."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from queen_outcomes.base.errors import UsageError, nearest
from queen_outcomes.facts.column import Limits
from queen_outcomes.facts.dictionary import INSEMINATIONS
from queen_outcomes.facts.settings import Settings


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
