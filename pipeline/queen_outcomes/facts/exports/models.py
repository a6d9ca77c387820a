"""The exported tables of models; a part of the contract."""

from __future__ import annotations

from queen_outcomes.facts.exports.exported import (
    OUTCOME,
    WINDOW,
    ExportColumn,
    ExportTable,
    limits,
    number,
)

_FIT = (
    OUTCOME,
    WINDOW,
    ExportColumn(
        "model",
        "text",
        "main; bench: with what happens there; onset: whether she lays and when",
    ),
)
_NONE = "the model does not give it, or more than half of it is filled in"
_ONSET = "no model, or the model is onset"
_APART = "the two values cannot be told apart"
_OR_ONSET = f"{_APART}; or the model is onset"


def _number(name: str, meaning: str, unit: str = "", null: str = _NONE) -> ExportColumn:
    return number(name, meaning, unit, null)


MODEL_FITS = ExportTable(
    "model_fits",
    "a fit",
    (
        *_FIT,
        ExportColumn(
            "method",
            "text",
            "glmm, cluster_robust, plain, fixed_batches, firth, mixture, none",
        ),
        ExportColumn(
            "imputations", "integer", "fillings that were fitted and joined; 0: none"
        ),
        ExportColumn("rows", "integer", "courses fitted", "courses"),
        ExportColumn(
            "settled",
            "integer",
            "those whose answer the records settle",
            "courses",
            null="the model is onset",
        ),
        ExportColumn(
            "events",
            "integer",
            "courses known to be yes among them; onset: known to have laid by any day",
            "courses",
        ),
        _number("share", "of yes over the fillings: the headline", "share 0-1", _ONSET),
        _number(
            "predicted",
            "mean chance of the courses with their own factors, operator and batches",
            "share 0-1",
            _ONSET,
        ),
        _number(
            "shift",
            "added so that chances averaged over operators and batches give the share",
            "log odds",
            _ONSET,
        ),
        ExportColumn("left_out", "text", "factors left out, and why"),
        _number(
            "log_likelihood", "at the maximum", null="several fillings were joined"
        ),
        _number("auc", "chance that a yes was predicted above a no, unseen batches"),
        *limits("auc", _NONE, ""),
        _number("brier", "mean squared error of predictions, unseen batches"),
        _number("brier_base", "the same of the base rate"),
        _number("calibration_intercept", "0 when predictions are right", "log odds"),
        _number("calibration_slope", "1 when predictions are right"),
        ExportColumn("converged", "yes_no", "there is a model"),
        ExportColumn("message", "text", "what to know, or why there is no model"),
    ),
    key=("outcome", "window_days", "model"),
)
MODEL_TERMS = ExportTable(
    "model_terms",
    "a factor of a fit",
    (
        *_FIT,
        ExportColumn(
            "term", "text", "the factor; of onset after its part, chance or days"
        ),
        ExportColumn("df", "integer", "columns it takes"),
        _number("statistic", "chi-square (F times df where limits are by batch)"),
        _number("p", "of the factor as a whole"),
        _number("p_holm", "the same, raised for the factors of the fit"),
        ExportColumn(
            "chosen_form", "text", "line, bend, spline (and tests against a line), levels"
        ),
    ),
    key=("outcome", "window_days", "model", "term"),
)
MODEL_COEFFICIENTS = ExportTable(
    "model_coefficients",
    "a coefficient of a fit",
    (
        *_FIT,
        ExportColumn(
            "term", "text", "the factor; of onset after its part, chance or days"
        ),
        ExportColumn("coefficient", "text", "which of its columns"),
        _number(
            "estimate",
            "within batch and operator; onset: over all of them",
            "log odds; of onset's days: log days",
        ),
        _number("se", "standard error", "as the estimate"),
        *limits("", _NONE, "as the estimate"),
    ),
    key=("outcome", "window_days", "model", "term", "coefficient"),
)
MODEL_GROUPS = ExportTable(
    "model_groups",
    "a level of a grouping with random intercepts, and one row for their deviation",
    (
        *_FIT,
        ExportColumn("grouping", "text", "operator, graft_batch or semen_batch"),
        ExportColumn(
            "level", "text", "the level", null="the row of the standard deviation"
        ),
        ExportColumn("courses", "integer", "courses fitted", "courses"),
        _number("effect", "the level's intercept, or the deviation", "log odds"),
        *limits("", _NONE, "log odds"),
    ),
    key=("outcome", "window_days", "model", "grouping", "level"),
)
ADJUSTED = ExportTable(
    "adjusted",
    "a value of a factor",
    (
        *_FIT,
        ExportColumn("factor", "text", "the factor; of onset also all: nothing is set"),
        _number(
            "value", "the value all courses are set to", null="the value is a word"
        ),
        ExportColumn("label", "text", "the value in words, with its unit"),
        _number(
            "probability",
            "of yes, averaged over courses, batches, operators",
            "share 0-1",
        ),
        *limits("", _NONE, "share 0-1"),
        ExportColumn(
            "courses_near", "integer", "courses nearest to this value", "courses"
        ),
    ),
    key=("outcome", "window_days", "model", "factor", "value", "label"),
)
CONTRASTS = ExportTable(
    "contrasts",
    "a value of a factor against the usual one",
    (
        *_FIT,
        ExportColumn("factor", "text", "the factor"),
        ExportColumn("value", "text", "the value"),
        ExportColumn("reference", "text", "the usual value"),
        _number(
            "overlap", "courses whose operator, line and batch hold both", "share 0-1"
        ),
        ExportColumn(
            "apart_from", "text", "what the two are not told apart from; empty: nothing"
        ),
        _number(
            "risk_difference", "of the adjusted probabilities", "share 0-1", _APART
        ),
        *limits("", _APART, "share 0-1"),
        _number("odds_ratio", "within batch and operator", null=_OR_ONSET),
        *limits("or", _OR_ONSET, ""),
        _number("p", "of the difference", null=f"{_APART}, or hardly"),
        _number(
            "p_holm",
            "raised for the differences of the fit",
            null=f"{_APART}, or hardly",
        ),
        _number(
            "e_value",
            "how strongly something unrecorded would have to go with both the factor and "
            "failing, as ratios of risks, to bring the whole difference about",
            null=_OR_ONSET,
        ),
        _number("e_value_limit", "the same for the limit next to none", null=_OR_ONSET),
    ),
    key=("outcome", "window_days", "model", "factor", "value", "reference"),
)
_USUAL = "this is the usual value"
_NOT_SHOWN = f"{_USUAL}, or the two hardly share operators, lines or batches"
ONSET_DAYS = ExportTable(
    "onset_days",
    "a value of a factor of the days to laying",
    (
        ExportColumn("factor", "text", "the factor"),
        _number(
            "value", "the value all courses are set to", null="the value is a word"
        ),
        ExportColumn("label", "text", "the value in words, with its unit"),
        _number("days", "day by which half of the layers lay, averaged", "days"),
        *limits("", _NONE, "days"),
        ExportColumn(
            "courses_near", "integer", "courses nearest to this value", "courses"
        ),
        ExportColumn("reference", "text", "the usual value", null=_USUAL),
        _number(
            "overlap",
            "courses whose operator, line and batch hold both",
            "share 0-1",
            _USUAL,
        ),
        _number("difference", "later than at the usual value", "days", _NOT_SHOWN),
        *limits("difference", _NOT_SHOWN, "days"),
        _number("p", "of the difference", null=_NOT_SHOWN),
        _number("p_holm", "raised for the differences of days", null=_NOT_SHOWN),
    ),
    key=("factor", "value", "label"),
)
MODELS = (
    *(MODEL_FITS, MODEL_TERMS, MODEL_COEFFICIENTS, MODEL_GROUPS),
    *(ADJUSTED, CONTRASTS, ONSET_DAYS),
)
