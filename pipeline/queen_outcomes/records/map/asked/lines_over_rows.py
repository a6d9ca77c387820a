"""Lines that stand alone over blocks of rows: "Series 3, hatched 28.5., mother B14"."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Container, Sequence

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.years import LONE_YEAR
from queen_outcomes.records.map.asked.questions import NO, Question, question_id
from queen_outcomes.records.map.seen.headings import heading
from queen_outcomes.records.map.seen.opened import Row
from queen_outcomes.records.map.seen.sheet import Sheet, is_total
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.map.seen.words import tokens

KIND = "group"
COLUMNS = ("graft_batch", "line", "semen_batch", "operator")
"""What one line may say of all rows below it."""
_FEWEST, _SHOWN = 2, 3


def lines(sheet: Sheet) -> list[Row]:
    """Give the lines over blocks of records; none where the first block has none."""
    every = [row for row in sheet.groups if not _is_other(row)]
    begins = Counter(map(_first, every)).most_common(1)
    found = [row for row in every if _first(row) == begins[0][0]]
    if len(found) < _FEWEST or not sheet.rows or found[0].line > sheet.rows[0].line:
        return []
    starts = [row.line for row in found]
    records = [row.line for row in sheet.rows]
    ends = [*starts[1:], records[-1] + 1]
    filled = all(
        any(start < line < end for line in records)
        for start, end in zip(starts, ends, strict=True)
    )
    return found if filled else []


def pattern(found: Sequence[Row]) -> str:
    """Give the pattern of such lines, by the word that all of them begin with."""
    return f"{found[0].text(found[0].filled[0]).split()[0]}*"


def _first(row: Row) -> str:
    return row.text(row.filled[0]).split()[0].casefold()


def _is_other(row: Row) -> bool:
    text = row.text(row.filled[0])
    return is_total(text) or len(text.split()) < _FEWEST or (len(tokens(text)) <= _FEWEST and _names_a_year(text))


def _names_a_year(text: str) -> bool:
    """Tell whether a line names a year and a word, which is no batch: "Season 2024"."""
    return any(re.fullmatch(LONE_YEAR, token) for token in tokens(text))


def questions(station: Station, others: Container[str] = ()) -> list[Question]:
    """Ask what such lines tell of the rows below them, of what no column says already.

    Not of ``others``, sheets of whose lines several facts are asked about.
    """
    asked = []
    for sheet in station.sheets:
        found = lines(sheet) if sheet.source not in others else []
        parts = station.parts_of(sheet.source)
        open_ones = _open(parts) if found else []
        if not open_ones:
            continue
        texts = [row.text(row.filled[0]) for row in found]
        word = heading(texts[0].split()[0], sheet.language)
        said = word.of("column")
        likely = [name for name in open_ones if name in said]
        # "Yard Mill bend" says where they stood, which no record holds
        likely = likely or [NO] * bool((said or word.of("topic")) and not said & set(COLUMNS))
        asked.append(
            Question(
                question_id(KIND, sheet.source),
                f'In "{sheet.source}", what do lines that stand alone over rows tell of them?',
                [f'{len(texts)} lines, such as "{text}"' for text in texts[:1]]
                + [f'and "{text}"' for text in texts[1:_SHOWN]],
                {
                    **{name: f"the {name} of the rows below: the whole line" for name in open_ones},
                    NO: "nothing that counts: pass them over",
                },
                default=likely[0] if len(likely) == 1 else None,
                sources=(sheet.source,),
            )
        )
    return asked


def _open(parts: Sequence[Part]) -> list[str]:
    """Give the columns that a sheet's tables have and no heading of it feeds."""
    fed = {name for part in parts for name in part.feed.columns}
    return [
        name
        for name in COLUMNS
        if name not in fed and any(name in TABLES[part.table].names for part in parts)
    ]
