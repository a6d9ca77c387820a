"""The onset model over gaps filled in several times, joined by Rubin's rules.

Factors and forms are chosen once; every filling is fitted in that shape.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from queen_outcomes.models.analysis_set import AnalysisSet
from queen_outcomes.models.filled import TIMES, filled_said, fillings, find_few, stacked
from queen_outcomes.models.fitted import join
from queen_outcomes.models.onset_model import OnsetModel, fit_values
from queen_outcomes.models.onset_seen import Seen, in_numbers
from queen_outcomes.stats.logistic.pooling import freedom_by_gaps, pool
from queen_outcomes.stats.onset.onset_fit import OnsetFit

SEED = zlib.crc32(b"laying, onset model")


def fill(courses: AnalysisSet, seen: Seen, times: int = TIMES) -> list[AnalysisSet]:
    """Fill the gaps in the factors several times, with what is known of laying."""
    made = fillings(courses, in_numbers(seen), seed=SEED, times=times)
    return [replace(courses, values=values) for values in made]


def over_fillings(first: OnsetModel, sets: Sequence[AnalysisSet]) -> OnsetModel:
    """Fit the other fillings in the shape of the first, and join the fits."""
    if first.method == "none":
        return first
    others = [fit_values(first, filling.values) for filling in sets[1:]]
    found = [
        (fit, filling.values)
        for fit, filling in zip([first.fit, *others], sets, strict=True)
        if fit.converged and fit.kind == first.fit.kind
    ]
    few = find_few(len(found), len(sets))
    if few:
        return replace(first, fit=None, message=join(few, first.courses.message))
    return replace(
        first,
        fit=join_fits([fit for fit, _ in found]),
        message=join(first.message, filled_said(len(found), len(sets))),
        filled=stacked([values for _, values in found]),
        imputations=len(sets),
    )


def join_fits(fits: Sequence[OnsetFit]) -> OnsetFit:
    """Join fits of one shape and kind; limits allow for gaps and for batches.

    Parameters
    ----------
    fits : sequence of OnsetFit

    Returns
    -------
    OnsetFit
        Means of gamma, beta and log sigma, with Rubin's covariance. A contrast has the
        fewer degrees of freedom of gaps and of batches. No log-likelihood.
    """
    first = fits[0]
    p, q = len(first.gamma), len(first.beta)
    whole = [np.array([*fit.gamma, *fit.beta, np.log(fit.sigma)]) for fit in fits]
    pooled = pool(whole, [fit.cov_joint for fit in fits])

    def freedom(contrast) -> float:
        return min(float(freedom_by_gaps(pooled, contrast)[0]), first.df(contrast))

    return replace(
        first,
        gamma=pooled.beta[:p],
        beta=pooled.beta[p : p + q],
        sigma=float(np.exp(pooled.beta[-1])),
        cov_joint=pooled.cov,
        log_likelihood=float("nan"),
        freedom=freedom,
    )
