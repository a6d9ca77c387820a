"""Columns of looks that are headed by weeks of the year: their day is asked, and they are read."""

import datetime as dt

import pytest
from mapped_stations import run
from queen_outcomes.records.map.seen.weeks import Week, week_of
from queen_outcomes.records.map.seen.weeks import run as runs_on
from reading import accepted

AS_OF = dt.date(2026, 12, 31)


@pytest.mark.parametrize(
    ("text", "week"),
    [
        *((text, Week(24)) for text in ("Uge 24", "uge 24", "Week 24", "wk24", "KW 24", "KW24")),
        *((text, Week(24)) for text in ("24. týden", "týd. 24", "24. hét", "Hafta 24", "v. 24")),
        *((text, Week(24)) for text in ("Sem. 24", "semaine 24", "Tydz. 24", "24 KW", "Uge 24 (2)")),
        *((text, Week(24, 2025)) for text in ("KW 24/2025", "Week 24 2025", "2025-W24", "2025 W24")),
        *((text, None) for text in ("Uge 0", "Uge 54", "Uge", "24", "Stade 24", "Look 24", "KW 24.6")),
    ],
)
def test_a_week_is_told_by_the_word_beside_its_number(text, week):
    assert week_of(text) == week


def test_a_day_of_the_last_week_is_of_the_last_week_that_there_is():
    assert Week(24).on(6, 2024) == dt.date(2024, 6, 15)
    assert Week(53).on(1, 2026) == dt.date(2026, 12, 28)
    assert Week(53).on(1, 2025) == dt.date(2025, 12, 22)


@pytest.mark.parametrize(
    ("numbers", "goes"),
    [
        ((24, 25, 27), True),
        ((45, 48, 2, 5), True),
        ((24, 25), False),
        # weeks since a day of her own
        ((1, 2, 3, 4), False),
        ((24, 26, 25), False),
        ((45, 2, 5, 3), False),
    ],
)
def test_weeks_of_the_year_run_on(numbers, goes):
    assert runs_on([f"KW {number}" for number in numbers]) == goes


ASKED = "weekday:{}.csv:checks:checked_on"


def made(tmp_path, heads, name="looks 2025", day="2025-05-{}"):
    records = tmp_path / "records"
    records.mkdir()
    bench = "".join(f"D{n},{day.format(10 + n)},8\n" for n in range(1, 9))
    (records / "bench.csv").write_text("Queen,Inseminated on,Dose\n" + bench, "utf-8")
    looks = "".join(f"D{n}{',eggs' * len(heads)}\n" for n in range(1, 9))
    (records / f"{name}.csv").write_text(f"Queen,{','.join(heads)}\n{looks}", "utf-8")
    return tmp_path


def looked_on(station):
    return sorted({row["checked_on"] for row in accepted(station, AS_OF).get("checks", ())})


@pytest.mark.parametrize("at_once", [True, False])
@pytest.mark.parametrize("answer", ["saturday", "Lørdag"])
def test_the_weekday_is_asked_and_the_looks_are_read(tmp_path, at_once, answer):
    station, asked = made(tmp_path, ["Uge 24", "uge 25", "Uge 27"]), ASKED.format("looks 2025")
    if not at_once:
        begun, settings = run(station)
        assert [q.id for q in begun.open] == [asked]
        days = [slot["day"] for slot in settings["read"][-1]["each"]]
        assert days == ["Uge 24", "uge 25", "Uge 27"]
    begun, _ = run(station, {asked: answer}, accept=at_once)
    assert not begun.open
    assert looked_on(station) == ["2025-06-14", "2025-06-21", "2025-07-05"]


def test_weeks_over_the_turn_of_a_year_are_of_its_season(tmp_path):
    heads = ["Week 48", "Week 50", "Week 2"]
    station = made(tmp_path, heads, "looks", "2025-11-{}")
    asked, year = ASKED.format("looks"), "year:looks.csv:*:*"
    begun, _ = run(station)
    assert {asked, year} == {q.id for q in begun.open}
    run(station, {asked: "monday", year: "2025/26"}, accept=False)
    assert looked_on(station) == ["2025-11-24", "2025-12-08", "2026-01-05"]


def test_weeks_with_their_year_need_none(tmp_path):
    station = made(tmp_path, ["KW 24/2024", "KW 25/2024", "KW 26/2024"], "looks", "2024-05-{}")
    begun, _ = run(station, {ASKED.format("looks"): "Mo"})
    assert not [q for q in begun.asked if q.kind == "year"]
    assert looked_on(station) == ["2024-06-10", "2024-06-17", "2024-06-24"]


def test_looks_of_weeks_whose_day_is_not_known_stay_unread(tmp_path):
    station = made(tmp_path, ["KW 24", "KW 25", "KW 26"], "looks 2025")
    begun, _ = run(station, {ASKED.format("looks 2025"): "leave"})
    assert not begun.open
    assert looked_on(station) == []


def test_weeks_since_a_day_of_hers_are_no_weeks_of_the_year(tmp_path):
    begun, _ = run(made(tmp_path, ["Week 1", "Week 2", "Week 3"]))
    assert not [q for q in begun.asked if q.kind == "weekday"]
