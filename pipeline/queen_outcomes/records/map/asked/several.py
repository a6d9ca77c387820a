"""Cells that hold the days of two doses, "2/6+4/6", and the doses beside them, "5+4"."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from queen_outcomes.records.apart import value_names, values_in
from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.seen.contents import day_of
from queen_outcomes.records.map.seen.fits import MAIN_DATE
from queen_outcomes.records.map.seen.station import Part, Station

KIND = "several"
_FEWEST, _MOST, _SHOWN = 2, 4, 5
"""Cells of several days from which on they are asked about; days of a cell at the most."""
_TABLE, _DOSE = "inseminations", "dose_ul"


@dataclass(frozen=True)
class Several:
    """A list of inseminations with several days in a cell.

    Attributes
    ----------
    part : Part
    headings : tuple of str
        Of the day, which leads, and of the dose where that has several too.
    most : int
        Days of a cell at the most.
    texts : tuple of str
    """

    part: Part
    headings: tuple[str, ...]
    most: int
    texts: tuple[str, ...]

    @property
    def id(self) -> str:
        """The id of its question."""
        return question_id(KIND, self.part.source, _TABLE, MAIN_DATE[_TABLE])

    def heading(self, name: str, number: str) -> str:
        """Give the heading of one value, which may be "{}", of those under a heading."""
        return value_names(name, self.most)[0].replace(f"1 of {self.most}", number)


def find(station: Station) -> list[Several]:
    """Find lists of inseminations, one a row, with several days in some cells."""
    return [one for part in station.of(_TABLE) if (one := _of(part))]


def _of(part: Part) -> Several | None:
    days = part.columns_of(MAIN_DATE[_TABLE])
    if part.feed.slots or len(days) != 1:
        return None
    held = {text: values for text in days[0].contents.texts if len(values := values_in(text)) > 1}
    told = {text: values for text, values in held.items() if all(map(day_of, values))}
    most = max(map(len, told.values()), default=0)
    count = sum(days[0].contents.counts[text] for text in told)
    if count < _FEWEST or most > _MOST:
        return None
    doses = part.columns_of(_DOSE)
    beside = [column.name for column in doses if any(len(values_in(t)) > 1 for t in column.contents.texts)]
    headings = (days[0].name, *(beside if len(doses) == 1 else ()))
    return Several(part, headings, most, tuple(told))


def questions(found: Iterable[Several]) -> list[Question]:
    """Ask of each list whether several days in a cell are as many inseminations."""
    return [
        Question(
            one.id,
            f'In "{one.part.source}", are several days in one cell of "{one.headings[0]}" as many '
            "inseminations of that queen?",
            [
                f"it holds {', '.join(one.texts[:_SHOWN])}",
                *(f'the doses stand so under "{name}"' for name in one.headings[1:]),
            ],
            {YES: "they are: one on each day", NO: "they are not: leave them unread"},
            default=YES,
            sources=(one.part.source,),
        )
        for one in found
    ]
