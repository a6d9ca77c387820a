"""The distinct words of the columns, each once with its count and a guess at what it means."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from queen_outcomes.base.errors import UsageError, raise_all
from queen_outcomes.facts.column import Column
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import HOLE, NOT_LOOKED, PARTS
from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.seen import meanings
from queen_outcomes.records.map.seen.contents import crosses, is_tick
from queen_outcomes.records.map.seen.fits import FINDINGS, ours_of
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.map.seen.words import (
    CROSSES_NO,
    STAGES,
    first_letters,
    fold,
    tokens,
    vocabulary,
)

READER_KNOWS = {
    "yes": "yes",
    "y": "yes",
    "true": "yes",
    "1": "yes",
    "no": "no",
    "n": "no",
    "false": "no",
    "0": "no",
}
"""Words that need no setting."""
NOTHING = ""
"""The meaning "known, sets nothing" of a free word; "not recorded" of any other."""
EXIT = "exit"
"""What a word under a look sets, beside what the look found, where it says how she went."""
_SEEN_BY = {"missing": {"queen_seen": NO}, "drone_layer": {"drone_in_worker": "many"}}
"""What else is found where a queen went so."""
_MAY_BE_SEEN = (
    "or what was seen that day, such as larvae = yes; sealed = yes: it is then a check; with "
    "exit = drone_layer beside it, both"
)
_SETTABLE = ("yes_no", "word", "number", "integer")
"""Kinds of columns of a look that its words may set."""
_SHOWN = 5
_BROOD_ONLY = ("larvae", "sealed")
DASHES = frozenset(["-", "--", "–", "—", "−"])
"""Marks that may as well say none as that nobody looked; no word of any language."""


@dataclass
class Word:
    """One distinct word of a column.

    Parameters
    ----------
    column : str
        Ours; "yes_no" for all yes/no columns together, "findings", or "parts" of those.
    text : str
        As it is written.
    means : str or dict, optional
        Our word, what it sets, or `NOTHING`; None where nobody knows.
    sources : set of str
    limited : tuple of str
        The columns that a free word may set, where its heading names fewer; or the
        sheet and the one column that a cross beside ticks stands in.
    dated : bool
        Whether it stands beside a day in remarks, so that it may as well be what was seen.
    settled : bool
        Whether the settings say what it means.
    """

    column: str
    text: str
    count: int = 0
    means: Any = None
    sources: set[str] = field(default_factory=set)
    headings: set[str] = field(default_factory=set)
    limited: tuple[str, ...] = ()
    spoken: set[str] = field(default_factory=set)
    """The languages of the sheets that it stands in, as far as they are known."""
    told_by: str = ""
    """What a legend says of it."""
    dated: bool = False
    settled: bool = False

    @property
    def id(self) -> str:
        """The id by which one entry of the list is corrected."""
        return f"word:{self.column}:{self.text}"

    @property
    def told(self) -> str:
        """Say the meaning in one line."""
        if self.means is None:
            return "?"
        if HOLE.fullmatch(self.text):
            return f"the number is {self.text[1:-1]}"
        if isinstance(self.means, dict):
            return (
                ", ".join(f"{n} = {v}" for n, v in self.means.items()) or "sets nothing"
            )
        return self.means or "not recorded"


def gather(station: Station) -> list[Word]:
    """List the words of all yes/no, word and findings columns, and guess them."""
    found: dict[tuple[str, str, tuple[str, ...]], Word] = {}
    told = {part.source for part in station.of("exits")}
    for part in station.parts:
        for name in part.feed.columns:
            kind = ours_of(part.table, name).kind
            if kind not in ("yes_no", "word") and name != FINDINGS:
                continue
            column = "yes_no" if kind == "yes_no" else name
            crossed = crosses(part.texts(name)) if kind == "yes_no" else set()
            for text, count in _texts(part, name).items():
                if column == "yes_no" and is_tick(text) and text not in crossed:
                    continue
                limited = (
                    (part.source, name) if text in crossed else limited_to(part, name)
                )
                key = (column, text.casefold(), limited)
                word = found.setdefault(key, Word(column, text, limited=limited))
                word.count += count
                word.sources.add(part.source)
                word.headings.add(part.feed.headings(name)[0])
                word.spoken |= {part.sheet.language} - {""}
                if word.means is None:
                    word.means = _guess(part, name, text, limited)
                if word.means is None and name == FINDINGS and part.table == "checks":
                    # where a column of its own tells how she went, it would be told twice
                    word.means = None if limited or part.source in told else fate(text)
    return sorted(found.values(), key=lambda w: (w.column, -w.count, w.text))


def _texts(part: Part, name: str) -> Counter[str]:
    counts: Counter[str] = Counter()
    for held in part.contents(name):
        counts.update(held.counts)
        counts.update(held.unknown)
    return counts


def limited_to(part: Part, name: str) -> tuple[str, ...]:
    """Tell which columns a heading such as "brood" confines its words to."""
    others = {"eggs", "larvae", "sealed"} & set(part.feed.columns)
    return _BROOD_ONLY if name == FINDINGS and others and _brood_of(part) else ()


def _brood_of(part: Part) -> str:
    """Give the word for brood that every heading of a look's free words has; empty without."""
    brood = vocabulary().findings.get("brood", frozenset())
    columns = part.columns_of(FINDINGS)
    named = [sorted(set(fold(column.name).split()) & brood) for column in columns]
    return named[0][0] if columns and all(named) else ""


