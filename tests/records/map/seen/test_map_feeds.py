"""Which tables a sheet feeds, and from which of its headings each column of ours."""

import pytest
from queen_outcomes.records.map.seen import feeds
from sheets_by_hand import columns_of, sheet

DAY, NEXT = "2025-06-01", "2025-06-09"


def fed(head, *rows, source="sheet.csv", known=(), said=None):
    laid = sheet("\n".join([head, *rows]), source)
    found = feeds.find(laid, frozenset(known), said or {})
    return found, feeds.summary(found)


def queens(row, number=5):
    """So many rows of different queens."""
    return [row.replace("D1", f"D{n}") for n in range(1, number + 1)]


@pytest.mark.parametrize(
    ("head", "row", "source", "expected"),
    [
        (
            "Queen,Date,Eggs",
            f"D1,{DAY},yes",
            "x.csv",
            {
                "checks": {
                    "queen_id": ["Queen"],
                    "checked_on": ["Date"],
                    "eggs": ["Eggs"],
                }
            },
        ),
        # no label, no day, or neither: no record
        ("Date,Eggs", f"{DAY},yes", "x.csv", {}),
        ("Queen,Eggs", "D1,yes", "x.csv", {}),
        # a label and a day of which nothing else is told
        ("Queen,Checked,Weight", f"D1,{DAY},4", "x.csv", {}),
        ("Load,Date,Notes", f"D1,{DAY},ok", "x.csv", {}),
        # a colony's label does for a check alone
        (
            "Hive,Date,Eggs",
            f"D1,{DAY},yes",
            "x.csv",
            {
                "checks": {
                    "colony_id": ["Hive"],
                    "checked_on": ["Date"],
                    "eggs": ["Eggs"],
                }
            },
        ),
        ("Hive,Died,Reason", f"D1,{DAY},dead", "x.csv", {}),
        (
            "Queen,Hive,Introduced",
            f"D1,H1,{DAY}",
            "x.csv",
            {
                "placements": {
                    "queen_id": ["Queen"],
                    "colony_id": ["Hive"],
                    "placed_on": ["Introduced"],
                }
            },
        ),
        (
            "Queen,Died,Reason",
            f"D1,{DAY},dead",
            "x.csv",
            {
                "exits": {
                    "queen_id": ["Queen"],
                    "left_on": ["Died"],
                    "reason": ["Reason"],
                }
            },
        ),
        # "exit" is the day by its heading alone, and how she went by what stands below
        (
            "Queen,Exit date,Exit",
            f"D1,{DAY},sold",
            "x.csv",
            {
                "exits": {
                    "queen_id": ["Queen"],
                    "left_on": ["Exit date"],
                    "reason": ["Exit"],
                }
            },
        ),
        (
            "Königin,Abgang,Abgang am",
            f"D1,verkauft,{DAY}",
            "x.csv",
            {
                "exits": {
                    "queen_id": ["Königin"],
                    "left_on": ["Abgang am"],
                    "reason": ["Abgang"],
                }
            },
        ),
        # the day beside the words of how she went ends more than her stay
        (
            "Reine,Date introduction,Ruchette,Sortie,Date sortie",
            f"D1,{DAY},H1,morte,{NEXT}",
            "x.csv",
            {
                "placements": {
                    "queen_id": ["Reine"],
                    "colony_id": ["Ruchette"],
                    "placed_on": ["Date introduction"],
                },
                "exits": {
                    "queen_id": ["Reine"],
                    "left_on": ["Date sortie"],
                    "reason": ["Sortie"],
                },
            },
        ),
        # the days of both exposures are a list of them, and none the other one
        (
            "Queen,Inseminated,CO2 #1,CO2 #2",
            f"D1,{DAY},{DAY},{NEXT}",
            "x.csv",
            {
                "inseminations": {
                    "queen_id": ["Queen"],
                    "inseminated_at": ["Inseminated"],
                },
                "co2": {"queen_id": ["Queen"], "given_at": ["CO2 #1", "CO2 #2"]},
            },
        ),
        # of headings for all that may be done, those that are filled say what was
        (
            "Queen,Date,Dose (µl),By,Eggs,Queen seen,Larvae",
            f"D1,{DAY},8,Ann,,,",
            "x.csv",
            {
                "inseminations": {
                    "queen_id": ["Queen"],
                    "inseminated_at": ["Date"],
                    "operator": ["By"],
                    "dose_ul": ["Dose (µl)"],
                }
            },
        ),
        # how much semen is the dose, and no load's label
        (
            "Queen,Inseminated,Semen (µl)",
            f"D1,{DAY},8",
            "x.csv",
            {
                "inseminations": {
                    "queen_id": ["Queen"],
                    "inseminated_at": ["Inseminated"],
                    "dose_ul": ["Semen (µl)"],
                }
            },
        ),
        (
            "Queen,Inseminated,Semen",
            f"D1,{DAY},S-8",
            "x.csv",
            {
                "inseminations": {
                    "queen_id": ["Queen"],
                    "inseminated_at": ["Inseminated"],
                    "semen_batch": ["Semen"],
                }
            },
        ),
        (
            "Queen,Date,Laying?",
            f"D1,{DAY},yes",
            "x.csv",
            {
                "checks": {
                    "queen_id": ["Queen"],
                    "checked_on": ["Date"],
                    "eggs": ["Laying?"],
                }
            },
        ),
        # what a file or a sheet is called decides where headings do not; the sheet first
        (
            "Queen,Date",
            f"D1,{DAY}",
            "losses.csv",
            {"exits": {"queen_id": ["Queen"], "left_on": ["Date"]}},
        ),
        (
            "Queen,Date",
            f"D1,{DAY}",
            "old/losses.xlsx#Inseminations",
            {"inseminations": {"queen_id": ["Queen"], "inseminated_at": ["Date"]}},
        ),
        (
            "Queen,Date",
            f"D1,{DAY}",
            "losses/book.xlsx#exits",
            {"exits": {"queen_id": ["Queen"], "left_on": ["Date"]}},
        ),
        # her own facts stand with her insemination, or by themselves where she stands once
        (
            "Queen,Line,Emerged",
            f"D1,Birch,{DAY}",
            "x.csv",
            {
                "queens": {
                    "queen_id": ["Queen"],
                    "line": ["Line"],
                    "emerged_on": ["Emerged"],
                }
            },
        ),
        (
            "Queen,Line,Inseminated,Operator,Dose",
            f"D1,Birch,{DAY},Ada Brun,8",
            "x.csv",
            {
                "queens": {"queen_id": ["Queen"], "line": ["Line"]},
                "inseminations": {
                    "queen_id": ["Queen"],
                    "inseminated_at": ["Inseminated"],
                    "operator": ["Operator"],
                    "dose_ul": ["Dose"],
                },
            },
        ),
        # loads by their own label
        (
            "Load,Collected,Volume",
            f"D1,{DAY},60",
            "x.csv",
            {
                "semen": {
                    "semen_batch": ["Load"],
                    "collected_at": ["Collected"],
                    "volume_ul": ["Volume"],
                }
            },
        ),
        # two tables in one sheet, each its own day
        (
            "Queen,Inseminated,Operator,Dose,Died,Reason",
            f"D1,{DAY},Ada Brun,8,{NEXT},dead",
            "x.csv",
            {
                "inseminations": {
                    "queen_id": ["Queen"],
                    "inseminated_at": ["Inseminated"],
                    "operator": ["Operator"],
                    "dose_ul": ["Dose"],
                },
                "exits": {
                    "queen_id": ["Queen"],
                    "left_on": ["Died"],
                    "reason": ["Reason"],
                },
            },
        ),
        # a day that names no table opens the columns behind it
        (
            "Queen,Date,Operator,Dose,Date,Eggs,Larvae",
            f"D1,{DAY},Ada Brun,8,{NEXT},yes,no",
            "x.csv",
            {
                "inseminations": {
                    "queen_id": ["Queen"],
                    "inseminated_at": ["Date"],
                    "operator": ["Operator"],
                    "dose_ul": ["Dose"],
                },
                "checks": {
                    "queen_id": ["Queen"],
                    "checked_on": ["Date (2)"],
                    "eggs": ["Eggs"],
                    "larvae": ["Larvae"],
                },
            },
        ),
        # and whoever is named behind it did what the day is of
        (
            "Queen,Date,By,Dose,Date,By,Eggs",
            f"D1,{DAY},Ada Brun,8,{NEXT},Milo Katz,yes",
            "x.csv",
            {
                "inseminations": {
                    "queen_id": ["Queen"],
                    "inseminated_at": ["Date"],
                    "operator": ["By"],
                    "dose_ul": ["Dose"],
                },
                "checks": {
                    "queen_id": ["Queen"],
                    "checked_on": ["Date (2)"],
                    "checker": ["By (2)"],
                    "eggs": ["Eggs"],
                },
            },
        ),
        # clocks join the day beside them
        (
            "Queen,Inseminated,Time,Dose",
            f"D1,{DAY},8:15,8",
            "x.csv",
            {
                "inseminations": {
                    "queen_id": ["Queen"],
                    "inseminated_at": ["Inseminated", "Time"],
                    "dose_ul": ["Dose"],
                }
            },
        ),
        # minutes right behind the other exposure are its own, not those further off
        (
            "Queen,Inseminated,Dose,2nd CO2 date,minutes",
            f"D1,{DAY},8,{NEXT},4",
            "x.csv",
            {
                "inseminations": {
                    "queen_id": ["Queen"],
                    "inseminated_at": ["Inseminated"],
                    "dose_ul": ["Dose"],
                    "co2_other_at": ["2nd CO2 date"],
                    "co2_other_minutes": ["minutes"],
                }
            },
        ),
        (
            "Queen,Inseminated,minutes,Dose,2nd CO2 date",
            f"D1,{DAY},4,8,{NEXT}",
            "x.csv",
            {
                "inseminations": {
                    "queen_id": ["Queen"],
                    "inseminated_at": ["Inseminated"],
                    "dose_ul": ["Dose"],
                    "minutes": ["minutes"],
                    "co2_other_at": ["2nd CO2 date"],
                }
            },
        ),
    ],
)
def test_what_a_sheet_feeds(head, row, source, expected):
    assert fed(head, *queens(row), source=source)[1] == expected


