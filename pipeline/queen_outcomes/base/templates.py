"""The pages' templates: one environment, in which every text from records is escaped."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import jinja2

from queen_outcomes.base import resources


def environment(filters: Mapping[str, Callable[..., Any]] | None = None):
    """Give the environment of ``reports/templates``; a name left undefined is an error."""
    made = jinja2.Environment(
        loader=jinja2.FunctionLoader(
            lambda name: resources.read("reports", "templates", name)
        ),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(filters or {})
    return made
