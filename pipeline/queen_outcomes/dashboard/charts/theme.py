"""The look that every chart shares.

Text and lines are drawn in the page's own colour (`currentColor`), so that one chart
serves light, dark and paper. Colours are told apart by the colour-blind too, and none of
them carries a meaning that shape or words do not.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import altair as alt
from altair.utils.schemapi import debug_mode

FIRSTS = (1, 32, 60, 91, 121, 152, 182, 213, 244, 274, 305, 335)
"""Days of the year on which a month begins."""

DAY, TIME_OF_YEAR = "%Y-%m-%d", "%-d %B"
"""How a day is written everywhere, and how one of no year."""

INK = "currentColor"
CLOSED = "#1b6ca8"
OPEN = "#b3580f"
QUIET = "#7d8790"

SERIES = ["#1b6ca8", "#b3580f", "#5b8c3a", "#8e4d9e", "#7d8790", "#987a00"]
"""Colours of a series, in order; told apart in the common kinds of colour-blindness."""
STROKE, SOLID = 2, 1
"""Width of a drawn line, and opacity of what hides what lies behind it."""
LIMIT_DASHES = [6, 3]
"""How a limit of evidence is dashed, beside the series that may pass it."""
UPRIGHT, WHOLE = 0, 1
"""Angle of an axis' labels, and step of an axis that counts."""
DASHES = [[1, 0], [6, 3], [2, 2], [8, 3, 2, 3], [4, 1], [10, 4]]

FONT = "system-ui, 'DejaVu Sans', sans-serif"

TEXT = {
    "labelColor": INK,
    "titleColor": INK,
    "labelFontSize": 12,
    "titleFontSize": 12,
    "titleFontWeight": "normal",
}
CONFIG = {
    "background": "transparent",
    "font": FONT,
    "view": {"stroke": None},
    "axis": {
        **TEXT,
        "labelFont": FONT,
        "titleFont": FONT,
        "titlePadding": 8,
        "domainColor": QUIET,
        "tickColor": QUIET,
        "gridColor": QUIET,
        "gridOpacity": 0.2,
    },
    # as many marks along the axis as its labels have room for, on a phone too
    "axisX": {"tickCount": {"expr": "clamp(floor(width / 50), 3, 12)"}},
    "legend": {
        **TEXT,
        "orient": "top",
        "symbolStrokeWidth": STROKE,
        "labelLimit": 260,
        "columns": 2,  # the page's script makes it as many as there is room for
    },
}


def unchecked():
    """Give a context in which the parts of a chart are not checked as they are made.

    Checking takes longer than all the rest of drawing; a test checks every chart of the
    demo against the grammar's schema.
    """
    return debug_mode(False)


def chart(rows: Iterable[dict[str, Any]]) -> alt.Chart:
    """Begin a chart of rows; a tuple, since lists are copied at every step of a chart."""
    return alt.Chart(alt.InlineData(values=tuple(rows)))


def told_apart(
    field: str, levels: Sequence[str], channel: Any, looks: Sequence[str], **more: Any
) -> Any:
    """Give a channel on which each level of a field has a look of its own."""
    scale = alt.Scale(domain=list(levels), range=list(looks))
    return channel(f"{field}:N", scale=scale, **{"title": None, **more})


def share_axis(field: str, title: str, *, is_whole: bool = True) -> alt.Y:
    """Give the vertical axis of a share: from 0 to 100 %, or as far as the marks go."""
    scale = alt.Scale(domain=[0, 1]) if is_whole else alt.Scale(zero=True, nice=True)
    return alt.Y(f"{field}:Q", title=title, scale=scale, axis=alt.Axis(format=".0%"))


@dataclass
class Layered:
    """Marks over each other, as the grammar has them.

    As `altair.layer` gives them, which copies every layer several times over and took a third
    of the time in which the pages of two hundred operators are drawn.
    """

    layers: list[alt.Chart]
    height: int
    usermeta: dict[str, Any] = field(default_factory=dict)

    def to_dict(self, *, validate: bool = True) -> dict[str, Any]:
        """Give the specification."""
        datasets: dict[str, Any] = {}
        within = {"datasets": datasets, "top_level": False}
        layers = [
            one.to_dict(validate=validate, context=dict(within)) for one in self.layers
        ]
        spec = {"layer": layers, "width": "container", "height": self.height}
        if all(one.data is self.layers[0].data for one in self.layers):
            (spec["data"], *_) = [layer.pop("data") for layer in layers]
        spec |= {"usermeta": self.usermeta} if self.usermeta else {}
        return {**spec, "datasets": datasets, "$schema": alt.SCHEMA_URL}


