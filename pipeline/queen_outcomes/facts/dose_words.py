"""How the dose comparison is put into words, on the page and by the command."""

from __future__ import annotations

from typing import Any

from queen_outcomes.facts.exports.doses import FOR
from queen_outcomes.facts.outcomes import outcome_named
from queen_outcomes.stats.shares.planning import POWER

VERDICTS = {
    "better": "better",
    "not_worse": "not worse",
    "not_worse_though_lower": "not worse, though lower",
    "inconclusive": "inconclusive",
    "worse": "worse",
    "interim": "interim",
}
METHODS = {
    "unadjusted": "as they are",
    "stratified": "within blocks or graft batches",
    "adjusted": "adjusted",
}


def counted(number: int, one: str, many: str = "") -> str:
    """Give a number with its noun."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def success(outcome: str, window: int) -> str:
    """Name what is a success; where yes is the failure it is to be without it."""
    return outcome_named(outcome).success.format(window)


def points(share: float) -> str:
    """Give a share as points with a sign, "+0.0" for none."""
    return f"{100 * share + 0.0:+.1f}".replace("-0.0", "+0.0")


def difference_said(row: dict[str, Any], *, by_lot: bool) -> str:
    """Say a row of `arm_contrasts` in a sentence.

    Arms that were drawn by lot make the difference; others only go with it.
    """
    arm, reference = row["arm"], row["reference"]
    if row["difference"] is None:
        why = row["note"] or row["said"]
        return f"{arm} against {reference}: no difference is given: {why}."
    end = ""
    if row["said"]:
        text = ("Verdict: " if row["verdict"] else "") + row["said"]
        end = f" {text[:1].upper()}{text[1:]}."
    size = f"{points(row['difference'])} points ({points(row['low'])} to {points(row['high'])})"
    many = counted(row["closed"], "closed course")
    if row["low"] <= 0 <= row["high"]:
        return f"{arm} against {reference}: no clear difference, {size}; {many}.{end}"
    way = "more" if row["difference"] > 0 else "less"
    goes = "makes" if by_lot else "goes with"
    return f"{arm} {goes} {way} success than {reference}: {size}; {many}.{end}"


TAKEN = {
    "queens": ("{:,.0f} {} queens", -1),
    "drones": ("{:,.0f} {} drones", -1),
    "semen_ul": ("{:,.0f} uL {} semen", -1),
    "minutes": ("{:,.0f} hours {} at the bench", 0),
    "visits": ("{:,.0f} {} visits", -1),
}
"""How something taken is told, in the order of telling, and rounded to which place."""


def exchange_said(rows: list[dict[str, Any]], what: str) -> list[str]:
    """Say what 1,000 successes take more or less of than by the reference: a sentence an arm.

    Parameters
    ----------
    rows : list of dict
        Of `arm_exchange`.
    what : str
        What is a success.
    """
    told: dict[tuple[str, str], dict[str, str]] = {}
    for row in rows:
        form, places = TAKEN[row["resource"]]
        hours = 60 if row["resource"] == "minutes" else 1
        ends = [round(row[k] / hours, places) for k in ("more", "low", "high")]
        less = "less" if row["resource"] in ("semen_ul", "minutes") else "fewer"
        words = ["more" if end >= 0 else less for end in ends]
        figure = form.format(abs(ends[0]), words[0])
        if abs(ends[0]) == 1:
            figure = figure.replace("hours", "hour")
        sides = [f"{abs(end):,g} {word}" for end, word in zip(ends, words, strict=True)]
        if words[1] == words[2]:
            sides[1] = f"{abs(ends[1]):,g}"
        pair = (row["arm"], row["reference"])
        told.setdefault(pair, {})[row["resource"]] = f"{figure} ({sides[1]} to {sides[2]})"
    return [
        f"For {FOR:,} successes ({what}) {arm} takes "
        f"{_listed([parts[name] for name in TAKEN if name in parts])} than {reference}; "
        "in brackets, 95 % limits."
        for (arm, reference), parts in told.items()
    ]


def _listed(parts: list[str]) -> str:
    """Join parts, the last by "and"."""
    *first, last = parts
    return f"{', '.join(first)} and {last}" if first else last


NEEDS = (
    "What a margin would need, for arms as good as each other and a chance of "
    f"{100 * POWER:.0f} % to see that the arm is not worse"
)


def needed_said(rows: list[dict[str, Any]]) -> str:
    """Say how many queens an arm some margins would need; empty without figures."""
    parts = []
    for row in rows:
        needed = "no number would do"
        if row["queens"] is not None:
            needed = (
                f"{row['queens_alone']:,} queens an arm if they were independent, "
                f"{row['queens']:,} with whole graft batches to an arm"
            )
        parts.append(f"{100 * row['margin']:g} points: {needed}")
    return f"{NEEDS}: {'; '.join(parts)}." if parts else ""
