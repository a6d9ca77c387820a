"""`map` on the command line: exit codes, JSON, and what it leaves open."""

import json

import pytest

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
    assert command("map", station, "--accept").code == 0
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
