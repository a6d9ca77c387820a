"""Random and damaged sets of records, through `check`, in this process: what goes wrong?

    python tests/faults/fuzz.py [--reading | --mapping] [--sets 20000] [--first 0]
                                [--seconds 480] [--kept FILE]
                                [--row reports/text/campaigns.csv]

Of each set: no traceback, no code but 0 to 3, an end within 20 s, every row where an
independent count has it, and never more than 2 GB of memory. Sets are numbered, and a set's
number makes it again: `--first N --sets 1 --show DIR` leaves it in DIR and says what came
of it. `--reading` only reads them, damaged once more. `--mapping` takes them, every other
set damaged once more, through `map --accept`, which may lose no file: each is read by a rule,
left out by an answer that is told, named as a form without a row, or asked about, and one in
which nothing could be read is asked about; run again it writes the same. With `--kept` a run
goes on where the last one stopped, however that was; `--row` writes what came of all of it
into the table of campaigns (`--seconds 0`: and tries no more). Ends with 1 when any failed.
"""

from __future__ import annotations

import argparse
import contextlib
import faulthandler
import fnmatch
import io
import json
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "support"))

import campaign
import fuzzed_sets
from queen_outcomes.base import store
from queen_outcomes.base.errors import AppError
from queen_outcomes.commands import cli

LONGEST_S = 20
"""Of the processor, so that a busy machine makes nothing hang."""
WAITING_S = 180
"""A process that does next to nothing for so long waits for what never comes."""
MOST_KB = 2 * 2**20
KEPT_EVERY = 20
"""So many sets a killed run loses at most."""
_DECODE = json.JSONDecoder().raw_decode
"""Reads the text in quotes that a line begins with."""


class HungError(BaseException):
    """A set took longer than it may; no handler of errors takes it for one of theirs."""


def _stop(*_: object) -> None:
    raise HungError


def _watch() -> None:
    """End this process, with what it is at, when it waits and does nothing for too long.

    Who is kept from the processor by others waits for it, and is runnable.
    """
    done = time.process_time()
    while True:
        time.sleep(WAITING_S)
        done, before = time.process_time(), done
        state = Path("/proc/self/stat").read_text().rpartition(")")[2].split()[0]
        if done - before < 0.1 and state != "R":
            faulthandler.dump_traceback(2, all_threads=True)
            os._exit(1)


def make_set(number: int, place: Path, way: str) -> fuzzed_sets.MadeSet:
    """Make a set: damaged once more to be read, and every other one to be mapped."""
    draw = random.Random(number)
    made = fuzzed_sets.make(place, draw)
    if way == "reading" or (way == "mapping" and number % 2):
        fuzzed_sets.damage_all(made, draw)
        made.done.append("half of the files damaged once more")
    return made


def read_set(number: int, place: Path) -> tuple[str, str, int]:
    """Read one set; what is given is as of `try_set`."""
    made, counted = make_set(number, place, "reading"), fuzzed_sets.Counted()
    signal.signal(signal.SIGPROF, _stop)
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    failure, code = "", "read"
    try:
        fuzzed_sets.read_only(made, counted)
        failure = "; ".join(counted.wrong[:4])[:600]
    except AppError:
        code = "refused"
    except HungError:
        failure = f"took longer than {LONGEST_S} s"
    except Exception as problem:
        failure = f"escaped: {type(problem).__name__}: {problem}"[:600]
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    return failure, code, counted.rows


def try_set(number: int, place: Path) -> tuple[str, str, int]:
    """Check one set.

    Returns
    -------
    failure : str
        What was wrong; empty: nothing.
    code : str
        The exit code.
    rows : int
        How many rows were counted by hand.
    """
    made = make_set(number, place, "fuzz")
    failure, code, rows, _ = _commanded(made, "check", "--quiet")
    return failure, code, rows


def map_set(number: int, place: Path) -> tuple[str, str, int]:
    """Map one set, and look for each of its files in the settings; as `try_set`."""
    made = make_set(number, place, "mapping")
    failure, code, rows, said = _commanded(made, "map", "--accept", "--json", "--quiet")
    if not failure and code in "01":
        failure = "; ".join([*_lost(place, json.loads(said))][:4])[:600]
        failure = failure or _changed_again(place)
    return failure, code, rows


