"""What reaches the terminal."""

from __future__ import annotations

import datetime as dt
import json

from queen_outcomes.base.console import Console
from queen_outcomes.base.text_layout import aligned, clean, folded


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
