"""Remarks with a day: what the day is of, and what the words beside it are read as."""

from __future__ import annotations

import datetime as dt
import tomllib

import pytest
from queen_outcomes.records import apart
from queen_outcomes.records.map.asked import fates
from queen_outcomes.records.map.running import begin
from reading import accepted, stage

AS_OF = dt.date(2025, 12, 31)
FATES = "fates:*:exits:Remarks"
OUR_END = ["sold 9.7.", "12.6. superseded", "dead 20.7.", "sold, 10.7. to Ada"]


def remarked(station, remarks, answers):
    """Map a bench list with remarks; give the run and its settings, which are written."""
    rows = "".join(f'D{n},21.5.2025,8,"{text}"\n' for n, text in enumerate(remarks, 1))
    records = station / "records"
    records.mkdir(exist_ok=True)
    (records / "bench.csv").write_text("Queen,Inseminated on,Dose,Remarks\n" + rows, "utf-8")
    looks = "".join(f"D{n},16.6.2025,yes\n" for n in range(1, 9))
    (records / "checks.csv").write_text("queen_id,checked_on,eggs\n" + looks, "utf-8")
    begun = begin(station)
    begun.answer({FATES: "yes"} | answers)
    begun.accept()
    text = begun.settings()
    (station / "station.toml").write_text(text, "utf-8")
    return begun, tomllib.loads(text)


def exits(station):
    found = accepted(station, AS_OF).get("exits", [])
    return {row["queen_id"]: (row["reason"], row["left_on"]) for row in found}


@pytest.mark.parametrize(
    "text",
    [
        "sold, 10.7. to Ada",
        "again on 25.6., sold",
        "to Ada: 3.7. , dead - at last",
        "(3.7.) gone",
        "14 July 2025 superseded",
        "vendida 4/6",
    ],
)
def test_words_beside_a_day_are_what_the_reader_makes_of_them(tmp_path, text):
    habits = {"book.csv": {"apart": {"Said": 1}, "dates": "dmy", "year": 2025}}
    rule = {"from": "book.csv", "table": "exits"}
    rule["columns"] = {"queen_id": "Queen", "left_on": "Said (day)", "reason": "Said (words)"}
    given = {"files": habits, "read": [rule]}
    store, _ = stage(tmp_path, given, book__csv=f'Queen,Said\nA,"{text}"\n')
    ((read,),) = store.rows("SELECT coalesce(reason__unread, reason) FROM staged_exits")
    assert apart.words_beside_days([text]) == {text: read}


@pytest.mark.parametrize(
    ("text", "fate"),
    [
        ("inseminated again 25.6., 8 µl, sold to Ada", None),
        ("insem. 25.6. sold", None),
        ("25.6., 8 ul, verkauft", None),
        ("seen 3.6., sold", None),
        ("introduced 3.6., dead", None),
        ("Kontrolle 3.6., verkauft", None),
        ("Kontrolle 3.6.: tot", "dead"),
        ("sold 9.7., inseminated twice", "sold"),
        ("sold, inseminated 9.7.", None),
        ("sold to Ada, 9.7.", "sold"),
        ("Ada Brun 9.7., sold", "sold"),
        ("drone-laying, killed 9.7.", "drone_layer"),
        ("superseded 9.7. (by her daughter)", "superseded"),
        ("gentle 9.7.", None),
    ],
)
def test_a_day_of_another_deed_dates_no_fate(text, fate):
    assert fates.fate_on_day(text) == fate


def test_a_fate_beside_the_day_of_another_deed_is_not_offered(tmp_path):
    again = "inseminated again 25.6., 8 µl, sold to Ada"
    begun, settings = remarked(tmp_path, [*OUR_END, again], {})
    assert "inseminated again 8 µl, sold to Ada" not in {w.text for w in begun.proposal.words}
    assert list(exits(tmp_path)) == ["D1", "D2", "D3", "D4"]
    assert "sold to Ada" in settings["words"]["reason"]["sold"]


def test_words_that_are_read_alike_are_offered_only_where_each_day_is_of_the_fate(tmp_path):
    alike = ["9.7. sold, inseminated twice", "sold, inseminated twice 9.6."]
    remarked(tmp_path, [*OUR_END, *alike], {})
    assert list(exits(tmp_path)) == ["D1", "D2", "D3", "D4"]
