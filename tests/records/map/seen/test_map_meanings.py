"""Free words: what is guessed, and what nobody can know."""

import pytest
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.map.seen.meanings import of_findings, of_word

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
        # a denial ends with its word unless another is joined to it
        ("no eggs", {"eggs": "no"}),
        ("no eggs or larvae", {"eggs": "no", "larvae": "no"}),
        ("no eggs larvae", {"eggs": "no", "larvae": "yes"}),
        ("eggs or larvae", {"eggs": "yes", "larvae": "yes"}),
        ("eggs and larvae", {"eggs": "yes", "larvae": "yes"}),
        # the first word wins, a denial always
        ("no eggs eggs", {"eggs": "no"}),
        ("eggs no eggs", {"eggs": "no"}),
        ("queen not seen eggs", NOT_SEEN | {"eggs": "yes"}),
        ("eggs zork larvae", None),
        # a word that denies what follows says nothing was there where it stands alone
        ("keine", {"eggs": "no", "larvae": "no", "sealed": "no"}),
        ("keine Eier", {"eggs": "no"}),
        # where nothing follows it is of what stands before
        ("matka není", NOT_SEEN),
        ("larvae, matka není", {"larvae": "yes"} | NOT_SEEN),
        ("matka není, vajíčka", NOT_SEEN | {"eggs": "yes"}),
        ("matka není vajíčka", SEEN | {"eggs": "no"}),
        ("eggs none", None),
        # and in languages that deny behind a word
        ("yumurta yok", {"eggs": "no"}),
        ("yumurta yok larva var", {"eggs": "no", "larvae": "yes"}),
        ("nincs pete", {"eggs": "no"}),
        ("pete nincs", {"eggs": "no"}),
        # nothing but what is said to be there
        ("no brood, eggs", {"eggs": "yes", "larvae": "no", "sealed": "no"}),
        ("Q seen, nothing yet", SEEN | {"eggs": "no", "larvae": "no", "sealed": "no"}),
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
        ("culled, poor brood", "culled_fault"),
        ("culled spare", "culled_other"),
        ("culled", None),
        ("nuc perished", "colony_lost"),
        ("mating nuc down", "colony_lost"),
        ("perished with hive", "colony_lost"),
        ("hive sold", "sold"),
        ("hive", None),
        ("perished", None),
        ("spotty", "culled_fault"),
        ("spotty space", None),
        ("lab x", "sampled"),
        ("dl x", None),
        ("sold or dead", None),
        ("", None),
    ],
)
def test_reasons(text, meant):
    assert of_word(text, "reason", TABLES["exits"].column("reason").words) == meant


def test_a_question_mark_doubts_a_word():
    column = TABLES["checks"].column("drone_in_worker")
    assert of_word("many", column.name, column.words) == "many"
    assert of_word("many?", column.name, column.words) is None


@pytest.mark.parametrize(
    ("table", "column", "text", "meant"),
    [
        ("inseminations", "leak", "✗", "none"),
        ("inseminations", "leak", "quite heavy", "most"),
        ("inseminations", "leak", "little heavy", None),
        ("inseminations", "leak", "zork", None),
        ("checks", "queen_cells", "2 swarm cells", "swarm"),
        ("checks", "queen_cells", "swarm cells, eggs", "swarm"),
        ("checks", "drone_in_worker", "sup cells", None),
        ("exits", "reason", "✗", None),
    ],
)
def test_words_of_other_columns(table, column, text, meant):
    assert of_word(text, column, TABLES[table].column(column).words) == meant


@pytest.mark.parametrize(
    ("only", "sets"),
    [
        (("larvae", "sealed"), {"larvae": "yes"}),
        (("sealed",), None),
        ((), SEEN | {"larvae": "yes"}),
    ],
)
def test_a_heading_may_confine_what_is_set(only, sets):
    assert of_findings("Q larvae", only) == sets
