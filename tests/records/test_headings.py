"""Headings become our columns, or the station is told what to mend."""

import pytest
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.headings import TableNames, canonical, map_columns, unique
from reading import stage

CHECKS = TABLES["checks"]


def mapped(headings, columns=None):
    return map_columns(TableNames.of(CHECKS, columns or {}), headings, "checks.csv")


def test_case_blanks_hyphens_and_invisible_signs_do_not_matter():
    assert canonical("\ufeff Queen  -ID\u200b") == "queen_id"
    assert mapped(["QUEEN id", "Checked-on"]) == {"queen_id": 0, "checked_on": 1}


def test_the_stations_own_heading_comes_before_ours():
    columns = {"queen_id": "Königin  Nr."}
    headings = ["queen_id", "königin nr.", "checked_on"]
    assert mapped(headings, columns)["queen_id"] == 1


def test_either_the_queen_or_the_colony_is_enough():
    assert mapped(["colony_id", "checked_on"]) == {"colony_id": 0, "checked_on": 1}
    with pytest.raises(RecordsError, match="queen_id or colony_id"):
        mapped(["checked_on"])


def test_two_headings_for_one_column_are_refused():
    with pytest.raises(RecordsError, match="two headings"):
        mapped(["queen_id", "Queen ID", "checked_on"])


def test_a_missing_column_is_told_with_the_nearest_heading():
    with pytest.raises(RecordsError, match='"checked_on" is missing') as caught:
        mapped(["queen_id", "chekced on"])
    assert 'checked_on = "chekced on"' in caught.value.hint


def test_a_mapped_heading_that_no_file_has_is_refused(tmp_path):
    settings = {"columns": {"checks": {"note": "Remarsk"}}}
    text = "queen_id,checked_on,Remarks\nQ1,2025-06-20,x\n"
    with pytest.raises(RecordsError, match='heading "Remarsk"') as caught:
        stage(tmp_path, settings, checks__csv=text)
    assert "Remarks" in caught.value.hint


def test_columns_that_are_not_used_are_noted_with_the_nearest(tmp_path):
    text = "queen_id,checked_on,egs,egs\nQ1,2025-06-20,x,y\n"
    store, read = stage(tmp_path, checks__csv=text)
    assert read.sources[0].unused == ("egs", "egs (2)")
    assert 'checks.csv: the column "egs" is not used; was "eggs" meant?' in read.notes
    assert store.rows('SELECT egs, "egs (2)" FROM raw_1') == [("x", "y")]


def test_names_of_raw_columns_differ_whatever_their_case():
    assert unique(["Line", "line", "", "source_line"]) == [
        "Line",
        "line (2)",
        "column 3",
        "source_line (2)",
    ]


def test_a_dam_line_and_a_files_line_do_not_mix(tmp_path):
    text = "queen_id,line\nQ1,North\n"
    store, _ = stage(tmp_path, queens__csv=text)
    assert store.rows("SELECT source_line, line FROM staged_queens") == [(2, "North")]
