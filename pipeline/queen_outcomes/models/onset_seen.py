"""What the records tell of each course's onset, as days and as numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.onset.onset_fit import fit_onset
from queen_outcomes.stats.onset.onset_likelihood import Courses, derivatives


@dataclass(frozen=True, eq=False)
class Seen:
    """What the records tell of each course's onset: arrays of one length.

    Laying began in ``(after, by]`` days after day 0, ``by`` inf including never; with
    ``or_never`` in that time or never.
    """

    after: np.ndarray
    by: np.ndarray
    or_never: np.ndarray

    @property
    def laid(self) -> np.ndarray:
        """Courses known to have laid."""
        return np.isfinite(self.by) & ~self.or_never

    def unlaid(self, day: int) -> np.ndarray:
        """Courses that ended unlaid, or were not laying on a day."""
        return ~self.laid & (self.or_never | (self.after >= day))

    @property
    def open_(self) -> np.ndarray:
        """Courses that have not laid and have not ended."""
        return np.isinf(self.by) & ~self.or_never

    def take(self, rows: np.ndarray) -> Seen:
        """Give some of the courses."""
        return Seen(self.after[rows], self.by[rows], self.or_never[rows])


def in_numbers(seen: Seen) -> np.ndarray:
    r"""Give what is known of laying as numbers, for gaps in the factors to be filled by.

    Returns
    -------
    ndarray, shape (n, 3)
        With p, m, s of the model without factors: how much likelier than p a course is
        to be a layer, given its record; how far above m its log day is then expected,
        times the chance that it is a layer, over s squared; 1 where it ended unlaid.
        Without such a model: 1 where known to have laid, and where ended unlaid.

    Notes
    -----
    The first two are the scores of log odds and log day. To first order, all that a
    record tells of a factor that goes with either lies in them: the chance of the
    record given the factor x is that without, times 1 + (effect of x) (score). An open
    course so counts as the layer that it may yet be, and a wide interval as less than
    a narrow one. That a course ended is known besides, and may go with gaps.
    """
    ended = seen.or_never.astype(float)
    ones = np.ones((len(ended), 1))
    alone = fit_onset(ones, ones, seen.after, seen.by, seen.or_never)
    if not np.isfinite(alone.sigma):
        return np.column_stack([seen.laid.astype(float), ended])
    with np.errstate(divide="ignore"):
        ends = np.log(np.maximum(seen.after, 0.0)), np.log(seen.by)
    courses = Courses(ones, ones, *ends, seen.or_never | np.isposinf(seen.by), False)
    at = np.array([*alone.gamma, *alone.beta, np.log(alone.sigma)])
    scores = derivatives(courses, at).scores[:, :2]
    # where everybody lays, chances differ from 1 by rounding alone
    return np.column_stack([scores.round(9), ended])
