"""A page's chart as a picture for paper."""

from __future__ import annotations

from typing import Any

VEGA_LITE = "6.4"
INK = "#1d2429"


def svg(spec: dict[str, Any], *, width: int, height: int) -> str:
    """Draw a specification at a fixed size.

    Parameters
    ----------
    spec : dict
        As `theme.dressed` gives it; not changed.
    width, height : int
        Of the plot itself, in pixels.
    """
    return drawn({**spec, "width": width, "height": height})


def drawn(spec: dict[str, Any]) -> str:
    """Draw a specification that has a size of its own."""
    import vl_convert

    made = vl_convert.vegalite_to_svg(spec, vl_version=VEGA_LITE)
    return made.replace("currentColor", INK)
