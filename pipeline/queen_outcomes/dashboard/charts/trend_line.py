"""A small line of weekly numbers, to stand beside a figure; drawn without a script."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

WIDTH, HEIGHT, EDGE = 96, 24, 3


def trend_line(values: Sequence[float]) -> Markup:
    """Draw numbers as a line in the page's own colour, its last point marked.

    Parameters
    ----------
    values : sequence of float
        In the order of time, two or more. The line stands on nought.
    """
    top = max(*values, 1)
    step = (WIDTH - 2 * EDGE) / (len(values) - 1)
    deep = HEIGHT - 2 * EDGE
    points = [
        (EDGE + step * at, HEIGHT - EDGE - deep * value / top)
        for at, value in enumerate(values)
    ]
    line = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    x, y = points[-1]
    return Markup(
        '<svg class="trend" width="{w}" height="{h}" viewBox="0 0 {w} {h}" aria-hidden="true">'
        '<polyline points="{line}" fill="none" stroke="currentColor" stroke-width="1.5"/>'
        '<circle cx="{x:.1f}" cy="{y:.1f}" r="2.5" fill="currentColor"/></svg>'
    ).format(w=WIDTH, h=HEIGHT, line=line, x=x, y=y)
