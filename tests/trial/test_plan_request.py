"""What a trial is asked for: read into order, or refused with what would do."""

from __future__ import annotations

import zlib

import pytest
from planned_station import request
from queen_outcomes.base.errors import UsageError
from queen_outcomes.facts.settings import Plan, Reading, Settings


def test_what_is_not_said_is_filled_in():
    found = request()
    assert found.name == "Doses_2027"
    assert found.seed == zlib.crc32(b"Doses_2027")
    assert found.reference == "single 8"
    assert found.question == ("laying", 21)
    assert (found.block_size, found.by, found.power) == (4, "queen", 0.8)
    assert found.alpha == 0.05


@pytest.mark.parametrize("seed", [0, 1, 2**40])
def test_a_seed_is_any_whole_number_from_nought(seed):
    assert request(seed=seed).seed == seed


def test_arms_are_read_with_their_doses():
    found = request(arms=("single  8 = 8,5", "a=b=2 + 3.5", "ｓｉｎｇｌｅ 12=12"))
    assert [arm.name for arm in found.arms] == ["single 8", "a=b", "single 12"]
    assert [arm.doses for arm in found.arms] == [(8.5,), (2.0, 3.5), (12.0,)]
    assert found.arms[1].total_ul == 5.5
    assert found.arms[1].words == "2 + 3.5 uL"
    assert found.block_size == 6
    assert found.alpha == pytest.approx(0.025)


def test_a_reference_is_found_whatever_its_letters_case():
    assert request(reference="SINGLE 12").reference == "single 12"


def test_the_station_s_own_margin_is_taken_where_none_is_said():
    own = Settings(plan=Plan(margin=0.15))
    found = request(own, difference=None)
    assert (found.difference, found.margin) == (None, 0.15)
    assert request(own).margin is None


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"arms": ("single 8=8",)}, "two arms or more"),
        ({"arms": ("single 8=8", "12")}, '"6 and 6=6+6"'),
        ({"arms": ("single 8=8", "x=1+")}, "x=1+"),
        ({"arms": ("single 8=8", "=9")}, "cannot be read"),
        ({"arms": ("single 8=8", "Single 8=9")}, "one name"),
        ({"arms": ("single 8=8", "flood=41")}, "at most 40 uL"),
        ({"arms": ("single 8=8", "none=0")}, "above 0"),
        ({"arms": ("single 8=8", "odd=nan")}, "cannot be true"),
        ({"reference": "singel 12"}, 'did you mean "single 12"?'),
        ({"outcome": "layng"}, 'did you mean "laying"?'),
        ({"days": 22}, "laying by day 21"),
        ({"difference": 0.1, "margin": 0.1}, "both"),
        ({"difference": None}, "neither"),
        ({"difference": 0.0}, "nothing"),
        ({"difference": 1.1}, "from -1 to 1"),
        ({"difference": float("nan")}, "from -1 to 1"),
        ({"margin": -0.1}, "from 0 to 1"),
        ({"power": 1.0}, "from 0.5 to 0.99"),
        ({"share": 1.0}, "from 0.001 to 0.999"),
        ({"icc": -0.1}, "from 0 to 0.999"),
        ({"queens_per_graft": 0}, "from 1 to 10000"),
        ({"block_size": 3}, "a multiple of 2"),
        ({"block_size": 0}, "a multiple of 2"),
        ({"seed": -1}, "0 or a whole number above"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_words(asked, told):
    with pytest.raises(UsageError) as refused:
        request(**asked)
    assert told in refused.value.text()


def test_a_name_that_means_not_recorded_is_refused():
    own = Settings(reading=Reading(empty=("?",)))
    with pytest.raises(UsageError, match="not recorded"):
        request(own, arms=("?=8", "single 12=12"))
    with pytest.raises(UsageError, match="not recorded"):
        request(own, name="?")


def test_an_outcome_of_several_windows_takes_its_first():
    assert request(outcome="superseded").question == ("superseded", 90)
    assert request(outcome="superseded", days=365).question == ("superseded", 365)


@pytest.mark.parametrize(("arms", "found"), [(("single 8=8",), "single 8"), ((), "none")])
def test_a_trial_has_two_arms_or_more(arms, found):
    with pytest.raises(UsageError, match="two arms or more") as caught:
        request(arms=arms)
    assert caught.value.found == found


@pytest.mark.parametrize("asked", [{"difference": 0.0}, {"difference": None, "margin": 0.0}])
def test_no_number_of_queens_shows_a_difference_of_nothing(asked):
    with pytest.raises(UsageError, match="a difference of nothing"):
        request(**asked)
    assert request(difference=1.0).difference == 1.0


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("power", 0.5, 0.99),
        ("share", 0.001, 0.999),
        ("icc", 0.0, 0.999),
        ("queens_per_graft", 1, 10_000),
        ("queens_per_load", 1, 10_000),
        ("difference", -1.0, 1.0),
    ],
)
def test_a_number_may_be_its_lowest_and_its_highest_and_no_further(name, low, high):
    assert [getattr(request(**{name: value}), name) for value in (low, high)] == [low, high]
    step = 1 if isinstance(low, int) else 0.0005
    for beyond in (low - step, high + step):
        with pytest.raises(UsageError) as refused:
            request(**{name: beyond})
        assert refused.value.where == f"--{name.replace('_', '-')}"
        assert f"{low:g} to {high:g}" in refused.value.expected


def test_a_margin_may_be_all_and_is_no_less_than_nothing():
    assert request(difference=None, margin=1.0).margin == 1.0
    with pytest.raises(UsageError) as refused:
        request(difference=None, margin=1.01)
    assert refused.value.expected.startswith("a share from 0 to 1;")


@pytest.mark.parametrize(
    ("value", "hint"),
    [(10, "write 0.1 or 10%, if 10 per cent is meant"), (100, "write 1 or 100%, if 100 per cent is meant"), (101, "")],
)
def test_per_cent_is_offered_where_it_would_fit(value, hint):
    with pytest.raises(UsageError) as refused:
        request(difference=value)
    assert refused.value.hint == hint


@pytest.mark.parametrize(("dose", "fits"), [("40", True), ("40.1", False), ("0", False), ("0.1", True)])
def test_a_dose_lies_within_the_hard_limits(dose, fits):
    arms = ("single 8=8", f"x={dose}")
    if fits:
        assert request(arms=arms).arms[1].doses == (float(dose),)
        return
    with pytest.raises(UsageError) as refused:
        request(arms=arms)
    assert (refused.value.where, refused.value.found) == (f"--arm x={dose}", f"{dose} uL")


@pytest.mark.parametrize(
    ("arms", "size", "hint"), [(2, 3, 4), (2, 5, 4), (3, 4, 3), (3, 2, 3), (3, 5, 6), (2, 1, 2), (2, 7, 8)]
)
def test_the_nearest_block_that_holds_the_ratio_is_offered(arms, size, hint):
    given = tuple(f"arm {n}={n}" for n in range(4, 4 + arms))
    with pytest.raises(UsageError) as refused:
        request(arms=given, reference="arm 4", block_size=size)
    assert refused.value.hint == f"take a block of {hint}"
    assert refused.value.found == f"a block of {size}"
    assert request(arms=given, reference="arm 4", block_size=2 * arms).block_size == 2 * arms
