"""What reaches the terminal."""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil
import sys
import threading
import time

import pytest
from queen_outcomes.base import console as terminal
from queen_outcomes.base.console import Console, is_live
from queen_outcomes.base.errors import AppError, nearest, raise_all, shorten
from queen_outcomes.base.text_layout import aligned, clean, csv_text, folded


def test_escape_sequences_are_spelt_out():
    assert clean("a\x1b[31mb") == "a\\u001b[31mb"


def test_text_that_turns_around_is_spelt_out():
    assert clean("a\u202eb\x9b") == "a\\u202eb\\u009b"


def test_letters_of_any_script_stay():
    assert clean("Königin 女王 č") == "Königin 女王 č"


def test_numbers_stand_to_the_right_and_text_to_the_left():
    lines = aligned(["queen", "day"], [["Q1", 7], ["Q12", 140]])
    assert lines == ["queen  day", "Q1       7", "Q12    140"]


def test_days_nulls_and_yes_no_read_as_words():
    row = [
        dt.date(2026, 7, 1),
        None,
        True,
        ["a", "b"],
        dt.datetime.fromisoformat("2026-07-01T09:00"),
    ]
    cells = aligned(list("abcde"), [row])[1].split()
    assert cells == ["2026-07-01", "yes", "a,", "b", "2026-07-01", "09:00"]


def test_letters_of_two_columns_and_signs_over_others_keep_the_columns_in_line():
    # their widths by Unicode annex 11: wide letters take two columns, an accent set over
    # the letter before it none
    lines = aligned(["line", "day"], [["\u5973\u738b", 7], ["Ze\u0301a", 140]])
    assert lines == ["line  day", "\u5973\u738b    7", "Ze\u0301a   140"]


@pytest.mark.parametrize("width", [20, 30])
def test_wide_letters_fold_within_the_width_and_none_is_lost(width):
    text = "\u5973\u738b" * 20
    lines = aligned(["a", "b"], [["x", text]], width=width)
    taken = [sum(2 if sign in text else 1 for sign in line) for line in lines]
    assert max(taken) <= width
    assert "".join(lines).count("\u5973") == 20


def test_a_wide_table_is_folded_to_the_width_and_loses_nothing():
    lines = aligned(["a", "b"], [["x", "many words in one cell " * 4]], width=40)
    assert max(map(len, lines)) <= 40
    assert " ".join(lines).count("words") == 4


def test_ids_and_days_stay_whole_while_there_is_room():
    row = ["Q26-0156/1", "2026-05-13", "many words of what was seen in there " * 2]
    lines = aligned(["course_id", "day", "seen"], [row], width=50)
    assert max(map(len, lines)) <= 50
    assert lines[1].startswith("Q26-0156/1  2026-05-13  many words")


def test_a_heading_folds_behind_its_underscores():
    lines = aligned(["window_days"], [[60]], width=8)
    assert [line.strip() for line in lines] == ["window_", "days", "60"]


def test_a_narrow_table_does_without_columns_in_the_order_stated():
    names, row = ["queen", "course", "seen"], ["Q26-0001", "Q26-0001/1", "eggs " * 8]
    gone: list[str] = []
    lines = aligned(names, [row], width=40, drops=("course",), left_out=gone)
    assert gone == ["course"]
    assert max(map(len, lines)) <= 40
    assert len(lines) == 3
    assert aligned(names, [row], drops=("course",))[0].split() == names
    wide = aligned(names, [row], width=80, drops=("course",), left_out=gone)
    assert wide[0].split() == names


@pytest.mark.parametrize("width", range(32, 60))
def test_a_path_is_parted_behind_its_punctuation_only(width):
    path = "queens_and_semen.xlsx#queens:1700"
    lines = aligned(["source", "said"], [[path, "seen " * 9]], width=width)
    pieces = [line[: line.find("seen")].strip() for line in lines[1:]]
    found = [piece for piece in pieces if piece and "seen" not in piece]
    assert "".join(found) == path
    assert all(p.endswith(("#", ":")) for p in found[:-1])


def test_what_takes_long_is_told_with_its_seconds(watched, capsys, monkeypatch):
    monkeypatch.setattr(terminal, "PATIENCE", 0.01)
    watched.doing("auditing")
    told, patient = "", time.monotonic() + 30
    while not told and time.monotonic() < patient:
        time.sleep(0.05)
        told = capsys.readouterr().out
    watched.emit("done")
    told += capsys.readouterr().out
    assert re.search(r"auditing, \d+ s", told)
    assert told.endswith("\r\x1b[K\ndone\n")
    watched.doing("auditing")
    watched.done()
    assert not any(thread.name == "under way" for thread in threading.enumerate())


