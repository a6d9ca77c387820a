"""What the names of months, weekdays and units are, in every language with a file of words.

A language is one file under ``reports/text/words``; adding the file adds the language.
A name that means two things, in one language or in two, is left out: a cell that holds
it is told and never guessed. A weekday's name keeps all that it means, since it only
has to agree with the day beside it.
"""

from __future__ import annotations

import tomllib
import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from queen_outcomes.base import resources
from queen_outcomes.facts.column import UNITS

ENGLISH = "en"
MICRO = {"µ": "u", "μ": "u", "㎕": "ul", "㎖": "ml", "㎣": "mm3", "mm³": "mm3"}
"""Signs of units that have a plainer form."""
DOTLESS = {"ı": "i"}
"""A letter of Turkish that is I in capitals, as i is elsewhere."""
DEGREES = {"℃": "°c", "℉": "°f"}
NO_UNIT = ("°", "deg", "degrees", "grad")
"""Written after a temperature, and no word on whether it is one of Celsius."""


def folded(text: str) -> str:
    """Write a name in small letters without accents; micro signs are "u"."""
    plain = text.lower()
    for sign, plainer in (MICRO | DEGREES | DOTLESS).items():
        plain = plain.replace(sign, plainer)
    parts = unicodedata.normalize("NFD", plain)
    bare = "".join(c for c in parts if not unicodedata.category(c).startswith("M"))
    return " ".join(unicodedata.normalize("NFC", bare).split())


def names() -> list[str]:
    """Give the short names of the languages that have a file, in order."""
    files = (file.name for file in _place().iterdir())
    return sorted(
        name.removesuffix(".toml") for name in files if name.endswith(".toml")
    )


@cache
def by_name() -> Mapping[str, Mapping[str, Any]]:
    """Read the files of words once: a language's short name -> its words, by name."""
    files = {name: _place() / f"{name}.toml" for name in names()}
    return {
        name: tomllib.loads(file.read_text(encoding="utf-8"))
        for name, file in files.items()
    }


def _place() -> Any:
    return resources.folder("reports") / "text" / "words"


def printed() -> list[str]:
    """Give the languages that sheets are printed in: those with words of paper."""
    return [name for name, words in by_name().items() if "paper" in words]


def paper(language: str) -> Mapping[str, Any]:
    """Give the words that stand on sheets; English where a language has none."""
    return by_name()[ENGLISH]["paper"] | by_name()[language].get("paper", {})


def caption(language: str, column: str) -> str:
    """Give what a column is called: the first of its headings that the language names."""
    named = (by_name()[each].get("columns", {}) for each in (language, ENGLISH))
    first = next((words[column][0] for words in named if words.get(column)), column)
    return first[:1].upper() + first[1:]


def word(language: str, column: str, ours: str) -> str:
    """Give the first word that a language has for one of ours in a column."""
    theirs = by_name()[language].get("words", {}).get(column, {})
    return next(iter(theirs.get(ours, ())), ours)


def documents() -> tuple[Mapping[str, Any], ...]:
    """Give the words of each language, in the order of the languages' names."""
    return tuple(by_name().values())


@cache
def ditto_words() -> frozenset[str]:
    """Give the words for "as above", in small letters."""
    return frozenset(
        word.casefold().strip()
        for words in documents()
        for word in words.get("words", {}).get("ditto", ())
    )


@cache
def about_words() -> tuple[str, ...]:
    """Give the marks of a number that is only about right, folded, the longest first."""
    marks = {"~", "≈"} | {
        folded(word)
        for words in documents()
        for word in words.get("words", {}).get("about", ())
    }
    return tuple(sorted(marks, key=lambda mark: (-len(mark), mark)))


@cache
def no_words() -> frozenset[str]:
    """Give the words for no, for "not recorded" and for "not marked", folded."""
    places = ("words", "no"), ("words", "empty"), ("findings", "mark_no")
    return frozenset(
        folded(word)
        for words in documents()
        for section, meaning in places
        for word in words.get(section, {}).get(meaning, ())
    )


@cache
def months() -> Mapping[str, int]:
    """Give the names and short names of months, folded, and the month's number."""
    return _of_one_meaning(
        (name, number)
        for words in documents()
        for number, names in enumerate(words.get("months", {}).get("names", ()), 1)
        for name in names
    )


@cache
def weekdays() -> Mapping[str, frozenset[int]]:
    """Give the names and short names of weekdays, folded, and which they may be, 1 to 7."""
    meant: dict[str, set[int]] = {}
    for words in documents():
        for number, names in enumerate(words.get("weekdays", {}).get("names", ()), 1):
            for name in names:
                meant.setdefault(folded(name), set()).add(number)
    return {name: frozenset(numbers) for name, numbers in meant.items()}


@cache
def week_words() -> frozenset[str]:
    """Give the words and letters, folded, beside which a number is a week of the year."""
    return frozenset(
        folded(name)
        for words in documents()
        for name in words.get("weekdays", {}).get("week", ())
    )


@cache
def units(kept: str) -> Mapping[str, str]:
    """Give the names of the units that a quantity may be written in.

    Parameters
    ----------
    kept : str
        The unit that the dictionary keeps it in, such as "uL"; empty for a bare count.

    Returns
    -------
    mapping of str to str
        A unit's name, folded -> the unit as the dictionary writes it.
    """
    family = UNITS.get(kept, {})
    named = [
        (name, unit)
        for words in documents()
        for unit, names in words.get("units", {}).items()
        if unit in family
        for name in names
        # "0-1" after a number could not be told from a second number
        if not name[0].isdigit()
    ]
    return _of_one_meaning([*((unit, unit) for unit in family), *named])


def _of_one_meaning(pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    meant: dict[str, set[Any]] = {}
    for name, means in pairs:
        meant.setdefault(folded(name), set()).add(means)
    return {name: next(iter(of)) for name, of in meant.items() if len(of) == 1}
