"""Titles that say what a chart of a model's figures shows."""

from __future__ import annotations

from typing import Any

from queen_outcomes.facts import words

TURNS = 0.02
"""How far a curve has to leave both its ends for its turn to be told."""

Row = dict[str, Any]


def curve(factor: str, rows: list[Row]) -> str:
    """Say where a curve begins and ends, and where it turns.

    Parameters
    ----------
    factor : str
        What runs along the axis.
    rows : list of dict
        label (the value with its unit), probability; in the order of the axis.
    """
    first, last = rows[0], rows[-1]
    ends = sorted((first["probability"], last["probability"]))
    top = max(rows, key=lambda row: row["probability"])
    low = min(rows, key=lambda row: row["probability"])
    told = [_at(first)]
    if top["probability"] > ends[1] + TURNS:
        told.append(f"most at {top['label']}, {words.percent(top['probability'])}")
    elif low["probability"] < ends[0] - TURNS:
        told.append(f"least at {low['label']}, {words.percent(low['probability'])}")
    return f"{factor[:1].upper()}{factor[1:]}: {'; '.join([*told, _at(last)])}"


def _at(row: Row) -> str:
    return f"{words.percent(row['probability'])} at {row['label']}"


def differences(rows: list[Row]) -> str:
    """Say how many differences have limits on one side of zero.

    Parameters
    ----------
    rows : list of dict
        name, low, high; None where there are no limits.
    """
    clear = [
        row["name"]
        for row in rows
        if None not in (row["low"], row["high"]) and (row["low"] > 0 or row["high"] < 0)
    ]
    if not clear:
        return f"The limits of all {len(rows)} differences include zero"
    verb = "has" if len(clear) == 1 else "have"
    told = f"{len(clear)} of {len(rows)} differences {verb} limits on one side of zero"
    return f"{told}: {', '.join(clear)}" if len(clear) <= 3 else told
