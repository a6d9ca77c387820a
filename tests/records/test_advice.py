"""What a check advises, beside what is settled by a setting; and what it says will count."""

from __future__ import annotations

import datetime as dt
from collections import Counter

import pytest
from queen_outcomes.base.console import Console
from queen_outcomes.base.store import Store
from queen_outcomes.build import steps
from queen_outcomes.commands.check import check_records
from queen_outcomes.facts.settings import load
from queen_outcomes.records import advice

START = 'name = "Test"\nas_of = 2025-12-31\n'
LOOK, DONE = "queen_id,checked_on,eggs", "queen_id,inseminated_at,emerged_on"


def rows(head, *lines):
    return "\n".join([head, *lines]) + "\n"


def write(station, settings="", **files):
    records = station / "records"
    records.mkdir()
    for name, text in files.items():
        (records / f"{name}.csv").write_text(text, "utf-8")
    (station / "station.toml").write_text(START + settings, "utf-8")
    return station


def looked_at(station):
    return check_records(station, Console(quiet=True))


def of_kind(checked, kind):
    return [piece for piece in checked.found["advice"] if piece["kind"] == kind]


FATES = {
    "queens": {"counts": 3, "later": 1, "quarantined": 1},
    "checks": {
        "counts": 3,
        "spelled": 1,
        "not_inseminated": 1,
        "before": 1,
        "after": 1,
        "repeated": 1,
        "later": 1,
        "quarantined": 1,
    },
    "exits": {"counts": 1, "second": 1, "before": 1, "spelled": 1},
}


@pytest.fixture
def mixed(tmp_path):
    """Each way that a record can fail to count, once; counted by hand in FATES."""
    return write(
        tmp_path,
        inseminations=rows(
            "queen_id,inseminated_at",
            "Q1,2025-06-01",
            "Q2,2025-06-01",
            "Q3,2025-06-01",
            "Q4,2026-01-03",
            "Q5,soon",
        ),
        checks=rows(
            LOOK,
            "Q1,2025-06-10,yes",
            "Q2,2025-06-10,yes",
            "Q2,2025-06-10,yes",
            "Q3,2025-06-11,yes",
            "q-3,2025-06-12,yes",
            "Q9,2025-06-12,yes",
            "Q1,2025-05-30,no",
            "Q1,2025-08-01,yes",
            "Q2,2026-01-05,yes",
            "Q2,one day,yes",
        ),
        exits=rows(
            "queen_id,left_on,reason",
            "Q1,2025-07-01,sold",
            "Q1,2025-07-05,dead",
            "Q2,2025-05-01,sold",
            "q 3,2025-07-01,sold",
        ),
    )


def test_it_says_what_will_count_and_why_the_rest_will_not(mixed):
    checked = looked_at(mixed)
    assert checked.found["counted"] == FATES
    assert checked.found["closing"].startswith(
        "3 queens, 3 checks and 1 exit will count, and 2 queens, 7 checks and 3 exits "
        "will not (queens: 1 in quarantine, 1 dated after the as-of day; checks: "
    )
    assert checked.found["closing"].count(". ") == 0
    assert checked.code == 1


def test_the_checks_that_count_are_those_that_the_build_uses(mixed):
    """The build's own table of looks is the second opinion: hers, until she is gone."""
    settings = load(mixed)
    day = dt.date(2025, 12, 31)
    with Store() as store:
        work = steps.Work(
            store, mixed / "records", mixed, settings, day, looking=True, verified=False
        )
        steps.run_steps(work, Console(quiet=True), until="derive")
        ((looks,),) = store.rows("SELECT count(*) FROM looks WHERE course > 0")
        ((exits,),) = store.rows("SELECT count(exit_ref) FROM course_exits")
        ((courses,),) = store.rows("SELECT count(*) FROM courses")
    counts = {kind: fates["counts"] for kind, fates in FATES.items()}
    assert {"queens": courses, "checks": looks, "exits": exits} == counts


def test_a_single_row_is_told_in_its_own_words_and_several_by_the_first(mixed):
    said = "This row repeats checks.csv:3 word for word and counts once; delete it, or "
    said += "correct it if it was meant to differ"
    (one,) = of_kind(looked_at(mixed), "repeated_row")
    assert one["says"] == said
    checks = mixed / "records" / "checks.csv"
    checks.write_text(checks.read_text("utf-8") + "Q1,2025-06-10,yes\n", "utf-8")
    (two,) = of_kind(looked_at(mixed), "repeated_row")
    assert two["says"] == f"2 rows of checks, such as: {said}"


