"""The exported tables of what the records say and what became of each queen.

Of the sources and their rows, courses, outcomes, rates and curves; and, at the end, three
tables of the build's own that no export holds.
"""

from __future__ import annotations

from queen_outcomes.facts.dictionary import TABLES as RECORDS
from queen_outcomes.facts.exports.exported import (
    OUTCOME,
    WINDOW,
    ExportColumn,
    ExportTable,
    Kind,
    count,
    limits,
    number,
    share,
)
from queen_outcomes.facts.outcomes import OUTCOMES as DECLARED

NOT_RECORDED = "not recorded"
_SOURCE = ExportColumn("source", "text", "file under records/, or book.xlsx#Sheet")
_LINE = ExportColumn("line", "integer", "first physical line, sheet row or row number")
_SLOT = ExportColumn(
    "slot", "integer", "which record of its line it is", null="the line is one record"
)
_TABLE = ExportColumn("table", "text", "the table of the records")
_REASON = ExportColumn("reason", "text", "the reason's code")
_COLUMN = ExportColumn("column", "text", "the column concerned", null="the whole row")
_VALUE = ExportColumn("value", "text", "what stood there", null="nothing stood there")
_MESSAGE = ExportColumn(
    "message", "text", "what is wrong and what to do, in a sentence"
)
_COURSE = ExportColumn(
    "course_id", "text", "queen_id, a slash, and the course's number"
)
_QUEEN = ExportColumn("queen_id", "text", "the station's label of the queen")


def _after(of: str, null: str = "") -> ExportColumn:
    return ExportColumn(
        "after", "integer", f"last day {of} had not happened", "days", null
    )


def _by(of: str, null: str) -> ExportColumn:
    return ExportColumn("by", "integer", f"first day {of} had happened", "days", null)


_KINDS: dict[str, Kind] = {
    "number": "number",
    "integer": "integer",
    "date": "day",
    "datetime": "time",
}


def _recorded(table: str, *names: str) -> tuple[ExportColumn, ...]:
    """Take columns over from the dictionary, so that each fact stands once."""
    found = [RECORDS[table].column(name) for name in names]
    return tuple(
        ExportColumn(
            c.name, _KINDS.get(c.kind, "text"), c.meaning, c.unit, NOT_RECORDED
        )
        for c in found
    )


def _derived(name: str, kind: Kind, meaning: str, unit: str = "") -> ExportColumn:
    return ExportColumn(
        name, kind, meaning, unit, "what it is worked out from is missing"
    )


