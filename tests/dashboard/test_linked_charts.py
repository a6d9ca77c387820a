"""The small table that linked charts count in, and the rings that are laid behind their marks."""

from __future__ import annotations

import altair as alt
import pytest
from queen_outcomes.dashboard.charts import linked, theme

COURSES = [
    {"week": "2026-W20", "operator": "B", "graft_batch": "G2"},
    {"week": "2026-W20", "operator": "A", "graft_batch": "G2"},
    {"week": "2026-W20", "operator": "A", "graft_batch": "G2"},
    {"week": "2026-W19", "operator": "A", "graft_batch": None},
]
KINDS = ("week", "operator", "graft_batch")


def told(table):
    """Give how many courses each combination of levels has."""
    kinds = table["kinds"].values()
    rows = zip(*(kind["rows"] for kind in kinds), strict=True)
    named = [
        tuple(
            None if at < 0 else kind["levels"][at]
            for kind, at in zip(kinds, places, strict=True)
        )
        for places in rows
    ]
    return dict(zip(named, table["many"], strict=True))


def test_courses_are_counted_by_what_they_share():
    assert told(linked.table(COURSES, KINDS)) == {
        ("2026-W19", "A", None): 1,
        ("2026-W20", "A", "G2"): 2,
        ("2026-W20", "B", "G2"): 1,
    }


def test_of_too_many_the_latest_stay_and_none_is_no_table(monkeypatch):
    monkeypatch.setattr(linked, "MOST", 2)
    kept = told(linked.table(COURSES, KINDS))
    assert kept == {("2026-W20", "B", "G2"): 1, ("2026-W20", "A", "G2"): 2}
    assert linked.table([], KINDS) is None


def drawn(mark, **channels):
    rows = [
        {"name": "G1", "courses": 3, "kind": "a"},
        {"name": "G2", "courses": 4, "kind": "b"},
    ]
    base = getattr(theme.chart(rows), mark)(opacity=0.5)
    x, y = alt.X("name:N"), alt.Y("courses:Q")
    told = base.encode(x=x, y=y, tooltip=alt.Tooltip("name:N"), **channels)
    few = (
        theme.chart(rows[:1])
        .mark_point()
        .encode(x=x, y=y, tooltip=alt.Tooltip("name:N"))
    )
    return theme.layered([told, few], height=100)


@pytest.mark.parametrize("mark", ["mark_point", "mark_bar", "mark_rect"])
def test_a_ring_lies_on_every_mark_and_is_not_seen_until_something_is_picked(mark):
    colour = {
        "color": theme.told_apart("kind", ("a", "b"), alt.Color, ("#000", "#111"))
    }
    chart = linked.linked(drawn(mark, **colour), "graft_batch", "name")
    spec = linked.ringed(theme.dressed(chart))
    ring = next(layer for layer in spec["layer"] if layer.get("name") == "picked")
    assert list(spec["datasets"][ring["data"]["name"]]) == [
        {"name": "G1", "courses": 3, "kind": "a"},
        {"name": "G2", "courses": 4, "kind": "b"},
    ]
    params = {param["name"]: param.get("value") for param in spec["params"]}
    assert (params["picked"], params["by"]) == ({}, "name")
    assert ring["encoding"]["opacity"]["field"] == linked.MARKED
    assert "color" not in ring["encoding"]
    assert "opacity" not in ring["mark"]
    alt.LayerChart.from_dict({**spec, "datasets": {}})  # by the grammar's own schema


def test_a_chart_that_is_not_linked_stays_as_it_is():
    spec = theme.dressed(drawn("mark_point"))
    assert linked.ringed(dict(spec)) == spec
