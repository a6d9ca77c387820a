"""Which column of ours a heading means that may be one of several."""

from __future__ import annotations

from collections.abc import Sequence

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.map.asked.questions import Question, place_of, question_id
from queen_outcomes.records.map.seen.sheet import NONE, Sheet, in_question
from queen_outcomes.records.map.seen.station import Station

KIND = "which"
_SHOWN = 5
_FED = ("inseminations", "queens")
"""The tables of which a queen's batches are kept."""


def either(station: Station) -> list[Question]:
    """Ask of headings that say batch or lot, and not of what."""
    return [
        question(sheet, name, one.options, one.why, one.likely)
        for sheet in station.sheets
        if any(part.table in _FED for part in station.parts_of(sheet.source))
        for name, one in sheet.either.items()
    ]


def question(
    sheet: Sheet, name: str, options: Sequence[str], why: Sequence[str], likely: str = ""
) -> Question:
    """Ask which of some columns of ours a sheet's heading means."""
    held = sheet.column(name).contents
    texts = ", ".join(list(held.counts)[:_SHOWN])
    return Question(
        question_id(KIND, sheet.source, "*", in_question(name)),
        f'In "{sheet.source}", what stands under "{name}"?',
        [f"it holds {texts}", *why],
        {
            **{option: meaning(option) for option in options},
            NONE: "none of these: leave it unread",
        },
        default=likely or None,
        sources=(sheet.source,),
    )


def meaning(name: str) -> str:
    """Say what a column of ours is, in the words of the dictionary."""
    return next(
        table.column(name).meaning for table in TABLES.values() if name in table.names
    )


def answered(questions: Sequence[Question]) -> dict[str, dict[str, str]]:
    """Give what was answered of headings: source -> heading -> our column, or none."""
    found: dict[str, dict[str, str]] = {}
    for one in questions:
        if one.kind == KIND and one.answer is not None:
            _, source, _, name = place_of(one.id)
            found.setdefault(source, {})[name] = one.answer
    return found


