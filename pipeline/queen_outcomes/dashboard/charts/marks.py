"""Three degrees of standing out, told by shape and words as well as by colour."""

from __future__ import annotations

import altair as alt

from queen_outcomes.dashboard import theme

WITHIN, OUTSIDE, FLAGGED = "within", "outside 95 %", "flagged"
DEGREES = [WITHIN, OUTSIDE, FLAGGED]
COLOURS = [theme.CLOSED, theme.QUIET, theme.OPEN]
SHAPES = ["circle", "diamond", "triangle-up"]


def degree(*, flagged: bool, outside: bool) -> str:
    """Name the degree."""
    if flagged:
        return FLAGGED
    return OUTSIDE if outside else WITHIN


def shape() -> alt.Shape:
    """Give the shape of each degree, with a legend."""
    return alt.Shape(
        "degree:N",
        title=None,
        scale=alt.Scale(domain=DEGREES, range=SHAPES),
        legend=alt.Legend(columns=3),
    )


def colour() -> alt.Color:
    """Give the colour of each degree, in the same legend."""
    return alt.Color(
        "degree:N", title=None, scale=alt.Scale(domain=DEGREES, range=COLOURS)
    )
