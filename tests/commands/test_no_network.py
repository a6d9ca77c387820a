"""No command opens a socket of the internet or looks a name up.

Two witnesses: Python's own audit events, and, where the machine has `strace`, the system
calls of the process and its threads, which compiled libraries make as well.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from demo_station import build_trial_station

pytestmark = pytest.mark.slow
WATCH = """
import os, sys
KNOWN = {"socket.connect", "socket.bind", "socket.sendto", "socket.getaddrinfo",
         "socket.gethostbyname", "socket.gethostbyaddr", "socket.getnameinfo",
         "urllib.Request", "http.client.connect"}
def watch(event, given):
    if event in KNOWN:
        with open(os.environ["WATCHED"], "a") as file:
            file.write(f"{event} {given!r}\\n")
sys.addaudithook(watch)
"""
CALLS = re.compile(r"(connect|sendto|sendmsg|bind)\(.*AF_INET")
PROBE = re.compile(r"^socket\.bind .*\('::1', 0\)\)$|bind\(\d+, \{sa_family=AF_INET6, sin6_port=htons\(0\),.*\"::1\"")
"""A library that is loaded with the expectations asks once whether the machine knows IPv6:
it binds a socket to the machine itself and closes it. Nothing is connected or sent."""
STRACE = shutil.which("strace")


def commands(station: Path, aside: Path) -> dict[str, tuple]:
    return {
        "new": ("new", aside / "new"),
        "demo": ("demo", aside / "demo"),
        "map": ("map", aside / "mapped", "--accept"),
        "check": ("check", station, "--verify"),
        "build": ("build", station, "--pdf"),
        "due": ("due", station, "--csv", aside / "due.csv", "--ics", aside / "due.ics"),
        "explain": ("explain", station, "Q00-01"),
        "export": ("export", station, aside / "out"),
        "export --pseudonyms": ("export", station, aside / "coded", "--pseudonyms"),
        "audit": ("audit", station, "--operator", "Ash"),
        "compare": ("compare", station),
        "plan": (
            *("plan", station, "--arm", "a=8", "--arm", "b=12", "--difference", "0.2"),
            *("--csv", aside / "list.csv", "--sheet", aside / "sheet.html"),
        ),
        "sheets": ("sheets", station),
    }


@pytest.fixture(scope="module")
def watched(shared, tmp_path_factory):
    """Run a command line under watch; give what it tried, and how it ended."""
    aside = tmp_path_factory.mktemp("aside")
    place = shared.folder("trial_station", build_trial_station)
    station = shutil.copytree(place, aside / "station", symlinks=True)
    shutil.copytree(place, aside / "mapped", symlinks=True)
    (aside / "watch").mkdir()
    (aside / "watch" / "sitecustomize.py").write_text(WATCH, encoding="utf-8")

    def run(*words) -> tuple[list[str], int]:
        log, calls = aside / "events", aside / "calls"
        for path in (log, calls):
            path.write_text("", encoding="utf-8")
        trace = []
        if STRACE:
            only = ("--seccomp-bpf", "-e", "trace=%network")
            trace = [STRACE, "-f", "-qq", *only, "-o", str(calls)]
        places = [str(aside / "watch"), os.environ.get("PYTHONPATH", "")]
        done = subprocess.run(
            [*trace, sys.executable, *map(str, words)],
            check=False,
            capture_output=True,
            env=os.environ
            | {
                "WATCHED": str(log),
                "PYTHONPATH": os.pathsep.join(filter(None, places)),
            },
        )
        tried = log.read_text("utf-8").splitlines()
        system = calls.read_text("utf-8", errors="replace").splitlines()
        seen = [*tried, *filter(CALLS.search, system)]
        return [one for one in seen if not PROBE.search(one)], done.returncode

    return run, station, aside


def test_the_watch_sees_what_it_should(watched):
    run, *_ = watched
    code = "import socket; socket.socket().connect_ex(('127.0.0.1', 9))"
    tried, _ = run("-c", code)
    assert any(event.startswith("socket.connect") for event in tried)
    assert not STRACE or any("AF_INET" in event for event in tried)
    looked_up, _ = run("-c", "import socket; socket.getaddrinfo('localhost', 1)")
    assert any(event.startswith("socket.getaddrinfo") for event in looked_up)


@pytest.mark.parametrize("name", list(commands(Path(), Path())))
def test_a_command_reaches_for_nothing(watched, name):
    run, station, aside = watched
    words = commands(station, aside)[name]
    tried, code = run("-m", "queen_outcomes", *words)
    assert tried == []
    assert code in (0, 1), code


def test_every_command_is_watched():
    from queen_outcomes.commands.cli import COMMANDS

    watched = {name.partition(" ")[0] for name in commands(Path(), Path())}
    assert watched == {command.name for command in COMMANDS}
