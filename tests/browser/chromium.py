"""The machine's Chromium, kept quiet; tests skip visibly where there is none.

`.ci/run` installs one and sets CI, and then a missing browser is a failure.
"""

from __future__ import annotations

import os
import shutil

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)
MARKS = [
    pytest.mark.slow,
    pytest.mark.needs_chromium,
    pytest.mark.skipif(
        CHROMIUM is None and not os.environ.get("CI"),
        reason="no Chromium on this machine; install it to test the pages",
    ),
]
