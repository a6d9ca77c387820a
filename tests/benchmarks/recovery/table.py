"""From the stations' figures and the true values to one table of how often limits hold.

``share`` is the share of stations whose 95 % limits hold the true value (``nominal``
0.95), or whose test gave P under 0.05 where there is nothing to find (0.05). Chance alone
would leave it within ``band_low`` to ``band_high`` in 95 of 100 runs. ``share_own`` is the
share that holds what the method itself tends to (``own``): limits that hold their own
value and not the true one are wide enough, and the method is off.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import polars as pl
from queen_outcomes.stats.shares.proportions import wilson
from scipy.stats import binom

Z = 1.959963984540054
ALPHA = 0.05
SCHEMA = {
    "what": pl.String,
    "question": pl.String,
    "stations": pl.Int64,
    "nominal": pl.Float64,
    "share": pl.Float64,
    "band_low": pl.Float64,
    "band_high": pl.Float64,
    "share_own": pl.Float64,
    "below": pl.Float64,
    "above": pl.Float64,
    "mean": pl.Float64,
    "truth": pl.Float64,
    "truth_se": pl.Float64,
    "own": pl.Float64,
    "bias": pl.Float64,
    "bias_se": pl.Float64,
    "sd": pl.Float64,
    "mean_se": pl.Float64,
    "answer": pl.Float64,
}
"""``below``, ``above``: share of stations whose limits lie wholly under, or over, the true
value. ``sd``: of the estimates from station to station; ``mean_se``: what the limits take
it for, as half their width over 1.96. ``answer``: the generator's own."""

Row = dict[str, Any]


def make_table(
    stations: list[Row], truth: Row, without: list[str], dose: Row | None
) -> pl.DataFrame:
    """Give the table.

    Parameters
    ----------
    stations : list of dict
        What `measure` gave for each.
    truth : dict
        True values by name, of `simulate_truth`.
    without : list of str
        Factors that have no effect.
    dose : dict or None
        The planned model's own limit.
    """
    rows = [
        *_rates(stations, truth),
        *_estimates(stations, truth),
        *_difference(stations, truth, dose),
        *_onset(stations, truth),
        *_tests(stations, without),
    ]
    return pl.DataFrame(rows, schema=SCHEMA)


def _rates(stations: list[Row], truth: Row) -> Iterator[Row]:
    for name in sorted({name for row in stations for name in row["rates"]}):
        found = [row["rates"][name] for row in stations if name in row["rates"]]
        counted = [given for given in found if given[0] + given[1] > 0]
        if not counted:
            continue
        yes, no, low, high = (np.array(x, float) for x in zip(*counted, strict=True))
        own = yes.sum() / (yes + no).sum()
        share = yes / (yes + no)
        plain = [wilson(x, n) for x, n in zip(yes, yes + no, strict=True)]
        alone = np.array([[given.low, given.high] for given in plain]).T
        true = truth[name] | {"value": truth[name]["share"], "own": own}
        yield covered("rate, limits by batch", name, (share, low, high), true)
        yield covered("rate, each course by itself", name, (share, *alone), true)


def _estimates(stations: list[Row], truth: Row) -> Iterator[Row]:
    for name in sorted({name for row in stations for name in row["estimates"]}):
        found = _columns([row["estimates"].get(name) for row in stations])
        if len(found[0]):
            true = truth[name]
            true = true | {"value": true["curve"], "own": found[0].mean()}
            yield covered("estimate", name, found, true)


def _difference(stations: list[Row], truth: Row, dose: Row | None) -> Iterator[Row]:
    found = _columns([row["dose"] for row in stations])
    if len(found[0]):
        true = truth["dose 8 to 12"]
        own = dose["own"] if dose else np.nan
        true = true | {"value": true["share"], "own": own}
        yield covered("adjusted difference", "laying 21, dose 8 to 12", found, true)


def _onset(stations: list[Row], truth: Row) -> Iterator[Row]:
    found = _columns([row["onset"] for row in stations])
    if len(found[0]):
        true = truth["laying 21"]
        true = true | {"value": true["share"], "own": found[0].mean()}
        yield covered("onset model", "laying 21", found, true)


def _tests(stations: list[Row], without: list[str]) -> Iterator[Row]:
    for model in ("main", "plan"):
        for name in without:
            p = [row["p"][model].get(name) for row in stations]
            p = np.array([x for x in p if x is not None], float)
            if len(p):
                band = _band(len(p), ALPHA)
                yield {
                    "what": "test of a term without effect",
                    "question": f"laying 21, {name} in the {model} model",
                    "stations": len(p),
                    "nominal": ALPHA,
                    "share": float((p < ALPHA).mean()),
                    **band,
                }


def _columns(found: list) -> tuple[np.ndarray, ...]:
    """Give estimate, low and high of the stations that have all three."""
    whole = [x for x in found if x is not None and None not in x]
    return tuple(np.array(whole, float).reshape(len(whole), 3).T)


def covered(what: str, question: str, found, true: Row) -> Row:
    """Give the row of a figure with limits.

    Parameters
    ----------
    found : tuple of ndarray, shape (n,)
        Estimate, low and high, a station each.
    true : dict
        ``value``, ``se``, ``own`` and ``answer``.
    """
    estimate, low, high = found
    n, value, own = len(estimate), true["value"], float(true["own"])
    sd = float(estimate.std(ddof=1)) if n > 1 else np.nan
    holds = (low <= own) & (own <= high)
    row = {
        "what": what,
        "question": question,
        "stations": n,
        "nominal": 1 - ALPHA,
        "share": float(((low <= value) & (value <= high)).mean()),
        **_band(n, 1 - ALPHA),
        "share_own": float(holds.mean()) if np.isfinite(own) else np.nan,
        "below": float((high < value).mean()),
        "above": float((low > value).mean()),
        "mean": float(estimate.mean()),
        "truth": value,
        "truth_se": true["se"],
        "own": own,
        "bias": float(estimate.mean() - value),
        "bias_se": sd / np.sqrt(n),
        "sd": sd,
        "mean_se": float((high - low).mean() / (2 * Z)),
        "answer": true.get("answer"),
    }
    return {
        k: None if isinstance(v, float) and np.isnan(v) else v for k, v in row.items()
    }


def _band(n: int, nominal: float) -> Row:
    low, high = binom.interval(0.95, n, nominal)
    return {"band_low": float(low / n), "band_high": float(high / n)}


def as_markdown(table: pl.DataFrame) -> str:
    """Give the table as Markdown, numbers to four places."""
    lines = [list(table.columns), ["---"] * table.width]
    lines += [[_shown(cell) for cell in row] for row in table.iter_rows()]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def _shown(cell: Any) -> str:
    if cell is None:
        return ""
    return f"{cell:.4f}" if isinstance(cell, float) else str(cell)
