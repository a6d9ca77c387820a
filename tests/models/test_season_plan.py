"""What a season fixes stays fixed, is written so that people can read it, and is dated."""

import datetime as dt
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from queen_outcomes.base.errors import UsageError
from queen_outcomes.models import season_plan
from queen_outcomes.models.season_plan import SeasonPlan, season_of

DAY = dt.date(2026, 5, 2)
UNDER = {"terms": ("dose", "line")}


def plan(day=DAY, **given) -> SeasonPlan:
    return SeasonPlan("2026", day, **given)


def written(station, day=DAY, **section):
    first = plan(day)
    first.fix("form", section or {"knots": [6.1, 1 / 3]}, UNDER)
    season_plan.write(station, first)


def test_what_was_fixed_reads_back_to_the_last_digit(tmp_path):
    written(tmp_path, knots={"dose": [6.1, 1 / 3]}, terms=["dose"], said='a "b"\n')
    found = season_plan.read(tmp_path, "2026", DAY).fixed("form", UNDER)
    assert found["knots"] == {"dose": [6.1, 1 / 3]}
    assert found["said"] == 'a "b"\n'
    assert found["fixed_on"] == DAY


def test_the_file_opens_with_what_it_is_for(tmp_path):
    written(tmp_path)
    text = (tmp_path / "seasons" / "2026.toml").read_text()
    assert text.startswith("# What the first build of season 2026 fixed")
    assert "fixed_on = 2026-05-02" in text


def test_a_later_build_adds_and_takes_nothing_away(tmp_path):
    written(tmp_path)
    later = season_plan.read(tmp_path, "2026", DAY + dt.timedelta(7))
    later.fix("other", {"limit": 2.5}, {})
    season_plan.write(tmp_path, later)
    found = season_plan.read(tmp_path, "2026", DAY + dt.timedelta(14))
    assert found.fixed("form", UNDER)["knots"] == [6.1, 1 / 3]
    assert found.fixed("other", {})["fixed_on"] == DAY + dt.timedelta(7)


def test_nothing_new_leaves_the_file_alone(tmp_path):
    written(tmp_path)
    before = (tmp_path / "seasons" / "2026.toml").read_bytes()
    again = season_plan.read(tmp_path, "2026", DAY)
    assert season_plan.write(tmp_path, again) is None
    assert (tmp_path / "seasons" / "2026.toml").read_bytes() == before


def test_a_build_of_an_earlier_day_neither_uses_nor_overwrites_it(tmp_path):
    written(tmp_path)
    earlier = season_plan.read(tmp_path, "2026", DAY - dt.timedelta(30))
    assert earlier.fixed("form", UNDER) is None
    earlier.fix("form", {"knots": []}, UNDER)
    assert season_plan.write(tmp_path, earlier) is None


def test_a_changed_setting_opens_the_choice_and_is_dated(tmp_path):
    written(tmp_path)
    day = DAY + dt.timedelta(7)
    later = season_plan.read(tmp_path, "2026", day)
    assert later.fixed("form", {"terms": ("line",)}) is None
    later.fix("form", {"knots": []}, {"terms": ("line",)})
    season_plan.write(tmp_path, later)
    found = season_plan.read(tmp_path, "2026", day)
    (change,) = found.changes
    assert change["on"] == day
    assert change["what"] == "form: terms was ['dose', 'line'], is ['line']"


def test_a_first_season_fixes_nothing(tmp_path):
    first = plan(provisional=True)
    first.fix("form", {"knots": []}, UNDER)
    assert season_plan.write(tmp_path, first) is None
    assert not (tmp_path / "seasons").exists()


@pytest.mark.parametrize("text", ["fixed = 3", "[[fixed]]\nname = 'a'", "=", "\xff"])
def test_a_spoilt_file_is_refused_in_words(tmp_path, text):
    (tmp_path / "seasons").mkdir()
    (tmp_path / "seasons" / "2026.toml").write_text(text, encoding="latin-1")
    with pytest.raises(UsageError, match="not as a build wrote it"):
        season_plan.read(tmp_path, "2026", DAY)


@pytest.mark.parametrize(
    ("day", "first_month", "season"),
    [
        (dt.date(2026, 1, 1), 1, "2026"),
        (dt.date(2026, 6, 30), 7, "2025/2026"),
        (dt.date(2026, 7, 1), 7, "2026/2027"),
    ],
)
def test_a_season_has_the_name_that_the_courses_give_it(day, first_month, season):
    assert season_of(day, first_month) == season


VALUES = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"])),
    st.integers(-(2**62), 2**62),
    st.floats(allow_nan=False),
    st.booleans(),
)


@pytest.mark.slow
@given(st.dictionaries(st.from_regex(r"[a-z_]{1,8}", fullmatch=True), st.lists(VALUES)))
def test_any_values_read_back_as_they_were(section):
    text = season_plan._block("fixed", section)
    assert tomllib.loads(text)["fixed"] == [section]
