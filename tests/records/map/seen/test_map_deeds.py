"""Diaries: the column that says what was done, what is asked of it, and what is written."""

import datetime as dt
import tomllib

import pytest
from mapped_stations import run
from queen_outcomes.records.map.asked.questions import open_questions
from queen_outcomes.records.map.running import begin
from queen_outcomes.records.map.seen import deeds
from queen_outcomes.records.map.seen.deeds import NO_RECORD
from reading import accepted
from sheets_by_hand import sheet

DIARY = """Diary of 2025,,,,,
Day,Queen,Happening,Value,Who,Note
{days[0]},Q1,insemination,8 ul,Ada,
,Q2,insemination,4+4 ul,Ada,
,Q3,insemination,7.5 ul,Bo,slow
,Q1,introduction,nuc 1,,
,Q2,introduction,nuc 2,,
,Q3,introduction,nuc 3,,
{days[1]},Q4,co2,5 min,,
,Q5,co2,,,
{days[2]},Q1,visit,eggs,Bo,queen seen
,Q2,visit,no brood,Bo,
,Q3,visit,eggs,Bo,
{days[3]},Q1,visit,eggs and larvae,Ada,
,Q3,gone,dead,Ada,
,Q2,gone,sold,Ada,
{days[4]},Q1,treated,strips,Ada,
,Q2,treated,strips,Ada,
,,remark,,Ada,new hives
,,remark,,,rain
total: 3,,,,,
"""
DAYS = ("5/5", "6/5", "17/5", "28/5", "30/5")
LATER = ("6/5", "7/5", "18/5", "29/5", "31/5")
CONTENTS = {
    "insemination": "inseminations",
    "introduction": "placements",
    "co2": "co2",
    "visit": "checks",
    "gone": "exits",
}


@pytest.fixture
def station(tmp_path):
    records = tmp_path / "records"
    records.mkdir()
    (records / "diary 2025.csv").write_text(DIARY.format(days=DAYS), "utf-8")
    return tmp_path


def asked(begun):
    return {q.id: q for q in begun.asked if q.kind == "deed"}


def by_table(settings):
    return {rule["table"]: rule for rule in settings["read"]}


# -- the column ---------------------------------------------------------------------


def rows_saying(heading, *texts):
    lines = [f"{n % 27 + 1}/5/2025,Q{n},{text},8" for n, text in enumerate(texts, 1)]
    return sheet(f"Date,Queen,{heading},Dose\n" + "\n".join(lines))


@pytest.mark.parametrize(
    ("heading", "texts", "is_diary"),
    [
        ("Xyz", ["insemination", "insemination", "visit", "visit"], True),
        # under a heading that says "what" a few known words are enough
        ("What", ["insemination", "visit", *["mmm"] * 4, *["nnn"] * 4], True),
        ("Xyz", ["insemination", "visit", *["mmm"] * 4, *["nnn"] * 4], False),
        # how queens went is no diary, nor is who did it, nor one table alone
        ("Xyz", ["dead", "dead", "sold", "sold"], False),
        ("What", ["Ada", "Ada", "Bo", "Bo"], False),
        ("Xyz", ["visit", "visit", "inspection", "inspection"], False),
        ("Reason", ["insemination", "insemination", "visit", "visit"], False),
        # a word that stands once each tells of remarks
        ("Xyz", ["insemination", "visit", "sold"], False),
        ("Xyz", ["insemination", "insemination", "visit", "visit", *[""] * 4], False),
    ],
)
def test_few_words_that_name_several_tables_make_a_diary(heading, texts, is_diary):
    found = deeds.column_of(rows_saying(heading, *texts))
    assert (found.name if found else None) == (heading if is_diary else None)


def test_a_word_is_one_in_capitals_or_not():
    made = rows_saying("What", "Visit", "visit", "insemination", "Insemination")
    assert [(d.text, len(d.rows)) for d in deeds.listed([made])] == [
        ("Visit", 2),
        ("insemination", 2),
    ]


# -- the questions ------------------------------------------------------------------


def test_each_text_is_asked_about_once_with_a_default_where_its_word_is_known(station):
    (station / "records" / "diary 2026.csv").write_text(DIARY.format(days=LATER), "utf-8")
    found = asked(begin(station))
    assert {name.rpartition(":")[2]: q.default for name, q in found.items()} == {
        **CONTENTS,
        "treated": None,
        "remark": NO_RECORD,
    }
    remark = found["deed:Happening:remark"]
    assert remark.sources == ("diary 2025.csv", "diary 2026.csv")
    assert remark.evidence[0] == "no row of them names a queen"
    assert remark.text == (
        'Which table do the 4 rows with "remark" under "Happening" belong to?'
    )
    assert set(remark.options) == {*deeds.TABLES_OF_DEEDS, NO_RECORD}


