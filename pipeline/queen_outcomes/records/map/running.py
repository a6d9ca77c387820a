"""One run of `map`: what is new, what is asked, and what is written in the end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from queen_outcomes.base.errors import shorten
from queen_outcomes.facts.reading import ABSENT, FINDINGS, PARTS
from queen_outcomes.records.map.asked import (
    alike,
    compound,
    fates,
    labels,
    which_of_ours,
    wordlist,
)
from queen_outcomes.records.map.asked import proposal as proposing
from queen_outcomes.records.map.asked.proposal import Proposal
from queen_outcomes.records.map.asked.questions import (
    NO,
    OF_ALL_SHEETS,
    Question,
    accept_defaults,
    give,
    open_questions,
    place_of,
    question_id,
    refused,
)
from queen_outcomes.records.map.seen import deeds, stacked
from queen_outcomes.records.map.seen.deeds import Given
from queen_outcomes.records.map.seen.station import Chosen
from queen_outcomes.records.map.written import known, mapping, station_toml
from queen_outcomes.records.map.written.mapping import Written

FIRST = (deeds.KIND, which_of_ours.KIND)
"""Kinds of questions on which it hangs what else is asked."""


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
    forms : set of str
        Those that the settings do not speak of, and nobody has filled in yet.
    text : str
        The settings as they stand.
    """

    proposal: Proposal
    asked: list[Question]
    new: set[str]
    forms: set[str]
    text: str
    earlier: set[str]
    """Ids left open in an earlier run."""
    place: tuple[Path, str]
    """The station, and the name of its settings."""

    @property
    def open(self) -> list[Question]:
        """Give the questions that nobody has answered, but for sheets left out."""
        left = mapping.ignored(self.proposal)
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
        done = {name: said for name, said in answers.items() if place_of(name)[0] in FIRST}
        if done:
            give(self.asked, done, [q.id for q in self.proposal.questions])
            self.look_again()
        answers = {name: said for name, said in answers.items() if name not in done}
        words = {word.id for word in self.proposal.words}
        every = {question.id for question in self.proposal.questions}
        given = {("words:*:*:*" if k == "words" else k): v for k, v in answers.items()}
        give(self.asked, given, words | every | {"words:*:*:*"})
        wordlist.correct(self.proposal.words, given)

    def look_again(self) -> None:
        """Look at the records anew with what is now known of the rows of diaries, and of headings.

        What else is asked hangs on it.
        """
        single = [one for q in self.asked for one in q.members or [q]]
        given = {q.id: q.answer for q in single if q.answer is not None}
        done = {
            deed.key: given[deed.id] for deed in self.proposal.station.deeds if deed.id in given
        }
        anew = begin(*self.place, done, which_of_ours.answered(single))
        for question in anew.asked:
            for one in question.members or [question]:
                one.answer = given.get(one.id)
            question.answer = given.get(question.id)
        self.proposal, self.asked = anew.proposal, anew.asked
        self.new, self.forms = anew.new, anew.forms

    def accept(self) -> None:
        """Take every default that the data support."""
        accept_defaults(self.asked)

    def written(self) -> Written:
        """Give what is written for the new sheets, with the answers there are."""
        found = mapping.mapping(self.proposal, self.new)
        if self.forms:
            names = shorten([f'"{source}"' for source in sorted(self.forms)], ", ")
            found.notes.append(
                f"headings and no row below them yet, so nothing is asked: {names}; run "
                "`queen-outcomes map` again once there are rows"
            )
        return found

    def settings(self) -> str:
        """Give the text of `station.toml` with the mapping put in."""
        settled = [
            one
            for q in self.asked
            if q.id in self.earlier and not q.open
            for one in q.members or [q]
        ]
        return station_toml.put(
            self.text,
            self.written(),
            open_ones=self.open,
            refused_ones=[
                q for q in self.asked if q.kind in OF_ALL_SHEETS and q.answer == NO
            ],
            answered=settled,
            everything=mapping.mapping(self.proposal) if settled else None,
        )


