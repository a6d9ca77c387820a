"""A second dose on a row of its own, whose queen cell says that it is one."""

import datetime as dt

import pytest
from mapped_stations import run
from queen_outcomes.records.map.asked import again
from queen_outcomes.records.map.running import begin
from reading import accepted

AS_OF = dt.date(2026, 12, 31)
ASKED = "again:bench.csv:inseminations:queen_id"
ROWS = ["D1,2026-06-02,4,Ada", '{},2026-06-04,4,„', "D2,2026-06-02,8,Eve", "D3,2026-06-02,8,Ada"]


def station(tmp_path, word="2nd", head="Queen,Inseminated,Dose,By", rows=ROWS):
    (tmp_path / "records").mkdir()
    bench = "\n".join([head, *rows]).replace("{}", word)
    (tmp_path / "records" / "bench.csv").write_text(bench, "utf-8")
    looks = "Queen,Check date,Eggs\n" + "".join(f"D{n},2026-06-2{n},yes\n" for n in (1, 2, 3))
    (tmp_path / "records" / "looks.csv").write_text(looks, "utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("text", "told"),
    [
        *[(text, True) for text in ("2nd", "2nd dose", "second", "2. Dosis", "dose 2", "2ª", "2ª dose", "3rd")],
        *[(text, False) for text in ("2", "2a", "2.", "D2", "1st", "Q 2nd", "dose", "2e", "B12", "")],
    ],
)
def test_words_for_a_further_dose(text, told):
    assert again.says_again(text) == told


@pytest.mark.parametrize("later", [True, False])
def test_a_further_dose_is_of_the_queen_above(tmp_path, later):
    station(tmp_path)
    if later:
        begun, settings = run(tmp_path, accept=False)
        assert ASKED in {question.id for question in begun.open}
        assert "bench.csv" not in settings.get("files", {})
    _, settings = run(tmp_path, {ASKED: "yes"})
    assert settings["files"]["bench.csv"]["ditto"] == ["„", "2nd"]
    rows = accepted(tmp_path, AS_OF)["inseminations"]
    assert [row["queen_id"] for row in rows] == ["D1", "D1", "D2", "D3"]
    assert [row["operator"] for row in rows] == ["Ada", "Ada", "Eve", "Ada"]


def test_what_is_answered_to_be_a_label_stays_one(tmp_path):
    _, settings = run(station(tmp_path), {ASKED: "no"})
    assert "bench.csv" not in settings.get("files", {})


@pytest.mark.parametrize(
    ("word", "head", "rows"),
    [
        ("2a", "Queen,Inseminated,Dose,By", ROWS),
        # above the first row nobody stands
        ("2nd", "Queen,Inseminated,Dose,By", [ROWS[1], *ROWS[2:]]),
        # where it stands in another column as well, that would take the value above too
        ("2nd", "Queen,Inseminated,Dose,Which", [*ROWS[:1], "{},2026-06-04,4,2nd", *ROWS[2:]]),
        # more than a few are no rows of second doses
        ("2nd", "Queen,Inseminated,Dose,By", [ROWS[0], *([ROWS[1]] * 3)]),
    ],
)
def test_what_is_not_asked(tmp_path, word, head, rows):
    found = {question.id for question in begin(station(tmp_path, word, head, rows)).asked}
    assert ASKED not in found