def test_what_no_word_tells_stays_open_and_stops_a_build(station):
    begun, settings = run(station)
    assert [q.id for q in begun.open] == ["deed:Happening:treated"]
    text = (station / "station.toml").read_text("utf-8")
    assert open_questions(text)[0].place == ("*", "*", "*")
    assert all("treated" not in rule["only"]["Happening"] for rule in settings["read"])


@pytest.mark.parametrize(
    ("text", "table"),
    [
        ("insemination", "inseminations"),
        ("2nd insemination", "inseminations"),
        ("sold", "exits"),
        ("not inseminated", ""),
        ("visit?", ""),
        ("visit of guests from afar", ""),
        ("moved", ""),  # to another hive, or away
        ("mmm", ""),
    ],
)
def test_a_word_in_doubt_has_no_default(text, table):
    made = rows_saying("What", *[text] * 3, *["insemination", "visit"] * 3)
    found = next(deed for deed in deeds.listed([made]) if deed.text == text)
    assert found.likely == table


# -- what is written ------------------------------------------------------------------


def test_each_table_takes_its_rows_and_what_it_can_of_the_shared_headings(station):
    begun, settings = run(station, {"deed:Happening:treated": NO_RECORD})
    assert not begun.open
    rules = by_table(settings)
    assert {table: rule["only"]["Happening"] for table, rule in rules.items()} == {
        table: [text] for text, table in CONTENTS.items()
    }
    assert {table: dict(rule["columns"]) for table, rule in rules.items()} == {
        "inseminations": {
            "queen_id": "Queen",
            "inseminated_at": "Day",
            "operator": "Who",
            "dose_ul": "Value",
            "note": "Note",
        },
        "co2": {"queen_id": "Queen", "given_at": "Day", "minutes": "Value"},
        "placements": {"queen_id": "Queen", "colony_id": "Value", "placed_on": "Day"},
        "checks": {
            "queen_id": "Queen",
            "checked_on": "Day",
            "checker": "Who",
            "findings": ["Value", "Note"],
        },
        "exits": {"queen_id": "Queen", "left_on": "Day", "reason": "Value"},
    }
    (file,) = settings["files"].values()
    assert file["no_record"] == {"Happening": ["treated", "remark"]}
    assert file["fill_down"] == ["Day"]
    assert file["year"] == 2025


def test_what_is_written_reads_every_row(station):
    run(station, {"deed:Happening:treated": NO_RECORD})
    found = accepted(station, dt.date(2025, 12, 31))

    def rows(table, *names):
        return [tuple(row.get(name) or "" for name in names) for row in found[table]]

    assert rows("inseminations", "queen_id", "inseminated_at", "dose_ul", "operator") == [
        ("Q1", "2025-05-05T00:00:00", "8.0", "Ada"),
        ("Q2", "2025-05-05T00:00:00", "8.0", "Ada"),
        ("Q3", "2025-05-05T00:00:00", "7.5", "Bo"),
    ]
    assert rows("checks", "queen_id", "checked_on", "eggs", "larvae", "queen_seen") == [
        ("Q1", "2025-05-17", "yes", "", "yes"),
        ("Q2", "2025-05-17", "no", "no", ""),
        ("Q3", "2025-05-17", "yes", "", ""),
        ("Q1", "2025-05-28", "yes", "yes", ""),
    ]
    assert rows("exits", "queen_id", "left_on", "reason") == [
        ("Q3", "2025-05-28", "dead"),
        ("Q2", "2025-05-28", "sold"),
    ]
    # a row of two cells is a record like the others
    assert rows("co2", "queen_id", "minutes") == [("Q4", "5.0"), ("Q5", "")]
    assert rows("placements", "queen_id", "colony_id")[2] == ("Q3", "nuc 3")


def test_the_rows_of_a_diary_add_up(station, command):
    run(station, {"deed:Happening:treated": NO_RECORD})
    told = " ".join(command("check", station, "--as-of", "2025-12-31").err.split())
    assert "chosen by no" not in told


def test_an_answer_sends_rows_to_another_table(station):
    answers = {"deed:Happening:treated": "co2", "deed:Happening:visit": NO_RECORD}
    _, settings = run(station, answers)
    rules = by_table(settings)
    assert rules["co2"]["only"]["Happening"] == ["co2", "treated"]
    assert "checks" not in rules
    (file,) = settings["files"].values()
    assert file["no_record"] == {"Happening": ["visit", "remark"]}


def test_words_that_say_how_a_queen_went_are_the_reason_themselves(station):
    text = DIARY.format(days=DAYS).replace("gone,dead", "dead,").replace("gone,sold", "sold,")
    text += "30/5,Q4,dead,,,\n,Q5,sold,,,\n"
    (station / "records" / "diary 2025.csv").write_text(text, "utf-8")
    _, settings = run(station)
    rule = by_table(settings)["exits"]
    assert rule["only"]["Happening"] == ["dead", "sold"]
    assert rule["columns"]["reason"] == "Happening"


