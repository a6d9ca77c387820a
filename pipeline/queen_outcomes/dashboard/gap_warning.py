"""A warning about the records: what is not written down goes with what became of queens."""

from __future__ import annotations

from queen_outcomes.base.store import Store
from queen_outcomes.facts import words
from queen_outcomes.models.gap_fates import GAP_FATES
from queen_outcomes.models.terms import MAIN

CLEAR = 0.05


def gap_warning(store: Store, question: tuple[str, int]) -> str:
    """Say of an outcome which gaps go clearly with it; empty: of none.

    Parameters
    ----------
    store : Store
        Holds gap_fates, of a build that got as far as the models.
    question : tuple of str and int
    """
    if not store.has(GAP_FATES.name):
        return ""
    outcome, window = question
    rows = store.records(
        f"SELECT * FROM {GAP_FATES.name} WHERE outcome = $outcome AND "
        "window_days = $window AND p_holm < $clear ORDER BY p, factor",
        {"outcome": outcome, "window": window, "clear": CLEAR},
    )
    if not rows:
        return ""
    told = [
        f"{MAIN[row['factor']].label}: {words.percent(row['share_lacking'])} of the "
        f"{row['lacking']} that lack it, {words.percent(row['share_recorded'])} of the "
        f"{row['recorded']} others"
        for row in rows
    ]
    asked = words.outcome_by_day(outcome, window).capitalize()
    return (
        f"What is not written down goes with what became of the queens. {asked}, by "
        f"{'; '.join(told)}. Such a gap is filled in and never compared, but its filling "
        "may lean to one side: write it down for every queen."
    )