def test_queens_that_stand_twice_are_no_list_of_queens():
    rows = [f"D{n % 3},Birch,{DAY},Ada Brun,8" for n in range(6)]
    _, found = fed("Queen,Line,Inseminated,Operator,Dose", *rows)
    assert found.keys() == {"inseminations"}
    assert found["inseminations"]["line"] == ["Line"]


def test_a_slip_among_ten_labels_leaves_a_list_of_queens():
    rows = [f"D{n},Birch,{DAY}" for n in [*range(1, 9), 1, 2]]
    assert fed("Queen,Line,Emerged", *rows)[1].keys() == {"queens"}
    rows = [f"D{n},Birch,{DAY}" for n in [*range(1, 8), 1, 2, 3]]
    assert fed("Queen,Line,Emerged", *rows)[1].keys() == set()


def test_a_column_is_known_by_the_inseminated_queens_in_it():
    rows = [f"{label},{DAY},yes" for label in ("D 1", "D2", "zork", "plonk")]
    assert fed("Zorb,Date,Eggs", *rows)[1] == {}
    _, found = fed("Zorb,Date,Eggs", *rows, known={"d 1", "d2"})
    assert found["checks"]["queen_id"] == ["Zorb"]
    assert fed("Zorb,Date,Eggs", *rows, known={"d2"})[1] == {}
    _, found = fed(
        "Queen,Zorb,Date,Eggs",
        *[f"K{n},{row}" for n, row in enumerate(rows)],
        known={"d 1", "d2"},
    )
    assert found["checks"]["queen_id"] == ["Queen"]


