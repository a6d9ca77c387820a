"""Which grammar charts are written in; the package's own build reads it, so it imports nothing."""

VEGA_LITE = "6.4"
"""The version of the chart grammar that Altair 6 writes and the scripts must read."""
SCRIPTS = "chart-scripts.js"
"""The scripts that draw charts, beside the pages' other ones; made when the package is built."""
