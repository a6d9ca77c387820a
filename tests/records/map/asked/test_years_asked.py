"""Of which year days are that lack it: told by names, whole days and the turn of a year, or asked."""

import pytest
from queen_outcomes.records.map.asked import orders, years
from queen_outcomes.records.map.asked.questions import accept_defaults
from queen_outcomes.records.map.seen.feed import Feed, Use
from queen_outcomes.records.map.seen.sheet import lone_years
from queen_outcomes.records.map.seen.station import Part
from sheets_by_hand import part, sheet, station

SUMMER = ["14.5.", "16.6.", "20.8."]
OVER = ["31 Oct", "2 Nov", "24 Dec", "7 Jan", "3 Feb"]
BEFORE = ["31 Oct", "2 Nov", "24 Dec"]
AFTER = ["7 Jan", "3 Feb"]


def judged(*looks, **more):
    parts = [part(source, "checks", checked_on=list(days)) for source, days in looks]
    return orders.judge(station(*parts, *more.get("parts", ())))


def asked(found):
    return {q.id.split(":")[1]: [*q.options][:-1] for q in found.questions if q.kind == "year"}


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("25-26", "2025/26"),
        ("2025/26", "2025/26"),
        ("season_2025-2026", "2025/26"),
        ("II QUEENS 25-26", "2025/26"),
        ("99-00", None),
        ("2025", 2025),
        ("11-12", None),
        ("2025-06", 2025),
        ("2011-12", 2011),
        ("24-26", None),
        ("2024 and 2025", None),
        ("hives 25-26b", None),
        ("1.25-26", None),
    ],
)
def test_what_a_name_says_of_years(text, meant):
    assert years.named(text).meant == meant


@pytest.mark.parametrize(
    ("source", "days", "year"),
    [
        ("b.xlsx#2024", SUMMER, 2024),
        ("2024/b.csv", SUMMER, 2024),
        ("all 2023-2025.xlsx#2024", SUMMER, 2024),
        ("b.xlsx#2024", [*SUMMER, "12.4.25", "1.6.2024"], 2024),
        ("b.xlsx#25-26", OVER, "2025/26"),
        ("b.xlsx#25-26", BEFORE, "2025/26"),
        ("b.xlsx#25-26", ["2025-10-11", *OVER], "2025/26"),
        ("b.xlsx#25-26", ["14 May", "1 Aug", "30 Oct", "2 Dec", "3 Jan"], "2025-05"),
        ("b.csv", ["1.6.2024", *SUMMER], 2024),
    ],
)
def test_a_year_that_all_agrees_on_is_taken(source, days, year):
    found = judged((source, days))
    assert found.yearless == {source: year}
    assert asked(found) == {}


@pytest.mark.parametrize(
    ("source", "days", "options"),
    [
        # the turn of a year under the name of one
        ("b.xlsx#2025", OVER, ["2025/26", "2024/25", "2025"]),
        # of a season named, those after the turn alone, or the early summer of the north
        ("b.xlsx#25-26", AFTER, ["2025", "2026"]),
        ("b.xlsx#25-26", SUMMER, ["2025", "2026"]),
        ("b.xlsx#25-26", ["14 May", *OVER], ["2025/26", "2025-05"]),
        # whole days against the name, and names against each other
        ("b.xlsx#2025", ["1.6.2024", *SUMMER], ["2025", "2024"]),
        ("b.xlsx#25-26", ["2024-10-11", *OVER], ["2025/26", "2024", "2025", "2026"]),
        ("b 2023.xlsx#2024", SUMMER, ["2023", "2024"]),
        ("2023 and 2024.csv", SUMMER, ["2023", "2024"]),
        # whole days alone
        ("b.csv", ["2025-10-11", *OVER], ["2025/26", "2025"]),
        ("b.csv", ["1.6.2024", "1.6.2025", *SUMMER], ["2024", "2025"]),
        ("b.csv", ["20 Dec 2025", *AFTER], ["2025/26", "2025"]),
        ("b.csv", SUMMER, []),
    ],
)
def test_where_two_years_are_possible_none_is_taken_unasked(source, days, options):
    found = judged((source, days))
    assert found.yearless == {}
    assert asked(found) == {source: options}
    accept_defaults(found.questions)
    assert found.year_of(source) is None


