"""The exported tables of the dose comparison; a part of the contract.

Windows and closing count from a course's first insemination here, and only here.
"""

from __future__ import annotations

import itertools

from queen_outcomes.facts.exports.exported import (
    OUTCOME,
    ExportColumn,
    ExportTable,
    count,
    limits,
    number,
    share,
)
from queen_outcomes.facts.outcomes import OUTCOMES

_ARM = ExportColumn("arm", "text", "the protocol, as it was meant")
_TRIAL = ExportColumn("trial", "text", "the planned trial", null="outside of trials")
_QUESTION = (
    OUTCOME,
    ExportColumn("window_days", "integer", "days from the first insemination", "days"),
)
_REFERENCE = ExportColumn("reference", "text", "the arm that it is compared with")
_FAILURES = ", ".join(o.name for o in OUTCOMES.values() if o.fails == "yes")
_FEW = "fewer closed courses than min_shown, or none settled"
_NO_DIFFERENCE = "there is none; note tells why"
_NO_COST = "no success, or batches do not bound it"
_PRIMARY_ONLY = "not the primary method or not the plan's question, or no verdict"


ARMS = ExportTable(
    "arms",
    "a protocol; the answers are those to the plan's question",
    (
        _TRIAL,
        _ARM,
        count("courses", "courses meant for it"),
        count("closed", "courses whose window has closed"),
        count("yes", "closed courses with yes"),
        count("no", "closed courses with no"),
        count("undecided", "closed courses that the records do not settle"),
        count("left", "closed courses that left observation unsettled"),
        share("rate", "yes / (yes + no), not adjusted", _FEW),
        *limits("", _FEW, about=", graft batches allowed for"),
        number("mean_dose_ul", "given a course, all doses", "uL", "not recorded"),
        ExportColumn(
            "doses", "integer", "inseminations of most courses", null="not recorded"
        ),
        share("adjusted", "yes, had all courses been in this arm", "no model of it"),
        *limits("adjusted", "no model of it"),
        ExportColumn("batches", "integer", "graft batches of its closed courses"),
        ExportColumn(
            "source", "text", "protocol, dose meant or dose given: read from there"
        ),
        ExportColumn("intended", "yes_no", "the arms stand for what was meant"),
        ExportColumn(
            "randomised", "yes_no", "a trial whose blocks hold arms side by side"
        ),
        ExportColumn("reference", "yes_no", "the others are compared with it"),
        ExportColumn(
            "planned", "integer", "closed courses planned", "courses", "nothing planned"
        ),
        ExportColumn("said", "text", "why the arms do not stand for what was meant"),
    ),
    key=("trial", "arm"),
)
ARM_CONTRASTS = ExportTable(
    "arm_contrasts",
    "an arm against the reference, an outcome and a method",
    (
        _TRIAL,
        _ARM,
        _REFERENCE,
        *_QUESTION,
        ExportColumn(
            "method",
            "text",
            "unadjusted; stratified: within blocks, else within graft batches; "
            "adjusted: the main model with the arm in the place of dose and doses",
        ),
        share(
            "difference",
            "of success, arm minus reference; above 0 is better for the station: where "
            f"the outcome is the failure ({_FAILURES}) success is to be without it",
            _NO_DIFFERENCE,
        ),
        share("low", "lower limit, 95 % for all arms together", _NO_DIFFERENCE),
        share("high", "upper limit, 95 % for all arms together", _NO_DIFFERENCE),
        number("p", "of no difference, two-sided", "", _NO_DIFFERENCE),
        number(
            "p_holm", "raised for all arms, in step with limits", "", _NO_DIFFERENCE
        ),
        number("ratio", "of the shares of success", "", _NO_DIFFERENCE),
        share("margin", "the loss that would not matter", "none was stated for it"),
        ExportColumn(
            "verdict",
            "text",
            "better, not_worse, not_worse_though_lower, inconclusive, worse, interim",
            null=_PRIMARY_ONLY,
        ),
        ExportColumn("primary", "yes_no", "the method fixed beforehand"),
        ExportColumn("intended", "yes_no", "the arms stand for what was meant"),
        count("closed", "closed courses of both"),
        share(
            "overlap",
            "courses in operators, lines, seasons and batches that hold both; smallest",
            "too few closed courses to look",
        ),
        number("p_margin", "of being worse by the margin or more", "", "no margin"),
        share("newcombe_low", "Newcombe's lower limit", "another method"),
        share("newcombe_high", "Newcombe's upper limit", "another method"),
        share("unseen_low", "had all unsettled failed in the arm", "another method"),
        share("unseen_high", "had they failed in the reference", "another method"),
        number(
            "homogeneity_p", "of one odds ratio in all blocks", "", "not to be tested"
        ),
        ExportColumn("said", "text", "the verdict in words, or why there is none"),
        ExportColumn(
            "note", "text", "what to know of the method, or why there is nothing"
        ),
    ),
    key=("trial", "arm", "reference", "outcome", "window_days", "method"),
)
RESOURCES = {
    "semen_ul": ("semen given", "uL"),
    "drones": ("drones handled", "drones"),
    "queens": ("queens inseminated", "queens"),
    "minutes": ("time in the instrument", "min"),
    "visits": ("looks into the colony, to the window's close", "visits"),
}
"""What a success takes: meaning and unit."""
FOR = 1000
"""Successes that arms are set against each other for."""
ARM_COSTS = ExportTable(
    "arm_costs",
    "an arm with enough closed courses; success is that of the plan's question, adjusted "
    "where the model has it",
    (
        _TRIAL,
        _ARM,
        *itertools.chain.from_iterable(
            (
                number(f"{name}_per_success", f"{what} a success", unit, _NO_COST),
                *limits("" if name == "semen_ul" else name, _NO_COST, unit),
            )
            for name, (what, unit) in RESOURCES.items()
        ),
        ExportColumn("assumptions", "text", "what the figures lean on"),
        count("courses", "courses whose window has closed"),
        count("successes", "known successes among them"),
        ExportColumn(
            "frontier", "yes_no", "no other arm takes fewer drones and queens"
        ),
    ),
    key=("trial", "arm"),
)
ARM_EXCHANGE = ExportTable(
    "arm_exchange",
    "an arm against the reference, and something that successes take",
    (
        _TRIAL,
        _ARM,
        ExportColumn("resource", "text", ", ".join(RESOURCES)),
        _REFERENCE,
        number("more", f"for {FOR:,} successes, than the reference takes", "", ""),
        *limits("", "", ""),
    ),
    key=("trial", "arm", "resource"),
)
DOSE_RESPONSE = ExportTable(
    "dose_response",
    "a dose of the main model's curve",
    (
        *_QUESTION,
        number("dose_ul", "dose meant, else given, all doses together", "uL", ""),
        share("probability", "of yes had all courses had it", "the model gives none"),
        *limits("", "the model gives none"),
        count("courses_near", "courses nearest to this dose"),
        number(
            "trend_p",
            "of no trend of success over the doses meant, not adjusted",
            "",
            "all answered alike, or one dose",
        ),
    ),
    key=("outcome", "window_days", "dose_ul"),
)
DOSES = (ARMS, ARM_CONTRASTS, ARM_COSTS, ARM_EXCHANGE, DOSE_RESPONSE)

