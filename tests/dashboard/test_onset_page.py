"""What the onset page says of the model beside the curves."""

import datetime as dt

import pytest
from filled_in import draw_curves
from onset_records import SETTINGS, queens, station
from queen_outcomes.dashboard import onset, site
from queen_outcomes.models.results import fit_models
from queen_outcomes.outcomes.derive import count_rates

DAY = dt.date(2026, 10, 1)


def built(made):
    store = station(made)
    count_rates(store, SETTINGS)
    draw_curves(store, SETTINGS)
    fit_models(store, SETTINGS)
    return store


def page_of(store):
    """Give what the page is handed, and its text."""
    page = onset.show(store, SETTINGS, DAY)
    common = {"station": "S", "as_of": DAY, "version": "0", "menu": [], "min_shown": 10}
    shown = {**common, "here": "onset.html", "title": "Onset", **page}
    return page, site.rendered("onset", shown)


@pytest.fixture(scope="module")
def usual():
    made = queens(300)
    for queen in made:
        queen["line"] = {"x": "<b>x</b>", "y": "y & z"}[queen["line"]]
    return page_of(built(made))


@pytest.mark.slow
def test_every_chart_has_its_place_on_the_page(usual):
    page, text = usual
    assert {"onset-days", "onset-differences-21"} <= set(page["charts"])
    for name in page["charts"]:
        assert f'id="chart-{name}"' in text


@pytest.mark.slow
def test_names_from_the_records_are_escaped(usual):
    _, text = usual
    assert "<b>x</b>" not in text
    assert "&lt;b&gt;x&lt;/b&gt;" in text


@pytest.mark.slow
def test_the_model_stands_beside_the_curve(usual):
    page, text = usual
    (said,) = page["model"]["beside"]
    assert said.startswith("Laying by day 21, all courses as they are: ")
    assert "by the curve above: " in said
    assert said in text


@pytest.mark.slow
def test_days_later_are_said_in_words_with_their_limits(usual):
    page, text = usual
    said = next(part for part in page["model"]["days_said"] if "exposure" in part)
    assert said.startswith("Layers with CO2 schedule “one exposure” begin ")
    assert " days later (95 % limits " in said
    assert said.endswith("than with “other after”.")
    assert said in text
    assert "causes" not in text


@pytest.mark.slow
def test_what_was_left_out_and_the_limits_of_it_are_on_the_page(usual):
    _, text = usual
    assert "drone line: recorded for 0 % of courses" in text
    assert "What this comparison cannot say" in text


@pytest.mark.slow
def test_without_a_model_the_reason_stands_there():
    page, text = page_of(built(queens(12)))
    assert page["model"]["there"] is False
    assert "There is no model: 9 courses are known to have laid" in text
    assert "onset-days" not in page["charts"]


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ((2.0, 1.0, 3.0), "2.0 days later (95 % limits 1.0 to 3.0)"),
        ((-2.0, -3.0, -1.0), "2.0 days earlier (95 % limits 1.0 to 3.0)"),
        (
            (0.5, -1.0, 2.0),
            "0.5 days later (95 % limits 1.0 days earlier to 2.0 days later)",
        ),
        ((0.5, None, None), "0.5 days later"),
        ((None, None, None), "cannot be told apart"),
    ],
)
def test_a_shift_in_words(numbers, said):
    names = ("difference", "difference_low", "difference_high")
    assert onset.shift_in_words(dict(zip(names, numbers, strict=True))) == said


def test_no_clear_difference_is_said_too():
    row = {"difference": 0.5, "low": -1.0, "high": 2.0}
    assert onset.days_in_words([row]) == [
        "The limits of every difference in days include zero."
    ]
    assert onset.days_in_words([]) == ["No difference in days can be given."]
