"""What every chart does when it is pointed at: one rule for all of them.

A legend entry shows only its own marks; a line tells its numbers at every step.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

Spec = dict[str, Any]

SERIES = "series"
"""Name of what the legend chooses; the pages' script sets it too."""
TOLD_APART = ("color", "shape", "strokeDash", "fill")
"""Channels whose legend tells series apart."""
FAINT = 0.12
"""What is left of the opacity of marks that were not chosen."""
OPACITY = {"point": 0.7, "square": 0.7, "circle": 0.7, "tick": 0.7, "area": 0.7}
"""The grammar's own opacity of marks; of the others it is 1."""


def responding(spec: Spec) -> Spec:
    """Add to a chart what pointing at it does; gives the same chart.

    Parameters
    ----------
    spec : dict
        A chart as a specification, which is changed.
    """
    units = list(_units(spec))
    field, levels = _series(units)
    if field:
        _filter_by_legend(spec, units, field)
        spec["usermeta"] = {SERIES: {"field": field, "levels": levels}}
    _make_touchable(spec)
    return spec


def _units(spec: Spec) -> Iterator[Spec]:
    """Give the single layers, however deep."""
    if "layer" in spec:
        for part in spec["layer"]:
            yield from _units(part)
    elif "mark" in spec:
        yield spec


def _mark(unit: Spec) -> Spec:
    mark = unit["mark"]
    return mark if isinstance(mark, dict) else {"type": mark}


def _make_touchable(spec: Spec) -> None:
    """Lay points that are not seen over lines: a line itself tells only its first step."""
    laid: list[Spec] = []
    for part in spec.get("layer", ()):
        _make_touchable(part)
        laid.append(part)
        if "mark" in part and _is_told_line(part):
            laid.append(_unseen_points(part))
    if laid:
        spec["layer"] = laid


def _is_told_line(unit: Spec) -> bool:
    mark = _mark(unit)
    told = "tooltip" in unit.get("encoding", {})
    return told and mark["type"] == "line" and "point" not in mark


def _unseen_points(line: Spec) -> Spec:
    kept = {name: line["encoding"][name] for name in ("x", "y", "tooltip")}
    mark = {"type": "point", "filled": True, "size": 90, "opacity": 0}
    given = {"data": line["data"]} if "data" in line else {}
    return {**given, "mark": mark, "encoding": kept}


def _series(units: list[Spec]) -> tuple[str | None, list[Any]]:
    """Give the field that the first legend tells apart, and its levels."""
    for unit in units:
        for channel in TOLD_APART:
            shown = unit.get("encoding", {}).get(channel, {})
            levels = (shown.get("scale") or {}).get("domain", ())
            has_legend = shown.get("legend", True) is not None
            if "field" in shown and has_legend and len(levels) > 1:
                return shown["field"], list(levels)
    return None, []


def _filter_by_legend(spec: Spec, units: list[Spec], field: str) -> None:
    own = [unit for unit in units if field in _fields(unit)]
    host = own[-1]  # the marks in front
    chosen = {
        "name": SERIES,
        "select": {"type": "point", "fields": [field]},
        "bind": "legend",
    }
    if host is not spec:
        chosen["views"] = [host.setdefault("name", "marks")]
    spec.setdefault("params", []).append(chosen)
    for unit in own:
        mark = _mark(unit)
        full = mark.get("opacity", OPACITY.get(mark["type"], 1))
        unit["encoding"]["opacity"] = {
            "condition": {"param": SERIES, "value": full},
            "value": round(FAINT * full, 3),
        }


def _fields(unit: Spec) -> set[str]:
    encoding = unit.get("encoding", {})
    return {
        encoding[channel].get("field") for channel in TOLD_APART if channel in encoding
    }
