"""How well pairs of checkers agree who scored one queen within two days.

Eggs seen or not: kappa. Drone brood in worker cells, a word of three: kappa with linear
weights. Brood pattern in per cent: limits of agreement.
"""

from __future__ import annotations

from itertools import groupby
from typing import Any

import numpy as np

from queen_outcomes.base.store import Store
from queen_outcomes.facts.dictionary import DRONE_IN_WORKER
from queen_outcomes.facts.exports.audit import CHECKER_AGREEMENT
from queen_outcomes.facts.exports.writing import filled
from queen_outcomes.stats.shares.agreement import cohen_kappa, limits_of_agreement

Row = dict[str, Any]
WORDS: dict[str, tuple[Any, ...]] = {
    "eggs": (False, True),
    "drone_in_worker": DRONE_IN_WORKER,
}
"""Measures of words, in their order; the nearer two words the less a miss counts."""
NUMBER = "pattern_pct"


def agreement_rows(store: Store, fewest: int) -> list[Row]:
    """Give a row for every measure and pair of checkers, and for any two together.

    Parameters
    ----------
    store : Store
        Holds checker_pairs.
    fewest : int
        Pairs of looks below which only their number is given.

    Returns
    -------
    list of dict
        ``first_checker`` is None in the row of any two: its agreement takes them as
        exchangeable, and has no limits because a queen may stand in it several times.
        ``low`` and ``high`` are 95 % limits of kappa (None where two always agree), or
        the limits of agreement.
    """
    rows: list[Row] = []
    for measure in (*WORDS, NUMBER):
        seen = _pairs(store, measure)
        compare = _words if measure in WORDS else _numbers
        groups = [((None, None), seen)] if seen else []
        groups += [
            (pair, list(g)) for pair, g in groupby(seen, key=lambda row: row[:2])
        ]
        for (first, second), own in groups:
            found = compare(own, measure, fewest, any_two=first is None)
            whose = {"first_checker": first, "second_checker": second}
            rows.append({"measure": measure, **whose, **found})
    return filled(CHECKER_AGREEMENT, rows)


def _pairs(store: Store, measure: str) -> list[tuple]:
    return store.rows(
        f"SELECT first_checker, second_checker, first_{measure}, second_{measure} "
        f"FROM checker_pairs WHERE first_{measure} IS NOT NULL "
        f"AND second_{measure} IS NOT NULL ORDER BY ALL"
    )


def _words(seen: list[tuple], measure: str, fewest: int, *, any_two: bool) -> Row:
    places = {word: at for at, word in enumerate(WORDS[measure])}
    table = np.zeros((len(places), len(places)))
    for *_, first, second in seen:
        table[places[first], places[second]] += 1
    counts = {"pairs": len(seen), "agree": int(np.trace(table))}
    if len(seen) < fewest:
        return {**counts, "message": f"fewer than {fewest} pairs of looks"}
    if any_two:
        table = table + table.T  # kappa asks for shares only
    weights = "none" if measure == "eggs" else "linear"
    found = cohen_kappa(table, weights=weights)
    # where every score is the same the limits shrink to a point, which says nothing
    has_limits = not any_two and found.ase > 0
    limits = {"low": found.low, "high": found.high} if has_limits else {}
    return {**counts, "kappa": found.kappa, **limits, "message": found.message}


def _numbers(seen: list[tuple], measure: str, fewest: int, *, any_two: bool) -> Row:
    """Give limits of agreement; for any two, how far apart 95 % of scores lie.

    Any two: 1.96 times the root of the mean squared difference, the repeatability of
    Bland JM, Altman DG. Stat Methods Med Res 1999;8:135-160.
    """
    del measure
    counts = {"pairs": len(seen)}
    first, second = (np.array([row[at] for row in seen], float) for at in (2, 3))
    if len(seen) < fewest:
        return {**counts, "message": f"fewer than {fewest} pairs of looks"}
    if any_two:
        reach = 1.96 * float(np.sqrt(np.mean((first - second) ** 2)))
        return {**counts, "spread": reach, "message": ""}
    found = limits_of_agreement(first, second)
    limits = {"mean": found.mean, "low": found.low, "high": found.high}
    return {**counts, **limits, "message": found.message}
