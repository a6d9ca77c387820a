"""In which order days are written: what one column says, what a file, what a station."""

import pytest
from queen_outcomes.records.map.asked import orders
from sheets_by_hand import part, station


def looks(source="c.csv", table="checks", **columns):
    return part(source, table, **columns)


def judged(*parts):
    return orders.judge(station(*parts))


@pytest.mark.parametrize(
    ("days", "order"),
    [
        (["14.5.2025", "3.5.2025"], "dmy"),
        (["5/14/2025", "5/3/2025"], "mdy"),
        # one slip of the pen in ten is none of the order's
        (["14.5.2025"] * 9 + ["5.14.2025"], "dmy"),
        (["14.5.2025"] * 8 + ["5.14.2025"] * 2, None),
        # the year first: two figures that hardly change, beside days that do
        (["25.05.14", "25.05.16", "25.06.01", "25.05.30"], "dmy"),
        ([f"25.05.{n:02}" for n in range(1, 13)], "ymd"),
        ([f"25.05.{n:02}" for n in range(1, 10)], "ymd"),
        ([f"25.05.{n:02}" for n in range(1, 6)], "ymd"),
        ([f"25.05.{n:02}" for n in range(1, 5)], "dmy"),
        ([f"25.05.{n % 3 + 23}" for n in range(1, 9)], "dmy"),
        ([f"2{n % 2 + 4}.05.{n:02}" for n in range(1, 10)], "ymd"),
        ([f"{n % 3 + 24}.05.{n:02}" for n in range(1, 13)], "dmy"),
        # plain days have no order
        (["2025-05-14", "2025-05-03"], None),
        # but one that begins with its year has, where it is not the ISO form
        (["2025/5/14", "2025/5/3"], "ymd"),
        (["14 May 2025", "16 May 2025"], None),
    ],
)
def test_the_order_of_one_column(days, order):
    found = judged(looks(checked_on=days))
    assert found.by_file.get("c.csv") == order
    assert found.by_column == {}


@pytest.mark.parametrize(
    ("days", "fits"),
    [
        (["03.04.05"], {"dmy": 1, "mdy": 1, "ymd": 0}),
        (["03.04.05", "04.04.05", "05.04.05"], {"dmy": 3, "mdy": 3, "ymd": 0}),
        ([f"03.04.0{n}" for n in range(1, 10)], {"dmy": 0, "mdy": 0, "ymd": 9}),
        ([f"03.04.0{n}" for n in range(1, 6)], {"dmy": 0, "mdy": 0, "ymd": 5}),
        ([f"03.04.0{n}" for n in range(1, 5)], {"dmy": 4, "mdy": 4, "ymd": 0}),
    ],
)
def test_figures_that_can_be_a_year_are_one_where_they_hardly_change(days, fits):
    one = looks(checked_on=days)
    ((name, held),) = one.dates()
    found = orders._judged(one, name, held)
    assert {way: found.fits[way] for way in fits} == fits
    assert (found.numeric, found.example) == (len(days), days[0])


def test_the_column_with_more_days_decides_its_file_and_the_other_keeps_its_own():
    found = judged(
        looks(table="exits", left_on=["5/14/2025", "5/16/2025"]),
        looks(checked_on=["14.5.2025", "15.5.2025", "16.5.2025"]),
    )
    assert found.by_file == {"c.csv": "dmy"}
    assert found.by_column == {("c.csv", "exits", "left_on"): "mdy"}
    both = judged(
        looks(table="exits", left_on=["5/4/2025"] * 9),
        looks(checked_on=["14.5.2025"]),
    )
    assert (both.by_file, both.by_column, both.questions) == ({"c.csv": "dmy"}, {}, [])


def test_days_that_begin_with_their_year_beside_others_are_told_apart():
    found = judged(
        looks(table="exits", left_on=["2025/5/14"]), looks(checked_on=["14.5.2025"])
    )
    assert found.by_file == {"c.csv": "dmy"}
    assert found.by_column == {("c.csv", "exits", "left_on"): "ymd"}
    mixed = judged(looks(checked_on=["2025/5/14", "14.5.2025"]))
    assert (mixed.by_file, mixed.by_column) == ({"c.csv": "dmy"}, {})
    typed = judged(looks(checked_on=[("2025/5/14", "number"), "2025-05-14"]))
    assert (typed.by_file, typed.by_column) == ({}, {})


