"""Text tables: separators, encodings, quotes, and every line accounted for."""

import csv
import io

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records import delimited, encoding
from queen_outcomes.records.cutting import BLANKS, Cutter
from queen_outcomes.records.header import Names
from reading import checks

NAMES = Names.of(TABLES["checks"], {})
TABLE = "queen_id;checked_on;note\nQü;2025-06-20;fine\n"


def read(path, content, size=None):
    """Read a text table as it stands."""
    path.write_bytes(content)
    form = encoding.look(path, path.name)
    layout = delimited.lay_out(path, form, NAMES, path.name)
    return pl.concat(delimited.read(path, form, layout, size))


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_and_line_ends_are_found(tmp_path, separator, end):
    text = TABLE.replace(";", separator).replace("\n", end)
    rows = checks(tmp_path, text)
    assert rows[0]["queen_id"] == "Qü"
    assert rows[0]["note"] == "fine"
    assert rows[0]["source_line"] == 2


@pytest.mark.parametrize(
    "code", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
def test_encodings_are_found(tmp_path, code):
    assert checks(tmp_path, TABLE.encode(code))[0]["queen_id"] == "Qü"


def test_a_byte_that_windows_leaves_undefined_is_kept(tmp_path):
    content = TABLE.encode("cp1252").replace(b"fine", b"\x81")
    assert checks(tmp_path, content)[0]["note"] == "\x81"


def test_a_separator_that_the_file_declares_is_used(tmp_path):
    rows = checks(tmp_path, "sep=;\n" + TABLE)
    assert (rows[0]["queen_id"], rows[0]["source_line"]) == ("Qü", 3)


def test_titles_above_the_headings_are_passed_over(tmp_path):
    rows = checks(tmp_path, "Our checks, 2025;;\n\n" + TABLE)
    assert [row["source_line"] for row in rows] == [4]


def test_lines_keep_their_numbers_across_blanks_and_long_cells(tmp_path):
    text = (
        'queen_id,checked_on,note\nQ1,2025-06-20,"a\nb"\n\n,,\nQ2,2025-06-21,tip 5"\n'
    )
    rows = checks(tmp_path, text)
    assert [(r["source_line"], r["note"]) for r in rows] == [(2, "a\nb"), (6, 'tip 5"')]


@pytest.mark.parametrize(
    ("line", "broken"),
    [
        ("Q1,2025-06-20", "cells_missing"),
        ("Q1,2025-06-20,a,b", "cells_extra"),
        ('Q1,2025-06-20,"a', "quote_open"),
        ("Q1,2025-06-20,a,, ", None),
        ('Q1,2025-06-20,"a",,', None),
        ('Q1,2025-06-20,"a" b', None),
    ],
)
def test_a_line_that_does_not_fit_the_headings_is_broken_alone(tmp_path, line, broken):
    rows = checks(tmp_path, f"queen_id,checked_on,note\n{line}\nQ2,2025-06-21,fine\n")
    assert [row.get("broken") for row in rows] == [broken, None]
    assert rows[1]["queen_id"] == "Q2"


def test_a_broken_line_keeps_its_text(tmp_path):
    frame = read(tmp_path / "c.csv", b'queen_id,checked_on,note\r\nQ1,"x\r\n')
    assert frame["broken_text"].to_list() == ['Q1,"x']


def test_headings_without_a_name_may_lack_cells(tmp_path):
    rows = checks(tmp_path, "queen_id,checked_on,,\nQ1,2025-06-20\n")
    assert "broken" not in rows[0]


cells = st.text(
    st.one_of(
        st.sampled_from(',;"\t\n\r xé'), st.characters(exclude_categories=["Cs", "Cc"])
    ),
    max_size=6,
)


@pytest.mark.slow
@settings(max_examples=80, deadline=None)
@given(
    rows=st.lists(st.tuples(cells, cells, cells), min_size=1, max_size=8),
    separator=st.sampled_from(",;\t"),
    end=st.sampled_from(["\n", "\r\n"]),
    size=st.sampled_from([5, 40, None]),
)
def test_any_table_comes_back_as_it_was_written(
    tmp_path_factory, rows, separator, end, size
):
    file = io.StringIO(newline="")
    # Where lines end in a line feed alone, the writer leaves a cell that ends in a
    # carriage return without quotes, and nobody could tell it from the line's end.
    returns = any("\r" in cell for row in rows for cell in row)
    quotes = csv.QUOTE_ALL if returns and end == "\n" else csv.QUOTE_MINIMAL
    writer = csv.writer(file, delimiter=separator, lineterminator=end, quoting=quotes)
    writer.writerow(["queen_id", "checked_on", "note"])
    expected = []
    for row in rows:
        line = file.getvalue().count("\n") + 1
        writer.writerow(row)
        if any(cell.strip(BLANKS) for cell in row) and any(c.split() for c in row):
            expected.append((line, *(cell or None for cell in row)))
    path = tmp_path_factory.mktemp("any") / "checks.csv"
    frame = read(path, file.getvalue().encode(), size)
    assert frame["broken"].null_count() == frame.height
    assert frame.select("source_line", "0", "1", "2").rows() == expected


garbage = st.text(st.sampled_from('a," \r;'), max_size=12)


@pytest.mark.slow
@settings(max_examples=80, deadline=None)
@given(lines=st.lists(garbage, max_size=12), pieces=st.integers(1, 12))
def test_every_line_is_in_one_row_or_blank(lines, pieces):
    cutter = Cutter(",", 2, 3, first_row=1)
    taken, at, rest = [], 1, []
    for start in range(0, len(lines), pieces):
        rest += lines[start : start + pieces]
        given_lines = pl.Series("text", rest, dtype=pl.String)
        last = start + pieces >= len(lines)
        frame, used = cutter.cut(given_lines, at, last=last)
        taken += frame.select("source_line", "lines").rows()
        at, rest = at + used, rest[used:]
    assert rest == []
    covered = [line for first, span in taken for line in range(first, first + span)]
    assert len(covered) == len(set(covered))
    assert set(covered) <= set(range(1, len(lines) + 1))
    for line in set(range(1, len(lines) + 1)) - set(covered):
        assert not lines[line - 1].strip(', \r"'), "only a line without text is no row"
