"""What a column or a sheet leaves open: each question from the cells that raise it."""

from dataclasses import replace

import pytest
from queen_outcomes.records.map.asked import asking
from queen_outcomes.records.map.seen.opened import Cell, CellGrid, Row
from queen_outcomes.records.map.seen.sheet import Sheet
from queen_outcomes.records.map.seen.station import Part, Station
from sheets_by_hand import part, sheet, station


def ids(questions):
    return [question.id for question in questions]


@pytest.mark.parametrize(
    ("cells", "asked"),
    [
        (["0.8", "1", "x"], True),
        (["0.8", "1.1"], False),
        (["0", "0"], False),
        (["0.01"], True),
        (["0.8", "0.9 %"], False),
        ([("0.8", "percent"), "0.9"], False),
        (["x"], False),
        # a sign at some of them says what those are, and of the others nothing
        (["55 %", "0.85", "0.9"], True),
        (["55 %", "0.85", "90"], False),
    ],
)
def test_shares_up_to_one_may_be_per_cent(cells, asked):
    looks = part(
        "c.csv", "checks", {"pattern_pct": "Fill"}, pattern_pct=cells, eggs=["0.5"]
    )
    found = asking.percentages(station(looks))
    assert ids(found) == ["percent:c.csv:checks:pattern_pct"] * asked
    if asked:
        assert '"Fill"' in found[0].text


@pytest.mark.parametrize(
    ("cells", "asked"),
    [
        (["1", "4", "5", "3", "4"], True),
        (["2", "8", "10", "0", "7"], True),
        (["4", "4", "4", "4", "4"], False),
        (["1", "4", "5", "3"], False),
        (["1", "4", "5", "3", "4.5"], False),
        (["1", "4", "5", "3", "40"], False),
        (["1", "4", "5", "3", "9" * 400], False),  # beyond what a figure can be
        (["1 %", "4", "5", "3", "4", "5"], False),
    ],
)
def test_small_whole_figures_may_be_scores(cells, asked):
    looks = part("c.csv", "checks", {"pattern_pct": "Pattern"}, pattern_pct=cells)
    found = asking.percentages(station(looks))
    assert [list(question.options) for question in found] == [["score", "percent"]] * asked


def test_the_first_five_shares_are_shown():
    looks = part("c.csv", "checks", pattern_pct=[f"0.{n}" for n in range(1, 8)])
    (asked,) = asking.percentages(station(looks))
    assert asked.evidence == ["all 7 figures are at most 1: 0.1, 0.2, 0.3, 0.4, 0.5"]


def test_blanks_among_ticks_are_asked_about_once_a_rule():
    looks = part(
        "c.csv",
        "checks",
        eggs=["x", "", "✓", "x", ""],
        larvae=["yes", "yes", "", "y", "ok", "ja"],
        sealed=["x", "no", "", "", ""],
        queen_seen=["x"] * 5,
        multiple_eggs=[""] * 5,
        note=["yes", "", "", "", ""],
    )
    again = Part(looks.sheet, looks.feed)
    crossed = ["✗", "", "✓", "", ""]
    other = part("d.csv", "checks", larvae=crossed)
    assert asking.tick_columns(looks) == ["larvae"]
    assert asking.tick_columns(other) == []
    (asked,) = asking.blanks(station(looks, again))
    assert asked.id == "blank:c.csv:checks:*"
    assert asked.evidence == ['"larvae": "yes" 2, "y" 1, "ok" 1; blank 1']


def test_a_heading_that_says_no_elsewhere_needs_no_question():
    ticks = part("c.csv", "checks", {"eggs": "Eggs"}, eggs=["x", ""])
    for heads, cells, asked in (
        ({"eggs": "Eggs"}, ["no"], False),
        ({"eggs": "Eggs seen"}, ["no"], True),
        ({"eggs": "Eggs"}, ["yes"], True),
    ):
        others = part("d.csv", "checks", heads, eggs=cells)
        larvae = part("e.csv", "checks", larvae=["no"])
        assert bool(asking.blanks(station(ticks, others, larvae))) == asked


