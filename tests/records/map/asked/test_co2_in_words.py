"""CO2 that stands beside an insemination in words or counts: asked, and read by days around it."""

import datetime as dt
import tomllib

import pytest
from mapped_stations import run
from queen_outcomes.base.errors import UsageError
from queen_outcomes.records.map.asked.questions import open_questions
from reading import accepted

AS_OF = dt.date(2026, 12, 31)
ASKED = "exposures:bench.csv:co2:given_at"
LOOKS = "Queen,Checked,Eggs\n" + "".join(f"D{n},2025-06-{n + 14},yes\n" for n in range(1, 9))
DAYS = {f"D{n}": dt.date(2025, 6, n) for n in range(1, 9)}


def mapped(station, head, said, answers=None):
    """Map a bench whose queens have these texts for CO2, one after the other."""
    (station / "records").mkdir(exist_ok=True)
    rows = "".join(
        f"{queen},{day},8,{said[n % len(said)]}\n" for n, (queen, day) in enumerate(DAYS.items())
    )
    (station / "records" / "bench.csv").write_text(f"Queen,Inseminated,Dose,{head}\n{rows}", "utf-8")
    (station / "records" / "checks.csv").write_text(LOOKS, "utf-8")
    return again(station, answers)


def again(station, answers=None):
    begun, _ = run(station, answers)
    return begun


def given(station):
    """Give the days around insemination on which each queen was given CO2."""
    found = {queen: [] for queen in DAYS}
    for row in accepted(station, AS_OF).get("co2", ()):
        day = dt.date.fromisoformat(row["given_at"][:10])
        found[row["queen_id"]].append((day - DAYS[row["queen_id"]]).days)
    return [sorted(days) for days in found.values()]


@pytest.mark.parametrize(
    ("head", "said", "answer", "expected"),
    [
        ("CO2", ["2x", "1x", ""], {"2x": [-1, 0], "1x": 0}, [[-1, 0], [0], []]),
        ("extra CO2", ["dag ervoor", "dag erna", "–"],
         {"dag ervoor": [-1, 0], "dag erna": [0, 1], "–": [0]}, [[-1, 0], [0, 1], [0]]),
        # of two exposures nobody knows when the other was: not recorded
        ("CO2", ["2x", "1x"], {"1x": [0]}, [[], [0]]),
        ("CO2", ["2x", "1x"], "no", [[], []]),
    ],
)  # fmt: skip
def test_words_for_co2_are_read_by_the_days_that_they_stand_for(
    tmp_path, head, said, answer, expected
):
    begun = mapped(tmp_path, head, said)
    assert {q.id: q.default for q in begun.open}[ASKED] is None
    text = (tmp_path / "station.toml").read_text("utf-8")
    assert ASKED in {one.id for one in open_questions(text)}
    assert given(tmp_path) == [[]] * 8
    assert ASKED not in {q.id for q in again(tmp_path, {ASKED: answer}).open}
    assert given(tmp_path) == [expected[n % len(expected)] for n in range(8)]
    # at once, as after a first run
    (tmp_path / "station.toml").unlink()
    again(tmp_path, {ASKED: answer})
    assert given(tmp_path) == [expected[n % len(expected)] for n in range(8)]
    settings = tomllib.loads((tmp_path / "station.toml").read_text("utf-8"))
    assert settings["records"].get("co2") == (None if answer == "no" else "every")


@pytest.mark.parametrize(
    ("head", "said"),
    [("CO2", ["2025-06-02", "2025-06-03"]), ("CO2 minutes", ["4", "5"]), ("CO2", [""])],
)
def test_days_and_minutes_of_co2_are_not_asked_about_so(tmp_path, head, said):
    assert ASKED not in {question.id for question in mapped(tmp_path, head, said).asked}


@pytest.mark.parametrize("wrong", [{"2x": [-9]}, {"2x": "yes"}, {"": [0]}, "perhaps"])
def test_an_answer_that_names_no_days_is_refused(tmp_path, wrong):
    with pytest.raises(UsageError, match="does not fit"):
        mapped(tmp_path, "CO2", ["2x", "1x"], {ASKED: wrong})


def test_beside_several_doses_the_first_day_counts(tmp_path):
    (tmp_path / "records").mkdir()
    rows = "".join(f"{queen},{day},8,2025-07-01,4,yes\n" for queen, day in DAYS.items())
    head = "Queen,1st insemination,1st dose,2nd insemination,2nd dose,CO2\n"
    (tmp_path / "records" / "bench.csv").write_text(head + rows, "utf-8")
    (tmp_path / "records" / "checks.csv").write_text(LOOKS, "utf-8")
    begun = again(tmp_path, {ASKED: {"yes": [-1, 0]}})
    (asked,) = [question for question in begun.asked if question.id == ASKED]
    assert "0 is the day of her first insemination" in asked.evidence[1]
    assert given(tmp_path) == [[-1, 0]] * 8
