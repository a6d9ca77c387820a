"""When CO2 was given: every exposure or the others alone, and what words beside a course say."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter, defaultdict

from queen_outcomes.records import suggested
from queen_outcomes.records.map.asked.labels import key_of
from queen_outcomes.records.map.asked.questions import NO, Question, question_id
from queen_outcomes.records.map.seen.contents import SeenDay, clock_of, is_ditto
from queen_outcomes.records.map.seen.fits import MAIN_DATE, SPANS
from queen_outcomes.records.map.seen.sheet import SheetColumn
from queen_outcomes.records.map.seen.station import Part, Station

_OWN_HOURS = 2
_BEHIND = re.compile(r"[ T]\d{1,2}:\d{2}.*$")
_OF_CO2 = {"co2_other_at", "given_at"}
_MOST_WAYS = 6
"""So many ways in which CO2 is given, a station has at the most."""
_SHOWN = 5
_Moment = tuple[frozenset[dt.date | str], dt.time | None]
"""The days that a text may be, or the text, and the time of day behind it."""


def co2(station: Station) -> list[Question]:
    """Ask whether the CO2 list holds the insemination's own exposures."""
    listed = station.of("co2")
    if not listed:
        return []
    exposures = _moments(listed, "given_at")
    done = _moments(station.of("inseminations"), "inseminated_at")
    seen = own = 0
    for label, times in done.items():
        given = exposures.get(label)
        if given:
            seen += len(times)
            own += sum(any(_together(one, other) for other in given) for one in times)
    if not seen or own >= 0.5 * seen:
        return []
    return [
        Question(
            question_id("co2", table="co2", column="given_at"),
            "Does the CO2 list hold every exposure, or only those beside the "
            "insemination's own?",
            [
                f"{own} of {seen} inseminations of listed queens have one at their own time"
            ],
            {
                "other": "only the others; the one at the insemination is not written down",
                "every": "every exposure there was",
            },
            default="other" if own <= 0.1 * seen else None,
            sources=tuple(part.source for part in listed),
        )
    ]


def exposures(station: Station) -> list[Question]:
    """Ask on which days CO2 was given, where a column of inseminations says it in words or counts."""
    return [
        Question(
            question_id("exposures", part.source, "co2", "given_at"),
            f'In "{part.source}", on which days was CO2 given by what stands under '
            f'"{column.name}"?',
            [
                ", ".join(f'"{text}" {number}' for text, number in _said(column).most_common()),
                f"0 is the day of {'her first ' if part.feed.slots else ''}insemination, -1 the day "
                "before, 1 the day after",
            ],
            {
                NO: "leave it unread; or a table of what stands for which days, such as "
                f"{{ {suggested.key(_said(column).most_common(1)[0][0])} = [-1, 0] }}: what is "
                "left out, and an empty cell, was not recorded"
            },
            sources=(part.source,),
        )
        for part in station.of("inseminations")
        for column in exposure_columns(station, part)[:1]
    ]


def exposure_columns(station: Station, part: Part) -> list[SheetColumn]:
    """Give the columns of a sheet of inseminations that say in a few words how CO2 was given."""
    fed = {h for p in station.parts_of(part.source) for n in p.feed.columns for h in p.feed.headings(n)}
    first = next((p for p in station.parts_of(part.source) if p.table == "inseminations"), None)
    if part is not first or not part.feed.headings(MAIN_DATE["inseminations"]):
        return []
    return [
        column
        for column in part.sheet.columns
        if column.name not in fed
        and ("co2" in column.heading.of("topic") or column.heading.of("column") & _OF_CO2)
        and not column.heading.of("column") & set(SPANS)
        and column.heading.unit not in ("min", "s")
        and not any(column.contents.days)
        and 0 < len(_said(column)) <= _MOST_WAYS
    ]


def _said(column: SheetColumn) -> Counter[str]:
    """Count what stands in a column, "-" among it; a mark that repeats the cell above is none."""
    held = column.contents
    return Counter([*held.texts, *held.unknown])


def _moments(parts: list[Part], name: str) -> dict[str, list[_Moment]]:
    """Give label -> when something was done to her, in whatever form it is written."""
    found: dict[str, list[_Moment]] = defaultdict(list)
    for part in parts:
        labels, columns = part.columns_of("queen_id"), part.columns_of(name)
        if not labels or not columns:
            continue
        clocks = [] if part.feed.slots else columns[1:2]
        for days in columns if part.feed.slots else columns[:1]:
            above = ""
            for row in part.sheet.rows:
                text = row.text(days.at)
                above = text = above if is_ditto(text) else text
                time = clock_of(row.text(clocks[0].at)) if clocks else _clock_in(text)
                label = row.text(labels[0].at)
                if text and label:
                    seen = days.contents.day_of(text)
                    found[key_of(label)].append((_days(seen, text), time))
    return found


def _days(seen: SeenDay | None, text: str) -> frozenset[dt.date | str]:
    return frozenset(day for _, day in seen.days) if seen else frozenset([text])


def _clock_in(text: str) -> dt.time | None:
    """Give the time of day behind a day in one cell."""
    behind = _BEHIND.search(text)
    return clock_of(behind[0].strip(" T")) if behind else None


def _together(one: _Moment, other: _Moment) -> bool:
    if not one[0] & other[0]:
        return False
    if one[1] is None or other[1] is None:
        return True
    minutes = [time.hour * 60 + time.minute for _, time in (one, other)]  # type: ignore[union-attr]
    return abs(minutes[0] - minutes[1]) <= _OWN_HOURS * 60
