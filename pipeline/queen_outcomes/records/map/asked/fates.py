"""How queens went, told with its day in a column of remarks: "sold 9.7.", "12.6. superseded"."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records import apart
from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.asked.wordlist import Word
from queen_outcomes.records.map.seen import meanings
from queen_outcomes.records.map.seen.station import Part, Station

KIND = "fates"
_FEWEST, _KNOWN, _AGAIN = 3, 0.5, 2
"""So many remarks with a day say how she went, under one heading, and such a share of those with
a day; of other words beside days, those that stand so often are asked about."""
_SHOWN = 5
_KEEPS = ("inseminations", "queens", "checks")
"""The tables whose rows name the queen that a remark is about, the first that a sheet feeds."""


@dataclass(frozen=True)
class Remarks:
    """A sheet's remarks that tell how queens went.

    Attributes
    ----------
    part : Part
        The rule that names the queen of each row.
    heading : str
    told : Counter of str
        Words beside a day, as they are written; not all of them say how she went.
    """

    part: Part
    heading: str
    told: Counter[str]

    @property
    def id(self) -> str:
        """The id of its question, which holds for all sheets with this heading."""
        return question_id(KIND, "*", "exits", self.heading.replace(":", " "))

    @property
    def headings(self) -> tuple[str, str]:
        """The headings that the day and the words have once cells are taken apart."""
        day, words = apart.names(self.heading, 1)
        return day, words


def reason_of(words: str) -> str | None:
    """Say how a queen went by words of a remark; None where they do not say it.

    "Weak" is a fault, and no end unless something was done about it.
    """
    reasons = TABLES["exits"].column("reason").words
    said = meanings.of_word(words, "reason", reasons) if words else None
    return said if said != "culled_fault" or meanings.is_culled(words) else None


def find(station: Station) -> list[Remarks]:
    """Find columns of remarks that tell how queens went; none in sheets that keep it anyhow."""
    found: dict[str, list[Remarks]] = defaultdict(list)
    for sheet in station.sheets:
        parts = station.parts_of(sheet.source)
        tables = {part.table: part for part in parts if "queen_id" in part.feed.uses}
        keeps = next((tables[name] for name in _KEEPS if name in tables), None)
        if keeps is None or any(part.table == "exits" for part in parts):
            continue
        read = {h for p in parts for n in p.feed.columns if n != "note" for h in p.feed.headings(n)}
        for column in sheet.columns:
            told = Counter(filter(None, map(apart.words_beside_day, column.contents.texts)))
            if told and column.name and column.name not in read:
                found[column.name].append(Remarks(keeps, column.name, told))
    return [one for same in found.values() if _say_so(same) for one in same]


def _say_so(same: Sequence[Remarks]) -> bool:
    """Tell whether enough remarks under one heading say how queens went."""
    every = sum((one.told for one in same), Counter[str]())
    known = sum(count for text, count in every.items() if reason_of(text))
    return known >= max(_FEWEST, _KNOWN * every.total())


def words(found: Iterable[Remarks], known: Sequence[Word]) -> list[Word]:
    """Give the words that say how queens went, but for those that other columns have."""
    have = {word.text.casefold() for word in known if word.column == "reason"}
    made: dict[str, Word] = {}
    found = list(found)
    every = sum((one.told for one in found), Counter[str]())
    for one in found:
        for text, count in one.told.items():
            if text.casefold() in have or not (reason_of(text) or every[text] >= _AGAIN):
                continue
            word = made.setdefault(text.casefold(), Word("reason", text, means=reason_of(text)))
            word.count += count
            word.sources.add(one.part.source)
            word.headings.add(one.heading)
    return list(made.values())


def questions(found: Iterable[Remarks]) -> list[Question]:
    """Ask of each heading once whether its remarks are to be read as exits."""
    by_id: dict[str, list[Remarks]] = {}
    for one in found:
        by_id.setdefault(one.id, []).append(one)
    asked = []
    for name, same in by_id.items():
        texts = [t for one in same for t in one.told if reason_of(t)]
        texts = list(dict.fromkeys(texts))
        shown = ", ".join(f'"{text}"' for text in texts[:_SHOWN])
        asked.append(
            Question(
                name,
                f'Do remarks under "{same[0].heading}" say when and how queens went?',
                [f"{sum(one.told.total() for one in same)} have a day beside words, such as {shown}"],
                {YES: "they do: read those as exits", NO: "they do not: leave them unread"},
                sources=tuple(dict.fromkeys(one.part.source for one in same)),
            )
        )
    return asked


def columns(one: Remarks, queen: Any, means: Iterable[Word]) -> tuple[dict[str, Any], list[str]]:
    """Give the columns of the rule that reads a sheet's remarks as exits, and the words it takes."""
    day, said = one.headings
    known = {word.text.casefold() for word in means if word.column == "reason" and word.means}
    texts = sorted(text for text in one.told if text.casefold() in known)
    return {"queen_id": queen, "left_on": day, "reason": said}, texts
