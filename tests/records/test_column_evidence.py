"""What whole columns say against the settings, and what they leave open."""

import datetime as dt
import tomllib

import pytest
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.base.store import Store
from queen_outcomes.build import steps
from queen_outcomes.facts.settings import parse
from queen_outcomes.records import evidence
from queen_outcomes.records.staging import stage_records
from reading import folder

DAYS = [dt.date(2025, 5, 1) + dt.timedelta(days=3 * n) for n in range(20)]


def lines(heading, cells):
    rows = [f"Q{n}\t{cell}" for n, cell in enumerate(cells)]
    return "\n".join([heading, *rows]) + "\n"


def looked(path, content, settings=None, **others):
    """Stage a table of checks; give what contradicts the settings and what is open."""
    reading = parse(settings or {})
    with Store() as store:
        records = folder(path, checks__csv=content, **others)
        staged = stage_records(store, records, reading)
        held = store, staged.sources, reading.reading
        orders = evidence.OrdersSeen(*held)
        return evidence.unread_columns(orders), evidence.open_questions(orders)


def test_an_order_that_the_data_contradict_is_told_with_the_one_that_fits(tmp_path):
    content = lines("queen_id\tchecked_on", [f"{day:%m/%d/%Y}" for day in DAYS])
    wrong = sum(day.day > 12 for day in DAYS)
    (column,), _ = looked(tmp_path, content, {"dates": {"order": "dmy"}})
    assert 5 * wrong > len(DAYS)
    assert (column.filled, column.unread) == (len(DAYS), wrong)
    assert column.says == (
        f"{wrong} of {len(DAYS)} dates cannot be day-month-year; "
        f"all {len(DAYS)} fit month-day-year"
    )
    assert column.settings[0] == '[files."checks.csv"]\ndates = "mdy"'
    assert column.contradicts


def test_the_setting_that_is_named_makes_the_column_readable(tmp_path):
    content = lines("queen_id\tchecked_on", [f"{day:%m/%d/%Y}" for day in DAYS])
    settings = {"files": {"checks.csv": {"dates": "mdy"}}}
    assert looked(tmp_path, content, settings)[0] == []


def test_slips_of_the_pen_contradict_nothing(tmp_path):
    cells = [f"{day:%d.%m.%Y}" for day in DAYS]
    cells[3], cells[7] = "soon", "99.99.2025"
    (column,), _ = looked(
        tmp_path, lines("queen_id\tchecked_on", cells), {"dates": {"order": "dmy"}}
    )
    assert column.unread == 2
    assert not column.contradicts


def test_a_wrong_decimal_sign_is_told(tmp_path):
    content = lines(
        "queen_id\tchecked_on\tpattern_pct",
        [f"{d}\t8{n},5" for n, d in enumerate(DAYS[:9])],
    )
    (column,), _ = looked(tmp_path, content)
    assert column.unread == 9
    assert column.settings[0] == '[files."checks.csv"]\ndecimal = ","'


@pytest.mark.parametrize("refuses", [True, False])
def test_a_contradicted_column_stops_a_build_and_no_look(tmp_path, refuses):
    content = lines("queen_id\tchecked_on", [f"{day:%m/%d/%Y}" for day in DAYS])
    records = folder(tmp_path, checks__csv=content)
    settings = parse({"dates": {"order": "dmy"}})
    with Store() as store:
        work = steps.Work(store, records, tmp_path, settings, DAYS[-1], looking=not refuses)
        if refuses:
            with pytest.raises(RecordsError, match="cannot be read as") as caught:
                steps._read(work)
            assert 'dates = "mdy"' in caught.value.text()
        else:
            steps._read(work)
            assert any("month-day-year" in column.says for column in work.unread)


def kinds(questions):
    return [(question.kind, question.used.name) for question in questions]


def test_dates_that_fit_both_ways_are_open(tmp_path):
    cells = [f"{n}/{n + 1}/2025" for n in range(1, 9)]
    content = lines("queen_id\tchecked_on", cells)
    _, questions = looked(tmp_path, content, {"dates": {"order": "dmy"}})
    assert ("date_order", "checked_on") in kinds(questions)


@pytest.mark.parametrize(("first", "is_open"), [("24.6.2025", False), ("4.6.2025", True)])
def test_the_other_records_of_a_row_show_the_order_of_their_day_too(tmp_path, first, is_open):
    """A list of which some rows alone name a second queen, on days that fit both ways."""
    content = f"day;queens\n{first};Q1\n5.6.2025;Q2, Q3\n"
    read = {
        "from": "sold.csv",
        "table": "exits",
        "each": ["1 of 2", "2 of 2"],
        "columns": {"queen_id": "queens ({})", "left_on": "day", "reason": {"value": "sold"}},
    }
    settings = {
        "dates": {"order": "dmy"},
        "read": [read],
        "files": {"sold.csv": {"several": {"queens": 2}}},
    }
    checks = lines("queen_id\tchecked_on", ["2025-05-01"])
    _, questions = looked(tmp_path, checks, settings, sold__csv=content)
    assert (("date_order", "left_on") in kinds(questions)) == is_open


