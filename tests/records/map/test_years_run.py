"""Runs of `map` over sheets whose days lack their year, up to what is read by its settings."""

import datetime as dt

import pytest
from mapped_stations import run
from queen_outcomes.base.errors import UsageError
from reading import accepted

AS_OF = dt.date(2026, 12, 31)
OVER = ["31 Oct", "2 Nov", "24 Dec", "7 Jan", "3 Feb"]
READ = ["2025-10-31", "2025-11-02", "2025-12-24", "2026-01-07", "2026-02-03"]
YEAR = "year:bench.csv:*:*"


@pytest.fixture
def station(tmp_path):
    (tmp_path / "records").mkdir()
    return tmp_path


def put(station, **files):
    for name, text in files.items():
        (station / "records" / f"{name}.csv").write_text(text, "utf-8")


def bench(days):
    return "Queen,Inseminated,Dose\n" + "".join(f"Q{n},{day},8\n" for n, day in enumerate(days, 1))


def days_of(station, table, name):
    return [row[name][:10] for row in accepted(station, AS_OF)[table]]


@pytest.mark.parametrize("at_once", [True, False])
def test_days_over_the_turn_of_a_year_are_of_the_season_that_is_answered(station, at_once):
    put(station, bench=bench(OVER), checks="Queen,Looked,Eggs\nQ1,2026-01-09,yes\n")
    if not at_once:
        begun, settings = run(station)
        assert YEAR in {q.id for q in begun.open}
        assert "year" not in settings.get("files", {}).get("bench.csv", {})
    begun, settings = run(station, {YEAR: "2025/26"}, accept=at_once)
    assert YEAR not in {q.id for q in begun.open}
    assert settings["files"]["bench.csv"]["year"] == "2025/26"
    assert days_of(station, "inseminations", "inseminated_at") == READ
    again, _ = run(station)
    assert again.asked == []


@pytest.mark.parametrize(
    ("answer", "year"),
    [("2025", 2025), (2025, 2025), ("2025-10", "2025-10"), ("Leave", None)],
)
def test_other_answers_than_those_offered_may_be_given(station, answer, year):
    put(station, bench=bench(OVER))
    begun, settings = run(station, {YEAR: answer})
    assert YEAR not in {q.id for q in begun.open}
    assert settings.get("files", {}).get("bench.csv", {}).get("year") == year


@pytest.mark.parametrize("answer", ["25/26", "2025/27", "never", 12])
def test_an_answer_that_is_no_year_is_refused(station, answer):
    put(station, bench=bench(OVER))
    with pytest.raises(UsageError) as refused:
        run(station, {YEAR: answer})
    assert '"2025/26"' in refused.value.expected


@pytest.mark.parametrize("at_once", [True, False])
def test_days_that_are_headings_are_of_the_season_too(station, at_once):
    looks = "".join(f"Q{n},eggs,,larvae\n" for n in range(1, 9))
    text = f"Queen,10 Nov,20 Dec,5 Jan\n{looks}"
    put(station, bench=bench(["2025-10-11"] * 8), looks=text)
    asked = "year:looks.csv:*:*"
    if not at_once:
        begun, settings = run(station)
        assert asked in {q.id for q in begun.open}
        assert [slot["day"] for slot in settings["read"][-1]["each"]] == [
            *("10 Nov", "20 Dec", "5 Jan")
        ]
    _, settings = run(station, {asked: "2025/26"}, accept=at_once)
    assert [slot["day"] for slot in settings["read"][-1]["each"]] == [
        *("2025-11-10", "2025-12-20", "2026-01-05")
    ]


def test_sheets_alike_are_asked_about_once(tmp_path):
    import xlsxwriter

    (tmp_path / "records").mkdir()
    with xlsxwriter.Workbook(tmp_path / "records" / "cards.xlsx") as book:
        for number in (1, 2, 3):
            page = book.add_worksheet(f"N{number}")
            rows = [("Date", "Queen", "Eggs")]
            rows += [(day, f"Q{number}", "yes") for day in OVER[number - 1 :] + OVER]
            for at, row in enumerate(rows):
                page.write_row(at, 0, row)
    begun, settings = run(tmp_path, {"year:cards.xlsx#N1:*:*": "2025/26"})
    assert not [q for q in begun.open if q.kind == "year"]
    assert {settings["files"][f"cards.xlsx#{n}"]["year"] for n in ("N1", "N2", "N3")} == {"2025/26"}


CARD = """Nuc 1,,,,
Date,Queen,Eggs,Brood,Notes
2024,,,,
4/11,Q1,,,in
20/11,Q1,yes,,
28/12,Q1,yes,sealed,
2025,,,,
3/1,Q1,yes,,
20/11,Q2,yes,,
2026.,,,,
4/2,Q2,yes,,
"""


def test_cards_with_years_between_the_looks_are_read_as_they_are_written(station):
    put(station, bench=bench(["2024-11-02", "2025-11-01"]), card=CARD)
    begun, settings = run(station)
    assert not [q for q in begun.asked if q.kind == "year"]
    assert settings["files"]["card.csv"]["year"] == "rows"
    assert days_of(station, "checks", "checked_on")[-4:] == [
        *("2024-12-28", "2025-01-03", "2025-11-20", "2026-02-04")
    ]
