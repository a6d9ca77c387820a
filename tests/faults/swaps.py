"""Readers beside builds: `due` and `explain` in a loop while `latest` is switched.

    python tests/faults/swaps.py [STATION] [--swaps 300] [--queen Q00-01]

STATION is a built station, which is copied; without it a small one is made. A finished
build is switched to, and the one before retired, as the weekly build does it, as fast as
the disk allows. Each reader must end well and tell of one whole build. Ends with 1 when
any failed.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime as dt
import io
import json
import multiprocessing
import shutil
import sys
import time
from collections import Counter
from pathlib import Path

import campaign
from queen_outcomes.base import folders
from queen_outcomes.build.weekly import _swap
from queen_outcomes.commands import cli

KEEP = 5


def read_on(words: list[str], known: str, ready, ended, found) -> None:
    """Run a command over and over, and tell how often it ended how."""
    told: Counter[str] = Counter()
    while not ended.is_set():
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = cli.run(words)
        wrong = "" if code == 0 else f"code {code}: {err.getvalue()[-300:]}"
        if not wrong and out.getvalue() != known:
            wrong = "told something else"
        told[wrong] += 1
        ready.set()
    found.put((words[0], dict(told)))


def swap_often(station: Path, swaps: int, pause: float) -> None:
    """Make builds out of the last one and switch to each."""
    place = station / "build"
    kept = station.parent / "kept"
    shutil.copytree(folders.linked(place), kept)
    for number in range(swaps):
        now = dt.datetime(2030, 1, 1, tzinfo=dt.UTC) + dt.timedelta(seconds=number)
        run_id = folders.new_run_id(now)
        shutil.copytree(kept, place / run_id)
        _swap(place, run_id, KEEP)
        time.sleep(pause)


def main() -> int:
    """Swap beside readers and print the table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("station", type=Path, nargs="?")
    asked.add_argument("--swaps", type=int, default=300)
    asked.add_argument("--pause", type=float, default=0.05, help="seconds between two")
    asked.add_argument("--queen", default=campaign.QUEEN)
    given = asked.parse_args()
    tried: dict[str, int] = {}
    failed: dict[str, Counter[str]] = {}
    start = multiprocessing.get_context("spawn")
    with campaign.station_copy(given.station) as station:
        ended, found = start.Event(), start.Queue()
        readers, ready = [], []
        for words in (["due", str(station)], ["explain", str(station), given.queen]):
            words.append("--quiet")
            out = io.StringIO()
            with contextlib.redirect_stdout(out):
                assert cli.run(words) == 0
            ready.append(start.Event())
            args = (words, out.getvalue(), ready[-1], ended, found)
            readers.append(start.Process(target=read_on, args=args))
        for reader in readers:
            reader.start()
        for each in ready:
            each.wait(timeout=120)
        swap_often(station, given.swaps, given.pause)
        ended.set()
        for _ in readers:
            name, told = found.get(timeout=60)
            tried[name] = sum(told.values())
            failed[name] = Counter({what: n for what, n in told.items() if what})
        for reader in readers:
            reader.join()
        left = len(list((station / "build" / folders.HISTORY).iterdir()))
        tried["history as set"] = 1
        if left != KEEP:
            failed["history as set"] = Counter({f"{left} kept": 1})
        print(json.dumps({"swaps": given.swaps}))
    return campaign.tell("reader", tried, failed)


if __name__ == "__main__":
    sys.exit(main())
