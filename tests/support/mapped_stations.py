"""Stations mapped as a user does it: answers, defaults, and the settings written."""

import tomllib

from queen_outcomes.records.map.running import begin


def run(station, answers=None, accept=True):
    """Map a station; its settings are written, and given parsed beside the run."""
    begun = begin(station)
    begun.answer(answers or {})
    if accept:
        begun.accept()
    text = begun.settings()
    (station / "station.toml").write_text(text, "utf-8")
    return begun, tomllib.loads(text)