def test_a_file_whose_days_fit_both_ways_is_asked_about():
    (asked,) = judged(looks(checked_on=["1.2.2025", "3.4.2025"])).questions
    assert asked.id == "dates:c.csv:checks:checked_on"
    assert asked.evidence == ["all 2 days fit dmy and mdy"]
    assert (list(asked.options), asked.default) == (["dmy", "mdy"], None)
    assert "such as 1.2.2025?" in asked.text
    # the station's other files leave little doubt
    other = looks("b.csv", "exits", left_on=["14.5.2025"])
    (asked,) = judged(looks(checked_on=["1.2.2025"]), other).questions
    assert asked.evidence[1:] == ["the other files write dmy"]
    assert asked.default == "dmy"
    # unless they are of two hands
    third = looks("d.csv", "exits", left_on=["5/14/2025"])
    (asked,) = judged(looks(checked_on=["1.2.2025"]), other, third).questions
    assert (len(asked.evidence), asked.default) == (1, None)
    # or write what this one cannot
    first = looks("b.csv", "exits", left_on=["2025/5/14"])
    found = judged(looks(checked_on=["1.2.2025"]), first)
    assert found.questions[0].default is None
    assert found.asked == {"dates:c.csv:checks:checked_on": ["c.csv"]}
    # all columns of a file are counted in one question
    found = judged(
        looks(checked_on=["1.2.2025"]), looks(table="exits", left_on=["3.4.2025"] * 2)
    )
    assert found.questions[0].evidence == ["all 3 days fit dmy and mdy"]


def test_days_that_no_order_fits_well_have_those_that_fit_some():
    days = ["14.5.2025"] * 8 + ["5.14.2025"] * 2
    (asked,) = judged(looks(checked_on=days)).questions
    assert list(asked.options) == ["dmy", "mdy"]


REAL = [("2025-05-12", "date")] * 3


@pytest.mark.parametrize(
    ("cells", "turned"),
    [
        ([*REAL, "5/13/2025", "5/14/2025", "5/15/2025"], "mdy"),
        ([*REAL, "13/5/2025", "14/5/2025", "15/5/2025"], "dmy"),
        ([*REAL, "13/5/2025", "5/14/2025", "5/15/2025"], "dmy"),
        ([*REAL[:2], "5/13/2025", "5/14/2025", "5/15/2025"], None),
        ([*REAL, "5/13/2025", "5/14/2025"], None),
        ([*REAL, ("2025-05-13", "date"), "5/13/2025", "5/14/2025", "5/15/2025"], None),
        ([*REAL, "5/13/2025", "5/14/2025", "5/12/2025"], None),
        ([*REAL, "13 May 2025", "5/14/2025", "5/15/2025"], None),
    ],
)
def test_real_days_up_to_the_twelfth_beside_texts_after_it(cells, turned):
    found = judged(looks(checked_on=cells))
    place = ("c.csv", "checks", "checked_on")
    assert found.turned == ({place: turned} if turned else {})
    asked = [q for q in found.questions if q.id.startswith("mixed:")]
    assert [q.id for q in asked] == ["mixed:" + ":".join(place)] * bool(turned)
    if turned:
        assert [told.split()[0] for told in asked[0].evidence] == ["3", "3"]


def test_days_above_and_below_the_title_of_another_year_have_none():
    """A second season that begins on the same sheet would be read in the first."""
    from queen_outcomes.records.map.seen.opened import Cell, Row

    one = looks("exits 2025.csv", checked_on=["14.5.", "16.5."])
    assert judged(one).yearless == {"exits 2025.csv": 2025}
    one.sheet.passed.append(Row(9, (Cell("Gone in 2026"),)))
    found = judged(one)
    assert found.yearless == {}
    assert [q.id for q in found.questions if q.id.startswith("year:")] == [
        "year:exits 2025.csv:*:*"
    ]
