"""What one heading says: columns, topics and parts it names, its unit and its place in a series.

Works on the heading alone; what stands below it is judged in `columns.py`.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from rapidfuzz import fuzz, process

from queen_outcomes.facts.column import UNITS
from queen_outcomes.records.map.seen.words import labels_in, tokens, vocabulary

_ORDINAL = re.compile(r"^(\d{1,2})(?:st|nd|rd|th|er|ere|eme|e|o|a|y)?$")
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5, "vi": 6, "vii": 7, "viii": 8}
_GLUED = re.compile(r"^([^\W\d_]{3,})(\d{1,2})$")
_DEGREES = re.compile(r"°\s?[CF]\b", re.IGNORECASE)
_LINKS = ("", "s", "n", "en", "es", "e")
_LEAST_COMPOUND = 3
_LEAST_FUZZY = 5
_ALIKE = 88
_MOST_TURNED = 3
"""Words whose order is tried; of more, too many would be somebody else's phrase."""
_KNOWN_UNITS = frozenset(unit for units in UNITS.values() for unit in units)
_ONLY_WITH_OTHERS = frozenset(["d", "s", "h", "c", "f", "m", "k"])
"""Units of one letter: taken for a unit only behind other words."""


@dataclass(frozen=True)
class Heading:
    """A heading cut into what it names.

    Parameters
    ----------
    name : str
        As the reader knows it: repeated headings told apart as "date (2)".
    phrases : tuple of frozenset of str
        For each known phrase the labels it carries ("column:eggs", "part:date").
    unknown : tuple of str
        Words in no language's file.
    unit : str
        As the dictionary spells it; empty where the heading names none.
    slot : str
        Which of a series it is: "1", "2", "spring"; empty where it names none.
    repeat : int
        1 for the first column of this heading, 2 for the next, ...
    """

    name: str
    phrases: tuple[frozenset[str], ...] = ()
    unknown: tuple[str, ...] = ()
    unit: str = ""
    slot: str = ""
    repeat: int = 1

    @property
    def labels(self) -> frozenset[str]:
        """All labels of all phrases."""
        return frozenset().union(*self.phrases)

    def of(self, kind: str) -> frozenset[str]:
        """Give what the heading names of one kind: "column", "topic" or "part"."""
        start = f"{kind}:"
        return frozenset(
            label.removeprefix(start)
            for label in self.labels
            if label.startswith(start)
        )

    @property
    def known(self) -> bool:
        """Tell whether anything in the heading is known."""
        return bool(self.phrases or self.unit)


@cache
def heading(text: str, language: str = "") -> Heading:
    """Cut a heading; the language's own words come first, then any language's."""
    words = [part for token in tokens(text) for part in _unglued(token)]
    words, slot = _take_slot(words)
    words, unit = _take_unit(words, degrees=bool(_DEGREES.search(text)))
    phrases, unknown = _phrases(words, labels_in(language) if language else {})
    if unknown or not language:
        others = _phrases(words, vocabulary().labels)
        if not language or len(others[1]) < len(unknown):
            phrases, unknown = others
    if unknown and (labels := _turned(words)):
        phrases, unknown = [labels], []
    return Heading(text, tuple(phrases), tuple(unknown), unit, slot)


def _turned(words: list[str]) -> frozenset[str]:
    """Find a phrase of the same words in another order: "Drohnen Anzahl", "count drones"."""
    if not 1 < len(words) <= _MOST_TURNED:
        return frozenset()
    known = vocabulary().labels
    orders = map(" ".join, itertools.permutations(words))
    return next((known[phrase] for phrase in orders if phrase in known), frozenset())


def _unglued(token: str) -> list[str]:
    """Part "check1" into its word and number; "co2" is one word."""
    match = _GLUED.match(token)
    return (
        [match[1], match[2]] if match and token not in vocabulary().labels else [token]
    )


