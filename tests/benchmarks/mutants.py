"""Do the tests of a folder notice a wrong sign? Changes random places and reports survivors.

    python tests/benchmarks/mutants.py [--seed 1] [--number 60] [--only stats] [--quick]

One comparison, sum, constant or join of `sql/` or `pipeline/` is changed in a copy of the
tree, and the tests of its folder are run on it: `tests/sql/<folder>` (and its room's) for SQL,
`tests/<room>` and the tests that import the module for Python; those that speak most of the
changed function first, since the first failure is enough. The fast ones come first, then the
slow ones of the default run, which `--quick` leaves out. Prints a row a mutant as it goes and
the survivors at the end; ends with 1 when there are any. A survivor is a test that is missing, or a change that
means the same; the latter are listed in EQUIVALENT, with the reason.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = Path("pipeline/queen_outcomes")
COPIED = ("pipeline", "sql", "reports", "tests", "demo", "pyproject.toml", "README.md")
NO_TEST = 5
"""pytest's exit code when no test was chosen."""
LONGEST_S = 900
"""A mutant that hangs is noticed; nobody waits longer than this for it."""

BOUNDARY = {
    ast.Lt: ("<", "<="),
    ast.LtE: ("<=", "<"),
    ast.Gt: (">", ">="),
    ast.GtE: (">=", ">"),
}
"""Of a count: one less or one more."""
TURNED = {
    ast.Lt: ("<", ">="),
    ast.LtE: ("<=", ">"),
    ast.Gt: (">", "<="),
    ast.GtE: (">=", "<"),
    ast.Eq: ("==", "!="),
    ast.NotEq: ("!=", "=="),
    ast.Is: ("is", "is not"),
    ast.In: ("in", "not in"),
}
"""Of a measure: its boundary is never met, so the whole comparison is turned round."""
SUMS = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
}
SQL_CHANGES = [
    (r"<=", "<"),
    (r">=", ">"),
    (r"(?<![<>=])<(?![=>])", "<="),
    (r"(?<![<>=-])>(?![=>])", ">="),
    (r"(?<![<>=!:])=(?![=>])", "<>"),
    (r"\bAND\b", "OR"),
    (r"\bOR\b", "AND"),
    (r"\bmin\(", "max("),
    (r"\bmax\(", "min("),
    (r"\bLEFT JOIN\b", "INNER JOIN"),
    (r"\bIS NOT NULL\b", "IS NULL"),
    (r"'yes'", "'no'"),
    (r" \+ ", " - "),
    (r" - ", " + "),
    (r"(?<![\w.$'])\d+(?![\w.'])", None),
]
ROOMS = {
    "01_records": "records",
    "06_models": "models",
    "07_audit": "audit",
    "08_doses": "doses",
    "09_trial": "trial",
    "10_pages": "dashboard",
}
"""A folder of `sql/` -> the room whose tests read its tables, where it is not `outcomes`."""
EQUIVALENT: dict[str, str] = {
    "dashboard/factors.py: \"points\": 100 / turn * row[\"risk_difference\"],": (
        "it turns by 1 or -1"
    ),
    "sql/01_records/overlapping_placements.sql: "
    "OR (b.placed_on <= a.placed_on AND (b.last_on IS NULL OR b.last_on > a.placed_on))": (
        "of one day the line before tells already"
    ),
    "sql/02_courses/courses.sql: main.queen_no * 1048577 + main.course AS course_no,": (
        "room for one course more a queen"
    ),
    "sql/03_evidence/so_far.sql: "
    "lead(day, 1, 1000001) OVER (PARTITION BY course_no ORDER BY day) AS next_day,": (
        "a day that never comes"
    ),
    "sql/04_outcomes/standings.sql: "
    "least($as_of - courses.d0, coalesce(horizon.window_days + $grace_days, 1000001))": (
        "a day that never comes"
    ),
    "records/delimited.py: half = max(len(head) // 2, 2)": (
        "a text of three bytes has a zero among two places, or has none"
    ),
    "records/spreadsheet_xml.py: "
    "cell = _CELL.match(xml, start) if start >= 1 else None": (
        "a sheet begins with no cell"
    ),
    "records/workbook.py: first = used = columns[0].absolute_index if columns else 1": (
        "of a sheet without cells nothing is told by its column"
    ),
    "records/map/seen/headings.py: for at in range(len(words) - length, -2, -1):": (
        "behind the first place there are no words"
    ),
    "records/opendocument.py: self._row, self._rows, self._column = 1, 0, 0": (
        "a row stands in a table, whose beginning sets it anew"
    ),
    "base/console.py: click.echo(json.dumps(value, default=plain, indent=3))": (
        "how far JSON is indented means nothing"
    ),
    "audit/apart.py: hands = {name: number != at for at, name in enumerate(names)}": (
        "a column of noughts and ones goes with others as its opposite does"
    ),
    "audit/operators.py: around = "
    "effects[at] - usual - np.array([0.0, -1.0, 1.0]) * Z_95 * errors[at]": (
        "the smaller of two limits is the lower one"
    ),
    "audit/running_series.py: return "
    "min(REPLICATES, max(FEWEST_REPLICATES, MOST_SIMULATED // max(courses, 2)))": (
        "a season of one course is drawn as often as any"
    ),
    'audit/running_series.py: root = np.array(kept["root"], float).reshape(columns, -2)': (
        "any length below zero is what is left"
    ),
    "doses/differences.py: "
    'arms = [arm[kept] != name for name in ("first", "second")]': (
        "both arms, in the other order"
    ),
    "stats/logistic/collinear.py: "
    "parts = np.maximum(left / np.where(varies, total, 1.0), np.exp(-3 * MOST))": (
        "the next line holds what is as small as this to MOST"
    ),
    "stats/shares/adjusted_rate.py: while over(inner) <= 1:": (
        "the place looked from lies a step further off"
    ),
    "stats/shares/ranks.py: "
    "drawn = modes - rng.standard_normal((size, operators)) @ root.T": (
        "a normal deviate is as likely with the other sign"
    ),
    "stats/series/null_seasons.py: "
    "at: self.change(at) - one.change_se * self._keyed(OWN, one.key)": (
        "a normal deviate is as likely with the other sign"
    ),
    "stats/logistic/odds_shift.py: "
    "low, high = share + logits.max() - 1e-6, share - logits.min() + 1e-6": (
        "wherever the search sets out, the loop behind it goes below the root"
    ),
    "stats/times/spread.py: shape = (int(cluster.max()) + 2, len(influence))": (
        "room for a cluster more, in which nobody is"
    ),
    "stats/times/spread.py: shape = (*[last + 2] * 3, 3)": (
        "room for a day more, on which nothing is"
    ),
    "stats/shares/poisson_binomial.py: drawn = np.roll(drawn, -2, axis=1)": (
        "another column of an even sequence leads"
    ),
    "stats/shares/poisson_binomial.py: "
    "met = found[: already + 3, : len(risk)]": ("a row more, which is all zeros"),
    "stats/logistic/mixed_sparse.py: "
    "needed = reach[edges[-1] - 1] + 1 if edges[-1] else 1": (
        "the first block is larger anyway"
    ),
    "stats/logistic/mixed_sparse.py: "
    "squares, steps = sizes**3, sizes[1:] * sizes[:-1]": (
        "room is left between blocks, to which nothing is written"
    ),
    "stats/times/turnbull.py: mass[moving] = moved * moved.sum(axis=1, keepdims=True)": (
        "between two mixtures masses add up to 1 as they are, but for rounding"
    ),
    "stats/times/turnbull.py: if kkt <= 1.0 - 0.01 * (KKT - 1.0) or steps == NEWTON_STEPS:": (
        "ends where no Newton step rises further"
    ),
    "stats/times/turnbull.py: if kkt <= 1.0 + 0.01 * (KKT - 1.0) and steps == NEWTON_STEPS:": (
        "ends where no Newton step rises further, a few steps later; the cap is never met"
    ),
}
"""File and changed line -> why it changes nothing. By the line's text, which outlives edits."""
ROUNDING = 1e-5
"""A number below this is a tolerance: adding or taking it away means the same."""


