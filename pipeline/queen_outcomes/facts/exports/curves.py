"""The exported tables of curves; a part of the contract."""

from __future__ import annotations

from queen_outcomes.facts.exports.exported import Column, Table

_GROUPED = (
    Column("grouping", "text", "what the courses are grouped by"),
    Column("level", "text", "the group"),
    Column("day", "integer", "day after day 0", "days"),
)
_NONE = "the courses give no limits"


def _share(name: str, meaning: str) -> Column:
    return Column(name, "number", meaning, "share 0-1", _NONE)


ONSET_CURVES = Table(
    "onset_curves",
    "a grouping, a level of it and a day",
    (
        *_GROUPED,
        _share("laying", "share laying by that day, from interval-censored looks"),
        _share("low", "lower 95 % limit"),
        _share("high", "upper 95 % limit"),
        Column("at_risk", "integer", "courses not known either way", "courses"),
    ),
    key=("grouping", "level", "day"),
)
INCIDENCE = Table(
    "incidence",
    "an event, a grouping, a level of it and a day",
    (
        Column("event", "text", "drone_layer, superseded, lost or culled_fault"),
        *_GROUPED,
        _share("incidence", "share that has met the event by that day"),
        _share("low", "lowest 95 % limit, ends spread, on their last or first day"),
        _share("high", "highest 95 % limit, ends spread, on their last or first day"),
    ),
    key=("event", "grouping", "level", "day"),
)
ESTIMATES = Table(
    "estimates",
    "an outcome, its window, a grouping and a level of it; the build's own",
    (
        Column("outcome", "text", "which outcome"),
        Column("window_days", "integer", "the outcome's window after day 0", "days"),
        *_GROUPED[:2],
        _share("estimate", "share allowing for the unsettled"),
        _share("estimate_low", "lower 95 % limit of the estimate"),
        _share("estimate_high", "upper 95 % limit of the estimate"),
    ),
    key=("outcome", "window_days", "grouping", "level"),
)
"""Not exported: `rates` carries it."""
CURVES = (ONSET_CURVES, INCIDENCE)
