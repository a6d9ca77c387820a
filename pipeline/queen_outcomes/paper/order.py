"""The order in which colonies are listed for the yard."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from queen_outcomes.base.text_layout import by_number


def by_colony(row: Mapping[str, Any]) -> tuple[Any, ...]:
    """Give the key of a row of ``due``: by colony, then queen; without a colony last."""
    colony = row["colony_id"]
    return (
        colony is None,
        by_number(colony or ""),
        by_number(row["queen_id"]),
        row["day"],
    )
