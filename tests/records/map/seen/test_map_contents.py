"""What a cell can be read as, and what the cells of a column are counted for."""

import datetime as dt

import pytest
from queen_outcomes.records.map.seen.contents import (
    Contents,
    clock_of,
    crosses,
    day_of,
    is_ditto,
    is_tick,
    number_of,
    span_of,
    ticked_by,
    yes_or_no,
)
from queen_outcomes.records.map.seen.opened import Cell


def of(*texts, kind="text"):
    return Contents([Cell(text, kind) for text in texts])


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("4/30/24", {"mdy": "2024-04-30"}),
        ("05/06/2024", {"dmy": "2024-06-05", "mdy": "2024-05-06"}),
        ("2026-6-3", {"any": "2026-06-03"}),
        ("2026/06/03", {"any": "2026-06-03"}),
        ("15 Jul 2024", {"any": "2024-07-15"}),
        ("15 Jul 2024 8:15", {"any": "2024-07-15"}),
        ("Jul 15, 2024", {"any": "2024-07-15"}),
        ("20.07.2025 r.", {"dmy": "2025-07-20"}),
        ("3. März 2025", {"any": "2025-03-03"}),
        ("4 de mayo de 2025", {"any": "2025-05-04"}),
        ("1.2.2025 8:15", {"dmy": "2025-02-01", "mdy": "2025-01-02"}),
        # the year may stand first only where all three have two figures
        ("25.05.14", {"dmy": "2014-05-25", "ymd": "2025-05-14"}),
        ("5.06.14", {"dmy": "2014-06-05", "mdy": "2014-05-06"}),
        ("12.05.2014", {"dmy": "2014-05-12", "mdy": "2014-12-05"}),
        ("1.2.99", {"dmy": "2099-02-01", "mdy": "2099-01-02"}),
        ("1.2.1900", {"dmy": "1900-02-01", "mdy": "1900-01-02"}),
        # 4 August 2026 is a Tuesday, 8 April a Wednesday
        ("mar. 04/08/2026", {"dmy": "2026-08-04"}),
        ("Wed 04/08/2026", {"mdy": "2026-04-08"}),
        ("Di, 4. August 2026", {"any": "2026-08-04"}),
        ("Mar 4 2026", {"any": "2026-03-04"}),
        ("2026-W32-2", {"any": "2026-08-04"}),
        ("1.2.2200", {"dmy": "2200-02-01", "mdy": "2200-01-02"}),
    ],
)
def test_days_keep_every_reading(text, days):
    seen = day_of(text)
    assert {way: str(day) for way, day in seen.days} == days
    assert (seen.plain, seen.yearless) == ("any" in days, False)
    assert {str(seen.on(way)) for way in ("dmy", "mdy", "ymd")} == (
        set(days.values()) | (set() if "any" in days or len(days) == 3 else {"None"})
    )


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("8.5.", {"dmy": "2000-05-08", "mdy": "2000-08-05", "ymd": "2000-08-05"}),
        ("8/5", {"dmy": "2000-05-08", "mdy": "2000-08-05"}),
        ("13/5", {"dmy": "2000-05-13"}),
        ("15 Jul", {"any": "2000-07-15"}),
        ("mar. 13/5", {"dmy": "2000-05-13"}),
        ("Mar 4", {"any": "2000-03-04"}),
    ],
)
def test_days_without_a_year_say_so(text, days):
    seen = day_of(text)
    assert seen.yearless
    assert {way: str(day) for way, day in seen.days} == days


@pytest.mark.parametrize(
    "text",
    [
        *("24/001", "G1", "2025-0?-11", "13/13/2024", "31/31", "012.4.2025", "1.2.025"),
        *("Sun 04/08/2026", "2026-W54-1", "ca. 4.8.2026"),
        *("1.2.0", "1.2.2025 abc", "1.2.1899", "1.2.2201", "2025-13-01", "30 Feb 2025"),
    ],
)
def test_what_is_no_day(text):
    assert day_of(text) is None


@pytest.mark.parametrize(
    ("text", "clock"),
    [
        ("8:15", (8, 15)),
        ("7", (7, 0)),
        ("8h", (8, 0)),
        ("12:05 am", (0, 5)),
        ("12 pm", (12, 0)),
        ("1:05 pm", (13, 5)),
        ("23:59", (23, 59)),
        ("24:00", None),
        ("7:60", None),
        ("soon", None),
    ],
)
def test_times_of_day(text, clock):
    assert clock_of(text) == (clock and dt.time(*clock))


