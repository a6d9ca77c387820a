"""How figures and names are put into words on every page."""

from __future__ import annotations

import json
from typing import Any

from markupsafe import Markup

from queen_outcomes.base.store import Store
from queen_outcomes.facts.outcomes import OUTCOMES

BATCH_KINDS = {"graft_batch": "graft batch", "semen_batch": "semen batch"}
MOSTLY = 0.5
"""Share of closed courses that are decided, under which a plain rate carries a warning."""


def percent(share: float | None) -> str:
    """Give a probability as a whole percentage, or a dash where there is none."""
    return "–" if share is None else f"{100 * share:.0f} %"


def fixed(value: float | None, places: int) -> str | None:
    """Give a number with so many decimals, as the others of its column; None: none."""
    return None if value is None else f"{value:.{places}f}"


def limits(low: float | None, high: float | None) -> str:
    """Give 95 % limits such as "76–87", or nothing where there are none."""
    if low is None or high is None:
        return ""
    return f"{100 * low:.0f}–{100 * high:.0f}"


def rate_in_words(row: dict[str, Any], min_shown: int) -> str:
    """Say a rate with everything it stands on, or why it is not given."""
    seen = f"{row['closed']} closed courses"
    extra = "".join(
        f", {row[name]} {name}" for name in ("undecided", "left") if row[name]
    )
    if row["rate"] is None:
        why = (
            f"no rate under {min_shown} closed courses"
            if row["closed"] < min_shown
            else "no course settled"
        )
        return f"{why} ({seen}{extra})"
    decided = row["yes"] + row["no"]
    few = f" of only {decided} decided" if decided < MOSTLY * row["closed"] else ""
    spread = limits(row["low"], row["high"])
    return f"{percent(row['rate'])}{few}, 95 % limits {spread}, {seen}{extra}"


def share_in_words(
    share: float | None,
    low: float | None,
    high: float | None,
    lead: str = "95 % limits ",
) -> str:
    """Say a share with its limits, where there are any, or a dash where there is none."""
    spread = limits(low, high)
    return percent(share) + (f" ({lead}{spread})" if spread else "")


def estimate_in_words(row: dict[str, Any]) -> str:
    """Say the headline estimate with its limits, or a dash where there is none."""
    return share_in_words(row["estimate"], row["estimate_low"], row["estimate_high"])


def outcome_by_day(outcome: str, window: int) -> str:
    """Name an outcome and its window as the pages do."""
    return f"{OUTCOMES[outcome].label} by day {window}"


def bounds(row: dict[str, Any]) -> str:
    """Say what a rate would be had all undecided and left gone one way."""
    if row["rate_if_no"] is None:
        return ""
    return f"{percent(row['rate_if_no'])} to {percent(row['rate_if_yes'])}"


def plain(value: Any) -> str:
    """Give any cell of a table as text; what is not known is an empty cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"
    return str(value)


def source_names(store: Store) -> list[str]:
    """Give the sources' names in the order of their numbers, as SQL asks for them."""
    rows = store.rows("SELECT source FROM sources_read ORDER BY source_no")
    return [name for (name,) in rows]


def script_json(value: Any) -> Markup:
    """Give JSON that is safe inside a script element, whatever the records hold."""
    text = json.dumps(
        value, ensure_ascii=False, separators=(",", ":"), default=str, sort_keys=True
    )
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)