@dataclass(frozen=True)
class Mutant:
    """One change of one place: the file, the span of characters, what goes there, the function."""

    path: Path
    start: int
    end: int
    was: str
    becomes: str
    inside: str = ""

    def line(self, text: str) -> int:
        """Give the line of the place, from 1."""
        return text.count("\n", 0, self.start) + 1

    def changed(self, text: str) -> str:
        """Give the text with the place changed."""
        return text[: self.start] + self.becomes + text[self.end :]

    def key(self, text: str) -> str:
        """Give the file and the changed line, as EQUIVALENT has them."""
        inside = (
            self.path.relative_to(PACKAGE)
            if PACKAGE in self.path.parents
            else self.path
        )
        line = self.changed(text).splitlines()[self.line(text) - 1]
        return f"{inside.as_posix()}: {line.strip()}"


class PythonPlaces:
    """The places of one Python file that can be changed.

    Parameters
    ----------
    path : Path
        The file, from the tree's root.
    text : str
        What stands in it.
    """

    def __init__(self, path: Path, text: str) -> None:
        self.path, self.text, self.data = path, text, text.encode()
        self.tolerances: set[str] = set()
        self.starts = [0]
        for line in text.splitlines(keepends=True):
            self.starts.append(self.starts[-1] + len(line.encode()))

    def mutants(self) -> list[Mutant]:
        """Give every change: comparisons, sums, and / or, small numbers, not."""
        found = []
        tree = ast.parse(self.text)
        self.tolerances = {
            node.targets[0].id
            for node in tree.body
            if isinstance(node, ast.Assign)
            and isinstance(node.targets[0], ast.Name)
            and _is_tolerance(node.value)
        }
        for function, body in _bodies(tree):
            for node in ast.walk(body):
                mutant = self._mutant(node)
                if mutant is not None:
                    found.append(replace(mutant, inside=function))
        return found

    def _mutant(self, node: ast.AST) -> Mutant | None:
        match node:
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                counted = any(_is_count(side) for side in (left, right))
                words = {**TURNED, **(BOUNDARY if counted else {})}.get(type(op))
                return self._between(left, right, words)
            case ast.BinOp(left=left, op=op, right=right) if not (
                self._only_rounds(left) or self._only_rounds(right)
            ):
                return self._between(left, right, SUMS.get(type(op)))
            case ast.BoolOp(op=op, values=[left, right, *_]):
                both = isinstance(op, ast.And)
                words = ("and", "or") if both else ("or", "and")
                return self._between(left, right, words)
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                low = self._at(node.lineno, node.col_offset)
                high = self._at(operand.lineno, operand.col_offset)
                return Mutant(self.path, low, high, self.text[low:high], "")
            case ast.Constant() if _is_count(node):
                low = self._at(node.lineno, node.col_offset)
                high = self._at(node.end_lineno, node.end_col_offset)
                was = self.text[low:high]
                return Mutant(self.path, low, high, was, str(node.value + 1))
        return None

    def _only_rounds(self, node: ast.AST) -> bool:
        """Tell a tolerance, as a number or by the name that the module gives it."""
        named = isinstance(node, ast.Name) and node.id in self.tolerances
        return named or _is_tolerance(node)

    def _at(self, line: int, column: int) -> int:
        return len(self.data[: self.starts[line - 1] + column].decode())

    def _between(
        self, left: ast.AST, right: ast.AST, words: tuple[str, str] | None
    ) -> Mutant | None:
        if words is None:
            return None
        was, becomes = words
        low = self._at(left.end_lineno, left.end_col_offset)
        high = self._at(right.lineno, right.col_offset)
        word = re.search(rf"(?<!\w){re.escape(was)}(?!\w)", self.text[low:high])
        if word is None:
            return None
        span = low + word.start(), low + word.end()
        return Mutant(self.path, *span, was, becomes)


