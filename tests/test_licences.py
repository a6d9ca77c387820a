"""Which licences the tool brings along: the table in DEVELOPERS.md is what the packages say.

`python tests/test_licences.py` prints the table anew.
"""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
HEADING = "| package | licence |"
NAMES = {
    "apache software license": "Apache-2.0",
    "apache license 2.0": "Apache-2.0",
    "apache 2.0": "Apache-2.0",
    "apache license, version 2.0": "Apache-2.0",
    "mit license": "MIT",
    "the mit license (mit)": "MIT",
    "bsd license": "BSD",
    "python software foundation license": "PSF-2.0",
    "mozilla public license 2.0 (mpl 2.0)": "MPL-2.0",
    "isc license (iscl)": "ISC",
}
"""The forms in which packages write the names of the list of SPDX."""
COPYLEFT = re.compile(r"(^|[^L])GPL|AGPL|SSPL|CC-BY-N", re.IGNORECASE)


def direct() -> list[str]:
    """Name the packages that the tool itself asks for."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    asked = project["project"]["dependencies"]
    asked = [*asked, *project["project"]["optional-dependencies"]["paper"]]
    return [re.split(r"[ <>=!;\[]", line)[0] for line in asked]


def licence(name: str) -> str:
    """Give a package's licence: its expression, else its classifiers, else its own word."""
    said = metadata.metadata(name)
    if said.get("License-Expression"):
        return said["License-Expression"]
    named = [
        line.rpartition(" :: ")[2]
        for line in said.get_all("Classifier", [])
        if line.startswith("License :: ") and not line.endswith("OSI Approved")
    ]
    words = named or [(said.get("License") or "not stated").split("\n")[0][:60]]
    return " AND ".join(sorted({NAMES.get(word.lower(), word) for word in words}))


def table() -> list[str]:
    """Give the lines of the table."""
    return [f"| {name} | {licence(name)} |" for name in sorted(direct(), key=str.lower)]


def _family(line: str) -> tuple[str, ...]:
    return tuple(re.findall(r"^\| ([\w-]+) \| ([A-Za-z]+)", line)[0])


def everything() -> set[str]:
    """Name all that comes along on this machine, what the packages ask for included."""
    found, left = set[str](), direct()
    while left:
        name = left.pop().lower().replace("_", "-")
        if name in found:
            continue
        try:
            asked = metadata.requires(name) or []
        except metadata.PackageNotFoundError:
            continue  # for another system or Python
        found.add(name)
        left += [re.split(r"[ <>=!~;(\[]", line)[0] for line in asked if "extra ==" not in line]
    return found


def test_the_table_is_what_the_packages_say():
    lines = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("\n")
    begin = lines.index(HEADING) + 2
    end = lines.index("", begin)
    # versions differ in how they write it, not in which it is
    assert [_family(line) for line in lines[begin:end]] == [_family(line) for line in table()]


def test_nothing_that_comes_along_would_bind_the_tool_s_own_licence():
    bound = {name: licence(name) for name in everything()}
    assert not {name: said for name, said in bound.items() if COPYLEFT.search(said)}


@pytest.mark.parametrize("said", ["GPL-3.0-only", "AGPL-3.0", "CC-BY-NC-4.0"])
def test_a_licence_that_binds_is_known_as_one(said):
    assert COPYLEFT.search(said)


@pytest.mark.parametrize("said", ["MIT", "LGPL-2.1", "Apache-2.0 OR MIT", "MPL-2.0"])
def test_others_are_not(said):
    assert not COPYLEFT.search(said)


if __name__ == "__main__":
    print("\n".join([HEADING, "| --- | --- |", *table()]))  # noqa: T201
