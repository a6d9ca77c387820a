"""A heading cut into what it names, its unit, and its place in a series."""

import pytest
from queen_outcomes.records.map.seen.headings import heading


@pytest.mark.parametrize(
    ("text", "columns", "unit", "slot", "unknown"),
    [
        ("Eggs", {"eggs"}, "", "", ()),
        ("check1", set(), "", "1", ()),
        ("CO2", {"co2_other_at"}, "", "", ()),
        ("12th check", set(), "", "12", ()),
        ("second check", set(), "", "2", ()),
        # a Roman number counts beside a look alone
        ("check II", set(), "", "2", ()),
        ("dose ii", {"dose_ul"}, "", "", ()),
        ("7", set(), "", "", ()),
        ("spring", set(), "", "spring", ()),
        ("spring eggs", {"eggs"}, "", "spring", ()),
        # a unit behind a column; alone it is both
        ("dose ul", {"dose_ul"}, "uL", "", ()),
        ("ul dose", {"dose_ul"}, "uL", "", ()),
        ("ul", {"dose_ul", "colony_id"}, "uL", "", ()),
        ("temperature deg c", {"storage_c"}, "C", "", ()),
        ("temperature c", {"storage_c"}, "C", "", ()),
        ("zork ml", set(), "mL", "", ("zork",)),
        ("zork minutes", {"minutes"}, "", "", ("zork",)),
        ("handling time min", {"minutes"}, "min", "", ()),
        # a word nobody knows, a slip of the pen, too short a one, a single letter
        ("eggs zork", {"eggs"}, "", "", ("zork",)),
        ("operater", {"operator"}, "", "", ()),
        ("eggz", set(), "", "", ("eggz",)),
        ("eggs y", {"eggs"}, "", "", ()),
        # two words in one
        ("Besamungsdatum", {"inseminated_at"}, "", "", ()),
        ("", set(), "", "", ()),
    ],
)
def test_what_a_heading_is_cut_into(text, columns, unit, slot, unknown):
    said = heading(text)
    found = (said.of("column"), said.unit, said.slot, said.unknown)
    assert found == (columns, unit, slot, unknown)
    assert said.known == bool(said.phrases or unit)


def test_a_languages_own_words_come_first():
    assert "colony_id" in heading("Stock", "de").of("column")
    assert "colony_id" not in heading("Stock", "en").of("column")
    # where it does not know them all, another may
    assert heading("Stifte", "en").of("column") == {"eggs"}
