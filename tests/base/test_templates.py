"""The one environment of the pages' templates."""

from __future__ import annotations

import jinja2
import pytest
from queen_outcomes.base.templates import environment


def test_text_is_escaped_and_a_missing_name_is_an_error():
    page = environment().from_string("{{ queen }}")
    assert page.render(queen="<b>") == "&lt;b&gt;"
    with pytest.raises(jinja2.UndefinedError):
        page.render()


def test_a_page_brings_filters_of_its_own_beside_the_usual():
    made = environment({"twice": lambda text: text * 2})
    assert made.from_string("{{ 'ab' | twice | upper }}").render() == "ABAB"
