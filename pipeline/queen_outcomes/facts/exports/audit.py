"""The exported tables of the audit of technique; a part of the contract."""

from __future__ import annotations

from queen_outcomes.facts.exports.exported import (
    OUTCOME,
    WINDOW,
    Column,
    Table,
    count,
    limits,
    number,
    share,
)

_QUESTION = (OUTCOME, WINDOW)
_OPERATOR = Column("operator", "text", "who inseminated")
_NO_COURSE = "no decided course of known risk, or cannot be told apart"
_NO_JOINT = "the joint model has no random intercepts of operators"
_NO_LIMIT = "no verdict: too early, beyond the planned courses, or not to be told apart"
_WHOSE = Column("operator", "text", "who inseminated", null="the station as a whole")
_WHICH = Column(
    "series",
    "text",
    "station: all courses; level: against colleagues; drift: against the own past",
)
_OTHER = "only the plan's outcome has running series"
_FLAG = "more or fewer failures than chance and batches give; empty: neither"


def _share(name: str, meaning: str, null: str = _NO_COURSE) -> Column:
    return share(name, meaning, null)


OPERATORS = Table(
    "operators",
    "an operator and an outcome",
    (
        _OPERATOR,
        *_QUESTION,
        count("courses", "closed, decided and of known risk"),
        count("failures", "failed among them"),
        count("undecided", "closed, and the records do not settle them"),
        count("unknown_risk", "decided, and a factor of the model is not recorded"),
        _share("crude", "failures over courses"),
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
        number("ratio", "failures over expected; no ranking", "", _NO_COURSE),
        _share("adjusted", "failing, on the station's own mix of courses"),
        *limits("", _NO_COURSE, about=", batches allowed for"),
        _share("shrunken", "failing by the joint model, drawn to the mean", _NO_JOINT),
        *limits("shrunken", _NO_JOINT),
        number("mid_p", "twice the smaller mid-P tail", "", _NO_COURSE),
        Column(
            "flag",
            "text",
            _FLAG,
            null="no verdict: too few courses, or not to be told apart",
        ),
        Column("rank_low", "integer", "lower limit, 1: fewest fail", "", _NO_JOINT),
        Column("rank_high", "integer", "upper limit of the rank", "", _NO_JOINT),
        number("shared_pct", "courses in batches that others shared", "%", _NO_COURSE),
        Column("separable", "yes_no", "operator and batch can be told apart"),
        Column("apart_from", "text", "what the operator cannot be told apart from"),
        Column(
            "signals",
            "integer",
            "what both series see at once is one",
            "signals",
            _OTHER,
        ),
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
        count("courses", "closed, decided and of known risk"),
        count("failures", "failed among them"),
        number("expected", "failures expected of these courses", "courses", ""),
        number("ratio", "failures over expected", "", ""),
        number("mid_p", "twice the smaller mid-P tail", "", ""),
        Column("flag", "text", "outside the 99.8 % limits: more or fewer; empty: not"),
        Column("first_on", "day", "first day 0 of its courses"),
        Column("operators", "texts", "who worked on it"),
    ),
    key=("kind", "batch", "outcome", "window_days"),
)
OPERATOR_SERIES = Table(
    "operator_series",
    "a closed course of this season, in each running series of the station and of operators",
    (
        _WHOSE,
        *_QUESTION,
        _WHICH,
        Column("case", "integer", "running number in the season"),
        Column("course_id", "text", "the course"),
        Column("inseminated_at", "time", "when the main dose was given"),
        Column("known_on", "day", "the day its window closed"),
        Column("failed", "yes_no", "it failed", null="undecided, and passed over"),
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
        Column("signal", "text", "worse or better at this case; empty: none"),
    ),
    key=("operator", "outcome", "window_days", "series", "case"),
)
SERIES_LIMITS = Table(
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
        Column("provisional", "yes_no", "no earlier season to measure by"),
        count("cases", "closed courses in the series"),
        Column("signals", "integer", "signals in it"),
        Column("message", "text", "why there is no verdict; empty: there is one"),
    ),
    key=("operator", "outcome", "window_days", "series"),
)
AUDIT = (OPERATORS, BATCHES, OPERATOR_SERIES, SERIES_LIMITS)

_COURSES = count("courses", "decided and of known risk")
_FAILURES = count("failures", "failed among them")
_EXPECTED = number("expected", "failures expected of them", "courses", "not known")
_CASE = Column("case", "integer", "running number in the season")
_BATCH = (
    Column("kind", "text", "graft_batch or semen_batch"),
    Column("batch", "text", "its label"),
    _COURSES,
    _FAILURES,
    _EXPECTED,
    Column("alone", "yes_no", "nobody else has a decided course in it"),
)
_D0 = Column("d0", "day", "day 0")
_KNOWN_ON = Column("known_on", "day", "the day its window closed")
_INSEMINATED = Column("inseminated_at", "time", "when the main dose was given")
_TOO_FEW = "too few to say"
_ENDLESS = "there is no curve"

