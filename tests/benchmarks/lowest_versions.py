"""The fast tests with the lowest versions of libraries that pyproject.toml allows.

    python tests/benchmarks/lowest_versions.py DIR [-- tests/stats ...]

Makes a virtual environment in DIR (kept, so that a second run is quick), installs every
dependency at its lower bound, and runs the tests that are not marked slow, or those named.
Prints the versions and ends as the tests do.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def lowest() -> list[str]:
    """Give every dependency pinned to its lower bound."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    asked = [*project["dependencies"], *extras["paper"], *extras["test"]]
    own = f"{project['name']}["  # an extra that takes in another
    return [
        re.sub(r"^([\w.-]+)>=([\w.]+).*", r"\1==\2", line)
        for line in asked
        if not line.startswith(own)
    ]


def main() -> int:
    """Make the environment and run the tests."""
    place, tests = Path(sys.argv[1]), sys.argv[2:]
    tests = [word for word in tests if word != "--"]
    python = place / "bin" / "python"
    if not python.exists():
        venv.create(place, with_pip=True)
        words = [str(python), "-m", "pip", "install", "--quiet"]
        subprocess.run([*words, *lowest()], check=True)
        subprocess.run([*words, "--no-deps", "-e", str(ROOT)], check=True)
    print("\n".join(lowest()), flush=True)
    words = [str(python), "-m", "pytest", "-q", "-m", "not slow", *tests]
    return subprocess.run(words, cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
