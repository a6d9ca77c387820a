"""Which arm each course was meant for: what is asked of a station's own words.

The protocol that was written down; where that is not kept, the doses that were meant;
where not even those are, the doses given, which is a guess: a queen that died between
two doses looks like one of the single dose.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

PROTOCOL, MEANT, GIVEN = "protocol", "dose meant", "dose given"
USUAL = 0.5
"""Share of courses for which a source must be kept to be the station's way."""


@dataclass(frozen=True, eq=False)
class ArmLabels:
    """Arms by name.

    Attributes
    ----------
    label : ndarray of str, shape (n,)
        Empty where the source is not recorded for a course.
    source : str
        PROTOCOL, MEANT or GIVEN.
    intended : bool
        The arms stand for what was meant, whatever became of the queen.
    said : str
        Why they do not; empty when they do.
    """

    label: np.ndarray
    source: str
    intended: bool
    said: str = ""


def label_arms(
    protocol: np.ndarray, doses: np.ndarray, meant: np.ndarray, given: np.ndarray
) -> ArmLabels:
    """Name every course's arm by the first source that the station usually keeps.

    Parameters
    ----------
    protocol : ndarray of str, shape (n,)
        Empty: not recorded.
    doses : ndarray, shape (n,)
        Inseminations of the course.
    meant, given : ndarray, shape (n,)
        All doses of the course together, uL; NaN: not recorded.

    Returns
    -------
    ArmLabels
        One source for all, so that no arm is one of two names. Where none is usual, the
        one kept most often. Doses meant say what one insemination was to hold, and not
        how many there were to be: where numbers differ, the number is one given.
    """
    kept = {
        PROTOCOL: protocol != "",
        MEANT: np.isfinite(meant) & (doses > 0),
        GIVEN: np.isfinite(given) & (doses > 0),
    }
    shares = {
        name: float(known.mean()) if len(known) else 0.0 for name, known in kept.items()
    }
    usual = [name for name in kept if shares[name] >= USUAL]
    source = usual[0] if usual else max(kept, key=shares.__getitem__)
    known = kept[source]
    if source == PROTOCOL:
        return ArmLabels(protocol, source, intended=True)
    each = _each(meant, doses) if source == MEANT else np.round(_each(given, doses))
    label = np.array(
        [
            f"{int(number)} x {part:.3g} uL" if there else ""
            for number, part, there in zip(doses, each, known, strict=True)
        ],
        dtype=str,
    )
    if source == GIVEN:
        return ArmLabels(label, source, intended=False, said=GUESSED)
    alike = len(np.unique(doses[known])) <= 1
    return ArmLabels(label, source, intended=alike, said="" if alike else PARTLY)


GUESSED = (
    "arms were guessed from doses given: a queen that died between two doses counts "
    "against the single dose"
)
PARTLY = (
    "how many doses were meant is not recorded, only how many were given: a queen that "
    "died between two doses counts against the single dose"
)


def _each(volume: np.ndarray, doses: np.ndarray) -> np.ndarray:
    return np.divide(volume, doses, out=np.full(len(doses), np.nan), where=doses > 0)