def _take_slot(words: list[str]) -> tuple[list[str], str]:
    """Take the number of a series out of a heading that says something else too."""
    known = vocabulary()
    for at, word in enumerate(words):
        rest = words[:at] + words[at + 1 :]
        if not rest and word not in known.named_slots:
            continue
        match = _ORDINAL.match(word)
        number = int(match[1]) if match else known.ordinals.get(word)
        if number is None and word in _ROMAN and _is_check(rest):
            number = _ROMAN[word]
        if number is not None and " ".join(words) not in known.labels:
            return rest, str(number)
        if word in known.named_slots:
            # "spring" alone is a series' name and the day of the look at once
            return rest or [word], word
    return words, ""


def numbered(text: str) -> tuple[str, str]:
    """Part a heading from its number, though "2nd CO2" is a column's name as a whole.

    Returns
    -------
    rest, number : str
        Both empty where there is no number, or nothing else.
    """
    words = tokens(text)
    for at, word in enumerate(words):
        match = _ORDINAL.match(word)
        number = int(match[1]) if match else vocabulary().ordinals.get(word)
        rest = " ".join(words[:at] + words[at + 1 :])
        if number is not None and rest:
            return rest, str(number)
    return "", ""


def _is_check(words: list[str]) -> bool:
    found = vocabulary().labels
    return any("topic:checks" in found.get(word, ()) for word in words)


def _take_unit(words: list[str], *, degrees: bool = False) -> tuple[list[str], str]:
    """Take the unit out of a heading; "uL" alone names both column and unit.

    A letter is a unit only behind other words, or with the sign of degrees before it.
    """
    units = vocabulary().units
    whole = " ".join(words)
    if whole in units and units[whole] in _KNOWN_UNITS:
        return words, units[whole]
    for length in (2, 1):
        for at in range(len(words) - length, -1, -1):
            phrase = " ".join(words[at : at + length])
            unit = units.get(phrase)
            first = phrase in _ONLY_WITH_OTHERS and at == 0
            if unit is None or (first and not (degrees and unit in ("C", "F"))):
                continue
            rest = words[:at] + words[at + length :]
            # "day" and "minutes" are columns first, and units only behind a column
            named = "column:" in "".join(vocabulary().labels.get(" ".join(rest), ()))
            if rest and (named or _is_symbol(phrase)):
                return rest, unit
    return words, ""


def _is_symbol(phrase: str) -> bool:
    return phrase in {"ul", "ml", "%", "mm3", "c", "f", "mio"}


def _phrases(
    words: list[str], labels_of: Mapping[str, frozenset[str]]
) -> tuple[list[frozenset[str]], list[str]]:
    """Cut words into the longest known phrases, from the left."""
    known = vocabulary()
    phrases: list[frozenset[str]] = []
    unknown: list[str] = []
    at = 0
    while at < len(words):
        for length in range(min(known.longest, len(words) - at), 0, -1):
            labels = labels_of.get(" ".join(words[at : at + length]))
            if labels:
                phrases.append(labels)
                at += length
                break
        else:
            parts = _compound(words[at]) or _misspelt(words[at])  # in any language
            phrases += parts
            unknown += [] if parts or len(words[at]) == 1 else [words[at]]
            at += 1
    return phrases, unknown


@cache
def _compound(word: str) -> list[frozenset[str]]:
    """Cut a compound such as "Besamungsdatum" into two known words."""
    labels = vocabulary().labels
    for cut in range(len(word) - _LEAST_COMPOUND, _LEAST_COMPOUND - 1, -1):
        second = labels.get(word[cut:])
        if not second or len(word[cut:]) < _LEAST_COMPOUND:
            continue
        for link in _LINKS:
            first = word[:cut].removesuffix(link) if link else word[:cut]
            if len(first) >= _LEAST_COMPOUND and first in labels:
                return [labels[first], second]
    return []


@cache
def _misspelt(word: str) -> list[frozenset[str]]:
    """Find the known word that a slip of the pen, or another ending, hides."""
    if len(word) < _LEAST_FUZZY:
        return []
    labels = vocabulary().labels
    found = process.extractOne(
        word, list(labels), scorer=fuzz.ratio, score_cutoff=_ALIKE
    )
    return [labels[found[0]]] if found else []
