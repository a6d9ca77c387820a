"""Remarks with a day: what the day is of, and what the words beside it are read as."""

from __future__ import annotations

import datetime as dt
import tomllib

import pytest
from queen_outcomes.base.errors import UsageError
from queen_outcomes.records import apart
from queen_outcomes.records.map.asked import fates, wordlist
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
    given = {FATES: "yes"} | answers if answers is not None else {}
    begun.answer({name: said for name, said in given.items() if said is not None})
    begun.accept()
    text = begun.settings()
    (station / "station.toml").write_text(text, "utf-8")
    return begun, tomllib.loads(text)


def exits(station):
    return exits_by(station, AS_OF)


def exits_by(station, day):
    found = accepted(station, day).get("exits", [])
    return {row["queen_id"]: (row["reason"], row["left_on"]) for row in found}


def test_a_day_of_two_figures_without_its_last_point_is_one_at_either_end(tmp_path):
    remarks = ["25.06 sold", "dead 03.07", "07.07 superseded", "sold 9.7", "01.08 sold", "wing 8.05 mm", "", ""]
    begun, _ = remarked(tmp_path, remarks, {})
    assert [q.id for q in begun.asked if q.kind == "fates"] == [FATES]
    assert exits(tmp_path) == {
        "D1": ("sold", "2025-06-25"),
        "D2": ("dead", "2025-07-03"),
        "D3": ("superseded", "2025-07-07"),
        "D5": ("sold", "2025-08-01"),
    }


def test_remarks_of_a_list_over_several_years_are_of_the_year_of_their_row(tmp_path):
    (tmp_path / "records").mkdir()
    rows = "".join(
        f"D{n},21.5.{2024 + n % 2},8,{text}\n"
        for n, text in enumerate(["sold 9.7.", "dead 20.7.", "sold 3.3.", "superseded 1.8.", "", ""], 1)
    )
    (tmp_path / "records" / "bench.csv").write_text("Queen,Inseminated on,Dose,Remarks\n" + rows, "utf-8")
    looks = "".join(f"D{n},16.6.2025,yes\n" for n in range(1, 7))
    (tmp_path / "records" / "checks.csv").write_text("queen_id,checked_on,eggs\n" + looks, "utf-8")
    begun = begin(tmp_path)
    begun.answer({FATES: "yes"})
    begun.accept()
    (tmp_path / "station.toml").write_text(begun.settings(), "utf-8")
    assert exits_by(tmp_path, dt.date(2026, 12, 31)) == {
        "D1": ("sold", "2025-07-09"),
        "D2": ("dead", "2024-07-20"),
        "D3": ("sold", "2026-03-03"),
        "D4": ("superseded", "2024-08-01"),
    }


