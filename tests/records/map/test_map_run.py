"""A run of `map`: questions with stable ids, answers, open lines, a second run."""

import datetime as dt
import shutil
import tomllib

import pytest
import xlsxwriter
from mapped_stations import run
from queen_outcomes.base.errors import UsageError
from queen_outcomes.commands.failures import exit_code
from queen_outcomes.records.map.asked.questions import open_questions
from queen_outcomes.records.map.running import begin
from reading import accepted

BENCH = "Queen,Date,Operator,Dose\n" + "".join(
    f"D{n},{1 + n % 9}/{1 + n * 3 % 9}/2025,Ada Brun,8\n" for n in range(1, 15)
)
CHECKS = "Queen,Date,Who,Eggs,Brood pattern\n" + "".join(
    f"D{n},{1 + n % 9}/{3 + n * 3 % 9}/2025,Ada Brun,{'x' if n % 2 else ''},0.8\n"
    for n in range(1, 15)
)
DATES = "dates:bench.csv:inseminations:inseminated_at"
AS_OF = dt.date(2025, 12, 31)
SHARE = "percent:checks.csv:checks:pattern_pct"
BLANK = "blank:checks.csv:checks:*"


@pytest.fixture
def station(tmp_path):
    records = tmp_path / "records"
    records.mkdir()
    (records / "bench.csv").write_text(BENCH, "utf-8")
    (records / "checks.csv").write_text(CHECKS, "utf-8")
    return tmp_path


def rules(settings):
    return {(rule["from"], rule["table"]): rule for rule in settings["read"]}


def test_what_has_no_default_stays_open(station):
    begun, settings = run(station)
    left = {question.id for question in begun.open}
    assert {DATES, SHARE, BLANK, "dates:checks.csv:checks:checked_on"} == left
    text = (station / "station.toml").read_text("utf-8")
    assert {one.id for one in open_questions(text)} == left
    assert open_questions(text)[0].place == (
        "bench.csv",
        "inseminations",
        "inseminated_at",
    )
    assert "dates" not in settings.get("files", {}).get("bench.csv", {})


def test_answers_are_written(station):
    answers = {
        DATES: "mdy",
        "dates:checks.csv:checks:checked_on": "mdy",
        SHARE: "share",
        BLANK: "no",
    }
    begun, settings = run(station, answers)
    assert not begun.open
    assert settings["dates"]["order"] == "mdy"
    columns = rules(settings)["checks.csv", "checks"]["columns"]
    assert columns["pattern_pct"] == {"from": "Brood pattern", "unit": "share"}
    assert columns["eggs"] == {"from": "Eggs", "blank": "no"}


def test_an_open_question_is_settled_later_and_nothing_else_changes(station):
    run(station)
    path = station / "station.toml"
    text = path.read_text("utf-8").replace("\n[[read]]", "\n# mine\n[[read]]", 1)
    path.write_text(text, "utf-8")
    begun, settings = run(station, {SHARE: "share"}, accept=False)
    assert {q.id for q in begun.open} == {
        DATES,
        BLANK,
        "dates:checks.csv:checks:checked_on",
    }
    assert (
        rules(settings)["checks.csv", "checks"]["columns"]["pattern_pct"]["unit"]
        == "share"
    )
    assert "# mine\n" in path.read_text("utf-8")
    _, settings = run(station, {DATES: "dmy"}, accept=False)
    assert settings["files"]["bench.csv"]["dates"] == "dmy"
    assert len(settings["read"]) == 2


def test_an_answer_about_a_file_with_a_colon_in_its_name_is_kept(station):
    records = station / "records"
    (records / "checks.csv").rename(records / "checks 10:30.csv")
    blank = BLANK.replace("checks.csv", "checks 10:30.csv")
    begun, _ = run(station)
    assert blank in {question.id for question in begun.open}
    begun, settings = run(station, {blank: "no"}, accept=False)
    assert blank not in {question.id for question in begun.open}
    columns = rules(settings)["checks 10:30.csv", "checks"]["columns"]
    assert columns["eggs"] == {"from": "Eggs", "blank": "no"}


def test_unknown_id_names_the_nearest(station):
    with pytest.raises(UsageError) as refused:
        run(station, {"dates:bench.csv:inseminations:inseminated_on": "dmy"})
    assert exit_code(refused.value) == 2
    assert DATES in refused.value.hint


def test_an_answer_that_does_not_fit(station):
    with pytest.raises(UsageError, match="does not fit"):
        run(station, {DATES: "sideways"})


def test_a_second_run_asks_about_the_new_file_only(station):
    answers = {
        DATES: "mdy",
        "dates:checks.csv:checks:checked_on": "mdy",
        SHARE: "share",
        BLANK: "no",
    }
    run(station, answers)
    path = station / "station.toml"
    before = "# kept\n" + path.read_text("utf-8")
    path.write_text(before, "utf-8")
    again, _ = run(station, answers)
    assert again.asked == []
    assert path.read_text("utf-8") == before
    (station / "records" / "gone.csv").write_text(
        "Queen,Day,Why\nD3,7/19/2025,died\nD4,7/20/2025,zapped\n", "utf-8"
    )
    begun, settings = run(station, {**answers, "word:reason:zapped": "culled_other"})
    assert {source for q in begun.asked for source in q.sources} == {"gone.csv"}
    assert path.read_text("utf-8").startswith("# kept\n")
    assert rules(settings)["gone.csv", "exits"]["columns"]["left_on"] == "Day"
    assert settings["words"]["reason"]["culled_other"] == ["zapped"]
    assert settings["words"]["reason"]["dead"] == ["died"]
    assert len(settings["read"]) == 3


def test_a_corrected_word_is_one_more_answer(station):
    (station / "records" / "gone.csv").write_text(
        "Queen,Day,Why\nD3,7/19/2025,gone\n", "utf-8"
    )
    _, settings = run(station, {"word:reason:gone": "sold"})
    assert settings["words"]["reason"] == {"sold": ["gone"]}
    with pytest.raises(UsageError, match="meaning that it cannot have"):
        run(station, {"word:reason:gone": "evaporated"})


def test_comments_and_order_of_the_settings_stay(station):
    own = '# top\nname = "Heron Lock"  # ours\n\n[show]\n# few\nmin_shown = 5\n'
    (station / "station.toml").write_text(own, "utf-8")
    _, settings = run(station)
    text = (station / "station.toml").read_text("utf-8")
    assert text.startswith(own.rstrip("\n"))
    assert settings["name"] == "Heron Lock"


