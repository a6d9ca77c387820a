"""Days over the columns of looks that stand in no order: one of them may be another day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from queen_outcomes.facts import years
from queen_outcomes.records.day_headings import LEAST, out_of_order
from queen_outcomes.records.map.asked.orders import Orders
from queen_outcomes.records.map.asked.questions import RIGHT, Question, question_id
from queen_outcomes.records.map.seen.contents import ORDERS, day_of
from queen_outcomes.records.map.seen.fits import MAIN_DATE
from queen_outcomes.records.map.seen.station import Part, Station

KIND = "day"


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