@pytest.mark.parametrize(
    ("others", "is_open"),
    [
        (["28.5.", "3.6."], False),  # the order that is set stands, as days without a year show
        (["5/28", "3.6."], True),
        (["28.5.", "5/28"], True),
        (["3.6.", "4.6."], True),
        (["99.5", "28.77"], True),
    ],
)
def test_days_without_a_year_show_the_order_of_a_file_too(tmp_path, others, is_open):
    rows = [f"{day}\t12.4.25" for day in others]
    content = lines("queen_id\tchecked_on\tintroduced_on", rows)
    settings = {
        "dates": {"order": "dmy"},
        "files": {"checks.csv": {"year": 2024}},
        "read": [
            {
                "from": "checks.csv",
                "table": "checks",
                "columns": {"queen_id": "queen_id", "checked_on": "checked_on"},
            },
            {
                "from": "checks.csv",
                "table": "placements",
                "columns": {
                    "queen_id": "queen_id",
                    "colony_id": {"value": "C1"},
                    "placed_on": "introduced_on",
                },
            },
        ],
    }
    _, questions = looked(tmp_path, content, settings)
    assert (("date_order", "placed_on") in kinds(questions)) == is_open


def test_real_days_up_to_the_twelfth_beside_texts_after_it_are_open(tmp_path):
    cells = ["2025-05-04", "2025-06-04", "2025-07-04", "13/4/2025", "14/4/2025"]
    content = lines("queen_id\tchecked_on", cells)
    _, questions = looked(tmp_path, content, {"dates": {"order": "dmy"}})
    assert ("turned_dates", "checked_on") in kinds(questions)
    content = lines("queen_id\tchecked_on", [*cells, "2025-05-20"])
    _, questions = looked(tmp_path, content, {"dates": {"order": "dmy"}})
    assert ("turned_dates", "checked_on") not in kinds(questions)


def test_days_beside_real_ones_may_fit_two_orders_and_are_asked_about_by_theirs(tmp_path):
    cells = ["2026-04-08", "2026-07-02", "2026-06-05", "26-06-11"]  # or the 26th of June 2011
    content = lines("queen_id\tchecked_on", cells)
    _, questions = looked(tmp_path, content, {"dates": {"order": "dmy"}})
    (asked,) = [q for q in questions if q.kind == "turned_dates"]
    assert ["dmy" in setting for setting in asked.settings] == [True, True]


TURNED = ["2025-05-04", "2025-06-04", "2025-07-04", "13/4/2025", "14/4/2025"]


@pytest.mark.parametrize(
    ("other", "of_file"),
    [
        (TURNED, True),
        ([""] * 5, True),
        # of no days turned round, and where nothing tells that they are
        (["13/5/2025", "14/5/2025", "15/5/2025", "16/5/2025", "17/5/2025"], False),
        ([*TURNED[:3], "3/4/2025", "4/4/2025"], False),
    ],
    ids=["alike", "empty", "texts", "untold"],
)
def test_turned_days_are_mended_for_a_file_whose_columns_of_days_are_all_so(tmp_path, other, of_file):
    rows = [f"Q{n}\t{one}\t{two}" for n, (one, two) in enumerate(zip(TURNED, other, strict=True))]
    bench = "\n".join(["queen_id\tinseminated_at\tco2_other_at", *rows]) + "\n"
    settings = {"dates": {"order": "dmy"}}
    _, asked = looked(tmp_path, "queen_id\tchecked_on\n", settings, inseminations__csv=bench)
    (first, *_) = [one for one in asked if one.used.name == "inseminated_at"]
    assert first.kind == "turned_dates"
    turned, right = map(tomllib.loads, first.settings)
    if of_file:
        assert turned == {"files": {"inseminations.csv": {"dates": "mixed:dmy"}}}
    else:
        assert turned["read"][0]["columns"]["inseminated_at"]["dates"] == "mixed:dmy"
    # what says that there is none is said of the column alone
    assert right["read"][0]["columns"]["inseminated_at"]["dates"] == "dmy"


def test_percentages_of_at_most_one_are_open_until_the_unit_is_said(tmp_path):
    content = lines(
        "queen_id\tchecked_on\tpattern_pct",
        [f"{d}\t0.{n}5" for n, d in enumerate(DAYS[:8])],
    )
    assert ("shares", "pattern_pct") in kinds(looked(tmp_path, content)[1])
    said = {"units": {"checks": {"pattern_pct": "share"}}}
    assert ("shares", "pattern_pct") not in kinds(looked(tmp_path, content, said)[1])