def test_a_station_without_records_is_told_to_fill_them_in(tmp_path):
    blank = write(
        tmp_path, inseminations=rows("queen_id,inseminated_at"), checks=rows(LOOK)
    )
    checked = looked_at(blank)
    assert checked.found["closing"].startswith("Nothing is recorded yet")
    assert (checked.code, checked.found["advice"]) == (0, [])


def test_a_graft_day_taken_for_emergence_is_named_and_a_usual_age_is_not(tmp_path):
    grafted = [f"Q{n},2025-06-2{n},2025-06-0{n % 3 + 1}" for n in range(1, 8)]
    (piece,) = of_kind(
        looked_at(
            write(
                tmp_path,
                inseminations=rows(DONE, *grafted),
                checks=rows(LOOK, "Q1,2025-07-10,yes"),
                queens=rows(
                    "queen_id,emerged_on", *(f"Q{n},2025-06-1{n}" for n in range(1, 8))
                ),
            )
        ),
        "graft_day",
    )
    assert piece["table"] == "inseminations"
    assert "0 of 7 queens" in piece["says"]
    assert piece["weight"] == "unsure"


def test_days_turned_round_and_ids_made_days_are_asked_about(tmp_path):
    days = ["2025-05-06", "2025-04-06", "2025-03-06", "13/6/2025", "14/6/2025"]
    checks = [f"Q{n},{day},yes" for n, day in enumerate(days, start=1)]
    checked = looked_at(
        write(
            tmp_path,
            '[dates]\norder = "dmy"\n',
            inseminations=rows(
                "queen_id,inseminated_at",
                *(f"Q{n},2025-03-01" for n in range(1, 6)),
                "12-Mar,2025-03-01",
            ),
            checks=rows(LOOK, *checks),
        )
    )
    (turned,) = of_kind(checked, "turned_dates")
    assert "3 real dates" in turned["says"]
    assert turned["settings"][0] == '[files."checks.csv"]\ndates = "mixed:dmy"'
    assert (
        'checked_on = { from = "checked_on", dates = "dmy" }' in turned["settings"][1]
    )
    (made,) = of_kind(checked, "id_dates")
    assert '"12-Mar"' in made["says"]


def test_a_file_of_two_years_must_be_divided_before_a_prefix_helps(tmp_path):
    years = (2024, 2025)
    checked = looked_at(
        write(
            tmp_path,
            inseminations=rows(
                DONE, *(f"{n},{y}-06-10,{y}-06-01" for y in years for n in (1, 2))
            ),
            checks=rows(LOOK, *(f"{n},{y}-07-01,yes" for y in years for n in (1, 2))),
        )
    )
    (piece,) = of_kind(checked, "numbers_start_again")
    assert piece["settings"] == ()
    assert "divide it by year" in piece["do"]
    assert piece["fails"]
    assert checked.code == 1


def test_a_second_insemination_within_the_season_is_no_new_queen(tmp_path):
    checked = looked_at(
        write(
            tmp_path,
            inseminations=rows(
                DONE, "Q1,2025-05-10,2025-05-01", "Q1,2025-08-10,2025-05-01"
            ),
            checks=rows(LOOK, "Q1,2025-09-01,yes"),
        )
    )
    assert of_kind(checked, "numbers_start_again") == []


def test_ids_that_say_less_than_the_inseminations_are_named_with_them(tmp_path):
    station = write(
        tmp_path,
        inseminations=rows(
            "queen_id,inseminated_at",
            "Q-7 (blue 14),2025-06-01",
            "Q-8,2025-06-01",
            "Q-9 (a),2025-06-01",
            "Q-9 (b),2025-06-01",
        ),
        checks=rows(
            LOOK,
            "Q-7,2025-06-20,yes",
            "Q-8 (red),2025-06-20,yes",
            "Q-9,2025-06-20,yes",
            "Q-77,2025-06-20,yes",
        ),
    )
    (told,) = of_kind(looked_at(station), "never_inseminated")
    assert told["says"].endswith(
        "; 2 ids are spelled otherwise than at the insemination, it seems: "
        '"Q-7" for "Q-7 (blue 14)", "Q-8 (red)" for "Q-8"'
    )
    assert (told["weight"], told["fails"]) == ("not_used", True)


