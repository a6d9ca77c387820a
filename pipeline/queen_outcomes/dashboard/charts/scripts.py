"""The scripts that draw charts: the same on every page, and seconds to put together.

They are taken over from the build before where they are of the same making. Else another
process puts them together while the pages are drawn: the bundler holds the interpreter, so
a thread would not do.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path

VEGA_LITE = "6.4"
"""The version of the chart grammar that Altair 6 writes and the scripts must read."""
FILE = "chart-scripts.js"
MAKING = """
import sys
import vl_convert
scripts = vl_convert.javascript_bundle(vl_version=sys.argv[1])
sys.stdout.buffer.write(scripts.encode())
"""


@contextmanager
def at_hand(earlier: Path | None) -> Iterator[Callable[[], str]]:
    """Give a function that gives the scripts, and begin to make them where need be.

    Parameters
    ----------
    earlier : Path or None
        An earlier copy of the file.
    """
    kept = _kept(earlier)
    if kept is not None:
        yield lambda: kept
        return
    command = [sys.executable, "-c", MAKING, VEGA_LITE]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as making:
        try:
            yield lambda: _head() + _taken(making)
        finally:
            making.kill()  # a draw that failed waits for nothing


def _taken(making: subprocess.Popen[bytes]) -> str:
    scripts, _ = making.communicate()
    if making.returncode == 0:
        return scripts.decode()
    import vl_convert  # here after all; what is wrong then says so itself

    return vl_convert.javascript_bundle(vl_version=VEGA_LITE)


def _head() -> str:
    made_by = version("vl-convert-python")
    return f"/* chart scripts by vl-convert {made_by} for Vega-Lite {VEGA_LITE} */\n"


def _kept(earlier: Path | None) -> str | None:
    if earlier is None or not earlier.is_file():
        return None
    text = earlier.read_text(encoding="utf-8")
    return text if text.startswith(_head()) else None
