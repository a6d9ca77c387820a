"""Files that are not what they seem end with a sentence, never with a traceback."""

import zipfile

import polars as pl
import pytest
import xlsxwriter
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records.staging import stage_records

OLE = bytes.fromhex("d0cf11e0a1b11ae1") + bytes(600)
HEAD = b"queen_id,checked_on\n"


def refuse(path, name, content):
    """Stage a folder in which one file is bad; give the error."""
    (path / "inseminations.csv").write_text("queen_id,inseminated_at\n")
    (path / name).write_bytes(content)
    with pytest.raises(RecordsError) as caught:
        stage_records(Store(), path, Settings())
    assert name in caught.value.text()
    return caught.value.text()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("checks.csv", b"", "is empty"),
        ("checks.csv", b"\xef\xbb\xbf", "no text"),
        ("checks.csv", b"\n\n ,,\n", "no text"),
        ("checks.csv", HEAD + b"Q\0\0\1\2", "not a text table"),
        ("checks.csv", HEAD + bytes(range(1, 9)) * 50, "not a text table"),
        ("checks.csv", b"PK\x03\x04rest", "rename it to .xlsx"),
        ("checks.csv", OLE, "save it as .xlsx"),
        ("checks.csv", b"PAR1rest", "rename it to .parquet"),
        ("checks.csv", b"one,two\n1,2\n", '"checked_on" is missing'),
        ("checks.csv", b"\xff\xfeq\x00\x00\xd8q\x00", "not a text table"),
        ("checks.xlsx", b"", "is empty"),
        ("checks.xlsx", OLE, "password"),
        ("checks.xlsx", b"PK\x03\x04rest", "damaged"),
        ("checks.xlsx", HEAD, "not an .xlsx"),
        ("checks.xlsx", HEAD, "a text"),
        ("checks.xlsx", HEAD, "rename it to .csv, or open it in a spreadsheet program"),
        ("checks.ods", b"\xef\xbb\xbf <!DOCTYPE html><table>", "a web page or other markup"),
        ("checks.ods", b"<?xml version='1.0'?>", "save it as .ods"),
        ("checks.xlsx", b"\0\1\2", "give it the ending of what it is"),
        ("checks.parquet", b"", "cannot be read"),
        ("checks.parquet", b"PAR1rest", "cannot be read"),
        ("checks.parquet", HEAD, "cannot be read"),
    ],
)
def test_a_bad_file_is_told_as_what_it_is(tmp_path, name, content, said):
    assert said in refuse(tmp_path, name, content)


def test_a_zip_that_holds_no_workbook_is_damaged(tmp_path):
    with zipfile.ZipFile(tmp_path / "checks.xlsx", "w") as file:
        file.writestr("readme.txt", "nothing")
    content = (tmp_path / "checks.xlsx").read_bytes()
    assert "damaged" in refuse(tmp_path, "checks.xlsx", content)


@pytest.mark.parametrize("part", ["xl/workbook.xml", "xl/styles.xml"])
def test_a_workbook_in_an_encoding_that_nobody_knows_is_damaged(tmp_path, part):
    whole = tmp_path / "whole.zip"
    with xlsxwriter.Workbook(whole) as book:
        book.add_worksheet("checks").write_row(0, 0, ["queen_id", "checked_on"])
    name = tmp_path / "made.zip"
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(name, "w") as new:
        for each in old.namelist():
            text = old.read(each)
            if each == part:
                text = text.replace(b'encoding="UTF-8"', b'encoding="F-8"')
                assert b"F-8" in text
            new.writestr(each, text)
    whole.unlink()
    content = name.read_bytes()
    name.unlink()
    assert "damaged" in refuse(tmp_path, "checks.xlsx", content)


def test_all_files_that_cannot_be_opened_are_named_at_once(tmp_path):
    (tmp_path / "exits.ods").write_bytes(b"PK\x03\x04rest")
    (tmp_path / "queens.xlsx").write_bytes(OLE)
    said = refuse(tmp_path, "checks.xlsx", b"PK\x03\x04rest")
    for name in ("checks.xlsx", "exits.ods", "queens.xlsx"):
        assert name in said
    # a table that a file may hold is not called missing
    assert "missing" not in said


def test_a_damaged_workbook_with_a_sign_in_its_name_is_to_be_saved_as_what_it_is(tmp_path):
    said = refuse(tmp_path, "checks #2.xlsx", b"PK\x03\x04rest")
    assert "save it again as .xlsx" in said
    (tmp_path / "checks #2.xlsx").unlink()
    assert "again as .ods" in refuse(tmp_path, "checks #2.ods", b"PK\x03\x04rest")


def test_a_parquet_file_with_a_broken_page_is_named(tmp_path):
    frame = pl.DataFrame({"queen_id": ["Q1", "Q2"] * 50, "checked_on": ["2026-06-01"] * 100})
    frame.write_parquet(tmp_path / "checks.parquet", statistics=False)
    content = bytearray((tmp_path / "checks.parquet").read_bytes())
    # the first page's head, behind the four letters that every such file begins with
    content[4:20] = bytes([0x1F]) * 16
    said = refuse(tmp_path, "checks.parquet", bytes(content))
    assert "cannot be read" in said