AUDIT_COURSES = Table(
    "audit_courses",
    "a closed course and an outcome, as the audit sees it; a text not recorded is empty",
    (
        Column("course_id", "text", "the course"),
        *_QUESTION,
        _OPERATOR,
        Column("season", "text", "the season"),
        Column("graft_batch", "text", "its graft batch"),
        Column("semen_batch", "text", "its semen batch"),
        Column("operator_case", "integer", "of the operator's", "", "no operator"),
        number("failed", "1 failed, 0 not", "", "undecided"),
        _share("risk", "of failing, with the average hand", "a factor is not recorded"),
    ),
    key=("outcome", "window_days", "course_id"),
)
OPERATOR_BATCHES = Table(
    "operator_batches",
    "a batch of an operator, of the plan's outcome",
    (_OPERATOR, *_BATCH),
    key=("operator", "kind", "batch"),
)
OPERATOR_SIGNALS = Table(
    "operator_signals",
    "a signal of a running series, with the courses since it last stood at zero",
    (
        _WHOSE,
        _WHICH,
        _CASE,
        Column("direction", "text", "worse or better"),
        Column("course_id", "text", "the course that signalled"),
        _INSEMINATED,
        _KNOWN_ON,
        Column("first_case", "integer", "first case of the run"),
        Column("episode", "integer", "signals of one number are one change"),
        Column("season_told", "yes_no", "colleagues showed how hard the season is"),
        _COURSES,
        _FAILURES,
        _EXPECTED,
    ),
    key=("operator", "series", "case"),
)
SIGNAL_BATCHES = Table(
    "signal_batches",
    "a batch among the courses that led to a signal",
    (_WHOSE, _WHICH, _CASE, *_BATCH),
    key=("operator", "series", "case", "kind", "batch"),
)
AUDIT_DAYS = Table(
    "audit_days",
    "a day 0 with a decided course of known risk",
    (
        _D0,
        Column("season", "text", "the season"),
        _COURSES,
        _FAILURES,
        _EXPECTED,
        count("low", "failures on 95 of 100 such days, from"),
        count("high", "failures on 95 of 100 such days, to"),
        number("mid_p", "twice the smaller mid-P tail", "", ""),
        Column("flag", "text", "more or fewer than 998 of 1,000; empty: neither"),
        Column("operators", "texts", "who inseminated"),
        Column("graft_batches", "texts", "graft batches of the day"),
        Column("semen_batches", "texts", "semen batches of the day"),
    ),
    key=("d0",),
)
EXPERIENCE = Table(
    "experience",
    "a stretch of an operator's cases, counted from the first ever",
    (
        _OPERATOR,
        Column("from_case", "integer", "first case of the stretch"),
        Column("to_case", "integer", "last case of the stretch"),
        number("middle", "geometric mean of the cases' numbers", "", ""),
        _COURSES,
        _FAILURES,
        _share("share", "succeeding", _TOO_FEW),
        *limits("", _TOO_FEW, about=", graft batches allowed for"),
        _share("expected", "succeeding with the average hand", _TOO_FEW),
        Column("shown", "yes_no", "courses enough to show figures"),
    ),
    key=("operator", "from_case"),
)
LEARNING = Table(
    "learning",
    "a case of a beginner's learning curve",
    (
        _OPERATOR,
        Column("case", "integer", "running number on record"),
        Column("number", "integer", "running number ever"),
        _D0,
        _KNOWN_ON,
        Column("failed", "yes_no", "it failed", null="undecided, and passed over"),
        number("value", "of the curve", "", ""),
        Column("reached", "yes_no", "the limit is met here"),
    ),
    key=("operator", "case"),
)
LEARNING_LIMITS = Table(
    "learning_limits",
    "a beginner, and what the learning curve is held against",
    (
        _OPERATOR,
        Column("first_number", "integer", "number of the first case on record"),
        count("watched", "decided cases that the limit is for"),
        count("decided", "decided cases so far"),
        _share("adequate", "failing, of the others", "no others"),
        _share("inadequate", "failing, at twice those odds", "no others"),
        number("limit", "a value from here on is adequate", "", _ENDLESS),
        _share("false_chance", "to meet it at the inadequate rate", _ENDLESS),
        _share("true_chance", "to meet it at the adequate rate", _ENDLESS),
        Column("reached_at", "integer", "number of the case", "", "not reached"),
        Column("message", "text", "why there is no curve; empty: there is one"),
    ),
    key=("operator",),
)
OPERATOR_SPREAD = Table(
    "operator_spread",
    "the station, with operators enough to tell how much they differ",
    (
        Column("operators", "integer", "operators compared"),
        number("phi", "overdispersion of failures over expected", "", ""),
        number("tau2", "variance between operators, of the same", "", ""),
    ),
    key=("operators",),
)
CHECKER_AGREEMENT = Table(
    "checker_agreement",
    "a measure and a pair of checkers who scored one queen within two days",
    (
        Column("measure", "text", "eggs, drone_in_worker or pattern_pct"),
        Column("first_checker", "text", "of the pair", null="any two checkers"),
        Column("second_checker", "text", "of the pair", null="any two checkers"),
        Column("pairs", "integer", "pairs of looks"),
        Column("agree", "integer", "pairs that say the same", null="a number"),
        number("kappa", "weighted for words of three", "", "a number, or no kappa"),
        number("mean", "difference, first minus second", "%", "not a number"),
        number("spread", "within which 95 % of any two differ", "%", "not any two"),
        number("low", "lower limit, of kappa or agreement", "", "there is none"),
        number("high", "upper limit, of kappa or agreement", "", "there is none"),
        Column("message", "text", "why there is no figure; empty: there is one"),
    ),
    key=("measure", "first_checker", "second_checker"),
)
AUDIT_INTERNAL = (
    *(AUDIT_COURSES, OPERATOR_BATCHES, OPERATOR_SIGNALS, SIGNAL_BATCHES, AUDIT_DAYS),
    *(EXPERIENCE, LEARNING, LEARNING_LIMITS, OPERATOR_SPREAD, CHECKER_AGREEMENT),
)
"""The build's own, for its pages and commands: not exported, free to change."""
