"""What a sheet keeps beside its texts, counted from another column; and when it is too large."""

import io
import zipfile

import pytest
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.records import workbook_limits
from queen_outcomes.records.sheet_details import (
    Merge,
    RowMarks,
    SheetDetails,
    fill_colour,
)


def test_places_are_counted_from_the_first_column_in_use():
    details = SheetDetails(
        percents=((0, 1), (0, 2), (0, 3)),
        uncalculated={(1, 1): "=A", (1, 2): "=B"},
        texts={(2, 5): "x", (2, 0): "y"},
        merges=(Merge(0, 0, 0, 1), Merge(1, 1, 1, 2), Merge(2, 3, 2, 5)),
    ).from_column(2)
    assert details.percents == ((0, 0), (0, 1))
    assert details.uncalculated == {(1, 0): "=B"}
    assert details.texts == {(2, 3): "x"}
    assert details.merges == (Merge(1, 0, 1, 0), Merge(2, 1, 2, 3))


def test_marks_of_a_row_add_up():
    marks = RowMarks()
    marks.add(3, [4], "#00FF00", False)
    marks.add(3, [5, 6], None, True)
    marks.add(4, [7], "", True)
    assert (marks.fills, marks.struck) == ({3: {"#00FF00"}}, {3: {5, 6}, 4: {7}})
    assert marks.from_column(4).struck == {3: {1, 2}, 4: {3}}


@pytest.mark.parametrize(
    ("text", "colour"),
    [("ff00ff00", "#00FF00"), ("#ffffff", None), ("", None), (None, None)],
)
def test_white_is_no_fill(text, colour):
    assert fill_colour(text) == colour


def packed(**parts):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as book:
        for name, text in parts.items():
            book.writestr(name.replace("_", "."), text)
    return zipfile.ZipFile(content)


@pytest.mark.parametrize(
    ("size", "ratio_from", "refused"),
    [(100, 50, None), (101, 50, "10 times"), (101, 101, None), (1001, 2000, "GB")],
)
def test_a_workbook_may_unpack_to_so_much(monkeypatch, size, ratio_from, refused):
    monkeypatch.setattr(workbook_limits, "MOST_BYTES", 1000)
    monkeypatch.setattr(workbook_limits, "MOST_RATIO", 10)
    monkeypatch.setattr(workbook_limits, "RATIO_FROM", ratio_from)
    book = packed(a_xml="x" * (size - 1), b_xml="y")
    if refused is None:
        workbook_limits.refuse_huge(book, 10, "b.xlsx")
    else:
        with pytest.raises(RecordsError) as problem:
            workbook_limits.refuse_huge(book, 10, "b.xlsx")
        assert refused in problem.value.expected


@pytest.mark.parametrize(
    ("place", "near"),
    [
        ("B6", True),  # six rows of two: twelve cells
        ("B7", False),
        ("C5", False),
        ("L1", True),
        ("M1", False),
        ("aaaa1", False),
        ("A12345678", False),
        ("&#65;1", False),
        ("", True),
    ],
)
def test_how_far_a_cell_may_stand(monkeypatch, place, near):
    monkeypatch.setattr(workbook_limits, "PLAIN_CELLS", 12)
    xml = f'<c r="A1"/><c r="{place}"/>'
    assert workbook_limits.reaches_near(packed(a_xml=xml)) is near
    assert workbook_limits.reaches_near(packed(a_xml=xml.encode("utf-16"))) is near
    assert workbook_limits.reaches_near(packed(a_bin=xml))
    if place == "C5":
        assert workbook_limits.reaches_near(packed(a_xml=xml), 2)


@pytest.mark.parametrize(
    ("letters", "number"), [(b"A", 1), (b"z", 26), (b"AA", 27), (b"XFD", 16384)]
)
def test_a_columns_number(letters, number):
    assert workbook_limits.column_number(letters) == number
