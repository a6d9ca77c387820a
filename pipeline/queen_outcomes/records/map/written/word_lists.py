"""What the station's words mean, as the sections of `[words]`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from queen_outcomes.facts.reading import ABSENT, FINDINGS, PARTS
from queen_outcomes.records.map.asked import compound, wordlist
from queen_outcomes.records.map.asked.proposal import Proposal
from queen_outcomes.records.map.asked.questions import NO, YES
from queen_outcomes.records.map.asked.wordlist import EXIT
from queen_outcomes.records.map.seen.fits import ours_of
from queen_outcomes.records.map.seen.station import Station

_FREE = (FINDINGS, PARTS)
"""Sections of words in which each sets several columns."""
PerWord = dict[tuple[str, str], dict]
"""(column, headings) -> what the words under these headings alone mean."""


def listed_meaning(proposal: Proposal, word: wordlist.Word) -> Any:
    """Give what the list of words says, once somebody has confirmed it; our own need nobody."""
    own = word.means is not None and wordlist.is_plain(word)
    confirmed = own or word.settled or proposal.answered("words") not in (None, NO)
    return word.means if confirmed else None


def sections(
    proposal: Proposal, wanted: set[str] | None
) -> tuple[dict[str, Any], PerWord]:
    """Put the words into sections; those of one heading alone stay with its column.

    Returns
    -------
    sections : dict
        Of `[words]`.
    alone : dict of (column, headings) to what its words mean
    """
    found: dict[str, Any] = {}
    alone: PerWord = {}
    lists: dict[str, dict[str, Any]] = {}
    empty: set[str] = set()
    for word in proposal.words:
        if wanted is not None and not word.sources & wanted:
            continue
        means = meant(proposal, word, listed_meaning(proposal, word))
        if means is None:
            continue
        if word.limited:
            alone.setdefault((word.column, ",".join(word.limited)), {})[word.text] = (
                means
            )
        elif means == wordlist.NOTHING:
            empty.add(word.text)
        else:
            _list_word(lists, word, means)
    taken = {
        text.casefold()
        for column, section in lists.items()
        for texts in section.values()
        for text in (texts if column not in _FREE else ())
    }
    _yes_no(found, lists.pop("yes_no", {}))
    for column, section in lists.items():
        found[column] = section if column in _FREE else _without_own_names(section)
    found[ABSENT] = _absent(proposal)
    found = {name: section for name, section in found.items() if section}
    empty |= _empty_elsewhere(proposal.station)
    empty = {text for text in empty if text.casefold() not in taken}
    if empty:
        found["empty"] = sorted(empty, key=by_letters)
    return found, alone


def _list_word(lists: dict[str, dict[str, Any]], word: wordlist.Word, means: Any) -> None:
    """Put a word into its section; one beside a day in remarks into those of all that it says."""
    sets = means if isinstance(means, dict) else {EXIT: means}
    seen = {name: value for name, value in sets.items() if name != EXIT}
    if word.column in _FREE:
        lists.setdefault(word.column, {})[word.text] = seen
        return
    if seen:  # as words of looks have it, where they do
        lists.setdefault(FINDINGS, {}).setdefault(word.text, seen)
    if EXIT in sets:
        lists.setdefault(word.column, {}).setdefault(sets[EXIT], []).append(word.text)


def _absent(proposal: Proposal) -> dict[str, str]:
    """Give what a text made of parts says of the stages that it has none for."""
    if proposal.answered(ABSENT, "*", "*", FINDINGS) != YES:
        return {}
    # settings of an earlier run hold the parts that were confirmed then
    refused = proposal.answered("words") == NO
    told = (
        meant(proposal, word, None if refused else word.means)
        for word in proposal.words
        if word.column == PARTS
    )
    return compound.absent(sets for sets in told if sets)


def meant(proposal: Proposal, word: wordlist.Word, listed: Any) -> Any:
    """Give what a word was answered to mean, ``listed`` where it is one of the list."""
    asked = next((q for q in proposal.questions if q.id == word.id), None)
    if asked is None:
        return listed
    if asked.open:
        return None
    return wordlist.meaning_of(word.column, asked.answer, word.id, word.dated)


def by_letters(text: str) -> tuple[str, str]:
    """Order texts without case, and those alike by case: a set has no order of its own."""
    return text.casefold(), text


def _yes_no(words: dict[str, Any], section: Mapping[str, list[str]]) -> None:
    for ours in (YES, NO):
        theirs = [
            t
            for t in section.get(ours, ())
            if wordlist.READER_KNOWS.get(t.casefold()) != ours
        ]
        if theirs:
            words[ours] = sorted(set(theirs), key=by_letters)


def _without_own_names(section: Mapping[str, list[str]]) -> dict[str, list[str]]:
    return {
        ours: sorted((t for t in theirs if t.casefold() != ours), key=by_letters)
        for ours, theirs in sorted(section.items())
        if any(t.casefold() != ours for t in theirs)
    }


def _empty_elsewhere(looked: Station) -> set[str]:
    """Give the words for "not recorded" that stand in columns of days and numbers."""
    kinds = ("date", "datetime", "number", "integer", "id")
    return {
        text
        for part in looked.parts
        for name in part.feed.columns
        if ours_of(part.table, name).kind in kinds
        for held in part.contents(name)
        for text in held.unknown
    }