def _guess(part: Part, name: str, text: str, limited: tuple[str, ...]) -> Any:
    ours = ours_of(part.table, name)
    if text in DASHES:
        plus = any("+" in held.counts for held in part.contents(name))
        return NO if plus and ours.kind == "yes_no" else None
    if name == FINDINGS:
        return _finding(part, text, limited)
    if ours.kind == "yes_no":
        if is_tick(text):  # a cross; beside ticks it may be a tick of another hand
            return NO if text[0] in CROSSES_NO else None
        said = meanings.of_yes_no(text) or READER_KNOWS.get(text.casefold())
        return said if said else NOTHING if _unknown(text) else None
    said = meanings.of_word(text, name, ours.words)
    return said if said else NOTHING if _unknown(text) else None


def _finding(part: Part, text: str, limited: tuple[str, ...]) -> Any:
    """Guess a free word; a look whose words nobody can guess is asked about, never dropped."""
    if _unknown(text):  # under a day it stands for no look, as a blank does
        return NOTHING if part.feed.days else {}
    found = meanings.of_findings(text, limited)
    if found and has_foreign_letter(text, {part.sheet.language}):
        return None
    if found is None and (brood := _brood_of(part)):
        # "patchy" under "Brood"
        found = meanings.of_findings(f"{brood} {text}", limited)
    return found


def has_foreign_letter(text: str, spoken: Iterable[str]) -> bool:
    """Tell whether a lone letter for a stage of brood begins its word in none of the languages.

    "E" is eggs, and in a sheet of another language what begins so there.
    """
    known = [first_letters(language) for language in spoken if language]
    for letter in tokens(text) if known else ():
        sets = meanings.of_findings(letter) or {} if len(letter) == 1 else {}
        if any(not any(letter in own[stage] for own in known) for stage in sets.keys() & set(STAGES)):
            return True
    return False


def fate(text: str) -> Any:
    """Guess how a queen went of whom a word under a look says nothing else.

    By the whole text, or by what somebody did about her: brood may be what a queen is culled
    for, and is mostly what is seen.
    """
    known = meanings.is_reason(text) or meanings.is_culled(text)
    reason = meanings.of_word(text, "reason", _values("reason")) if known else None
    return {**_SEEN_BY.get(reason, {}), EXIT: reason} if reason else None


def _unknown(text: str) -> bool:
    return text.casefold() in vocabulary().empty


def question(words: list[Word]) -> list[Question]:
    """Ask for one confirmation of the whole list; words nobody can guess are asked singly."""
    told = [w for w in words if w.means is not None and not is_plain(w)]
    asked = []
    if told:
        asked.append(
            Question(
                question_id("words"),
                "Do the words mean what is listed?",
                [f'{w.column}: "{w.text}" ({w.count}) -> {w.told}' for w in told],
                {
                    YES: "all do, but for those corrected one by one",
                    NO: "leave them unset",
                },
                default=YES,
                sources=tuple(sorted({s for w in told for s in w.sources})),
            )
        )
    unknown: dict[str, list[Word]] = {}
    for word in words:
        if word.means is None:
            unknown.setdefault(word.id, []).append(word)
    return asked + [_single(name, alike) for name, alike in unknown.items()]


def _single(name: str, alike: list[Word]) -> Question:
    """Ask what one word means, in all the columns that it stands in."""
    headings = sorted({heading for word in alike for heading in word.headings})
    under = '", "'.join(headings[:_SHOWN])
    return Question(
        name,
        f'What does "{alike[0].text}" mean under "{under}"?',
        [
            f"it stands there {sum(word.count for word in alike)} times",
            *filter(None, dict.fromkeys(word.told_by for word in alike)),
            *_may_mean(alike[0].column),
            *([_MAY_BE_SEEN] if alike[0].dated else []),
        ],
        sources=tuple(sorted({s for word in alike for s in word.sources})),
    )


