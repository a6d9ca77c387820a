"""What stands in words beside an operator's running series."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.operator_overlap import excess, largest_part, part_said
from queen_outcomes.facts import words

Row = dict[str, Any]
OFTEN = 0.8
"""Chance of seeing a doubling under which it is said to be often missed."""
KINDS = words.BATCH_KINDS
DIRECTIONS = {"worse": "More failures", "better": "Fewer failures"}
MEASURES = {"level": "than the station leads to expect", "drift": "than before"}


@dataclass(frozen=True)
class Told:
    """Every signal of the season, and the batches of the courses before it."""

    signals: list[Row]
    batches: list[Row]


def read(store: Store) -> Told:
    """Read what led up to the signals."""
    return Told(
        store.records("SELECT * FROM operator_signals ORDER BY ALL"),
        store.records("SELECT * FROM signal_batches ORDER BY ALL"),
    )


def said(
    name: str, limits: list[Row], rows: list[Row], told: Told, chance: float
) -> Row:
    """Say an operator's signals, and what the limits can and cannot see.

    Parameters
    ----------
    name : str
    limits, rows : list of dict
        Of `series_limits` and `operator_series`, the operator's.
    told : Told
    chance : float
        Of a false signal within a season, for each direction of each series.
    """
    level = [row for row in rows if row["series"] == "level"]
    undecided = sum(row["failed"] is None or row["expected"] is None for row in level)
    held = [row for row in limits if not row["message"]]
    facts = [_counts(level, undecided)]
    facts += [_none_said(row) for row in limits if row["message"]]
    if held:
        facts.append(false_said(len(held), chance))
        facts += [detection_said(row) for row in sorted(held, key=_level_first)]
    if any(row["provisional"] for row in limits):
        facts.append(
            "Provisional: there is no earlier season, so the courses are measured by "
            "themselves, and only against the station."
        )
    elif not any(row["series"] == "drift" for row in limits):
        facts.append("No own earlier courses: the series against them is missing.")
    own = [row for row in told.signals if row["operator"] == name]
    return {"said": signals_said(own, told.batches), "facts": facts}


def signals_said(signals: list[Row], batches: list[Row]) -> list[str]:
    """Say an operator's signals in order; both series at one course are said once."""
    found: dict[tuple[int, str], str] = {}
    for row in sorted(signals, key=_level_first):
        place = (row["case"], row["direction"])
        if place in found:
            found[place] += (
                " The series against own earlier courses signals at the same course."
            )
        else:
            found[place] = signal_said(row, batches)
    return [found[place] for place in sorted(found)]


def _level_first(row: Row) -> tuple[bool, int]:
    return row["series"] != "level", row.get("case", 0)


def _counts(level: list[Row], undecided: int) -> str:
    if not level:
        return "No closed course this season yet."
    many = "1 closed course" if len(level) == 1 else f"{len(level)} closed courses"
    skipped = f"; {undecided} undecided, marked and passed over" if undecided else ""
    return f"{many} this season{skipped}."


def _none_said(row: Row) -> str:
    which = {"level": "against the station", "drift": "against own earlier courses"}
    return f"No limits {which[row['series']]}: {row['message']}."


def false_said(series: int, chance: float) -> str:
    """Say how likely a season without any change still gives a signal."""
    many = 2 * series
    return (
        f"With nothing changed, a season still signals by chance with up to {100 * chance:g}"
        f" % at each of {many} limits, so up to {100 * chance * many:g} % together."
    )


def detection_said(row: Row) -> str:
    """Say how likely a doubling of the odds is seen within a season, and how soon."""
    which = {"level": "Against the station", "drift": "Against own earlier courses"}
    start = f"{which[row['series']]}: if the odds of failing doubled,"
    if row["detection"] is None:
        return f"{start} the chance of a signal is not known."
    seen = (
        f"{start} a season of {row['holds_for']} courses would signal with a chance of "
    )
    said = f"{seen}{words.percent(row['detection'])}"
    if row["median_courses"] is not None:
        said += f", half the time within {row['median_courses']:.0f} courses"
    if row["detection"] < OFTEN:
        return f"{said}. A doubling is often missed."
    return f"{said}."


def signal_said(row: Row, batches: list[Row]) -> str:
    """Say a signal, its two days, what led up to it, and in which batches that lies."""
    what = f"{DIRECTIONS[row['direction']]} {MEASURES[row['series']]}"
    day = row["inseminated_at"].date().isoformat()
    start = (
        f"{what}: signal at course {row['case']} of {day}, known on "
        f"{row['known_on'].isoformat()}. Since the series last stood at zero, "
        f"{row['failures']} of {row['courses']} courses failed where {row['expected']:.1f} "
        "were expected."
    )
    if row["direction"] == "better":
        return start
    place = ("operator", "series", "case")
    own = [b for b in batches if all(b[key] == row[key] for key in place)]
    more = [
        _adds(best, row)
        for kind in KINDS
        if (best := largest_part(own, kind)) is not None
    ]
    return " ".join([start, *(said for said in more if said)])


def _adds(part: Row, signal: Row) -> str:
    """Name a batch that nobody else worked on, or one with a third of the excess."""
    total = signal["failures"] - signal["expected"]
    share = excess(part) / total if total > 0 else 0.0
    if share < 1 / 3:
        return ""
    size = f"{excess(part):.1f} of these {total:.1f} beyond the expected"
    said = f"{KINDS[part['kind']].capitalize()} {part['batch']} holds {size}"
    if part["alone"]:
        return (
            f"{said} ({part_said(part)}), and nobody else worked on it: whether it was "
            "the batch or the hand cannot be told."
        )
    return f"{said} ({part_said(part)}); others worked on it too."
