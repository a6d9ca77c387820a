"""Where the scripts that draw charts come from."""

from __future__ import annotations

import pytest
from queen_outcomes.dashboard.charts import scripts as chart_scripts


def scripts(earlier=None) -> str:
    with chart_scripts.at_hand(earlier) as given:
        return given()


@pytest.fixture(scope="module")
def made() -> str:
    return scripts()


@pytest.mark.slow
def test_scripts_are_taken_over_only_when_of_the_same_making(made, tmp_path):
    earlier = tmp_path / "chart-scripts.js"
    earlier.write_text(made + "// kept\n", encoding="utf-8")
    assert scripts(earlier).endswith("// kept\n")
    earlier.write_text("/* by another */\n", encoding="utf-8")
    assert scripts(earlier) == made
    assert scripts(tmp_path / "absent.js") == made


@pytest.mark.slow
def test_a_process_that_fails_is_made_up_for(made, monkeypatch):
    monkeypatch.setattr(chart_scripts, "MAKING", "raise SystemExit(1)")
    assert scripts() == made


def test_a_draw_that_fails_waits_for_nothing(monkeypatch):
    monkeypatch.setattr(chart_scripts, "MAKING", "import time; time.sleep(600)")
    with pytest.raises(ZeroDivisionError), chart_scripts.at_hand(None):
        raise ZeroDivisionError