def with_times(source, table, name, queens, days, times=None):
    """A rule whose day has its clock in a column of its own."""
    columns = {"queen_id": queens, name: days}
    if times is None:
        return part(source, table, **columns)
    made = part(source, table, **columns, minutes=times)
    made.feed.uses[name].names.append("minutes")
    del made.feed.uses["minutes"]
    return made


DAY = "2025-05-14"


@pytest.mark.parametrize(
    ("done", "given", "default"),
    [
        # every insemination has an exposure at its own time, or half of them
        (None, [DAY, DAY], "none"),
        (None, [DAY, "2025-05-13"], "none"),
        (None, ["2025-05-12", "2025-05-13"], "other"),
        # two hours are together, a minute more is not
        (["10:00", "10:00"], ["12:00", "8:00"], "none"),
        (["10:00", "10:00"], ["12:01", "7:59"], "other"),
        (["10:59", "10:59"], ["13:00", "13:00"], "other"),
        (["10:01", "10:01"], ["12:00", "12:00"], "none"),
        (["10:00", "10:00"], ["", ""], "none"),
    ],
)
def test_a_list_of_exposures_may_leave_out_the_inseminations_own(done, given, default):
    queens = ["D1", "D2"]
    bench = with_times(
        "b.csv", "inseminations", "inseminated_at", queens, [DAY] * 2, done
    )
    if done:
        gas = with_times("g.csv", "co2", "given_at", queens, [DAY] * 2, given)
    else:
        gas = with_times("g.csv", "co2", "given_at", ["d 1", "D2"], given)
    found = asking.co2(station(bench, gas))
    assert [q.default for q in found] == ([] if default == "none" else [default])


def test_a_few_exposures_at_the_inseminations_leave_the_list_open():
    queens = [f"D{n}" for n in range(10)]
    bench = part(
        "b.csv", "inseminations", queen_id=[*queens, "Z", ""], inseminated_at=[DAY] * 12
    )
    for own, default in ((0, "other"), (1, "other"), (2, None), (4, None)):
        days = [DAY] * own + ["2025-05-15"] * (10 - own)
        gas = part("g.csv", "co2", queen_id=[*queens, ""], given_at=[*days, DAY])
        (asked,) = asking.co2(station(bench, gas))
        assert asked.default == default
        assert asked.evidence[0].startswith(f"{own} of 10 inseminations")
        assert asked.sources == ("g.csv",)
    assert asking.co2(station(bench)) == []
    unseen = part("g.csv", "co2", queen_id=["Y"], given_at=[DAY])
    assert asking.co2(station(bench, unseen)) == []
    assert asking.co2(station(bench, part("g.csv", "co2", given_at=[DAY]))) == []


def test_struck_and_hidden_rows():
    looks = part("c.csv", "checks", eggs=["yes"] * 9)
    looks.sheet.rows = [
        replace(row, struck=row.line > 3, hidden=row.line < 4)
        for row in looks.sheet.rows
    ]
    struck, hidden = asking.rows_apart(station(looks))
    assert (struck.id, struck.default) == ("struck:c.csv:*:*", None)
    assert struck.evidence == ["rows 4, 5, 6, 7, 8 ..."]
    assert (hidden.id, hidden.default, hidden.evidence) == (
        "hidden:c.csv:*:*",
        "read",
        ["rows 2, 3"],
    )
    assert asking.rows_apart(Station([looks.sheet], [])) == []
    looks.sheet.rows = [
        replace(row, struck=row.line < 7, hidden=False) for row in looks.sheet.rows
    ]
    (struck,) = asking.rows_apart(station(looks))
    assert struck.evidence == ["rows 2, 3, 4, 5, 6"]


