"""Lines of station.toml that a finding suggests."""

from __future__ import annotations

import tomllib

from queen_outcomes.facts.reading import Reading
from queen_outcomes.records.suggested import in_records, key, toml


def test_lists_keep_what_is_set_and_columns_stand_in_the_dictionary_s_order():
    reading = Reading(fold=("graft_batch",), ignore=("old/*",))
    told = in_records(reading, fold=["queen_id"], ignore=["x.csv", "old/*"])
    assert told.splitlines() == [
        "[records]",
        'fold = ["queen_id", "graft_batch"]',
        'ignore = ["old/*", "x.csv"]',
    ]
    assert in_records(reading, co2="every") == '[records]\nco2 = "every"'


def test_names_and_values_are_written_as_toml_has_them():
    """A bare key is of letters, digits, underscores and dashes (TOML 1.0, keys)."""
    bare = ["Ada", "a-b_1", "2025"]
    quoted = ["", "Ada Brun", "a.csv", "é", 'a"b']
    assert [key(name) for name in bare] == bare
    for name in quoted:
        assert tomllib.loads(f"{key(name)} = 1") == {name: 1}
        assert key(name).startswith('"')
    value = {"a b": ["x\x7f", 1, True], "c": {}}
    assert tomllib.loads(f"v = {toml(value)}") == {"v": value}