def test_an_empty_sheet_or_one_without_headings_feeds_nothing():
    assert fed("Queen,Date,Eggs") == ([], {})
    assert fed("zork,plonk", "a,b") == ([], {})


def test_slots_with_the_same_columns_share_a_rule():
    head = (
        "Queen,Check 1 date,Check 1 eggs,Check 2 date,Check 2 eggs,Check 3 date,Checker"
    )
    found, _ = fed(head, *queens(f"D1,{DAY},yes,{NEXT},no,{NEXT},Ada Brun"))
    (one,) = found
    assert one.slots == {
        "1": {"checked_on": "Check 1 date", "eggs": "Check 1 eggs"},
        "2": {"checked_on": "Check 2 date", "eggs": "Check 2 eggs"},
    }
    assert {name: use.names for name, use in one.uses.items()} == {
        "queen_id": ["Queen"],
        "checker": ["Checker"],
    }
    assert one.headings("eggs") == ["Check 1 eggs", "Check 2 eggs"]
    assert one.columns == ["queen_id", "checked_on", "checker", "eggs"]


@pytest.mark.parametrize("number", [2, 3, 197])
def test_numbers_in_headings_that_have_no_day_make_no_series(number):
    counted = "".join(f",Frame {n}" for n in range(1, number + 1))
    feed = {"queen_id": ["Queen"], "checked_on": ["Checked"], "eggs": ["Eggs"]}
    cells = "".join(f",{n % 7}" for n in range(number))
    assert fed(f"Queen,Checked,Eggs{counted}", f"D1,{DAY},yes{cells}")[1] == {"checks": feed}