def is_plain(word: Word) -> bool:
    """Tell whether a word is our own and needs no confirmation."""
    text = word.text.casefold()
    if word.column == "yes_no":
        return READER_KNOWS.get(text) == word.means
    return text == word.means


def correct(words: list[Word], answers: Mapping[str, Any]) -> None:
    """Take the corrected entries of the list from the answers."""
    by_id: dict[str, list[Word]] = {}
    for word in words:
        by_id.setdefault(word.id, []).append(word)
    faults: list[UsageError] = []
    for name, answer in answers.items():
        for word in by_id.get(name, ()):
            try:
                word.means = meaning_of(word.column, answer, name, word.dated)
            except UsageError as fault:
                faults.append(fault)
                break
    raise_all(faults)


def meaning_of(column: str, answer: Any, where: str, dated: bool = False) -> Any:
    """Read the meaning that a person gives a word; of a dated one, what it sets too.

    Raises
    ------
    UsageError
        It is none of the column's words, or sets a column that there is not.
    """
    if column == FINDINGS and str(answer).strip().casefold() == NOT_LOOKED:
        return NOTHING
    if column in (FINDINGS, PARTS) or (dated and (isinstance(answer, dict) or "=" in str(answer))):
        sets = answer if isinstance(answer, dict) else _sets(str(answer))
        for name, value in sets.items():
            if not _can_be(name, str(value)):
                raise _refused(where, f"{name} = {value}" if value else answer, _what_can_be(name))
        return {name: str(value) for name, value in sets.items()}
    given = str(answer).strip()
    allowed = _values(column)
    if given and given not in allowed:
        raise _refused(where, answer, "one of " + ", ".join(allowed) + ', or ""')
    return given


def settle(words: Iterable[Word], settings: Mapping[str, Any]) -> None:
    """Take what settings say of words beside days: rules made of them later need it."""
    section = settings.get("words", {})
    reasons, found = section.get("reason"), section.get("findings")
    known: dict[str, dict[str, str]] = {}
    for reason, texts in reasons.items() if isinstance(reasons, Mapping) else ():
        for text in [texts] if isinstance(texts, str) else texts:
            known.setdefault(str(text).casefold(), {})[EXIT] = reason
    for text, sets in found.items() if isinstance(found, Mapping) else ():
        known.setdefault(text.casefold(), {}).update(sets)
    for word in words:
        if word.dated and word.text.casefold() in known:
            word.means, word.settled = dict(known[word.text.casefold()]), True


def _can_be(name: str, value: str) -> bool:
    """Tell whether a look's column can be set so by words."""
    if name == EXIT:
        return value in _values("reason")
    ours = next((ours for ours in TABLES["checks"].columns if ours.name == name), None)
    if ours and ours.kind in ("number", "integer"):
        return re.fullmatch(r"\d+(\.\d+)?", value) is not None
    return ours is not None and value in _values(name)


def _what_can_be(name: str) -> str:
    """Say what a word may set in the place of what it was answered to set."""
    kinds = {c.name: c.kind for c in TABLES["checks"].columns}
    can = [EXIT, *(n for n, kind in kinds.items() if kind in _SETTABLE)]
    if name not in can:
        return f"such as eggs = yes; larvae = no; what a word may set is {', '.join(can)}"
    if kinds.get(name) in ("number", "integer"):
        return f"{name} = a number"
    return f"{name} = " + " or ".join(_values("reason" if name == EXIT else name))


def _sets(text: str) -> dict[str, str]:
    pairs = [pair for pair in text.replace(",", ";").split(";") if pair.strip()]
    return {
        name.strip(): value.strip()
        for name, _, value in (pair.partition("=") for pair in pairs)
    }


def _may_mean(column: str) -> list[str]:
    """Say what a word of a column may be answered to mean."""
    if column == FINDINGS:
        return [
            "what it sets, such as eggs = yes; larvae = no; exit = missing, where it says how she went",
            f'or "{NOT_LOOKED}", where it means that nobody looked: under a day it is then no check',
        ]
    if column == PARTS:
        return ["what it sets, such as eggs = yes; of a score pattern_pct = 80"]
    ours = _ours(column)
    told = [f"one of {', '.join(_values(column))}"]
    return [*told, ours.meaning] if ours else told


def _values(column: str) -> tuple[str, ...]:
    ours = _ours(column)
    return ours.words if ours else (YES, NO)


def _ours(column: str) -> Column | None:
    """Give the column of words that has a name; None for all of yes and no."""
    listed = (ours for table in TABLES.values() for ours in table.columns)
    return next((ours for ours in listed if ours.name == column and ours.words), None)


def _refused(where: str, answer: Any, expected: str) -> UsageError:
    return UsageError(
        "a word was given a meaning that it cannot have",
        where=where,
        found=str(answer),
        expected=expected,
    )