def test_numbers_without_their_prefix_and_letters_for_figures_are_named(tmp_path):
    station = write(
        tmp_path,
        inseminations=rows(
            "queen_id,inseminated_at",
            *(f"{one},2025-06-01" for one in ("S25-O12", "S25-061", "A-7", "B-07")),
        ),
        checks=rows(
            LOOK,
            # 7 may be either of two, and 62 is none
            *(f"{one},2025-06-20,yes" for one in ("S25-012", "61", "7", "62", "S25-O6l")),
        ),
    )
    (told,) = of_kind(looked_at(station), "never_inseminated")
    assert told["says"].endswith(
        "; 3 ids are spelled otherwise than at the insemination, it seems: "
        '"S25-012" for "S25-O12", "61" for "S25-061", "S25-O6l" for "S25-061"'
    )
    assert told["fails"]


def test_exits_without_a_reason_are_counted(tmp_path):
    bench = rows("queen_id,inseminated_at", *(f"Q{n},2025-06-01" for n in range(4)))
    ends = ["Q0,2025-07-01,", "Q1,2025-07-01,sold", "Q2,2025-07-02,", "Q3,2025-07-02,zork"]
    station = write(
        tmp_path,
        inseminations=bench,
        checks=rows(LOOK, "Q0,2025-06-20,yes"),
        exits=rows("queen_id,left_on,reason", *ends),
    )
    (told,) = of_kind(looked_at(station), "no_reason")
    assert told["says"].startswith("2 of 4 exits have no reason")
    assert told["places"] == ("exits.csv:2", "exits.csv:4")
    assert not told["fails"]


def test_remarks_that_say_how_a_queen_ended_are_told_where_no_exit_does(tmp_path):
    look = "queen_id,checked_on,eggs,drone_in_worker,note"
    station = write(
        tmp_path,
        inseminations=rows(
            "queen_id,inseminated_at,note",
            "Q0,2025-06-01,superseded",
            "Q1,2025-06-01,first of her batch",
            "Q2,2025-06-01,",
            "Q3,2025-06-01,superseded",
            "Q4,2025-06-01,",
        ),
        checks=rows(
            look,
            "Q4,2025-06-20,yes,,sold 3/7",
            "Q1,2025-06-20,yes,,SUPERSEDED",
            "Q2,2025-06-20,yes,many,drone layer",
            "Q2,2025-06-27,yes,,drone layer",
            "Q1,2025-06-27,yes,none,drone layer",
            "Q3,2025-06-27,yes,,gentle; was superseded in the end I think after all",
        ),
        exits=rows("queen_id,left_on,reason", "Q3,2025-07-01,superseded"),
    )
    found = looked_at(station)
    (told,) = of_kind(found, "telling_notes")
    assert told["says"].startswith("1 remark may say how a queen ended")
    assert '"sold 3/7" (1); remarks are not read' in told["says"]
    (told,) = of_kind(found, "dayless_fates")
    assert told["says"].startswith("4 remarks may say how a queen ended, and no day of it")
    assert told["says"].endswith('"drone layer" (2), "superseded" (2); of queens Q1, Q2, Q0')
    assert told["places"] == ("checks.csv:3", "checks.csv:5", "checks.csv:6")


def test_unread_cells_are_told_where_they_stand_and_out_of_all_that_is_filled(tmp_path):
    rule = """
[records]
ditto = ['"']
[[read]]
from = "yard.csv"
table = "checks"
each = ["1st", "2nd"]
[read.columns]
queen_id = "Queen"
checked_on = "Day"
pattern_pct = "{} pattern"
"""
    station = write(
        tmp_path,
        rule,
        inseminations=rows("queen_id,inseminated_at", "Q0,2025-06-01"),
        yard=rows(
            "Queen,Day,1st pattern,2nd pattern",
            "Q0,2025-06-20,80,80",
            'Q0,"""",80,bad',
            'Q0,"""",poor,80',
            'Q0,spring,80,80',
            'Q0,"""",80,80',
            'Q0,"""",80,80',
        ),
    )
    told = {
        (piece["column"], piece["places"]): piece["says"].partition(": ")[2]
        for piece in of_kind(looked_at(station), "unread_cells")
    }
    days = [says for (column, _), says in told.items() if column == "checked_on"]
    assert len(days) == 1
    assert days[0].startswith("3 of 6 cells cannot be read")
    patterns = {places for column, places in told if column == "pattern_pct"}
    assert patterns == {("yard.csv:3/2",), ("yard.csv:4/1",)}


