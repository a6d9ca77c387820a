"""The process in which a workbook is read: it answers what `WorkbookElsewhere` asks."""

from __future__ import annotations

import pickle
import resource
import signal
import sys
from typing import Any

from queen_outcomes.base.errors import RecordsError
from queen_outcomes.records.workbook import Workbook

SMALL_FILE = 10 * 2**20
MEMORY_SMALL, MEMORY_LARGE = 2 * 2**30, 6 * 2**30
"""Bytes that reading a workbook may take, of a file up to `SMALL_FILE` and of a larger one."""


def serve() -> None:
    """Answer the questions that come on standard input."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the build decides when it is over
    book: Any = None
    while True:
        try:
            method, *words = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        answer, fault = None, None
        try:
            if method == "open":
                _limit(len(words[0]))
                book = Workbook(*words)
            else:
                told = getattr(book, method)
                answer = told(*words) if callable(told) else told
        except RecordsError as problem:
            fault = problem
        pickle.dump((answer, fault), sys.stdout.buffer)
        sys.stdout.buffer.flush()


def _limit(packed: int) -> None:
    most = MEMORY_SMALL if packed <= SMALL_FILE else MEMORY_LARGE
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    if hard != resource.RLIM_INFINITY:
        most = min(most, hard)
    resource.setrlimit(resource.RLIMIT_DATA, (most, hard))


if __name__ == "__main__":
    serve()