def test_a_later_answer_moves_its_text_and_nothing_else(station):
    run(station)
    path = station / "station.toml"
    path.write_text(
        path.read_text("utf-8").replace("\n[[read]]", "\n# mine\n[[read]]", 1), "utf-8"
    )
    begun, settings = run(station, {"deed:Happening:treated": "co2"}, accept=False)
    assert not begun.open
    assert by_table(settings)["co2"]["only"]["Happening"] == ["co2", "treated"]
    assert len(settings["read"]) == len(CONTENTS)
    assert "# mine\n" in path.read_text("utf-8")


def test_a_text_left_open_may_turn_out_to_be_no_record(station):
    run(station, accept=False)
    _, settings = run(station, {"deed:Happening:gone": NO_RECORD}, accept=False)
    assert "exits" not in by_table(settings)
    (file,) = settings["files"].values()
    assert "gone" in file["no_record"]["Happening"]
    _, settings = run(station, {"deed:Happening:remark": "checks"}, accept=False)
    assert set(by_table(settings)["checks"]["only"]["Happening"]) == {"visit", "remark"}
    (file,) = settings["files"].values()
    assert "remark" not in file["no_record"]["Happening"]


def test_the_next_diary_is_asked_about_as_the_settings_have_it(station):
    run(station, {"deed:Happening:treated": "lab"})
    (station / "records" / "diary 2026.csv").write_text(DIARY.format(days=LATER), "utf-8")
    found = asked(begin(station))["deed:Happening:treated"]
    assert (found.default, found.evidence[0]) == ("lab", "so say the settings")


def test_numbers_that_start_again_are_seen_though_no_day_has_a_year(station):
    (station / "records" / "diary 2026.csv").write_text(DIARY.format(days=LATER), "utf-8")
    begun = begin(station)
    (found,) = [q for q in begun.asked if q.kind == "prefix"]
    assert found.default is None
    assert "diary 2026.csv: 26-" in found.evidence


def test_rows_that_no_record_can_be_made_of_are_told(station):
    begun, settings = run(station, {"deed:Happening:treated": "semen"})
    assert "semen" not in by_table(settings)
    (said,) = [note for note in begun.written().notes if "records of semen" in note]
    assert said.startswith('diary 2025.csv: rows such as "treated" are not read')


def test_filled_cells_that_a_table_has_no_place_for_are_told(station):
    begun, _ = run(station, {"deed:Happening:treated": "co2"})
    assert (
        'diary 2025.csv: in its rows of co2 not read: "Value" (3), "Who" (2)' in begun.written().notes
    )


def test_at_a_terminal_the_diary_is_asked_about_first(station, monkeypatch):
    from queen_outcomes.base.console import Console
    from queen_outcomes.commands import map as command

    begun = begin(station)
    seen = []

    def answer(question):
        seen.append(question.id)
        return "checks" if question.id.endswith(":treated") else question.default

    monkeypatch.setattr(command, "_ask", answer)
    monkeypatch.setattr(command, "_correct_words", lambda run, console: None)
    command._interview(begun, Console(quiet=True))
    kinds = [name.partition(":")[0] for name in seen]
    first = kinds.count("deed")
    assert first == len(CONTENTS) + 2
    assert set(kinds[:first]) == {"deed"}
    # what the rest is about hangs on it: the words of the rows are those of looks now
    assert any(name.startswith("word:findings:strips") for name in seen)
    rule = by_table(tomllib.loads(begun.settings()))["checks"]
    assert set(rule["only"]["Happening"]) == {"visit", "treated"}


def test_short_rows_that_say_what_was_done_are_records_of_a_diary():
    rows = [f"{n % 27 + 1}/5/2025,Q{n},{text},8,Ada" for n, text in enumerate(["insemination", "visit"] * 4)]
    more = [",Q9,visit,,", ",,visit,,", ",Q9,remark,,", "note,,,,"]
    laid = sheet("\n".join(["Date,Queen,What,Dose,Who", *rows, *more, rows[0]]))
    assert [row.line for row in laid.rows] == [*range(2, 10), 14]
    whole = deeds.with_short_rows(laid)
    # a queen and what was done; not the deed alone, nor another word, nor one cell
    assert [row.line for row in whole.rows] == [*range(2, 11), 14]
    assert [row.line for row in whole.passed] == [row.line for row in laid.passed if row.line != 10]
    assert whole.column("Queen").contents.texts[-2:] == ["Q9", "Q0"]
    plain = sheet("\n".join(["Date,Queen,Xyz,Dose,Who", *rows[:1], ",Q9,visit,,"]))
    assert deeds.with_short_rows(plain) is plain
