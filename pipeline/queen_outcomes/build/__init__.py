"""The weekly build: steps, journal, what it leaves."""