SOURCES = ExportTable(
    "sources",
    "a source file or sheet, and a table it is read as",
    (
        _SOURCE,
        _TABLE,
        ExportColumn("sha256", "text", "hash of the file's bytes"),
        ExportColumn("rows_read", "integer", "rows read", "rows"),
        ExportColumn("accepted", "integer", "rows accepted, repeats included", "rows"),
        ExportColumn("quarantined", "integer", "rows quarantined", "rows"),
        ExportColumn(
            "passed_over",
            "integer",
            "rows and parts of rows that hold no record: totals, empty slots",
            "rows",
        ),
        ExportColumn("repeated", "integer", "exact repeats of an earlier row", "rows"),
    ),
    key=("source", "table"),
)
QUARANTINE = ExportTable(
    "quarantine",
    "a quarantined row and one reason for it",
    (
        *(_SOURCE, _LINE, _SLOT, _TABLE, _REASON, _COLUMN, _VALUE, _MESSAGE),
        ExportColumn("row", "text", "JSON of the row's text as it was read"),
    ),
)
LISTED = ExportTable(
    "listed",
    "a second look at an accepted row",
    (
        *(_SOURCE, _LINE, _SLOT, _TABLE),
        ExportColumn("severity", "text", "set_aside (the cell was emptied) or look"),
        *(_REASON, _COLUMN, _VALUE, _MESSAGE),
    ),
)
EXPECTATIONS = ExportTable(
    "expectations",
    "an expectation checked",
    (
        _TABLE,
        ExportColumn("expectation", "text", "what was expected"),
        ExportColumn("column", "text", "the column concerned", null="the whole table"),
        ExportColumn("rows", "integer", "rows looked at", "rows"),
        ExportColumn("failed", "integer", "rows that did not meet it", "rows"),
        ExportColumn("severity", "text", "quarantine, hard or soft"),
    ),
)
COURSES = ExportTable(
    "courses",
    "a course: one mating by instrument, in one or more doses",
    (
        _COURSE,
        _QUEEN,
        ExportColumn("course", "integer", "the queen's first, second, ... course"),
        ExportColumn("d0", "day", "day 0: the day of the course's last insemination"),
        ExportColumn("inseminated_at", "time", "time of the deciding insemination"),
        _derived("queen_age_days", "integer", "the queen's age on day 0", "days"),
        _derived("drone_age_days", "number", "the drones' age at collection", "days"),
        _derived("semen_age_h", "number", "from collection to insemination", "h"),
        _derived("dose_ul", "number", "volume given, all doses together", "uL"),
        ExportColumn("doses", "integer", "inseminations in the course"),
        ExportColumn("co2_exposures", "integer", "CO2 exposures around day 0"),
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
        ExportColumn("iso_week", "text", "ISO week of day 0, such as 2026-W23"),
        ExportColumn("season", "text", "the season: its year, or two years"),
        _derived("placed_day", "integer", "first placement on or after day 0", "days"),
        *_recorded("inseminations", "dose_meant_ul", "protocol", "trial", "block"),
    ),
    key=("course_id",),
)
ONSET = ExportTable(
    "onset",
    "a course",
    (
        _COURSE,
        _after("laying"),
        _by("laying", "her brood was never seen"),
        ExportColumn("conflict", "yes_no", "the records contradict each other"),
    ),
    key=("course_id",),
)
ENDS = ExportTable(
    "ends",
    "a course whose queen is gone",
    (
        _COURSE,
        ExportColumn("end_reason", "text", "how she ended"),
        _after("her end"),
        _by("her end", "not known"),
        ExportColumn("inferred", "yes_no", "from checks alone, no exit recorded"),
    ),
    key=("course_id",),
)
OUTCOMES = ExportTable(
    "outcomes",
    "a course, an outcome and its window",
    (
        *(_COURSE, OUTCOME, WINDOW),
        ExportColumn("state", "text", "yes, no, undecided or left"),
        ExportColumn("closed", "yes_no", "the window and its days of grace are over"),
        _after("the event", "the outcome has no dated event"),
        _by("the event", "not seen by the close, or no dated event"),
        ExportColumn(
            "settled_by", "texts", "deciding records as source:line, at most 5"
        ),
    ),
    key=("course_id", "outcome", "window_days"),
)
_FEW = "fewer settled courses than min_shown"
_LATER = "too few courses, or nobody was followed that long"
RATES = ExportTable(
    "rates",
    "an outcome, its window, a grouping and a level of it",
    (
        *(OUTCOME, WINDOW),
        ExportColumn("grouping", "text", "what the courses are grouped by"),
        ExportColumn("level", "text", "the group", null="not recorded"),
        count("courses", "courses asked"),
        count("open", "courses whose window is still open"),
        count("closed", "courses whose window has closed"),
        count("yes", "closed courses with yes"),
        count("no", "closed courses with no"),
        count("undecided", "closed courses that the records do not settle"),
        count("left", "closed courses that left observation unsettled"),
        share("rate", "yes / (yes + no)", _FEW),
        *limits("", _FEW, about=" of the rate"),
        share("rate_if_no", "rate with all unsettled counted as no", _FEW),
        share("rate_if_yes", "rate with all unsettled counted as yes", _FEW),
        share("estimate", "share allowing for the unsettled", _LATER),
        *limits("estimate", _LATER, about=" of the estimate"),
    ),
    key=("outcome", "window_days", "grouping", "level"),
)
DUE = ExportTable(
    "due",
    "a check due or missed",
    (
        _QUEEN,
        _COURSE,
        ExportColumn(
            "colony_id", "text", "where she is", null="no placement covers the day"
        ),
        ExportColumn("day", "integer", "day of the look after day 0", "days"),
        ExportColumn("on", "day", "the date of that day"),
        ExportColumn(
            "useful_until", "day", "the last day on which a look settles any of it"
        ),
        ExportColumn("status", "text", "due or missed"),
        ExportColumn("look_for", "text", "what to look for"),
        ExportColumn("settles", "text", "the outcomes that the look can settle"),
    ),
    key=("queen_id", "course_id", "day"),
)
CHANGES = ExportTable(
    "changes",
    "an outcome of a course whose state differs from the build before",
    (
        *(_COURSE, OUTCOME, WINDOW),
        ExportColumn("was", "text", "the state before", null="was not asked before"),
        ExportColumn("is", "text", "the state now", null="is not asked any more"),
        ExportColumn("because", "text", "what made the difference"),
    ),
    key=("course_id", "outcome", "window_days"),
)
ATTENTION = ExportTable(
    "attention",
    "a matter that needs a person this week",
    (
        ExportColumn(
            "kind",
            "text",
            "signal, closing, stopped, batch, season, flipped, headline or quarantine",
        ),
        ExportColumn("known_on", "day", "the day on which it became known"),
        ExportColumn("severity", "integer", "1 act, 2 look into, 3 know; 1 is worst"),
        ExportColumn("sentence", "text", "the matter in one sentence"),
        ExportColumn("link", "text", "where the dashboard shows more"),
    ),
)
_EVENTS = f"{', '.join(o.name for o in DECLARED.values() if o.event)} or culled_fault"
_GROUPED = (
    ExportColumn("grouping", "text", "what the courses are grouped by"),
    ExportColumn("level", "text", "the group"),
    ExportColumn("day", "integer", "day after day 0", "days"),
)
_NO_LIMITS = "the courses give no limits"


