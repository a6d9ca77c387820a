"""Memory that nothing uses any more goes back to the system."""

from __future__ import annotations

import ctypes
import subprocess
import sys

import pytest

MEASURED = """
from pathlib import Path
from queen_outcomes.base.memory import give_back

def resident():
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096

held = [bytearray(b"x" * 50_000) for _ in range(2_000)]
last = held[-1]  # lies behind the others, so that the library keeps their place
held.clear()
before = resident()
give_back()
print(before - resident())
"""


@pytest.mark.skipif(
    sys.platform != "linux" or not hasattr(ctypes.CDLL(None), "malloc_trim"),
    reason="the C library does as it likes",
)
def test_what_many_arrays_leave_behind_is_given_back():
    words = [sys.executable, "-c", MEASURED]
    told = subprocess.run(words, capture_output=True, text=True, check=True).stdout
    assert int(told) > 50_000_000
