"""Free words: what is guessed, and what nobody can know."""

import pytest
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.map.meanings import of_findings, of_word

SEEN, NOT_SEEN = {"queen_seen": "yes"}, {"queen_seen": "no"}


@pytest.mark.parametrize(
    ("text", "sets"),
    [
        ("Q", SEEN),
        ("Q+ eggs", SEEN | {"eggs": "yes"}),
        ("Q - eggs", SEEN | {"eggs": "yes"}),
        ("no Q", NOT_SEEN),
        ("Q not seen, eggs", NOT_SEEN | {"eggs": "yes"}),
        ("no queen cells", {"queen_cells": "none"}),
        ("fed", {}),
        # a minus may deny what stands before it, or after it
        ("Q- eggs", None),
        ("E+ L-", None),
        ("eggs + larvae -", None),
        ("-eggs", None),
        # queen cells are no queen seen; of which kind, only the keeper knows
        ("queen cells", None),
        ("2 queen cells, eggs", None),
        # both a look and none
        ("eggs, fed", None),
        ("eggs?", None),
    ],
)
def test_free_words(text, sets):
    assert of_findings(text) == sets


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("sold to the next valley", "sold"),
        ("not sold", None),
        ("swarmed?", None),
        ("not there", "missing"),
        ("not dead", None),
        ("failed to lay", "culled_fault"),
    ],
)
def test_reasons(text, meant):
    assert of_word(text, "reason", TABLES["exits"].column("reason").words) == meant


def test_a_question_mark_doubts_a_word():
    column = TABLES["checks"].column("drone_in_worker")
    assert of_word("many", column.name, column.words) == "many"
    assert of_word("many?", column.name, column.words) is None
