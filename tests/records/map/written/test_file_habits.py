"""What is written of a file: its header, decimal sign, prefixes and the order of its days."""

import pytest
from proposals_by_hand import proposed
from queen_outcomes.records.map.seen.feed import Feed
from queen_outcomes.records.map.seen.station import Part
from queen_outcomes.records.map.written import habits
from sheets_by_hand import part, sheet


def of_sheet(laid, feed=None, **more):
    one = Part(laid, feed or Feed("checks", {}))
    made = proposed(one, **more)
    return habits.of_sheet(made, laid)


def test_the_habits_of_a_file():
    text = "Queen,Date,Eggs,Larvae\n" + "D1,2025-06-01,yes,no\n" * 3
    assert of_sheet(sheet(text)) == {}
    assert of_sheet(sheet("Spring,,,\n" + text)) == {"header": 2}
    two = "Queen,Check,,\n,Date,Eggs,Larvae\n" + "D1,2025-06-01,yes,no\n" * 3
    assert of_sheet(sheet(two)) == {"header": [1, 2]}
    assert of_sheet(sheet(",,,\n" + text)) == {}
    answers = {("struck", "sheet.csv"): "leave", ("hidden", "sheet.csv"): "read"}
    assert of_sheet(sheet(text), answers=answers) == {"struck": "pass over"}
    void = text + "D9*,2025-06-01,yes,void\n"
    assert of_sheet(sheet(void), answers={("void", "sheet.csv"): "leave"}) == {
        "pass_over": ["D9[*]"]
    }
    assert of_sheet(sheet(void), answers={("void", "sheet.csv"): "read"}) == {}


@pytest.mark.parametrize(
    ("doses", "sign"),
    [
        (["7,5", "8"], ","),
        (["7.5", "7,5"], "."),
        (["7,5", "6,5", "7.5"], ","),
        (["8"], "."),
        ([("7,5", "number")], "."),
    ],
)
def test_the_decimal_sign_of_most_typed_numbers(doses, sign):
    bench = part("b.csv", "inseminations", dose_ul=doses, note=["1,5", "2,5", "3,5"])
    assert habits._decimal([bench]) == sign


def test_prefixes_are_those_of_the_year_or_the_word_that_numbers_lack():
    year, lead = (
        ("prefix", "*", "inseminations", "queen_id"),
        ("lead", "*", "*", "colony_id"),
    )
    known = {"prefixes": {"b.csv": "25-"}, "leads": {"colony_id": {"c.csv": "hive "}}}

    def given(answers, source):
        one = part(source, "inseminations", queen_id=["1"])
        return habits._prefix(proposed(one, answers=answers, **known), source)

    assert given({year: "yes"}, "b.csv") == "25-"
    assert given({year: "no"}, "b.csv") is None
    assert given({year: {"c.csv": "x-"}}, "b.csv") is None
    assert given({year: {"c.csv": "x-"}}, "c.csv") == "x-"
    assert given({lead: "yes"}, "c.csv") == {"colony_id": "hive "}
    assert given({lead: "no"}, "c.csv") is None
    assert given({lead: "yes"}, "b.csv") is None
    both = given({lead: "yes", year: {"c.csv": "x-"}}, "c.csv")
    assert both == {"colony_id": "hive ", "queen_id": "x-"}


def test_the_order_of_a_file_is_the_answer_where_it_was_asked():
    asked = part("c.csv", "checks", checked_on=["1.2.2025"])
    place = ("dates", "c.csv", "checks", "checked_on")
    assert proposed(asked, answers={place: "mdy"}).order_of("c.csv") == "mdy"
    assert proposed(asked).order_of("c.csv") is None
    plain = part("c.csv", "checks", checked_on=["14.2.2025"])
    assert proposed(plain).order_of("c.csv") == "dmy"
