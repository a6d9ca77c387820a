"""A station looked at, with every question that its sheets raise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from queen_outcomes.records.map.asked import (
    again,
    co2,
    compound,
    facts_in_lines,
    fates,
    figures,
    heading_days,
    labels,
    legend,
    lines_over_rows,
    next_placements,
    orders,
    several,
    ticks_and_marks,
    title_facts,
    which_columns,
    which_of_ours,
    which_records,
    wordlist,
    written_once,
)
from queen_outcomes.records.map.asked.questions import YES, Question, question_id
from queen_outcomes.records.map.seen import station
from queen_outcomes.records.map.seen.deeds import Given
from queen_outcomes.records.map.seen.feeds import Said
from queen_outcomes.records.map.seen.stacked import Begins
from queen_outcomes.records.map.seen.station import Chosen, Station

ASK: tuple[Callable[[Station], list[Question]], ...] = (
    which_records.no_records,
    which_records.copies,
    which_records.journals,
    written_once.month_of_days,
    which_of_ours.either,
    which_of_ours.unexplained,
    again.questions,
    which_columns.unsure,
    ticks_and_marks.letters,
    which_columns.grafting,
    ticks_and_marks.marks,
    figures.percentages,
    figures.spans,
    ticks_and_marks.blanks,
    co2.co2,
    co2.exposures,
    next_placements.questions,
    written_once.days_above,
    written_once.years_above,
    which_records.rows_apart,
    which_records.void,
    ticks_and_marks.colours,
    labels.spellings,
    labels.ask_people,
)
"""What is asked, in this order, after the order of days."""


@dataclass
class Proposal:
    """A station looked at, with every question it raises."""

    station: Station
    orders: orders.Orders
    words: list[wordlist.Word]
    questions: list[Question]
    prefixes: dict[str, str] = field(default_factory=dict)
    leads: dict[str, dict[str, str]] = field(default_factory=dict)
    """Column -> source -> the word that its bare numbers lack."""
    yearly: dict[str, labels.Yearly] = field(default_factory=dict)
    """Column -> how its labels, which may start again each year, are told apart."""
    titled: list[title_facts.Fact] = field(default_factory=list)
    """What stands above headings for all rows below them."""
    fated: list[fates.Remarks] = field(default_factory=list)
    """Remarks that tell how queens went."""
    doubled: list[several.Several] = field(default_factory=list)
    """Lists of inseminations with several days in a cell."""
    grouped: list[facts_in_lines.GroupLines] = field(default_factory=list)
    """Lines between records that say something of the rows below them."""

    def question(self, kind: str, *place: str) -> Question | None:
        """Give a question by its kind and place; None where it was not raised."""
        name = question_id(kind, *place)
        return next((q for q in self.questions if q.id == name), None)

    def answered(self, kind: str, *place: str) -> Any:
        """Give the answer to a question; None where there is none."""
        question = self.question(kind, *place)
        return question.answer if question else None

    def order_of(self, source: str) -> str | None:
        """Give the order of a file's days: judged, or answered."""
        for name, files in self.orders.asked.items():
            if source in files:
                return next((q.answer for q in self.questions if q.id == name), None)
        return self.orders.by_file.get(source)

    def several_of(self, source: str) -> several.Several | None:
        """Give what a sheet has of several days in a cell, once somebody has said what they are."""
        said = {question.id for question in self.questions if question.answer == YES}
        return next((d for d in self.doubled if d.part.source == source and d.id in said), None)

    def told_fates(self, source: str) -> list[fates.Remarks]:
        """Give a sheet's remarks that somebody has said to tell how queens went."""
        said = {question.id for question in self.questions if question.answer == YES}
        own = [one for one in self.fated if one.part.source == source]
        return [one for one in own if one.settled or one.id in said]


def propose(
    records: Path,
    links: str = "inside",
    said: Said = MappingProxyType({}),
    begins: Begins = lambda _: None,
    settled: Given = MappingProxyType({}),
    done: Given = MappingProxyType({}),
    chosen: Chosen = MappingProxyType({}),
) -> Proposal:
    """Look at the records, and raise every question that they leave open; as `look`.

    ``settled`` is what the settings say of the rows of diaries, ``done`` and ``chosen`` what
    was answered of them and of headings.
    """
    looked = station.look(records, links, said, begins, {**settled, **done}, chosen)
    figures.fahrenheit(looked)
    judged = orders.judge(looked)
    titled = title_facts.find(looked)
    above = {(fact.part.source, fact.name): fact.text for fact in titled}
    again_questions, yearly = labels.start_again(looked, judged.first_years, above)
    lead_questions, leads = labels.leads(looked)
    words = compound.compose(wordlist.gather(looked))
    legend.explain(words, legend.find(looked, words))
    fated = fates.find(looked)
    doubled = several.find(looked)
    grouped = facts_in_lines.find(looked)
    words += fates.words(fated, words)
    questions = [
        *which_records.diaries(looked.deeds, settled),
        *judged.questions,
        *heading_days.find(looked, judged),
        *heading_days.weekdays(looked),
        *several.questions(doubled),
        *(question for ask in ASK for question in ask(looked)),
        *title_facts.questions(titled),
        *facts_in_lines.questions(grouped),
        *lines_over_rows.questions(looked, {one.part.source for one in grouped}),
        *fates.questions(fated),
        *again_questions,
        *lead_questions,
        *wordlist.question(words),
        *compound.question(words),
    ]
    prefixes = yearly["queen_id"].prefixes
    return Proposal(looked, judged, words, questions, prefixes, leads, yearly, titled, fated, doubled, grouped)