@pytest.mark.parametrize(
    "text",
    [
        "sold, 10.7. to Ada",
        "again on 25.6., sold",
        "to Ada: 3.7. , dead - at last",
        "(3.7.) gone",
        "14 July 2025 superseded",
        "vendida 4/6",
        "25.05 moved to a big hive",
        "sold 09.07",
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
        # what was seen that day, if not all of it is known, is no fate
        ("3.6. brood zorky, sold to Ada", None),
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


def looks(station):
    """Give what was found on days that no list of looks has."""
    found = accepted(station, AS_OF)["checks"]
    return {row["queen_id"]: row for row in found if row["checked_on"] != "2025-06-16"}


def test_a_dated_remark_may_be_a_look(tmp_path):
    seen = ["12.7. eggs seen", "zorky 14.7.", "zorky 15.7."]
    begun, _ = remarked(tmp_path, [*OUR_END, *seen], {})
    (asked,) = [q for q in begun.open if q.kind == "word"]
    assert asked.id == "word:reason:zorky"
    assert any("larvae = yes; sealed = yes" in said for said in asked.evidence)
    found = looks(tmp_path)
    assert [(row["checked_on"], row["eggs"]) for row in found.values()] == [("2025-07-12", "yes")]
    assert list(exits(tmp_path)) == ["D1", "D2", "D3", "D4"]


@pytest.mark.parametrize("later", [True, False])
def test_what_a_dated_remark_means_may_be_answered_with_what_was_seen(tmp_path, later):
    seen = ["zorky 14.7.", "zorky 15.7.", "drone layer 16.7.", "drone-laying, killed 17.7."]
    answers = {
        "word:reason:zorky": "larvae = yes; sealed = yes",
        "word:reason:drone layer": "drone_in_worker = many",
    }
    if later:
        begun, _ = remarked(tmp_path, [*OUR_END, *seen], {FATES: None})
        assert {q.id for q in begun.open} == {FATES, *answers}
    _, settings = remarked(tmp_path, [*OUR_END, *seen], answers)
    found = looks(tmp_path)
    assert {q: row["checked_on"] for q, row in found.items()} == {
        "D5": "2025-07-14",
        "D6": "2025-07-15",
        "D7": "2025-07-16",
    }
    assert found["D5"]["sealed"] == found["D6"]["larvae"] == "yes"
    assert found["D7"]["drone_in_worker"] == "many"
    assert exits(tmp_path)["D8"] == ("drone_layer", "2025-07-17")
    assert "D7" not in exits(tmp_path)
    again, same = remarked(tmp_path, [*OUR_END, *seen], None)
    assert same == settings
    assert not again.open


def test_a_drone_layer_may_be_both_an_exit_and_a_look(tmp_path):
    both = {"word:reason:drone layer": "drone_in_worker = many; exit = drone_layer"}
    remarked(tmp_path, [*OUR_END, "drone layer 16.7."], both)
    assert looks(tmp_path)["D5"]["drone_in_worker"] == "many"
    assert exits(tmp_path)["D5"] == ("drone_layer", "2025-07-16")


def test_a_word_of_a_column_of_reasons_is_no_look(tmp_path):
    assert wordlist.meaning_of("reason", "eggs = yes", "word:reason:x", dated=True)
    with pytest.raises(UsageError):
        wordlist.meaning_of("reason", "eggs = yes", "word:reason:x")


@pytest.mark.parametrize("means", ["larvae = yes", "moved"])
def test_a_word_that_was_left_open_is_read_once_it_is_answered(tmp_path, means):
    remarks = [*OUR_END, "zorky 14.7.", "zorky 15.7."]
    begun, before = remarked(tmp_path, remarks, {})
    assert [q.id for q in begun.open] == ["word:reason:zorky"]
    again = begin(tmp_path)
    again.answer({"word:reason:zorky": means})
    text = again.settings()
    (tmp_path / "station.toml").write_text(text, "utf-8")
    if means == "moved":
        assert exits(tmp_path)["D6"] == ("moved", "2025-07-15")
    else:
        assert list(looks(tmp_path)) == ["D5", "D6"]
    assert exits(tmp_path)["D1"] == ("sold", "2025-07-09")
    kept = [rule for rule in before["read"] if rule["table"] != "exits"]
    assert all(rule in tomllib.loads(text)["read"] for rule in kept)


def test_who_says_that_he_killed_her_says_how_she_went(tmp_path):
    # two are sold, one killed for a reason that only the keeper knows: asked, and asked about
    remarks = ["sold 9.7.", "killed 3.7.", "sold 12.7.", "", "", "", ""]
    _, settings = remarked(tmp_path, remarks, {"word:reason:killed": "culled_other"})
    assert settings["words"]["reason"]["culled_other"] == ["killed"]
    told = {queen: reason for queen, (reason, _) in exits(tmp_path).items()}
    assert told == {"D1": "sold", "D2": "culled_other", "D3": "sold"}


MOSTLY_LOOKS = [
    "18.6. eggs, sealed brood",
    "5.7. eggs, sold 9.7.",
    "5.7. no eggs",
    "5.7. eggs, open brood, zorky, sold 9.7.",
    "31.7. sealed brood, sold to Ada",
    "eggs 5.7., dead 8.7.",
    "12.7. eggs zork",
]


@pytest.mark.parametrize("later", [True, False])
def test_remarks_that_mostly_tell_of_looks_are_asked_about_and_read_part_by_part(tmp_path, later):
    answers = {
        "word:reason:eggs, open brood, zorky": "eggs = yes; larvae = yes",
        "word:reason:eggs zork": "eggs = yes",
    }
    if later:
        begun, _ = remarked(tmp_path, MOSTLY_LOOKS, {FATES: None})
        assert {q.id for q in begun.open} == {FATES, *answers}
        (asked,) = [q for q in begun.open if q.id == FATES]
        assert "what was seen" in asked.text
    _, settings = remarked(tmp_path, MOSTLY_LOOKS, answers)
    assert settings["files"]["bench.csv"]["apart"] == {"Remarks": 2}
    found = {queen: (row["checked_on"][5:], row["eggs"]) for queen, row in looks(tmp_path).items()}
    assert found == {
        "D1": ("06-18", "yes"), "D2": ("07-05", "yes"), "D3": ("07-05", "no"), "D4": ("07-05", "yes"),
        "D5": ("07-31", None), "D6": ("07-05", "yes"), "D7": ("07-12", "yes"),
    }
    # of whom it is said behind a look that she was sold, nobody says when
    assert exits(tmp_path) == {
        "D2": ("sold", "2025-07-09"), "D4": ("sold", "2025-07-09"), "D6": ("dead", "2025-07-08")
    }


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("5.7. eggs, all stages, sold 9.7.", ["5.7. eggs, all stages", "sold 9.7."]),
        ("eggs 8.6., brood 9.7., gone 4.8.", ["eggs 8.6.", "brood 9.7.", "gone 4.8."]),
        ("5.7. vajíčka, šedá 9.7.", ["5.7. vajíčka", "šedá 9.7."]),
        ("5.7. eggs; sold 9.7.\ndead", ["5.7. eggs", "sold 9.7.", "dead"]),
        # two days of one look, a day of no phrase of its own, a figure
        ("3.6., 10.6. eggs", ["3.6., 10.6. eggs"]),
        ("sold, 10.7. to Ada", ["sold, 10.7. to Ada"]),
        ("8.6. dose 8,5 on 9.7.", ["8.6. dose 8,5 on 9.7."]),
    ],
)
def test_a_cell_is_cut_at_the_comma_before_a_further_day_as_the_reader_cuts_it(text, parts):
    assert apart.split(text) == parts
    read = [part for part in apart.taken_apart([text], 4)[text] if any(part)]
    assert len(read) == sum(bool(apart.around_day(part)) for part in parts)