def _is_count(node: ast.AST) -> bool:
    """Tell a small whole number from limits of a search and tolerances."""
    return isinstance(node, ast.Constant) and type(node.value) is int and node.value < 4


def _is_tolerance(node: ast.AST) -> bool:
    """Tell a number that only allows for rounding."""
    return (
        isinstance(node, ast.Constant)
        and type(node.value) is float
        and 0 < node.value < ROUNDING
    )


def _bodies(tree: ast.Module) -> list[tuple[str, ast.stmt]]:
    """Give the statements of all functions beside their names, without their annotations and docstrings."""
    made = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            for inner in node.body:
                nested = isinstance(inner, ast.FunctionDef | ast.ClassDef)
                words = isinstance(inner, ast.Expr) and isinstance(
                    inner.value, ast.Constant
                )
                if not nested and not words:
                    made.append((node.name, inner))
    return made


def sql_mutants(path: Path, text: str) -> list[Mutant]:
    """Give every change of a SQL file outside of its comments."""
    bare = re.sub(r"--[^\n]*", lambda m: " " * len(m.group()), text)
    found = []
    for pattern, becomes in SQL_CHANGES:
        for place in re.finditer(pattern, bare):
            was = place.group()
            then = str(int(was) + 1) if becomes is None else becomes
            found.append(Mutant(path, place.start(), place.end(), was, then))
    return found


