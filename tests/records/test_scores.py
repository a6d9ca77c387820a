"""Brood patterns kept as scores of the station's own: each is what its settings say, or unread."""

from __future__ import annotations

import io

import openpyxl
import polars as pl
import pytest

RULES = """
[[read]]
from = "looks*"
table = "checks"
[read.columns]
queen_id = "Queen"
checked_on = "Day"
pattern_pct = { from = "Brood", scores = { 1 = 10, 2 = 30.5, 3 = 60, "4.0" = 85, "Top  marks" = 100 } }
"""
SCORES = ["4", "2", "5", "top marks", "4"]
EXPECTED = [85.0, 30.5, None, 100.0, 85.0]


def as_csv(texts):
    lines = [f"Q1;2026-06-{at:02};{text}" for at, text in enumerate(texts, 1)]
    return "looks.csv", "\n".join(["Queen;Day;Brood", *lines]).encode()


def as_xlsx(values):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Queen", "Day", "Brood"])
    for at, value in enumerate(values, 1):
        sheet.append(["Q1", f"2026-06-{at:02}", value])
    held = io.BytesIO()
    book.save(held)
    return "looks.xlsx", held.getvalue()


def as_parquet(values, kind):
    held = io.BytesIO()
    days = [f"2026-06-{at:02}" for at in range(1, len(values) + 1)]
    brood = pl.Series(values, dtype=kind)
    pl.DataFrame({"Queen": ["Q1"] * len(days), "Day": days, "Brood": brood}).write_parquet(held)
    return "looks.parquet", held.getvalue()


@pytest.fixture
def scored(station, command):
    """Give a maker of a station with looks, that gives their patterns."""

    def build(file):
        from queen_outcomes.base.store import Store

        name, content = file
        (station / "records" / name).write_bytes(content)
        (station / "records" / "inseminations.csv").write_text(
            "queen_id,inseminated_at\nQ1,2026-05-01\n", encoding="utf-8"
        )
        with (station / "station.toml").open("a", encoding="utf-8") as settings:
            settings.write(RULES)
        ran = command("build", station, "--until", "derive")
        assert ran.code == 0, ran.err
        with Store(next(station.glob("build/*/station.duckdb")), read_only=True) as store:
            query = "SELECT pattern_pct FROM accepted_checks ORDER BY checked_on"
            return [pattern for (pattern,) in store.rows(query)]

    return build


@pytest.mark.parametrize(
    "file",
    [
        as_csv(SCORES),
        as_xlsx([4, 2, 5, "top marks", 4.0]),
        as_csv(["4.0", " 2", "5", "TOP MARKS", "4"]),
    ],
)
def test_a_score_is_what_its_settings_say_and_another_is_left_unread(
    scored, station, command, file
):
    assert scored(file) == EXPECTED
    told = command("check", station).out
    assert '"5", which is none of the scores that its settings explain' in told
    assert 'scores = { 1 = 10, 2 = 30.5, 3 = 60, "4.0" = 85, "Top  marks" = 100 }' in told


@pytest.mark.parametrize("kind", [pl.Int8, pl.UInt32, pl.Float64, pl.Float32, pl.Decimal(6, 2)])
def test_typed_numbers_are_scores_too(scored, kind):
    found = scored(as_parquet([4, 2, 5, None, 1], kind))
    assert found == [85.0, 30.5, None, None, 10.0]


def test_scores_that_are_explained_are_not_asked_about_and_are_shown(scored, station, command):
    scored(as_csv(["1", "2", "1", "2", "3", "1"]))
    assert "nothing to mend" in command("check", station).out
    shown = command("check", station, "--mapping").out
    assert "5 scores, each in per cent" in shown


@pytest.mark.parametrize("kind", [pl.Int16, pl.Float64])
def test_what_a_figure_counts_as_holds_of_typed_numbers_too(station, command, kind):
    from queen_outcomes.base.store import Store

    name, content = as_parquet([4, 80, 4, None, 0], kind)
    (station / "records" / name).write_bytes(content)
    (station / "records" / "inseminations.csv").write_text(
        "queen_id,inseminated_at\nQ1,2026-05-01\n", encoding="utf-8"
    )
    with (station / "station.toml").open("a", encoding="utf-8") as settings:
        rule, _, _ = RULES.rpartition("pattern_pct")
        settings.write(f'{rule}pattern_pct = {{ from = "Brood", words = {{ 4 = 85.5 }} }}\n')
    ran = command("build", station, "--until", "derive")
    assert ran.code == 0, ran.err
    with Store(next(station.glob("build/*/station.duckdb")), read_only=True) as store:
        query = "SELECT pattern_pct FROM accepted_checks ORDER BY checked_on"
        found = [pattern for (pattern,) in store.rows(query)]
    assert found == [85.5, 80.0, 85.5, None, 0.0]
