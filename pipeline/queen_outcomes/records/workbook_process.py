"""A workbook that is read in a process of its own, which may die of it.

Large or odd workbooks are: what a reader does with them nobody can foretell, and a build
must not end with it. The process may take so much memory and so long, and no more.
"""

from __future__ import annotations

import pickle
import signal
import subprocess
import sys
import threading
from functools import cached_property
from typing import TYPE_CHECKING, Any

from queen_outcomes.base.errors import RecordsError

if TYPE_CHECKING:
    import polars as pl

    from queen_outcomes.records.sheet_details import RowMarks, SheetDetails

LONGEST_S = 300
"""One sheet may take so long; the largest that is allowed takes about a minute."""
READER = "queen_outcomes.records.workbook_reader"
"""The module that is run; nothing imports it."""


class WorkbookElsewhere:
    """An open workbook in another process; it has what a `Workbook` has.

    Parameters
    ----------
    content : bytes
        The file.
    name : str
        What messages call it.

    Raises
    ------
    RecordsError
        As a `Workbook` does, and where reading took too much memory, too long, or ended.
    """

    def __init__(self, content: bytes, name: str) -> None:
        self.name = name
        self._known: dict[tuple[Any, ...], Any] = {}
        self._process = subprocess.Popen(
            [sys.executable, "-m", READER],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self._ask("open", content, name)

    @cached_property
    def epoch_days(self) -> int:
        """Days that its calendar begins after the usual one."""
        return self._ask("epoch_days")

    @cached_property
    def sheets(self) -> list[str]:
        """The sheets' names, in order."""
        return self._ask("sheets")

    def is_empty(self, sheet: str) -> bool:
        """Tell whether a sheet holds no text at all."""
        return self._once("is_empty", sheet)

    def first_column(self, sheet: str) -> int:
        """Give the sheet's column, from 0, that is the first of `read`'s."""
        return self._once("first_column", sheet)

    def details(self, sheet: str) -> SheetDetails:
        """Give what a sheet keeps beside its texts."""
        return self._once("details", sheet)

    def marks(self, sheet: str) -> RowMarks:
        """Give a sheet's fills, strikes and hidden rows."""
        return self._once("marks", sheet)

    def read(self, sheet: str) -> pl.DataFrame:
        """Read a sheet's cells as text."""
        return self._once("read", sheet)

    def _once(self, *what: Any) -> Any:
        if what not in self._known:
            self._known[what] = self._ask(*what)
        return self._known[what]

    def _ask(self, *what: Any) -> Any:
        """Send a question and wait for its answer, but not for ever."""
        late = threading.Timer(LONGEST_S, self._process.kill)
        late.start()
        try:
            pickle.dump(what, self._process.stdin)  # type: ignore[arg-type]
            self._process.stdin.flush()  # type: ignore[union-attr]
            answer, fault = pickle.load(self._process.stdout)  # type: ignore[arg-type]
        except (EOFError, OSError, pickle.UnpicklingError):
            raise self._died() from None
        finally:
            late.cancel()
        if fault is not None:
            raise fault
        return answer

    def _died(self) -> RecordsError:
        code = self._process.wait()
        slow = code == -signal.SIGKILL
        return RecordsError(
            "the workbook cannot be read",
            where=self.name,
            found=f"reading it took longer than {LONGEST_S} s"
            if slow
            else "reading it took more memory than a workbook may, or it is damaged",
            hint="open it in a spreadsheet program, delete the rows and columns that hold "
            "no record, and save it again; or save its sheets as CSV",
        )

    def __del__(self) -> None:
        if "_process" in self.__dict__:
            self._process.kill()
            for pipe in (self._process.stdin, self._process.stdout):
                if pipe:
                    try:
                        pipe.close()
                    except OSError:
                        continue  # what was not sent any more
            self._process.wait()
