"""Cells that hold the days of two doses, "2/6+4/6", and the doses beside them, "5+4".

Or the labels of two queens, "24/12, 24/9", in a list of how queens went or where they are.
"""

from __future__ import annotations

import re
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
_LISTS, _LABEL = ("exits", "placements"), "queen_id"


@dataclass(frozen=True)
class Several:
    """A list of inseminations with several days in a cell, or one of queens with several labels.

    Attributes
    ----------
    part : Part
    headings : tuple of str
        Of the day or label, which leads, and of the dose where that has several too.
    most : int
        Days or labels of a cell at the most.
    texts : tuple of str
    """

    part: Part
    headings: tuple[str, ...]
    most: int
    texts: tuple[str, ...]

    @property
    def id(self) -> str:
        """The id of its question."""
        name = MAIN_DATE[_TABLE] if self.part.table == _TABLE else _LABEL
        return question_id(KIND, self.part.source, self.part.table, name)

    def heading(self, name: str, number: str) -> str:
        """Give the heading of one value, which may be "{}", of those under a heading."""
        return value_names(name, self.most)[0].replace(f"1 of {self.most}", number)


def find(station: Station) -> list[Several]:
    """Find lists of inseminations, one a row, with several days in some cells.

    And lists of queens with several labels in some; a sheet that lists inseminations is none.
    """
    done = [one for part in station.of(_TABLE) if (one := _of(part))]
    fed = {part.source for part in station.of(_TABLE)}
    lists = [part for table in _LISTS for part in station.of(table) if part.source not in fed]
    return done + [one for part in lists if (one := _of_labels(part))]


def _of_labels(part: Part) -> Several | None:
    """Find cells of several labels, each of a form that stands alone in other cells."""
    if part.feed.slots or part.feed.only or _LABEL not in part.feed.uses:
        return None
    (column, *more) = part.columns_of(_LABEL)
    values = {text: values_in(text) for text in column.contents.counts}
    forms = {_form(one) for listed in values.values() if len(listed) == 1 for one in listed}
    told = {
        text: listed
        for text, listed in values.items()
        if len(set(listed)) == len(listed) > 1 and {_form(one) for one in listed} <= forms
    }
    most = max(map(len, told.values()), default=0)
    return Several(part, (column.name,), most, tuple(told)) if told and most <= _MOST and not more else None


def _form(text: str) -> str:
    """Give the form of a label: figures alike, however many."""
    return re.sub(r"\d+", "9", text.casefold())


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
            _in_words(one),
            [
                f"it holds {', '.join(one.texts[:_SHOWN])}",
                *(f'the doses stand so under "{name}"' for name in one.headings[1:]),
            ],
            {
                YES: "they are: one on each day" if one.part.table == _TABLE else "they do: one row each",
                NO: "they are not: leave them unread"
                if one.part.table == _TABLE
                else "they do not: the cell is one label",
            },
            default=YES,
            sources=(one.part.source,),
        )
        for one in found
    ]


def _in_words(one: Several) -> str:
    where = f'In "{one.part.source}"'
    if one.part.table == _TABLE:
        return (
            f'{where}, are several days in one cell of "{one.headings[0]}" as many inseminations '
            "of that queen?"
        )
    return f'{where}, do several labels in one cell of "{one.headings[0]}" name as many queens?'