def test_a_table_too_wide_for_its_columns_stands_upright():
    names = [f"column_{at}" for at in range(12)]
    rows = [[f"cell {at}" for at in range(12)], ["x"] * 12]
    lines = aligned(names, rows, width=60)
    assert lines[0] == "column_0   cell 0"
    assert lines[11] == "column_11  cell 11"
    assert lines[12] == ""
    assert lines[13] == "column_0   x"


def test_an_empty_table_shows_its_heading():
    assert aligned(["a", "b"], []) == ["a  b"]


def test_a_table_without_columns_is_nothing():
    assert aligned([], []) == []


def test_quiet_leaves_errors(capsys):
    console = Console(quiet=True)
    console.note("chatter")
    console.finished("read", 3, 0.1)
    console.error("error: x")
    assert capsys.readouterr().err == "error: x\n"


def test_json_is_plain_ascii_with_iso_days(capsys):
    Console().emit_json({"on": dt.date(2026, 7, 1), "who": "\x9bč"})
    out = capsys.readouterr().out
    assert out.isascii()
    assert json.loads(out) == {"on": "2026-07-01", "who": "\x9bč"}


def test_sentences_fold_between_words_and_go_on_further_in():
    text = "  checks.csv:7  the queen was nowhere to be seen on that day"
    lines = folded(text, 30).split("\n")
    assert max(map(len, lines)) <= 30
    assert lines[0] == "  checks.csv:7  the queen was"
    assert all(line.startswith("    ") for line in lines[1:])
    assert " ".join(" ".join(lines).split()) == " ".join(text.split())


def test_words_are_never_cut_and_blank_lines_stay():
    long = "a-very-long-path/without-any-blank.csv"
    assert folded(f"\n{long}", 10) == f"\n{long}"


def test_what_nobody_watches_is_not_folded(capsys):
    Console().tell("word " * 60)
    assert capsys.readouterr().out.count("\n") == 1


def test_a_table_folds_only_where_it_has_to_and_uses_all_the_width():
    row = ["Q26-0156", "eggs seen in all frames, none of them of drones"]
    natural = len(row[0]) + 2 + len(row[1])
    assert len(aligned(["course", "seen"], [row], width=natural)) == 2
    assert len(aligned(["course", "seen"], [row], width=natural - 1)) == 3
    for width in range(24, natural):
        lines = aligned(["course", "seen"], [["Q26-0156", "x" * 47]], width=width)
        assert max(map(len, lines)) == width


@pytest.mark.parametrize(("letters", "whole"), [(12, True), (13, False)])
def test_a_word_of_twelve_letters_stays_whole(letters, whole):
    # equally wide columns: what must be taken is taken from both but for the word
    word, rest = "w" * letters, "of a b c d e f g"
    lines = aligned(["a", "b"], [[word, rest]], width=22)
    assert (word in lines[1]) == whole


@pytest.mark.parametrize(("rows", "upright"), [(12, True), (13, False)])
def test_few_rows_rather_stand_upright_than_have_their_ids_cut(rows, upright):
    ids = ["Q26-0156/10"] * 4
    lines = aligned(list("abcd"), [ids] * rows, width=40)
    assert max(map(len, lines)) <= 40
    assert lines[0].startswith("a  Q26-0156/10") == upright


def test_an_upright_cell_is_folded_beside_its_name():
    names = [f"name_{at}_____" for at in range(9)]
    lines = aligned(names, [["one two three four"] + ["x"] * 8], width=26)
    assert lines[:3] == [
        "name_0_____  one two three",
        "             four",
        "name_1_____  x",
    ]


def test_a_column_is_of_numbers_only_where_all_its_cells_are():
    lines = aligned(["n", "flag"], [[1.5, True], [None, False]])
    assert lines == ["  n  flag", "1.5  yes", "     no"]
    assert aligned(["name"], [[7], ["x"]]) == ["name", "7", "x"]


@pytest.fixture
def watched(monkeypatch):
    monkeypatch.setattr(terminal, "is_live", lambda _: True)
    monkeypatch.setattr(
        shutil, "get_terminal_size", lambda *_, **__: terminal.os.terminal_size((30, 9))
    )
    monkeypatch.setattr(
        terminal.click, "echo", lambda text="", **_: sys.stdout.write(f"{text}\n")
    )
    monkeypatch.delenv("NO_COLOR", raising=False)
    return Console()


