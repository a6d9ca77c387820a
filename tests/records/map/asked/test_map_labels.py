"""Spellings that are one, numbers that start again, and sheets that stand twice."""

import unicodedata
from collections import Counter

import pytest
from queen_outcomes.base.store import Store
from queen_outcomes.records.map.asked import labels
from sheets_by_hand import part, station


def restarts(seen):
    """Give what is asked of queens' numbers that start again, and the years put before them."""
    questions, found = labels.yearly(seen, "queen_id")
    return questions, found.prefixes


@pytest.mark.parametrize(
    ("label", "key"),
    [
        ("D 007-a", "d7a"),
        ("25-014", "2514"),
        ("1/25", "125"),
        ("k_0.10", "k_0.10"),
        ("100", "100"),
        ("A00", "a0"),
        ("Ⅳ", "iv"),
    ],
)
def test_a_labels_key_is_what_the_reader_takes_spellings_for_one_by(label, key):
    assert labels.key_of(label) == key
    with Store() as store:  # which puts labels into this form before
        ((folded,),) = store.rows(
            "SELECT fold_id($label)", {"label": unicodedata.normalize("NFKC", label)}
        )
    assert folded == key


def test_spellings_that_find_their_home_only_folded_are_asked_about():
    bench = part("b.csv", "inseminations", queen_id=["D1", "D2", "d-2", "D3"])
    looks = part("c.csv", "checks", queen_id=["d 1", "d 1", "D-3", "D2", "Z9"])
    (asked,) = labels.spellings(station(bench, looks))
    assert (asked.id, asked.default) == ("fold:*:*:queen_id", "yes")
    assert asked.evidence == [
        "3 rows would find their inseminations only so",
        '"D-3" is "D3"',
        '"d 1" is "D1"',
        "1 labels of inseminations differ only so and stay apart",
    ]
    spelt = part("c.csv", "checks", queen_id=["D1", "Z9"])
    assert labels.spellings(station(bench, spelt)) == []
    assert labels.spellings(station(looks)) == []


def test_bare_numbers_beside_numbers_that_a_word_leads():
    moves = part("m.csv", "placements", colony_id=["hive 1", "hive 2", "hive 30"])
    looks = part("c.csv", "checks", colony_id=["30", "2", "2"])
    (asked,), prefixes = labels.leads(station(moves, looks))
    assert prefixes == {"colony_id": {"c.csv": "hive "}}
    assert (asked.id, asked.sources) == ("lead:*:*:colony_id", ("c.csv",))
    assert asked.text == 'Is colony_id "2" the same as "hive 2"?'
    assert asked.evidence == ["2 of 2 bare numbers stand so elsewhere"]


def test_labels_of_a_number_and_a_year_may_lack_a_word_too():
    bench = part("b.csv", "inseminations", queen_id=[f"25-0{n}" for n in range(10, 30)])
    looks = part("c.csv", "checks", queen_id=[f"Q25-{n}" for n in (*range(10, 29), 99)])
    (asked,), prefixes = labels.leads(station(bench, looks))
    assert prefixes == {"queen_id": {"b.csv": "Q"}}
    assert asked.text == 'Is queen_id "25-010" the same as "Q25-010"?'
    assert labels.led_in_several_ways(station(bench, looks), "queen_id")
    alike = part("c.csv", "checks", queen_id=[f"Q25-0{n}" for n in range(10, 30)])
    assert not labels.led_in_several_ways(station(bench, alike), "queen_id")


def test_a_few_with_a_word_that_says_number_are_the_numbers_that_it_stands_before():
    bench = part("b.csv", "inseminations", queen_id=[f"{n}/25" for n in range(1, 30)])
    looks = part("c.csv", "checks", queen_id=["nr 3/25", "nr. 4/25", "5/25"])
    (asked,), prefixes = labels.leads(station(bench, looks))
    assert prefixes == {"queen_id": {"b.csv": "nr ", "c.csv": "nr "}}
    assert asked.evidence == ["2 of 2 with it stand without it elsewhere"]
    # a letter before a few numbers may be others' labels, and a number nobody else has is
    lettered = part("c.csv", "checks", queen_id=["K3/25", "K4/25"])
    others = part("c.csv", "checks", queen_id=["nr 3/24", "nr 4/24"])
    assert labels.leads(station(bench, lettered)) == ([], {})
    assert labels.leads(station(bench, others)) == ([], {})


