"""Ctrl-C at random moments of every command: does each end with 130 and lose nothing?

    python tests/faults/interrupts.py STATION [--times 60] [--seed 1]

STATION is a built station's folder, which is copied. A row a command: how often it was
interrupted, and how often it ended with another code than 130 (or, done before the signal
came, its own), with a traceback, or hung. After every interrupt `latest` must still open.
Ends with 1 when anything failed.
"""

from __future__ import annotations

import argparse
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

TOOL = Path(sys.executable).with_name("queen-outcomes")
LONGEST_S = 60
COMMANDS = {
    "build": (),
    "check": (),
    "export": ("out",),
    "compare": (),
    "audit": (),
    "due": (),
    "explain": ("Q26-0153",),
    "plan": ("--arm", "a=8", "--arm", "b=12", "--difference", "0.1"),
    "sheets": (),
}


def interrupted(words: list[str], after: float) -> str | None:
    """Run a command, interrupt it, and give what was wrong; None: it was done before."""
    done = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        done.communicate(timeout=after)
    except subprocess.TimeoutExpired:
        done.send_signal(signal.SIGINT)
    else:
        return None
    try:
        _, err = done.communicate(timeout=LONGEST_S)
    except subprocess.TimeoutExpired:
        done.kill()
        done.communicate()
        return "hung"
    if "Traceback" in err:
        return "traceback"
    return "" if done.returncode in (0, 1, 130) else f"code {done.returncode}"


def main() -> int:
    """Interrupt commands and print the table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("station", type=Path)
    asked.add_argument("--times", type=int, default=60)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    draw = random.Random(given.seed)
    tried: Counter[str] = Counter()
    failed: dict[str, Counter[str]] = {name: Counter() for name in COMMANDS}
    with tempfile.TemporaryDirectory() as scratch:
        station = Path(scratch) / "station"
        shutil.copytree(given.station, station, symlinks=True)
        lasts: dict[str, float] = {}
        for name, more in COMMANDS.items():
            began = time.monotonic()
            subprocess.run(_words(name, station, more, 0), capture_output=True, check=False)
            lasts[name] = time.monotonic() - began
        for number in range(1, given.times + 1):
            name = draw.choice(list(COMMANDS))
            words = _words(name, station, COMMANDS[name], number)
            found = interrupted(words, draw.uniform(0.02, lasts[name]))
            if found is None:
                continue
            tried[name] += 1
            opened = subprocess.run(
                [TOOL, "due", station, "--quiet"], capture_output=True, check=False
            )
            found = found or ("" if opened.returncode == 0 else "latest lost")
            if found:
                failed[name][found] += 1
    print(f"{'command':10} {'tried':>6} {'failed':>7}")
    for name in COMMANDS:
        print(f"{name:10} {tried[name]:6} {failed[name].total():7} {dict(failed[name]) or ''}")
    return 1 if any(failed.values()) else 0


def _words(name: str, station: Path, more: tuple[str, ...], number: int) -> list[str]:
    places = [str(station.parent / f"{m}-{number}") if m == "out" else m for m in more]
    return [str(TOOL), name, str(station), *places, "--quiet"]


if __name__ == "__main__":
    sys.exit(main())