def test_minutes_of_an_exposure_without_its_day_are_told_and_the_day_can_be_said(tmp_path):
    book = rows(
        "Queen,Done,CO2 the day before",
        *(f"Q{n},2025-06-0{n} 10:00,{n + 2}" for n in range(1, 4)),
        "Q4,2025-06-04,",
    )
    rule = """
[records]
co2 = "other"
[[read]]
from = "book.csv"
table = "inseminations"
[read.columns]
queen_id = "Queen"
inseminated_at = "Done"
co2_other_minutes = "CO2 the day before"
"""
    checks = rows(LOOK, "Q1,2025-06-20,yes")
    plain = write(tmp_path, rule, book=book, checks=checks)
    (told,) = of_kind(looked_at(plain), "dayless_co2")
    assert told["says"].startswith("3 inseminations have the minutes")
    assert told["places"] == ("book.csv:2", "book.csv:3", "book.csv:4")
    dated = rule + 'co2_other_at = { from = "Done", days = -1 }\n'
    (plain / "station.toml").write_text(START + dated, "utf-8")
    assert of_kind(looked_at(plain), "dayless_co2") == []


def test_the_gravest_comes_first(mixed):
    weights = [piece["weight"] for piece in looked_at(mixed).found["advice"]]
    order = list(advice.WEIGHTS)
    assert weights == sorted(weights, key=order.index)
    assert len(set(weights)) > 1


def test_two_queens_inseminated_under_their_own_spelling_are_not_offered_as_one(
    tmp_path,
):
    checked = looked_at(
        write(
            tmp_path,
            inseminations=rows(
                "queen_id,inseminated_at", "Q1,2025-06-01", "Q-1,2025-06-02"
            ),
            checks=rows(LOOK, "q 1,2025-06-20,yes"),
        )
    )
    assert of_kind(checked, "spelled_otherwise") == []
    assert checked.found["counted"]["checks"] == {"not_inseminated": 1}


def test_spellings_are_compared_in_columns_of_labels_and_not_of_people():
    found = advice._label_columns()
    assert {"line", "drone_line", "graft_batch", "instrument"} <= found.keys()
    assert not {"operator", "checker", "queen_id", "note", "eggs"} & found.keys()


@pytest.mark.parametrize(
    ("fates", "said"),
    [
        (
            {"queens": {"counts": 3, "later": 1}, "checks": {"counts": 1}, "exits": {}},
            "3 queens, 1 check and 0 exits will count, and 1 queen will not (queens: 1 dated after the as-of day).",
        ),
        (
            {"queens": {"counts": 1}, "checks": {"counts": 2, "later": 2}, "exits": {"counts": 1, "later": 1}},
            "1 queen, 2 checks and 1 exit will count, and 2 checks and 1 exit will not (checks: 2 dated after the as-of day; exits: 1 dated after the as-of day).",
        ),
        (
            {"queens": {"counts": 1}, "checks": {"counts": 2}, "exits": {}},
            "1 queen, 2 checks and 0 exits will count, which is all there are.",
        ),
    ],
    ids=["one queen", "checks and one exit", "all"],
)  # fmt: skip
def test_the_last_sentence_counts_one_and_several(fates, said):
    assert advice.closing(fates) == said


SPELLED = rows(
    "queen_id,inseminated_at,line,operator",
    "Q1,2025-06-01,Birch 4,Ada Brun",
    "Q2,2025-06-02,birch-4,Ada Brun",
    "Q3,2025-06-03,Birch 4,A. Brun",
    "Q4,2025-06-04,Olm,Ada Brun",
)
GRAFTS = rows("queen_id,graft_batch", "Q1,G 1", "Q2,g1", "Q3,G2", "Q4,G 1")


