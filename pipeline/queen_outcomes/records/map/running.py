"""One run of `map`: what is new, what is asked, and what is written in the end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from queen_outcomes.records.map import proposal as proposing
from queen_outcomes.records.map import wordlist, writing
from queen_outcomes.records.map.proposal import Proposal, Written
from queen_outcomes.records.map.questions import (
    Question,
    accept_defaults,
    give,
    open_questions,
)


@dataclass
class Run:
    """A station looked at beside its settings.

    Parameters
    ----------
    proposal : Proposal
        Of everything in the folder, known or not.
    asked : list of Question
        Those that concern new sheets, and those left open before.
    new : set of str
        Sheets that the settings do not speak of yet.
    text : str
        The settings as they stand.
    """

    proposal: Proposal
    asked: list[Question]
    new: set[str]
    text: str
    earlier: set[str]
    """Ids left open in an earlier run."""

    @property
    def open(self) -> list[Question]:
        """Give the questions that nobody has answered, but for sheets left out."""
        left = proposing.ignored(self.proposal)
        return [
            q
            for q in self.asked
            if q.open and not 0 < len(q.sources) <= len(left.intersection(q.sources))
        ]

    def answer(self, answers: Mapping[str, Any]) -> None:
        """Take answers from a file: questions, and corrected words.

        Raises
        ------
        UsageError
            An id that no question has, or an answer that does not fit.
        """
        words = {word.id for word in self.proposal.words}
        every = {question.id for question in self.proposal.questions}
        given = {("words:*:*:*" if k == "words" else k): v for k, v in answers.items()}
        give(self.asked, given, words | every | {"words:*:*:*"})
        wordlist.correct(self.proposal.words, given)

    def accept(self) -> None:
        """Take every default that the data support."""
        accept_defaults(self.asked)

    def written(self) -> Written:
        """Give what is written for the new sheets, with the answers there are."""
        return proposing.mapping(self.proposal, self.new)

    def settings(self) -> str:
        """Give the text of `station.toml` with the mapping put in."""
        settled = [q for q in self.asked if q.id in self.earlier and not q.open]
        return writing.put(
            self.text,
            self.written(),
            open_ones=self.open,
            answered=settled,
            everything=proposing.mapping(self.proposal) if settled else None,
        )


def begin(station: Path, settings_file: str = "station.toml") -> Run:
    """Look at a station's records and settings.

    Raises
    ------
    RecordsError
        There is no folder of records.
    UsageError
        The settings are not TOML.
    """
    path = station / settings_file
    text = writing.current(path)
    settings = writing.parsed(text, str(path))
    patterns = writing.known_patterns(settings)
    found = proposing.propose(station / "records")
    sources = {sheet.source for sheet in found.station.sheets}
    new = {source for source in sources if not writing.is_known(source, patterns)}
    earlier = {question.id for question in open_questions(text)}
    settled = _settled_words(settings)
    words = [
        word
        for word in found.words
        if (word.sources & new or word.id in earlier or "words:*:*:*" in earlier)
        and (word.column, word.text.casefold()) not in settled
    ]
    kept = [
        question
        for question in found.questions
        if question.kind not in ("words", "word")
    ]
    asked = [
        question
        for question in kept
        if question.id in earlier or not question.sources or set(question.sources) & new
    ]
    word_questions = wordlist.question(words)
    found.questions = [*kept, *word_questions]
    if not new:
        asked = [question for question in asked if question.id in earlier]
        word_questions = [
            question for question in word_questions if question.id in earlier
        ]
    return Run(found, [*asked, *word_questions], new, text, earlier)


def _settled_words(settings: Mapping[str, Any]) -> set[tuple[str, str]]:
    """Give the words that the settings know, as (column, folded text)."""
    words = settings.get("words", {})
    found = set()
    for name, section in words.items():
        if isinstance(section, list):
            column = "yes_no" if name in ("yes", "no") else name
            found |= {(column, str(text).casefold()) for text in section}
        elif name == "findings":
            found |= {(name, text.casefold()) for text in section}
        elif isinstance(section, dict):
            for texts in section.values():
                listed = [texts] if isinstance(texts, str) else texts
                found |= {(name, str(text).casefold()) for text in listed}
    return found
