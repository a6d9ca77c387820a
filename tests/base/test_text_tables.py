"""Tables in a terminal, written out whole at several widths; and texts folded and cut."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.base import text_layout as layout

COLUMNS = ["queen_id", "checked_on", "dose_given_ul", "note"]
ROWS = [
    ["Q-2026-0001", dt.date(2026, 5, 1), 0.123456789, "a remark of some words"],
    ["Q-2", None, 12, "records/old/checks_2026.csv:1234"],
]
WIDE = """\
queen_id     checked_on  dose_given_ul  note
Q-2026-0001  2026-05-01       0.123457  a remark of some words
Q-2                                 12  records/old/checks_2026.csv:1234"""
AT_60 = """\
queen_id     checked_on  dose_given_ul  note
Q-2026-0001  2026-05-01       0.123457  a remark of some
                                        words
Q-2                                 12  records/old/
                                        checks_2026.csv:1234"""
AT_40 = """\
queen_id       Q-2026-0001
checked_on     2026-05-01
dose_given_ul  0.123457
note           a remark of some words

queen_id       Q-2
checked_on
dose_given_ul  12
note           records/old/
               checks_2026.csv:1234"""
AT_20 = """\
queen_id       Q-2026-
               0001
checked_on     2026-05-
               01
dose_given_ul  0.123457
note           a remark
               of some
               words

