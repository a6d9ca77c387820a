"""A first line that names the separator, as spreadsheets write and read it."""

import pytest
from queen_outcomes.records.map.seen.opened import _decoded

BODY = "Queen;Eggs, seen\nQ1;1,5\nQ2;2,5\n"
READ = [["Queen", "Eggs, seen"], ["Q1", "1,5"], ["Q2", "2,5"]]


@pytest.mark.parametrize(
    ("first", "rows"),
    [
        ("", READ),
        ("sep=;\n", READ),
        ("\ufeffSep=;\r\n", READ),
        # another sign than there seems to be is believed
        ("sep=,\n", [["Queen;Eggs", "seen"], ["Q1;1", "5"], ["Q2;2", "5"]]),
        # more than one sign is a heading that happens to begin so
        ("sep=;;\n", [["sep=", "", ""], *READ]),
    ],
)
def test_a_separator_named_on_the_first_line_is_taken_and_no_row(first, rows):
    grid = _decoded((first + BODY).encode(), "utf-8", "checks.csv")
    assert [[cell.text for cell in row.cells] for row in grid.rows] == rows
