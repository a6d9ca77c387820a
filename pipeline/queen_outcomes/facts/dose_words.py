"""How the dose comparison is put into words, on the page and by the command."""

from __future__ import annotations

from typing import Any

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
    size = f"{100 * abs(row['difference']):.1f} points"
    way = "more" if row["difference"] >= 0 else "less"
    goes = "makes" if by_lot else "goes with"
    limits = f"95 % limits {points(row['low'])} to {points(row['high'])}"
    end = ""
    if row["said"]:
        text = ("Verdict: " if row["verdict"] else "") + row["said"]
        end = f" {text[:1].upper()}{text[1:]}."
    return (
        f"{arm} {goes} {size} {way} success than {reference} ({limits}; "
        f"{counted(row['closed'], 'closed course')}).{end}"
    )


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