@pytest.mark.parametrize(("number", "fits"), [(63, True), (64, False)])
def test_a_row_may_hold_so_many_looks(number, fits):
    days = [f"2025-{5 + n // 28:02}-{1 + n % 28:02}" for n in range(number)]
    found = feeds.find(sheet(f"Queen,{','.join(days)}\nD1{',eggs' * number}"))
    assert [len(feed.slots) for feed in found] == [number] * fits
    wide = sheet(f"Queen,{','.join(days)}\nD1{',eggs' * number}")
    assert feeds.too_wide(wide) == (0 if fits else number)


def test_days_as_headings_hold_findings():
    (one,), _ = fed(f"Queen,{DAY},{NEXT}", *queens("D1,eggs,Q eggs"))
    assert one.slots == {DAY: {"findings": DAY}, NEXT: {"findings": NEXT}}
    assert one.days == {DAY: DAY, NEXT: NEXT}
    assert fed(f"Line,{DAY},{NEXT}", "Birch,eggs,Q")[0] == []


def test_a_unit_that_is_not_ours_is_kept_with_its_column():
    found, _ = fed("Queen,Inseminated,Dose (ml),Minutes", *queens(f"D1,{DAY},0.008,4"))
    uses = {name: use.unit for name, use in found[0].uses.items()}
    assert (uses["dose_ul"], uses["minutes"], uses["queen_id"]) == ("mL", "", "")
    found, _ = fed("Queen,Inseminated,Dose (ul)", *queens(f"D1,{DAY},8"))
    assert found[0].uses["dose_ul"].unit == ""


def test_what_the_settings_say_of_a_heading_is_kept():
    said = {"checks": {"eggs": " Larvae ", "larvae": "Eggs", "note": "nowhere"}}
    _, told = fed("Queen,Date,Eggs,Larvae", *queens(f"D1,{DAY},yes,no"), said=said)
    assert told["checks"]["eggs"] == ["Larvae"]
    assert told["checks"]["larvae"] == ["Eggs"]
    assert "note" not in told["checks"]
    said = {"checks": {"sealed": "Eggs"}}
    _, told = fed("Queen,Date,Eggs,Larvae", *queens(f"D1,{DAY},yes,no"), said=said)
    assert told["checks"].keys() == {"queen_id", "checked_on", "larvae", "sealed"}
    said = {"checks": {"sealed": "Eggs", "eggs": "Eggs"}}
    _, told = fed("Queen,Date,Eggs", *queens(f"D1,{DAY},yes"), said=said)
    assert told["checks"]["sealed"] == told["checks"]["eggs"] == ["Eggs"]


