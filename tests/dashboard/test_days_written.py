"""A day reads the same everywhere: year-month-day, and a time of year in words."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from queen_outcomes.dashboard import due
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.charts.grammar import SCRIPTS
from queen_outcomes.dashboard.operators import batches
from queen_outcomes.models.adjusted_factors import label_of
from queen_outcomes.models.terms import MAIN, Form

ROOT = Path(__file__).resolve().parents[2]
PAGES = (
    *(ROOT / "pipeline" / "queen_outcomes" / "dashboard").rglob("*.py"),
    *(path for path in (ROOT / "reports" / "static").glob("*.js") if path.name != SCRIPTS),
    *(ROOT / "reports" / "templates").glob("*.html"),
)
FORMATS = re.compile(r"%-?[a-zA-Z](?:[^a-zA-Z%\n]?%-?[a-zA-Z])+")
"""A way to write a day: two or more of its parts."""


def test_pages_know_two_ways_to_write_a_day():
    found = {
        form for path in PAGES for form in FORMATS.findall(path.read_text("utf-8"))
    }
    assert found == {theme.DAY, theme.TIME_OF_YEAR}
    for path in PAGES:
        said = path.read_text("utf-8")
        assert "toLocaleDateString" not in said, path
        assert 'type="date"' not in said, (
            path
        )  # shown as the browser's own country has it


def test_an_axis_of_days_says_the_whole_day():
    axis = batches.DAY_AXIS.to_dict()
    assert axis["axis"]["format"] == theme.DAY
    assert axis["scale"] == {"type": "utc"}
    chart = due.due_chart([{"useful_until": _Day("2026-07-19"), "status": "due"}])
    (layer,) = chart.to_dict()["layer"]
    assert layer["encoding"]["x"]["scale"]["domain"] == ["2026-07-19"]
    assert "labelExpr" not in layer["encoding"]["x"]["axis"]


class _Day(str):
    def isoformat(self):
        return str(self)


@pytest.mark.parametrize(("value", "said"), [(121, "1 May"), (162, "11 June")])
def test_a_time_of_year_reads_as_on_its_axis(value, said):
    assert label_of(Form(MAIN["season"]), float(value)) == said
    assert theme.TIME_OF_YEAR == "%-d %B"  # the day without a nought, the month in full
