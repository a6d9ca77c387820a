"""`new` and `demo`: a station's folder with blank records, and the invented station's.

Writes into new or empty folders only.
"""

from __future__ import annotations

from importlib.resources.abc import Traversable
from pathlib import Path

import click

from queen_outcomes.base import resources
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.outputs import new_folder, refuse_kept_places
from queen_outcomes.commands.options import FOLDER, shared, tell_files

README = """\
records/   the station's tables. Fill in records.xlsx, a sheet a table; cells left
           empty mean "not recorded". Or remove it and keep CSV files here instead.
blanks/    the same tables as empty CSV files, to copy into records/. Nothing is
           read from blanks/. Keep each table in one form: rows that stand in a
           workbook and in a CSV file would be read twice.
pseudonyms.key   the secret that codes in the place of names are made with: keep it, and
           keep it to yourself.
station.toml   the settings: your own column names, words, dates and units.

Then, in this folder:

    queen-outcomes check
    queen-outcomes build

and open build/latest/dashboard/index.html.
"""


DEMO_KEY = "0123456789abcdef" * 4
"""The invented station's secret is none: everybody's demo gives the same codes."""


@click.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@shared
@click.make_pass_decorator(Console, ensure=True)
def new(console: Console, folder: Path) -> None:
    """Make a station's folder with blank records."""
    tell_files(console, new_station(folder))
    console.note(f"next: fill in {folder / 'records' / 'records.xlsx'}, then")
    console.note(f"      queen-outcomes build {folder}")


@click.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@shared
@click.make_pass_decorator(Console, ensure=True)
def demo(console: Console, folder: Path) -> None:
    """Make an invented station's folder with two seasons of records."""
    tell_files(console, demo_station(folder))
    console.note(f"next: queen-outcomes build {folder}")


def new_station(place: Path) -> list[Path]:
    """Make a blank station.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    UsageError
        The folder is not empty.
    """
    from queen_outcomes.facts.pseudonyms import write_key
    from queen_outcomes.records import blanks

    _refuse_used(place)
    with new_folder(place) as made:
        (made / "records").mkdir()
        (made / "blanks").mkdir()
        settings = made / "station.toml"
        settings.write_text(
            resources.read("reports", "text", "station.toml"),
            encoding="utf-8",
            newline="\n",
        )
        key = write_key(made)
        read_me = made / "README.txt"
        read_me.write_text(README, encoding="utf-8", newline="\n")
        workbook = blanks.write_workbook(made / "records" / "records.xlsx")
        written = [settings, key, read_me, workbook, *blanks.write_csvs(made / "blanks")]
    return [place / path.relative_to(made) for path in written]


def demo_station(place: Path) -> list[Path]:
    """Make the invented station; see `new_station`."""
    from queen_outcomes.facts.pseudonyms import write_key

    source = resources.folder("demo")
    _refuse_used(place)
    with new_folder(place) as made:
        (made / "records").mkdir()
        written = [
            _copy(source / "station.toml", made / "station.toml"),
            write_key(made, DEMO_KEY),
        ]
        found = sorted((source / "records").iterdir(), key=lambda path: path.name)
        written += [_copy(path, made / "records" / path.name) for path in found]
    return [place / path.relative_to(made) for path in written]


def _copy(source: Path | Traversable, target: Path) -> Path:
    target.write_bytes(source.read_bytes())
    return target


def _refuse_used(place: Path) -> None:
    refuse_kept_places(place, place)
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise UsageError(
            "the folder for the new station is not empty",
            found=f"{place} holds other things",
            expected="a new or empty folder",
            hint="name another folder",
        )