def test_backup_copies_hidden_sheets_and_other_files(station):
    records = station / "records"
    shutil.copy(records / "checks.csv", records / "checks (2).csv")
    (records / "shopping.txt").write_text("rubber bands\nsyringes\n", "utf-8")
    (records / "photo.jpg").write_bytes(b"\xff\xd8\xff")
    begun, settings = run(station)
    assert settings["records"]["ignore"] == [
        "checks (2).csv",
        "photo.jpg",
        "shopping.txt",
    ]
    assert {q.id for q in begun.asked if q.kind in ("copy", "ignore")} == {
        "copy:checks (2).csv:*:*",
        "ignore:photo.jpg:*:*",
        "ignore:shopping.txt:*:*",
    }


def test_a_sheet_with_queens_that_fits_no_table_is_never_ignored_unasked(station):
    lines = "".join(f"D{n},blue,{n}\n" for n in range(1, 9))
    (station / "records" / "odd.csv").write_text("Zorb,Plonk,Fleem\n" + lines, "utf-8")
    begun, settings = run(station)
    assert "ignore:odd.csv:*:*" in {question.id for question in begun.open}
    assert "odd.csv" not in settings.get("records", {}).get("ignore", [])


def test_numbers_that_start_again(tmp_path):
    records = tmp_path / "records"
    records.mkdir()
    for year in (2024, 2025):
        rows = "".join(f"{n},{year}-05-{10 + n},Ada Brun,8\n" for n in range(1, 12))
        (records / f"bench {year}.csv").write_text(
            "No,Inseminated,Operator,Dose\n" + rows, "utf-8"
        )
        rows = "".join(f"{n},{year}-06-{10 + n},yes\n" for n in range(1, 12))
        (records / f"checks {year}.csv").write_text("No,Checked,Eggs\n" + rows, "utf-8")
    begun, _ = run(tmp_path)
    prefix = "prefix:*:inseminations:queen_id"
    assert [question.id for question in begun.open] == [prefix]
    _, settings = run(tmp_path, {prefix: "yes"})
    assert {n: f["prefix"] for n, f in settings["files"].items()} == {
        f"{kind} {year}.csv": f"{year % 100}-"
        for kind in ("bench", "checks")
        for year in (2024, 2025)
    }
    # asked again for a sheet that has such numbers, not for one that has none
    (records / "weather.csv").write_text("Day,Sky\n1.5.,blue\n2.5.,grey\n", "utf-8")
    begun, _ = run(tmp_path)
    assert prefix not in [question.id for question in begun.asked]
    rows = "".join(f"{n},2026-05-{10 + n},Ada Brun,8\n" for n in range(1, 12))
    (records / "bench 2026.csv").write_text("No,Inseminated,Operator,Dose\n" + rows, "utf-8")
    begun, _ = run(tmp_path)
    assert prefix in [question.id for question in begun.open]


def put(station, **files):
    """Write further files into the records."""
    for name, content in files.items():
        path = station / "records" / f"{name}.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())


def test_a_cross_beside_ticks_is_asked_about_and_set_for_its_column_alone(station):
    rows = "".join(f"D{n},2025-06-{10 + n},{'✓x'[n % 2]},x\n" for n in range(1, 15))
    put(station, checks="Queen,Date,Eggs,Larvae\n" + rows)
    begun, settings = run(station)
    cross = "word:yes_no:x"
    assert cross in {question.id for question in begun.open}
    _, settings = run(station, {cross: "no"})
    columns = rules(settings)["checks.csv", "checks"]["columns"]
    assert columns["eggs"] == {"from": "Eggs", "words": {"no": ["x"]}}
    assert columns["larvae"] == "Larvae"
    assert "x" not in settings["words"].get("no", [])


@pytest.mark.parametrize("dash", ["-", "–"])
def test_a_dash_among_words_is_asked_about(station, dash):
    rows = "".join(
        f"D{n},2025-06-{10 + n},{'few' if n % 2 else dash}\n" for n in range(1, 15)
    )
    put(station, checks="Queen,Date,Drone brood\n" + rows)
    begun, _ = run(station)
    assert f"word:drone_in_worker:{dash}" in {question.id for question in begun.open}


@pytest.mark.parametrize("answer", ["yes", "no"])
def test_a_day_under_an_unknown_heading_is_the_tables_own_if_said(station, answer):
    rows = "".join(f"D{n},2025-06-{10 + n},yes\n" for n in range(1, 15))
    put(station, checks="Queen,Zorbed,Eggs\n" + rows)
    begun, _ = run(station)
    asked = "column:checks.csv:checks:checked_on"
    assert asked in {question.id for question in begun.open}
    _, settings = run(station, {asked: answer})
    columns = rules(settings)["checks.csv", "checks"]["columns"]
    assert columns.get("checked_on") == ("Zorbed" if answer == "yes" else None)


def test_a_file_of_central_europe_gets_its_encoding(station):
    rows = "".join(f"D{n};{10 + n}.06.2025;tak;źrebię żółte\n" for n in range(1, 15))
    text = "Matka;Data przeglądu;Jaja;Uwagi\n" + rows
    put(station, checks=text.encode("cp1250"))
    _, settings = run(station, {DATES: "dmy"})
    assert settings["files"]["checks.csv"]["encoding"] == "cp1250"
    assert accepted(station, AS_OF)["checks"][0]["note"] == "źrebię żółte"


def test_a_file_of_western_europe_keeps_its_own(station):
    rows = "".join(f"D{n};{10 + n}.06.2025;ja;müde\n" for n in range(1, 15))
    put(station, checks=("Königin;Datum;Eier;Bemerkung\n" + rows).encode("cp1252"))
    _, settings = run(station, {DATES: "dmy"})
    assert "encoding" not in settings.get("files", {}).get("checks.csv", {})
    assert accepted(station, AS_OF)["checks"][0]["note"] == "müde"


def test_bare_numbers_get_the_word_that_other_sheets_put_before_them(station):
    moves = "".join(f"D{n},hive {n},2025-05-{10 + n}\n" for n in range(1, 15))
    looks = "".join(f"{n},2025-06-{10 + n},yes\n" for n in range(1, 15))
    put(station, checks="Hive,Date,Eggs\n" + looks)
    put(station, moves="Queen,Hive,Introduced\n" + moves)
    _, settings = run(station, {DATES: "mdy"})
    assert settings["files"]["checks.csv"]["prefix"] == {"colony_id": "hive "}
    assert len(accepted(station, AS_OF)["checks"]) == 14


def test_a_copy_that_is_left_out_leaves_nothing_open(station):
    records = station / "records"
    shutil.copy(records / "checks.csv", records / "checks (2).csv")
    begun, _ = run(station)
    assert not [q.id for q in begun.open if "checks (2).csv" in q.sources]


