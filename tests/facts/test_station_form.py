"""The commented settings that a new station starts with."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace

import pytest
from queen_outcomes.base import resources
from queen_outcomes.facts.column import Limits
from queen_outcomes.facts.dictionary import DERIVED_LIMITS, TABLES
from queen_outcomes.facts.reading import NO, YES, CellRule, Habits, Reading
from queen_outcomes.facts.settings import Outcomes, Settings, parse
from queen_outcomes.facts.settings_form import FORM, HABITS, _limits, column_form

TEXT = resources.read("reports", "text", "station.toml")
UNCOMMENTED = re.sub(r'^#(?=[a-z\["])', "", TEXT, flags=re.MULTILINE)


THEIR_OWN = (
    *("prior_cases", "planned_cases", "planned_arms"),
    *("files", "same", "findings", "parts", "absent"),
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


NO_DEFAULT = [line for line in UNCOMMENTED.splitlines() if "no default" in line]
EXAMPLES = {
    "": ("as_of", "files", "read", "prior_cases", "planned_cases", "planned_arms"),
    "models": ("forms",),
    "records": ("same",),
    "words": ("findings", "parts", "absent"),
}
"""What has no default, or is the station's own: an example stands there."""


@pytest.fixture(scope="module")
def stated():
    """The template's own settings, but for what has no default."""
    kept = [line for line in UNCOMMENTED.splitlines() if line not in NO_DEFAULT]
    content = tomllib.loads("\n".join(kept))
    for section, names_of in EXAMPLES.items():
        for name in names_of:
            del (content[section] if section else content)[name]
    return parse(content)


def test_every_plain_setting_is_stated_as_it_is_by_default(stated):
    assert replace(stated, reading=Reading(), limits={}) == Settings()


def test_the_ways_of_writing_are_stated_as_they_are_by_default(stated):
    reading, usual = stated.reading, Reading()
    for name in ("date_order", "decimal", "empty", "ignore", "fold", "ditto", "co2"):
        assert getattr(reading, name) == getattr(usual, name), name
    words = dict(reading.words)
    assert words.pop("yes_no") == {"yes": YES, "no": NO}
    kinds = {c.name: c for table in TABLES.values() for c in table.columns}
    assert words == {
        name: {word: (word,) for word in column.words}
        for name, column in kinds.items()
        if column.kind == "word"
    }
    assert reading.files == {name: (f"{name}.csv",) for name in TABLES}
    assert reading.columns == {
        name: {ours: ours for ours in table.names} for name, table in TABLES.items()
    }
    assert reading.units == {
        name: units
        for name, table in TABLES.items()
        if (units := {c.name: c.unit for c in table.columns if c.unit})
    }


def bounds(limits):
    return (limits.low, limits.high, limits.low_open) if limits else (None, None, False)


def test_every_limit_is_stated_as_it_is_by_default(stated):
    for table, columns in stated.limits.items():
        for name, kinds in columns.items():
            if table == "derived":
                defaults = dict(
                    zip(("hard", "soft"), DERIVED_LIMITS[name], strict=True)
                )
            else:
                column = TABLES[table].column(name)
                defaults = {"hard": column.hard, "soft": column.soft}
            for kind, limits in kinds.items():
                assert bounds(limits) == bounds(defaults[kind]), (table, name, kind)


@pytest.mark.parametrize(("kind", "is_open"), [("hard", True), ("soft", False)])
def test_a_derived_limit_stated_as_it_is_by_default_is_as_open(
    kind, is_open, monkeypatch
):
    usual = Limits(0, low_open=True, why="test"), Limits(0, 9, why="test")
    monkeypatch.setitem(DERIVED_LIMITS, "semen_age_h", usual)
    read = _limits("derived", "semen_age_h", kind).read
    assert (read([0, 5]).low_open, read([1, 5]).low_open) == (is_open, False)


def test_the_habits_of_a_file_are_stated_as_they_are_by_default():
    (stated,) = parse(tomllib.loads(UNCOMMENTED)).reading.habits.values()
    station = Reading()
    inherited = {
        "dates": station.date_order,
        "decimal": station.decimal,
        "empty": station.empty,
        "ditto": station.ditto,
    }
    for name in HABITS:
        default = inherited.get(name, getattr(Habits(), name))
        if any(line.startswith(f"{name} = ") for line in NO_DEFAULT):
            assert not default, name
        else:
            assert getattr(stated, name) == default, name


def test_what_a_rule_may_say_of_a_column_is_stated_as_it_is_by_default():
    content = tomllib.loads(UNCOMMENTED)
    checks, column = TABLES["checks"], TABLES["checks"].column("pattern_pct")
    (spec,) = (
        each["columns"][column.name]
        for each in content["read"]
        if column.name in each["columns"]
    )
    assert set(spec) | {"value", "title", "year", "scores"} == set(column_form(checks, column))
    (rule,) = (
        rule.columns[column.name]
        for rule in parse(content).reading.rules
        if column.name in rule.columns
    )
    assert replace(
        Reading().cell_rule("checks", column.name, rule=rule), unit=None
    ) == Reading().cell_rule("checks", column.name)
    assert rule.unit == column.unit
    assert "filled" in column_form(checks, checks.column("brood_given"))
    assert not CellRule().filled
    assert {"each", "colours"} <= {name for each in content["read"] for name in each}