def test_what_somebody_watches_is_folded_and_coloured(watched, capsys, monkeypatch):
    watched.tell("word " * 12)
    watched.emit_table(["queen", "seen"], [["Q1", "word " * 12]])
    watched.error("error: x")
    told = capsys.readouterr().out
    assert "\x1b[1mqueen" in told
    assert "\x1b[31merror: x" in told
    assert max(len(line) for line in told.splitlines() if "\x1b" not in line) <= 30
    monkeypatch.setenv("NO_COLOR", "1")
    watched.emit_table(["queen"], [["Q1"]])
    watched.error("error: x")
    assert "\x1b" not in capsys.readouterr().out


def test_a_step_under_way_shows_to_those_who_watch_alone(watched, capsys, monkeypatch):
    watched.started("read")
    watched.finished("read", 1234, 0.5)
    assert capsys.readouterr().out.split("\n")[:2] == [
        "\rread ...",
        "\r\x1b[Kread           1,234 rows     0.50 s",
    ]
    Console(quiet=True).started("read")
    monkeypatch.setattr(terminal, "is_live", lambda _: False)
    watched.started("read")
    assert capsys.readouterr().out == ""
    watched.finished("read", 7, 0.5)
    assert "\x1b" not in capsys.readouterr().out


def test_details_are_for_those_who_ask(capsys):
    Console().detail("more")
    Console(verbose=True, quiet=True).detail("more")
    assert capsys.readouterr().err == ""
    Console(verbose=True).detail("more")
    assert capsys.readouterr().err == "more\n"


@pytest.mark.parametrize(
    ("terminal_is", "kind", "live"),
    [(True, "xterm", True), (True, "dumb", False), (False, "xterm", False)],
)
def test_who_looks_at_a_stream(terminal_is, kind, live, monkeypatch):
    class Stream:
        def isatty(self):
            return terminal_is

    monkeypatch.setenv("TERM", kind)
    assert is_live(Stream()) == live


def test_an_error_tells_what_it_knows_a_line_each():
    bare = AppError("it is off")
    assert bare.text() == "error: it is off"
    whole = AppError("off", where="a.csv", found="1", expected="2", hint="mend it")
    assert whole.text().splitlines() == [
        "error: off in a.csv",
        "  found:    1",
        "  expected: 2",
        "  do:       mend it",
    ]
    with pytest.raises(AppError) as raised:
        raise_all([bare, whole])
    assert raised.value.text() == f"error: it is off\n{whole.text()}"
    raise_all([])


def test_a_long_list_of_problems_is_cut_and_the_rest_counted():
    ten = [str(at) for at in range(10)]
    assert shorten(ten) == "; ".join(ten)
    assert shorten([*ten, "x"]) == "; ".join(ten) + "; and 1 more"
    assert shorten([*ten, "x", "y"], ", ") == ", ".join(ten) + ", and 2 more"
    page = "x" * 40_000
    assert shorten(["a", page]) == "a; " + "x" * 300 + " ..."


def test_the_nearest_name_is_given_as_it_is_written():
    assert nearest("OPERATR", ["Operator", "Line"]) == "Operator"
    assert nearest("xyz", ["Operator"]) is None


def test_a_table_as_csv_is_plain_and_holds_no_formula():
    rows = [[1, 0.1 + 0.2, True, None, dt.date(2026, 7, 5), ["a", "b"], "=1+1", 'x, "y"']]
    text = csv_text(["n", "f", "yes", "none", "day", "list", "sum", "said"], rows)
    head, row = text.splitlines()
    assert head == "n,f,yes,none,day,list,sum,said"
    assert row == (
        '1,0.30000000000000004,true,,2026-07-05,"a, b",' + "'=1+1," + '"x, ""y"""'
    )


def test_an_error_is_folded_between_words_under_its_own(monkeypatch, capsys):
    monkeypatch.setattr(terminal, "is_live", lambda _: True)
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setenv("NO_COLOR", "1")
    Console().error("error: off\n  do:       name another place, not /a/long/path.csv")
    assert capsys.readouterr().err.splitlines() == [
        "error: off",
        "  do:       name another place, not",
        "            /a/long/path.csv",
    ]