@pytest.mark.parametrize("answer", ["yes", "no"])
def test_an_answer_about_spellings_is_kept_and_not_asked_for_again(station, answer):
    fold, same = "fold:*:*:queen_id", "same:*:*:operator"
    looks = "".join(f"d {n},2025-06-{10 + n},yes,A. Brun\n" for n in range(1, 15))
    put(station, checks="Queen,Date,Eggs,Who\n" + looks)
    answers = {DATES: "mdy", fold: answer, same: answer}
    begun, settings = run(station, answers)
    assert {fold, same} <= {question.id for question in begun.asked}
    kept = settings.get("records", {})
    assert ("queen_id" in kept.get("fold", [])) == (answer == "yes")
    assert bool(kept.get("same")) == (answer == "yes")
    put(station, gone="Queen,Day,Why\nD3,7/19/2025,died\nD4,7/20/2025,sold\n")
    begun, again = run(station)
    assert begun.new == {"gone.csv"}
    assert not {fold, same} & {question.id for question in begun.asked}
    assert again.get("records", {}) == kept
    text = (station / "station.toml").read_text("utf-8")
    assert text.count("# NO ") == 2 * (answer == "no")


def test_rows_that_call_themselves_void_are_asked_about(station):
    rows = "".join(f"D{n},2025-06-{10 + n},yes,\n" for n in range(1, 15))
    rows += "D99,2025-06-28,yes,cancelled - wrong queen\n"
    put(station, checks="Queen,Date,Eggs,Note\n" + rows)
    void = "void:checks.csv:*:*"
    begun, settings = run(station)
    assert void in {question.id for question in begun.open}
    assert "checks.csv" not in settings.get("files", {})
    _, settings = run(station, {void: "leave"}, accept=False)
    assert settings["files"]["checks.csv"]["pass_over"] == ["D99"]


def test_a_colour_under_marked_is_the_mark(station):
    rows = "".join(f"D{n},2025-05-{10 + n},red\n" for n in range(1, 15))
    put(station, queens="Queen,Emerged,Marked\n" + rows)
    _, settings = run(station)
    columns = rules(settings)["queens.csv", "queens"]["columns"]
    assert columns["mark"] == "Marked"
    assert columns["marked"] == {"from": "Marked", "filled": "yes"}


def test_a_mark_that_denies_itself_is_no_mark(station):
    rows = "".join(
        f"D{n},2025-05-{10 + n},{'unmarked' if n == 3 else 'green'}\n"
        for n in range(1, 15)
    )
    put(station, queens="Queen,Emerged,Mark\n" + rows)
    _, settings = run(station, {DATES: "mdy", "filled:queens.csv:queens:marked": "yes"})
    marked = rules(settings)["queens.csv", "queens"]["columns"]["marked"]
    assert marked == {"from": "Mark", "filled": "yes", "words": {"no": ["unmarked"]}}


def test_minutes_behind_the_other_exposure_are_its_own(station):
    rows = "".join(
        f"D{n},{1 + n % 9}/{12 + n}/2025,8,{1 + n % 9}/{13 + n}/2025,4\n"
        for n in range(1, 15)
    )
    put(station, bench="Queen,Inseminated,Dose,2nd CO2 date,minutes\n" + rows)
    _, settings = run(station)
    columns = rules(settings)["bench.csv", "inseminations"]["columns"]
    assert columns["co2_other_minutes"] == "minutes"
    assert "minutes" not in columns


def test_a_sheet_in_which_queens_stand_again_and_again_is_no_list_of_queens(station):
    rows = "".join(f"D{n % 5},2025-06-{10 + n},Birch,yes\n" for n in range(1, 15))
    put(station, checks="Queen,Date,Line,Eggs\n" + rows)
    _, settings = run(station)
    assert ("checks.csv", "queens") not in rules(settings)
    assert ("checks.csv", "checks") in rules(settings)


def test_void_rows_that_nothing_names_are_told(station):
    rows = "".join(f"D{n},2025-06-{10 + n},yes,\n" for n in range(1, 15))
    rows += "D3,2025-06-28,yes,void: wrong row\n"
    put(station, checks="Queen,Date,Eggs,Note\n" + rows)
    begun, _ = run(station)
    assert not [q for q in begun.asked if q.kind == "void"]
    assert [note for note in begun.written().notes if "void (16)" in note]


def test_a_journal_of_everything_is_no_list_of_inseminations_unasked(station):
    rows = "".join(
        f"D{n % 4},2025-05-{10 + n},{what},Ada Brun,8\n"
        for n in range(1, 15)
        for what in ("mmm", "inseminated", "nnn")  # words that make no diary of it
    )
    put(station, bench="Queen,Date,Kkk,Operator,Dose\n" + rows)
    begun, _ = run(station)
    asked = "rows:bench.csv:inseminations:*"
    assert asked in {question.id for question in begun.open}
    _, settings = run(station, {asked: "no"}, accept=False)
    assert ("bench.csv", "inseminations") not in rules(settings)
    assert settings["records"]["ignore"] == ["bench.csv"]
    assert run(station)[0].new == set()


def test_a_blank_that_was_not_looked_for_is_kept_as_an_answer(station):
    answers = {
        DATES: "mdy",
        "dates:checks.csv:checks:checked_on": "mdy",
        SHARE: "share",
        BLANK: "leave",
    }
    begun, settings = run(station, answers)
    assert not begun.open
    columns = rules(settings)["checks.csv", "checks"]["columns"]
    assert columns["eggs"] == {"from": "Eggs", "blank": "not looked"}


def test_days_that_a_spreadsheet_of_another_locale_turned_are_turned_back(station):
    # 1 to 28 June written month first, into a sheet that takes the day first: up to the
    # 12th it made days of them with day and month changed, the others stayed texts
    days = [dt.date(2025, 6, number) for number in (2, 5, 8, 11, 12, 13, 17, 20, 24, 28)]
    with xlsxwriter.Workbook(station / "records" / "checks.xlsx") as book:
        sheet = book.add_worksheet("Checks")
        sheet.write_row(0, 0, ["Queen", "Date", "Who", "Eggs"])
        shown = book.add_format({"num_format": "dd/mm/yyyy"})
        for row, day in enumerate(days, start=1):
            sheet.write_row(row, 0, [f"D{row}", None, "Ada Brun", "yes"])
            if day.day <= 12:
                sheet.write_datetime(row, 1, day.replace(month=day.day, day=day.month), shown)
            else:
                sheet.write_string(row, 1, f"{day.month}/{day.day}/{day.year}")
    (station / "records" / "checks.csv").unlink()
    begun, _ = run(station, {DATES: "mdy"})
    (asked,) = [one for one in begun.open if one.id.startswith("mixed:")]
    begun, _ = run(station, {DATES: "mdy", asked.id: "swapped"})
    assert not [one for one in begun.open if one.id.startswith("mixed:")]
    read = accepted(station, AS_OF)["checks"]
    assert sorted(row["checked_on"] for row in read) == [str(day) for day in days]


