"""Whether a column is what it was taken for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.seen.contents import MOST, day_of
from queen_outcomes.records.map.seen.feed import Use
from queen_outcomes.records.map.seen.fits import MAIN_DATE, can_hold, ours_of
from queen_outcomes.records.map.seen.sheet import Sheet
from queen_outcomes.records.map.seen.station import Part, Station

_GRAFT_DAYS = (17, 26)
"""Days from grafting to insemination, where emergence falls 11 to 13 days after grafting."""
_SHOWN = 5
_AFTERWARDS = ("checks", "exits")
"""Tables whose days follow the insemination."""


def grafting(station: Station) -> list[Question]:
    """Ask about days of emergence that lie as far from insemination as grafting does."""
    questions = []
    for part in station.parts:
        if "emerged_on" not in part.feed.columns:
            continue
        headings = part.feed.headings("emerged_on")
        own = [p for p in station.parts_of(part.source) if p.table == "inseminations"]
        if not own:
            continue
        days = part.columns_of("emerged_on")[0].contents
        done = own[0].columns_of("inseminated_at")[0].contents
        gaps = sorted(
            (later.days[0][1] - earlier.days[0][1]).days
            for earlier, later in zip(days.days, done.days, strict=False)
            if earlier and later and len(days.days) == len(done.days)
        )
        if not gaps:
            continue
        middle = gaps[len(gaps) // 2]
        if _GRAFT_DAYS[0] <= middle <= _GRAFT_DAYS[1]:
            questions.append(
                Question(
                    question_id("graft", part.source, part.table, "emerged_on"),
                    f'Is "{headings[0]}" in "{part.source}" the day of grafting?',
                    [
                        f"half of the queens are inseminated {middle} days after it, or later"
                    ],
                    {
                        YES: "grafting: leave it unread",
                        NO: "she left her cell that day",
                    },
                    sources=(part.source,),
                )
            )
    return questions


def unsure(station: Station) -> list[Question]:
    """Ask about columns taken for ours by what stands in them, under another heading.

    A day under a heading that nobody knows may be that of anything: it has no default.
    """
    questions = []
    for part in station.parts:
        for name, use in part.feed.uses.items():
            if use.value:
                questions.append(_of_every_row(part, name, use.value))
                continue
            unknown_day, too_early = _is_unknown_day(part, name), _too_early(station, part, name)
            if unknown_day or too_early or use.rival or _doubtful(part, name, use):
                texts = ", ".join(list(dict.fromkeys(part.texts(name)))[:_SHOWN])
                questions.append(
                    Question(
                        question_id("column", part.source, part.table, name),
                        _in_words(station, part, name, use),
                        [
                            f"it holds {texts}",
                            *([too_early] if too_early else []),
                            *_rival(part, use.rival),
                        ],
                        {YES: "it is", NO: "it is not: leave it unread"},
                        default=None
                        if unknown_day or too_early or use.rival or _bare(part, name)
                        else YES,
                        sources=(part.source,),
                    )
                )
    return questions


def _of_every_row(part: Part, name: str, value: str) -> Question:
    """Ask about what a sheet's name or title says of all its rows."""
    return Question(
        question_id("column", part.source, part.table, name),
        f'In "{part.source}", was every queen {value}?',
        [f"its name or title says so, and no column holds the {name}"],
        {YES: "every one was", NO: "not so: leave it open"},
        default=YES,
        sources=(part.source,),
    )


def _in_words(station: Station, part: Part, name: str, use: Use) -> str:
    """Ask whether a heading is a column of ours; of a colony, when the queen went into it."""
    own = [p for p in station.parts_of(part.source) if p.table == "inseminations"]
    days = [heading for p in own for heading in p.feed.headings("inseminated_at")]
    if name == "placed_on" and use.names[0] in days:
        colony = part.feed.headings("colony_id")[0]
        return (
            f'In "{part.source}", does a queen go into the colony under "{colony}" on the day '
            "of her insemination?"
        )
    rows = f" of the rows of {part.table}" if part.feed.only else ""
    return f'In "{part.source}", is {_under(use.names)} the column {name}{rows}?'


def _rival(part: Part, rival: str) -> list[str]:
    """Show what stands under another heading that may be meant as well."""
    if not rival:
        return []
    texts = list(part.sheet.column(rival).contents.counts)[:_SHOWN]
    return [f'beside it "{rival}" holds {", ".join(texts)}']


def _under(names: Sequence[str]) -> str:
    return " with ".join(f'"{name}"' for name in names)


def _too_early(station: Station, part: Part, name: str) -> str:
    """Say that most days of a look or an exit lie before the insemination of their row.

    Under "out of the cell" beside the day of insemination a queen hatched.
    """
    own = [p for p in station.parts_of(part.source) if p.table == "inseminations"]
    if part.table not in _AFTERWARDS or name != MAIN_DATE[part.table] or not own:
        return ""
    columns = part.columns_of(name)[0], own[0].columns_of("inseminated_at")[0]
    days = zip(*(_plain_days(part.sheet, column.at) for column in columns), strict=True)
    both = [(day, done) for day, done in days if day and done]
    early = sum(day < done for day, done in both)
    if not early or early < MOST * len(both):
        return ""
    return f"{early} of {len(both)} lie before the insemination of their row"


def _plain_days(sheet: Sheet, at: int) -> list[dt.date | None]:
    """Give the day of each row in a column; None where it is none, or may be two."""
    found = []
    for row in sheet.rows:
        seen = day_of(row.text(at)[:10])
        found.append(seen.days[0][1] if seen and len(set(seen.days)) == 1 else None)
    return found


def _bare(part: Part, name: str) -> bool:
    """Tell whether a column holds bare numbers, which are labels of too many things."""
    return all(text.isdigit() for text in part.texts(name))


def _is_unknown_day(part: Part, name: str) -> bool:
    """Tell whether a table's own day stands under a heading in no language's words."""
    said = part.columns_of(name)[0].heading
    return name == MAIN_DATE[part.table] and bool(said.unknown) and not said.phrases


def _doubtful(part: Part, name: str, use: Use) -> bool:
    held = part.contents(name)
    gate = min(can_hold(ours_of(part.table, name).kind, name, h) for h in held)
    return use.worth < 0.6 and bool(part.texts(name)) and gate > 0
