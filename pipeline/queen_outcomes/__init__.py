"""Queen-outcome analytics for a breeding station's insemination bench."""

__version__ = "0.1.0"