def test_numbers_of_labels_that_have_a_word_and_a_year_around_them():
    bench = part("b.csv", "inseminations", queen_id=[f"E-{n:02}-26" for n in range(1, 40)])
    looks = part("c.csv", "checks", queen_id=[str(n) for n in range(3, 20)])
    (asked,), prefixes = labels.leads(station(bench, looks))
    assert prefixes == {"queen_id": {"c.csv": "E-{}-26"}}
    assert asked.text == 'Is queen_id "3" the same as "E-03-26"?'
    strange = part("c.csv", "checks", queen_id=[str(n) for n in range(30, 50)])
    assert labels.leads(station(bench, strange)) == ([], {})  # some that nobody has
    years = [f"E-{n:02}-{year}" for n in range(1, 20) for year in (25, 26)]
    both = part("b.csv", "inseminations", queen_id=years)
    assert labels.leads(station(both, looks)) == ([], {})  # of which year?


@pytest.mark.parametrize(
    ("moved", "looked"),
    [
        (["hive 1", "nuc 2"], ["1", "2"]),  # two words
        (["hive 1", "hive 2"], ["1", "2", "3"]),  # a number nobody leads
        (["hive 1", "hive 2"], ["hive 1"]),  # no bare number
        (["1", "2"], ["1", "2"]),  # none is led
        (["hive 1", "hive 2"], ["1", "K"]),  # not bare numbers alone
    ],
)
def test_numbers_that_need_no_word(moved, looked):
    moves = part("m.csv", "placements", colony_id=moved)
    looks = part("c.csv", "checks", colony_id=looked)
    assert labels.leads(station(moves, looks)) == ([], {})


def test_nine_in_ten_bare_numbers_suffice():
    moves = part("m.csv", "placements", colony_id=[f"hive {n}" for n in range(1, 10)])
    looks = part("c.csv", "checks", colony_id=[str(n) for n in range(1, 11)])
    assert labels.leads(station(moves, looks))[1] == {"colony_id": {"c.csv": "hive "}}


@pytest.mark.parametrize(
    ("counts", "groups"),
    [
        # one person: case, dots, initials, a part left out, a slip of the pen
        (
            {"Ada Brun": 1, "ada brun": 5, "A. Brun": 1},
            {"Ada Brun": ["A. Brun", "ada brun"]},
        ),
        ({"Ada Brun": 1, "AB": 3}, {"Ada Brun": ["AB"]}),
        ({"Ada Brun": 1, "Brun": 3}, {"Ada Brun": ["Brun"]}),
        ({"Ada Brun": 1, "Ada": 3}, {"Ada Brun": ["Ada"]}),
        ({"Mi A": 2, "mia": 1}, {"mia": ["Mi A"]}),
        ({"Anna Kerner": 2, "Anna Kermer": 1}, {"Anna Kerner": ["Anna Kermer"]}),
        ({"Ada Brun": 2, "AdaBrun": 1}, {"Ada Brun": ["AdaBrun"]}),
        ({"Brun": 2, "Br": 1}, {"Brun": ["Br"]}),
        ({"Brun": 2, "B": 1}, {"Brun": ["B"]}),
        ({"ADA BRUN": 9, "Ada Brun": 1}, {"Ada Brun": ["ADA BRUN"]}),
        ({"Ada": 2, "ada": 2}, {"Ada": ["ada"]}),
        ({"Ada B": 2, "Ada Brun": 1}, {"Ada Brun": ["Ada B"]}),
        # two persons
        ({"Ada Brun": 1, "Milo Katz": 1}, {}),
        ({"Ada Brun": 1, "A": 1}, {}),
        ({"Ada Brun": 1, "Ad Brun": 1}, {"Ada Brun": ["Ad Brun"]}),
        ({"Ada Brun": 1, "Ada Kern": 1}, {}),
        ({"Ada Brun": 1, "Bo": 1}, {}),
        ({"Ada Brun": 1, "Ada Brum": 1}, {}),  # seven letters of eight
        ({"Bo Ad": 1, "Ad": 1}, {}),
        ({"Annelie Bolt": 1, "An Bolt": 1}, {}),
        ({"Brun": 2, "Bru": 1}, {}),
        ({"Br": 2, "B": 1}, {}),
        ({"Brun": 2, "ru": 1}, {}),
        ({"Mia": 2, "Mias": 1}, {}),
        ({"...": 2, "Ada": 1}, {}),
        # initials of two are nobody's in particular
        ({"Ada Brun": 1, "Anna Bolt": 1, "AB": 4}, {}),
    ],
)
def test_spellings_of_people(counts, groups):
    assert labels.grouped(Counter(counts)) == groups


