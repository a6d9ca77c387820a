"""An audit's page, and the picture on an operator's sheet of paper."""

import datetime as dt
import json

import pytest
from queen_outcomes.audit import own_courses
from queen_outcomes.audit.report import Report
from queen_outcomes.paper import audit_series, audit_sheet

AS_OF = dt.date(2026, 6, 1)
ROW = {
    "operator": "Ada Brun",
    "courses": 12,
    "failures": 3,
    "filled_in": 3.44,
    "expected": 2.05,
    "failed_to_expected": 1.678,
}


def report(sheet):
    return Report("Operators", [ROW], [], [], sheet, [], "operators", [])


def test_an_audit_of_all_is_a_page_and_no_paper(tmp_path):
    (page,) = audit_sheet.write(report(None), tmp_path, "Hill yard", AS_OF)
    assert page == tmp_path / "build" / "audit" / "operators.html"
    text = page.read_text("utf-8")
    for shown in ("Hill yard", "Ada Brun", "failed to expected", "3.4", "1.68"):
        assert shown in text, shown


def row_of(columns):
    return {key: f"{key} told" for key, _ in columns}


def test_a_sheet_on_paper_has_the_page_s_tables_under_their_headings(
    tmp_path, monkeypatch
):
    around, tools = own_courses.AROUND_COLUMNS, own_courses.TOOL_COLUMNS
    stretches, failed = own_courses.STRETCH_COLUMNS, own_courses.COLUMNS
    sheet = {
        "verdict": "Not told apart",
        "season": 2026,
        "process": [],
        "first": [],
        "series": [],
        "compares": [],
        "done": [],
        "beside": [],
        "limits": [],
        "tools": [row_of(tools)],
        "failed": [row_of(failed)],
        "around": [{"signal": "on a day", "rows": [row_of(around)]}],
        "learning": {"said": [], "rows": [row_of(stretches)]},
    }
    monkeypatch.setattr(
        audit_sheet,
        "set_pdf",
        lambda template, data, day, images: json.dumps(
            [data, str(day), images]
        ).encode(),
    )
    page, paper = audit_sheet.write(report(sheet), tmp_path, "Hill yard", AS_OF)
    data, day, images = json.loads(paper.read_bytes())
    assert (paper.name, day, images) == ("operators.pdf", "2026-06-01", {})
    assert data["chart"] is None
    told = (data["around"][0], data["tools"], data["learning"], data["failed"])
    text = page.read_text("utf-8")
    for table, columns in zip(told, (around, tools, stretches, failed), strict=True):
        assert table["heads"] == [heading for _, heading in columns]
        assert table["rows"] == [[f"{key} told" for key, _ in columns]]
        assert all(cell in text for cell in table["rows"][0])
    monkeypatch.setattr(audit_sheet, "prints", lambda: False)
    alone = audit_sheet.write(report(sheet), tmp_path / "alone", "Hill yard", AS_OF)
    assert [path.name for path in alone] == ["operators.html"]


def point(case, signal="", limit=None, series="against own"):
    return {
        "series": series,
        "case": case,
        "worse": 1.0 + case,
        "better": -2.0 - case,
        "limit_worse": limit,
        "limit_better": None,
        "signal": signal,
    }


@pytest.fixture
def drawn(monkeypatch):
    """Give each panel's title -> what its marks are drawn at, and how many points have."""
    monkeypatch.setattr(audit_series, "svg", lambda spec: spec)

    def panels(points):
        spec = audit_series.series_svg(points)

        def count(*from_in_to_out):
            data = next(part["data"] for part in from_in_to_out if "data" in part)
            return len(spec["datasets"][data["name"]])

        return {
            panel["title"]: [
                (layer["encoding"]["y"]["field"], count(layer, panel, spec))
                for layer in panel["layer"]
            ]
            for panel in spec["hconcat"]
        }

    return panels


def test_each_signal_is_marked_on_the_line_that_gave_it(drawn):
    points = [point(1), point(2, "worse"), point(3, "better"), point(4, "better")]
    lines = [("worse", 4), ("better", 4)]
    assert drawn(points) == {"against own": [*lines, ("worse", 1), ("better", 2)]}
    assert drawn(points[:1]) == {"against own": [("worse", 1), ("better", 1)]}


def test_a_limit_is_drawn_where_one_is_known_and_each_series_for_itself(drawn):
    points = [point(1), point(2, limit=4.0), point(1, series="against colleagues")]
    assert drawn(points) == {
        "against own": [("worse", 2), ("better", 2), ("limit_worse", 2)],
        "against colleagues": [("worse", 1), ("better", 1)],
    }