@pytest.mark.parametrize(
    ("head", "row", "source", "evidence"),
    [
        # a heading of two tables counts half for each, her facts only for the queens
        (
            "Queen,Date,Eggs,Line,Inseminated,Operator",
            f"D1,{DAY},yes,Birch,{NEXT},Ada Brun",
            "x.csv",
            {"queens": 1.0, "inseminations": 1.5, "checks": 1 + 0.85 / 2},
        ),
        (
            "Queen,Check date,Died",
            f"D1,{DAY},{NEXT}",
            "x.csv",
            {"checks": 1.0, "exits": 0.5, "placements": 0.425},
        ),
        # a file's name is worth a heading and a half
        (
            "Queen,Vol,Note",
            "D1,8,abc",
            "losses.csv",
            {"exits": 1.5, "inseminations": 1.0, "semen": 0.5, "checks": 0.5},
        ),
    ],
)
def test_what_speaks_for_a_table(head, row, source, evidence):
    laid = sheet("\n".join([head, *queens(row)]), source)
    found = feeds._Allocation(laid, laid.columns, [], frozenset()).evidence
    assert {table: worth for table, worth in found.items() if worth} == pytest.approx(
        evidence
    )


def test_a_fit_ranks_by_its_worth_and_by_what_the_columns_around_it_speak_of():
    laid = sheet("Queen,Date,Eggs,Zork\nD1,2025-06-01,yes,8")
    ranked = feeds._Allocation(laid, laid.columns, [], frozenset())._ranked
    eggs, zork = 2, 3
    assert ranked("checks", eggs, 0.6, "checks", {eggs: "exits"}) == pytest.approx(0.75)
    assert ranked("checks", eggs, 0.6, "checks", {eggs: "checks"}) == pytest.approx(0.8)
    assert ranked("checks", eggs, 0.6, "exits", {eggs: "checks"}) == pytest.approx(0.65)
    # a heading that says nothing goes with those around it alone
    assert ranked("checks", zork, 0.6, "checks", {zork: "exits"}) == 0.0
    assert ranked("checks", zork, 0.6, "checks", {zork: "checks"}) == pytest.approx(0.75)
    assert ranked("checks", zork, 0.6, "checks", {}) == pytest.approx(0.75)
    assert ranked("checks", zork, 0.6, "exits", {zork: "checks"}) == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("head", "rows", "table", "labelled"),
    [
        ("Load,Volume", ["L1,60", "L1,60"], "semen", True),
        ("Queen,Load,Volume", ["D1,L1,60", "D2,L2,60"], "semen", True),
        # beside queens a load is one of its own where no two rows have the same
        ("Queen,Load,Volume", ["D1,L1,60", "D2,L1,60"], "semen", False),
        ("Queen,Load,Volume", ["D1,L1,60"], "semen", False),
        ("Queen,Volume", ["D1,60", "D2,60"], "semen", False),
        ("Queen,Hive,Introduced", [f"D1,H1,{DAY}"], "placements", True),
        ("Queen,Introduced", [f"D1,{DAY}"], "placements", False),
        ("Hive,Introduced", [f"H1,{DAY}"], "placements", False),
        ("Queen,Line", [f"D{n},Birch" for n in range(10)], "queens", True),
        ("Queen,Line", ["D1,Birch", "D1,Birch", "D2,Olm"], "queens", False),
        ("Hive,Eggs", ["H1,yes"], "checks", True),
        ("Queen,Eggs", ["D1,yes"], "checks", True),
        ("Line,Eggs", ["Birch,yes"], "checks", False),
        ("Queen,Died", [f"D1,{DAY}"], "exits", True),
        ("Hive,Died", [f"H1,{DAY}"], "exits", False),
    ],
)
def test_what_labels_the_rows_of_a_table(head, rows, table, labelled):
    laid = sheet("\n".join([head, *rows]))
    found = feeds._Allocation(laid, laid.columns, [], frozenset())
    assert found._labelled(table) is labelled


def test_a_time_goes_with_the_nearest_day_that_may_have_one():
    head = "Queen,Inseminated,Dose,Died,Time"
    _, told = fed(head, *queens(f"D1,{DAY},8,{NEXT},10:30"))
    assert told["inseminations"]["inseminated_at"] == ["Inseminated", "Time"]
    assert told["exits"]["left_on"] == ["Died"]