@pytest.mark.parametrize(
    ("table", "rows", "asked"),
    [
        ("inseminations", 10, False),
        ("inseminations", 11, True),
        ("exits", 6, False),
        ("exits", 7, True),
        ("checks", 50, False),
    ],
)
def test_more_rows_a_queen_than_a_table_allows(table, rows, asked):
    listed = part("j.csv", table, queen_id=[f"D{n % 5}" for n in range(rows)])
    found = asking.journals(station(listed))
    assert ids(found) == [f"rows:j.csv:{table}:*"] * asked
    if asked:
        assert found[0].evidence == [f"5 queens stand in {rows} rows"]


def painted(source, fills, legend=()):
    """A sheet of so many rows, each of a fill, with lines beside it."""
    looks = part(source, "checks", eggs=[Cell("yes", fill=fill) for fill in fills])
    looks.sheet.passed = [
        Row(90 + n, tuple(Cell(word) for word in line)) for n, line in enumerate(legend)
    ]
    return looks


def test_fills_are_asked_about_unless_nearly_every_row_has_them():
    legend = [("yellow", "= sold"), ("Total", "= 9"), ("seen",)]
    (asked,) = asking.colours(
        station(painted("c.csv", ["#00FF00"] * 8 + [""] * 2, legend))
    )
    assert asked.id == "colours:c.csv:*:*"
    assert asked.evidence == ["#00FF00: 8 rows", "beside the list: yellow = sold"]
    assert asking.colours(station(painted("c.csv", ["#00FF00"] * 9 + [""]))) == []
    assert asking.colours(station(painted("c.csv", [""] * 5))) == []
    assert ids(asking.colours(station(painted("c.csv", ["#00FF00", "", ""])))) == [
        "colours:c.csv:*:*"
    ]
    alone = painted("c.csv", ["#00FF00", ""]).sheet
    assert asking.colours(Station([alone], [])) == []


BENCH = part("b.csv", "inseminations", queen_id=["D1", "D2", "7"])


@pytest.mark.parametrize(
    ("text", "evidence", "default"),
    [
        ("Zorb,Plonk\nred,blue", [], "yes"),
        ("1,2\n3,4", [], "yes"),
        ("Zorb,Plonk\nD 1,blue", ["1 labels of inseminated queens stand in it"], "yes"),
        ("Zorb,Plonk\nD1,D2", ["1 labels of inseminated queens stand in it"], "yes"),
        (
            "Zorb,Plonk\nD1,x\nD2,x",
            ["2 labels of inseminated queens stand in it"],
            None,
        ),
        ("Zorb,Plonk\n7,D1", ["1 labels of inseminated queens stand in it"], "yes"),
        ("Zorb,Plonk\nx,2025-05-14", ["1 days stand in one column"], None),
        ("Zorb,Plonk\n14 May,y\n8.5.,y", [], "yes"),
        (
            "Zorb,Plonk\n2025-05-14,2025-05-15\n2025-05-16,y",
            ["2 days stand in one column"],
            None,
        ),
    ],
)
def test_a_sheet_that_feeds_nothing(text, evidence, default):
    odd = sheet(text, "odd.csv")
    (asked,) = asking.no_records(Station([BENCH.sheet, odd], [BENCH]))
    assert asked.id == "ignore:odd.csv:*:*"
    assert asked.evidence == ["no headings were found", *evidence]
    assert asked.default == default


def test_a_sheets_known_headings_are_told():
    odd = sheet("Queen,Eggs,Larvae\nx,y,z", "odd.csv")
    (asked,) = asking.no_records(Station([odd], []))
    assert asked.evidence == ["headings: Queen, Eggs, Larvae"]


@pytest.mark.parametrize(
    ("source", "default"),
    [
        ("checks 2026.csv", None),
        ("book.xlsx#Exits", None),
        ("lab.xlsx#A", None),
        ("book.xlsx#Checks #2", None),
        ("book #2.xlsx#A", "yes"),
        ("label.csv", "yes"),
    ],
)
def test_what_has_the_name_of_a_table_is_never_left_out_unasked(source, default):
    odd = sheet("Zorb,Plonk\nx,y", source)
    (asked,) = asking.no_records(Station([odd], []))
    assert asked.default == default


