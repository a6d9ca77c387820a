"""`map` on the command line: exit codes, JSON, and what it leaves open."""

import io
import json
import tomllib
import zipfile

import opendocument_files as ods
import polars as pl
import pytest
import xlsxwriter

BENCH = "Queen,Date,Operator,Dose\n" + "".join(
    f"D{n},{1 + n % 9}/{1 + n * 3 % 9}/2025,Ada Brun,8\n" for n in range(1, 15)
)
CHECKS = "Queen,Checked,Eggs\n" + "".join(
    f"D{n},2025-07-{10 + n},yes\n" for n in range(1, 15)
)
DATES = "dates:bench.csv:inseminations:inseminated_at"


@pytest.fixture
def station(tmp_path):
    records = tmp_path / "records"
    records.mkdir()
    (records / "bench.csv").write_text(BENCH, "utf-8")
    (records / "checks.csv").write_text(CHECKS, "utf-8")
    return tmp_path


def test_an_open_question_ends_with_1(command, station):
    ran = command("map", station, "--accept", "--json")
    told = json.loads(ran.out)
    assert ran.code == 1
    assert told["open"] == [DATES]
    assert told["questions"][0]["options"].keys() == {"dmy", "mdy"}
    assert f'# OPEN "{DATES}"' in (station / "station.toml").read_text("utf-8")


def test_answered_it_ends_with_0_and_shows_five_rows_a_table(command, station):
    answers = station / "answers.toml"
    answers.write_text(f'"{DATES}" = "mdy"\n', "utf-8")
    ran = command("map", station, "--accept", "--answers", answers, "--json")
    told = json.loads(ran.out)
    assert ran.code == 0
    assert {table: len(rows) for table, rows in told["tables"].items()} == {
        "inseminations": 5,
        "checks": 5,
    }
    assert told["tables"]["inseminations"][0]["inseminated_at"] == "2025-02-04T00:00:00"
    before = (station / "station.toml").read_bytes()
    again = command("map", station, "--accept")
    assert (again.code, "nothing new: the settings stay" in again.err) == (0, True)
    assert (station / "station.toml").read_bytes() == before


def test_an_unknown_answer_ends_with_2_and_writes_nothing(command, station):
    answers = station / "answers.toml"
    answers.write_text(
        '"dates:bench.csv:inseminations:inseminated_on" = "mdy"\n', "utf-8"
    )
    ran = command("map", station, "--answers", answers)
    assert ran.code == 2
    assert DATES in ran.err
    assert not (station / "station.toml").exists()


def test_without_records_it_ends_with_3(command, tmp_path):
    ran = command("map", tmp_path)
    assert ran.code == 3
    assert "no folder of records" in ran.err


def test_defaults_that_are_taken_are_told_with_what_supports_them(command, station):
    checks = station / "records" / "checks.csv"
    checks.write_text(CHECKS.replace("yes", "jawohl"), "utf-8")
    ran = command("map", station, "--accept")
    assert "taken: words:*:*:* = yes" in ran.out
    assert 'yes_no: "jawohl" (14) -> yes' in ran.out


def missing(told: str) -> list[str]:
    """Tables that no sheet was found for."""
    said = "note: no sheet was found that holds "
    return [line.removeprefix(said) for line in told.splitlines() if said in line]


def test_what_no_sheet_holds_is_told_while_there_is_news(command, station):
    checks = station / "records" / "checks.csv"
    assert missing(command("map", station, "--accept").err) == []
    checks.unlink()
    (station / "station.toml").unlink()
    assert missing(command("map", station, "--accept").err) == ["checks"]
    # what was read before has been told
    assert missing(command("map", station, "--accept").err) == []


def workbook(*rows):
    out = io.BytesIO()
    with xlsxwriter.Workbook(out) as book:
        sheet = book.add_worksheet("Bench")
        for number, row in enumerate(rows):
            sheet.write_row(number, 0, row)
    return out.getvalue()