def _commanded(
    made: fuzzed_sets.MadeSet, name: str, *words: str
) -> tuple[str, str, int, str]:
    """Give a set to a command; what is given is as of `try_set`, and what it said."""
    counted = fuzzed_sets.Counted()
    fuzzed_sets.CountingStore.counted = counted
    fuzzed_sets.CountingStore.records_dir = made.station / "records"
    out, err = io.StringIO(), io.StringIO()
    signal.signal(signal.SIGPROF, _stop)
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = cli.run([name, str(made.station), *words])
    except HungError:
        return f"took longer than {LONGEST_S} s", "-", counted.rows, ""
    except Exception as problem:
        failure = f"escaped: {type(problem).__name__}: {problem}"[:600]
        return failure, "-", counted.rows, ""
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    said, failure = err.getvalue(), ""
    if "Traceback" in said or code not in (0, 1, 2, 3):
        failure = f"code {code}: {said[-1500:]}"
    elif "\x1b" in out.getvalue() + said:
        failure = "a control sequence reached the terminal"
    elif code in (2, 3) and "error:" not in said:
        failure = f"code {code} without a word"
    elif counted.wrong:
        failure = "; ".join(counted.wrong[:4])[:600]
    return failure, str(code), counted.rows, out.getvalue()


def _lost(place: Path, told: dict) -> Iterator[str]:
    """Say which files of a set are neither read nor left out with a word nor asked about.

    Looks at the settings as TOML and as lines, with nothing of what `map` reads them by.
    """
    text = (place / "station.toml").read_text(encoding="utf-8")
    settings = tomllib.loads(text)
    rules = [rule["from"] for rule in settings.get("read", ())]
    read = _names(each for one in rules for each in ([one] if isinstance(one, str) else one))
    ignored = _names(settings.get("records", {}).get("ignore", ()))
    parted = (line.partition("# OPEN ") for line in text.split("\n"))
    asked = [_DECODE(rest)[0] for before, _, rest in parted if not before and rest[:1] == '"']
    if sorted(asked) != sorted(told["open"]):
        yield f"open in the settings: {sorted(asked)}, told: {sorted(told['open'])}"
    of = {question["id"]: question for question in told["questions"]}
    answered = [_source(each) for each, question in of.items() if question["answer"] == "yes"]
    shut = [
        _source(each)
        for each, question in of.items()
        if question["question"].startswith("Nothing could be read")
    ]
    forms = " ".join(note for note in told["notes"] if "no row below" in note)
    for path in sorted((place / "records").iterdir()):
        is_form = any(f'"{path.name}{end}' in forms for end in '"#')
        # one question may be of several sheets alike: its lines name each
        lines = (line for each in asked for line in of[each]["evidence"])
        is_asked = _has(path.name, map(_source, asked)) or any(path.name in x for x in lines)
        is_left = _has(path.name, ignored) and _has(path.name, answered)
        if _has(path.name, shut) and not is_asked:
            yield f"nothing could be read in {path.name}, and it is not asked about"
        elif is_form and fuzzed_sets.MARK.search(_below(path)):
            yield f"{path.name} is taken for a form, and rows stand in it"
        elif not (_has(path.name, read) or is_left or is_asked or is_form):
            yield f"{path.name} is neither read nor left out nor asked about"


def _names(patterns: Iterable[str]) -> list[str]:
    """Give the names of the files or sheets that patterns of one each stand for."""
    return [re.sub(r"\[([\[*?])\]", r"\1", pattern) for pattern in patterns]


def _source(question: str) -> str:
    return question.split(":")[1]


def _below(path: Path) -> str:
    """Give what stands below the first line of a text; of any other file, nothing."""
    if path.suffix not in (".csv", ".tsv", ".txt"):
        return ""
    text = path.read_bytes().replace(b"\0", b"").decode("latin-1").lstrip()
    return "".join(re.split(r"[\r\n]", text, maxsplit=1)[1:])


def _has(file: str, sources: Iterable[str]) -> bool:
    """Tell whether a file, or a sheet of it, is among sources."""
    return any(
        source == file or source.startswith(f"{file}#") or fnmatch.fnmatchcase(file, source)
        for source in sources
    )


def _changed_again(place: Path) -> str:
    """Say whether the same, run again, writes other settings."""
    before = (place / "station.toml").read_bytes()
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        cli.run(["map", str(place), "--accept", "--quiet"])
    same = (place / "station.toml").read_bytes() == before
    return "" if same else "another run writes other settings"


WAYS = {"fuzz": try_set, "reading": read_set, "mapping": map_set}
"""What is done with each set, by the campaign's name."""


