"""The exported tables of the audit of technique; a part of the contract."""

from __future__ import annotations

from queen_outcomes.facts.exports.exported import (
    OUTCOME,
    WINDOW,
    ExportColumn,
    ExportTable,
    count,
    limits,
    number,
    share,
)

_QUESTION = (OUTCOME, WINDOW)
_OPERATOR = ExportColumn("operator", "text", "who inseminated")
_NO_COURSE = "no course of known risk, cannot be told apart, or half of it filled in"
_NO_JOINT = "the joint model has no random intercepts of operators"
_NO_LIMIT = "no verdict: too early, beyond the planned courses, or not to be told apart"
_WHOSE = ExportColumn(
    "operator", "text", "who inseminated", null="the station as a whole"
)
_WHICH = ExportColumn(
    "series",
    "text",
    "station: all courses; level: against colleagues; drift: against the own past",
)
_OTHER = "only the plan's outcome has running series"
_FLAG = "more or fewer failures than chance and batches give; empty: neither"


def _share(name: str, meaning: str, null: str = _NO_COURSE) -> ExportColumn:
    return share(name, meaning, null)


OPERATORS = ExportTable(
    "operators",
    "an operator and an outcome",
    (
        _OPERATOR,
        *_QUESTION,
        count("courses", "closed, decided and of known risk"),
        count("failures", "failed among them"),
        count("undecided", "closed, and the records do not settle them"),
        count("unknown_risk", "decided, and a factor of the model is not recorded"),
        number(
            "at_risk",
            "closed and at risk, on average over the fillings",
            "courses",
            _NO_COURSE,
        ),
        number(
            "filled",
            "failed among these, on average over the fillings",
            "courses",
            _NO_COURSE,
        ),
        _share("crude", "filled over at_risk"),
        number(
            "expected",
            "failures that the station's average hand would have had with these courses",
            "courses",
            _NO_COURSE,
        ),
        number(
            "expected_by_others",
            "the same by a model of the other operators' courses only",
            "courses",
            "not the plan's outcome, fewer than 5 operators, or no such model",
        ),
        number("ratio", "filled over expected; no ranking", "", _NO_COURSE),
        _share("adjusted", "failing, on the station's own mix of courses"),
        *limits("", _NO_COURSE, about=", batches allowed for"),
        _share("shrunken", "failing by the joint model, drawn to the mean", _NO_JOINT),
        *limits("shrunken", _NO_JOINT),
        number("mid_p", "twice the smaller mid-P tail", "", _NO_COURSE),
        ExportColumn(
            "flag",
            "text",
            _FLAG,
            null="no verdict: too few courses, or not to be told apart",
        ),
        ExportColumn(
            "rank_low", "integer", "lower limit, 1: fewest fail", "", _NO_JOINT
        ),
        ExportColumn("rank_high", "integer", "upper limit of the rank", "", _NO_JOINT),
        number("shared_pct", "courses in batches that others shared", "%", _NO_COURSE),
        ExportColumn("separable", "yes_no", "operator and batch can be told apart"),
        ExportColumn(
            "apart_from", "text", "what the operator cannot be told apart from"
        ),
        ExportColumn(
            "signals",
            "integer",
            "what both series see at once is one",
            "signals",
            _OTHER,
        ),
        ExportColumn(
            "provisional", "yes_no", "no earlier season to measure by", null=_OTHER
        ),
        ExportColumn("shown", "yes_no", "courses enough to show figures"),
    ),
    key=("operator", "outcome", "window_days"),
)
BATCHES = ExportTable(
    "batches",
    "a graft or semen batch and an outcome",
    (
        ExportColumn("kind", "text", "graft_batch or semen_batch"),
        ExportColumn("batch", "text", "its label"),
        *_QUESTION,
        count("courses", "closed, decided and of known risk"),
        count("failures", "failed among them"),
        number("expected", "failures expected of these courses", "courses", ""),
        number("ratio", "failures over expected", "", ""),
        number("mid_p", "twice the smaller mid-P tail", "", ""),
        ExportColumn(
            "flag", "text", "outside the 99.8 % limits: more or fewer; empty: not"
        ),
        ExportColumn("first_on", "day", "first day 0 of its courses"),
        ExportColumn("operators", "texts", "who worked on it"),
    ),
    key=("kind", "batch", "outcome", "window_days"),
)
OPERATOR_SERIES = ExportTable(
    "operator_series",
    "a closed course of this season, in each running series of the station and of operators",
    (
        _WHOSE,
        *_QUESTION,
        _WHICH,
        ExportColumn("case", "integer", "running number in the season"),
        ExportColumn("course_id", "text", "the course"),
        ExportColumn("inseminated_at", "time", "when the main dose was given"),
        ExportColumn("known_on", "day", "the day its window closed"),
        ExportColumn(
            "failed", "yes_no", "it failed", null="undecided, and passed over"
        ),
        _share(
            "expected",
            "its risk, moved by how hard the season is",
            "a factor is not recorded; passed over",
        ),
        number("sum_over_expected", "failures minus expected so far", "courses", ""),
        number("cusum_worse", "for the odds of failing doubled", "", ""),
        number("cusum_better", "for the odds of failing halved", "", ""),
        number("limit_worse", "a value from here on is a signal", "", _NO_LIMIT),
        number("limit_better", "a value from here on is a signal", "", _NO_LIMIT),
        ExportColumn("signal", "text", "worse or better at this case; empty: none"),
    ),
    key=("operator", "outcome", "window_days", "series", "case"),
)
SERIES_LIMITS = ExportTable(
    "series_limits",
    "a running series of the station or an operator, and what its limits do",
    (
        _WHOSE,
        *_QUESTION,
        _WHICH,
        count("holds_for", "planned courses, over which the chance is spent"),
        number("limit_worse", "the last one, for doubled odds", "", _NO_LIMIT),
        number("limit_better", "the last one, for halved odds", "", _NO_LIMIT),
        _share(
            "detection", "chance of a signal so far, had the odds doubled", _NO_LIMIT
        ),
        number(
            "median_courses",
            "courses to a signal then",
            "courses",
            "under half of the seasons would have one by now",
        ),
        count("baseline_courses", "earlier courses of the operator"),
        ExportColumn("provisional", "yes_no", "no earlier season to measure by"),
        count("cases", "closed courses in the series"),
        ExportColumn("signals", "integer", "signals in it"),
        ExportColumn("message", "text", "why there is no verdict; empty: there is one"),
    ),
    key=("operator", "outcome", "window_days", "series"),
)
AUDIT = (OPERATORS, BATCHES, OPERATOR_SERIES, SERIES_LIMITS)