def repacked(content, part, old, new):
    """Change a part of a workbook, so that only what is in it is wrong."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as book, zipfile.ZipFile(out, "w") as other:
        for name in book.namelist():
            text = book.read(name)
            assert name != part or text.count(old) == 1
            other.writestr(name, text.replace(old, new) if name == part else text)
    return out.getvalue()


def parquet():
    out = io.BytesIO()
    pl.DataFrame({"Queen": [f"D{n}" for n in range(99)]}).write_parquet(out)
    return out.getvalue()


def opendocument():
    out = io.BytesIO()
    ods.write(out, [ods.row("Queen")])
    return out.getvalue()


BOOK = workbook(["Queen", "Date"], ["D1", "2025-06-01"], ["D2", 8])
ODS = opendocument()
SHEET, TEXTS = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"
OLE = bytes.fromhex("d0cf11e0a1b11ae1") + bytes(600)
UNREADABLE = {
    "a sheet that is not XML": ("old.xlsx", repacked(BOOK, SHEET, b"</row></sheetData>", b"</row")),
    "texts that are not XML": ("old.xlsx", repacked(BOOK, TEXTS, b"</sst>", b"</")),
    "a style that is not there": ("old.xlsx", repacked(BOOK, SHEET, b'r="A1"', b'r="A1" s="99"')),
    "a text that is not there": ("old.xlsx", repacked(BOOK, SHEET, b"<v>0</v>", b"<v>99</v>")),
    "a number that is none": ("old.xlsx", repacked(BOOK, SHEET, b"<v>8</v>", b"<v>eight</v>")),
    "a number beyond any": ("old.xlsx", repacked(BOOK, SHEET, b"<v>8</v>", b"<v>8" + b"0" * 400 + b"</v>")),
    "a workbook without its kinds": ("old.xlsx", repacked(BOOK, "[Content_Types].xml", b"<Types", b"<T")),
    "cells that are not XML": ("old.ods", repacked(ODS, "content.xml", b"</table:table-cell>", b"</")),
    "a number in an .ods that is none": ("old.ods", repacked(ODS, "content.xml", b"string", b"float")),
    "half a file": ("old.parquet", parquet()[:-60]),
    "a page that is none": ("old.parquet", parquet()[:4] + b"\x1f" * 16 + parquet()[20:]),
    "text under another name": ("old.parquet", BENCH.encode()),
    "a password": ("old.xlsx", OLE),
    "no byte": ("old.ods", b""),
    "no byte, and a sign that parts sheets": ("old #2.csv", b""),
    "no text": ("old.csv", b"\n\n"),
    "no text in any sheet": ("old.xlsx", workbook()),
}


@pytest.mark.parametrize("what", UNREADABLE)
def test_what_cannot_be_read_is_asked_about_and_never_left_out(command, station, what):
    name, content = UNREADABLE[what]
    (station / "records" / name).write_bytes(content)
    ran = command("map", station, "--accept", "--json")
    assert ran.code == 1, ran.err
    text = (station / "station.toml").read_text("utf-8")
    assert f'# OPEN "ignore:{name}:*:*": Nothing could be read in "{name}"; ' in text
    assert f"ignore:{name}:*:*" in json.loads(ran.out)["open"]
    assert name not in tomllib.loads(text)["records"].get("ignore", [])


def evidence(ran, asked):
    (found,) = (q for q in json.loads(ran.out)["questions"] if q["id"] == asked)
    return found["evidence"]


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("old.xlsx", OLE, "take the password off, and save it as .xlsx"),
        ("old.csv", BOOK, "a zip file, as .xlsx workbooks are); rename it to .xlsx"),
        ("old.xlsx", BENCH.encode(), "(a text); rename it to .csv, or "),
        ("old.ods", b"<html><table>", "not an .ods workbook (a web page or "),
        ("old.ods", b"\0\1", "save it as .ods, or give it the ending of what it is"),
        ("old.csv", b"", "the file is empty; export it again, or "),
        ("old.parquet", BENCH.encode(), "open it in the program that wrote it, and save it again"),
    ],
    # a workbook's bytes hold the second in which it was made, and workers collect apart
    ids=("password", "zip", "text", "page", "nothing known", "empty", "text as parquet"),
)
def test_of_what_cannot_be_opened_it_is_told_what_to_do(command, station, name, content, told):
    (station / "records" / name).write_bytes(content)
    ran = command("map", station, "--json")
    (line,) = evidence(ran, f"ignore:{name}:*:*")
    assert line.startswith("it cannot be opened: ")
    assert told in line
    assert "\n" not in line


def test_parquet_is_looked_at_as_it_is_read(command, station):
    rows = [line.split(",") for line in CHECKS.splitlines()[1:]]
    frame = pl.DataFrame(rows, schema=["Queen", "Checked", "Eggs"], orient="row")
    (station / "records" / "checks.csv").unlink()
    place = station / "records" / "year=2025"
    place.mkdir()
    frame.with_columns(pl.col("Checked").str.to_date()).write_parquet(place / "looks [1].parquet")
    ran = command("map", station, "--accept", "--json")
    (rule,) = (
        rule
        for rule in tomllib.loads((station / "station.toml").read_text("utf-8"))["read"]
        if rule["table"] == "checks"
    )
    assert rule["columns"] == {"queen_id": "Queen", "checked_on": "Checked", "eggs": "Eggs"}
    read = json.loads(ran.out)["tables"]["checks"]
    assert [row["checked_on"] for row in read] == [f"2025-07-{10 + n}" for n in range(1, 6)]


def test_control_characters_never_spoil_the_settings(command, station):
    zorbed = CHECKS.replace("Checked", "Zor\x01bed")
    (station / "records" / "checks.csv").write_text(zorbed, "utf-8")
    (station / "records" / "old\x7f\t.csv").write_bytes(b"")
    ran = command("map", station, "--accept", "--json")
    assert ran.code == 1, ran.err
    told = json.loads(ran.out)
    assert {"ignore:old\x7f\t.csv:*:*", "column:checks.csv:checks:checked_on"} <= {*told["open"]}
    text = (station / "station.toml").read_text("utf-8")
    assert {sign for sign in text if ord(sign) < 32 or sign == "\x7f"} == {"\n"}
    assert r'# OPEN "ignore:old\u007f\t.csv:*:*": ' in text
    assert r'is "Zor\u0001bed" the column checked_on?' in text
    tomllib.loads(text)
    assert command("map", station, "--accept").code == 1
    assert (station / "station.toml").read_text("utf-8") == text


def test_blank_forms_stay_what_they_are_and_are_asked_about_once_they_are_filled_in(
    command, tmp_path
):
    place = tmp_path / "new"
    assert command("new", place).code == 0
    before = (place / "station.toml").read_bytes()
    ran = command("map", place, "--accept")
    assert ran.code == 0, ran.out
    assert '"records.xlsx#checks"' in ran.err
    assert (place / "station.toml").read_bytes() == before
    (place / "records" / "records.xlsx").unlink()
    form = place / "records" / "left.csv"
    form.write_text("Queen,Died,Reason\n", "utf-8")
    ran = command("map", place, "--accept")
    assert '"left.csv"; run `queen-outcomes map` again once there are rows' in ran.err
    form.write_text("Queen,Died,Reason\nD1,2025-06-01,dead\n", "utf-8")
    command("map", place, "--accept")
    settings = tomllib.loads((place / "station.toml").read_text("utf-8"))
    assert [(r["from"], r["table"]) for r in settings["read"]] == [("left.csv", "exits")]
    assert "left.csv" not in settings["records"].get("ignore", [])


def test_what_stays_unread_is_told_in_short_and_by_name_where_it_has_one(command, station):
    names = [f"Frame {n}" for n in range(1, 31)]
    rows = [line.split(",") for line in CHECKS.splitlines()]
    wide = [[*rows[0], *names, ""], *([*row, *("7" * 31)] for row in rows[1:])]
    (station / "records" / "checks.csv").write_text(
        "\n".join(map(",".join, wide)) + "\n", "utf-8"
    )
    ran = command("map", station, "--accept")
    (line,) = (line for line in ran.err.splitlines() if "not read:" in line)
    assert '"Frame 10"' in line
    assert "and 21 more" in line
    assert '""' not in line


def test_an_open_question_is_told_with_what_may_be_answered(command, station):
    looks = [f"Q{at},2026-05-{20 + at},{at}" for at in range(1, 6)]
    records = station / "records"
    (records / "looks.csv").write_text(
        "\n".join(["Queen,Checked on,Brood pattern", *looks]), encoding="utf-8"
    )
    done = [f"Q{at},2026-05-01" for at in range(1, 6)]
    (records / "inseminations.csv").write_text(
        "\n".join(["Queen,Inseminated on", *done]), encoding="utf-8"
    )
    told = command("map", station).out
    _, _, asked = told.partition("open: percent:looks.csv:checks:pattern_pct")
    lines = [line.strip() for line in asked.splitlines()]
    assert any(line.startswith("score: a score, such as 1 to 5") for line in lines)
    assert "percent: per cent: 4 is 4 per cent of the cells" in lines
