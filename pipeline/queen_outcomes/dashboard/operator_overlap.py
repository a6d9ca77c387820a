"""Whether operators can be told from the batches they worked on."""

from __future__ import annotations

from typing import Any

from queen_outcomes.audit.cases import LARGE
from queen_outcomes.audit.operators import SEPARABLE
from queen_outcomes.base.store import Store

Row = dict[str, Any]
APART_COLUMNS = (
    ("operator", "Operator"),
    ("courses", "Courses"),
    ("shared", "In shared batches"),
    ("separable_said", "Operator and batch"),
    ("excess", "Failed − expected"),
    ("adds", "Graft batch that adds most"),
    ("whose", "Who else did it"),
)
NOT_SHOWN = ("shared", "separable_said", "excess", "adds", "whose")


def apart(store: Store, operators: list[Row]) -> Row:
    """Give the share of batches shared, and where failures beyond the expected lie.

    Parameters
    ----------
    store : Store
    operators : list of dict
        Of `operators`, one question.
    """
    parts = store.records("SELECT * FROM operator_batches ORDER BY ALL")
    rows, said = [], []
    for row in operators:
        own = [part for part in parts if part["operator"] == row["operator"]]
        rows.append(_row(row, own))
        if row["shown"]:
            said += alone_said(row, own)
    hidden = [row["operator"] for row in operators if _is_hidden(row)]
    return {
        "title": _title(operators, hidden, bool(parts)),
        "said": said,
        "columns": APART_COLUMNS,
        "rows": rows,
        "least": f"{100 * SEPARABLE:.0f} %",
        "inseparable": hidden,
    }


def _is_hidden(row: Row) -> bool:
    return row["shown"] and not row["separable"]


def _title(operators: list[Row], hidden: list[str], has_batches: bool) -> str:
    shown = [row for row in operators if row["shown"]]
    many = "operator and batch cannot be told apart"
    if shown and not has_batches:
        return f"No batch is recorded: {many}"
    if hidden:
        return f"{', '.join(hidden)}: {many}"
    if not shown:
        return "Which batches were shared"
    least = min(row["shared_pct"] for row in shown)
    if least >= 99.5:
        return "Every course lies in batches that others worked on too"
    return (
        f"Every operator has {least:.0f} % or more of the courses in batches that others "
        "worked on too"
    )


def _row(row: Row, parts: list[Row]) -> Row:
    found = {"operator": row["operator"], "courses": row["courses"]}
    if not row["shown"]:
        return {**found, **dict.fromkeys(NOT_SHOWN, "")}
    best = largest_part(parts, "graft_batch")
    return {
        **found,
        "shared": f"{row['shared_pct']:.0f} %",
        "separable_said": "can be told apart"
        if row["separable"]
        else "cannot be told apart",
        "excess": f"{row['failures'] - row['expected']:+.1f}",
        "adds": f"{best['batch']}, {excess(best):+.1f}" if best else "",
        "whose": whose(best) if best else "",
    }


def excess(part: Row) -> float:
    """Give failures beyond the expected."""
    return part["failures"] - part["expected"]


def whose(part: Row) -> str:
    """Say whether anybody else worked on a batch."""
    return "nobody" if part["alone"] else "others"


def largest_part(parts: list[Row], kind: str) -> Row | None:
    """Give the batch of a kind with most failures beyond the expected, if any has."""
    own = [part for part in parts if part["kind"] == kind and excess(part) > 0]
    return max(own, key=lambda part: (excess(part), part["batch"])) if own else None


def alone_said(row: Row, parts: list[Row]) -> list[str]:
    """Say where an operator's excess lies in batches that nobody else worked on."""
    total = row["failures"] - row["expected"]
    alone = [part for part in parts if part["alone"] and part["kind"] == "graft_batch"]
    beyond = sum(excess(part) for part in alone)
    best = largest_part(alone, "graft_batch")
    if total <= 0 or best is None or beyond < LARGE * total:
        return []
    size = "all" if beyond >= total else f"{beyond:.1f}"
    where = (
        f"in graft batch {best['batch']}"
        if len(alone) == 1
        else f"in {len(alone)} graft batches, most of it in {best['batch']}"
    )
    return [
        f"{row['operator']}: {total:.1f} failures more than expected, and {size} of them "
        f"{where} that nobody else worked on ({part_said(best)}). Whether it was the "
        "batch or the hand, these records cannot tell."
    ]


def part_said(part: Row) -> str:
    """Say a batch's counts."""
    return f"{part['failures']} of {part['courses']} failed, {part['expected']:.1f} expected"
