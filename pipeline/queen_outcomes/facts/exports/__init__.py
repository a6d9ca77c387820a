"""The exported tables: column, type, unit, meaning, and what an empty cell means.

Names, order and types are a promise to whoever reads the tables: `export` describes
them from here and the build holds them. Nothing here makes or reads a table.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from queen_outcomes.base.errors import LedgerError, shorten
from queen_outcomes.facts.dictionary import TABLES as RECORDS
from queen_outcomes.facts.exports.audit import AUDIT
from queen_outcomes.facts.exports.curves import CURVES
from queen_outcomes.facts.exports.doses import DOSES
from queen_outcomes.facts.exports.exported import Column, Kind, Table
from queen_outcomes.facts.exports.models import MODELS

NOT_RECORDED = "not recorded"
_SOURCE = Column("source", "text", "file under records/, or book.xlsx#Sheet")
_LINE = Column("line", "integer", "first physical line, sheet row or row number")
_TABLE = Column("table", "text", "the table of the records")
_REASON = Column("reason", "text", "the reason's code")
_COLUMN = Column("column", "text", "the column concerned", null="the whole row")
_VALUE = Column("value", "text", "what stood there", null="nothing stood there")
_MESSAGE = Column("message", "text", "what is wrong and what to do, in a sentence")
_COURSE = Column("course_id", "text", "queen_id, a slash, and the course's number")
_QUEEN = Column("queen_id", "text", "the station's label of the queen")
_OUTCOME = Column("outcome", "text", "which outcome")
_WINDOW = Column("window_days", "integer", "the outcome's window after day 0", "days")


def _after(of: str, null: str = "") -> Column:
    return Column("after", "integer", f"last day {of} had not happened", "days", null)


def _by(of: str, null: str) -> Column:
    return Column("by", "integer", f"first day {of} had happened", "days", null)


def _count(name: str, meaning: str) -> Column:
    return Column(name, "integer", meaning, "courses")


def _share(name: str, meaning: str, null: str) -> Column:
    return Column(name, "number", meaning, "share 0-1", null)


_KINDS: dict[str, Kind] = {
    "number": "number",
    "integer": "integer",
    "date": "day",
    "datetime": "time",
}


def _recorded(table: str, *names: str) -> tuple[Column, ...]:
    """Take columns over from the dictionary, so that each fact stands once."""
    found = [RECORDS[table].column(name) for name in names]
    return tuple(
        Column(c.name, _KINDS.get(c.kind, "text"), c.meaning, c.unit, NOT_RECORDED)
        for c in found
    )


def _derived(name: str, kind: Kind, meaning: str, unit: str = "") -> Column:
    return Column(name, kind, meaning, unit, "what it is worked out from is missing")


SOURCES = Table(
    "sources",
    "a source file or sheet",
    (
        _SOURCE,
        _TABLE,
        Column("sha256", "text", "hash of the file's bytes"),
        Column("rows_read", "integer", "rows read", "rows"),
        Column("accepted", "integer", "rows accepted, repeats included", "rows"),
        Column("quarantined", "integer", "rows quarantined", "rows"),
        Column("repeated", "integer", "exact repeats of an earlier row", "rows"),
    ),
    key=("source", "table"),
)
QUARANTINE = Table(
    "quarantine",
    "a quarantined row and one reason for it",
    (
        *(_SOURCE, _LINE, _TABLE, _REASON, _COLUMN, _VALUE, _MESSAGE),
        Column("row", "text", "JSON of the row's text as it was read"),
    ),
)
LISTED = Table(
    "listed",
    "a second look at an accepted row",
    (
        *(_SOURCE, _LINE, _TABLE),
        Column("severity", "text", "set_aside (the cell was emptied) or look"),
        *(_REASON, _COLUMN, _VALUE, _MESSAGE),
    ),
)
EXPECTATIONS = Table(
    "expectations",
    "an expectation checked",
    (
        _TABLE,
        Column("expectation", "text", "what was expected"),
        Column("column", "text", "the column concerned", null="the whole table"),
        Column("rows", "integer", "rows looked at", "rows"),
        Column("failed", "integer", "rows that did not meet it", "rows"),
        Column("severity", "text", "quarantine, hard or soft"),
    ),
)
COURSES = Table(
    "courses",
    "a course: one mating by instrument, in one or more doses",
    (
        _COURSE,
        _QUEEN,
        Column("course", "integer", "the queen's first, second, ... course"),
        Column("d0", "day", "day 0: the day of the course's last insemination"),
        Column("inseminated_at", "time", "time of the deciding insemination"),
        _derived("queen_age_days", "integer", "the queen's age on day 0", "days"),
        _derived("drone_age_days", "number", "the drones' age at collection", "days"),
        _derived("semen_age_h", "number", "from collection to insemination", "h"),
        _derived("dose_ul", "number", "volume given, all doses together", "uL"),
        Column("doses", "integer", "inseminations in the course"),
        Column("co2_exposures", "integer", "CO2 exposures around day 0"),
        _derived("co2_gap_h", "number", "other exposure minus insemination", "h"),
        *_recorded("inseminations", "operator"),
        _derived("operator_case", "integer", "the operator's running case number"),
        _derived(
            "operator_gap_days", "integer", "since the operator's last day", "days"
        ),
        _derived("bench_order", "integer", "the operator's running number that day"),
        *_recorded("inseminations", "attempts", "leak", "minutes", "instrument", "tip"),
        *_recorded("queens", "line"),
        *_recorded("semen", "drone_line"),
        *_recorded("queens", "graft_batch"),
        *_recorded("inseminations", "semen_batch"),
        Column("iso_week", "text", "ISO week of day 0, such as 2026-W23"),
        Column("season", "text", "the season: its year, or two years"),
        _derived("placed_day", "integer", "first placement on or after day 0", "days"),
        *_recorded("inseminations", "dose_meant_ul", "protocol", "trial", "block"),
    ),
    key=("course_id",),
)
ONSET = Table(
    "onset",
    "a course",
    (
        _COURSE,
        _after("laying"),
        _by("laying", "her brood was never seen"),
        Column("conflict", "yes_no", "the records contradict each other"),
    ),
    key=("course_id",),
)
ENDS = Table(
    "ends",
    "a course whose queen is gone",
    (
        _COURSE,
        Column("end_reason", "text", "how she ended"),
        _after("her end"),
        _by("her end", "not known"),
        Column("inferred", "yes_no", "from checks alone, no exit recorded"),
    ),
    key=("course_id",),
)
OUTCOMES = Table(
    "outcomes",
    "a course, an outcome and its window",
    (
        *(_COURSE, _OUTCOME, _WINDOW),
        Column("state", "text", "yes, no, undecided or left"),
        Column("closed", "yes_no", "the window and its days of grace are over"),
        _after("the event", "the outcome has no dated event"),
        _by("the event", "not seen by the close, or no dated event"),
        Column("settled_by", "texts", "deciding records as source:line, at most 5"),
    ),
    key=("course_id", "outcome", "window_days"),
)
_FEW = "fewer settled courses than min_shown"
_LATER = "too few courses, or nobody was followed that long"
RATES = Table(
    "rates",
    "an outcome, its window, a grouping and a level of it",
    (
        *(_OUTCOME, _WINDOW),
        Column("grouping", "text", "what the courses are grouped by"),
        Column("level", "text", "the group", null="not recorded"),
        _count("courses", "courses asked"),
        _count("open", "courses whose window is still open"),
        _count("closed", "courses whose window has closed"),
        _count("yes", "closed courses with yes"),
        _count("no", "closed courses with no"),
        _count("undecided", "closed courses that the records do not settle"),
        _count("left", "closed courses that left observation unsettled"),
        _share("rate", "yes / (yes + no)", _FEW),
        _share("low", "lower 95 % limit of the rate", _FEW),
        _share("high", "upper 95 % limit of the rate", _FEW),
        _share("rate_if_no", "rate with all unsettled counted as no", _FEW),
        _share("rate_if_yes", "rate with all unsettled counted as yes", _FEW),
        _share("estimate", "share allowing for the unsettled", _LATER),
        _share("estimate_low", "lower 95 % limit of the estimate", _LATER),
        _share("estimate_high", "upper 95 % limit of the estimate", _LATER),
    ),
    key=("outcome", "window_days", "grouping", "level"),
)
DUE = Table(
    "due",
    "a check due or missed",
    (
        _QUEEN,
        _COURSE,
        Column("colony_id", "text", "where she is", null="no placement covers the day"),
        Column("day", "integer", "day of the look after day 0", "days"),
        Column("on", "day", "the date of that day"),
        Column("status", "text", "due or missed"),
        Column("look_for", "text", "what to look for"),
        Column("settles", "text", "the outcomes that the look can settle"),
    ),
    key=("queen_id", "course_id", "day"),
)
CHANGES = Table(
    "changes",
    "an outcome of a course whose state differs from the build before",
    (
        *(_COURSE, _OUTCOME, _WINDOW),
        Column("was", "text", "the state before", null="was not asked before"),
        Column("is", "text", "the state now", null="is not asked any more"),
        Column("because", "text", "what made the difference"),
    ),
    key=("course_id", "outcome", "window_days"),
)

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        *(SOURCES, QUARANTINE, LISTED, EXPECTATIONS, COURSES, ONSET, ENDS),
        *(OUTCOMES, RATES, *CURVES, *MODELS, *AUDIT, *DOSES, DUE, CHANGES),
    )
}
"""Every exported table, in the order they are described."""


def differences(found: Mapping[str, Mapping[str, str]]) -> list[str]:
    """Say where made tables differ from the promise.

    Parameters
    ----------
    found : mapping
        table -> its columns and DuckDB types, in order; empty when there is none.

    Returns
    -------
    list of str
        One sentence for each difference; empty when the promise is kept. Columns
        beyond the promised ones are the build's own and are not exported.
    """
    problems = []
    for table in TABLES.values():
        made = found.get(table.name, {})
        for column in table.columns:
            sql_type = made.get(column.name, "missing")
            if not column.takes(sql_type):
                problems.append(
                    f"{table.name}.{column.name} is {sql_type}, "
                    f"promised is {column.sql_type}"
                )
    return problems


def refuse(problems: Iterable[str]) -> None:
    """Stop the build when a table does not keep the promise.

    Raises
    ------
    LedgerError
        There is at least one difference.
    """
    listed = list(problems)
    if listed:
        raise LedgerError(
            "the tables are not the ones promised",
            found=shorten(listed),
            expected="the names and types of the contract",
        )