def test_people_are_operators_checkers_and_initials_beside_ticks():
    bench = part("b.csv", "inseminations", operator=["Ada Brun", "AB", "Milo Katz"])
    looks = part("c.csv", "checks", checker=["Ada Brun"], eggs=["x AB", "✓ AB", "x"])
    seen = station(bench, looks)
    groups, counts = labels.people(seen)
    assert counts == {"Ada Brun": 2, "AB": 3, "Milo Katz": 1}
    assert groups == {"Ada Brun": ["AB"]}
    (asked,) = labels.ask_people(seen)
    assert (asked.id, asked.evidence) == ("same:*:*:operator", ["Ada Brun (2): AB (3)"])
    assert labels.ask_people(station(looks)) != []
    assert (
        labels.ask_people(station(part("b.csv", "inseminations", operator=["Ada"])))
        == []
    )


def bench_of(source, queens, days):
    return part(source, "inseminations", queen_id=queens, inseminated_at=days)


def test_numbers_that_stand_in_sheets_of_two_years():
    seen = station(
        bench_of(
            "one.csv",
            ["7", "8", "9", "5", ""],
            ["2024-05-14", "14.5.24", "2024-05-16", "14.5.25", "2024-05-16"],
        ),
        bench_of(
            "two.csv",
            ["7", "9", "8", "5", ""],
            ["2025-05-14", "2025-05-14", "1.5.25 9:00", "2025-05-01", "2025-05-01"],
        ),
        part("list 2023 and 2026.csv", "queens", queen_id=["7"]),
        part("list.csv", "queens", queen_id=["7"]),
        part(
            "looks.csv",
            "checks",
            queen_id=["7", "7"],
            checked_on=["2025-06-01", "2024-06-01"],
        ),
    )
    (asked,), prefixes = restarts(seen)
    assert prefixes == {
        "one.csv": "24-",
        "two.csv": "25-",
        "list 2023 and 2026.csv": "26-",
        "looks.csv": "24-",
    }
    assert (asked.id, asked.default) == ("prefix:*:inseminations:queen_id", None)
    assert asked.text.endswith("3 numbers stand in sheets of two years.")
    assert asked.evidence[0] == "first inseminated in two years: 7, 8, 9"


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (["2024-05-14"], ["2024-05-15"]),  # one year
        (["2024-05-14"], None),  # one sheet
        # a second dose in the next year's sheet, of a queen that both sheets have in 2024
        (["2024-12-30"], ["2024-12-31", "2025-01-02"]),
    ],
)
def test_a_number_of_one_year_does_not_start_again(first, second):
    parts = [bench_of("one.csv", ["7"] * len(first), first)]
    if second:
        parts.append(bench_of("two.csv", ["7"] * len(second), second))
    assert restarts(station(*parts)) == ([], {})


def test_days_without_a_year_are_of_the_sheets_year():
    parts = [bench_of(f"{y}.csv", list("123"), ["3.6.", '"', ""]) for y in (2024, 2025)]
    (asked,), prefixes = restarts(station(*parts))
    assert prefixes == {"2024.csv": "24-", "2025.csv": "25-"}
    assert asked.evidence[0] == "first inseminated in two years: 1, 2, 3"


def test_labels_that_begin_with_the_year_get_none_and_say_how_it_is_written():
    parts = [bench_of(f"{y}.csv", ["101", "102"], [f"{y}-06-03"] * 2) for y in (2024, 2025)]
    gone = part("sold.csv", "exits", queen_id=["24/101", "25/101"], left_on=["2025-08-01"] * 2)
    (asked,), prefixes = restarts(station(*parts, gone))
    assert prefixes == {"2024.csv": "24/", "2025.csv": "25/"}
    assert asked.evidence[-1] == "sold.csv: the year stands there"


