"""The registry of outcomes: what is not declared in whole stops the build by its name."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from queen_outcomes.base.errors import LedgerError, UsageError
from queen_outcomes.facts import outcomes as registry
from queen_outcomes.facts.dose_words import success
from queen_outcomes.facts.outcomes import OUTCOMES, Event, outcome_named
from queen_outcomes.facts.settings import Outcomes, parse
from queen_outcomes.models.closed import failures_of
from queen_outcomes.outcomes import answers
from queen_outcomes.outcomes.derive import count_rates
from station_tables import derived, insemination

LOST = OUTCOMES["lost"]
UNHEARD_OF = replace(
    LOST,
    name="unheard_of",
    label="unheard_of",
    question="?",
    event=Event(reasons=("x",)),
)


@pytest.fixture
def declared(monkeypatch):
    """Declare one outcome more, or one anew."""

    def declare(outcome):
        monkeypatch.setitem(OUTCOMES, outcome.name, outcome)

    return declare


def test_every_outcome_is_declared_in_whole():
    assert len(OUTCOMES) >= 6
    assert registry.unfinished() == []


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"success": ""}, "lost: success is empty"),
        ({"failure": "lost"}, 'lost: failure has no "{}" for the day'),
        ({"question": ""}, "lost: question is empty"),
        ({"label": ""}, "lost: label is empty"),
        ({"days": ()}, "lost: days is empty"),
        ({"look_for": ()}, "lost: look_for is empty"),
        ({"look_for": ("her wings",)}, "lost: look_for has 'her wings', not in TO_SEE"),
        ({"fails": "maybe"}, "lost: fails is 'maybe', none of ('yes', 'no')"),
        ({"curve": "bent"}, "lost: curve is 'bent', none of"),
        ({"looks": "never"}, "lost: looks is 'never', none of"),
        ({"event": None}, "lost: an incidence has an event, and nothing else has"),
        ({"curve": "none"}, "lost: an incidence has an event, and nothing else has"),
        ({"event": Event()}, "lost: the event has either reasons, or dates of its own"),
        ({"curve": "state", "event": None}, "established: curve state is lost's"),
    ],
)
def test_what_an_outcome_lacks_is_told_with_its_name(declared, changed, told):
    declared(replace(LOST, **changed))
    assert any(lack.startswith(told) for lack in registry.unfinished())


def test_an_outcome_without_sql_stops_the_build_before_it_begins(
    command, declared, station
):
    declared(UNHEARD_OF)
    ran = command("build", station)
    assert ran.code == 70
    assert "unheard_of: sql/04_outcomes/answers_unheard_of.sql is missing" in ran.err
    assert not (station / "build").exists()


def test_sql_that_lacks_a_column_is_told_with_the_outcome(monkeypatch):
    read = answers.resources.read

    def without_why(*parts):
        text = read(*parts)
        return text.replace("AS why", "AS wy") if "answers_lost" in parts[-1] else text

    monkeypatch.setattr(answers.resources, "read", without_why)
    with pytest.raises(LedgerError) as refused:
        derived(inseminations=[insemination()])
    assert refused.value.where.startswith("lost, sql/04_outcomes/answers_lost.sql")
    assert "why" in refused.value.found


def test_a_state_that_there_is_not_is_told_with_the_outcome(monkeypatch):
    read = answers.resources.read

    def perhaps(*parts):
        text = read(*parts)
        is_lost = "answers_lost" in parts[-1]
        return text.replace("'undecided'", "'perhaps'") if is_lost else text

    monkeypatch.setattr(answers.resources, "read", perhaps)
    with pytest.raises(LedgerError) as refused:
        derived(inseminations=[insemination()])
    assert refused.value.found == "lost: state perhaps"


@pytest.mark.parametrize(
    ("column", "value", "told"),
    [
        ("outcome", "unheard_of", "unheard_of is not declared"),
        ("state", "perhaps", "laying: state perhaps"),
    ],
)
def test_rates_count_no_answer_that_is_not_declared(column, value, told):
    store = derived(inseminations=[insemination()])
    store.execute(f"UPDATE outcomes SET {column} = '{value}' WHERE outcome = 'laying'")
    with pytest.raises(LedgerError) as refused:
        count_rates(store, parse({}))
    assert refused.value.found == told


@pytest.mark.parametrize(
    "ask",
    [
        lambda: failures_of("unheard_of", np.array([1.0])),
        lambda: success("unheard_of", 60),
        lambda: outcome_named("unheard_of"),
    ],
)
def test_models_and_words_ask_for_declared_outcomes_only(ask):
    with pytest.raises(UsageError) as refused:
        ask()
    assert refused.value.found == "unheard_of"


def test_settings_have_the_windows_of_every_outcome():
    defaults = Outcomes()
    assert defaults.windows == [
        (name, days) for name, outcome in OUTCOMES.items() for days in outcome.days
    ]
    asked = parse({"outcomes": {"lost_days": [30, 10]}}).outcomes
    assert asked.lost_days == (10, 30)
    assert [days for name, days in asked.windows if name == "lost"] == [10, 30]