def test_words_without_a_name_under_a_look_are_findings():
    columns = columns_of({"1st date": [DAY, NEXT], "1st": ["eggs, Q", "sealed"], "1st larvae": ["yes", "no"]})
    roles = feeds._roles("checks", columns, dated=False)
    assert {name: heading for name, (heading, _) in roles.items()} == {
        "checked_on": "1st date", "findings": "1st", "larvae": "1st larvae",
    }  # fmt: skip
    assert roles["findings"][1] <= 0.5 < roles["checked_on"][1]
    assert feeds._roles("checks", columns[1:], dated=True) == {"findings": ("1st", 0.7)}
    empty = columns_of({"1st date": [DAY], "1st": [""]})
    assert feeds._roles("checks", empty, dated=False).keys() == {"checked_on"}


@pytest.mark.parametrize(
    ("table", "name", "tells"),
    [
        ("checks", "queen_id", False),
        ("semen", "semen_batch", True),
        ("checks", "note", False),
        ("inseminations", "line", False),
        ("queens", "line", True),
        ("inseminations", "dose_ul", True),
    ],
)
def test_a_column_that_says_which_table_it_is_of(table, name, tells):
    assert feeds._tells_of(table, name) is tells


@pytest.mark.parametrize(
    ("source", "tables"),
    [
        ("a/losses.2025.csv", {"exits"}),
        ("losses/x.csv#exits", {"exits"}),
        ("losses/x.csv", set()),
        ("queens.csv#Tabelle1", {"queens"}),
    ],
)
def test_the_tables_that_a_name_speaks_of(source, tables):
    assert feeds._topics(source) == tables


def test_loads_beside_queens_are_loads_where_each_row_has_its_own():
    head = "Queen,Inseminated,Dose,Load,Collected,Volume"
    own = [f"D{n},{DAY},8,L{n},{DAY},60" for n in range(2)]
    assert fed(head, *own)[1].keys() == {"semen", "inseminations"}
    shared = [f"D{n},{DAY},8,L1,{DAY},60" for n in range(2)]
    assert (
        fed(head, *shared)[1].keys() == fed(head, own[0])[1].keys() == {"inseminations"}
    )


@pytest.mark.parametrize(
    ("head", "row", "source", "expected"),
    [
        (
            "Queen,Hive,Introduced,Date,Eggs",
            f"D1,H1,{DAY},{NEXT},yes",
            "x.csv",
            {
                "placements": {
                    "queen_id": ["Queen"],
                    "colony_id": ["Hive"],
                    "placed_on": ["Introduced"],
                },
                "checks": {
                    "queen_id": ["Queen"],
                    "colony_id": ["Hive"],
                    "checked_on": ["Date"],
                    "eggs": ["Eggs"],
                },
            },
        ),
        (
            "Queen,Date,Minutes",
            f"D1,{DAY},4",
            "CO2.csv",
            {
                "co2": {
                    "queen_id": ["Queen"],
                    "given_at": ["Date"],
                    "minutes": ["Minutes"],
                }
            },
        ),
        (
            "Queen,Fate,Fate date",
            f"D1,sold,{DAY}",
            "x.csv",
            {
                "exits": {
                    "queen_id": ["Queen"],
                    "left_on": ["Fate date"],
                    "reason": ["Fate"],
                }
            },
        ),
        (
            "Queen,Sperm,Dissected",
            f"D1,4.5,{DAY}",
            "x.csv",
            {
                "lab": {
                    "queen_id": ["Queen"],
                    "sampled_on": ["Dissected"],
                    "sperm_millions": ["Sperm"],
                }
            },
        ),
    ],
)
def test_what_smaller_sheets_feed(head, row, source, expected):
    assert fed(head, *queens(row), source=source)[1] == expected