def test_grafts_and_loads_may_start_again_too():
    parts = [
        part(
            f"{year}.csv",
            "inseminations",
            queen_id=[f"{year}-1", f"{year}-2"],
            inseminated_at=[f"{year}-06-03"] * 2,
            semen_batch=["A", "B"],
            graft_batch=["G1", "G1"],
        )
        for year in (2024, 2025)
    ]
    assert restarts(station(*parts)) == ([], {})
    for column, told in (("semen_batch", "A, B"), ("graft_batch", "G1")):
        (asked,), found = labels.yearly(station(*parts), column)
        assert (asked.id, asked.default) == (f"prefix:*:inseminations:{column}", None)
        assert asked.evidence[0] == f"they stand in two years: {told}"
        assert found.prefixes == {"2024.csv": "24-", "2025.csv": "25-"}
        assert labels.yearly(station(parts[0]), column)[0] == []


def test_more_than_four_numbers_are_told_short():
    years = ("2024-05-14", "2025-05-14")
    parts = [bench_of(f"{day}.csv", list("12345"), [day] * 5) for day in years]
    (asked,), _ = restarts(station(*parts))
    assert asked.evidence[0] == "first inseminated in two years: 1, 2, 3, 4 ..."


def test_the_year_of_a_sheet_is_that_of_most_of_its_days():
    own = bench_of("b.csv", ["1", "2", "3"], ["2025-01-02", "2024-05-01", "2024-05-02"])
    assert labels._year_of(own, station(own)) == 2024
    seen = part("c.csv", "checks", checked_on=["2025-01-02", "2024-05-01"])
    assert labels._year_of(seen, station(seen)) == 2024
    bare = part("c.csv", "checks", queen_id=["1"])
    assert labels._year_of(bare, station(bare)) is None


@pytest.mark.parametrize(
    ("full", "short", "is_short"),
    [
        ("ada brun", "a b", True),
        ("ada brun", "ab", True),
        ("ada lu brun", "alb", True),
        ("ada brun", "ba", False),
        ("ada brun", "b a", False),
        ("ada brun", "ada", True),
        ("ada brun", "brun", True),
        ("ada brun", "ad", False),
        ("ada brun", "a", False),
        ("ada brun", "a brun", True),
        ("ada brun", "ada b", True),
        ("ada brun", "ad brun", False),
        ("ada brun", "a c", False),
        ("ada", "a", True),
        ("ada", "ad", True),
        ("ada", "da", False),
        ("ada", "ada", False),
        ("ad", "ad", False),
    ],
)
def test_a_name_is_shortened_to_initials_or_by_a_part(full, short, is_short):
    assert labels._shortened(tuple(full.split()), tuple(short.split())) is is_short


def of_year(year, table="inseminations", labels_of=("I", "II"), column="graft_batch"):
    day = {"inseminations": "inseminated_at", "queens": "emerged_on", "semen": "collected_at"}
    days = [f"{n}.6.{year}" for n, _ in enumerate(labels_of, 13)]
    columns = {column: list(labels_of), day[table]: days}
    return part(f"{table} {year}.csv", table, **columns)


@pytest.mark.parametrize(
    ("parts", "asked"),
    [
        ([of_year(2025), of_year(2026)], True),
        ([of_year(2025), of_year(2026, labels_of=("III", "IV"))], False),
        ([of_year(2025), of_year(2025, "queens")], False),
        # a load that is used in the next year is one load, listed once
        (
            [
                of_year(2025, "semen", column="semen_batch"),
                of_year(2026, column="semen_batch"),
            ],
            False,
        ),
    ],
)
@pytest.mark.parametrize("default", [None, "yes"])
def test_batches_of_one_label_in_two_years_are_asked_about(parts, asked, default):
    found, prefixes = labels.batches_again(station(*parts), default is not None)
    assert bool(found) is asked
    if asked:
        assert found[0].id == "prefix:*:inseminations:graft_batch"
        assert found[0].default == default
        assert prefixes["graft_batch"] == {
            "inseminations 2025.csv": "25-",
            "inseminations 2026.csv": "26-",
        }


def test_batches_in_a_sheet_of_several_years_stay_as_they_are():
    several = part(
        "queens.csv",
        "queens",
        graft_batch=["I", "I"],
        emerged_on=["13.6.2025", "13.6.2026"],
    )
    found = labels.batches_again(station(of_year(2025), of_year(2026), several), True)
    assert found == ([], {})