def every_mutant(root: Path, only: str) -> list[Mutant]:
    """Give all changes of the tree, in one order."""
    found: list[Mutant] = []
    for path in sorted(root.glob("sql/*/*.sql")):
        name = path.relative_to(root)
        found += sql_mutants(name, path.read_text(encoding="utf-8"))
    for path in sorted((root / PACKAGE).rglob("*.py")):
        name = path.relative_to(root)
        found += PythonPlaces(name, path.read_text(encoding="utf-8")).mutants()
    return [mutant for mutant in found if only in str(mutant.path)]


def tests_of(root: Path, path: Path, function: str) -> list[str]:
    """Give the test files of a file's folder, those that name what is changed most first.

    Also files of other folders that import the module, as those of the weekly build do.
    """
    if path.parts[0] == "sql":
        folders = [f"tests/sql/{path.parts[1]}", "tests/outcomes"]
        folders.append(f"tests/{ROOMS.get(path.parts[1], 'outcomes')}")
    else:
        # the tests of a folder within a room stand in one of the same name
        inner = Path("tests", *path.parts[2:-1])
        folders = [str(inner if (root / inner).is_dir() else inner.parent)]
    files: list[str] = []
    for folder in folders:
        for test in sorted((root / folder).rglob("test_*.py")):
            name = str(test.relative_to(root))
            if name not in files:
                files.append(name)
    word = path.stem
    imports = re.compile(rf"{path.parent.name}(\.| import (\(?[\w\s,]*\b)?){word}\b")
    for test in sorted((root / "tests").rglob("test_*.py")):
        name = str(test.relative_to(root))
        if name not in files and imports.search(test.read_text("utf-8")):
            files.append(name)

    def speaks(name: str) -> tuple[int, int]:
        text = (root / name).read_text("utf-8")
        named = text.count(function) if function else 0
        return -named, -text.count(word)

    return sorted(files, key=speaks)


def survives(root: Path, mutant: Mutant, marks: tuple[str, ...]) -> bool:
    """Tell whether the folder's tests of these marks pass although the place is changed."""
    place = root / mutant.path
    text = place.read_text(encoding="utf-8")
    files = tests_of(root, mutant.path, mutant.inside)
    if not files:
        return True
    place.write_text(mutant.changed(text), encoding="utf-8")
    try:
        for which in marks:
            done = subprocess.run(
                [
                    sys.executable,
                    "-m",
                    "pytest",
                    "-x",
                    "-q",
                    "-n",
                    "0",
                    "-p",
                    "no:cacheprovider",
                    "-m",
                    which,
                    *files,
                ],
                cwd=root,
                env={**os.environ, "PYTHONPATH": str(root / "pipeline")},
                capture_output=True,
                text=True,
                check=False,
                timeout=LONGEST_S,
            )
            if done.returncode not in (0, NO_TEST):
                return False
    except subprocess.TimeoutExpired:
        return False
    finally:
        place.write_text(text, encoding="utf-8")
    return True


def main() -> int:
    """Try random mutants and report those that no test noticed."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--number", type=int, default=60)
    asked.add_argument("--only", default="", help="a part of the path")
    asked.add_argument("--quick", action="store_true", help="ask the fast tests alone")
    given = asked.parse_args()
    marks = ("not slow",) if given.quick else ("not slow", "slow and not long")
    draw = random.Random(given.seed)
    left: list[str] = []
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch)
        for name in COPIED:
            copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
            copy(ROOT / name, root / name)
        places = every_mutant(root, given.only)
        chosen = draw.sample(places, min(given.number, len(places)))
        print(f"{len(chosen)} of {len(places)} places, seed {given.seed}")
        for number, mutant in enumerate(chosen, start=1):
            text = (root / mutant.path).read_text(encoding="utf-8")
            where = f"{mutant.path}:{mutant.line(text)}"
            change = f"{mutant.was.strip()!r} -> {mutant.becomes!r}"
            began = time.monotonic()
            alive = survives(root, mutant, marks)
            known = EQUIVALENT.get(mutant.key(text))
            told = (
                "killed"
                if not alive
                else f"equivalent: {known}"
                if known
                else "SURVIVED"
            )
            print(
                f"{number:3} {where} {change}: {told} {time.monotonic() - began:.0f} s"
            )
            sys.stdout.flush()
            if alive and not known:
                left.append(f"{where} {change}")
    print(f"\n{len(left)} of {len(chosen)} survived", *left, sep="\n")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
