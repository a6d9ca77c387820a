"""What has been let go of, given back to the system."""

from __future__ import annotations

import ctypes
import sys


def give_back() -> None:
    """Give the system the memory that nothing uses any more.

    The C library keeps what arrays leave behind for arrays to come, and a build's steps
    need theirs one after the other: without this the largest of each adds up over the
    build and its workers. Where the library is another one it does as it likes.
    """
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None) if sys.platform == "linux" else None
    if trim is not None:
        trim(0)
