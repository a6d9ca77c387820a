"""Help, options, exit codes, and what goes to which stream."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import click
import pytest
from queen_outcomes import __version__
from queen_outcomes.base.errors import (
    LedgerError,
    LockError,
    NoModelError,
    RecordsError,
    UsageError,
)
from queen_outcomes.build import steps as weekly
from queen_outcomes.commands import cli, failures
from queen_outcomes.commands.options import Share


def test_no_arguments_give_copyable_first_commands(command):
    ran = command()
    assert ran.code == 0
    assert "  queen-outcomes demo my-demo\n" in ran.out


def test_the_version_is_told(command):
    assert command("--version").out == f"queen-outcomes {__version__}\n"


def test_an_unknown_command_ends_with_2_and_says_where_help_is(command):
    ran = command("biuld")
    assert (ran.code, ran.out) == (2, "")
    assert "queen-outcomes --help" in ran.err


def test_words_from_the_shell_name_the_command_that_they_are_of(monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["queen-outcomes", "build", "--as-of"])
    assert cli.run() == 2
    assert "stands without its value in queen-outcomes build" in capsys.readouterr().err


def test_a_day_that_is_none_is_refused_with_an_example(command, station):
    ran = command("build", station, "--as-of", "1.7.2026")
    assert ran.code == 2
    assert "2026-07-05" in ran.err


def test_a_folder_without_settings_is_refused(command, tmp_path):
    ran = command("build", tmp_path)
    assert ran.code == 2
    assert "queen-outcomes new" in ran.err
    assert not (tmp_path / "build").exists()


@pytest.mark.parametrize(
    ("problem", "code"),
    [
        (UsageError("x"), 2),
        (LockError("x"), 2),
        (click.UsageError("x"), 2),
        (PermissionError(13, "denied", "a.csv"), 2),
        (RecordsError("x"), 3),
        (NoModelError("x"), 4),
        (LedgerError("x"), 70),
        (ZeroDivisionError("x"), 70),
        (KeyboardInterrupt(), 130),
    ],
)
def test_each_kind_of_error_has_its_exit_code(problem, code):
    assert failures.exit_code(problem) == code


@pytest.fixture
def failing(monkeypatch, station):
    def fail(problem: BaseException):
        def read(_):
            raise problem

        monkeypatch.setattr(weekly, "STEPS", (weekly.Step("read", read),))
        return station

    return fail


def test_a_bug_shows_its_traceback_and_says_whose_fault_it_is(command, failing):
    ran = command("build", failing(ZeroDivisionError("by nothing")))
    assert ran.code == 70
    assert "Traceback" in ran.err
    assert "a fault of the tool, not of your records" in ran.err
    assert f"queen-outcomes {__version__}" in ran.err


def test_a_users_error_shows_no_traceback_unless_asked(command, failing):
    place = failing(RecordsError("no such table", hint="add it"))
    plain, debugged = command("build", place), command("build", place, "--debug")
    assert (plain.code, debugged.code) == (3, 3)
    assert "Traceback" not in plain.err
    assert "Traceback" in debugged.err


def test_an_interrupt_ends_with_130_and_leaves_no_folder(command, failing):
    place = failing(KeyboardInterrupt())
    ran = command("build", place)
    assert ran.code == 130
    assert "interrupted" in ran.err
    assert [path.name for path in (place / "build").iterdir()] == [".lock"]


def test_control_characters_of_an_error_do_not_reach_the_terminal(command, failing):
    ran = command("build", failing(RecordsError("bad", found="\x1b[2Jgone")))
    assert "\x1b" not in ran.err
    assert "\\u001b[2Jgone" in ran.err


@pytest.mark.usefixtures("small_steps")
@pytest.mark.parametrize("before", [True, False])
def test_quiet_may_stand_before_or_after_the_command(command, station, before):
    words = ("--quiet", "build", station) if before else ("build", station, "--quiet")
    ran = command(*words)
    assert (ran.code, ran.err) == (0, "")


@pytest.mark.parametrize("name", sorted(cli.cli.commands))
def test_every_command_has_help(command, name):
    ran = command(name, "--help")
    assert ran.code == 0
    assert cli.cli.commands[name].help


@pytest.mark.parametrize("closed", ["stdout", "stderr"])
def test_whoever_starts_it_may_have_closed_what_it_writes_to(tmp_path, closed):
    tool = Path(sys.executable).with_name("queen-outcomes")
    number = {"stdout": 1, "stderr": 2}[closed]
    line = f'exec "{tool}" due "{tmp_path}" {number}>&-'
    done = subprocess.run(["sh", "-c", line], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


def test_whoever_starts_it_may_have_closed_what_it_reads_from(station):
    (station / "records" / "inseminations.csv").write_text("Queen;Done\nQ1;2026-05-01\n")
    tool = Path(sys.executable).with_name("queen-outcomes")
    done = subprocess.run(
        ["sh", "-c", f'exec "{tool}" map "{station}" <&-'],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode in (0, 1)
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("problem", "found"),
    [(MemoryError("could not allocate\nhere"), "could not allocate"), (MemoryError(), "no more was to be had")],
)  # fmt: skip
def test_of_a_lack_of_memory_the_first_line_is_told(problem, found):
    told = failures.message(problem, failures.exit_code(problem))
    assert f"\n  found:    {found}\n  do:       close other programs" in told


@pytest.mark.parametrize(
    ("text", "share"), [("0.1", 0.1), ("10%", 0.1), (" 12.5 % ", 0.125), ("1", 1.0), ("0.1%", 0.001)]
)
def test_a_share_may_be_written_in_per_cent(text, share):
    assert Share().convert(text, None, None) == share


@pytest.mark.parametrize(
    ("text", "hint"), [("10", "write 0.1 or 10%"), ("1", "write 0.01 or 1%"), ("100", ""), ("0", ""), ("0.9", "")]
)
def test_a_share_on_its_limits_or_beyond_is_refused(text, hint):
    with pytest.raises(failures.BadValue) as caught:
        Share(0, 0.9).convert(text, None, None)
    assert (caught.value.hint, caught.value.expected) == (hint, "a share between 0 and 0.9")
    assert Share(0, 0.9).convert("0.89", None, None) == 0.89
