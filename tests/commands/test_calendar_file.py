"""The checks due as a calendar."""

from __future__ import annotations

import datetime as dt

from queen_outcomes.commands.due import calendar, escaped, folded

DAY = dt.date(2026, 7, 1)


def test_an_entry_is_all_day_and_stamped_by_the_as_of_day(due_row):
    text = calendar([due_row], DAY, "Test")
    assert "DTSTAMP:20260701T000000Z\r\n" in text
    assert "DTSTART;VALUE=DATE:20260703\r\nDTEND;VALUE=DATE:20260704\r\n" in text
    assert "SUMMARY:Check queen Q1 in N7\\, day 14\r\n" in text


def test_an_entry_keeps_its_uid_from_build_to_build(due_row):
    def uid(text):
        return next(line for line in text.split("\r\n") if line.startswith("UID"))

    later = calendar([due_row], DAY + dt.timedelta(7), "Test")
    other = calendar([due_row | {"day": 21}], DAY, "Test")
    assert uid(calendar([due_row], DAY, "Test")) == uid(later)
    assert uid(later) != uid(other)


def test_text_is_escaped_and_control_characters_spelt_out():
    assert escaped("a;b,c\\d\ne\r") == "a\\;b\\,c\\\\d\\ne\\u000d"


def test_long_lines_fold_at_75_bytes_between_characters():
    line = "SUMMARY:" + "č" * 100
    parts = folded(line).split("\r\n")
    assert all(len(part.encode()) <= 75 for part in parts)
    assert "".join([parts[0], *(part[1:] for part in parts[1:])]) == line