def test_labels_in_several_spellings_are_told_with_the_setting_for_each(tmp_path):
    checked = looked_at(
        write(tmp_path, inseminations=SPELLED, queens=GRAFTS, checks=rows(LOOK, "Q1,2025-06-20,yes"))
    )
    told = {piece["column"]: piece for piece in of_kind(checked, "labels_alike")}
    assert told.keys() == {"line", "graft_batch"}
    # the commonest spelling is kept, and labels other than grafts are named one by one
    assert told["line"]["says"].endswith('and count apart: Birch 4 = "birch-4"')
    assert told["line"]["settings"] == ('[records]\nsame.line = { "Birch 4" = ["birch-4"] }',)
    assert told["line"]["count"] == 3
    assert told["line"]["places"] == ("inseminations.csv:2",)
    assert told["graft_batch"]["settings"] == ('[records]\nfold = ["graft_batch"]',)
    assert told["graft_batch"]["says"].endswith('G 1 = "g1"')
    assert {piece["weight"] for piece in told.values()} == {"unsure"}
    (people,) = of_kind(checked, "people")
    assert people["says"] == (
        "1 person is written in several ways, it seems: Ada Brun (3) = A. Brun (1)"
    )
    assert (people["count"], people["column"]) == (1, "operator")
    assert people["settings"][0] == '[records]\nsame.operator = { "Ada Brun" = ["A. Brun"] }'


def test_spellings_that_the_settings_name_as_two_are_not_told(tmp_path):
    settings = '[records]\nsame.line = { "Birch 4" = [], "birch-4" = [] }\nfold = ["graft_batch"]\n'
    settings += 'same.operator = { "Ada Brun" = [], "A. Brun" = [] }\n'
    checked = looked_at(
        write(
            tmp_path, settings, inseminations=SPELLED, queens=GRAFTS,
            checks=rows(LOOK, "Q1,2025-06-20,yes"),
        )
    )  # fmt: skip
    assert of_kind(checked, "labels_alike") == of_kind(checked, "people") == []


def year_of(tables, seasons=(2024, 2025), source="book.csv"):
    counted = {name: Counter(years) for name, years in tables.items()}
    return advice._year_of(source, counted, seasons)


@pytest.mark.parametrize(
    ("tables", "source", "year"),
    [
        ({"inseminations": {2024: 5}}, "b.csv", (2024, False)),
        ({"inseminations": {2024: 5, 2025: 9}}, "b.csv", (2025, True)),
        ({"queens": {2024: 5}, "checks": {2025: 90}}, "b.csv", (2024, False)),
        # checks go on in the next spring: the first year, unless many are of the later
        ({"checks": {2024: 80, 2025: 20}}, "b.csv", (2024, False)),
        ({"checks": {2024: 79, 2025: 21}}, "b.csv", (2024, True)),
        ({"checks": {2024: 10, 2026: 90}}, "b.csv", (2024, False)),  # nobody was inseminated then
        ({"checks": {2025: 80}, "exits": {2024: 20}}, "b.csv", (2024, True)),
        ({"checks": {2024: 10, 2025: 90}}, "checks 2025.csv", (2025, False)),
        ({"checks": {2024: 10, 2025: 90}}, "checks 2024-2025.csv", (2024, True)),
        ({}, "b.csv", (None, False)),
    ],
)
def test_the_year_of_a_file_and_whether_it_holds_several(tables, source, year):
    assert year_of(tables, source=source) == year


@pytest.mark.parametrize(("number", "more"), [(39, None), (40, None), (41, "and 1 more")])
def test_remarks_are_named_up_to_many(number, more):
    said = advice._all_but_many([f"n{n}" for n in range(number)]).split(", ")
    assert said == [*(f"n{n}" for n in range(min(number, 40))), *([more] if more else [])]


@pytest.mark.parametrize(
    ("middle", "usual", "told"),
    [(5, 0, True), (4, 0, False)],
)
def test_a_graft_day_is_told_of_five_queens_or_more(tmp_path, middle, usual, told):
    grafted = [f"Q{n},2025-06-2{n},2025-06-01" for n in range(1, middle + 1)]
    found = of_kind(
        looked_at(write(tmp_path, inseminations=rows(DONE, *grafted), checks=rows(LOOK, "Q1,2025-07-10,yes"))),
        "graft_day",
    )
    assert [piece["count"] for piece in found] == [middle] * told
    assert all(f"only {usual} of {middle} queens" in piece["says"] for piece in found)
