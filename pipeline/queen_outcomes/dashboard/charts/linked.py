"""Charts of one page that mark the same courses: what is picked in one is ringed in the others.

A chart says what its marks stand for (`linked`), and the page carries a small table of how
many courses share a week, an operator and batches (`table`). The page's script counts in it
and tells every chart which of its marks hold picked courses.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from queen_outcomes.dashboard.charts import theme

MOST = 4000
"""Rows of a page's table; of more, the latest stay."""
KINDS = {
    "week": "week",
    "day": "day",
    "operator": "operator",
    "graft_batch": "graft batch",
    "semen_batch": "semen batch",
    "arm": "arm",
    "checker": "checker",
}
"""What can be picked, and its name."""
MARKED = "marked"
"""How much of a mark is picked, 0 to 1, as the ring's opacity shows it."""

Row = dict[str, Any]
Spec = dict[str, Any]


def linked(
    chart: theme.Drawn,
    kind: str = "",
    field: str = "",
    *,
    courses: Mapping[str, str] | None = None,
    brush: str = "",
) -> theme.Drawn:
    """Say what a chart's marks stand for; gives the same chart.

    Parameters
    ----------
    chart : Drawn
    kind, field : str
        One of `KINDS` of which every mark is a level, and the field that names it.
    courses : mapping, optional
        Where every mark is one course instead: the field that names its level of each kind.
    brush : str
        A selection of days along the axis that picks all days in it.
    """
    link = {
        "kind": kind,
        "field": field,
        "courses": dict(courses or {}),
        "brush": brush,
    }
    chart.usermeta = {"link": {name: value for name, value in link.items() if value}}
    return chart


def ringed(spec: Spec) -> Spec:
    """Lay rings behind the marks of a chart that says what they stand for; none is seen yet.

    Parameters
    ----------
    spec : dict
        A chart as a specification, which is changed and given back.
    """
    link = spec.get("usermeta", {}).get("link")
    if not link:
        return spec
    fields = [link["field"]] if "field" in link else list(link["courses"].values())
    host = _host(spec, fields)
    spec.setdefault("params", []).extend(
        [{"name": "picked", "value": {}}, {"name": "by", "value": fields[0]}]
    )
    on_top = _type(host) == "rect"  # its neighbours leave no room around it
    spec["layer"].insert(len(spec["layer"]) if on_top else 0, _ring(host))
    return spec


def _host(spec: Spec, fields: Sequence[str]) -> Spec:
    """Give the layer that tells of most marks and knows their levels, the one in front."""

    def known(unit: Spec) -> int:
        data = unit.get("data", spec.get("data", {}))
        rows = spec["datasets"].get(data.get("name"), [])
        placed = {"x", "y", "tooltip"} <= unit["encoding"].keys()
        return len(rows) if placed and rows and set(fields) <= rows[0].keys() else 0

    return max(reversed(spec["layer"]), key=known)


def _type(unit: Spec) -> str:
    return unit["mark"]["type"] if isinstance(unit["mark"], dict) else unit["mark"]


def _ring(host: Spec) -> Spec:
    kept = {"x", "y", "x2", "y2", "xOffset"}
    kind = _type(host)
    if kind == "rule":
        mark: Spec = {"type": "rule", "strokeWidth": 9, "color": theme.INK}
    elif kind in ("bar", "rect"):
        mark = {**host["mark"]} if isinstance(host["mark"], dict) else {"type": kind}
        mark |= {"fillOpacity": 0, "stroke": theme.INK, "strokeWidth": 3}
        kept |= {"order"}
    else:
        mark = {"type": "point", "shape": "circle", "filled": False, "size": 230}
        mark |= {"color": theme.INK, "strokeWidth": theme.STROKE}
    mark.pop("opacity", None)
    encoding = {name: one for name, one in host["encoding"].items() if name in kept}
    encoding["opacity"] = {"field": MARKED, "type": "quantitative", "scale": None}
    if kind == "bar" and "field" in host["encoding"].get("color", {}):
        # stacked alike; colour itself would put the ring's line into the legend
        told = host["encoding"]["color"]
        encoding["detail"] = {"field": told["field"], "type": told["type"]}
    given = {"data": host["data"]} if "data" in host else {}
    counted = {"calculate": "picked[datum[by]] || 0", "as": MARKED}
    return {
        "name": "picked",
        **given,
        "transform": [*host.get("transform", ()), counted],
        "mark": mark,
        "encoding": encoding,
    }


def table(
    rows: Iterable[Row], kinds: Sequence[str], unit: str = "course"
) -> Row | None:
    """Count what shares the same levels, for the page's script.

    Parameters
    ----------
    rows : iterable of dict
        Courses (or looks) with their level of each kind, the latest first; None: not
        recorded.
    kinds : sequence of str
        Of `KINDS`.
    unit : str
        What a row is.

    Returns
    -------
    dict or None
        ``unit``; ``many``, how many rows share a combination; ``kinds``: of each its
        ``label``, its ``levels`` in order, and ``rows``, the place of every
        combination's level among them, -1 where there is none. None without rows.
    """
    counts: Counter[tuple[str | None, ...]] = Counter()
    for row in rows:
        key = tuple(None if row[kind] is None else str(row[kind]) for kind in kinds)
        if key in counts or len(counts) < MOST:
            counts[key] += 1
    if not counts:
        return None
    keys = sorted(
        counts, key=lambda key: tuple((one is None, one or "") for one in key)
    )
    found = {}
    for at, kind in enumerate(kinds):
        levels = sorted({key[at] for key in keys} - {None})
        place = {level: number for number, level in enumerate(levels)}
        rows_of = [place.get(key[at], -1) for key in keys]
        found[kind] = {"label": KINDS[kind], "levels": levels, "rows": rows_of}
    return {"unit": unit, "many": [counts[key] for key in keys], "kinds": found}
