"""What people write, in every language that has a file of words.

A language is one file under ``reports/text/words``: adding the file adds the language.
Texts are compared folded: without case, accents and punctuation, with the micro
signs as "u", so that "Königin Nr." and "KONIGIN NR" are one.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.languages import by_name

_NO_MARK = str.maketrans({"ł": "l", "đ": "d", "ø": "o", "ı": "i", "œ": "oe", "æ": "ae"})
_TOKEN = re.compile(r"[^\W_]+|#|%|\?")
_MICRO_L = re.compile(r"(?<![^\W\d_])(?:µ|μ|u|mc)\s?l(?![^\W\d_])", re.IGNORECASE)
_GERMAN = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue"})
STAGES = ("eggs", "larvae", "sealed")
"""The stages of brood, in the order in which they come and are written."""
TICKS = frozenset("xX✓✔√✗✘×+☑☒✕✖")
"""Marks that say "seen" where they stand alone in a column."""
CROSSES_NO = frozenset("✗✘☒")
"""Marks that may as well say no; a column that holds ticks beside them says so."""


def fold(text: str) -> str:
    """Give a text in the form that texts are compared in, words parted by a blank."""
    return " ".join(tokens(text))


@cache
def tokens(text: str) -> tuple[str, ...]:
    """Cut a text into folded words; "#" and "%" are words of their own."""
    lowered = unicodedata.normalize("NFC", text).casefold()
    lowered = _MICRO_L.sub("ul", lowered).replace("°", " ")
    bare = unicodedata.normalize("NFKD", lowered.translate(_NO_MARK))
    kept = "".join(letter for letter in bare if not unicodedata.combining(letter))
    # "2. Kontrolle" and "CO₂" are read as "2 Kontrolle" and "co2"
    return tuple(_TOKEN.findall(kept))


@dataclass(frozen=True)
class Vocabulary:
    """The words of all languages, each phrase folded.

    Parameters
    ----------
    labels : mapping of phrase to the labels it carries
        "column:eggs", "part:date", "topic:checks"; what a heading may say.
    words : mapping of column (or yes_no) to phrase to our word
        What a cell of a yes/no or word column may say.
    findings : mapping of phrase to kind
        What a free word under a check may hold; "queen", "eggs", "drone_few".
    units : mapping of phrase to unit
        Names of units as the dictionary spells them.
    months : mapping of month name to number
    """

    labels: Mapping[str, frozenset[str]]
    words: Mapping[str, Mapping[str, str]]
    findings: Mapping[str, frozenset[str]]
    reason_parts: Mapping[str, frozenset[str]]
    units: Mapping[str, str]
    months: Mapping[str, int]
    rows: frozenset[str]
    counted: frozenset[str]
    void: frozenset[str]
    empty: frozenset[str]
    ordinals: Mapping[str, int]
    named_slots: frozenset[str]
    longest: int = field(default=5)


def _merge(into: dict[str, dict[str, str]], column: str, ours: str, theirs) -> None:
    for phrase in theirs:
        into.setdefault(column, {}).setdefault(fold(phrase) or phrase.strip(), ours)


def _each(documents: Iterable[dict], *path: str) -> Iterable[tuple[str, list[str]]]:
    for document in documents:
        section = document
        for part in path:
            section = section.get(part, {})
        yield from section.items()


@cache
def languages() -> dict[str, dict]:
    """Give the words of each language, English first."""
    return dict(sorted(by_name().items(), key=lambda item: (item[0] != "en", item[0])))


@cache
def vocabulary() -> Vocabulary:
    """Give the words of all languages together."""
    return together(languages().values())


@cache
def labels_in(language: str) -> Mapping[str, frozenset[str]]:
    """Give what phrases say in one language: "Stock" is a hive in one, a line in another."""
    return together([languages()[language]]).labels


@cache
def first_letters(language: str) -> Mapping[str, frozenset[str]]:
    """Give for each stage of brood the letters that its names in a language begin with."""
    found: dict[str, set[str]] = {stage: set() for stage in STAGES}
    for phrase, labels in labels_in(language).items() if language else ():
        for stage in STAGES:
            if f"column:{stage}" in labels and phrase != stage:  # our own names are everywhere
                found[stage].add(phrase[0])
    return {stage: frozenset(letters) for stage, letters in found.items()}


def language_of(texts: Iterable[str], prior: Mapping[str, float]) -> str:
    """Tell which language headings are written in; empty where nothing says so.

    Parameters
    ----------
    texts : iterable of str
    prior : mapping of language to weight
        What the station's other sheets say; decides where this one does not.
    """
    counts = languages_in(texts)
    worth = {
        name: counts.get(name, 0) + 0.1 * prior.get(name, 0) for name in languages()
    }
    best = max(worth, key=lambda name: worth[name])
    return best if worth[best] > 0 else ""


def languages_in(texts: Iterable[str]) -> dict[str, float]:
    """Count for each language the different headings that are phrases of it.

    A phrase of one or two letters ("N", "no") stands in many languages and in many
    cells: it counts little. Each text counts once, so that cells do not drown headings.
    """
    phrases = sorted({fold(text) for text in texts})
    return {
        name: sum(_weight(phrase, labels_in(name)) for phrase in phrases)
        for name in languages()
    }


def _weight(phrase: str, labels: Mapping[str, frozenset[str]]) -> float:
    if phrase in labels:
        return float(len(phrase.split())) if len(phrase) > 2 else 0.1
    return sum(0.5 for word in phrase.split() if len(word) > 2 and word in labels)


def together(documents: Iterable[dict]) -> Vocabulary:
    """Put the documents of several languages into one vocabulary."""
    documents = list(documents)
    labels = _labels(documents)
    words: dict[str, dict[str, str]] = {}
    for column in ("leak", "drone_in_worker", "queen_cells", "reason"):
        for ours, phrases in _each(documents, "words", column):
            _merge(words, column, ours, [ours, *phrases])
    for ours in ("yes", "no"):
        for document in documents:
            _merge(words, "yes_no", ours, document.get("words", {}).get(ours, []))
    return Vocabulary(
        labels={phrase: frozenset(found) for phrase, found in labels.items()},
        words=words,
        findings=_sets(_each(documents, "findings")),
        reason_parts=_sets(_each(documents, "reason_parts")),
        units=_units(documents),
        months=_months(documents),
        rows=_phrases(documents, "rows", "pass_over"),
        counted=_phrases(documents, "rows", "counted"),
        void=_phrases(documents, "rows", "void"),
        empty=_raw(documents, "empty"),
        ordinals=_ordinals(documents),
        named_slots=_phrases(documents, "slots", "named"),
        longest=max(len(phrase.split()) for phrase in labels),
    )


def _labels(documents: list[dict]) -> dict[str, set[str]]:
    """Give what each phrase of a heading may say; our own names are known everywhere."""
    labels: dict[str, set[str]] = {}
    for section, name in (
        ("columns", "column"),
        ("parts", "part"),
        ("topics", "topic"),
    ):
        for what, phrases in _each(documents, section):
            for form in {form for phrase in phrases for form in forms(phrase)}:
                labels.setdefault(form, set()).add(f"{name}:{what}")
    for table in TABLES.values():
        for column in table.columns:
            labels.setdefault(fold(column.name), set()).add(f"column:{column.name}")
    return labels


def forms(phrase: str) -> set[str]:
    """Give the spellings of a phrase: with and without the two-letter umlauts."""
    written = {phrase, phrase.casefold().translate(_GERMAN)}
    return {folded for text in written if (folded := fold(text))}


def _sets(items: Iterable[tuple[str, list[str]]]) -> dict[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    for name, phrases in items:
        found.setdefault(name, set()).update(f for p in phrases for f in forms(p))
    return {name: frozenset(phrases) for name, phrases in found.items()}


def _units(documents: list[dict]) -> dict[str, str]:
    found: dict[str, str] = {}
    for unit, phrases in _each(documents, "units"):
        for phrase in phrases:
            found.setdefault(fold(phrase), unit)
    return found


def _months(documents: list[dict]) -> dict[str, int]:
    found: dict[str, int] = {}
    for document in documents:
        for number, names in enumerate(document.get("months", {}).get("names", []), 1):
            for name in names:
                for form in forms(name):
                    found.setdefault(form, number)
    return found


def _phrases(documents: list[dict], section: str, name: str) -> frozenset[str]:
    return frozenset(
        form
        for document in documents
        for phrase in document.get(section, {}).get(name, [])
        for form in forms(phrase)
    )


def _raw(documents: list[dict], name: str) -> frozenset[str]:
    """Words that are mostly punctuation: compared without case alone."""
    return frozenset(
        phrase.casefold().strip()
        for document in documents
        for phrase in document.get("words", {}).get(name, [])
    )


def _ordinals(documents: list[dict]) -> dict[str, int]:
    found = {}
    for document in documents:
        for number, name in enumerate(document.get("slots", {}).get("ordinal", []), 1):
            for alike in name.split("|"):
                for form in forms(alike):
                    found.setdefault(form, number)
    return found
