"""Every command, stopped at random moments: killed, and by Ctrl-C.

    python tests/faults/kills.py [STATION] [--times 60] [--seed 1] [--only build,export]
                                 [--seconds N]

STATION is a built station, which is copied; without it a small one is made. After each
stop `latest` must open with all its tables, what the command was asked to write must be
whole or absent, and nothing under records/ may have changed; an interrupted command ends
with 130 within a minute and without a traceback. Ends with 1 when any failed.
"""

from __future__ import annotations

import argparse
import random
import re
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import campaign

LONGEST_S = 60
_OURS = re.compile(r"queen_outcomes/(?!__)")
"""A file of ours in a traceback, beyond the first two."""
_BEGINS = "Fatal Python error: init_"
"""How Python ends, with 1, where it is interrupted while it makes itself ready."""


def stopped(words: list[str], after: float, by: signal.Signals) -> str | None:
    """Run a command and stop it; give what was wrong, or None when it was done before."""
    done = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        done.communicate(timeout=after)
    except subprocess.TimeoutExpired:
        done.send_signal(by)
    else:
        return None
    try:
        _, err = done.communicate(timeout=LONGEST_S)
    except subprocess.TimeoutExpired:
        done.kill()
        done.communicate()
        return "hung"
    return "" if by == signal.SIGKILL else judged(done.returncode, err)


def judged(code: int, err: str) -> str:
    """Tell what is wrong with how an interrupted command ended; empty: nothing."""
    begins = code == -signal.SIGINT or err.startswith(_BEGINS)
    if begins and not _OURS.search(err):
        return ""  # Python itself had not yet begun with the command
    if "Traceback" in err:
        return f"traceback: {err[-300:]}"
    # what had ended by then keeps its own code
    return "" if code in (0, 1, 4, 130) else f"code {code}"


def _asked() -> argparse.Namespace:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("station", type=Path, nargs="?")
    asked.add_argument("--times", type=int, default=60, help="of each command and signal")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--only", default="", help="commands, with commas between")
    asked.add_argument("--seconds", type=float, default=1e9, help="stop trying after so long")
    asked.add_argument("--row", type=Path, help="the table of campaigns to write into")
    asked.add_argument("--queen", default=campaign.QUEEN)
    return asked.parse_args()


def main() -> int:
    """Stop commands and print the table."""
    given = _asked()
    draw, until = random.Random(given.seed), time.monotonic() + given.seconds
    tried: dict[str, int] = {}
    failed: dict[str, Counter[str]] = {}
    with campaign.station_copy(given.station) as station:
        before, number = campaign.records_digest(station), 0
        for name in campaign.commands(station, station, given.queen):
            if given.only and name not in given.only.split(","):
                continue
            lasts = 0.0
            for by in (signal.SIGKILL, signal.SIGINT):
                row = f"{name} {by.name}"
                tried[row], failed[row] = 0, Counter()
                while tried[row] < given.times and time.monotonic() < until:
                    number += 1
                    out = station.parent / f"out-{number}"
                    out.mkdir()
                    words = campaign.commands(station, out, given.queen)[name]
                    words = [str(campaign.TOOL), *words, "--quiet"]
                    if not lasts:
                        began = time.monotonic()
                        subprocess.run(words, capture_output=True, check=False)
                        lasts = time.monotonic() - began
                        continue
                    found = stopped(words, draw.uniform(0.02, lasts), by)
                    if found is None:
                        lasts *= 0.95  # it ends sooner than it did
                        continue
                    tried[row] += 1
                    found = found or campaign.what_is_wrong(station, out, before)
                    if found:
                        failed[row][found] += 1
            # whatever the stopped ones left must not stand in the way of the next
            last = subprocess.run(words, capture_output=True, text=True, check=False)
            if last.returncode not in (0, 1, 4):
                failed[row][f"afterwards: {last.stderr[-200:]}"] += 1
    return campaign.tell("command and signal", tried, failed, row=given.row)


if __name__ == "__main__":
    sys.exit(main())
