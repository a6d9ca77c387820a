"""What `map` left open stops a build while it concerns what is read; `check` tells it."""

from __future__ import annotations

import json

import pytest

pytestmark = pytest.mark.slow

DATES = "dates:bench.csv:inseminations:inseminated_at"
BENCH = "queen_id,inseminated_at\nQ-1,5/4/2026\nQ-2,5/6/2026\nQ-3,6/7/2026\n"
LOOKS = (
    "queen_id,checked_on,eggs,pattern_pct\nQ-1,2026-06-20,x,0.9\nQ-2,2026-06-20,,0.8\n"
)
READ = '\n[tables]\ninseminations = "bench.csv"\n'


def asked(name, text="Which is it?"):
    return f'\n# OPEN "{name}": {text}\n'


@pytest.fixture
def kept(station):
    """Give a station whose settings end with some lines."""
    for name, text in (("bench", BENCH), ("checks", LOOKS)):
        (station / "records" / f"{name}.csv").write_text(text, "utf-8")

    def with_settings(*lines):
        settings = station / "station.toml"
        settings.write_text(
            settings.read_text("utf-8") + READ + "".join(lines), "utf-8"
        )
        return station

    return with_settings


def test_a_build_stops_and_names_each_question_its_evidence_and_the_answer(
    command, kept
):
    share = "percent:checks.csv:checks:pattern_pct"
    ran = command("build", kept(asked(DATES), asked(share, "Is 1 the whole?")))
    assert ran.code == 2
    assert ran.err.count("still open") == 2
    assert f'station.toml, # OPEN "{DATES}"' in ran.err
    assert "all 3 fit day-month-year and month-day-year" in ran.err
    assert '[files."bench.csv"]\ndates = "mdy"' in ran.err
    assert 'Is 1 the whole? ("pattern_pct": all 2 values are at most 1 ' in ran.err
    assert f'--answers FILE with "{share}" = ' in ran.err


@pytest.mark.parametrize(
    "name",
    [
        "percent:checks.csv:checks:drone_in_worker",
        "dates:other.csv:inseminations:inseminated_at",
        "ignore:photos.zip:*:*",
        "word:reason:verkauft",
    ],
)
def test_a_question_about_what_is_not_read_stops_nothing(command, kept, name):
    settings = '\n[dates]\norder = "dmy"\n'
    assert command("build", kept(settings, asked(name)), "--until", "check").code == 0


@pytest.mark.parametrize(
    "name",
    [
        "blank:checks.csv:checks:*",
        "struck:bench.csv:*:*",
        "fold:*:*:queen_id",
        "words:*:*:*",
        "word:yes_no:x: or so",
    ],
)
def test_a_question_about_anything_that_is_read_stops(command, kept, name):
    settings = '\n[dates]\norder = "dmy"\n'
    assert command("build", kept(settings, asked(name)), "--until", "check").code == 2


def test_check_tells_an_open_question_once_and_ends_with_1(command, kept):
    settings = '\n[dates]\norder = "dmy"\n'
    blank = "blank:checks.csv:checks:*"
    ran = command("check", kept(settings, asked(blank)), "--json")
    told = json.loads(ran.out)["advice"]
    assert ran.code == 1
    kinds = [piece["kind"] for piece in told]
    assert kinds.count("open_question") == 1
    assert "blanks" not in kinds
    (piece,) = [piece for piece in told if piece["kind"] == "open_question"]
    assert "1 cells hold ticks and 1 are blank" in piece["says"]
    assert 'blank = "no"' in piece["settings"][0]


def test_check_tells_open_words_together(command, kept):
    settings = '\n[dates]\norder = "dmy"\n'
    words = [
        asked(f"word:yes_no:{w}", f'What does "{w}" mean?') for w in ("jo", "ne", "hm")
    ]
    told = json.loads(command("check", kept(settings, *words), "--json").out)["advice"]
    (piece,) = [piece for piece in told if piece["kind"] == "open_question"]
    assert piece["count"] == 3
    assert 'What does "ne" mean?' in piece["says"]


def test_answered_it_builds(command, kept):
    settings = '\n[dates]\norder = "dmy"\n'
    assert command("build", kept(settings), "--until", "check").code == 0
