"""The closed list of reasons for which a row or a cell is told to the station.

One line a reason: its code, what happens to the row, and the sentence shown. A
message is filled in by SQL, so that a million findings cost no Python. A further
reason is one further line here; nothing else may invent one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from string import Formatter
from typing import Literal

from queen_outcomes.base.store import literal

Weight = Literal["quarantine", "set_aside", "look"]
"""quarantine: the row is not used. set_aside: the cell is emptied and the row used.
look: everything is used, and a person should look."""


@dataclass(frozen=True)
class Reason:
    """One reason: what it does, and its sentence with ``{parts}`` to fill in."""

    severity: Weight
    message: str


_QUARANTINE = {
    "cells_missing": "This line has fewer cells than the headings; add the missing cells or separators.",
    "cells_extra": "This line has more cells than the headings; put a text that holds the separator in quotes.",
    "quote_open": "A quotation mark opens in this line and is never closed; close it or take it out.",
    "id_missing": "{column} is empty and this row cannot be used without it; write the id in.",
    "neither_id": "Both {columns} are empty, so nobody knows whose row this is; write in one of them.",
    "date_missing": "{column} is empty and this row cannot be placed in time; write the day in.",
    "date_unreadable": '{column} is "{value}", {why}; write the day as year-month-day, such as 2026-05-31, or set how dates are written in station.toml.',
    "in_the_future": "{column} is {value}, more than {days} days after {as_of}; correct the year.",
    "key_twice": "{column} {value} stands in {rows} different rows ({places}); keep the right one, or give each its own id.",
    "removed_before_placed": "{larger} {larger_value} lies before {smaller} {smaller_value}; correct whichever day is wrong.",
    "no_queen_in_colony": "No queen was placed in colony {value} on {day}; {nearest}. Add her placement, or write her queen_id into the check.",
    "two_queens_in_colony": "Colony {value} held more than one queen on {day}: {queens}. Close the older placement, or write the queen_id into the check.",
}
"""The row cannot be placed."""
_SET_ASIDE = {
    "not_a_number": '{column} is "{value}", {why}. The cell is left out of the analysis; correct it.',
    "not_a_known_word": '{column} is "{value}", which is none of: {allowed}. The cell is left out of the analysis; correct it, or add the word to station.toml.',
    "unknown_finding": 'The words "{value}" are not explained, so nothing is taken from them; add a line to [words.findings] in station.toml, {example} if they say nothing.',
    "not_a_date": '{column} is "{value}", {why}. The cell is left out of the analysis; write the day as year-month-day, such as 2026-05-31.',
    "impossible_value": "{column} is {value}; it must be {limits}. The cell is left out of the analysis; correct it.",
    "impossible_pair": "{smaller} is {smaller_value} and {larger} is {larger_value}; the first cannot be the larger. Both cells are left out of the analysis; correct the wrong one.",
    "date_in_future": "{column} is {value}, more than {days} days after {as_of}. The cell is left out of the analysis; correct the year.",
    # found once rows are linked into courses
    "derived_impossible": "{column} comes out as {value}, which cannot be; it is left out of the analysis. Correct the dates it is worked out from.",
}
"""The cell is set aside, the row used."""
_LOOK = {
    "unusual_value": "{column} is {value}; it is usually {limits}. It is used as written; correct it if it is a slip.",
    "unusual_pair": "{smaller} is {smaller_value} and {larger} is {larger_value}; the first is usually at most {factor}the second. Both are used as written; correct a slip.",
    "after_as_of": "{column} is {value}, after {as_of}; the row is kept and not used yet. Correct it if that day has passed.",
    "repeated_row": "This row repeats {first} {how} and counts once; {do}.",
    "same_day_twice": "Queen {value} has another insemination of {day} in {first}, and the rows differ in {differs}. Both count, as doses of one course; correct the id of one if they are two queens, or delete one if a dose was written twice.",
    "ids_disagree": "The check names queen {value}, and colony {colony} held {other} on {day}. The check counts for {value}; correct the id or the placement.",
    "placements_overlap": "Colony {value} holds {queen} from {placed} and, on some of the same days, {other} ({place}); write in removed_on for the one that left.",
    "look_alike": "{column} {value} differs from {others} only in case, blanks, hyphens, slashes or leading zeros; if they are the same, write them alike.",
    "spelling_folded": "{column} {value} is taken for {label}, as the settings say (rows: {rows}).",
    "spelling_unsure": "{column} {value} could also be {others}, which stands in a row of its own, so both stay as written; write them alike if they are the same.",
    "semen_unknown": "{column} {value} has no usable row in semen, so its drones are unknown; add that row or correct the label.",
    # found once rows are linked into courses
    "queen_not_inseminated": "Queen {value} stands in no insemination, so this row is not used{other}. Correct the id, or add her insemination.",
    "flat_disagrees": "{column} is {value} here and {other} in its own table, which counts; correct whichever is wrong.",
    "derived_unusual": "{column} comes out as {value}, which is unusual; it is used. Look at the dates it is worked out from.",
    "sealed_contradicted": "The check says no sealed brood, yet scores a pattern or drone brood; it counts as sealed brood seen.",
    "older_brood": "The brood seen on {value} is older than any of course {other} could be; it counts as brood given that day.",
    "onset_conflict": "No brood was seen up to day {value} after insemination, yet later brood must have been laid by day {other}; brood seen counts. Check both looks.",
    "later_exit": "Course {other} has an earlier or graver exit, which counts; this one of {value} does not. Delete the wrong one.",
    "exit_before_course": "The queen left on {value}, before her first insemination; the row is not used. Correct the day or the id.",
    "exit_without_reason": "The exit gives no reason that can be used, so what became of her stays undecided; write one in.",
    "after_end": "The check of {value} comes after she was gone ({other}), so it is somebody else's and not used. Write in the new queen's id.",
}
"""Everything is used."""

REASONS: dict[str, Reason] = {
    code: Reason(weight, message)
    for weight, messages in (
        ("quarantine", _QUARANTINE),
        ("set_aside", _SET_ASIDE),
        ("look", _LOOK),
    )
    for code, message in messages.items()
}
"""code -> what it does and says."""


def severity(code: str) -> Weight:
    """Tell what a reason does to a row."""
    return REASONS[code].severity


def message_sql(code: str, parts: Mapping[str, str]) -> str:
    """Give the SQL that writes a reason's sentence.

    Parameters
    ----------
    code : str
        A code of ``REASONS``.
    parts : mapping of str to str
        For each name in the sentence, the SQL of the text that takes its place.

    Raises
    ------
    KeyError
        The sentence names a part that was not given.
    """
    pieces = []
    for text, name, _, _ in Formatter().parse(REASONS[code].message):
        pieces += [literal(text)] if text else []
        pieces += [parts[name]] if name else []
    return f"concat({', '.join(pieces)})"


def finding_sql(
    code: str, table: str, *, column: str, value: str, parts: Mapping[str, str]
) -> str:
    """Give the select list of one finding; the caller adds FROM and WHERE.

    ``value`` and the parts are SQL; the query must offer a column ``ref``.
    """
    known = {"column": literal(column), "value": value, **parts}
    return (
        f'ref, {literal(table)} AS "table", {literal(severity(code))} AS severity, '
        f'{literal(code)} AS reason, {literal(column)} AS "column", '
        f"{value} AS value, {message_sql(code, known)} AS message"
    )