queen_id       Q-2
checked_on
dose_given_ul  12
note           records/
               old/
               checks_2
               026.csv:
               1234"""
DROPPED = """\
queen_id     checked_on  dose_given_ul
Q-2026-0001  2026-05-01       0.123457
Q-2                                 12"""


@pytest.mark.parametrize(
    ("width", "table"), [(None, WIDE), (72, WIDE), (60, AT_60), (40, AT_40), (20, AT_20), (1, AT_20)]
)
def test_a_table_at_a_width(width, table):
    assert layout.aligned(COLUMNS, ROWS, width=width) == table.split("\n")


def test_a_table_leaves_out_what_it_can_do_without_first():
    gone = []
    lines = layout.aligned(COLUMNS, ROWS, width=40, drops=("note", "queen_id"), left_out=gone)
    assert (lines, gone) == (DROPPED.split("\n"), ["note"])
    assert layout.aligned(COLUMNS, ROWS, width=40, drops=("note",)) == DROPPED.split("\n")
    gone = []
    layout.aligned(COLUMNS, ROWS, width=72, drops=("note",), left_out=gone)
    assert gone == []


def test_many_rows_lie_in_columns_where_few_stand_upright():
    twelve = layout.aligned(COLUMNS, ROWS * 6, width=40)
    assert twelve[0] == "queen_id       Q-2026-0001"
    more = layout.aligned(COLUMNS, [*ROWS * 6, ROWS[0]], width=44)
    assert more[0].split() == ["queen_id", "checked_on", "dose_", "note"]
    assert max(map(len, more)) == 44


@pytest.mark.parametrize(
    ("values", "right"),
    [
        ([7, 12.5], True),
        ([7, None], True),
        (["0.5", "12 %"], True),
        (["+0.5", ""], True),
        (["12", "7"], False),  # they may be names
        ([True, False], False),
        ([None, None], False),
        (["", ""], False),
        (["0.5", "x"], False),
        (["1.", "2."], False),
    ],
)
def test_numbers_are_set_to_the_right(values, right):
    lines = layout.aligned(["figure_of_it", "z"], [[value, "z"] for value in values])
    ends = [line[: len("figure_of_it")] for line in lines[1:]]
    shown = [text for value in values if (text := layout.show(value))]
    assert all(end.endswith(text) for end, text in zip(ends, shown, strict=False)) == (
        right or not shown
    )


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (None, ""), (True, "yes"), (False, "no"), (0.1234567, "0.123457"), (1e9, "1e+09"), (3, "3"),
        ([1, None, True], "1, , yes"), (("a", "b"), "a, b"), (dt.date(2026, 5, 1), "2026-05-01"),
        (dt.datetime(2026, 5, 1, 8, 5, 9, tzinfo=dt.UTC), "2026-05-01 08:05+00:00"), ("a\x07b", "a\\u0007b"),
    ],
)  # fmt: skip
def test_how_a_value_is_shown(value, shown):
    assert layout.show(value) == shown


@pytest.mark.parametrize(
    ("text", "wide", "lines"),
    [
        ("", 8, []),
        ("one two", 7, ["one two"]),
        ("one two", 6, ["one", "two"]),
        ("one two three", 9, ["one two", "three"]),
        ("old/checks.csv:12", 17, ["old/checks.csv:12"]),
        ("old/checks.csv:12", 16, ["old/checks.csv:", "12"]),
        ("old/checks.csv:12", 11, ["old/", "checks.csv:", "12"]),
        ("old/checks.csv:12", 6, ["old/", "checks", ".csv:", "12"]),
        ("see old/checks.csv:12 first", 12, ["see", "old/", "checks.csv:", "12 first"]),
        ("xxxxxxxxx", 4, ["xxxx", "xxxx", "x"]),
        ("女王蜂 一二", 6, ["女王蜂", "一二"]),
        ("女王蜂一二", 4, ["女王", "蜂一", "二"]),
        ("女王蜂", 5, ["女王", "蜂"]),
    ],
)
def test_a_cell_is_folded_between_words_and_behind_signs(text, wide, lines):
    assert layout._between_words(text, wide) == lines


@pytest.mark.parametrize(
    ("name", "wide", "lines"),
    [
        ("dose_given_ul", 13, ["dose_given_ul"]),
        ("dose_given_ul", 12, ["dose_given_", "ul"]),
        ("dose_given_ul", 6, ["dose_", "given_", "ul"]),
        ("dose_given_ul", 4, ["dose", "_", "give", "n_", "ul"]),
        ("first day", 6, ["first ", "day"]),
    ],
)
def test_a_heading_is_folded_behind_its_underscores(name, wide, lines):
    assert [line.rstrip() for line in layout._at_underscores(name, wide)] == [
        line.rstrip() for line in lines
    ]


@pytest.mark.parametrize(
    ("text", "columns"), [("", 0), ("abc", 3), ("é", 1), ("e\u0301", 1), ("女", 2), ("ａ", 2), ("ﾊ", 1)]
)
def test_how_wide_a_text_is(text, columns):
    assert layout.width_of(text) == columns


def test_labels_sort_as_people_count():
    labels = ["N10", "N2", "n1", "A", "10", "2", "N2b", "N2a"]
    assert sorted(labels, key=layout.by_number) == ["A", "n1", "N2", "N2a", "N2b", "N10", "2", "10"]


@pytest.mark.parametrize(
    ("text", "kept"),
    [("=1+1", "'=1+1"), ("+4", "'+4"), ("-4", "'-4"), ("@x", "'@x"), ("'x", "''x"), ("x=1", "x=1"), ("", "")],
)
def test_a_text_is_no_formula(text, kept):
    assert layout.no_formula(text) == kept


def test_a_table_as_csv():
    rows = [[True, None, ["a", "b"], 0.1 + 0.2, dt.date(2026, 5, 1), "-x"], [False, "", (), 3, None, 'a"b']]
    assert layout.csv_text(["yes", "x", "list", "n", "day", "text"], rows) == (
        "yes,x,list,n,day,text\n"
        'true,,"a, b",0.30000000000000004,2026-05-01,\'-x\n'
        'false,,,3,,"a""b"\n'
    )


CELLS = st.text(st.sampled_from("ab _/:é女1."), max_size=30)


@given(
    st.lists(st.lists(CELLS, min_size=3, max_size=3), min_size=1, max_size=16),
    st.integers(24, 60),
)
@settings(max_examples=60, deadline=None)
def test_nothing_is_lost_and_nothing_goes_beyond_the_width(rows, width):
    lines = layout.aligned(["course", "first_day", "note"], rows, width=width)
    assert max(map(layout.width_of, lines)) <= width
    said = "".join("".join(lines).split())
    signs = "".join("".join(row) for row in rows).replace(" ", "")
    heads = "coursefirst_daynote"
    for sign in set(signs) - set(heads):
        assert said.count(sign) == signs.count(sign)
    # the headings stand once, or before every row where cells stand below each other
    assert len(said) - len(signs) in (len(heads), len(heads) * len(rows))
