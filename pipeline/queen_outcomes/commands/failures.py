"""An exception becomes an exit code and a message; nothing is printed here."""

from __future__ import annotations

import errno
import os
import platform
import re
from collections.abc import Sequence
from pathlib import Path

import click

from queen_outcomes import __version__
from queen_outcomes.base.errors import (
    AppError,
    LedgerError,
    NoModelError,
    RecordsError,
    UsageError,
    nearest,
)

DONE, QUARANTINED, USAGE, UNREADABLE, NO_MODEL, MEMORY = 0, 1, 2, 3, 4, 5
FAULT, INTERRUPTED = 70, 130
ENDINGS = {
    DONE: "done",
    QUARANTINED: "done, and records were quarantined or not read (check, build --strict)",
    USAGE: "usage or settings",
    UNREADABLE: "records unreadable or a required table missing",
    NO_MODEL: "nothing could be fitted or compared (audit, compare)",
    MEMORY: "the memory did not suffice",
    FAULT: "a fault of the tool",
    INTERRUPTED: "interrupted",
}
"""What each exit code means, as the help says it."""
_FILE_ERRORS = (errno.ENOSPC, errno.EIO, errno.EDQUOT, errno.EFBIG, errno.EACCES, errno.EROFS)
EXIT_CODES: dict[type[BaseException], int] = {
    UsageError: USAGE,
    RecordsError: UNREADABLE,
    NoModelError: NO_MODEL,
    LedgerError: FAULT,
    click.ClickException: USAGE,
    OSError: USAGE,
    KeyboardInterrupt: INTERRUPTED,
    click.Abort: INTERRUPTED,
}
"""The code that each class of error ends with; any other is a fault of the tool."""
STOPPED = "interrupted; the last build stays as it was"
"""What is said after Ctrl-C."""


def exit_code(problem: BaseException) -> int:
    """Give the exit code that an exception ends with."""
    if _is_memory(problem):
        return MEMORY
    if _is_file(problem):
        return USAGE
    codes = (code for kind, code in EXIT_CODES.items() if isinstance(problem, kind))
    return next(codes, FAULT)


def _is_memory(problem: BaseException) -> bool:
    """Tell whether memory ran out, in Python or in DuckDB (not imported here for it)."""
    known = isinstance(problem, MemoryError) or "bad_alloc" in str(problem)
    return known or type(problem).__name__ == "OutOfMemoryException"


def _is_file(problem: BaseException) -> bool:
    """Tell whether a file could not be used; DuckDB and polars say so in their own ways."""
    if isinstance(problem, OSError) or type(problem).__name__ == "IOException":
        return True
    return any(f"(os error {number})" in str(problem) for number in _FILE_ERRORS)


def message(
    problem: BaseException, code: int, command: click.Command | None = None
) -> str:
    """Give what a person is told of an exception.

    Parameters
    ----------
    problem : BaseException
    code : int
        What the run ends with.
    command : click.Command, optional
        The one that was called, where the exception does not know it.
    """
    if isinstance(problem, AppError):
        text = problem.text()
        return f"{text}\n{_blame()}" if isinstance(problem, LedgerError) else text
    if isinstance(problem, click.UsageError):
        return _of_words(problem, command)
    if isinstance(problem, click.ClickException):
        return f"error: {problem.format_message()}"
    if code == INTERRUPTED:
        return STOPPED
    return _of_machine(problem, code) or (
        f"error: {type(problem).__name__}: {problem}\n{_blame()}"
    )


class BadValue(click.BadParameter):
    """A value that an option cannot take: what was found, what it takes, what to write."""

    def __init__(self, found: str, expected: str, hint: str = "") -> None:
        super().__init__(f"{found}; {expected}")
        self.found, self.expected, self.hint = found, expected, hint


