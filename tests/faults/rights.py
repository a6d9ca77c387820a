"""Every command where it may not write, or not read.

    python tests/faults/rights.py [STATION]

STATION is a built station, which is copied; without it a small one is made. Folders are
closed to writing or reading one at a time. Root may do everything, so that as root the
commands run without that right (needs setpriv); where it is missing the campaign says so
and ends with 0. Each command must end with a code of its own and a sentence, `latest` must
open afterwards, and records must be as they were. Ends with 1 when any failed.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import campaign

CLOSED = {
    "station, no writing": ("", 0o555),
    "build, no writing": ("build", 0o555),
    "latest, no writing": ("build/latest", 0o555),
    "history, no writing": ("build/history", 0o555),
    "records, no writing": ("records", 0o555),
    "records, no reading": ("records", 0o000),
    "build, no reading": ("build", 0o000),
    "output, no writing": ("../out", 0o555),
}
"""Case -> the folder below the station, and its rights."""
ALLOWED = (0, 1, 2, 3, 4)


def unprivileged() -> list[str] | None:
    """Give the words that take root's right to everything away; None: not to be had."""
    if os.getuid() != 0:
        return []
    words = ["setpriv", "--bounding-set=-dac_override,-dac_read_search"]
    if shutil.which("setpriv") is None:
        return None
    tried = subprocess.run([*words, "true"], capture_output=True, check=False)
    return None if tried.returncode else words


def main() -> int:
    """Close folders and print the table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("station", type=Path, nargs="?")
    asked.add_argument("--row", type=Path, help="the table of campaigns to write into")
    asked.add_argument("--queen", default=campaign.QUEEN)
    asked.add_argument("--seconds", type=float, default=1e9, help="stop trying after so long")
    asked.add_argument("--only", default="", help="commands, with commas between")
    given = asked.parse_args()
    until = time.monotonic() + given.seconds
    before = unprivileged()
    if before is None:
        print("skipped: root's right to everything cannot be taken away here")
        return 0
    tried = dict.fromkeys(CLOSED, 0)
    failed: dict[str, Counter[str]] = {case: Counter() for case in CLOSED}
    with campaign.station_copy(given.station) as station:
        (station / "build" / "history").mkdir(exist_ok=True)
        known = campaign.records_digest(station)
        for case, (folder, rights) in CLOSED.items():
            out = station.parent / "out"
            for name in campaign.commands(station, out, given.queen):
                if given.only and name not in given.only.split(","):
                    continue
                if time.monotonic() > until:
                    break
                out.mkdir(exist_ok=True)
                closed = (station / folder).resolve() if folder else station
                usual = closed.stat().st_mode
                closed.chmod(rights)
                words = campaign.commands(station, out, given.queen)[name]
                done = subprocess.run(
                    [*before, str(campaign.TOOL), *words, "--quiet"],
                    capture_output=True,
                    text=True,
                    check=False,
                    stdin=subprocess.DEVNULL,
                )
                if closed.exists():
                    closed.chmod(usual)
                tried[case] += 1
                found = ""
                if "Traceback" in done.stderr or done.returncode not in ALLOWED:
                    found = f"{name}: code {done.returncode}: {done.stderr[-300:]}"
                elif done.returncode in (2, 3) and "rror:" not in done.stderr:
                    found = f"{name}: no word of it"
                found = found or campaign.what_is_wrong(station, out, known)
                if found:
                    failed[case][found] += 1
                shutil.rmtree(out)
    return campaign.tell("closed", tried, failed, row=given.row)


if __name__ == "__main__":
    sys.exit(main())
