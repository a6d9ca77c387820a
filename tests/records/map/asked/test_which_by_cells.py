"""Which columns of ours a column that no heading explains may be, by what stands in it.

Each rule is held at both sides of every boundary: one row, text or label more or less.
"""

import pytest
from queen_outcomes.records.map.asked import which_of_ours
from queen_outcomes.records.map.seen.contents import Contents
from queen_outcomes.records.map.seen.opened import Cell
from sheets_by_hand import sheet


def rows(number):
    """Give a sheet of so many rows."""
    return sheet("\n".join(["Queen,Inseminated", *(f"D{n},2025-05-1{n % 9}" for n in range(number))]))


def held(*texts):
    return Contents([Cell(text) for text in texts])


def judged(rule, texts, of=None):
    return which_of_ours._USUAL[rule](rows(of or len(texts)), held(*texts))


PEOPLE = ["Ada", "Eve", "Bob", "Max", "Ida", "Olm", "Uwe"]


@pytest.mark.parametrize(
    ("texts", "of", "may_be"),
    [
        (PEOPLE[:6] * 3, 18, True),
        (PEOPLE * 3, 21, False),  # seven people are too many
        (PEOPLE[:2] * 3, 6, True),
        ([*PEOPLE[:2] * 2, "Ada"], 5, False),  # twice each, and once more
        (PEOPLE[:2] * 3, 12, True),  # half of the rows
        (PEOPLE[:2] * 3, 13, False),
        (["Abcdefghijkl", "Eve"] * 3, 6, True),  # twelve letters
        (["Abcdefghijklm", "Eve"] * 3, 6, False),
        (["ada", "eve"] * 3, 6, False),  # written small
        ([*["Ada"] * 8, "ada", "ada"], 10, True),  # four in five are capitals
        ([*["Ada"] * 7, "ada", "ada", "ada"], 10, False),
        (["Ja", "Nein"] * 3, 6, False),
        (["2025-05-01"] * 6, 6, False),
        ([*["Ada"] * 9, "2025-05-01"], 10, False),  # a day among them
        ([], 4, False),
    ],
)
def test_a_few_names_again_and_again_are_who_did_it(texts, of, may_be):
    assert judged("operator", texts, of) == may_be


@pytest.mark.parametrize("rule", ["graft_batch", "semen_batch"])
@pytest.mark.parametrize(
    ("texts", "of", "may_be"),
    [
        (["A1"] * 3 + ["A2"] * 3, 6, True),
        (["A1"] * 6, 6, False),  # one label is no series
        (["A1"] * 3 + ["A2"] * 2, 5, False),  # three rows each
        (["A1", "", "", "A2", "", ""], 6, True),  # written once over its rows
        (["A1", '"', '"', "A2", '"', '"'], 6, True),
        (["A1"] * 3 + ["A2"] * 3, 12, True),  # half of the rows
        (["A1"] * 3 + ["A2"] * 3, 13, False),
        (["A1", "A2"] * 2 + ["A1"] * 2, 6, False),  # five blocks of two labels
        (["A1", "A2", "A1", "A2", "A2", "A2"], 6, True),  # four
        (["2025-05-01"] * 3 + ["2025-05-02"] * 3, 6, False),
        (["a rather long one"] * 3 + ["another"] * 3, 6, False),
    ],
)
def test_labels_in_blocks_are_batches(rule, texts, of, may_be):
    assert judged(rule, texts, of) == may_be


@pytest.mark.parametrize(
    ("texts", "of", "may_be"),
    [
        (["17", "4", "23", "9", "31"], 5, True),
        (["1", "2", "3", "4", "5"], 5, False),  # counts the rows
        (["17", "4", "17", "4", "17"], 5, True),  # two in five are new
        (["17", "4", "17", "4", "17", "4"], 6, False),
        (["17", "4", "23"], 6, True),  # half of the rows
        (["17", "4", "23"], 7, False),
        (["2025-05-01", "2025-05-03", "2025-05-04"], 3, False),
        (["in the garden", "at home", "by the river"], 3, False),
    ],
)
def test_short_labels_of_their_own_are_colonies(texts, of, may_be):
    assert judged("colony_id", texts, of) == may_be


@pytest.mark.parametrize(
    ("texts", "of", "may_be"),
    [
        (["2025-05-01"] * 3 + ["2025-05-02"] * 3, 6, True),
        (["2025-05-01"] * 6, 6, False),  # one day of all
        (["2025-05-01"] * 3 + ["2025-05-02"] * 2, 5, False),  # three rows each
        (["2025-05-01"] * 3 + ["2025-05-02"] * 3, 12, True),  # half of the rows
        (["2025-05-01"] * 3 + ["2025-05-02"] * 3, 13, False),
        (["2025-05-01", "", "", "2025-05-02", "", ""], 6, True),
        ([*["2025-05-01"] * 4, *["2025-05-02"] * 4, "soon", "soon"], 10, True),  # four in five are days
        ([*["2025-05-01"] * 4, *["2025-05-02"] * 3, *["soon"] * 2], 9, False),
    ],
)
def test_days_of_several_queens_each_are_their_birth(texts, of, may_be):
    assert judged("emerged_on", texts, of) == may_be


@pytest.mark.parametrize(
    ("text", "is_label"),
    [
        *((text, True) for text in ("7", "1234", "H 7", "Volk7", "A", "XIV", "K-12", "K.3")),
        *((text, False) for text in ("12345", "Hives 7", "a", "AB", "7b", "", "H  7")),
    ],
)
def test_what_a_short_label_is(text, is_label):
    assert which_of_ours._is_label(held(text)) == is_label