def _of_words(problem: click.UsageError, about: click.Command | None) -> str:
    """Tell what is wrong with a command's words: which, where, and whose help to read."""
    command = f"queen-outcomes {about.name}" if about else "queen-outcomes"
    if problem.ctx and problem.ctx.command_path.count(" "):
        command = problem.ctx.command_path
    text = problem.format_message()
    hint = f"see {command} --help"
    if isinstance(problem, click.MissingParameter) and problem.param:
        name = problem.param.human_readable_name
        text, hint = f"{name} is missing", f"{command} {name}; {hint}"
    elif isinstance(problem, click.NoSuchOption):
        text = f"there is no option {problem.option_name} in {command}"
        hint = _meant(problem.possibilities) + hint
    elif isinstance(problem, click.BadOptionUsage):
        option = problem.option_name
        if "requires" in text:
            text = f"{option} stands without its value in {command}"
            hint = f"write {option} {_value_of(option, about)}; {hint}"
        else:
            text = f"{option} takes no value in {command}"
            hint = f"write {option} alone; {hint}"
    elif isinstance(problem, click.BadParameter) and problem.param:
        return _of_value(problem, problem.param, hint)
    elif text.startswith("No such command"):
        name, *like = (name for _, name in re.findall(r"(['\"])(.*?)\1", text))
        text = f"there is no command {name}"
        hint = _meant(like) + hint
    elif "unexpected extra argument" in text:
        text = f"a word too many in {command}\n  found:    {text.partition('(')[2][:-1]}"
        hint = f"leave it out, or put quotation marks around a name with blanks; {hint}"
    return f"error: {text}\n  do:       {hint}"


def _meant(names: Sequence[str] | None) -> str:
    return f"did you mean {' or '.join(names)}? " if names else ""


def _value_of(option: str, command: click.Command | None) -> str:
    """Name what an option takes: a file, a day, or any value."""
    for param in command.params if command else ():
        if option in param.opts:
            kind = param.metavar or param.type.name.upper()
            return kind if kind in ("FILE", "DAY", "SHARE") else "VALUE"
    return "VALUE"


def _of_value(problem: click.BadParameter, param: click.Parameter, see: str) -> str:
    """Tell of a value that cannot be used: where it stood, and what would be right."""
    names = " / ".join(param.opts) if isinstance(param, click.Option) else param.metavar
    found, expected, hint = problem.message, "", "correct it"
    if isinstance(problem, BadValue):
        found, expected = problem.found, problem.expected
        hint = problem.hint or hint
    elif isinstance(param.type, click.Choice):
        found = problem.message.partition(" is not one of")[0]
        expected = f"one of {', '.join(map(str, param.type.choices))}"
        close = nearest(found.strip("'"), map(str, param.type.choices))
        hint = _meant([close])[:-1] if close else f"give {names} one of these"
    elif isinstance(param.type, click.Path):
        hint = "name a file" if param.type.file_okay else "name a folder"
    lines = [f"error: a value cannot be used in {names}", f"  found:    {found}"]
    lines += [f"  expected: {expected}"] if expected else []
    return "\n".join([*lines, f"  do:       {hint}; {see}"])


def _of_machine(problem: BaseException, code: int) -> str:
    """Tell of memory and of files; empty for anything else."""
    if code == MEMORY:
        return (
            f"error: {ENDINGS[MEMORY]}; the last build stays as it was\n"
            f"  found:    {(str(problem) or 'no more was to be had').splitlines()[0]}\n"
            "  do:       close other programs, see to the disk's free space, raise `memory` where "
            "station.toml sets it, or build on a machine with more"
        )
    if not _is_file(problem):
        return ""
    name = getattr(problem, "filename", None)
    place = f" in {name}" if name else ""
    told = str(problem).splitlines() or [type(problem).__name__]
    found = getattr(problem, "strerror", None) or told[0]
    return (
        f"error: a file could not be used{place}\n"
        f"  found:    {found}\n"
        f"  do:       {_remedy(problem)}"
    )


def _remedy(problem: BaseException) -> str:
    """Say what to do about a file: what a folder, a right or a disk each want."""
    if isinstance(problem, FileNotFoundError):
        folder = Path(str(problem.filename or ".")).parent
        return f"make the folder {folder} first, or name another place"
    if isinstance(problem, IsADirectoryError | NotADirectoryError | FileExistsError):
        return "name a file where a file is wanted, a folder where a folder is"
    if isinstance(problem, PermissionError):
        return "see to the rights of the file and its folder"
    is_full = getattr(problem, "errno", None) in (errno.ENOSPC, errno.EDQUOT)
    if is_full or os.strerror(errno.ENOSPC) in str(problem):
        return "make room on the disk"
    return "see to the folder's rights and the disk's free space"


def _blame() -> str:
    return (
        "  this is a fault of the tool, not of your records; nothing was changed\n"
        "  do:       send the lines above and the command you gave, with: "
        f"queen-outcomes {__version__}, Python {platform.python_version()}, "
        f"{platform.system()}"
    )