def work(first: int, last: int, until: float, way: str) -> None:
    """Try sets one way, telling of each on stdout what came of it."""
    if way != "reading":
        store.Store = fuzzed_sets.CountingStore
    tell = os.fdopen(os.dup(1), "w", buffering=1)
    threading.Thread(target=_watch, daemon=True).start()
    for number in range(first, last):
        if time.time() > until:
            return
        tell.write(json.dumps({"begun": number}) + "\n")
        with tempfile.TemporaryDirectory() as scratch:
            failure, code, rows = WAYS[way](number, Path(scratch) / "station")
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        if not failure and peak > MOST_KB:
            failure = f"{peak / 2**20:.1f} GB of memory"
        tell.write(json.dumps({"number": number, "code": code, "rows": rows,
                               "failure": failure, "peak": peak}) + "\n")  # fmt: skip
        if peak > MOST_KB:
            return  # a new process starts from nothing


def run(given: argparse.Namespace, way: str, kept: dict) -> None:
    """Try sets in processes of their own; one that dies takes one set along."""
    until, last = time.time() + given.seconds, given.first + given.sets
    while kept["next"] < last and time.time() < until:
        words = [sys.executable, __file__, "--worker", str(kept["next"]), str(last), str(until), way]
        done = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        begun = None
        for line in done.stdout:
            told = json.loads(line)
            begun = told.get("begun", begun)
            if "number" in told:
                _note(kept, told, given.kept)
                begun = None
        err = done.stderr.read()
        done.wait()
        if begun is not None:
            _note(kept, {"number": begun, "code": f"died {done.returncode}", "rows": 0,
                         "failure": f"died: {err[-1500:]}", "peak": 0}, given.kept)  # fmt: skip
        elif done.returncode:
            raise SystemExit(err)


def _note(kept: dict, told: dict, place: Path | None) -> None:
    kept["next"] = told["number"] + 1
    kept["tried"] += 1
    kept["rows"] += told["rows"]
    kept["peak"] = max(kept["peak"], told["peak"])
    kept["codes"][told["code"]] = kept["codes"].get(told["code"], 0) + 1
    if told["failure"]:
        kept["failed"][str(told["number"])] = told["failure"]
        print(f"set {told['number']}: {told['failure']}", flush=True)
    if place and (told["failure"] or kept["tried"] % KEPT_EVERY == 0):
        _keep(kept, place)


def _keep(kept: dict, place: Path) -> None:
    beside = place.with_name(f"{place.name}.new")
    beside.write_text(json.dumps(kept, indent=1))
    beside.replace(place)


def main() -> int:
    """Run the campaign and print the table."""
    if sys.argv[1:2] == ["--worker"]:
        work(int(sys.argv[2]), int(sys.argv[3]), float(sys.argv[4]), sys.argv[5])
        return 0
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--sets", type=int, default=20_000)
    asked.add_argument("--first", type=int, default=0)
    asked.add_argument("--seconds", type=float, default=3 * 3600)
    ways = asked.add_mutually_exclusive_group()
    ways.add_argument("--reading", action="store_true", help="only read, ten times faster")
    ways.add_argument("--mapping", action="store_true", help="through map, not through check")
    asked.add_argument("--kept", type=Path)
    asked.add_argument("--row", type=Path)
    asked.add_argument("--show", type=Path)
    given = asked.parse_args()
    way = next((name for name in WAYS if getattr(given, name, False)), "fuzz")
    kept = {"next": given.first, "tried": 0, "rows": 0, "peak": 0, "codes": {}, "failed": {}}
    if given.show:
        shutil.rmtree(given.show, ignore_errors=True)
        print(make_set(given.first, given.show, way).done)
    if given.kept and given.kept.exists():
        kept = json.loads(given.kept.read_text())
    run(given, way, kept)
    if given.kept:
        _keep(kept, given.kept)
    codes = ", ".join(f"{code}: {number}" for code, number in sorted(Counter(kept["codes"]).items()))
    failed = len(kept["failed"])
    print(f"{'campaign':10} {'tried':>7} {'held':>7} {'failed':>7}")
    print(f"{way:10} {kept['tried']:7} {kept['tried'] - failed:7} {failed:7}")
    if given.row:
        words = "python tests/faults/fuzz.py" + f" --{way}" * (way != "fuzz")
        tried = {way: kept["tried"]}
        wrong = {way: Counter(kept["failed"].keys())}
        campaign.write_row(given.row, way, f"{words} --sets {kept['tried']}", tried, wrong)
    print(f"rows counted by hand: {kept['rows']}; codes {codes}; most memory "
          f"{kept['peak'] / 2**20:.2f} GB")  # fmt: skip
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
