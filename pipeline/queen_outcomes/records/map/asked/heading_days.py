"""Days over the columns of looks that stand in no order: one of them may be another day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from queen_outcomes.facts import years
from queen_outcomes.facts.years import Year
from queen_outcomes.records.day_headings import LEAST, out_of_order
from queen_outcomes.records.map.asked.orders import Orders
from queen_outcomes.records.map.asked.questions import (
    LEAVE,
    RIGHT,
    WEEKDAYS,
    Question,
    question_id,
)
from queen_outcomes.records.map.seen.contents import ORDERS, day_of
from queen_outcomes.records.map.seen.fits import MAIN_DATE
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.map.seen.weeks import week_of

KIND, WEEKDAY = "day", "weekday"


def find(station: Station, orders: Orders) -> list[Question]:
    """Ask of every sheet whose days over the columns run back whether they are right."""
    found = []
    for part in station.parts:
        texts = list(part.feed.days.values())
        wrong = _wrong(part, orders) if len(texts) >= LEAST else []
        if not wrong:
            continue
        named = " and ".join(f'"{texts[place]}"' for place in wrong)
        found.append(
            Question(
                question_id(KIND, part.source, part.table, MAIN_DATE[part.table]),
                f'Are the days over the columns of "{part.source}" right, where {named} '
                "is out of order?",
                [_between(texts, place) for place in wrong],
                {
                    RIGHT: "they are; or a table with the days that they are, such as "
                    f'{{ "{texts[wrong[0]]}" = 2025-07-31 }}'
                },
                sources=(part.source,),
            )
        )
    return found


def weekdays(station: Station) -> list[Question]:
    """Ask on which day of the week looks were made whose columns name the week alone."""
    found = []
    for part in station.parts:
        texts = [text for text in part.feed.days.values() if week_of(text)]
        if not texts:
            continue
        found.append(
            Question(
                question_id(WEEKDAY, part.source, part.table, MAIN_DATE[part.table]),
                f'On which day of the week were the looks of "{part.source}" made, whose '
                f"columns name weeks alone, such as {texts[0]}?",
                [f'{len(texts)} columns, from "{texts[0]}" to "{texts[-1]}"'],
                {
                    **{day: f"the {day} of each week" for day in WEEKDAYS},
                    LEAVE: "it is not known: leave them without a day",
                },
                sources=(part.source,),
            )
        )
    return found


def day_of_week(text: str, weekday: str | None, year: Year | None) -> dt.date | None:
    """Give the day of a heading that is a week; None while weekday or year are not known."""
    week = week_of(text)
    if week is None or weekday not in WEEKDAYS:
        return None
    own = week.year
    if own is None and year is not None:
        own = years.of_month(year, week.seen.days[0][1].month)
    return week.on(WEEKDAYS.index(weekday) + 1, own) if own else None


def _wrong(part: Part, orders: Orders) -> list[int]:
    """Give the places of days out of order in every order in which they may be written."""
    place = part.source, part.table, MAIN_DATE[part.table]
    known = orders.by_column.get(place) or orders.by_file.get(part.source)
    least: list[int] | None = None
    for order in [known] if known else ORDERS:
        days = list(_days(part, order, orders))
        if None in days:
            continue
        wrong = out_of_order([day for day in days if day is not None])
        least = wrong if least is None or len(wrong) < len(least) else least
    return least or []


def _days(part: Part, order: str, orders: Orders) -> Iterator[dt.date | None]:
    """Give the days in an order, those without a year as the sheet's year or season has them."""
    year = orders.year_of(part.source)
    for text in part.feed.days.values():
        seen = day_of(text.split(" (", maxsplit=1)[0])
        day = seen.on(order) if seen else None
        if day is None or seen is None:
            yield None
        elif not seen.yearless:
            yield day
        elif year and year != years.ROWS:
            yield day.replace(year=years.of_month(year, day.month) or day.year)
        else:
            yield None


def _between(texts: list[str], place: int) -> str:
    before = f'behind "{texts[place - 1]}"' if place else ""
    after = f'before "{texts[place + 1]}"' if place + 1 < len(texts) else ""
    return f'"{texts[place]}" stands {" and ".join(filter(None, (before, after)))}'
