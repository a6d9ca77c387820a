"""Mistakes made at the terminal: every answer says what, where and what to do, and is short."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pytest
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import UsageError, nearest
from queen_outcomes.commands import cli, failures
from queen_outcomes.commands.check import tell
from queen_outcomes.commands.options import one_or_two
from queen_outcomes.records.advice import WEIGHTS

TWO = ("--arm", "a=8", "--arm", "b=12")
MISTAKES = {
    # a word forgotten, or one too many
    ("explain",): ("QUEEN is missing", "which queen"),
    ("explain", "st"): ("QUEEN is missing", "folder st alone"),
    ("export", "st"): ("DEST is missing", "folder st alone"),
    ("export",): ("DEST is missing", "where to"),
    ("demo",): ("DIR is missing", "demo DIR"),
    ("due", "st", "extra"): ("a word too many", "leave it out"),
    ("explain", "st", "Q", "12"): ("3 words", "quotation marks"),
    ("aduit", "st"): ("no command aduit", "did you mean audit?"),
    ("audit", "st", "--day", "21"): ("no option --day", "did you mean --days?"),
    ("due", "st", "--csv"): ("--csv stands without its value", "write --csv FILE"),
    ("due", "st", "--ics"): ("--ics stands without its value", "write --ics FILE"),
    ("audit", "st", "--operator"): ("--operator stands without", "audit --help"),
    # a queen, an operator or a step misspelt
    ("explain", "st", "q26-156"): ('"q26-156"', '"Q26-0156"'),
    ("explain", "st", "Q260156"): ('"Q260156"', "did you mean"),
    ("explain", "st", "nobody"): ('"nobody"', "look her up"),
    ("audit", "st", "--operator", "Lindn"): ("--operator", "did you mean Linden"),
    ("audit", "st", "--outcome", "layng"): ("--outcome", 'did you mean "laying"'),
    ("build", "st", "--until", "modles"): ("--until", "did you mean models"),
    # a folder or a file that is not there
    ("build", "nowhere"): ("there is no station in nowhere", "queen-outcomes new"),
    ("check", "nowhere"): ("there is no station in nowhere", "queen-outcomes new"),
    ("due", "nowhere"): ("there is no station in nowhere", "right folder"),
    ("explain", "nowhere", "Q1"): ("there is no station in nowhere", "right folder"),
    ("due", "st", "--csv", "none/x.csv"): ("none/x.csv", "make the folder none"),
    ("due", "st", "--csv", "."): ("--csv", "name a file"),
    ("due", "st", "--csv", "st/records/x.csv"): ("st/records/x.csv", "another place"),
    ("new", "st"): ("found:    st holds", "another folder"),
    # a day or a choice that is none
    ("audit", "st", "--from", "2026-13-01"): ("--from", "2026-07-05"),
    ("audit", "st", "--from", "2026-06-02", "--to", "2026-06-01"): (
        "--from, --to",
        "do:",
    ),
    ("build", "st", "--as-of", "tomorrow"): ("--as-of", "2026-07-05"),
    ("compare", "st", "--since", "5.7.2026"): ("--since", "2026-07-05"),
    ("export", "st", "out", "--format", "xlsx"): ("--format", "one of parquet, csv"),
    ("compare", "st", "--by", "dose"): ("--by", "instrument, tip,"),
    # a share that is none, or an arm
    ("compare", "st", "--margin", "10"): ("--margin", "write 0.1 or 10%"),
    ("compare", "st", "--margin", "much"): ("--margin", "such as 0.1 or 10%"),
    ("plan", "st", *TWO, "--difference", "0.1", "--power", "80"): (
        "--power",
        "write 0.8 or 80%",
    ),
    ("plan", "st", *TWO, "--difference", "10"): ("--difference", "write 0.1 or 10%"),
    ("compare", "st", "--reference", "99"): ("no such arm in --reference", "do:"),
    ("compare", "st", "--arms", "99"): ("no such arm in --arms", "do:"),
    ("plan", "st", "--arm", "6"): ("--arm", "6 and 6=6+6"),
}
LONGEST = 14


@pytest.mark.parametrize("word", ["duo", "d'ue", "'d'u'e'", '"due"', "o'zork", "zork"])
def test_a_command_that_there_is_not_is_told_as_it_was_written(command, word):
    meant = "" if "zork" in word else "did you mean due? "
    assert command(word).err == (
        f"error: there is no command {word}\n  do:       {meant}see queen-outcomes --help\n"
    )


def test_a_folder_may_be_left_out_before_the_last_word(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("st", "Q7"):
        (tmp_path / name).mkdir()
    (tmp_path / "st" / "station.toml").touch()
    assert one_or_two(["st", "Q7"], "QUEEN") == (Path("st"), "Q7")
    assert one_or_two(["Q7"], "QUEEN") == (Path(), "Q7")
    # beside a word after it, a station's folder is a folder, wherever the word leads
    assert one_or_two(["Q7", "st"], "DEST") == (Path("Q7"), "st")
    assert one_or_two(["st", "st"], "DEST") == (Path("st"), "st")
    for words, found, expected in (
        (["st"], "the station's folder st alone", "st QUEEN"),
        ([], "nothing", "[DIR] QUEEN"),
    ):
        with pytest.raises(UsageError, match="QUEEN is missing") as caught:
            one_or_two(words, "QUEEN")
        assert (caught.value.found, caught.value.expected) == (found, expected)
    with pytest.raises(UsageError, match="there are 3 words"):
        one_or_two(["st", "Q", "7"], "QUEEN")


@pytest.fixture(scope="module")
def place(built_demo, tmp_path_factory):
    """A folder with a built station in it."""
    place = tmp_path_factory.mktemp("mistakes")
    shutil.copytree(built_demo.parents[1], place / "st", symlinks=True)
    return place


@pytest.mark.slow
@pytest.mark.parametrize("words", MISTAKES, ids=" ".join)
def test_a_mistake_is_answered(command, place, monkeypatch, words):
    monkeypatch.chdir(place)
    ran = command(*words)
    assert (ran.code, ran.out) == (failures.USAGE, "")
    told = ran.err[ran.err.index("error: ") :]
    for part in MISTAKES[words]:
        assert part in told
    assert "  do:       " in told
    assert "Traceback" not in told
    assert "free space" not in told
    assert told.count("\n") <= LONGEST


def test_there_are_39_mistakes():
    assert len(MISTAKES) == 39


@pytest.mark.slow
@pytest.mark.parametrize("margin", ["5%", "5 %", "0.05"])
def test_a_margin_in_per_cent_is_the_same_as_a_share(command, place, margin):
    ran = command("compare", place / "st", "--margin", margin)
    assert "a loss of 5 points" in ran.out


@pytest.mark.slow
def test_a_comparison_is_printed_in_per_cent(command, place):
    told = json.loads(command("compare", place / "st", "--json").out)
    out = command("compare", place / "st").out
    shares = [arm["adjusted"] for arm in told["arms"] if arm["adjusted"] is not None]
    assert shares
    for share in shares:
        assert f" {100 * share:.0f} %" in out


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "held"),
    [
        (("due", "st"), {"queen_id", "useful_until", "settles"}),
        (("explain", "st", "Q26-0156"), {"part", "course_id", "rule", "settled_by"}),
        (("audit", "st"), {"operator", "failures", "expected", "shared_pct"}),
        (("audit", "st", "--operator", "Birch"), {"queen_id", "of_load", "instrument"}),
        (("compare", "st"), {"arm", "rate_low", "p_holm", "overlap"}),
    ],
)
def test_a_table_goes_into_a_file_whole(command, place, monkeypatch, words, held):
    monkeypatch.chdir(place)
    ran = command(*words, "--csv", "table.csv")
    assert (ran.code, ran.out.splitlines()[0]) == (0, "table.csv")
    with Path("table.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert held <= set(rows[0])
    assert all(None not in row and None not in row.values() for row in rows)
    refused = command(*words, "--csv", "st/build/x.csv")
    assert (refused.code, refused.out) == (failures.USAGE, "")
    assert "st/build/x.csv" in refused.err


@pytest.mark.slow
def test_the_operators_written_are_the_table_s(command, place, monkeypatch):
    monkeypatch.chdir(place)
    told = json.loads(command("audit", "st", "--json").out)["operators"]
    assert command("audit", "st", "--csv", "table.csv").code == 0
    with Path("table.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["operator"]: row for row in csv.DictReader(file)}
    assert {row["operator"] for row in told} == set(rows)
    for row in told:
        assert rows[row["operator"]]["failures"] == str(row["failures"])


def test_the_same_letters_and_numbers_come_before_what_looks_alike():
    known = ["Q26-1156", "Q26-0156", "Q25-0156", "Q26-0157"]
    assert nearest("q26-156", known) == "Q26-0156"
    assert nearest("Q26 0157", known) == "Q26-0157"
    assert nearest("zzz", known) is None


@pytest.mark.parametrize("name", sorted(cli.cli.commands))
def test_every_help_ends_with_two_examples_that_can_be_read(command, name):
    ran = command(name, "--help")
    assert ran.code == 0
    *_, title, first, second = ran.out.rstrip().splitlines()
    assert title.strip() == "Examples:"
    for line in (first, second):
        words = line.split()
        assert words[:2] == ["queen-outcomes", name]
        known = {o for p in cli.cli.commands[name].params for o in p.opts}
        assert {word for word in words if word.startswith("--")} <= known


def test_what_a_check_found_is_told_under_the_summary_s_own_headings(capsys):
    """A table alone, where nothing is to be mended; and advice, counted through."""
    found = {"as_of": "2026-07-01", "notes": ["one note"], "advice": [], "closing": "So be it."}
    found["summary"] = [{"table": "checks", "rows": 7}]
    tell(found, Console())
    said = capsys.readouterr()
    lines = said.out.splitlines()
    assert [line.split() for line in lines[:2]] == [["table", "rows"], ["checks", "7"]]
    assert lines[2:] == ["", "nothing to mend", "", "So be it."]
    assert said.err.splitlines() == ["as of 2026-07-01", "note: one note"]
    nothing = {"places": [], "count": 0, "settings": [], "do": ""}
    found["summary"] = []
    found["advice"] = [
        {**nothing, "weight": "refused", "says": "Mend it", "do": "Do so"}
        | {"places": ["a:2"], "count": 2},
        {**nothing, "weight": "refused", "says": "Is it?", "settings": ["a = 1", "b = 2\nc = 3"]},
        {**nothing, "weight": "look", "says": "Look", "places": ["b:3"], "count": 1},
        {**nothing, "weight": "look", "says": "See", "do": "Write", "settings": ["d = 4"]},
    ]
    tell(found, Console())
    lines = [line.strip() for line in capsys.readouterr().out.splitlines()]
    assert lines == [
        *("", WEIGHTS["refused"], "1. Mend it.", "at a:2 ...", "Do so"),
        *("2. Is it?", "write in station.toml:", "a = 1", "or", "b = 2", "c = 3"),
        *("", WEIGHTS["look"], "3. Look.", "at b:3"),
        *("4. See.", "Write, in station.toml:", "d = 4"),
        *("", "So be it."),
    ]