def test_links_are_followed_as_a_build_follows_them(station, tmp_path_factory):
    records, outside = station / "records", tmp_path_factory.mktemp("outside")
    (outside / "lab.csv").write_text("Queen,Cut on\nD1,2025-05-06\n", "utf-8")
    (records / "round").symlink_to(records)
    (records / "again.csv").symlink_to(records / "bench.csv")
    (records / "out").symlink_to(outside)

    def seen():
        return {sheet.source for sheet in begin(station).proposal.station.sheets}

    assert len(seen() & {"again.csv", "bench.csv"}) == 1
    assert not any(name.startswith(("out/", "round/")) for name in seen())
    (station / "station.toml").write_text('[records]\nlinks = "all"\n', "utf-8")
    assert "out/lab.csv" in seen()


SAID = {
    "bench": (
        "inseminations",
        "Tag,Done,Hands,Pieces,Remark",
        'queen_id = "Tag"\ninseminated_at = "Done"\noperator = "Hands"\n'
        'attempts = "Pieces"\nnote = "Remark"\n',
        "D{n},2025-06-{d},Ada Brun,1,",
    ),
    # what stands in them fits no such column: settings are believed, and rows judged later
    "odd contents": (
        "inseminations",
        "Tag,Done,Hands,Pieces",
        'queen_id = "Tag"\ninseminated_at = "Done"\noperator = "Pieces"\n'
        'dose_ul = "Hands"\n',
        "D{n},2025-06-{d},Ada Brun,2025-01-{d}",
    ),
    # a known word that the settings give another meaning
    "a known word": (
        "inseminations",
        "Queen,Date,Tip,Operator",
        'operator = "Tip"\nprotocol = "Operator"\n',
        "D{n},2025-06-{d},Ada Brun,north",
    ),
    "twice": (
        "inseminations",
        "Queen,Date,Name,Name",
        'operator = "Name (2)"\n',
        "D{n},2025-06-{d},K{n},Ada Brun",
    ),
}


@pytest.mark.parametrize("name", SAID)
@pytest.mark.parametrize("file", ["inseminations.csv", "bench.csv"])
def test_no_heading_that_the_settings_have_is_lost(station, name, file):
    table, headings, columns, row = SAID[name]
    (station / "records" / "bench.csv").unlink()
    rows = [row.format(n=n, d=f"{n:02d}") for n in range(1, 15)]
    text = "\n".join([headings, *rows]) + "\n"
    (station / "records" / file).write_text(text, "utf-8")
    said = f"[columns.{table}]\n{columns}"
    (station / "station.toml").write_text(said, "utf-8")
    _, settings = run(station)
    written = rules(settings)[file, table]["columns"]
    read = {
        ours: theirs["from"] if isinstance(theirs, dict) else theirs
        for ours, theirs in written.items()
    }
    wanted = tomllib.loads(columns)
    assert {ours: read.get(ours) for ours in wanted} == wanted
    assert settings["columns"][table] == wanted
    assert {"queen_id", "inseminated_at"} <= read.keys()
    assert len(set(map(str, read.values()))) == len(read)


def test_a_short_file_takes_the_encoding_of_its_neighbours(station):
    rows = "".join(f"D{n};{10 + n}.06.2025;tak;źrebię żółte\n" for n in range(1, 15))
    text = "Matka;Data przeglądu;Jaja;Uwagi\n" + rows
    put(station, checks=text.encode("cp1250"))
    # no word of it tells which of the two it is
    (station / "records" / "semen.csv").write_bytes("Nasienie;Zebrano;Ř\nS1;2025-05-01;8\n".encode("cp1250"))
    _, settings = run(station, {DATES: "dmy"})
    assert settings["files"]["semen.csv"]["encoding"] == "cp1250"


def wide_book(station, heads, row, to):
    """A workbook whose headings are real days, with findings below them."""
    book = xlsxwriter.Workbook(station / "records" / to)
    sheet = book.add_worksheet("Looks")
    day = book.add_format({"num_format": "d.m."})
    for at, head in enumerate(heads):
        if isinstance(head, dt.date):
            sheet.write_datetime(0, at, dt.datetime.combine(head, dt.time()), day)
        else:
            sheet.write(0, at, head)
    for n in range(1, 15):
        sheet.write_row(n, 0, [f"D{n}", *row])
    book.close()


def test_real_days_as_headings_are_read_by_what_is_written(station):
    (station / "records" / "checks.csv").unlink()
    heads = ["Queen", dt.date(2025, 6, 11), dt.date(2025, 6, 20)]
    wide_book(station, heads, ["eggs", "eggs + larvae"], "looks.xlsx")
    begun, settings = run(station, {DATES: "dmy"})
    assert not begun.open
    assert settings["read"][-1]["each"][0]["day"] == "2025-06-11"
    looks = [row for row in accepted(station, AS_OF)["checks"] if row["queen_id"] == "D1"]
    assert sorted(row["checked_on"] for row in looks) == ["2025-06-11", "2025-06-20"]
    # as the days were called before
    text = (station / "station.toml").read_text("utf-8")
    text = text.replace('check = "2025-06-11"', 'check = "2025-06-11 00:00:00"')
    (station / "station.toml").write_text(text, "utf-8")
    assert len(accepted(station, AS_OF)["checks"]) == 28


EARLY = "column:bench.csv:exits:left_on"


@pytest.mark.parametrize(("answer", "read"), [("yes", True), ("no", False)])
def test_a_day_before_the_insemination_is_no_exit_unless_somebody_says_so(
    station, answer, read
):
    rows = "".join(f"D{n},2025-05-{10 + n},2025-05-{1 + n:02},8\n" for n in range(1, 15))
    (station / "records" / "bench.csv").write_text("Queen,Inseminated on,Taken out,Dose\n" + rows, "utf-8")
    begun = begin(station)
    begun.accept()
    asked = next(question for question in begun.open if question.id == EARLY)
    assert asked.evidence[-1] == "14 of 14 lie before the insemination of their row"
    _, settings = run(station, {EARLY: answer})
    assert (("bench.csv", "exits") in rules(settings)) is read
    assert ("bench.csv", "inseminations") in rules(settings)


def test_a_few_days_before_the_insemination_leave_a_column_what_it_is(station):
    # of 14 the first 10 were taken out a month on; of the last 4 the day is too early
    rows = "".join(
        f"D{n},2025-05-{10 + n},2025-{6 if n < 11 else 5:02}-{n:02},8\n" for n in range(1, 15)
    )
    (station / "records" / "bench.csv").write_text("Queen,Inseminated on,Taken out,Dose\n" + rows, "utf-8")
    begun, settings = run(station)
    assert EARLY not in {question.id for question in begun.open}
    assert ("bench.csv", "exits") in rules(settings)


