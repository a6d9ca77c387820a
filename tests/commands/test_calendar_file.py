"""The checks due as a calendar."""

from __future__ import annotations

import datetime as dt

from queen_outcomes.commands.due import calendar, escaped, folded

DAY = dt.date(2026, 7, 1)


def entries(text: str) -> list[dict[str, str]]:
    """Read the entries of a calendar, as RFC 5545 folds them."""
    lines = text.replace("\r\n ", "").split("\r\n")
    starts = [at for at, line in enumerate(lines) if line == "BEGIN:VEVENT"]
    ends = [at for at, line in enumerate(lines) if line == "END:VEVENT"]
    return [
        dict(line.split(":", 1) for line in lines[start + 1 : end])
        for start, end in zip(starts, ends, strict=True)
    ]


def test_an_entry_is_all_day_and_stamped_by_the_as_of_day(due_row):
    text = calendar([due_row], DAY, "Test")
    assert "DTSTAMP:20260701T000000Z\r\n" in text
    assert "DTSTART;VALUE=DATE:20260703\r\nDTEND;VALUE=DATE:20260704\r\n" in text
    assert "SUMMARY:1 check in the yard\r\n" in text


def test_a_day_in_the_yard_is_one_entry_with_its_colonies_as_people_count(due_row):
    other = due_row | {"queen_id": "Q2", "colony_id": "N10"}
    homeless = due_row | {"queen_id": "Q3", "colony_id": None}
    (entry,) = entries(calendar([other, homeless, due_row], DAY, "Test"))
    assert entry["SUMMARY"] == "3 checks in the yard"
    lines = entry["DESCRIPTION"].split("\\n")
    assert lines[0].startswith("N7: Q1\\, day 14\\, useful until 2026-07-17")
    assert [line.split(":")[0] for line in lines[1:]] == [
        "N10",
        "Q3\\, day 14\\, useful until 2026-07-17. Look for",
    ]


def test_what_was_planned_earlier_stands_on_the_as_of_day_unless_overdue(due_row):
    before = due_row | {"on": DAY - dt.timedelta(3)}
    gone = {"status": "missed", "on": DAY - dt.timedelta(20)}
    missed = due_row | {"queen_id": "Q0", **gone}
    rows = [before, missed, due_row]

    def days(**asked):
        told = entries(calendar(rows, DAY, "Test", **asked))
        return [entry["DTSTART;VALUE=DATE"] for entry in told]

    assert days() == ["20260701", "20260703"]
    assert days(overdue=True) == ["20260611", "20260628", "20260703"]
    assert "Q0" not in calendar(rows, DAY, "Test")


def test_a_day_keeps_its_uid_from_build_to_build(due_row):
    def uid(rows, as_of=DAY):
        (entry,) = entries(calendar(rows, as_of, "Test"))
        return entry["UID"]

    more = [due_row, due_row | {"queen_id": "Q2"}]
    later = due_row | {"on": DAY + dt.timedelta(5)}
    assert uid([due_row]) == uid(more, DAY + dt.timedelta(1))
    assert uid([due_row]) != uid([later])


def test_text_is_escaped_and_control_characters_spelt_out():
    assert escaped("a;b,c\\d\ne\r") == "a\\;b\\,c\\\\d\\ne\\u000d"


def test_long_lines_fold_at_75_bytes_between_characters():
    line = "SUMMARY:" + "č" * 100
    parts = folded(line).split("\r\n")
    assert all(len(part.encode()) <= 75 for part in parts)
    assert "".join([parts[0], *(part[1:] for part in parts[1:])]) == line
