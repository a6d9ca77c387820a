"""What the headlines would be had the unsettled courses fared otherwise than filled in.

A filling leans on what was seen of like queens. Here the odds of yes are shifted for the
courses that the records do not settle, and for them alone; colonies that were lost
count as the queen's own failure; and brood is overlooked by more looks, or fewer, than the
looks tell.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from queen_outcomes.base.store import Store
from queen_outcomes.facts.exports.outcomes import OVERLOOKED, SENSITIVITY
from queen_outcomes.facts.exports.writing import write_rows
from queen_outcomes.facts.outcomes import OUTCOMES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.fills import read_fills

OVERLOOKED_COLUMNS = tuple(f"overlooked_{by}" for by in OVERLOOKED)
SHIFTED = 2.0
"""By how much odds are divided and multiplied; a judgement."""


def write_sensitivity(store: Store, settings: Settings) -> None:
    """Write sensitivity, one row an outcome and window that has a headline.

    Parameters
    ----------
    store : Store
        Holds fills, overlooked, outcomes and histories.
    settings : Settings
    """
    rows = []
    shifts = {
        (row["outcome"], row["window_days"]): row
        for row in store.records("SELECT * FROM overlooked")
    }
    for outcome, window in settings.outcomes.windows:
        place = {"outcome": outcome, "window_days": window}
        found = store.frame(
            """
            SELECT
                course_id,
                state IN ('yes', 'no') AS settled,
                coalesce(exit_reason = 'colony_lost' AND exit_day <= $window_days, false)
                    AS colony_lost
            FROM outcomes
            INNER JOIN histories USING (course_id)
            WHERE outcome = $outcome AND window_days = $window_days AND closed
            """,
            place,
        )
        # by code point, as the fillings are read
        found = found[
            np.argsort(found["course_id"].to_numpy().astype(str), kind="stable")
        ]
        answers = read_fills(
            store, (outcome, window), found["course_id"].to_numpy().astype(str)
        )
        settled, lost = (found[name].to_numpy() for name in ("settled", "colony_lost"))
        told = shifted_shares(
            answers, settled, lost, 1.0 if OUTCOMES[outcome].fails == "yes" else 0.0
        )
        if told and OUTCOMES[outcome].among_layers:  # of layers, it answers nothing
            told["colony_lost"] = None
        if told:
            own, headline = shifts[outcome, window], told.pop("filled_in")
            moved = np.clip(headline + np.array(own["by"]), 0.0, 1.0).tolist()
            others = (None if np.isnan(share) else share for share in moved)
            told |= dict(zip(OVERLOOKED_COLUMNS, others, strict=True))
            rows.append({**place, **told, "overlooked": own["learned"]})
    write_rows(store, SENSITIVITY, rows)


def shifted_shares(
    answers: np.ndarray, settled: np.ndarray, colony_lost: np.ndarray, failure: float
) -> dict[str, Any]:
    """Give the share of yes as filled in, and with unsettled courses faring otherwise.

    Parameters
    ----------
    answers : ndarray, shape (m, n)
        1 yes, 0 no, nan not at risk, in each of m fillings.
    settled : ndarray of bool, shape (n,)
        The records tell the answer.
    colony_lost : ndarray of bool, shape (n,)
        The colony was lost before the window's end.
    failure : float
        The answer that is a failure: 1 or 0.

    Returns
    -------
    dict
        filled_in (as it is), unsettled (share of those at risk), halved, doubled (the odds of yes), all_no,
        all_yes, colony_lost; empty where nobody is at risk.

    Notes
    -----
    A course's chance is its share of yes in the fillings, q; with the odds times r it is
    ``r q / (1 - q + r q)``, which is what weighing each filling of it by r or 1 gives.
    """
    at_risk = np.isfinite(answers)
    worth = at_risk.mean(axis=0) if len(answers) else np.zeros(len(settled))
    if not worth.sum() > 0:
        return {}
    yes = np.where(at_risk, answers, 0.0).sum(axis=0)
    share = yes / np.maximum(at_risk.sum(axis=0), 1)

    def mean(of: np.ndarray, some: np.ndarray) -> float:
        return float(np.average(np.where(some, of, share), weights=worth))

    def shifted(by: float) -> np.ndarray:
        return by * share / (1.0 - share + by * share)

    open_ = ~settled
    return {
        "filled_in": mean(share, open_),
        "unsettled": float(np.average(open_, weights=worth)),
        "halved": mean(shifted(1 / SHIFTED), open_),
        "doubled": mean(shifted(SHIFTED), open_),
        "all_no": mean(np.zeros(len(share)), open_),
        "all_yes": mean(np.ones(len(share)), open_),
        "colony_lost": mean(np.full(len(share), failure), open_ & colony_lost),
    }