@pytest.mark.parametrize(
    ("text", "value", "unit", "comma", "point", "summed"),
    [
        ("8", 8, "", False, False, False),
        ("−3", -3, "", False, False, False),
        ("7,5", 7.5, "", True, False, False),
        ("7.5", 7.5, "", False, True, False),
        ("8µl", 8, "uL", False, False, False),
        ("8 μl", 8, "uL", False, False, False),
        ("59 °F", 59, "F", False, False, False),
        ("88 %", 88, "%", False, False, False),
        ("4+4", 8, "", False, False, True),
        ("2x4", 8, "", False, False, True),
        ("2 x 4,5 ul", 9, "uL", True, False, True),
        ("1.5+2", 3.5, "", False, True, True),
    ],
)
def test_numbers_with_units(text, value, unit, comma, point, summed):
    number = number_of(text)
    assert (number.value, number.unit) == (value, unit)
    assert (number.comma, number.point, number.sum) == (comma, point, summed)


@pytest.mark.parametrize("text", ["8 zz", "4+4 zz", "K-1", ""])
def test_what_is_no_number(text):
    assert number_of(text) is None


@pytest.mark.parametrize(
    ("text", "tick", "by", "says"),
    [
        ("x", True, "", "yes"),
        ("xxx", True, "", "yes"),
        ("xxxx", False, "", None),
        ("", False, "", None),
        ("✓ HK", True, "HK", "yes"),
        ("✓hk", True, "hk", "yes"),
        ("x HK", True, "HK", "yes"),
        ("x hk", True, "hk", "yes"),
        ("xHK", True, "HK", "yes"),
        ("xhK", False, "", None),
        ("xenia", False, "", None),
        ("✗", True, "", "no"),
        ("no", False, "", "no"),
        ("×", True, "", "yes"),
        ("Ja!", False, "", "yes"),
        ("abc", False, "", None),
    ],
)
def test_ticks(text, tick, by, says):
    assert (is_tick(text), ticked_by(text), yes_or_no(text)) == (tick, by, says)


@pytest.mark.parametrize(
    ("texts", "found"),
    [
        (["x", "✓"], {"x"}),
        (["x HK", "✓", "no"], {"x HK"}),
        (["x"], set()),
        (["✗", "x"], {"✗"}),
    ],
)
def test_a_cross_beside_ticks_may_say_no(texts, found):
    assert crosses(texts) == found


@pytest.mark.parametrize(
    ("text", "ditto"), [("do.", True), ("''", True), ('- " -', True), ("eggs", False)]
)
def test_ditto_marks(text, ditto):
    assert is_ditto(text) is ditto


def test_dittos_unknowns_and_blanks_are_no_contents():
    held = of("", '"', "?", "N/A", "8", "8", "9 ml", "eggs")
    assert (held.ditto, held.unknown) == (['"'], ["?", "N/A"])
    assert held.texts == ["8", "8", "9 ml", "eggs"]
    assert (held.filled, held.counts["8"]) == (4, 2)
    assert held.number_share == 0.75
    assert held.units() == {"mL": 1}
    assert of("", "?").day_share == 0.0


def test_shares_of_a_column():
    days = of("1.2.2025", "1.2.", "abc", "14 May 2025")
    assert (days.day_share, days.whole_day_share) == (0.75, 0.5)
    assert of("2025-05-06 08:00:00", kind="date").days[0].days == (
        ("any", dt.date(2025, 5, 6)),
    )
    clocks = of("8:15", "9:15", "8", "abc")
    assert (clocks.clock_share, clocks.plain_clock_share) == (0.75, 0.5)
    assert (
        of("8", kind="time").clock_share,
        of("8", kind="time").plain_clock_share,
    ) == (1, 1)
    assert of("yes", "x", "no", "eggs").yes_no_share == 0.75
    assert of("Sold", "died", "eggs", "zork", "plonk").word_share("reason") == 0.4
    assert of("Ada Brun", "K-1", "a b c d e", "AB").name_like == 0.5


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("4:30", "open"), ("04:30", "open"), ("120:00", "open"), ("1200:00", None), ("4:60", None),
        ("0:04:30", "sure"), ("00:04:30", "sure"), ("1:04:30", "open"), ("4:30 min", "sure"), ("4:30h", "sure"),
        ("4 min 30", "sure"), ("4'30''", "sure"), ("4 min 30 s", "sure"), ("4 min 60", None), ("1 h 30", "sure"),
        ("1 h 5 min", "sure"), ("4m30", "sure"), ("4", None), ("min", None), ("", None),
    ],
)  # fmt: skip
def test_spans_that_can_be_one_thing_and_those_that_may_be_two(text, kind):
    assert span_of(text) == kind


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2025-W25-3", dt.date(2025, 6, 18)),
        ("2025-W01-1", dt.date(2024, 12, 30)),
        ("2026-W53-7", dt.date(2027, 1, 3)),
        ("2025-W53-1", None),
        ("2025-W00-1", None),
        ("2025-W25-0", None),
        ("2025-W25-8", None),
    ],
)
def test_a_day_of_a_week(text, day):
    found = day_of(text)
    assert (found and found.days) == (day and (("any", day),))