def test_a_form_that_nobody_has_filled_in_is_not_asked_about():
    titled = sheet("Spring,,\nQueen,Eggs,Larvae\n,,", "form.csv")
    assert asking.no_records(Station([titled], [])) == []


def test_more_looks_than_a_row_may_hold_are_told():
    days = ",".join(f"2025-{5 + n // 28:02}-{1 + n % 28:02}" for n in range(64))
    odd = sheet(f"Queen,{days}\nD1{',eggs' * 64}", "odd.csv")
    (asked,) = asking.no_records(Station([odd], []))
    assert asked.evidence[-1].startswith("64 looks or doses stand side by side, and a row may hold 63")
    assert asked.default is None


def test_days_as_a_workbook_holds_them_count_as_well():
    grid = CellGrid("odd.xlsx#A", (Row(1, (Cell("x"), Cell("2025-05-14", "date"))),))
    (asked,) = asking.no_records(Station([Sheet(grid)], []))
    assert asked.evidence[1:] == ["1 days stand in one column"]


@pytest.mark.parametrize(
    ("source", "default"),
    [
        ("a.XLS", None),
        ("a #2.csv", None),
        ("a.parquet", None),
        ("a.jpg", "yes"),
        # a table without an ending, and one in a form that nothing reads
        ("2026/bench", None),
        ("checks 2026.pdf", None),
        ("checks/a.jpg", "yes"),
    ],
)
def test_a_file_that_was_not_opened(source, default):
    closed = Sheet(CellGrid(source, problem="it is broken"))
    (asked,) = asking.no_records(Station([closed], []))
    assert (asked.evidence, asked.default) == (["it is broken"], default)


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
    from queen_outcomes.records.map.seen.feeds import Use

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
    found = asking.grafting(emerged(gaps))
    assert ids(found) == ["graft:b.csv:queens:emerged_on"] * asked
    if asked:
        middle = sorted(gaps)[len(gaps) // 2]
        assert f"inseminated {middle} days after" in found[0].evidence[0]


def test_days_that_do_not_stand_beside_each_other_tell_nothing_of_grafting():
    assert asking.grafting(emerged([17, 18], extra=["2025-05-01"])) == []
    alone = part("q.csv", "queens", emerged_on=["2025-05-01"])
    assert asking.grafting(station(alone)) == []


def test_a_word_under_mark_may_say_that_she_is_marked():
    seen = part("q.csv", "queens", mark=["red", "red", "no", "unmarked", "blue", ""])
    (asked,) = asking.marks(station(seen))
    assert (asked.id, asked.default) == ("filled:q.csv:queens:marked", "yes")
    assert asked.evidence == ["5 have one: red, blue", "not marked: no, unmarked"]
    (asked,) = asking.marks(station(part("q.csv", "queens", mark=list("abcghi"))))
    assert asked.evidence == ["6 have one: a, b, c, g, h"]
    assert asking.marks(station(part("q.csv", "queens", mark=["no"]))) == []
    both = part("q.csv", "queens", mark=["red"], marked=["yes"])
    assert asking.marks(station(both)) == []
    assert asking.marks(station(part("q.csv", "queens", line=["Birch"]))) == []


@pytest.mark.parametrize(
    ("cells", "unit"),
    [
        (["41", "59"], "F"),
        (["40", "59"], ""),
        (["41", "12 °C"], "F"),
        (["41 °C"], ""),
        (["cold"], ""),
    ],
)
def test_degrees_that_can_only_be_fahrenheit(cells, unit):
    loads = part("s.csv", "semen", storage_c=cells)
    asking.fahrenheit(station(loads))
    assert loads.feed.uses["storage_c"].unit == unit


def test_a_unit_that_the_heading_names_is_kept():
    loads = part("s.csv", "semen", storage_c=["59"])
    loads.feed.uses["storage_c"].unit = "C"
    asking.fahrenheit(station(loads))
    assert loads.feed.uses["storage_c"].unit == "C"


def unsure(name, heading, cells, worth=1.0, table="checks"):
    looks = part("c.csv", table, {name: heading}, **{name: cells})
    looks.feed.uses[name].worth = worth
    return [(q.id, q.default, q.evidence) for q in asking.unsure(station(looks))]


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


def test_rows_that_call_themselves_void():
    text = "Queen,Date,Eggs,Note\n" + "".join(
        f"{queen},2025-06-1{n},yes,{note}\n"
        for n, (queen, note) in enumerate(
            [("D1", ""), ("D2", "void"), ("D3", "x"), ("D3", "void")]
        )
    )
    laid = sheet(text, "c.csv")
    looks = part("c.csv", "checks", eggs=["yes"])
    seen = Station(
        [laid, sheet("Queen,Eggs\nD1,yes", "d.csv")], [Part(laid, looks.feed)]
    )
    (asked,) = asking.void(seen)
    assert (asked.id, asked.evidence) == ("void:c.csv:*:*", ['"D2": "void"'])
    assert asking.void(Station([laid], [])) == []


@pytest.mark.parametrize(
    ("done", "given", "asked"),
    [
        (["6/1/24", "6/13/2024"], ["June 1, 2024", "2024-06-13"], False),
        (["2024-06-01", '"'], ["2024-06-01", "2024-06-01"], False),
        (["2024-06-01 10:00"] * 2, ["2024-06-01 18:00"] * 2, True),
        (["2024-06-01"] * 2, ["2024-06-02"] * 2, True),
    ],
)
def test_exposures_at_the_inseminations_own_time_however_days_are_written(
    done, given, asked
):
    bench = part("b.csv", "inseminations", queen_id=["D1", "D2"], inseminated_at=done)
    gas = part("c.csv", "co2", queen_id=["D1", "D2"], given_at=given)
    assert ids(asking.co2(station(bench, gas))) == ["co2:*:co2:given_at"] * asked


def test_fates_of_some_queens_make_no_diary_of_their_sheet():
    queens = [f"D{n}" for n in range(10)]
    fates = ["drone layer", "sold", "gone", *[""] * 7]
    looks = part("d.csv", "checks", queen_id=queens, fate=fates, eggs=["yes"])
    del looks.feed.uses["fate"]
    assert asking.journals(station(looks)) == []


def test_a_sheet_that_feeds_a_table_twice_is_asked_about_once():
    listed = part("j.csv", "inseminations", queen_id=["D1"] * 3 + ["D2"] * 3)
    found = asking.journals(station(listed, listed))
    assert ids(found) == ["rows:j.csv:inseminations:*"]


@pytest.mark.parametrize(
    ("deeds", "asked"),
    [
        (["inseminated", "CO2", "introduced", "check", "check", "sold"], True),
        (["unasienianie", "poddanie", "przegląd", "przegląd", "padła"], True),
        (["check", "inspection", "check", "visit"], False),
        (["check", "gentle", "angry", "inseminated", "gentle"], False),
        (["check"] * 4, False),
    ],
)
def test_a_diary_of_all_that_was_done_is_no_list_of_looks(deeds, asked):
    queens = ["D1", "D2"] * 3
    looks = part(
        "d.csv", "checks", queen_id=queens[: len(deeds)], done=deeds, eggs=["yes"]
    )
    del looks.feed.uses["done"]
    found = asking.journals(station(looks))
    assert ids(found) == ["rows:d.csv:checks:*"] * asked
    if asked:
        assert found[0].evidence[1].startswith('"done" says "')
        assert "`only` for each thing done" in found[0].options["no"]
