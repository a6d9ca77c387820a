"""Writes the layers of a chart out as the grammar has them.

The library does the same; but it tries every value for whether it is data, and reads every
shorthand anew, which took a quarter of the time in which the pages of two hundred operators
are drawn. What has a way of its own to be written out goes that way here too. A test sets
both beside each other for every chart of the demo.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from functools import cache
from typing import Any

import altair as alt
from altair.utils import parse_shorthand

Spec = dict[str, Any]
PLAIN = (str, int, float, type(None))
AS_IT_IS, BY_SHORTHAND = alt.SchemaBase.to_dict, alt.X.to_dict
"""The library's ways that are followed here: of most parts, and of a channel with a field."""


def layers(charts: list[alt.Chart]) -> tuple[list[Spec], dict[str, Any]]:
    """Give each layer, and the datasets that they name, each once.

    Parameters
    ----------
    charts : list of Chart
        With rows of their own, as `theme.chart` begins them.
    """
    names: dict[int, str] = {}
    datasets: dict[str, Any] = {}
    found = []
    for chart in charts:
        rows = chart.data.values
        if id(rows) not in names:
            names[id(rows)] = _name_of(rows)
            datasets[names[id(rows)]] = rows
        found.append(_layer(chart) | {"data": {"name": names[id(rows)]}})
    return found, datasets


def _name_of(rows: Any) -> str:
    """Name rows as the library does, by what they hold: those that are alike are one dataset."""
    text = json.dumps(rows, sort_keys=True, default=str)
    return f"data-{hashlib.sha256(text.encode()).hexdigest()[:32]}"


def _layer(chart: alt.Chart) -> Spec:
    spec = _written({**vars(chart)["_kwds"], "data": alt.Undefined})
    if isinstance(spec["mark"], str):
        spec["mark"] = {"type": spec["mark"]}
    return spec


def _written(part: Any) -> Any:
    if isinstance(part, PLAIN):
        return part
    if isinstance(part, dict):
        return {name: _written(one) for name, one in part.items() if one is not alt.Undefined}
    if isinstance(part, list | tuple):
        return [_written(one) for one in part]
    if isinstance(part, alt.SchemaBase):
        return _part(part)
    return alt.ExprRef(expr=part).to_dict(validate=False)["expr"]  # the library's way


def _part(part: alt.SchemaBase) -> Any:
    given, way = vars(part)["_kwds"], type(part).to_dict
    if not vars(part)["_args"]:
        if way is AS_IT_IS:
            return _written(given)
        said = _said(given.get("shorthand"))
        if way is BY_SHORTHAND and "type" in said:
            said = {name: one for name, one in said.items() if _is_open(name, given)}
            return _written({**given, **said, "shorthand": alt.Undefined})
    return part.to_dict(validate=False)


def _is_open(name: str, given: Mapping[str, Any]) -> bool:
    """Tell whether a shorthand may say so: some channels have no type."""
    if name == "type" and name not in given:
        return False
    return given.get(name, alt.Undefined) is alt.Undefined


def _said(shorthand: Any) -> dict[str, str]:
    return _read(shorthand) if isinstance(shorthand, str) else {}


@cache
def _read(shorthand: str) -> dict[str, str]:
    return parse_shorthand(shorthand)