def test_doses_above_days_are_their_days():
    day = ["2025-06-01,8,2025-06-03,4", "2025-06-01,9,,"]
    feeds_, _ = fed("Queen,1st dose,µl,2nd dose,µl", *(f"D{n},{row}" for n, row in enumerate(day)))
    (one,) = feeds_
    assert one.slots == {
        "1": {"inseminated_at": "1st dose", "dose_ul": "µl"},
        "2": {"inseminated_at": "2nd dose", "dose_ul": "µl (2)"},
    }
    _, found = fed("Queen,Dose,µl", "D1,16/5,8", "D2,17/5,8")
    assert found["inseminations"]["inseminated_at"] == ["Dose"]
    _, found = fed("Queen,Inseminated,Dose", f"D1,{DAY},8.5", f"D2,{DAY},9.5")
    assert found["inseminations"]["dose_ul"] == ["Dose"]


def test_doses_with_a_day_between_them_are_not_of_one_day():
    rows = queens(f"D1,{DAY},8,{NEXT},4")
    _, found = fed("Queen,Inseminated,Dose,Zorbed,2nd dose", *rows)
    assert found["inseminations"]["dose_ul"] == ["Dose"]
    _, found = fed("Queen,Inseminated,Dose,2nd dose", *queens(f"D1,{DAY},8,4"))
    assert found["inseminations"]["dose_ul"] == ["Dose", "2nd dose"]


def test_exposures_have_no_day_that_nobody_names_beside_doses():
    head = "Queen,Zorbed,1st dose,µl,2nd dose,µl,CO2"
    _, found = fed(head, *queens(f"D1,{DAY},{NEXT},8,{NEXT},4,yes"))
    assert list(found) == ["inseminations"]
    assert found["inseminations"]["inseminated_at"] == ["1st dose", "2nd dose"]


WIDE = "Queen,1st insemination,1st dose,2nd insemination,2nd dose"


def test_who_a_remark_and_the_colony_of_queens_with_several_doses():
    rows = queens(f"D1,{DAY},8,{NEXT},4,Ada,calm,H1")
    listed, found = fed(f"{WIDE},Who,Notes,Hive", *rows)
    assert found["inseminations"]["operator"] == ["Who"]
    assert found["inseminations"]["note"] == ["Notes"]
    # the first of several days is asked about as that of going into the colony
    (stay,) = [feed for feed in listed if feed.table == "placements"]
    assert (stay.uses["placed_on"].names, stay.uses["placed_on"].worth < 0.6) == (["1st insemination"], True)
    # who looked, or who inseminated?
    rows = queens(f"D1,{DAY},8,{NEXT},4,Ada,{NEXT},yes,{NEXT},no")
    _, found = fed(f"{WIDE},Who,Check 1,Eggs 1,Check 2,Eggs 2", *rows)
    assert "operator" not in found["inseminations"]
    rows = queens(f"D1,{DAY},8,{NEXT},4,Ada,Eve")
    _, found = fed(f"{WIDE},Who,By", *rows)
    assert "operator" not in found["inseminations"]


def test_high_figures_under_a_number_of_drones_are_no_line():
    head = "Semen batch,Drones no,Collected"
    (feed,), found = fed(head, f"S1,160,{DAY}", f"S2,120?,{DAY}", f"S3,150,{DAY}")
    assert found["semen"]["drones_handled"] == ["Drones no"]
    assert "drone_line" not in found["semen"]
    assert feed.uses["drones_handled"].worth < 0.6  # it is asked
    for low in ("4", "12", "D160"):
        _, found = fed(head, *(f"S{n},{low},{DAY}" for n in range(3)))
        assert "drones_handled" not in found["semen"]


@pytest.mark.parametrize(
    ("head", "name", "line"),
    [
        # where drones came from, by its hive's number, and how many of them there were
        ("Matka č,Datum inseminace,Dávka", "Trubci z", True),
        ("Matka č,Datum inseminace,Dávka", "Trubci se spermatem ks", False),
        ("Nr matki,Data inseminacji,Dawka", "Trutnie z", True),
        ("Nr matki,Data inseminacji,Dawka", "Trutnie ilość", False),
    ],
)
def test_figures_under_drones_and_a_preposition_are_where_they_came_from(head, name, line):
    _, found = fed(f"{head},{name}", *queens(f"D1,{DAY},8,21"))
    assert (found["inseminations"].get("drone_line") == [name]) == line