@pytest.mark.parametrize(
    ("heads", "order", "days"),
    [
        (["6/9", "6/16"], None, ["2026-06-09", "2026-06-16"]),  # the 16th is no month
        (["6/2", "6/9"], "mdy", ["2026-06-02", "2026-06-09"]),
        (["6/2/26", "6/9/26"], "mdy", ["2026-06-02", "2026-06-09"]),
        (["2.6.", "9.6."], "dmy", ["2026-06-02", "2026-06-09"]),
    ],
)
def test_the_order_of_days_over_the_columns_is_judged_and_asked(station, heads, order, days):
    """And their year is that of the file's name, or of the title above them."""
    (station / "records" / "checks.csv").unlink()
    bench = "".join(f"D{n},2026-05-{10 + n},8\n" for n in range(1, 15))
    (station / "records" / "bench.csv").write_text("Queen,Inseminated on,Dose\n" + bench, "utf-8")
    looks = "".join(f"D{n},eggs,larvae\n" for n in range(1, 15))
    text = f"Checks of 2026,,\nQueen,{','.join(heads)}\n{looks}"
    (station / "records" / "looks.csv").write_text(text, "utf-8")
    begun, settings = run(station)
    asked = "dates:looks.csv:checks:checked_on"
    assert (asked in {q.id for q in begun.open}) == bool(order)
    if order:
        assert [slot["day"] for slot in settings["read"][-1]["each"]] == heads
        _, settings = run(station, {asked: order})
    assert [slot["day"] for slot in settings["read"][-1]["each"]] == days
    looks = accepted(station, dt.date(2026, 12, 31))["checks"]
    assert sorted({row["checked_on"] for row in looks}) == days


PARTED = ["ELS 4, Kg", "EL", "E", "ELS 3", "LS 4", "-", "- Kg", "EL Kg", "gone", "ELS 4", "EL", "-"]
NO_BROOD = "eggs = no; larvae = no; sealed = no"
PART_ANSWERS = {
    "word:parts:4": "pattern_pct = 80",
    "word:parts:3": "pattern_pct = 60",
    "word:parts:Kg": "queen_seen = yes",
    "word:parts:-": NO_BROOD,
    "word:findings:gone": "queen_seen = no",
    "absent:*:*:findings": "yes",
}


def parted(station, texts=PARTED, name="checks.csv"):
    rows = "".join(f'D{n},2025-06-{10 + n},"{text}"\n' for n, text in enumerate(texts, 1))
    (station / "records" / name).write_text("Queen,Date,Brood and queen seen\n" + rows, "utf-8")


@pytest.mark.parametrize("at_once", [True, False])
def test_parts_are_asked_in_place_of_every_text_that_is_made_of_them(station, at_once):
    parted(station)
    if at_once:
        run(station, {DATES: "mdy", **PART_ANSWERS})
        assert len(accepted(station, AS_OF)["checks"]) == len(PARTED)
        (station / "station.toml").unlink()
    begun, settings = run(station, {DATES: "mdy"})
    assert {q.id for q in begun.open} >= {*PART_ANSWERS} - {"word:findings:gone"}
    assert not [q.id for q in begun.open if q.id.startswith("word:findings:E")]
    # three letters in one order, and words for eggs, larvae and sealed begin so
    assert settings["words"]["parts"]["S"] == {"sealed": "yes"}
    begun, settings = run(station, {DATES: "mdy", **PART_ANSWERS})
    assert settings["words"]["parts"]["4"] == {"pattern_pct": "80"}
    assert settings["words"]["absent"] == {"eggs": "no", "larvae": "no", "sealed": "no"}
    looks = {row["queen_id"]: row for row in accepted(station, AS_OF)["checks"]}
    whole = looks["D1"]
    assert (whole["eggs"], whole["sealed"], whole["queen_seen"]) == ("yes", "yes", "yes")
    assert float(whole["pattern_pct"]) == 80
    assert (looks["D2"]["larvae"], looks["D2"]["sealed"]) == ("yes", "no")
    assert looks["D5"]["eggs"] == looks["D7"]["eggs"] == "no"
    assert looks["D9"]["queen_seen"] == "no"


PHRASED = [
    *("all stages, 85%, Q seen", "eggs", "all stages, 90%", "eggs, larvae, Q seen", "zork, eggs"),
    *("all stages, 70%, zork", "eggs, larvae", "nothing", "all stages, 95%, Q seen", "eggs, Q seen"),
    *("all stages, 60%", "nothing, Q seen"),
]


def test_phrases_between_commas_are_asked_in_place_of_every_text(station):
    parted(station, PHRASED)
    begun, settings = run(station, {DATES: "mdy", "absent:*:*:findings": "yes"})
    asked = {question.id for question in begun.open if question.kind == "word"}
    assert asked == {"word:parts:zork"}
    _, settings = run(station, {"word:parts:zork": "queen_cells = swarm"})
    assert settings["words"]["parts"]["{pattern_pct}"] == {}
    looks = {row["queen_id"]: row for row in accepted(station, AS_OF)["checks"]}
    assert float(looks["D1"]["pattern_pct"]) == 85
    assert (looks["D1"]["queen_seen"], looks["D1"]["sealed"]) == ("yes", "yes")
    assert (looks["D4"]["larvae"], looks["D4"]["sealed"]) == ("yes", "no")
    assert looks["D6"]["queen_cells"] == "swarm"
    parted(station, ["all stages, 66%, zork, Q seen"], "late.csv")
    again, _ = run(station)
    assert not [q.id for q in again.asked if q.kind in ("word", "absent")]


def test_a_text_put_together_anew_of_known_parts_is_not_asked_about(station):
    parted(station)
    run(station, {DATES: "mdy", **PART_ANSWERS})
    parted(station, ["LS 3, Kg", "E 4", "S"], "late.csv")
    again, _ = run(station)
    assert not [q.id for q in again.asked if q.kind in ("word", "absent")]
    parted(station, ["LS 3, Dr"], "later.csv")
    again, _ = run(station)
    assert [q.id for q in again.open if q.kind == "word"] == ["word:parts:Dr"]


def fated(station, *more):
    cells = ["eggs", "sold", "superseded", "zork", *["eggs"] * 10]
    rows = "".join(f"D{n},{text},{'' if n in (2, 3, 4) else 'eggs'}\n" for n, text in enumerate(cells, 1))
    text = "Queen,2025-06-11,2025-06-20\n" + rows + "".join(more)
    (station / "records" / "checks.csv").write_text(text, "utf-8")


