"""Text tables: separators, encodings, quotes, and every line accounted for."""

import csv
import io
from dataclasses import replace

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.commands.failures import exit_code
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records import delimited
from queen_outcomes.records.headings import TableNames
from reading import checks, stage

NAMES = TableNames.of(TABLES["checks"], {})
TABLE = "queen_id;checked_on;note\nQü;2025-06-20;fine\n"


def read(path, content, batch_rows=4000):
    """Read a text table as it stands."""
    name = path.name
    form = delimited.examine(content, name)
    layout = delimited.lay_out(content, form, NAMES, name)
    return pl.concat(delimited.read_rows(content, form, layout, name, batch_rows))


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


@pytest.mark.parametrize(
    ("text", "lone"),
    [("a,b\rc,d\ne,f\rg,h\n", False), ("a,b\rc,d\re,f\rg,h\n", True), ('a,"b\r\r\rc"\ne,f\r', False)],
    ids=["as many", "more", "in quotes"],
)  # fmt: skip
def test_carriage_returns_end_lines_where_most_line_ends_are_such(text, lone):
    assert delimited.examine(text.encode(), "a.csv").returns_end_lines is lone


def test_a_byte_that_windows_leaves_undefined_is_kept(tmp_path):
    content = TABLE.encode("cp1252").replace(b"fine", b"\x81")
    assert checks(tmp_path, content)[0]["note"] == "\x81"


@pytest.mark.parametrize(
    ("declared", "separator"),
    [("sep=;", ";"), ("sep=\t", "\t"), ("sep=", "\t"), ("SEP=|", "|")],
)
def test_a_separator_that_the_file_declares_is_used(tmp_path, declared, separator):
    rows = checks(tmp_path, f"{declared}\n" + TABLE.replace(";", separator))
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


def test_a_record_of_two_lines_that_does_not_fit_is_given_back_line_by_line(tmp_path):
    """Its quotes may be what is wrong: the next line may be a record of its own."""
    text = 'queen_id,checked_on,note\nQ1,"2025-06-20\nQ2,2025-06-21",fine,x\nQ3,2025-06-22,\n'
    frame = read(tmp_path / "c.csv", text.encode())
    told = frame.select("source_line", "broken", "broken_text").rows()
    assert told == [
        (2, "quote_open", 'Q1,"2025-06-20'),
        (3, "cells_extra", 'Q2,2025-06-21",fine,x'),
        (4, None, None),
    ]


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
    batch_rows=st.sampled_from([1, 3, 4000]),
)
def test_any_table_comes_back_as_it_was_written(
    tmp_path_factory, rows, separator, end, batch_rows
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
        if "".join(row).replace("\ufeff", "").split():
            expected.append((line, *(cell or None for cell in row)))
    path = tmp_path_factory.mktemp("any") / "checks.csv"
    if not expected:
        return
    frame = read(path, file.getvalue().encode(), batch_rows)
    assert frame["broken"].null_count() == frame.height
    assert frame.select("source_line", "0", "1", "2").rows() == expected


garbage = st.text(st.sampled_from('a," ;'), max_size=12)


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(
    lines=st.lists(garbage, max_size=12),
    end=st.sampled_from(["\n", "\r\n"]),
    one_by_one=st.booleans(),
)
def test_every_line_is_in_one_record(lines, end, one_by_one):
    whole = [line + end for line in lines]
    reader = delimited.RecordReader(whole, ",")
    taken = []
    for cells in reader:
        assert reader.line == len(taken) + 1
        if one_by_one:
            reader.give_back()
        assert len(reader.taken) == 1 or cells is not None
        taken += reader.taken
    assert taken == whole


HEAD = "queen_id,checked_on,note\n"
LINES = [f"Q{n},2025-06-20,fine" for n in range(1, 87)]


@pytest.mark.parametrize(
    "odd",
    ['Q9,2025-06-20,"two\nlines"', 'Q9,2025-06-20,"tip 5""\n"', "Q9,2025-06-20,x\n"],
)
def test_lines_end_as_most_of_them_do(tmp_path, odd):
    """Old programs end lines in a carriage return; one line feed changes nothing."""
    text = "\r".join([HEAD.strip(), *LINES, odd])
    rows = checks(tmp_path, text)
    assert [row["queen_id"] for row in rows] == [f"Q{n}" for n in range(1, 87)] + ["Q9"]
    assert [row["source_line"] for row in rows] == list(range(2, 89))
    assert not any("broken" in row for row in rows)


def test_returns_inside_quotes_do_not_decide_the_line_ends(tmp_path):
    text = HEAD + 'Q1,2025-06-20,"a\rb\rc\rd\re"\nQ2,2025-06-21,x\n'
    rows = checks(tmp_path, text)
    assert [(r["source_line"], r["note"]) for r in rows] == [
        (2, "a\rb\rc\rd\re"),
        (3, "x"),
    ]


@pytest.mark.parametrize(
    "text",
    [
        "queen_id,checked_on,note\r" + "\n".join(LINES),
        '"queen_id","checked\ron",note\n' + "\n".join(LINES),
        "\r".join([HEAD.strip(), *LINES[:9]]) + "\n" + HEAD + "\n".join(LINES),
        HEAD + "\n".join(LINES) + "\rQ2,2025-06-21,x\n",
        HEAD + "\n".join(LINES) + '\nQ2,2025-06-21,x\ry,z"\n',
    ],
)
def test_a_carriage_return_that_ends_no_line_stops_the_build(tmp_path, text):
    with pytest.raises(RecordsError, match="carriage return") as caught:
        checks(tmp_path, text)
    assert exit_code(caught.value) == 3


def test_doubled_returns_before_a_feed_are_one_line_end(tmp_path):
    rows = checks(tmp_path, (HEAD + "\n".join(LINES[:3])).replace("\n", "\r\r\n"))
    assert [row["source_line"] for row in rows] == [2, 3, 4]


def test_lines_counted_otherwise_than_read_stop_the_build(tmp_path, monkeypatch):
    counted = delimited.examine

    def short(content, name, other):
        form = counted(content, name, other)
        return replace(form, lines=form.lines - (name == "checks.csv"))

    monkeypatch.setattr(delimited, "examine", short)
    with pytest.raises(RecordsError, match="not the lines") as caught:
        checks(tmp_path, HEAD + "\n".join(LINES))
    assert "87 lines read, 86 counted" in caught.value.text()
    assert exit_code(caught.value) == 3


@pytest.mark.parametrize("code", ["utf-8", "utf-16", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("last", [True, False])
def test_lines_are_counted_in_every_encoding(tmp_path, code, end, last):
    text = TABLE + "Q2;2025-06-21;" + "x" * 3 + "\n" * last
    content = text.replace("\n", end).encode(code)
    assert delimited.examine(content, "checks.csv").lines == 3


def test_the_separator_of_a_file_of_one_column_is_the_comma(tmp_path):
    """So an empty cell to spare is cut off, and no other sign is taken for one."""
    store, _ = stage(tmp_path, queens__csv='queen_id\nQ1,\n"Q2"\nQ;3\n')
    ids = store.rows("SELECT queen_id FROM staged_queens ORDER BY ref")
    assert ids == [("Q1",), ("Q2",), ("Q;3",)]
