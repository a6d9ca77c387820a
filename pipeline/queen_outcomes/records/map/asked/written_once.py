"""What stands once for many rows: days, names and years above them, and the month of all days."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Sequence
from itertools import pairwise

from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.seen import months
from queen_outcomes.records.map.seen.contents import bare_day
from queen_outcomes.records.map.seen.fits import MAIN_DATE, is_year, ours_of
from queen_outcomes.records.map.seen.station import Part, Station

YEAR = "year"
"""In ids of questions the column of years that days lack, which is none of ours."""
_IN_BLOCKS = ("inseminations", "checks", "exits", "lab")
_FEW_BLOCKS, _MANY_BARE, _EACH_NEW = 3, 0.2, 0.95
"""So many blocks of rows under one day each; the share of rows without a day; and of days
that are new, and of rows without one in which something else is written."""


def days_above(station: Station) -> list[Question]:
    """Ask whether a day that is written once holds for the rows below it.

    Sheets of one workbook that have it under one heading are judged together. Where it does,
    names beside it that stand there as seldom may hold for the rows below them as well.
    """
    alike: dict[tuple[str, str, str], list[Part]] = defaultdict(list)
    for part in station.parts:
        use = part.feed.uses.get(MAIN_DATE[part.table])
        if use and part.table in _IN_BLOCKS:
            alike[part.source.partition("#")[0], part.table, use.names[0]].append(part)
    questions = []
    shared: set[tuple[str, str]] = set()
    for (_, table, named), parts in alike.items():
        name = MAIN_DATE[table]
        # the rows of a diary share their day, whichever table they belong to
        own = [one for one in parts if not one.feed.only or (one.source, named) not in shared]
        told, again = _once_for_several(own, name), _lacking(own, name)
        shared |= {(one.source, named) for one in own if told and one.feed.only}
        for part in own if told or again else ():
            asked = f'In "{part.source}", does a day under "{named}" hold for the rows below '
            questions.append(
                Question(
                    question_id("fill", part.source, table, name),
                    asked + "it that have none?",
                    [told or again],
                    {YES: "it does: fill it down", NO: "their day is not known"},
                    default=YES if told else None,
                    sources=(part.source,),
                )
            )
        if told:
            questions += _names_above(own, set(own[0].feed.uses) - {"queen_id"})
        elif table == "checks":  # as on the card of a colony, where she is named once
            questions += _names_above([one for one in own if not one.feed.only], {"queen_id"})
    return questions


def _names_above(parts: Sequence[Part], names: Container[str]) -> list[Question]:
    """Ask the same of names that are new wherever they are written; no default fits all."""
    questions = []
    for name in parts[0].feed.uses if parts else ():
        kind = ours_of(parts[0].table, name).kind
        if kind not in ("id", "label") or name not in names:
            continue
        if not all(name in part.feed.uses for part in parts):
            continue
        if told := _once_for_several(parts, name):
            named = parts[0].feed.uses[name].names[0]
            questions += [
                Question(
                    question_id("fill", part.source, part.table, name),
                    f'In "{part.source}", does what stands under "{named}" hold for the rows '
                    "below it that have none?",
                    [told],
                    {YES: "it does: fill it down", NO: "it is not known for them"},
                    sources=(part.source,),
                )
                for part in parts
            ]
    return questions


def years_above(station: Station) -> list[Question]:
    """Ask whether a year that is written once holds for the rows below it."""
    questions: dict[str, Question] = {}
    for part in station.parts:
        for name, use in part.feed.uses.items():
            years = [c for c in part.columns_of(name) if is_year(c)]
            at = years[0].at if years else 0
            bare = [row for row in part.sheet.rows if not row.text(at)] if years else []
            if not bare or not part.sheet.rows[0].text(at):
                continue
            heading = years[0].name
            questions.setdefault(
                part.source,
                Question(
                    question_id("fill", part.source, part.table, YEAR),
                    f'In "{part.source}", does a year under "{heading}" hold for the rows below '
                    f"it that have none, where the days under \"{use.names[0]}\" lack it?",
                    [f"{len(bare)} of {len(part.sheet.rows)} rows have none"],
                    {YES: "it does: fill it down", NO: "their year is not known"},
                    default=YES,
                    sources=(part.source,),
                ),
            )
    return list(questions.values())


def month_of_days(station: Station) -> list[Question]:
    """Ask of which month the days are that are written as the day of a month alone."""
    questions: dict[str, Question] = {}
    for part in station.parts:
        for name in part.feed.columns:
            column = next((c for c in part.columns_of(name) if c.contents.month), None)
            asked = question_id("month", part.source)
            if column is None or asked in questions:
                continue
            found = part.sheet.months
            most = max(day for t in column.contents.texts if (day := bare_day(t)) is not None)
            questions[asked] = Question(
                asked,
                f'Of which month are the days under "{column.name}" in "{part.source}"?',
                [*found.told, f"they are figures up to {most}, without month and year"],
                {months.written(month): "as it is named" for month in found.possible}
                if found.agreed is None
                else {},
                default=months.written(found.agreed) if found.agreed else None,
                sources=(part.source,),
            )
    return list(questions.values())


def _lacking(parts: Sequence[Part], name: str) -> str:
    """Say how many rows lack a day though something was done, where days are written again too.

    Nobody knows then whether the day above holds for them: it has no default.
    """
    rows, written, done = 0, 0, 0
    for part in parts:
        at, others = part.columns_of(name)[0].at, _besides(part, name)
        sheet = part.sheet.whole or part.sheet
        if not sheet.rows or not sheet.rows[0].text(at):
            return ""
        lacking = [row for row in sheet.rows if not row.text(at)]
        rows, written = rows + len(sheet.rows), written + len(sheet.rows) - len(lacking)
        done += sum(any(row.text(place) for place in others) for row in lacking)
    if written < _FEW_BLOCKS or done < max(_MANY_BARE * rows, _EACH_NEW * (rows - written)):
        return ""
    return f"{rows - written} of {rows} rows have none, and a day stands twice in a row as well"


def _once_for_several(parts: Sequence[Part], name: str) -> str:
    """Say how many rows lack a day or name, where a new one stands over each block alone.

    A row that nothing else is written in has none because nothing was done yet.
    """
    rows = bare = done = written = pairs = changes = 0
    for part in parts:
        at, others = part.columns_of(name)[0].at, _besides(part, name)
        sheet = part.sheet.whole or part.sheet
        texts = [row.text(at) for row in sheet.rows]
        lacking = [row for row in sheet.rows if not row.text(at)]
        told = [text for text in texts if text]
        if not told or not texts[0]:
            return ""
        rows, bare, written = rows + len(texts), bare + len(lacking), written + len(told)
        done += sum(any(row.text(place) for place in others) for row in lacking)
        pairs += len(told) - 1
        changes += sum(one != other for one, other in pairwise(told))
    blocks = written >= _FEW_BLOCKS and changes >= _EACH_NEW * pairs
    if not blocks or bare < _MANY_BARE * rows or done < _EACH_NEW * bare:
        return ""
    what = "a day" if name == MAIN_DATE[parts[0].table] else "one"
    return f"{bare} of {rows} rows have none, and {what} never stands twice in a row"


def _besides(part: Part, name: str) -> list[int]:
    """Give the places of what a row says of itself beside its ids."""
    ids = [n for n in part.feed.columns if ours_of(part.table, n).kind == "id"]
    places = [
        column.at
        for n in part.feed.columns
        if n != name and n not in ids
        for column in part.columns_of(n)
    ]
    sheet = part.sheet.whole or part.sheet
    return places + [sheet.column(named).at for named in part.feed.only]
