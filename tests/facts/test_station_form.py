"""The commented settings that a new station starts with."""

from __future__ import annotations

import re
import tomllib

from queen_outcomes.base import resources
from queen_outcomes.facts.settings import Outcomes, parse
from queen_outcomes.facts.settings_form import FORM

TEXT = resources.read("reports", "text", "station.toml")
UNCOMMENTED = re.sub(r'^#(?=[a-z\["])', "", TEXT, flags=re.MULTILINE)


THEIR_OWN = (
    *("prior_cases", "planned_cases", "planned_arms"),
    *("files", "same", "findings"),
)
"""Sections whose names are the station's: of operators, trials, files, its words."""


def names(content, place=""):
    for name, value in content.items():
        if isinstance(value, dict) and name not in THEIR_OWN:
            yield from names(value, f"{place}{name}.")
        else:
            yield f"{place}{name}"


def test_every_setting_stands_in_the_template():
    assert sorted(names(tomllib.loads(UNCOMMENTED))) == sorted(names(FORM))


def test_the_template_as_it_stands_changes_no_default():
    settings = parse(tomllib.loads(TEXT))
    assert settings.outcomes == Outcomes()
    assert settings.as_of is None
    assert not any(settings.reading.columns.values())
    assert not any(settings.limits.values())


def test_uncommented_the_template_still_says_the_defaults():
    settings = parse(tomllib.loads(UNCOMMENTED))
    assert settings.outcomes == Outcomes()
    assert (settings.min_shown, settings.history_builds) == (10, 60)