Drawn = Layered | alt.TopLevelMixin
"""A chart, of whichever make."""


def layered(layers: Iterable[alt.Chart], *, height: int) -> Drawn:
    """Lay marks over each other, as wide as the page has room for.

    What somebody may choose in one layer is the whole chart's, as the library has it. The
    size is given here and not by ``properties`` later, which would copy every layer once
    more.
    """
    listed = list(layers)
    if any(one.params is not alt.Undefined for one in listed):
        return alt.layer(*listed, width="container", height=height)
    return Layered(listed, height)


def signed_axis(form: str) -> alt.Axis:
    """Give an axis of differences: every number with its sign, zero without.

    Shares that differ are written in points, and their axis has to say so: a
    difference in per cent would be read as a part of the share.
    """
    points = form.endswith("%")
    number = "100 * datum.value" if points else "datum.value"
    written = f"{form[:-1]}f" if points else form
    return alt.Axis(labelExpr=f"datum.value == 0 ? '0' : format({number}, '{written}')")


def day_of_year_axis() -> alt.Axis:
    """Give an axis of times of the year, as the tables write them."""
    written = f"timeFormat(datetime(2001, 0, datum.value), '{TIME_OF_YEAR}')"
    return alt.Axis(values=FIRSTS, labelExpr=written)


def day_axis(field: str, title: str) -> alt.X:
    """Give an axis of days.

    In universal time, as a day without a time of day is read; else it would be drawn
    as the day before wherever clocks are behind.
    """
    axis = alt.Axis(format=DAY, labelOverlap="greedy", labelSeparation=8)
    return alt.X(f"{field}:T", title=title, scale=alt.Scale(type="utc"), axis=axis)


def dressed(chart: Drawn) -> dict[str, Any]:
    """Give a chart's specification in the pages' common style, made to respond."""
    spec = chart.to_dict(validate=False)
    spec["config"] = CONFIG
    return responding(spec)


Spec = dict[str, Any]

CHOSEN = "series"
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
    field, levels = _told_apart(units)
    if field:
        _filter_by_legend(spec, units, field)
        spec.setdefault("usermeta", {})[CHOSEN] = {"field": field, "levels": levels}
    _make_touchable(spec)
    return spec


def _units(spec: Spec) -> Iterator[Spec]:
    """Give the single layers, however deep."""
    if "layer" in spec:
        for part in spec["layer"]:
            yield from _units(part)
    elif "mark" in spec:
        yield spec


def _mark_of(unit: Spec) -> Spec:
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
    mark = _mark_of(unit)
    told = "tooltip" in unit.get("encoding", {})
    return told and mark["type"] == "line" and "point" not in mark


def _unseen_points(line: Spec) -> Spec:
    kept = {name: line["encoding"][name] for name in ("x", "y", "tooltip")}
    mark = {"type": "point", "filled": True, "size": 90, "opacity": 0}
    given = {"data": line["data"]} if "data" in line else {}
    return {**given, "mark": mark, "encoding": kept}


def _told_apart(units: list[Spec]) -> tuple[str | None, list[Any]]:
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
        "name": CHOSEN,
        "select": {"type": "point", "fields": [field]},
        "bind": "legend",
    }
    if host is not spec:
        chosen["views"] = [host.setdefault("name", "marks")]
    spec.setdefault("params", []).append(chosen)
    for unit in own:
        mark = _mark_of(unit)
        full = mark.get("opacity", OPACITY.get(mark["type"], 1))
        unit["encoding"]["opacity"] = {
            "condition": {"param": CHOSEN, "value": full},
            "value": round(FAINT * full, 3),
        }


def _fields(unit: Spec) -> set[str]:
    encoding = unit.get("encoding", {})
    return {
        encoding[channel].get("field") for channel in TOLD_APART if channel in encoding
    }
