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
