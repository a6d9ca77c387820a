"""What the layers of a chart are given."""

from __future__ import annotations


def data_of(chart) -> list[list[dict]]:
    """Give the rows of every layer that has its own."""
    made = chart.to_dict()
    named = made.get("datasets", {})
    parts = [made, *made.get("layer", [])]
    return [
        list(part["data"].get("values") or named[part["data"]["name"]])
        for part in parts
        if "data" in part
    ]
