"""A legend: signs beside what they mean, on a sheet of its own that holds no records.

What it says of a sign stands in the place of any guess; what nobody understands of it is
shown where the sign is asked about.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from queen_outcomes.records.map.asked import wordlist
from queen_outcomes.records.map.asked.wordlist import EXIT, FINDINGS, PARTS, Word
from queen_outcomes.records.map.seen import meanings
from queen_outcomes.records.map.seen.opened import Row
from queen_outcomes.records.map.seen.station import Station

_FEWEST, _LONGEST = 2, 12
"""Signs of a sheet that records hold, from which on it is a legend; and letters of a sign."""
_PAIR = re.compile(r"^(?P<sign>[^=]+?)\s*=\s*(?P<said>[^=]+)$")
_BEHIND = re.compile(r"[,;(]")
"""What stands behind it says more of it: "sealed brood, the number after it is the score"."""


@dataclass(frozen=True)
class LegendEntry:
    """What a legend says of a sign, and the sheet that it stands on."""

    text: str
    source: str


def find(station: Station, words: Iterable[Word]) -> dict[str, LegendEntry]:
    """Give what legends say of the station's words: sign in small letters -> what it means."""
    written = {word.text.casefold() for word in words}
    found: dict[str, LegendEntry] = {}
    for sheet in station.no_records:
        pairs = dict(pair for row in sheet.grid.rows for pair in _pairs(row))
        if len(pairs.keys() & written) >= _FEWEST:
            for sign, text in pairs.items():
                found.setdefault(sign, LegendEntry(text, sheet.source))
    return found


def _pairs(row: Row) -> Iterable[tuple[str, str]]:
    """Give the signs of a row with what they mean: side by side, or in one cell with "="."""
    texts = [cell.text.strip() for cell in row.cells if cell.text.strip()]
    pairs = [(texts[0], texts[1])] if len(texts) == 2 and "=" not in texts[0] else []
    for text in () if pairs else texts:
        said = (_PAIR.match(each.strip()) for each in text.split(";"))
        pairs += [(pair["sign"], pair["said"]) for pair in said if pair]
    return [
        (sign.casefold(), text)
        for sign, text in pairs
        if len(sign) <= _LONGEST and any(letter.isalpha() for letter in text)
    ]


def explain(words: list[Word], legend: Mapping[str, LegendEntry]) -> None:
    """Give words of looks the meaning that a legend has for them; none where nobody tells it.

    A part of texts cannot say how a queen went: that is said of the text that is it alone.
    """
    for word in list(words):
        said = legend.get(word.text.casefold())
        if not said or word.column not in (FINDINGS, PARTS):
            continue
        word.told_by = f'"{said.source}" says: {said.text}'
        word.means = _meaning(said.text, word.limited)
        if word.column == PARTS and word.means and EXIT in word.means:
            words.append(replace(word, column=FINDINGS))
            word.means = {name: value for name, value in word.means.items() if name != EXIT}


def _meaning(text: str, limited: tuple[str, ...]) -> dict[str, str] | None:
    for way in (text, _BEHIND.split(text)[0]):
        found = meanings.of_findings(way, limited) or wordlist.fate(way)
        if found:
            return found
    return None