_COURSES = count("courses", "decided and of known risk")
_FAILURES = count("failures", "failed among them")
_EXPECTED = number("expected", "failures expected of them", "courses", "not known")
_CASE = ExportColumn("case", "integer", "running number in the season")
_BATCH = (
    ExportColumn("kind", "text", "graft_batch or semen_batch"),
    ExportColumn("batch", "text", "its label"),
    _COURSES,
    _FAILURES,
    _EXPECTED,
    ExportColumn("alone", "yes_no", "nobody else has a decided course in it"),
)
_D0 = ExportColumn("d0", "day", "day 0")
_KNOWN_ON = ExportColumn("known_on", "day", "the day its window closed")
_INSEMINATED = ExportColumn("inseminated_at", "time", "when the main dose was given")
_TOO_FEW = "too few to say"
_ENDLESS = "there is no curve"

AUDIT_COURSES = ExportTable(
    "audit_courses",
    "a closed course and an outcome, as the audit sees it; a text not recorded is empty",
    (
        ExportColumn("course_id", "text", "the course"),
        *_QUESTION,
        _OPERATOR,
        ExportColumn("season", "text", "the season"),
        ExportColumn("graft_batch", "text", "its graft batch"),
        ExportColumn("semen_batch", "text", "its semen batch"),
        ExportColumn(
            "operator_case", "integer", "of the operator's", "", "no operator"
        ),
        number("failed", "1 failed, 0 not", "", "undecided"),
        _share("risk", "of failing, with the average hand", "a factor is not recorded"),
    ),
    key=("outcome", "window_days", "course_id"),
)
OPERATOR_BATCHES = ExportTable(
    "operator_batches",
    "a batch of an operator, of the plan's outcome",
    (_OPERATOR, *_BATCH),
    key=("operator", "kind", "batch"),
)
OPERATOR_SIGNALS = ExportTable(
    "operator_signals",
    "a signal of a running series, with the courses since it last stood at zero",
    (
        _WHOSE,
        _WHICH,
        _CASE,
        ExportColumn("direction", "text", "worse or better"),
        ExportColumn("course_id", "text", "the course that signalled"),
        _INSEMINATED,
        _KNOWN_ON,
        ExportColumn("first_case", "integer", "first case of the run"),
        ExportColumn("episode", "integer", "signals of one number are one change"),
        ExportColumn(
            "season_told", "yes_no", "colleagues showed how hard the season is"
        ),
        _COURSES,
        _FAILURES,
        _EXPECTED,
    ),
    key=("operator", "series", "case"),
)
SIGNAL_BATCHES = ExportTable(
    "signal_batches",
    "a batch among the courses that led to a signal",
    (_WHOSE, _WHICH, _CASE, *_BATCH),
    key=("operator", "series", "case", "kind", "batch"),
)
AUDIT_DAYS = ExportTable(
    "audit_days",
    "a day 0 with a decided course of known risk",
    (
        _D0,
        ExportColumn("season", "text", "the season"),
        _COURSES,
        _FAILURES,
        _EXPECTED,
        count("low", "failures on 95 of 100 such days, from"),
        count("high", "failures on 95 of 100 such days, to"),
        number("mid_p", "twice the smaller mid-P tail", "", ""),
        ExportColumn("flag", "text", "more or fewer than 998 of 1,000; empty: neither"),
        ExportColumn("operators", "texts", "who inseminated"),
        ExportColumn("graft_batches", "texts", "graft batches of the day"),
        ExportColumn("semen_batches", "texts", "semen batches of the day"),
    ),
    key=("d0",),
)
EXPERIENCE = ExportTable(
    "experience",
    "a stretch of an operator's cases, counted from the first ever",
    (
        _OPERATOR,
        ExportColumn("from_case", "integer", "first case of the stretch"),
        ExportColumn("to_case", "integer", "last case of the stretch"),
        number("middle", "geometric mean of the cases' numbers", "", ""),
        _COURSES,
        _FAILURES,
        _share("share", "succeeding", _TOO_FEW),
        *limits("", _TOO_FEW, about=", graft batches allowed for"),
        _share("expected", "succeeding with the average hand", _TOO_FEW),
        ExportColumn("shown", "yes_no", "courses enough to show figures"),
    ),
    key=("operator", "from_case"),
)
LEARNING = ExportTable(
    "learning",
    "a case of a beginner's learning curve",
    (
        _OPERATOR,
        ExportColumn("case", "integer", "running number on record"),
        ExportColumn("number", "integer", "running number ever"),
        _D0,
        _KNOWN_ON,
        ExportColumn(
            "failed", "yes_no", "it failed", null="undecided, and passed over"
        ),
        number("value", "of the curve", "", ""),
        ExportColumn("reached", "yes_no", "the limit is met here"),
    ),
    key=("operator", "case"),
)
LEARNING_LIMITS = ExportTable(
    "learning_limits",
    "a beginner, and what the learning curve is held against",
    (
        _OPERATOR,
        ExportColumn("first_number", "integer", "number of the first case on record"),
        count("watched", "decided cases that the limit is for"),
        count("decided", "decided cases so far"),
        _share("adequate", "failing, of the others", "no others"),
        _share("inadequate", "failing, at twice those odds", "no others"),
        number("limit", "a value from here on is adequate", "", _ENDLESS),
        _share("false_chance", "to meet it at the inadequate rate", _ENDLESS),
        _share("true_chance", "to meet it at the adequate rate", _ENDLESS),
        ExportColumn("reached_at", "integer", "number of the case", "", "not reached"),
        ExportColumn("message", "text", "why there is no curve; empty: there is one"),
    ),
    key=("operator",),
)
OPERATOR_SPREAD = ExportTable(
    "operator_spread",
    "the station, with operators enough to tell how much they differ",
    (
        ExportColumn("operators", "integer", "operators compared"),
        number("phi", "overdispersion of failures over expected", "", ""),
        number("tau2", "variance between operators, of the same", "", ""),
    ),
    key=("operators",),
)
CHECKER_AGREEMENT = ExportTable(
    "checker_agreement",
    "a measure and a pair of checkers who scored one queen within two days",
    (
        ExportColumn("measure", "text", "eggs, drone_in_worker or pattern_pct"),
        ExportColumn("first_checker", "text", "of the pair", null="any two checkers"),
        ExportColumn("second_checker", "text", "of the pair", null="any two checkers"),
        ExportColumn("pairs", "integer", "pairs of looks"),
        ExportColumn("agree", "integer", "pairs that say the same", null="a number"),
        number("kappa", "weighted for words of three", "", "a number, or no kappa"),
        number("mean", "difference, first minus second", "%", "not a number"),
        number("spread", "within which 95 % of any two differ", "%", "not any two"),
        number("low", "lower limit, of kappa or agreement", "", "there is none"),
        number("high", "upper limit, of kappa or agreement", "", "there is none"),
        ExportColumn("message", "text", "why there is no figure; empty: there is one"),
    ),
    key=("measure", "first_checker", "second_checker"),
)
AUDIT_INTERNAL = (
    *(AUDIT_COURSES, OPERATOR_BATCHES, OPERATOR_SIGNALS, SIGNAL_BATCHES, AUDIT_DAYS),
    *(EXPERIENCE, LEARNING, LEARNING_LIMITS, OPERATOR_SPREAD, CHECKER_AGREEMENT),
)
"""The build's own, for its pages and commands: not exported, free to change."""
