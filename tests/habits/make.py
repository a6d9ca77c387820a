"""Writes the ten stations' folders: `python make.py [FOLDER]`."""

import sys
from pathlib import Path

import s01_wide_words
import s02_merged_colours
import s03_german
import s04_polish
import s05_ids_three_ways
import s06_units_in_cells
import s07_us
import s08_colony_only
import s09_two_years
import s10_ticks

STATIONS = (
    s01_wide_words,
    s02_merged_colours,
    s03_german,
    s04_polish,
    s05_ids_three_ways,
    s06_units_in_cells,
    s07_us,
    s08_colony_only,
    s09_two_years,
    s10_ticks,
)
HERE = Path(__file__).parent


def make_all(under: Path) -> None:
    for station in STATIONS:
        station.make(under / station.FOLDER)


if __name__ == "__main__":
    make_all(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