ONSET_CURVES = ExportTable(
    "onset_curves",
    "a grouping, a level of it and a day",
    (
        *_GROUPED,
        share(
            "laying",
            "share laying by that day, from interval-censored looks",
            _NO_LIMITS,
        ),
        *limits("", _NO_LIMITS),
        ExportColumn("at_risk", "integer", "courses not known either way", "courses"),
    ),
    key=("grouping", "level", "day"),
)
_UNTESTED = "not compared"
_TESTED = (
    ExportColumn("grouping", "text", "what the levels are of"),
    ExportColumn("levels", "integer", "levels compared", "levels"),
    ExportColumn("courses", "integer", "of these levels", "courses"),
    ExportColumn(
        "batches",
        "integer",
        "graft batches that the P stands on; of drone_line semen batches",
        "",
    ),
    number("statistic", "F of the score test", "", _UNTESTED),
    number("p", "of levels that are alike", "", _UNTESTED),
    number("p_holm", "raised for all tests of the table (Holm)", "", _UNTESTED),
    ExportColumn("message", "text", "why there is no P; empty: there is one"),
)
ONSET_TESTS = ExportTable(
    "onset_tests",
    "a grouping: do its levels begin to lay alike; not adjusted",
    _TESTED,
    key=("grouping",),
)
INCIDENCE_TESTS = ExportTable(
    "incidence_tests",
    "an event and a grouping: do its levels meet the event alike; not adjusted",
    (ExportColumn("event", "text", _EVENTS), *_TESTED),
    key=("event", "grouping"),
)
INCIDENCE = ExportTable(
    "incidence",
    "an event, a grouping, a level of it and a day",
    (
        ExportColumn("event", "text", _EVENTS),
        *_GROUPED,
        share("incidence", "share that has met the event by that day", _NO_LIMITS),
        share(
            "low",
            "lowest 95 % limit, ends spread, on their last or first day",
            _NO_LIMITS,
        ),
        share(
            "high",
            "highest 95 % limit, ends spread, on their last or first day",
            _NO_LIMITS,
        ),
        ExportColumn("at_risk", "integer", "courses watched on that day", "courses"),
    ),
    key=("event", "grouping", "level", "day"),
)
ESTIMATES = ExportTable(
    "estimates",
    "an outcome, its window, a grouping and a level of it; the build's own",
    (
        OUTCOME,
        WINDOW,
        *_GROUPED[:2],
        share("estimate", "share allowing for the unsettled", _NO_LIMITS),
        *limits("estimate", _NO_LIMITS, about=" of the estimate"),
    ),
    key=("outcome", "window_days", "grouping", "level"),
)
"""Not exported: `rates` carries it."""
_ODDS = "had the odds of yes of the unsettled courses been"
OVERLOOKED = (2, 5, 10)
"""Percent of looks that are supposed to miss the brood of a queen who lays."""
SENSITIVITY = ExportTable(
    "sensitivity",
    "an outcome and its window; the build's own",
    (
        OUTCOME,
        WINDOW,
        share(
            "unsettled", "of those at risk, by the fillings, not settled by the records"
        ),
        share("halved", f"the headline {_ODDS} half"),
        share("doubled", f"the headline {_ODDS} double"),
        share("all_no", "the headline had all of them been no"),
        share("all_yes", "the headline had all of them been yes"),
        share(
            "colony_lost",
            "the headline with lost colonies as the queens' failures",
            "asked among layers",
        ),
        share(
            "overlooked",
            "of looks at a working queen that find no brood, as learned from the looks",
        ),
        *(
            share(
                f"overlooked_{by}",
                f"the headline had {by} % of such looks found none",
                "nobody at risk",
            )
            for by in OVERLOOKED
        ),
    ),
    key=("outcome", "window_days"),
)
SEASON_FIXED = ExportTable(
    "season_fixed",
    "something fixed for the season; the build's own",
    (
        ExportColumn("name", "text", "what is fixed"),
        ExportColumn("fixed_on", "day", "as-of day of the build that fixed it"),
    ),
    key=("name",),
)
SEASON_CHANGES = ExportTable(
    "season_changes",
    "a change of the plan within the season; the build's own",
    (
        ExportColumn("on", "day", "as-of day of the build that saw it"),
        ExportColumn("what", "text", "what changed, in words"),
    ),
)
