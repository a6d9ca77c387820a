"""Which column of ours a heading means that may be one of several."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Sequence

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.map.asked.questions import Question, place_of, question_id
from queen_outcomes.records.map.seen import batches
from queen_outcomes.records.map.seen.contents import MOST, Contents
from queen_outcomes.records.map.seen.fits import PARTLY, can_hold
from queen_outcomes.records.map.seen.row_labels import is_run
from queen_outcomes.records.map.seen.sheet import NONE, Sheet, SheetColumn, in_question
from queen_outcomes.records.map.seen.station import Part, Station

KIND = "which"
_SHOWN = 5
_MOST_ASKED = 3
"""So many columns of a sheet are asked about at the most."""
_ASKED_ELSEWHERE = frozenset(["co2"])
"""Topics of which words under their heading are asked about in another way."""
_MOST_PEOPLE, _EACH, _LONGEST = 6, 3, 12
"""So many people inseminate at a station, each of them in so many rows on average."""
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


def unexplained(station: Station) -> list[Question]:
    """Ask of columns that no rule reads and that no heading explains, where they may be ours.

    Ticks or words for yes and no beside a look, and what a queen's row usually has and this
    sheet lacks: who did it, when she emerged, the graft, the load, the colony. Only a few are asked of a sheet.
    """
    asked = []
    for sheet in station.sheets:
        parts = station.parts_of(sheet.source)
        if not parts or sheet.whole or any(part.feed.only for part in parts):
            continue
        used = {h for p in parts for n in p.feed.columns for h in p.feed.headings(n)}
        may_be = [
            (column.name, options)
            for column in sheet.columns
            if column.name not in ("", *sheet.either)
            if column.name in sheet.chosen
            or (column.name not in used and _is_unexplained(column))
            if (options := _at_looks(sheet, column, parts) or _usual(sheet, column, parts))
        ]
        asked += [question(sheet, name, options, ()) for name, options in may_be[:_MOST_ASKED]]
    return asked


def _is_unexplained(column: SheetColumn) -> bool:
    """Tell whether nothing that a heading names can be what stands below it."""
    said, held = column.heading, column.contents
    if said.slot or said.of("topic") & _ASKED_ELSEWHERE or not held.filled:
        return False
    return not any(
        can_hold(ours.kind, ours.name, held) > 0
        for table in TABLES.values()
        for ours in table.columns
        if ours.name in said.of("column")
    )


def _at_looks(sheet: Sheet, column: SheetColumn, parts: Sequence[Part]) -> tuple[str, ...]:
    """Give what yes and no beside the day of a look may be of; nothing where they do not stand so."""
    if column.contents.yes_no_share < MOST or any(part.feed.days for part in parts):
        return ()
    rows = [cell.text for cell in column.contents.cells]
    looks = [part for part in parts if part.table == "checks"]
    days = [held for part in looks for held in part.contents("checked_on")]
    days += [c.contents for c in sheet.columns if _is_day_of_look(c)]
    least = MOST * column.contents.filled
    if not any(_beside(rows, held) >= least for held in days):
        return ()
    own = {name for part in looks for name in part.feed.columns}
    kinds = (ours.name for ours in TABLES["checks"].columns if ours.kind == "yes_no")
    return tuple(name for name in kinds if name not in own - _answered(sheet, column))


def _is_day_of_look(column: SheetColumn) -> bool:
    said = column.heading
    named = "checks" in said.of("topic") or "checked_on" in said.of("column")
    return named and column.contents.day_share >= PARTLY


def _beside(rows: Sequence[str], held: Contents) -> int:
    return sum(bool(text and cell.text) for text, cell in zip(rows, held.cells, strict=True))


def _usual(sheet: Sheet, column: SheetColumn, parts: Sequence[Part]) -> tuple[str, ...]:
    """Give what a row of an insemination usually has, this sheet lacks and a column may hold."""
    if not any(part.table == "inseminations" for part in parts):
        return ()
    have = {name for part in parts for name in part.feed.columns}
    lacking = (name for name in _USUAL if name not in have - _answered(sheet, column))
    return tuple(name for name in lacking if _USUAL[name](sheet, column.contents))


def _answered(sheet: Sheet, column: SheetColumn) -> set[str]:
    """Give what a column was answered to be, which the sheet has by this answer alone."""
    return {sheet.chosen.get(column.name, NONE)}


def _is_who(sheet: Sheet, held: Contents) -> bool:
    """Tell whether a few names or initials stand again and again."""
    few = len(held.counts) <= _MOST_PEOPLE and held.filled >= _EACH * len(held.counts)
    short = held.share(len(text) <= _LONGEST and text[:1].isupper() for text in held.texts)
    usual = 2 * held.filled >= len(sheet.rows) and not held.day_share
    return few and usual and short >= MOST and held.name_like >= MOST and held.yes_no_share < MOST


def _is_batch(sheet: Sheet, held: Contents) -> bool:
    """Tell whether labels stand in blocks of rows, each of them once."""
    rows = [text for text in batches.down(held) if text]
    blocks = sum(a != b for a, b in itertools.pairwise(rows)) + 1
    several = len(held.counts) > 1 and len(rows) >= _EACH * len(held.counts)
    usual = 2 * len(rows) >= len(sheet.rows) and not held.day_share
    return several and usual and blocks <= 2 * len(held.counts) and _is_label(held)


def _is_colony(sheet: Sheet, held: Contents) -> bool:
    """Tell whether nearly every row has a short label of its own that counts no rows."""
    new = len(held.counts) >= MOST * held.filled / 2
    usual = 2 * held.filled >= len(sheet.rows) and not is_run(held)
    return new and usual and not held.day_share and _is_label(held)


def _is_birth(sheet: Sheet, held: Contents) -> bool:
    """Tell whether days stand there, each of them for several queens."""
    rows = [text for text in batches.down(held) if text]
    usual = 2 * len(rows) >= len(sheet.rows) and len(rows) >= _EACH * len(held.counts)
    return usual and len(held.counts) > 1 and held.day_share >= MOST


def _is_label(held: Contents) -> bool:
    """Tell whether cells hold short labels: a number, or a word with one."""
    labels = (re.fullmatch(r"[^\W\d_]{0,4}[ .-]?\d{1,4}|[A-Z]|[IVX]+", text) for text in held.texts)
    return held.share(labels) >= MOST


_USUAL: dict[str, Callable[[Sheet, Contents], bool]] = {
    "operator": _is_who,
    "emerged_on": _is_birth,
    "graft_batch": _is_batch,
    "semen_batch": _is_batch,
    "colony_id": _is_colony,
}
