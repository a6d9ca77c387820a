"""Which columns are asked about as perhaps not what they were taken for."""

from dataclasses import replace

import pytest
from queen_outcomes.records.map.asked import which_columns
from queen_outcomes.records.map.seen.station import Part
from sheets_by_hand import ids, part, station


def emerged(gaps, extra=()):
    """A bench sheet whose queens emerged so many days before 1 June."""
    days = [f"2025-05-{32 - gap:02}" if gap < 32 else "2025-04-01" for gap in gaps]
    made = part(
        "b.csv",
        "inseminations",
        emerged_on=[*days, *extra],
        inseminated_at=["2025-06-01"] * len(gaps),
    )
    queens = Part(made.sheet, replace(made.feed, table="queens"))
    del made.feed.uses["emerged_on"]
    queens.feed.uses = {
        "emerged_on": made.feed.uses.get("emerged_on") or _use("emerged_on")
    }
    return station(queens, made)


def _use(name):
    from queen_outcomes.records.map.seen.feed import Use

    return Use([name])


@pytest.mark.parametrize(
    ("gaps", "asked"),
    [
        ([17], True),
        ([16], False),
        ([26], True),
        ([27], False),
        ([8, 17, 20], True),
        ([8, 9, 20], False),
        ([8, 17], True),
        ([17, 27], False),
    ],
)
def test_a_day_as_far_from_the_insemination_as_grafting(gaps, asked):
    found = which_columns.grafting(emerged(gaps))
    assert ids(found) == ["graft:b.csv:queens:emerged_on"] * asked
    if asked:
        middle = sorted(gaps)[len(gaps) // 2]
        assert f"inseminated {middle} days after" in found[0].evidence[0]


def test_days_that_do_not_stand_beside_each_other_tell_nothing_of_grafting():
    assert which_columns.grafting(emerged([17, 18], extra=["2025-05-01"])) == []
    alone = part("q.csv", "queens", emerged_on=["2025-05-01"])
    assert which_columns.grafting(station(alone)) == []


def unsure(name, heading, cells, worth=1.0, table="checks"):
    looks = part("c.csv", table, {name: heading}, **{name: cells})
    looks.feed.uses[name].worth = worth
    return [(q.id, q.default, q.evidence) for q in which_columns.unsure(station(looks))]


def test_columns_taken_for_ours_by_what_stands_in_them():
    place = "column:c.csv:checks:"
    # a table's own day under a word nobody knows
    days = ["2025-05-14", "2025-05-15"]
    told = ["it holds 2025-05-14, 2025-05-15"]
    assert unsure("checked_on", "Zorbed", days) == [(place + "checked_on", None, told)]
    assert unsure("checked_on", "Zorbed Date", days) == []
    assert unsure("checked_on", "Date", days) == []
    assert unsure("note", "Zorbed", ["x"]) == []
    # a weak fit; bare numbers have no default
    labels = [*"abcdefg", "a"]
    assert unsure("queen_id", "Zorb", labels, 0.5) == [
        (place + "queen_id", "yes", ["it holds a, b, c, d, e"])
    ]
    assert unsure("queen_id", "Zorb", ["1", "2"], 0.5) == [
        (place + "queen_id", None, ["it holds 1, 2"])
    ]
    assert unsure("queen_id", "Zorb", labels, 0.6) == []
    assert unsure("queen_id", "Zorb", [""], 0.5) == []
    assert unsure("queen_id", "Zorb", days, 0.5) == []
    # a weak fit that the cells allow in part
    assert unsure("pattern_pct", "Zorb", ["8", "9", "x"], 0.5) != []
