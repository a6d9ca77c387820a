"""Lines of station.toml that a finding suggests."""

from __future__ import annotations

from queen_outcomes.facts.reading import Reading
from queen_outcomes.records.suggested import in_records


def test_lists_keep_what_is_set_and_columns_stand_in_the_dictionary_s_order():
    reading = Reading(fold=("graft_batch",), ignore=("old/*",))
    told = in_records(reading, fold=["queen_id"], ignore=["x.csv", "old/*"])
    assert told.splitlines() == [
        "[records]",
        'fold = ["queen_id", "graft_batch"]',
        'ignore = ["old/*", "x.csv"]',
    ]
    assert in_records(reading, co2="every") == '[records]\nco2 = "every"'