def test_shares_beside_per_cent_are_open(tmp_path):
    cells = ["55 %", "0.85", "90 %", "0.9", "70%"]
    content = lines(
        "queen_id\tchecked_on\tpattern_pct",
        [f"{d}\t{cell}" for d, cell in zip(DAYS, cells, strict=False)],
    )
    (question,) = looked(tmp_path, content)[1]
    assert (question.kind, question.used.name) == ("shares", "pattern_pct")
    assert question.says == (
        "2 values lie between 0 and 1 (from 0.85), beside 3 of more than 1 (up to 90)"
    )
    said = {"units": {"checks": {"pattern_pct": "share"}}}
    assert looked(tmp_path, content, said)[1] == []


@pytest.mark.parametrize(
    ("cells", "kind"), [("4 5 3 1 5", ["scores"]), ("4 5 3 1 50", []), ("4 5 3 1", [])]
)
def test_scores_are_no_per_cent(tmp_path, cells, kind):
    content = lines(
        "queen_id\tchecked_on\tpattern_pct",
        [f"{d}\t{cell}" for d, cell in zip(DAYS, cells.split(), strict=False)],
    )
    found = looked(tmp_path, content)[1]
    assert [question.kind for question in found] == kind


@pytest.mark.parametrize(
    ("cells", "says"),
    [
        ("1 0.5 0.2 0", "all 4 values are at most 1 (from 0 to 1)"),
        ("0 0.5 1 80", "1 values lie between 0 and 1 (from 0), beside 1 of more than 1 (up to 80)"),
        ("4 10 3 0 5", "all 5 values are whole and at most 10"),
        ("4 11 3 0 5", None),
        ("4.5 5 3 1 2", None),
        ("3 3 3 3 3", None),
        ("0 0 0 0 0", None),
    ],
)
def test_percentages_that_may_be_shares_or_scores_are_told_by_their_values(tmp_path, cells, says):
    rows = [f"{d}\t{cell}" for d, cell in zip(DAYS, cells.split(), strict=False)]
    asked = looked(tmp_path, lines("queen_id\tchecked_on\tpattern_pct", rows))[1]
    assert [question.says for question in asked] == [says] * (says is not None)


@pytest.mark.parametrize("alone", [True, False])
def test_a_unit_is_said_of_the_table_where_one_sheet_alone_holds_it(tmp_path, alone):
    content = lines("queen_id\tchecked_on\tpattern_pct", [f"{d}\t0.{n}5" for n, d in enumerate(DAYS[:8])])
    columns = {"queen_id": "queen_id", "checked_on": "checked_on", "pattern_pct": "pattern_pct"}
    rules = [{"from": name, "table": "checks", "columns": columns} for name in ("checks.csv", "yard.csv")]
    if alone:
        (asked,) = looked(tmp_path, content)[1]
        assert [tomllib.loads(said) for said in asked.settings] == [
            {"units": {"checks": {"pattern_pct": unit}}} for unit in ("share", "%")
        ]
        return
    one, other = looked(tmp_path, content, {"read": rules}, yard__csv=content)[1]
    assert one.settings != other.settings  # each of its own sheet
    assert not any("[units" in said for said in (*one.settings, *other.settings))


def test_a_column_of_only_ticks_is_open(tmp_path):
    content = lines(
        "queen_id\tchecked_on\teggs",
        [f"{d}\t{'x' if n % 2 else ''}" for n, d in enumerate(DAYS)],
    )
    assert ("blanks", "eggs") in kinds(looked(tmp_path, content)[1])
    content = content.replace("\tx\n", "\tno\n", 1)
    assert ("blanks", "eggs") not in kinds(looked(tmp_path, content)[1])
    # nor where something else than ticks stands in it
    content = content.replace("\tno\n", "\tsoon\n")
    assert ("blanks", "eggs") not in kinds(looked(tmp_path, content)[1])


def test_sheets_without_rows_leave_nothing_open(tmp_path):
    heading = "queen_id\tchecked_on\teggs\tpattern_pct"
    assert looked(tmp_path, heading + "\n") == ([], [])


def test_ids_that_became_days_are_named(tmp_path):
    rows = [
        "queen_id\tchecked_on",
        "12-Nov\t2025-06-01",
        "2025-11-12\t2025-06-01",
        "Q1\t2025-06-01",
    ]
    _, questions = looked(tmp_path, "\n".join(rows) + "\n")
    (question,) = [q for q in questions if q.kind == "id_dates"]
    assert question.says.startswith("2 ids")


