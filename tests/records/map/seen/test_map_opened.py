"""Files opened for looking: as what they are, and no further than the reader takes them."""

import datetime as dt
import io

import opendocument_files as ods
import polars as pl
import pytest
import xlsxwriter
from queen_outcomes.records.map.seen.opened import Cell, CellGrid, Row, every

ROWS = [["Queen", "Eggs"], ["D1", "yes"], ["D2", "no"]]


def seen(folder):
    return {
        grid.source: [[cell.text for cell in row.cells] for row in grid.rows]
        for grid in every(folder)
    }


def workbook(dress=lambda book, sheet: None) -> bytes:
    out = io.BytesIO()
    with xlsxwriter.Workbook(out) as book:
        sheet = book.add_worksheet("Looks")
        for number, row in enumerate(ROWS):
            sheet.write_row(number, 0, row)
        dress(book, sheet)
    return out.getvalue()


def test_a_workbook_is_opened_as_what_it_is_whatever_its_ending(tmp_path):
    ods.write(tmp_path / "a.xlsx", [ods.row(*row) for row in ROWS], sheet="Looks")
    (tmp_path / "b.ods").write_bytes(workbook())
    assert seen(tmp_path) == {"a.xlsx#Looks": ROWS, "b.ods#Looks": ROWS}
    assert [[row.line for row in grid.rows] for grid in every(tmp_path)] == [[1, 2, 3]] * 2


def test_what_a_workbook_has_besides_cells_is_passed_over_without_a_word(tmp_path, capfd):
    def dress(book, sheet):
        sheet.add_sparkline(1, 2, {"range": "Looks!A1:A3"})
        sheet.conditional_format(1, 0, 2, 0, {"type": "data_bar", "data_bar_2010": True})
        sheet.data_validation(1, 1, 2, 1, {"validate": "list", "source": ["yes", "no"]})
        sheet.insert_textbox(5, 5, "seen by Ada")
        sheet.write_comment(1, 1, "late")
        sheet.write_number(2, 1, 99999999, book.add_format({"num_format": "dd.mm.yyyy"}))
        chart = book.add_chart({"type": "line"})
        chart.add_series({"values": "={1,2}"})
        book.add_chartsheet("Curve").set_chart(chart)

    (tmp_path / "a.xlsx").write_bytes(workbook(dress))
    (rows,) = seen(tmp_path).values()
    assert [row[:2] for row in rows] == [["Queen", "Eggs"], ["D1", "yes"], ["D2", "#VALUE!"]]
    assert capfd.readouterr() == ("", "")


def test_moments_and_shares_are_read_as_a_spreadsheet_shows_them(tmp_path):
    shown = {
        "yyyy-mm-dd": (dt.datetime.fromisoformat("2026-05-31"), "2026-05-31", "date"),
        "yyyy-mm-dd hh:mm": (dt.datetime.fromisoformat("2026-05-31 14:30"), "2026-05-31 14:30", "date"),
        "hh:mm": (dt.time(9, 5), "09:05", "time"),
        "[hh]:mm": (dt.timedelta(hours=26, minutes=5), "26:05", "time"),
        "0%": (0.85, "85 %", "percent"),
        "0.0": (8.5, "8.5", "number"),
    }

    def dress(book, sheet):
        for column, (form, (value, *_)) in enumerate(shown.items()):
            look = book.add_format({"num_format": form})
            sheet.write(3, column, value, look)

    (tmp_path / "a.xlsx").write_bytes(workbook(dress))
    (grid,) = every(tmp_path)
    found = [(cell.text, cell.kind) for cell in grid.rows[-1].cells]
    assert found == [(text, kind) for _, text, kind in shown.values()]


def test_a_fill_is_seen_and_white_is_none(tmp_path):
    fills = ("#FFC000", "#FFFFFF", None, "#00B050")

    def dress(book, sheet):
        for column, fill in enumerate(fills):
            sheet.write(3, column, "x", book.add_format({"bg_color": fill} if fill else {}))

    (tmp_path / "a.xlsx").write_bytes(workbook(dress))
    (grid,) = every(tmp_path)
    assert [cell.fill for cell in grid.rows[-1].cells] == ["#FFC000", "", "", "#00B050"]


