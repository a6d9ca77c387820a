"""What is fixed for a season at its first build: one dated, readable file a season.

Without it the form of a model could flip from week to week and every build would be a new
analysis. A season's first build writes down what it had to choose from the data; later
builds of the season read it. A station's first season has nothing to choose from and stays
provisional. Knows nothing of what the sections hold.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.outputs import write_files

FOLDER = "seasons"
HEAD = """\
# What the first build of season {season} fixed, so that every week of it is judged alike.
# Written on {day} by queen-outcomes; read by every later build of this season.
# To let the next build choose anew, remove a section (or the file) and note why.
"""

Section = dict[str, Any]


def season_of(day: dt.date, first_month: int) -> str:
    """Name the season that a day falls in, as the courses name theirs."""
    if first_month == 1:
        return str(day.year)
    begins = day.year if day.month >= first_month else day.year - 1
    return f"{begins}/{begins + 1}"


@dataclass
class SeasonPlan:
    """A season's file, read or yet to be written.

    Attributes
    ----------
    season : str
    as_of : date
        Nothing fixed after this day is used, and nothing is written over it.
    sections : dict
        Name -> what was fixed, with ``fixed_on``.
    changes : list of dict
        ``on``, ``what``: changes of the plan within the season.
    provisional : bool
        There is no earlier season to choose from: nothing is fixed yet.
    fresh : dict
        Sections fixed by this build.
    changed : list of dict
        Changes of the plan that this build found.
    """

    season: str
    as_of: dt.date
    sections: dict[str, Section] = field(default_factory=dict)
    changes: list[Section] = field(default_factory=list)
    provisional: bool = False
    fresh: dict[str, Section] = field(default_factory=dict)
    changed: list[Section] = field(default_factory=list)

    def fixed(self, name: str, chosen_under: Mapping[str, Any]) -> Section | None:
        """Give what was fixed under this name; None: choose now.

        ``chosen_under`` are the settings that the choice depends on; where they
        have changed since, the change is noted and the choice is open again.
        """
        found = self.sections.get(name)
        if found is None or found["fixed_on"] > self.as_of:
            return None
        under = _plain(chosen_under)
        if found["under"] != under:
            self._note_change(name, found["under"], under)
            return None
        return found

    def fix(self, name: str, chosen: Section, chosen_under: Mapping[str, Any]) -> None:
        """Fix a choice for the season, unless it is provisional or fixed later on."""
        later = self.sections.get(name, {}).get("fixed_on", self.as_of) > self.as_of
        if not self.provisional and not later:
            under = _plain(chosen_under)
            self.fresh[name] = {"fixed_on": self.as_of, **chosen, "under": under}

    def apart(self) -> SeasonPlan:
        """Give the same plan, yet without what this build fixed and found of it."""
        return replace(self, fresh={}, changed=[])

    def take_up(self, other: SeasonPlan | None) -> None:
        """Take up what was fixed and found under a plan that was `apart`."""
        if other is not None:
            self.fresh |= other.fresh
            self.changed += [row for row in other.changed if row not in self.changed]

    def _note_change(self, name: str, was: Section, now: Section) -> None:
        names = sorted({*was, *now})
        for key in names:
            if was.get(key) != now.get(key):
                what = f"{name}: {key} was {was.get(key)}, is {now.get(key)}"
                row = {"on": self.as_of, "what": what}
                self.changed += [] if row in self.changed else [row]


def read(station: Path, season: str, as_of: dt.date) -> SeasonPlan:
    """Read a season's file; without one everything is still to be chosen.

    Raises
    ------
    UsageError
        The file is not what a build wrote.
    """
    path = path_of(station, season)
    if not path.is_file():
        return SeasonPlan(season, as_of)
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
        sections = {row.pop("name"): row for row in content.get("fixed", [])}
        plan = SeasonPlan(season, as_of, sections, content.get("changes", []))
        for section in [*plan.sections.values(), *plan.changes]:
            day = section["fixed_on"] if "fixed_on" in section else section["on"]
            if not isinstance(day, dt.date):
                raise KeyError("fixed_on")
        if any("under" not in section for section in sections.values()):
            raise KeyError("under")
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise _unreadable(path, str(problem)) from None
    except (KeyError, TypeError, AttributeError) as problem:
        raise _unreadable(path, f"no {problem}") from None
    return plan


def _unreadable(path: Path, found: str) -> UsageError:
    return UsageError(
        "the season's file is not as a build wrote it",
        where=str(path),
        found=found,
        hint="put back the file as it was, or remove it to let the next build choose "
        "anew",
    )


def path_of(station: Path, season: str) -> Path:
    """Give the place of a season's file."""
    return station / FOLDER / f"{season.replace('/', '-')}.toml"


def write(station: Path, plan: SeasonPlan) -> Path | None:
    """Write what a build fixed, in one rename; None when there was nothing to add."""
    if not plan.fresh:
        return None
    path = path_of(station, plan.season)
    path.parent.mkdir(exist_ok=True)
    sections = {**plan.sections, **plan.fresh}
    first = min(section["fixed_on"] for section in sections.values())
    parts = [HEAD.format(season=plan.season, day=first.isoformat())]
    parts += [_block("fixed", {"name": n, **sections[n]}) for n in sorted(sections)]
    parts += [_block("changes", row) for row in [*plan.changes, *plan.changed]]
    write_files({path: "\n".join(parts)})
    return path


def journalled(station: Path, plan: SeasonPlan) -> Section:
    """Give what a build's journal keeps of the season: its file's hash, if there is one."""
    path = path_of(station, plan.season)
    there = path.is_file()
    digest = hashlib.sha256(path.read_bytes()).hexdigest() if there else None
    return {
        "season": plan.season,
        "provisional": plan.provisional,
        "file": path.relative_to(station).as_posix() if there else None,
        "sha256": digest,
    }


def _block(kind: str, values: Section) -> str:
    lines = [f"[[{kind}]]", *(f"{key} = {_value(v)}" for key, v in values.items())]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    """Write one value as TOML; numbers so that they read back the same."""
    if isinstance(value, dict):
        inside = ", ".join(f"{json.dumps(k)} = {_value(v)}" for k, v in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return value.isoformat() if isinstance(value, dt.date) else repr(value)


def _plain(values: Mapping[str, Any]) -> Section:
    """Give settings as they read back from a file: lists for tuples, no empty values."""
    return {
        key: _plain(value)
        if isinstance(value, Mapping)
        else list(value)
        if isinstance(value, tuple)
        else value
        for key, value in values.items()
        if value is not None
    }
