"""Every chart of the demo's pages, against the grammar's own schema."""

from __future__ import annotations

import html.parser
import json

import altair as alt
import pytest
from queen_outcomes.dashboard import site

pytestmark = pytest.mark.slow

WITH_CHARTS = {name for name, _, _ in site.PAGES} - {"methods"}


class _Specs(html.parser.HTMLParser):
    """Takes the charts out of a page."""

    def __init__(self, text):
        super().__init__()
        self.inside, self.parts = False, []
        self.feed(text)

    def handle_starttag(self, _, attributes):
        self.inside = ("id", "chart-specs") in attributes

    def handle_data(self, data):
        if self.inside:
            self.parts.append(data)

    def handle_endtag(self, _):
        self.inside = False


def specs(path):
    found = _Specs(path.read_text(encoding="utf-8")).parts
    return json.loads("".join(found)) if found else {}


@pytest.mark.parametrize("name", [name for name, _, _ in site.PAGES])
def test_the_charts_keep_the_schema(built_demo, name):
    charts = specs(built_demo / "dashboard" / f"{name}.html")
    assert bool(charts) == (name in WITH_CHARTS)
    for spec in charts.values():
        few = {key: rows[:1] for key, rows in spec.get("datasets", {}).items()}
        alt.LayerChart.from_dict({**spec, "datasets": few})