@pytest.mark.parametrize(
    ("looks", "options"),
    [
        (["12.4.", "20.8.", "3.3."], ["2024-05", "2024"]),  # of the spring after her insemination
        (["12.6.", "20.8.", "3.3."], None),  # one may be a slip of the pen
        (["12.4.25", "20.8.", "3.3.25"], None),
        (["12.4.", "20.8.", "28.4."], None),
    ],
)
def test_looks_long_before_their_insemination_may_be_of_the_next_spring(looks, options):
    done = ["6.6.", "8.6.", "30.5."] if looks[-1] != "28.4." else ["1.5.", "8.6.", "30.5."]
    both = part("b.xlsx#2024", "checks", inseminated_at=done, checked_on=looks)
    first = Part(both.sheet, Feed("inseminations", {"inseminated_at": Use(["inseminated_at"])}))
    second = Part(both.sheet, Feed("checks", {"checked_on": Use(["checked_on"])}))
    found = orders.judge(station(first, second))
    assert asked(found) == ({"b.xlsx#2024": options} if options else {})
    assert found.yearless == ({} if options else {"b.xlsx#2024": 2024})


def test_the_years_of_other_sheets_hold_where_they_are_one_year():
    others = ["1.6.2024"] * 30
    assert judged(("b.csv", SUMMER), ("c.csv", others)).yearless == {"b.csv": 2024}
    slip = [*others, "1.6.2042"]
    assert judged(("b.csv", SUMMER), ("c.csv", slip)).yearless == {"b.csv": 2024}
    found = judged(("b.csv", SUMMER), ("c.csv", [*others, *["1.6.2025"] * 5]))
    assert asked(found) == {"b.csv": ["2024", "2025"]}
    found = judged(("b.csv", OVER), ("c.csv", others))
    assert asked(found) == {"b.csv": ["2023/24", "2024/25", "2024"]}


def test_days_that_fit_two_orders_are_no_season_by_one_of_them_alone():
    found = judged(("checks 2026.csv", ["6/2", "6/9"]))
    assert found.yearless == {"checks 2026.csv": 2026}


CARD = """Date,Queen,Seen
{}
{}
4/11,1,eggs
10/12,1,brood
{}
3/1,1,brood
20/11,2,eggs
"""


def card(first="2024,,", then="2025,,", before=",,", more=""):
    made = sheet(CARD.format(before, first, then) + more, "card.csv")
    from queen_outcomes.records.map.seen import feeds
    from queen_outcomes.records.map.seen.station import Part, Station

    return orders.judge(Station([made], [Part(made, feed) for feed in feeds.find(made)]))


def test_years_in_rows_of_their_own_hold_for_the_days_below_them():
    found = card()
    assert found.yearless == {"card.csv": "rows"}
    assert asked(found) == {}


def test_days_that_turn_back_below_one_year_are_asked_about():
    assert asked(card(more="5/1,2,brood\n")) == {"card.csv": ["rows"]}


def test_a_year_that_stands_beside_others_too_is_no_row_of_years():
    text = "Date,Queen,Seen\n2024,,\n4/11,1,eggs\n{}\n"
    assert lone_years(sheet(text.format("5/11,2,eggs"))) == {2: 2024}
    assert lone_years(sheet(text.format("2026,3,eggs"))) == {}
    # numbers of queens that nobody has filled in yet
    assert lone_years(sheet("No,Date,Seen\n2002,,\n2001,,\n1999,4/11,eggs\n")) == {}
