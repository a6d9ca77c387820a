"""What is told of a question that `map` left open, with what whole columns say of it."""

from types import SimpleNamespace

import pytest
from queen_outcomes.records import unanswered
from queen_outcomes.records.unanswered import Unanswered


def shown(*settings):
    used = SimpleNamespace(headings=("Day",))
    return SimpleNamespace(used=used, says="both fit", settings=settings, kind="date_order")


@pytest.fixture(autouse=True)
def _plain(monkeypatch):
    monkeypatch.setattr(unanswered, "_kind_of", lambda one: one.kind)


def test_the_settings_of_the_one_column_that_shows_it_are_told():
    both = ('[files."a.csv"]\ndates = "dmy"', '[files."a.csv"]\ndates = "mdy"')
    one = Unanswered("dates:a.csv:checks:checked_on", "In which order?", (shown(*both),))
    assert one.settings == both
    assert one.found == 'In which order? ("Day": both fit)'


def test_several_columns_have_no_setting_in_common():
    several = Unanswered("dates:a.csv:*:*", "In which order?", (shown("a"), shown("b")))
    assert several.settings == ()
    assert Unanswered("dates:a.csv:*:*", "In which order?").settings == ()


def used(source="a.csv", table="checks", name="checked_on", heading="Day"):
    table = SimpleNamespace(name=table, columns=[SimpleNamespace(name="eggs", kind="yes_no")])
    return SimpleNamespace(
        source=SimpleNamespace(name=source, table=table), name=name, headings=(heading,)
    )


def read(column):
    cell = SimpleNamespace(columns=column.headings)
    slots = [SimpleNamespace(cells={column.name: cell})]
    return SimpleNamespace(name=column.source.name, table=column.source.table, slots=slots)


def seen(kind, column):
    return SimpleNamespace(used=column, says=kind, settings=(kind,), kind=kind)


OPEN = """
[units]
# OPEN "dates:a.csv:checks:checked_on": In which order?
# OPEN "percent:*:checks:pattern_pct": Shares?
# OPEN "blank:a.csv:checks:yes_no": What is blank?
"""


def test_a_question_is_told_of_columns_in_use_with_what_they_show_of_the_same():
    day, other = used(), used(source="b.csv")
    share = used(source="b.csv", name="pattern_pct")
    kinds = ("date_order", "order", "turned_dates", "shares")
    whole = [seen(kind, column) for column in (day, other, share) for kind in kinds]
    asked = unanswered.unanswered(OPEN, [read(day), read(other)], whole)
    assert [(one.id, one.text) for one in asked] == [("dates:a.csv:checks:checked_on", "In which order?")]
    assert [(one.kind, one.used) for one in asked[0].shown] == [("date_order", day), ("order", day)]
    asked = unanswered.unanswered(OPEN, [read(share)], whole)
    assert [(one.id, one.shown) for one in asked] == [("percent:*:checks:pattern_pct", (whole[-1],))]
    # asked of all columns of yes and no together
    asked = unanswered.unanswered(OPEN, [read(used(name="eggs"))], whole)
    assert [(one.id, one.shown) for one in asked] == [("blank:a.csv:checks:yes_no", ())]
    assert unanswered.unanswered(OPEN.replace("# OPEN ", "# "), [read(day)], whole) == []
