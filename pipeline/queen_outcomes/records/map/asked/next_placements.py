"""Whether a colony that is used again has lost its queen before by then."""

from __future__ import annotations

from collections import defaultdict

from queen_outcomes.records.map.asked.labels import key_of
from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.seen.station import Part, Station

KIND = "next_placement"
_TABLE, _COLUMN = "placements", "colony_id"
_SHOWN = 3


def questions(station: Station) -> list[Question]:
    """Ask where looks name colonies alone, of which some had one queen after another."""
    by_colony = [
        part
        for part in station.of("checks")
        if _COLUMN in part.feed.uses and "queen_id" not in part.feed.uses
    ]
    placed = [part for part in station.of(_TABLE) if not part.feed.slots and not _has_ends(part)]
    colonies: dict[str, list[tuple[str, str]]] = defaultdict(list)
    names: dict[str, str] = {}
    for part in placed if by_colony else ():
        for colony, queen, day in _stays(part):
            names.setdefault(key_of(colony), colony)
            colonies[key_of(colony)].append((queen, day))
    again = [key for key, stays in colonies.items() if _follow(stays)]
    if not again:
        return []
    shown = "; ".join(
        f"{names[key]}: {', '.join(dict.fromkeys(queen for queen, _ in colonies[key]))}"
        for key in again[:_SHOWN]
    )
    return [
        Question(
            question_id(KIND, table=_TABLE, column=_COLUMN),
            "Where another queen goes into a colony, has the one before her left it by then?",
            [
                f"{len(again)} of {len(colonies)} colonies had one queen after another, and nobody "
                f"wrote down when the first was taken out: {shown}",
                "looks that name the colony alone are hers whose stay it was",
            ],
            {
                YES: "she has: her stay ends the day before",
                NO: "nobody knows: a look there may be at either of them",
            },
            sources=tuple(dict.fromkeys(part.source for part in placed)),
        )
    ]


def _has_ends(part: Part) -> bool:
    return "removed_on" in part.feed.uses and bool(part.texts("removed_on"))


def _stays(part: Part) -> list[tuple[str, str, str]]:
    """Give colony, queen and day of the rows that have all three."""
    columns = [part.columns_of(name) for name in (_COLUMN, "queen_id", "placed_on")]
    if not all(columns):
        return []
    places = [found[0].at for found in columns]
    rows = (tuple(row.text(at) for at in places) for row in part.sheet.rows)
    return [(colony, queen, day) for colony, queen, day in rows if colony and queen and day]


def _follow(stays: list[tuple[str, str]]) -> bool:
    """Tell whether several queens went into a colony, each on a day of her own."""
    first: dict[str, str] = {}
    for queen, day in stays:
        first.setdefault(key_of(queen), day)
    return len(first) > 1 and len(set(first.values())) == len(first)
