"""What the command `compare` asks for, held against what the station has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from queen_outcomes.base.errors import NoModelError, UsageError, nearest, shorten
from queen_outcomes.doses.arm_courses import Comparison


@dataclass(frozen=True)
class Wanted:
    """The command's words; None: not given.

    ``arms`` are names, or several in one text with commas between.
    """

    arms: tuple[str, ...] = ()
    reference: str | None = None
    outcome: str | None = None
    days: int | None = None
    margin: float | None = None
    trial: str | None = None


def comparison_of(wanted: Wanted, found: Sequence[Comparison]) -> Comparison:
    """Give the comparison that holds the arms named, cut down to them.

    Raises
    ------
    UsageError
        There is no such trial or arm; the nearest is suggested.
    NoModelError
        One arm only.

    Notes
    -----
    Without a trial the comparison with most of the arms named, then with most courses.
    """
    if wanted.trial is not None:
        found = _of_trial(wanted.trial, found)
    known = list(dict.fromkeys(n for one in found for n in one.commonest))
    named = read_names(wanted.arms, known)
    reference = wanted.reference
    asked = {*named, *([reference] if reference else [])}
    for name in sorted(asked):
        _refuse_unknown(name, known)
    chosen = max(
        found,
        key=lambda one: (len(asked & set(one.commonest)), (one.arm != "").sum()),
        default=None,
    )
    if chosen is None or not known:
        raise NoModelError(
            "there is no arm to compare",
            expected="protocols or doses of inseminations",
            hint="record protocol, or dose_meant_ul, in the inseminations",
        )
    missing = asked - set(chosen.commonest)
    if missing:
        raise UsageError(
            "these arms stand in different trials",
            where="--arms",
            found=", ".join(sorted(asked)),
            expected="arms of one trial, or all outside of trials",
            hint="name the trial with --trial",
        )
    if named:
        chosen = chosen.only(np.isin(chosen.arm, sorted(asked)))
    if len(chosen.commonest) < 2:
        raise NoModelError(
            "there is one arm only",
            found=", ".join(chosen.commonest),
            expected="two arms or more",
            hint="name another with --arms: " + shorten(known, ", "),
        )
    return chosen


def read_names(texts: Sequence[str], known: Sequence[str]) -> list[str]:
    """Part what was given into names; a known arm with a comma in it stays whole."""
    names: list[str] = []
    for text in texts:
        parts = [text] if text in known else text.split(",")
        names += [part.strip() for part in parts if part.strip()]
    return list(dict.fromkeys(names))


def _refuse_unknown(name: str, known: Sequence[str]) -> None:
    if name in known:
        return
    close = nearest(name, known)
    raise UsageError(
        "there is no such arm",
        where="--arms" if known else "the records",
        found=name,
        expected="one of " + shorten(list(known), ", ") if known else "an arm",
        hint=f'did you mean "{close}"?' if close else "",
    )


def _of_trial(trial: str, found: Sequence[Comparison]) -> list[Comparison]:
    names = [one.trial for one in found if one.trial]
    if trial not in names:
        close = nearest(trial, names)
        raise UsageError(
            "there is no such trial",
            where="--trial",
            found=trial,
            expected="one of " + shorten(names, ", ")
            if names
            else "no trial is recorded",
            hint=f'did you mean "{close}"?' if close else "",
        )
    return [one for one in found if one.trial == trial]