@pytest.mark.parametrize(
    ("word", "setting"),
    [
        ("no", 'placed_on = { from = "placed_on", empty = ["no"] }'),
        ("soon", '[files."placements.csv"]\nempty = ["soon"]'),
    ],
)
def test_a_no_among_days_stays_a_no_in_the_other_columns(tmp_path, word, setting):
    days = [str(day) for day in DAYS[:4]] + [word]
    rows = [f"Q{n},H{n},{day},no" for n, day in enumerate(days)]
    head = "queen_id,colony_id,placed_on,brood_present"
    content = "\n".join([head, *rows]) + "\n"
    with Store() as store:
        reading = parse({})
        records = folder(tmp_path, placements__csv=content)
        staged = stage_records(store, records, reading)
        orders = evidence.OrdersSeen(store, staged.sources, reading.reading)
        (column,) = evidence.unread_columns(orders)
    assert setting in column.settings[0]
    # TOML takes the comment behind it
    assert column.settings[0].endswith("# if it means: not recorded")


def test_spans_that_may_be_of_two_units_name_the_setting_of_each(tmp_path):
    checks = lines("queen_id\tchecked_on", DAYS[:3])
    spans = "queen_id\tgiven_at\tminutes\n" + "".join(
        f"Q{n}\t{DAYS[n]}\t{n + 3}:30\n" for n in range(5)
    )
    (column,), _ = looked(tmp_path, checks, co2__csv=spans)
    assert (column.unread, column.contradicts) == (5, True)
    first, second = column.settings
    assert first.endswith('minutes = { from = "minutes", unit = "min:s" }')
    assert second == first.replace("min:s", "h:min")
    assert looked(tmp_path, checks, tomllib.loads(first), co2__csv=spans)[0] == []


def test_codes_that_differ_in_a_number_want_one_line(tmp_path):
    rule = {
        "from": "checks.csv",
        "table": "checks",
        "columns": {n: n for n in ("queen_id", "checked_on")} | {"findings": "seen"},
    }
    cells = [f"{DAYS[n]}\tJLZ {60 + 5 * n}" for n in range(6)] + [f"{DAYS[7]}\tM 1"]
    content = lines("queen_id\tchecked_on\tseen", cells)
    (column,), _ = looked(tmp_path, content, {"read": [rule]})
    (setting,) = column.settings
    assert setting == (
        "[words.findings]\n"
        '# what "JLZ {pattern_pct}", "M 1" means, only you know: what it sets, as '
        '{ eggs = "yes" }; {pattern_pct} takes the number that stands there'
    )
    words = {"findings": {"JLZ {pattern_pct}": {"sealed": "yes"}, "M 1": {}}}
    assert looked(tmp_path, content, {"read": [rule], "words": words})[0] == []


def test_numbers_that_are_only_about_right_name_the_marks_to_take_off(tmp_path):
    cells = ["~80", "ca. 75", "70", "ca. 60 %", "8-9"]
    content = lines(
        "queen_id\tchecked_on\tpattern_pct",
        [f"{day}\t{cell}" for day, cell in zip(DAYS, cells, strict=False)],
    )
    (column,), _ = looked(tmp_path, content)
    assert column.contradicts
    assert [tomllib.loads(one) for one in column.settings] == [
        {"words": {"about": ["ca.", "~"]}}
    ]
    known = {"words": {"about": ["ca."]}}
    (column,), _ = looked(tmp_path, content, known)
    assert column.settings == ('[words]\nabout = ["ca.", "~"]',)
    settings = tomllib.loads(column.settings[0])
    (column,), _ = looked(tmp_path, content, settings)
    assert (column.unread, column.settings) == (1, ())
    rule = {
        "from": "checks.csv",
        "table": "checks",
        "columns": {n: n for n in ("queen_id", "checked_on")}
        | {"pattern_pct": {"from": "pattern_pct", "words": {"8-9": 85}}},
    }
    assert looked(tmp_path, content, settings | {"read": [rule]})[0] == []


def test_days_that_cannot_be_read_are_not_to_be_mended_as_numbers(tmp_path):
    content = lines("queen_id\tchecked_on", ["zzt 3/6"] * 9)
    (column,), _ = looked(tmp_path, content, {"dates": {"order": "dmy"}})
    assert column.contradicts
    assert "words = {" not in column.error().hint
    assert "`apart` under [files]" in column.error().hint


@pytest.mark.parametrize(
    ("texts", "shown", "holes"),
    [
        (["E 40", "E 85%"], ["E {pattern_pct}"], {"E {pattern_pct}"}),
        (["E 40", "L 85"], ["E 40", "L 85"], set()),
        (["E 40", "E 85,5 %", "L"], ["E {pattern_pct}", "L"], {"E {pattern_pct}"}),
        (["E 1000", "E 2000"], ["E 1000", "E 2000"], set()),
        (["40", "85"], ["40", "85"], set()),
        ([], [], set()),
    ],
)
def test_texts_that_differ_in_a_number_at_their_end_are_shown_once(texts, shown, holes):
    assert evidence._with_holes(texts) == (shown, holes)