@pytest.mark.parametrize("later", [True, False])
def test_how_she_went_under_a_look_is_an_exit_on_its_day(station, later):
    fated(station)
    answers = {"word:findings:zork": "queen_seen = no; exit = missing"}
    begun, settings = run(station, {DATES: "mdy"} | ({} if later else answers))
    if later:
        assert "word:findings:zork" in {question.id for question in begun.open}
        begun, settings = run(station, answers)
    assert "exit" not in str(settings["words"])  # which is nothing that a look finds
    read = accepted(station, AS_OF)
    gone = {row["queen_id"]: (row["reason"], row["left_on"]) for row in read["exits"]}
    assert gone == {
        "D2": ("sold", "2025-06-11"),
        "D3": ("superseded", "2025-06-11"),
        "D4": ("missing", "2025-06-11"),
    }
    looks = {row["queen_id"]: row for row in read["checks"]}
    assert looks["D4"]["queen_seen"] == "no"
    again, same = run(station)
    assert same == settings
    assert not again.open


def test_sheets_alike_have_one_rule_for_marks_whatever_colour_a_year_has(station):
    for year, colour in ((2025, "blue"), (2026, "white")):
        rows = "".join(f"{colour[0].upper()}{n},{colour if n % 2 else ''},{year}-05-{10 + n}\n" for n in range(1, 9))
        (station / "records" / f"queens {year}.csv").write_text("Queen,Mark,Hatched\n" + rows, "utf-8")
    asked = "filled:queens 2025.csv:queens:marked"
    _, settings = run(station, {DATES: "mdy", asked: "yes"})
    marked = [rule["columns"]["marked"] for rule in settings["read"] if rule["table"] == "queens"]
    assert marked == [{"from": "Mark", "filled": "yes"}]


def test_words_are_answered_beside_an_exits_rule_of_one_reason(station):
    rows = "".join(f"D{n},2025-07-{n:02}\n" for n in range(1, 9))
    (station / "records" / "sold.csv").write_text("Queen,Date\n" + rows, "utf-8")
    looks = "".join(f"D{n},2025-06-{10 + n},{'zork' if n % 2 else 'eggs'}\n" for n in range(1, 15))
    (station / "records" / "checks.csv").write_text("Queen,Check date,Seen\n" + looks, "utf-8")
    run(station, {DATES: "mdy"})
    _, settings = run(station, {"word:findings:zork": "eggs = no"})
    assert settings["words"]["findings"]["zork"] == {"eggs": "no"}


REMARKED = ["sold 9.7. to Ada", "12.6. superseded", "never laid, pinched 9.6.", "gentle", "kept; 3.8. 4.8.",
            "in hive 4 2.7.", "in hive 4 3.7."]


@pytest.mark.parametrize("later", [True, False])
def test_remarks_with_a_day_that_say_how_queens_went_are_exits(station, later):
    rows = "".join(f'D{n},11.5.2025,8,"{text}"\n' for n, text in enumerate(REMARKED, 1))
    more = "".join(f"D{n},11.5.2025,8,\n" for n in range(8, 15))
    (station / "records" / "bench.csv").write_text("Queen,Inseminated on,Dose,Remarks\n" + rows + more, "utf-8")
    asked, moved = "fates:*:exits:Remarks", "word:reason:in hive 4"
    answers = {DATES: "dmy", asked: "yes", moved: "moved"}
    if later:
        begun, settings = run(station, {DATES: "dmy"}, accept=False)
        assert asked in {question.id for question in begun.open}
        assert "apart" not in settings.get("files", {}).get("bench.csv", {})
    run(station, answers)
    gone = {row["queen_id"]: (row["reason"], row["left_on"]) for row in accepted(station, AS_OF)["exits"]}
    assert gone == {
        "D1": ("sold", "2025-07-09"),
        "D2": ("superseded", "2025-06-12"),
        "D3": ("culled_fault", "2025-06-09"),
        "D6": ("moved", "2025-07-02"),
        "D7": ("moved", "2025-07-03"),
    }


def test_remarks_that_hardly_say_how_queens_went_are_left(station):
    words = ["fed 1.6.", "moved frame 2.6.", "mite count 3.6.", "sold 4.6.", "fed 5.6.", "weak 6.6."]
    rows = "".join(f"D{n},11.5.2025,8,{text}\n" for n, text in enumerate(words, 1))
    (station / "records" / "bench.csv").write_text("Queen,Inseminated on,Dose,Remarks\n" + rows, "utf-8")
    begun, _ = run(station, {DATES: "dmy"})
    assert not [q.id for q in begun.asked if q.kind == "fates"]


def test_what_is_told_in_a_column_of_its_own_is_no_exit_twice(station):
    rows = "".join(
        f"D{n},2025-06-11," + ("sold,2025-06-20,sold\n" if n > 9 else "eggs,,\n")
        for n in range(1, 15)
    )
    (station / "records" / "checks.csv").write_text("Queen,Check date,Seen,Left on,Reason\n" + rows, "utf-8")
    begun, settings = run(station, {DATES: "mdy"})
    assert ("checks.csv", "exits") in rules(settings)
    assert "word:findings:sold" in {question.id for question in begun.open}


def test_the_volume_in_a_syringe_is_the_dose_and_no_tip(station):
    rows = "".join(f"D{n},2025-05-{10 + n},8\n" for n in range(1, 15))
    (station / "records" / "bench.csv").write_text("Queen,Inseminated on,Syringe (µl)\n" + rows, "utf-8")
    _, settings = run(station)
    assert rules(settings)["bench.csv", "inseminations"]["columns"]["dose_ul"] == "Syringe (µl)"


def test_ones_and_noughts_are_yes_and_no(station):
    rows = "".join(f"D{n},2025-06-{10 + n},{n % 2},{(n + 1) % 2}\n" for n in range(1, 15))
    put(station, checks="Queen,Check date,Eggs,Queen seen\n" + rows)
    begun, settings = run(station, {DATES: "dmy"})
    assert not begun.open
    columns = rules(settings)["checks.csv", "checks"]["columns"]
    assert (columns["eggs"], columns["queen_seen"]) == ("Eggs", "Queen seen")


@pytest.mark.parametrize("day", ["{}/6", "{}.6.", "Zzt. {:02}/06", "{} June"])
def test_a_sheet_of_days_that_cannot_be_read_is_not_left_out_unasked(station, day):
    rows = "".join(f"{day.format(n)},x,y\n" for n in range(1, 6))
    (station / "records" / "odd.csv").write_text("Zorb,Plonk,Fleem\n" + rows, "utf-8")
    begun, settings = run(station)
    asked = next(question for question in begun.open if question.id == "ignore:odd.csv:*:*")
    assert asked.evidence[1].startswith("5 texts in one column look like days")
    assert "odd.csv" not in settings["records"].get("ignore", [])


BELOW = """
Semen 2025,,
Semen batch,Collected on,Volume
S1,2025-05-01,80
S2,2025-05-02,90
"""