def begin(
    station: Path,
    settings_file: str = "station.toml",
    done: Given = MappingProxyType({}),
    chosen: Chosen = MappingProxyType({}),
) -> Run:
    """Look at a station's records and settings.

    Parameters
    ----------
    station : Path
    settings_file : str
    done : mapping
        What was answered of the rows of diaries.
    chosen : mapping of mappings
        What was answered of headings, as in `station.look`.

    Raises
    ------
    RecordsError
        There is no folder of records.
    UsageError
        The settings are not TOML.
    """
    path = station / settings_file
    text = known.current(path)
    settings = known.parsed(text, str(path))
    patterns = known.known_patterns(settings)
    section = settings.get("records")
    links = section.get("links", "inside") if isinstance(section, dict) else "inside"
    found = proposing.propose(
        station / "records",
        links,
        known.known_headings(settings),
        stacked.by_settings(settings, lambda source: known.is_known(source, patterns)),
        known.known_deeds(settings),
        done,
        chosen,
    )
    sources = {sheet.source for sheet in found.station.sheets}
    new = {source for source in sources if not known.is_known(source, patterns)}
    forms = new & {sheet.source for sheet in found.station.no_records if sheet.is_form}
    new -= forms
    earlier = {question.id for question in open_questions(text)}
    settled = _settled_words(settings)
    wordlist.settle(found.words, settings)
    found.fated = fates.settle(found.fated, settings)
    parts = {text for column, text in settled if column == PARTS}
    words = [
        word
        for word in found.words
        if (word.sources & (new | chosen.keys()) or word.id in earlier or "words:*:*:*" in earlier)
        and (word.column, word.text.casefold()) not in settled
        and not (word.dated and (FINDINGS, word.text.casefold()) in settled)
        and not (word.column == FINDINGS and compound.is_made_of(word.text, parts))
    ]
    kept = [
        question
        for question in found.questions
        if question.kind not in ("words", "word")
    ]
    settled = refused(text) | _folded(settings, found)
    if parts:  # "no" is written down as nothing being said
        settled.add(question_id(ABSENT, column=FINDINGS))
    sheets = {sheet.source: sheet for sheet in found.station.sheets}
    asked = [
        one
        for question in alike.together(kept, sheets)
        for one in _of_now(question, earlier, new)
        if one.sources or one.id in earlier or one.id not in settled
        if one.id in earlier or not _is_of_old_labels(one, found, new)
    ]
    word_questions = wordlist.question(words)
    found.questions = [*kept, *word_questions]
    if not new:
        asked = [question for question in asked if question.id in earlier]
        word_questions = [
            question for question in word_questions if question.id in earlier or chosen
        ]
    asked += word_questions
    return Run(found, asked, new, forms, text, earlier, (station, settings_file))


def _of_now(question: Question, earlier: set[str], new: set[str]) -> list[Question]:
    """Give a question as far as it concerns new sheets, or was left open before."""
    if question.id in earlier or not question.sources:
        return [question]
    members = question.members or [question]
    live = [one for one in members if one.id in earlier or set(one.sources) & new]
    return [alike.joint(live)] if len(live) > 1 else live


def _is_of_old_labels(question: Question, found: Proposal, new: set[str]) -> bool:
    """Tell whether a question about labels is of none that a new sheet holds."""
    column = place_of(question.id)[3]
    holders = [part.source for part in found.station.parts if column in part.feed.columns]
    holders += [fact.part.source for fact in found.titled if fact.name == column]
    return question.kind in ("prefix", "lead") and new.isdisjoint(holders)


def _folded(settings: Mapping[str, Any], found: Proposal) -> set[str]:
    """Give the ids of questions about spellings that the settings answer already."""
    records = settings.get("records", {})
    settled = {question_id("fold", column=name) for name in records.get("fold", ())}
    have = {
        spelling
        for groups in records.get("same", {}).values()
        for others in groups.values()
        for spelling in others
    }
    groups = labels.people(found.station)[0]
    if {other for others in groups.values() for other in others} <= have:
        settled.add(question_id("same", column="operator"))
    return settled


def _settled_words(settings: Mapping[str, Any]) -> set[tuple[str, str]]:
    """Give the words that the settings know, as (column, folded text)."""
    words = settings.get("words", {})
    found = set()
    for name, section in words.items():
        if isinstance(section, list):
            column = "yes_no" if name in ("yes", "no") else name
            found |= {(column, str(text).casefold()) for text in section}
        elif name in ("findings", "parts"):
            found |= {(name, text.casefold()) for text in section}
        elif isinstance(section, dict):
            for texts in section.values():
                listed = [texts] if isinstance(texts, str) else texts
                found |= {(name, str(text).casefold()) for text in listed}
    return found
