"""The exported tables of the audit of technique; a part of the contract."""

from __future__ import annotations

from queen_outcomes.facts.exports.exported import Column, Table

_QUESTION = (
    Column("outcome", "text", "which outcome"),
    Column("window_days", "integer", "the outcome's window after day 0", "days"),
)
_OPERATOR = Column("operator", "text", "who inseminated")
_NO_COURSE = "no decided course of known risk"
_NO_JOINT = "the joint model has no random intercepts of operators"
_NO_LIMIT = "there was nothing to set a limit from"
_OTHER = "only the plan's outcome has running series"
_FLAG = "more or fewer failures than chance and batches give; empty: neither"


def _count(name: str, meaning: str, null: str = "") -> Column:
    return Column(name, "integer", meaning, "courses", null)


def _number(name: str, meaning: str, unit: str, null: str) -> Column:
    return Column(name, "number", meaning, unit, null)


def _share(name: str, meaning: str, null: str = _NO_COURSE) -> Column:
    return _number(name, meaning, "share 0-1", null)


OPERATORS = Table(
    "operators",
    "an operator and an outcome",
    (
        _OPERATOR,
        *_QUESTION,
        _count("courses", "closed, decided and of known risk"),
        _count("failures", "failed among them"),
        _count("undecided", "closed, and the records do not settle them"),
        _count("unknown_risk", "decided, and a factor of the model is not recorded"),
        _share("crude", "failures over courses"),
        _number(
            "expected",
            "failures that the station's average hand would have had with these courses",
            "courses",
            _NO_COURSE,
        ),
        _number(
            "expected_by_others",
            "the same by a model of the other operators' courses only",
            "courses",
            "not the plan's outcome, fewer than 5 operators, or no such model",
        ),
        _number("ratio", "failures over expected; no ranking", "", _NO_COURSE),
        _share("adjusted", "failing, on the station's own mix of courses"),
        _share("low", "lower 95 % limit, batches allowed for"),
        _share("high", "upper 95 % limit, batches allowed for"),
        _share("shrunken", "failing by the joint model, drawn to the mean", _NO_JOINT),
        _share("shrunken_low", "lower 95 % limit", _NO_JOINT),
        _share("shrunken_high", "upper 95 % limit", _NO_JOINT),
        _number("mid_p", "twice the smaller mid-P tail", "", _NO_COURSE),
        Column("flag", "text", _FLAG, null="held back: too few courses"),
        Column("rank_low", "integer", "lower limit, 1: fewest fail", "", _NO_JOINT),
        Column("rank_high", "integer", "upper limit of the rank", "", _NO_JOINT),
        _number("shared_pct", "courses in batches that others shared", "%", _NO_COURSE),
        Column("separable", "yes_no", "operator and batch can be told apart"),
        Column("signals", "integer", "of both running series", "signals", _OTHER),
        Column("provisional", "yes_no", "no earlier season to measure by", null=_OTHER),
        Column("shown", "yes_no", "courses enough to show figures"),
    ),
    key=("operator", "outcome", "window_days"),
)
BATCHES = Table(
    "batches",
    "a graft or semen batch and an outcome",
    (
        Column("kind", "text", "graft_batch or semen_batch"),
        Column("batch", "text", "its label"),
        *_QUESTION,
        _count("courses", "closed, decided and of known risk"),
        _count("failures", "failed among them"),
        _number("expected", "failures expected of these courses", "courses", ""),
        _number("ratio", "failures over expected", "", ""),
        _number("mid_p", "twice the smaller mid-P tail", "", ""),
        Column("flag", "text", "outside the 99.8 % limits: more or fewer; empty: not"),
        Column("first_on", "day", "first day 0 of its courses"),
        Column("operators", "texts", "who worked on it"),
    ),
    key=("kind", "batch", "outcome", "window_days"),
)
OPERATOR_SERIES = Table(
    "operator_series",
    "an operator's course of this season, in each running series",
    (
        _OPERATOR,
        *_QUESTION,
        Column("series", "text", "level: against the station; drift: against own"),
        Column("case", "integer", "running number in the season"),
        Column("course_id", "text", "the course"),
        Column("inseminated_at", "time", "when the main dose was given"),
        Column("known_on", "day", "the day its window closed"),
        Column("failed", "yes_no", "it failed", null="undecided, and passed over"),
        _share("expected", "its risk", "a factor is not recorded; passed over"),
        _number("sum_over_expected", "failures minus expected so far", "courses", ""),
        _number("cusum_worse", "for the odds of failing doubled", "", ""),
        _number("cusum_better", "for the odds of failing halved", "", ""),
        _number("limit_worse", "a value from here on is a signal", "", _NO_LIMIT),
        _number("limit_better", "a value from here on is a signal", "", _NO_LIMIT),
        Column("signal", "text", "worse or better at this case; empty: none"),
    ),
    key=("operator", "outcome", "window_days", "series", "case"),
)
SERIES_LIMITS = Table(
    "series_limits",
    "a running series of an operator, and what its limits do",
    (
        _OPERATOR,
        *_QUESTION,
        Column("series", "text", "level or drift"),
        _count("holds_for", "courses of a season that the limits hold for"),
        _number("limit_worse", "of the series for doubled odds", "", _NO_LIMIT),
        _number("limit_better", "of the series for halved odds", "", _NO_LIMIT),
        _share("detection", "chance of a signal if the odds doubled", _NO_LIMIT),
        _number(
            "median_courses",
            "courses to a signal then",
            "courses",
            "under half of the seasons would have one",
        ),
        _count("baseline_courses", "earlier courses of the operator"),
        Column("provisional", "yes_no", "no earlier season to measure by"),
        _count("cases", "closed courses in the series"),
        Column("signals", "integer", "signals in it"),
        Column("message", "text", "why there is no limit; empty: there is one"),
    ),
    key=("operator", "outcome", "window_days", "series"),
)
AUDIT = (OPERATORS, BATCHES, OPERATOR_SERIES, SERIES_LIMITS)