def test_a_second_table_below_the_first_is_a_sheet_of_its_own(station):
    bench = (station / "records" / "bench.csv").read_text("utf-8")
    (station / "records" / "bench.csv").write_text(bench + BELOW, "utf-8")
    _, settings = run(station, {DATES: "mdy", "dates:checks.csv:checks:checked_on": "mdy"})
    assert settings["files"]["bench.csv"]["tables_below"] == ["Semen 2025"]
    assert ("bench.csv//Semen 2025", "semen") in rules(settings)
    read = accepted(station, AS_OF)
    assert [row["semen_batch"] for row in read["semen"]] == ["S1", "S2"]
    assert len(read["inseminations"]) == 14
    # the settings speak of both now
    again, _ = run(station)
    assert not again.new


@pytest.mark.parametrize(
    "more",
    [
        BELOW.lstrip("\n"),  # right under the last row: it may be one
        BELOW.replace("S2,2025-05-02,90\n", ""),
        "\nQueen,Date,Operator,Dose\nD20,9/9/2025,Ada Brun,8\nD21,9/9/2025,Ada Brun,8\n",
    ],
)
def test_what_may_be_the_same_table_is_not_parted(station, more):
    bench = (station / "records" / "bench.csv").read_text("utf-8")
    (station / "records" / "bench.csv").write_text(bench + more, "utf-8")
    _, settings = run(station)
    assert "tables_below" not in settings.get("files", {}).get("bench.csv", {})


def test_a_turkish_file_gets_its_encoding_and_its_days_are_read(station):
    rows = "".join(f"D{n};Pzt {d:02}.06.2026;var;gözü şişkin\n" for n, d in enumerate((1, 8, 15), 1))
    put(station, checks=("Ana no;Kontrol tarihi;Yumurta;Açıklama\n" + rows).encode("cp1254"))
    _, settings = run(station, {DATES: "dmy"})
    assert settings["files"]["checks.csv"]["encoding"] == "cp1254"
    first = accepted(station, dt.date(2026, 12, 31))["checks"][0]
    assert (first["checked_on"], first["note"]) == ("2026-06-01", "gözü şişkin")


@pytest.mark.parametrize("heads", ["1st dose,2nd dose", "Dose,Dose 2"])
def test_two_doses_of_a_day_are_one_dose_in_two_parts(station, heads):
    rows = "".join(f"D{n},2025-05-{10 + n},{4 if n > 1 else ''},{'' if n == 2 else 4}\n" for n in range(1, 15))
    (station / "records" / "bench.csv").write_text(f"Queen,Inseminated on,{heads}\n" + rows, "utf-8")
    _, settings = run(station, {"dates:checks.csv:checks:checked_on": "mdy"})
    columns = rules(settings)["bench.csv", "inseminations"]["columns"]
    assert columns["dose_ul"] == heads.split(",")
    doses = {row["queen_id"]: row["dose_ul"] for row in accepted(station, AS_OF)["inseminations"]}
    assert [float(doses[f"D{n}"]) for n in (1, 2, 3)] == [4, 4, 8]


def test_a_mark_that_nobody_looked_is_no_check_under_a_day(station):
    rows = "".join(f"D{n},{'eggs' if n % 2 else '-'},{'-' if n % 2 else 'eggs'}\n" for n in range(1, 15))
    put(station, checks="Queen,2025-06-11,2025-06-20\n" + rows)
    _, settings = run(station, {DATES: "mdy", "word:findings:-": "not looked"})
    assert settings["words"]["empty"] == ["-"]
    looks = {(row["queen_id"], row["checked_on"]) for row in accepted(station, AS_OF)["checks"]}
    assert len(looks) == 14
    assert ("D1", "2025-06-11") in looks
    assert ("D2", "2025-06-20") in looks


def test_a_few_days_with_the_year_first_in_two_figures_are_told_from_years_behind(station):
    days = ["26.05.20", "26.05.27", "26.06.03", "26.06.10", "26.06.17"]
    bench = "".join(f"D{n},{day}.,8\n" for n, day in enumerate(days, 1))
    (station / "records" / "bench.csv").write_text("Queen,Inseminated on,Dose\n" + bench, "utf-8")
    put(station, checks="Queen,Check date,Eggs\n" + "".join(f"D{n},h {day},yes\n" for n, day in enumerate(("06.22.", "06.29.", "07.06."), 1)))
    _, settings = run(station)
    assert settings["files"]["bench.csv"]["dates"] == "ymd"
    read = accepted(station, dt.date(2026, 12, 31))
    assert read["inseminations"][0]["inseminated_at"].startswith("2026-05-20")
    assert sorted(row["checked_on"] for row in read["checks"])[0] == "2026-06-22"


def test_a_day_written_once_for_several_rows_holds_for_them(station):
    rows = "".join(
        f"D{n},{f'2025-06-{10 + n}' if n % 4 == 1 else ''},{'yes' if n % 3 else 'no'}\n"
        for n in range(1, 15)
    )
    put(station, checks="Queen,Check date,Eggs\n" + rows)
    _, settings = run(station, {DATES: "dmy"})
    assert settings["files"]["checks.csv"]["fill_down"] == ["Check date"]
    looks = {row["queen_id"]: row["checked_on"] for row in accepted(station, AS_OF)["checks"]}
    assert (len(looks), looks["D4"], looks["D5"]) == (14, "2025-06-11", "2025-06-15")


def bench_book(station, days, heads=("No", "Done on", "Dose", "Semen")):
    """A workbook of a sheet for each graft, of few days, each written over its queens."""
    book = xlsxwriter.Workbook(station / "records" / "book.xlsx")
    for number, own in enumerate(days, 1):
        sheet = book.add_worksheet(f"Graft {number}")
        sheet.write_row(0, 0, heads)
        for n in range(8):
            new = n in own
            semen = f"S{number}{n}" if new else ""
            sheet.write_row(n + 1, 0, [f"D{n + 1 + 8 * (number - 1)}", own.get(n, ""), 8, semen])
    book.close()


def test_a_day_over_its_rows_is_seen_in_all_sheets_of_a_workbook(station):
    (station / "records" / "bench.csv").unlink()
    bench_book(station, [{0: "2025-05-11"}, {0: "2025-05-20", 5: "2025-05-21"}])
    begun, settings = run(station)
    name = "fill:book.xlsx#Graft 1:inseminations:semen_batch"  # of both, which are alike
    assert [q.id for q in begun.open if q.kind == "fill"] == [name]  # no default fits names
    assert settings["files"]["book.xlsx#Graft 1"]["fill_down"] == ["Done on"]
    begun, settings = run(station, {name: "yes"})  # in a later run
    assert not [q.id for q in begun.open if q.kind == "fill"]
    assert settings["files"]["book.xlsx#Graft 2"]["fill_down"] == ["Done on", "Semen"]
    done = {row["queen_id"]: row for row in accepted(station, AS_OF)["inseminations"]}
    assert done["D8"]["inseminated_at"].startswith("2025-05-11")
    assert (done["D13"]["semen_batch"], done["D16"]["semen_batch"]) == ("S20", "S25")


