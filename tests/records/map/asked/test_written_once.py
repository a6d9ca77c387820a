"""What is written once for several rows: from which shares on it is asked about, and how."""

import pytest
from queen_outcomes.records.map.asked import written_once
from sheets_by_hand import ids, part, station

DAYS = [f"2025-06-{n:02}" for n in range(1, 29)]
ASKED = "fill:c.csv:checks:checked_on"


def blocks(*sizes, seen="yes", days=DAYS):
    """Give looks in blocks of rows, a new day over each; what was seen stands in every row."""
    dated = [day if at == 0 else "" for day, size in zip(days, sizes, strict=False) for at in range(size)]
    return part(
        "c.csv", "checks", queen_id=[f"D{n}" for n in range(len(dated))], checked_on=dated,
        eggs=[seen] * len(dated),
    )  # fmt: skip


def told(*parts):
    return [one.evidence[0] for one in written_once.days_above(station(*parts)) if one.id == ASKED]


@pytest.mark.parametrize(
    ("sizes", "said"),
    [
        ((4, 3, 3), "7 of 10 rows have none, and a day never stands twice in a row"),
        ((5, 5), None),  # three blocks at least
        ((2, 2, 1, 1, 1, 1, 1, 1), "2 of 10 rows have none, and a day never stands twice in a row"),
        ((2, 2, 1, 1, 1, 1, 1, 1, 1), None),  # two of eleven
    ],
)
def test_days_over_blocks_of_rows(sizes, said):
    assert told(blocks(*sizes)) == ([said] if said else [])


def test_the_first_row_has_a_day_and_rows_in_which_something_was_done_lack_it():
    dated = ["", *[day if at == 0 else "" for day in DAYS[:3] for at in range(4)]]
    rows = [f"D{n}" for n in range(len(dated))]
    late = part("c.csv", "checks", queen_id=rows, checked_on=dated, eggs=["yes"] * len(rows))
    assert told(late) == []
    assert told(blocks(4, 3, 3, seen="")) == []


@pytest.mark.parametrize(
    ("blocked", "alike", "rare"), [(21, 1, True), (21, 2, False), (22, 1, True), (22, 2, False)]
)
def test_a_day_that_stands_twice_in_a_row_is_rare(blocked, alike, rare):
    """Of twenty or 21 pairs of days one may be alike."""
    days = [*DAYS[: blocked - alike], *[DAYS[blocked - 1 - alike]] * alike]
    (said,) = told(blocks(*[2] * blocked, days=days))
    assert said.endswith("a day never stands twice in a row") == rare


def test_rows_in_which_nothing_is_done_yet_are_few():
    """Of twenty rows without a day one may hold nothing else."""

    def looks(empty):
        dated = [day if at == 0 else "" for day in DAYS[:4] for at in range(6)]
        eggs = ["yes"] * (24 - empty) + [""] * empty
        return part("c.csv", "checks", queen_id=[f"D{n}" for n in range(24)], checked_on=dated, eggs=eggs)

    assert told(looks(1)) == ["20 of 24 rows have none, and a day never stands twice in a row"]
    assert told(looks(2)) == []


def test_what_stands_beside_the_day_as_seldom_is_asked_about_without_a_default():
    names = ["Ada", "", "", "", "Eve", "", "", "Ada", "", ""]
    looks = blocks(4, 3, 3)
    both = part(
        "c.csv", "checks", {"checker": "Who"}, queen_id=looks.texts("queen_id"), eggs=["yes"] * 10,
        checked_on=[day if at == 0 else "" for day, size in zip(DAYS, (4, 3, 3), strict=False) for at in range(size)],
        checker=names,
    )  # fmt: skip
    found = {one.id: one for one in written_once.days_above(station(both))}
    assert list(found) == [ASKED, "fill:c.csv:checks:checker"]
    assert (found[ASKED].default, found["fill:c.csv:checks:checker"].default) == ("yes", None)
    assert '"Who"' in found["fill:c.csv:checks:checker"].text
    assert found["fill:c.csv:checks:checker"].evidence == ["7 of 10 rows have none, and one never stands twice in a row"]


def years(texts, days):
    return part("c.csv", "checks", {"checked_on": "Day"}, queen_id=["D"] * len(days), checked_on=days, year=texts)


def test_a_year_over_its_rows():
    found = station(years(["2024", "", "2025", ""], ["3.6.", "4.6.", "3.6.", "4.6."]))
    looks = found.parts[0]
    looks.feed.uses["checked_on"].names.append("year")
    del looks.feed.uses["year"]
    (asked,) = written_once.years_above(found)
    assert asked.id == "fill:c.csv:checks:year"
    assert asked.evidence == ["2 of 4 rows have none"]
    assert 'a year under "year"' in asked.text
    assert 'the days under "Day" lack it' in asked.text


def test_a_year_in_every_row_or_not_in_the_first_is_not_asked_about():
    for texts in (["2024"] * 3, ["", "2024", ""]):
        found = station(years(texts, ["3.6.", "4.6.", "5.6."]))
        found.parts[0].feed.uses["checked_on"].names.append("year")
        del found.parts[0].feed.uses["year"]
        assert ids(written_once.years_above(found)) == []
