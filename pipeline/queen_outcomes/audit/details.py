"""What the operators' page shows beyond the exported tables; of the plan's outcome only.

Written once in the build, so that the page only shows. Internal tables: they may change
without notice.
"""

from __future__ import annotations

from typing import Any

import polars as pl

from queen_outcomes.audit.agreement_figures import agreement_rows
from queen_outcomes.audit.audit_tables import write
from queen_outcomes.audit.cases import Cases
from queen_outcomes.audit.day_figures import day_rows
from queen_outcomes.audit.excess import batch_parts
from queen_outcomes.audit.experience import experience_rows
from queen_outcomes.audit.learning_rows import learning_rows
from queen_outcomes.audit.operator_spread import spread_rows
from queen_outcomes.audit.signal_runs import part_rows, signal_batches, signal_rows
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings

Row = dict[str, Any]


def _columns(kind: Any, *names: str) -> dict[str, Any]:
    return dict.fromkeys(names, kind)


_WHOSE = _columns(pl.String, "operator")
_COUNTS = _columns(pl.Int64, "courses", "failures")
_BATCH = {
    **_columns(pl.String, "kind", "batch"),
    **_COUNTS,
    "expected": pl.Float64,
    "alone": pl.Boolean,
}
_SIGNAL = {**_WHOSE, "series": pl.String, "case": pl.Int64}
DETAILS: dict[str, tuple[dict[str, Any], str]] = {
    "operator_batches": ({**_WHOSE, **_BATCH}, "operator, kind, batch"),
    "operator_signals": (
        {
            **_SIGNAL,
            **_columns(pl.String, "direction", "course_id", "inseminated_at"),
            "known_on": pl.Date,
            "first_case": pl.Int64,
            **_COUNTS,
            "expected": pl.Float64,
        },
        'operator, series, "case"',
    ),
    "signal_batches": (
        {**_SIGNAL, **_BATCH},
        'operator, series, "case", kind, batch',
    ),
    "audit_days": (
        {
            "d0": pl.Date,
            "season": pl.String,
            **_COUNTS,
            "expected": pl.Float64,
            **_columns(pl.Int64, "low", "high"),
            "mid_p": pl.Float64,
            "flag": pl.String,
            **_columns(
                pl.List(pl.String), "operators", "graft_batches", "semen_batches"
            ),
        },
        "d0",
    ),
    "experience": (
        {
            **_WHOSE,
            **_columns(pl.Int64, "from_case", "to_case"),
            "middle": pl.Float64,
            **_COUNTS,
            **_columns(pl.Float64, "share", "low", "high", "expected"),
            "shown": pl.Boolean,
        },
        "operator, from_case",
    ),
    "learning": (
        {
            **_WHOSE,
            **_columns(pl.Int64, "case", "number"),
            **_columns(pl.Date, "d0", "known_on"),
            "failed": pl.Boolean,
            "value": pl.Float64,
            "reached": pl.Boolean,
        },
        'operator, "case"',
    ),
    "learning_limits": (
        {
            **_WHOSE,
            **_columns(pl.Int64, "first_number", "watched", "decided"),
            **_columns(pl.Float64, "adequate", "inadequate", "limit"),
            **_columns(pl.Float64, "false_chance", "true_chance"),
            "reached_at": pl.Int64,
            "message": pl.String,
        },
        "operator",
    ),
    "operator_spread": (
        {"operators": pl.Int64, **_columns(pl.Float64, "phi", "tau2")},
        "operators",
    ),
    "checker_agreement": (
        {
            **_columns(pl.String, "measure", "first_checker", "second_checker"),
            **_columns(pl.Int64, "pairs", "agree"),
            **_columns(pl.Float64, "kappa", "mean", "spread", "low", "high"),
            "message": pl.String,
        },
        "measure, first_checker NULLS FIRST, second_checker",
    ),
}
"""Table -> its columns and its order."""


def write_details(
    store: Store, settings: Settings, cases: Cases, series: list[Row]
) -> None:
    """Write the tables of DETAILS.

    Parameters
    ----------
    store : Store
        Holds checker_pairs.
    settings : Settings
    cases : Cases
        Closed courses of the plan's outcome, with risks.
    series : list of dict
        Rows of `operator_series`.
    """
    few, prior = settings.min_shown, settings.prior_cases
    parts = {name: batch_parts(name, cases) for name in cases.by_operator()}
    signals, runs = signal_rows(series)
    learning, limits = learning_rows(cases, prior, few)
    rows = {
        "operator_batches": part_rows(parts),
        "operator_signals": signals,
        "signal_batches": signal_batches(signals, runs, cases, parts),
        "audit_days": day_rows(cases),
        "experience": experience_rows(cases, prior, few),
        "learning": learning,
        "learning_limits": limits,
        "operator_spread": spread_rows(cases, few),
        "checker_agreement": agreement_rows(store, few),
    }
    for name, (schema, order) in DETAILS.items():
        write(store, name, pl.DataFrame(rows[name], schema=schema), order)