ARM_COURSES = ExportTable(
    "arm_courses",
    "a course, as the comparison of doses read it; what is not recorded is empty",
    (
        ExportColumn("course_id", "text", "the course"),
        _TRIAL,
        _ARM,
        ExportColumn("block", "text", "its block"),
        ExportColumn("source", "text", "what the arm was read from"),
    ),
    key=("course_id",),
)
ARM_MODELS = ExportTable(
    "arm_models",
    "a comparison and an outcome: the main model with the arm in the place of dose",
    (
        _TRIAL,
        *_QUESTION,
        ExportColumn("method", "text", "of the fit; none: there is no model"),
        ExportColumn("primary", "yes_no", "it carries the verdict"),
        count("rows", "courses fitted"),
        ExportColumn("factors", "text", "what was allowed for"),
        ExportColumn("left_out", "text", "what was not, and why"),
        ExportColumn("message", "text", "what to know, or why there is no model"),
    ),
    key=("trial", "outcome", "window_days"),
)
ARM_OVERLAP = ExportTable(
    "arm_overlap",
    "an arm against the reference, and a grouping that is recorded",
    (
        _TRIAL,
        _ARM,
        _REFERENCE,
        ExportColumn("grouping", "text", "operator, line, year or graft_batch"),
        share("shared", "courses in levels that hold both arms", ""),
    ),
    key=("trial", "arm", "reference", "grouping"),
)
ARM_NEEDS = ExportTable(
    "arm_needs",
    "a comparison and a margin, and what it would take to rule such a loss out",
    (
        _TRIAL,
        share("margin", "the loss", ""),
        ExportColumn(
            "queens_alone", "integer", "an arm, were they alone", "queens", "none"
        ),
        ExportColumn(
            "queens", "integer", "an arm, whole batches to it", "queens", "none"
        ),
    ),
    key=("trial", "margin"),
)
DOSE_TRENDS = ExportTable(
    "dose_trends",
    "an outcome: does success go with the doses meant",
    (
        *_QUESTION,
        number("slope", "of success on the dose", "share 0-1 a uL", "no trend"),
        number("z", "of the trend", "", "no trend"),
        number("p", "of no trend, two-sided", "", "no trend"),
        number("lack_p", "of a straight line being enough", "", "no trend"),
        ExportColumn("scored_by", "text", "what the doses count as"),
        ExportColumn("message", "text", "why there is no trend; empty: there is one"),
    ),
    key=("outcome", "window_days"),
)
DOSE_FOR = ExportTable(
    "dose_for",
    "a share of success, and the dose that the main model's curve gives for it",
    (
        *_QUESTION,
        ExportColumn("asked", "text", "whose share"),
        share("success", "the share", ""),
        number("dose_ul", "the dose", "uL", "said tells why"),
        *limits("", "not bounded", "uL"),
        ExportColumn("said", "text", "what to know of it"),
    ),
    key=("outcome", "window_days", "asked"),
)
DOSES_INTERNAL = (
    *(ARM_COURSES, ARM_MODELS, ARM_OVERLAP, ARM_NEEDS, DOSE_TRENDS, DOSE_FOR),
)
"""The build's own, for its page and `compare`: not exported, free to change."""