def test_a_queen_named_once_on_a_colony_s_card_is_asked_about(station):
    (station / "records" / "checks.csv").unlink()
    rows = "".join(
        f"{1 + n // 4},2025-06-{10 + n},{f'D{1 + n // 4}' if n % 4 == 0 else ''},{'yes' if n % 4 else ''}\n"
        for n in range(16)
    )
    (station / "records" / "cards.csv").write_text("Colony,Check date,Queen,Eggs\n" + rows, "utf-8")
    asked = "fill:cards.csv:checks:queen_id"
    begun, _ = run(station, {DATES: "mdy"})
    assert [q.default for q in begun.open if q.id == asked] == [None]
    _, settings = run(station, {asked: "yes"})
    assert settings["files"]["cards.csv"]["fill_down"] == ["Queen"]
    looks = accepted(station, AS_OF)["checks"]
    assert [row["queen_id"] for row in looks][:5] == ["D1", "D1", "D1", "D1", "D2"]


def test_numbers_of_two_years_are_asked_about_where_days_have_no_year(station):
    for year, first in ((2025, "26.5."), (2026, "11.06.")):
        rows = "".join(f"{100 + n},{first if n < 8 else '27.6.'},8\n" for n in range(14))
        (station / "records" / f"bench {year}.csv").write_text("Queen,Inseminated on,Dose\n" + rows, "utf-8")
    (station / "records" / "bench.csv").unlink()
    begun, _ = run(station, accept=False)
    (asked,) = [q for q in begun.asked if q.kind == "prefix"]
    assert asked.evidence[1:3] == ["bench 2025.csv: 25-", "bench 2026.csv: 26-"]


@pytest.mark.parametrize(
    "rows",
    [
        # nothing is written beside the day that lacks: nobody looked yet
        "".join(f"D{n},{f'2025-06-{10 + n}' if n % 4 else ''},{'yes' if n % 4 else ''}\n" for n in range(1, 15)),
        # a day stands in each of its rows, and lacks in some
        "".join(f"D{n},{f'2025-06-{10 + n // 4}' if n % 4 else ''},yes\n" for n in range(1, 15)),
        "".join(f"D{n},{f'2025-06-{10 + n}' if n % 4 > 1 else ''},yes\n" for n in range(1, 15)),
    ],
    ids=["not done", "in each row", "from the second row on"],
)
def test_a_day_that_lacks_is_not_taken_from_above(station, rows):
    put(station, checks="Queen,Check date,Eggs\n" + rows)
    _, settings = run(station, {DATES: "dmy"})
    assert "fill_down" not in settings.get("files", {}).get("checks.csv", {})


def test_numbers_with_and_without_their_letter_are_one_queen(station):
    ids = ["Q1", "q2", "3", "Q-4", "Q 005", *map(str, range(6, 15))]
    rows = "".join(f"{label},2025-06-{10 + n},yes\n" for n, label in enumerate(ids, 1))
    put(station, checks="Queen,Check date,Eggs\n" + rows)
    bench = "".join(f"Q{n},2025-05-{10 + n},8\n" for n in range(1, 15))
    (station / "records" / "bench.csv").write_text("Queen,Inseminated on,Dose\n" + bench, "utf-8")
    _, settings = run(station)
    assert settings["files"]["checks.csv"]["prefix"] == {"queen_id": "Q"}
    assert settings["records"]["fold"][0] == "queen_id"
    looks = {row["queen_id"] for row in accepted(station, AS_OF)["checks"]}
    assert looks == {f"Q{n}" for n in range(1, 15)}


def test_a_column_of_how_queens_go_beside_their_looks_is_that_of_exits(station):
    rows = "".join(f"D{n},2025-06-{10 + n},{'yes' if n < 13 else ''},{'dead' if n > 11 else ''}\n" for n in range(1, 15))
    put(station, checks="Queen,Date,Eggs,Reason\n" + rows)
    run(station, {DATES: "dmy"})
    read = accepted(station, AS_OF)
    assert {row["queen_id"]: row["left_on"] for row in read["exits"]} == {
        "D12": "2025-06-22",
        "D13": "2025-06-23",
        "D14": "2025-06-24",
    }
    # where nothing was found nobody says that she was looked for
    assert {row["queen_id"] for row in read["checks"]} == {f"D{n}" for n in range(1, 13)}


def test_prefixes_of_two_columns_are_answered_one_after_the_other(station):
    for year, dose in ((2025, 8), (2026, 9)):
        rows = "".join(f"D{n},{13 + n}.6.{year},I,{dose}\n" for n in range(1, 6))
        put(station, **{f"bench_{year}": "Queen,Date,Graft batch,Dose\n" + rows})
    (station / "records" / "bench.csv").unlink()
    queens, batches = (
        f"prefix:*:inseminations:{name}" for name in ("queen_id", "graft_batch")
    )
    begun, settings = run(station, {queens: "yes"}, accept=False)
    assert batches in {question.id for question in begun.open}
    assert settings["files"]["bench_2026.csv"]["prefix"] == "26-"
    begun, settings = run(station, {batches: "yes"}, accept=False)
    assert batches not in {question.id for question in begun.open}
    assert settings["files"]["bench_2026.csv"]["prefix"] == {
        "graft_batch": "26-",
        "queen_id": "26-",
    }


def test_a_sheet_tells_of_exits_under_its_looks_and_in_its_remarks(station):
    rows = "".join(
        f"D{n},11.5.2025,8,{10 + n}.6.2025,{'eggs' if n % 3 else 'bare box'},{n}.7.2025,{'larvae' if n % 4 else 'bare box'},"
        f"{f'sold {10 + n}.8.2025' if n % 2 else ''}\n"
        for n in range(1, 15)
    )
    heads = "Queen,Inseminated on,Dose,1st check date,1st check,2nd check date,2nd check,Remarks\n"
    (station / "records" / "bench.csv").write_text(heads + rows, "utf-8")
    run(station, {}, accept=False)
    answers = {
        "words:*:*:*": "yes",
        "fates:*:exits:Remarks": "yes",
        "word:findings:bare box": "exit = missing",
    }
    _, settings = run(station, answers)
    looks, remarks = (rule for rule in settings["read"] if rule["table"] == "exits")
    if "each" not in looks:
        looks, remarks = remarks, looks
    assert looks["columns"]["left_on"].startswith("{")
    assert looks["columns"]["reason"]["words"] == {"missing": ["bare box"]}
    assert remarks["columns"]["left_on"] == "Remarks (day)"
    assert remarks["columns"]["reason"] == "Remarks (words)"
