"""Wide sheets: which columns belong to the first look or dose, which to the next."""

import pytest
from queen_outcomes.records.map.seen import slots
from sheets_by_hand import sheet

DAY, NEXT = "2025-06-01", "2025-06-09"


def series(head, row):
    found = slots.find(sheet(head + "\n" + "\n".join([row] * 3)))
    return {
        one.table: {
            slot: [c.name for c in columns] for slot, columns in one.slots.items()
        }
        for one in found
    }


@pytest.mark.parametrize(
    ("head", "row", "expected"),
    [
        ("Queen,Date,Eggs", f"D1,{DAY},yes", {}),
        # numbers in the headings
        (
            "Queen,Check 1 date,Check 1 eggs,Check 2 date,Check 2 eggs",
            f"D1,{DAY},yes,{NEXT},no",
            {
                "checks": {
                    "1": ["Check 1 date", "Check 1 eggs"],
                    "2": ["Check 2 date", "Check 2 eggs"],
                }
            },
        ),
        # one number alone is no series
        ("Queen,Date,Check 1 eggs", f"D1,{DAY},yes", {}),
        # what a number is of is told by its topic, or by its neighbours of that number
        (
            "Queen,Dose 1,Inseminated 1,Dose 2,Inseminated 2",
            f"D1,8,{DAY},8,{NEXT}",
            {
                "inseminations": {
                    "1": ["Dose 1", "Inseminated 1"],
                    "2": ["Dose 2", "Inseminated 2"],
                }
            },
        ),
        (
            "Queen,Check 1,Eggs 1,Check 2,Eggs 2,Dose 1,Dose 2",
            f"D1,{DAY},yes,{NEXT},no,8,6",
            {
                "checks": {"1": ["Check 1", "Eggs 1"], "2": ["Check 2", "Eggs 2"]},
                "inseminations": {"1": ["Dose 1"], "2": ["Dose 2"]},
            },
        ),
        # unnumbered headings that repeat go with the number they stand beside
        (
            "Queen,Check 1,Eggs,Check 2,Eggs",
            f"D1,{DAY},yes,{NEXT},no",
            {"checks": {"1": ["Check 1", "Eggs"], "2": ["Check 2", "Eggs (2)"]}},
        ),
        (
            "Queen,Eggs,Check 1,Eggs,Check 2",
            f"D1,yes,{DAY},no,{NEXT}",
            {"checks": {"1": ["Eggs", "Check 1"], "2": ["Eggs (2)", "Check 2"]}},
        ),
        # the first of a kind says no number; what it alone was asked is its own
        (
            "Queen,Check,Eggs,Brood,2nd check,Brood",
            f"D1,{DAY},yes,sealed,{NEXT},open",
            {"checks": {"1": ["Check", "Eggs", "Brood"], "2": ["2nd check", "Brood (2)"]}},
        ),
        (
            "Queen,Check,Eggs,2nd check,Larvae,Line",
            f"D1,{DAY},yes,{NEXT},no,A",
            {"checks": {"1": ["Check", "Eggs"], "2": ["2nd check", "Larvae"]}},
        ),
        (
            "Queen,Check,2nd check,Larvae",
            f"D1,{DAY},{NEXT},no",
            {"checks": {"1": ["Check"], "2": ["2nd check"]}},
        ),
        (
            "Queen,Inseminated,Dose,2nd inseminated,2nd dose",
            f"D1,{DAY},8,{NEXT},4",
            {
                "inseminations": {
                    "1": ["Inseminated", "Dose"],
                    "2": ["2nd inseminated", "2nd dose"],
                }
            },
        ),
        # a number behind it, or another kind of thing below it, makes no first
        ("Queen,2nd check,Check", f"D1,{DAY},{NEXT}", {}),
        ("Queen,Check,2nd check", f"D1,ok,{NEXT}", {}),
        ("Queen,CO2,2nd CO2", f"D1,{DAY},{NEXT}", {}),
        # the exposures are a series where both days stand there; "2nd CO2" is no look
        (
            "Queen,Inseminated,1st CO2,2nd CO2",
            f"D1,{DAY},{DAY},{NEXT}",
            {"co2": {"1": ["1st CO2"], "2": ["2nd CO2"]}},
        ),
        (
            "Queen,Inseminated,CO2 #1,CO2 #2",
            f"D1,{DAY},{DAY},{NEXT}",
            {"co2": {"1": ["CO2 #1"], "2": ["CO2 #2"]}},
        ),
        ("Queen,Inseminated,1st CO2,2nd CO2", f"D1,{DAY},yes,{NEXT}", {}),
        (
            "Queen,Insemination 2nd CO2,1st check date,2nd check date,2nd check eggs",
            f"D1,{DAY},{DAY},{NEXT},yes",
            {
                "checks": {
                    "1": ["1st check date"],
                    "2": ["2nd check date", "2nd check eggs"],
                }
            },
        ),
        # whole groups that come again
        (
            "Queen,Date,Eggs,Date,Eggs",
            f"D1,{DAY},yes,{NEXT},no",
            {"checks": {"1": ["Date", "Eggs"], "2": ["Date (2)", "Eggs (2)"]}},
        ),
        (
            "Queen,Date,Eggs,Date,Eggs,Date,Eggs,Note,Note",
            f"D1,{DAY},yes,{NEXT},no,{NEXT},no,x,y",
            {
                "checks": {
                    "1": ["Date", "Eggs"],
                    "2": ["Date (2)", "Eggs (2)"],
                    "3": ["Date (3)", "Eggs (3)"],
                }
            },
        ),
        ("Queen,Eggs,Eggs,Larvae", "D1,yes,no,no", {}),
        ("Queen,Line,Colour,Line,Colour", "D1,a,b,c,d", {}),
        # days that stand as headings
        (
            f"Queen,{DAY},{NEXT}",
            "D1,eggs,Q",
            {"checks": {DAY: [DAY], NEXT: [NEXT]}},
        ),
    ],
)
def test_the_series_of_a_wide_sheet(head, row, expected):
    assert series(head, row) == expected


def test_a_day_as_a_heading_is_the_day_of_its_look():
    (one,) = slots.find(sheet(f"Queen,{DAY},{NEXT},{DAY}\nD1,eggs,Q,x"))
    assert one.days == {DAY: DAY, NEXT: NEXT, f"{DAY} (2)": f"{DAY} (2)"}


def test_what_stands_beside_a_number_stands_no_farther_than_numbers_do():
    assert slots._widest([3]) == 2
    assert slots._widest([1, 4, 6]) == 4
