"""The errors a user can meet, told in a person's words.

AppError
├── UsageError      a command's words or the settings are off
│   └── LockError   another build holds the folder
├── RecordsError    records unreadable, or a required table or column missing
├── NoModelError    nothing could be fitted or compared where that was asked for
└── LedgerError     the build's own bookkeeping does not add up: our fault

Anything else that escapes is a fault of the tool.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence

MOST_SHOWN = 10
"""How many problems of one kind a message spells out before "and N more"."""
LONGEST = 300
"""Signs of one problem that a message spells out: more is a page in a cell."""


class AppError(Exception):
    """An error told in a person's words.

    Parameters
    ----------
    what : str
        What is wrong, in one sentence without its place.
    where : str
        File, sheet, column or setting; empty when there is no place.
    found, expected : str
        What stood there and what would have been right; either may be empty.
    hint : str
        What to do next, preferably a command or an edit.
    """

    def __init__(
        self,
        what: str,
        *,
        where: str = "",
        found: str = "",
        expected: str = "",
        hint: str = "",
    ) -> None:
        super().__init__(what)
        self.what, self.where = what, where
        self.found, self.expected, self.hint = found, expected, hint
        self.others: tuple[AppError, ...] = ()

    def text(self) -> str:
        """Give the whole message, a line a part; further errors follow."""
        place = f" in {self.where}" if self.where else ""
        lines = [f"error: {self.what}{place}"]
        lines += [f"  found:    {self.found}"] if self.found else []
        lines += [f"  expected: {self.expected}"] if self.expected else []
        lines += [f"  do:       {self.hint}"] if self.hint else []
        lines += [other.text() for other in self.others]
        return "\n".join(lines)


class UsageError(AppError):
    """The command's words or the settings cannot be used."""


class LockError(UsageError):
    """Another build of the same station is under way."""


class RecordsError(AppError):
    """The records cannot be read as the tables they should be."""


class NoModelError(AppError):
    """No model could be fitted, and no comparison made, where one was asked for."""


class LedgerError(AppError):
    """The build's own bookkeeping does not add up; the build stops."""


def raise_all(errors: Sequence[AppError]) -> None:
    """Raise the first of some errors, which tells the others too; none: do nothing."""
    if errors:
        first = errors[0]
        first.others += tuple(errors[1:])
        raise first


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Give the known name that a mistyped word most likely meant, or None.

    One with the same letters and numbers comes first, whatever stands between them and
    however many zeros lead: "q26-156" is Q26-0156 before it is Q26-1156.
    """
    names = {name.casefold(): name for name in known}
    meant = _parts(word)
    same = sorted(name for name in names if meant and _parts(name) == meant)
    if same:
        return names[same[0]]
    found = difflib.get_close_matches(word.casefold(), list(names), n=1, cutoff=0.6)
    return names[found[0]] if found else None


def _parts(name: str) -> list[str]:
    parts = re.findall(r"\d+|[^\W\d_]+", name.casefold())
    return [part.lstrip("0") or "0" if part.isdecimal() else part for part in parts]


def shorten(problems: list[str], separator: str = "; ") -> str:
    """Join problems, at most ``MOST_SHOWN`` of them, and count the rest.

    Of one that is longer than ``LONGEST``, a cell with a whole page in it, only the
    beginning is given.
    """
    rest = len(problems) - MOST_SHOWN
    shown = separator.join(map(_beginning, problems[:MOST_SHOWN]))
    return f"{shown}{separator}and {rest} more" if rest > 0 else shown


def _beginning(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[:LONGEST]} ..."