def test_a_grid_is_as_wide_as_what_stands_in_it():
    cells = [Row(1, (Cell("a"), Cell(""), Cell("b"), Cell(""))), Row(2, (Cell("c"),))]
    assert CellGrid("a.csv", tuple(cells)).width == 3
    assert (CellGrid("a.csv").width, CellGrid("a.csv").empty) == (0, True)
    assert CellGrid("a.csv", (Row(1, (Cell(""),)),)).width == 0


def test_a_row_is_struck_where_all_that_stands_in_it_is(tmp_path):
    def dress(book, sheet):
        struck = book.add_format({"font_strikeout": True})
        sheet.write_row(2, 0, ROWS[2], struck)
        sheet.write(3, 0, "D3", struck)
        sheet.write(3, 1, "no")
        sheet.write_blank(4, 0, None, struck)
        sheet.write_row(5, 0, ["D4", "no"])
        sheet.set_row(5, None, None, {"hidden": True})

    (tmp_path / "a.xlsx").write_bytes(workbook(dress))
    (grid,) = every(tmp_path)
    assert [row.line for row in grid.rows if row.struck] == [3]
    assert [row.line for row in grid.rows if row.hidden] == [6]


def test_a_cell_merged_downwards_fills_its_own_rows_and_column(tmp_path):
    def dress(book, sheet):
        sheet.merge_range("B5:B6", "late")
        sheet.write("A7", "D3")
        sheet.merge_range("C2:D2", "over")
        sheet.merge_range("C6:C7", "end")

    (tmp_path / "a.xlsx").write_bytes(workbook(dress))
    (grid,) = every(tmp_path)
    assert [[row.text(at) for at in range(4)] for row in grid.rows] == [
        ["Queen", "Eggs", "", ""],
        ["D1", "yes", "over", ""],
        ["D2", "no", "", ""],
        ["", "", "", ""],
        ["", "late", "", ""],
        ["", "late", "end", ""],
        ["D3", "", "end", ""],
    ]
    # of cells merged to the right those that the first one covers are told
    assert grid.spans == {(1, 3)}


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        # a quote that never closes costs its own line only
        ('Queen,"Eggs\nD1,yes\nD2,no\n', [['Queen,"Eggs'], ["D1", "yes"], ["D2", "no"]]),
        ('Queen,Eggs\nD1,"yes\nD2,no\n', [["Queen", "Eggs"], ['D1,"yes'], ["D2", "no"]]),
        ('Queen,Eggs\nD1,"yes"!\nD2,no\n', [["Queen", "Eggs"], ["D1", "yes!"], ["D2", "no"]]),
        ('Queen,Eggs\nD1,"a\n\nb"\nD2,no\n', [["Queen", "Eggs"], ["D1", "a b"], ["D2", "no"]]),
        ("Queen,Eggs\r\rD1,yes\r", [["Queen", "Eggs"], [], ["D1", "yes"]]),
    ],
)
def test_lines_are_cut_as_the_reader_cuts_them(tmp_path, text, rows):
    (tmp_path / "a.csv").write_bytes(text.encode())
    assert seen(tmp_path) == {"a.csv": rows}


def test_the_lines_of_rows_are_those_of_the_file(tmp_path):
    (tmp_path / "a.csv").write_bytes(b'sep=;\nQueen;Eggs\nD1;"a\nb"\nD2;"no\n\nD3;yes\n')
    (grid,) = every(tmp_path)
    assert [row.line for row in grid.rows] == [2, 3, 5, 6, 7]


def test_parquet_holds_what_the_reader_finds_in_it(tmp_path):
    frame = pl.DataFrame(
        {
            "a": ["D1", None],
            "b": [8.5, float("inf")],
            "c": [True, None],
            # a day that no calendar here has
            "d": pl.Series([20_000, 2**31 - 2], dtype=pl.Int32).cast(pl.Date),
            "e": [b"\xff", None],
        }
    )
    frame.write_parquet(tmp_path / "a.parquet")
    (rows,) = seen(tmp_path).values()
    assert rows[0] == ["a", "b", "c", "d", "e"]
    assert rows[1][:4] == ["D1", "8.5", "yes", "2024-10-04"]
    assert rows[2][:3] == ["", "inf", ""]


def test_the_blank_workbooks_own_words_are_no_sheet(tmp_path):
    with xlsxwriter.Workbook(tmp_path / "a.xlsx") as book:
        for name in ("How to fill in", "Looks"):
            book.add_worksheet(name).write_row(0, 0, ROWS[0])
    assert list(seen(tmp_path)) == ["a.xlsx#Looks"]
