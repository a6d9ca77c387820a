"""Competing events as states, to hold curves of states against published incidences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from queen_outcomes.stats.times.competing import CENSORED, state_occupation


def cumulative_incidence(entry, exit_, event, *, causes, days, clusters=None):
    """Share that has met each of several competing events by each day.

    The states of `state_occupation` beside the first; an event that is no cause is a
    leaving, and without clusters every row stands for itself.
    """
    to = np.full(len(entry), CENSORED)
    for number, cause in enumerate(causes):
        to[np.asarray(event) == cause] = number + 1
    stretches = {"entry": entry, "exit_": exit_, "to": to}
    stretches["state"] = np.zeros(len(entry), int)
    stretches["clusters"] = np.arange(len(entry)) if clusters is None else clusters
    found = state_occupation(stretches, states=len(causes) + 1, days=days)
    names = ("estimate", "se", "low", "high")
    return replace(found, **{name: getattr(found, name)[1:] for name in names})
