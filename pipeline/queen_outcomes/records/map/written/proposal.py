"""The whole mapping: sheets, answers and words become rules and files' habits.

Everything here is plain values in the shape of `station.toml`; `station_toml.py` puts them
into the file.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from queen_outcomes.base.errors import shorten
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import (
    ABSENT,
    BLANK_NO,
    FINDINGS,
    MIXED,
    NOT_LOOKED,
    PARTS,
)
from queen_outcomes.records import apart, suggested
from queen_outcomes.records.map.asked import (
    co2,
    compound,
    fates,
    figures,
    labels,
    orders,
    ticks_and_marks,
    title_facts,
    which_columns,
    which_records,
    wordlist,
    written_once,
)
from queen_outcomes.records.map.asked.questions import (
    LEAVE,
    NO,
    YES,
    Question,
    question_id,
)
from queen_outcomes.records.map.asked.wordlist import EXIT
from queen_outcomes.records.map.seen import deeds, station
from queen_outcomes.records.map.seen.contents import day_of, number_of, yes_or_no
from queen_outcomes.records.map.seen.deeds import Given
from queen_outcomes.records.map.seen.feeds import Said
from queen_outcomes.records.map.seen.fits import MAIN_DATE, PERSON, is_year, ours_of
from queen_outcomes.records.map.seen.sheet import Sheet
from queen_outcomes.records.map.seen.stacked import Begins
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.map.seen.words import fold, vocabulary

ASK: tuple[Callable[[Station], list[Question]], ...] = (
    which_records.no_records,
    which_records.copies,
    which_records.journals,
    written_once.month_of_days,
    which_columns.unsure,
    ticks_and_marks.letters,
    which_columns.grafting,
    ticks_and_marks.marks,
    figures.percentages,
    figures.spans,
    ticks_and_marks.blanks,
    co2.co2,
    co2.exposures,
    written_once.days_above,
    written_once.years_above,
    which_records.rows_apart,
    which_records.void,
    ticks_and_marks.colours,
    labels.spellings,
    labels.ask_people,
)
"""What is asked, in this order, after the order of days."""
_FREE = (FINDINGS, PARTS)
"""Sections of words in which each sets several columns."""
_SHARED_KEYS = {"findings": "check", "checked_on": "date", "inseminated_at": "date"}


@dataclass
class NewRule:
    """One ``[[read]]`` of the settings."""

    sources: list[str]
    table: str
    columns: dict[str, Any] = field(default_factory=dict)
    each: list[Any] = field(default_factory=list)
    colours: dict[str, dict[str, str]] = field(default_factory=dict)
    only: dict[str, list[str]] = field(default_factory=dict)


@dataclass
class Written:
    """What is to be written.

    Parameters
    ----------
    rules : list of NewRule
    files : dict of source to its habits
    records : dict
        ``ignore``, ``fold``, ``same``, ``ditto``, ``co2``.
    words : dict
        ``yes``, ``no``, ``empty`` and a section for each word column.
    notes : list of str
        What was understood or left unread, in words.
    """

    rules: list[NewRule] = field(default_factory=list)
    files: dict[str, dict[str, Any]] = field(default_factory=dict)
    records: dict[str, Any] = field(default_factory=dict)
    words: dict[str, Any] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


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

    def question(self, kind: str, *place: str) -> Question | None:
        """Give a question by its kind and place; None where it was not raised."""
        name = question_id(kind, *place)
        return next((q for q in self.questions if q.id == name), None)

    def answered(self, kind: str, *place: str) -> Any:
        """Give the answer to a question; None where there is none."""
        question = self.question(kind, *place)
        return question.answer if question else None


def propose(
    records: Path,
    links: str = "inside",
    said: Said = MappingProxyType({}),
    begins: Begins = lambda _: None,
    settled: Given = MappingProxyType({}),
    done: Given = MappingProxyType({}),
) -> Proposal:
    """Look at the records, and raise every question that they leave open; as `look`.

    ``settled`` is what the settings say of the rows of diaries, ``done`` what was answered.
    """
    looked = station.look(records, links, said, begins, {**settled, **done})
    figures.fahrenheit(looked)
    judged = orders.judge(looked)
    asked_of = {
        column: labels.yearly(looked, column, judged.yearless) for column in labels.START_AGAIN
    }
    titled = title_facts.find(looked)
    above = {(fact.part.source, fact.name): fact.text for fact in titled}
    batch_questions, batches = labels.batches_again(looked, bool(asked_of["queen_id"][0]), above)
    raised = {question.id for asked, _ in asked_of.values() for question in asked}
    lead_questions, leads = labels.leads(looked)
    words = compound.compose(wordlist.gather(looked))
    fated = fates.find(looked)
    words += fates.words(fated, words)
    questions = [
        *which_records.diaries(looked.deeds, settled),
        *judged.questions,
        *(question for ask in ASK for question in ask(looked)),
        *title_facts.questions(titled),
        *fates.questions(fated),
        *(question for asked, _ in asked_of.values() for question in asked),
        *(question for question in batch_questions if question.id not in raised),
        *lead_questions,
        *wordlist.question(words),
        *compound.question(words),
    ]
    yearly = {column: told_apart for column, (_, told_apart) in asked_of.items()}
    for column, prefixes in batches.items():
        if not yearly[column].prefixes and not yearly[column].years:
            yearly[column] = labels.Yearly(prefixes)
    prefixes = yearly["queen_id"].prefixes
    return Proposal(looked, judged, words, questions, prefixes, leads, yearly, titled, fated)


def mapping(proposal: Proposal, sources: Iterable[str] | None = None) -> Written:
    """Turn a proposal and its answers into what is to be written.

    Parameters
    ----------
    proposal : Proposal
    sources : iterable of str, optional
        The sheets to write rules for; all where it is left out.
    """
    wanted = set(sources) if sources is not None else None
    found = Written()
    left_out = ignored(proposal)
    _records(proposal, found, left_out, wanted)
    per_word = _words(proposal, found, wanted)
    for part in proposal.station.parts:
        if part.source in left_out or (
            wanted is not None and part.source not in wanted
        ):
            continue
        if _is_no_list(proposal, part) or _lacks_its_place(proposal, part):
            continue
        found.notes += [*_undone(part), *_scored(proposal, part)]
        rule = _rule(proposal, part, per_word)
        others = (*_exposures(proposal, part), *_remarked(proposal, part, rule))
        for one in (rule, _fates(proposal, part, rule, found), *others):
            if one:
                _add_rule(found.rules, one)
        found.files.setdefault(part.source, _habits(proposal, part.sheet.whole or part.sheet))
    for sheet in proposal.station.sheets:
        if sheet.grid.tables_below and (wanted is None or sheet.source in wanted):
            habits = found.files.setdefault(sheet.source, {})
            habits["tables_below"] = list(sheet.grid.tables_below)
    found.files = {source: habits for source, habits in found.files.items() if habits}
    _unread(proposal, found, left_out, wanted)
    return found


def _add_rule(rules: list[NewRule], rule: NewRule) -> None:
    """Add a rule, or its sheets to one that says the same."""
    for one in rules:
        if replace(one, sources=[]) == replace(rule, sources=[]):
            one.sources += rule.sources
            return
    rules.append(rule)


def _fates(proposal: Proposal, part: Part, rule: NewRule, found: Written) -> NewRule | None:
    """Give the exits that words under a sheet's looks tell of, on the day of the look."""
    said: dict[str, list[str]] = {}
    for word in proposal.words if part.table == "checks" else ():
        means = _meant(proposal, word, _listed_meaning(proposal, word))
        fate = means.get(EXIT) if isinstance(means, dict) else None
        if fate and part.source in word.sources:
            said.setdefault(fate, []).append(word.text)
    look = rule.columns.get(FINDINGS)
    heading = look.get("from") if isinstance(look, dict) else look
    if said and (not isinstance(heading, str) or "queen_id" not in rule.columns):
        told = ", ".join(f'"{text}"' for own in said.values() for text in own)
        found.notes.append(
            f"{part.source}: no rule can read how queens went from {told}, since the words of a "
            "look stand under several headings there, or no queen beside them; write the exits"
        )
    if not said or not isinstance(heading, str) or "queen_id" not in rule.columns:
        return None
    columns = {
        "queen_id": rule.columns["queen_id"],
        "left_on": rule.columns["checked_on"],
        "reason": {"from": heading, "words": said},
    }
    texts = sorted((text for own in said.values() for text in own), key=_by_letters)
    return NewRule(list(rule.sources), "exits", columns, rule.each, only={heading: texts})


def _remarked(proposal: Proposal, part: Part, rule: NewRule) -> list[NewRule]:
    """Give the exits that remarks beside a rule's queens tell of."""
    known = [
        replace(word, means=_meant(proposal, word, _listed_meaning(proposal, word)))
        for word in proposal.words
        if word.column == "reason"
    ]
    found = []
    for one in _told_fates(proposal, part.source):
        if one.part is part and "queen_id" in rule.columns:
            columns, texts = fates.columns(one, rule.columns["queen_id"], known)
            if texts:
                found.append(
                    NewRule([part.source], "exits", columns, only={one.headings[1]: texts})
                )
    return found


def _told_fates(proposal: Proposal, source: str) -> list[fates.Remarks]:
    """Give a sheet's remarks that somebody has said to tell how queens went."""
    said = {question.id for question in proposal.questions if question.answer == YES}
    return [one for one in proposal.fated if one.part.source == source and one.id in said]


def _listed_meaning(proposal: Proposal, word: wordlist.Word) -> Any:
    """Give what the list of words says, once somebody has confirmed it."""
    return word.means if proposal.answered("words") not in (None, NO) else None


def ignored(proposal: Proposal) -> set[str]:
    """Give the sheets that the answers leave out."""
    left = set()
    for sheet in proposal.station.sheets:
        for kind in ("ignore", "copy"):
            if proposal.answered(kind, sheet.source) == YES:
                left.add(sheet.source)
        parts = proposal.station.parts_of(sheet.source)
        if parts and all(_is_no_list(proposal, part) for part in parts):
            left.add(sheet.source)
    return left


def _is_no_list(proposal: Proposal, part: Part) -> bool:
    return proposal.answered("rows", part.source, part.table) == NO


def _lacks_its_place(proposal: Proposal, part: Part) -> bool:
    """Tell whether an answer takes from a rule the day or the label without which none is.

    Where it is the day of the sheet's only rule it stays, so that somebody names the day.
    """
    table = TABLES[part.table]
    labels = [c.name for c in table.columns if c.kind == "id" and c.required]
    if any(_is_left(proposal, part, name) for name in labels):
        return True
    day = MAIN_DATE[part.table]
    others = len(proposal.station.parts_of(part.source)) > 1
    return others and ours_of(part.table, day).required and _is_left(proposal, part, day)


def escaped(name: str) -> str:
    """Write a name so that a pattern matches it alone."""
    return re.sub(r"([\[*?])", r"[\1]", name)


# -- station ------------------------------------------------------------------------


def _records(proposal: Proposal, found: Written, left_out: set[str], wanted) -> None:
    new = left_out if wanted is None else left_out & wanted
    # an empty sheet beside the others holds nothing to read
    records = found.records
    if new:
        records["ignore"] = sorted(escaped(source) for source in new)
    columns = [
        c
        for c in labels.FOLDED
        if proposal.answered("fold", "*", "*", c) == YES
        or (
            proposal.answered("lead", "*", "*", c) == YES
            and (
                labels.led_in_several_ways(proposal.station, c)
                or any("{}" in text for text in proposal.leads[c].values())
            )
        )
    ]
    if columns:
        records["fold"] = [
            *columns,
            *(["graft_batch"] if "queen_id" in columns else []),
        ]
    same = proposal.answered("same", "*", "*", "operator")
    groups = labels.people(proposal.station)[0] if same == YES else {}
    groups = same if isinstance(same, dict) else groups
    if groups:
        fed = {name for part in proposal.station.parts for name in part.feed.columns}
        ticked = any(
            ticks_and_marks.tick_columns(part) for part in proposal.station.of("checks")
        )
        people = {n for n in PERSON.values() if n in fed or (n == "checker" and ticked)}
        records["same"] = dict.fromkeys(sorted(people), groups)
    marks = {
        text.strip()
        for part in proposal.station.parts
        for name in part.feed.columns
        if name != "note"
        for held in part.contents(name)
        for text in held.ditto
    }
    if marks:
        records["ditto"] = sorted(marks)
        found.notes.append(
            f"ditto marks take the value above: {'  '.join(sorted(marks))}"
        )
    co2 = proposal.answered("co2", "*", "co2", "given_at")
    told = any(isinstance(q.answer, dict) for q in proposal.questions if q.kind == "exposures")
    if told and not proposal.station.of("co2"):
        records["co2"] = "every"  # what was not recorded is then none, and not one alone
    if proposal.station.of("co2"):
        asked = proposal.question("co2", "*", "co2", "given_at")
        records["co2"] = co2 or ("every" if asked is None else None)
        if records["co2"] is None:
            del records["co2"]


# -- words --------------------------------------------------------------------------


def _words(proposal: Proposal, found: Written, wanted) -> dict[tuple[str, str], dict]:
    """Put the words into sections; those of one heading alone stay with its column."""
    alone: dict[tuple[str, str], dict] = {}
    lists: dict[str, dict[str, Any]] = {}
    empty: set[str] = set()
    for word in proposal.words:
        if wanted is not None and not word.sources & wanted:
            continue
        means = _meant(proposal, word, _listed_meaning(proposal, word))
        if means is None:
            continue
        if word.limited:
            alone.setdefault((word.column, ",".join(word.limited)), {})[word.text] = (
                means
            )
        elif means == wordlist.NOTHING:
            empty.add(word.text)
        elif word.column in _FREE:
            sets = {name: value for name, value in means.items() if name != EXIT}
            lists.setdefault(word.column, {})[word.text] = sets
        else:
            lists.setdefault(word.column, {}).setdefault(means, []).append(word.text)
    meant = {
        text.casefold()
        for column, section in lists.items()
        for texts in section.values()
        for text in (texts if column not in _FREE else ())
    }
    _yes_no(found.words, lists.pop("yes_no", {}))
    for column, section in lists.items():
        found.words[column] = (
            section if column in _FREE else _without_own_names(section)
        )
    found.words[ABSENT] = _absent(proposal)
    found.words = {name: section for name, section in found.words.items() if section}
    empty |= _empty_elsewhere(proposal.station)
    empty = {text for text in empty if text.casefold() not in meant}
    if empty:
        found.words["empty"] = sorted(empty, key=_by_letters)
    return alone


def _absent(proposal: Proposal) -> dict[str, str]:
    """Give what a text made of parts says of the stages that it has none for."""
    if proposal.answered(ABSENT, "*", "*", FINDINGS) != YES:
        return {}
    # settings of an earlier run hold the parts that were confirmed then
    refused = proposal.answered("words") == NO
    meant = (
        _meant(proposal, word, None if refused else word.means)
        for word in proposal.words
        if word.column == PARTS
    )
    return compound.absent(sets for sets in meant if sets)


def _meant(proposal: Proposal, word: wordlist.Word, listed: Any) -> Any:
    """Give what a word was answered to mean, ``listed`` where it is one of the list."""
    asked = next((q for q in proposal.questions if q.id == word.id), None)
    if asked is None:
        return listed
    return None if asked.open else wordlist.meaning_of(word.column, asked.answer, word.id)


def _by_letters(text: str) -> tuple[str, str]:
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
            words[ours] = sorted(set(theirs), key=_by_letters)


def _without_own_names(section: Mapping[str, list[str]]) -> dict[str, list[str]]:
    return {
        ours: sorted((t for t in theirs if t.casefold() != ours), key=_by_letters)
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


# -- rules --------------------------------------------------------------------------


def _rule(proposal: Proposal, part: Part, per_word) -> NewRule:
    rule = NewRule([part.source], part.table)
    roles = {name for slot in part.feed.slots.values() for name in slot}
    templates, rule.each = _each(proposal, part)
    for name in part.feed.columns:
        if _is_left(proposal, part, name):
            continue
        if name in part.feed.uses and (value := part.feed.uses[name].value):
            rule.columns[name] = {"value": value}
            continue
        plain = templates[name] if name in roles else _plain(part.feed.uses[name].names)
        if name not in roles and (beside := _year_beside(proposal, part, name)):
            plain = [beside, *part.feed.uses[name].names]
        extra = _extra(proposal, part, name, per_word)
        rule.columns[name] = {"from": plain, **extra} if extra else plain
    if proposal.answered("filled", part.source, part.table, "marked") == YES:
        said: dict[str, list[str]] = {}
        # one rule for sheets alike, whatever colour each year has
        alike = [
            text
            for other in proposal.station.of(part.table)
            if proposal.answered("filled", other.source, other.table, "marked") == YES
            and other.feed.headings("mark") == part.feed.headings("mark")
            for text in other.texts("mark")
        ]
        for text in sorted(set(alike), key=_by_letters):
            said.setdefault(NO if ticks_and_marks.is_unmarked(text) else YES, []).append(text)
        names = _plain(part.feed.uses["mark"].names)
        rule.columns["marked"] = {"from": names, "words": said}
    rule.columns |= {
        fact.name: title_facts.spec(fact, proposal.titled, proposal.orders)
        for fact in proposal.titled
        if fact.part is part and _answer(proposal, fact.id) == YES
    }
    if part.feed.days:
        rule.columns["checked_on"] = {"value": "{day}"}
    rule.colours = _colours(proposal, part)
    rule.only = _only(proposal, part)
    return rule


def _answer(proposal: Proposal, name: str) -> Any:
    return next((q.answer for q in proposal.questions if q.id == name), None)


def _only(proposal: Proposal, part: Part) -> dict[str, list[str]]:
    """Give the texts of a table's rows, those of the other diaries of that heading too.

    One rule then holds for all of them, also for the one that is begun next.
    """
    alike = {
        text.casefold(): text
        for other in reversed(proposal.station.of(part.table))
        for name, texts in other.feed.only.items()
        if name in part.feed.only
        for text in reversed(texts)
    }
    own = {name: list(alike.values())[::-1] for name in part.feed.only}
    return {name: sorted(texts, key=_by_letters) for name, texts in own.items()}


def _exposures(proposal: Proposal, part: Part) -> list[NewRule]:
    """Give the rules that read CO2 off words beside an insemination: one a day around it."""
    given = proposal.answered("exposures", part.source, "co2", "given_at")
    if part.table != "inseminations" or not isinstance(given, dict):
        return []
    heading = co2.exposure_columns(proposal.station, part)[0].name
    day = part.feed.uses[MAIN_DATE["inseminations"]].names[0]
    label = _rule(proposal, part, {}).columns["queen_id"]
    rules = []
    for offset in sorted({offset for days in given.values() for offset in days}):
        when = {"from": day, "days": offset} if offset else day
        texts = [text for text, days in given.items() if offset in days]
        rule = NewRule([part.source], "co2", {"queen_id": label, "given_at": when})
        rules.append(replace(rule, only={heading: texts}))
    return rules


def _year_beside(proposal: Proposal, part: Part, name: str) -> str:
    """Give the heading of the year that tells labels apart which start again each year."""
    if proposal.answered("prefix", "*", "inseminations", name) != YES:
        return ""
    return proposal.yearly[name].years.get(part.source, "") if name in proposal.yearly else ""


def _undone(part: Part) -> list[str]:
    return [
        f'{part.source}: "{text}" under "{column.name}" is no day: it was not done'
        for name in part.feed.columns
        for column in part.columns_of(name)
        for text in sorted(no_day(part, name) & set(column.contents.texts), key=_by_letters)
    ]


def _scored(proposal: Proposal, part: Part) -> list[str]:
    """Say how scores are read, once somebody knows what each of them is in per cent."""
    found = []
    for name in part.feed.columns:
        if proposal.answered("percent", part.source, part.table, name) == figures.SCORE:
            texts = sorted(set(part.texts(name)), key=_by_letters)
            scores = ", ".join(f"{suggested.key(text)} = .." for text in texts)
            heading = suggested.toml(part.feed.headings(name)[0])
            found.append(
                f"{part.source}: to have the scores under {heading} read, write what each is "
                f"in per cent under its [read.columns]: {name} = {{ from = {heading}, "
                f"scores = {{ {scores} }} }}"
            )
    return found


def _plain(names: list[str]) -> Any:
    return names[0] if len(names) == 1 else list(names)


def _is_left(proposal: Proposal, part: Part, name: str) -> bool:
    place = (part.source, part.table, name)
    letters = set(part.feed.headings(name)) & set(part.sheet.letters)
    if letters and proposal.answered("letters", part.source, part.table) == NO:
        return True
    return (
        proposal.answered("column", *place) == NO
        or proposal.answered("percent", *place) == figures.SCORE
        or proposal.answered("graft", *place) == YES
    )


def _extra(proposal: Proposal, part: Part, name: str, per_word) -> dict[str, Any]:
    """Give what a column's rule says beside where it comes from."""
    extra: dict[str, Any] = {}
    place = (part.source, part.table, name)
    use = part.feed.uses.get(name)
    unit = use.unit if use else _slot_unit(part, name)
    meant = proposal.answered("percent", *place)
    if isinstance(meant, dict):  # what each score is, which says all that is read
        return {"scores": meant}
    unit = figures.UNIT_OF.get(meant, unit)
    unit = proposal.answered("span", *place) or unit
    if unit:
        extra["unit"] = unit
    if place in proposal.orders.by_column:
        extra["dates"] = proposal.orders.by_column[place]
    if proposal.answered("mixed", *place) == "swapped":
        extra["dates"] = MIXED + proposal.orders.turned[place]
    if undone := no_day(part, name):
        held = part.contents(name)
        words = undone | {text for one in held for text in one.unknown}
        extra["empty"] = sorted(words, key=_by_letters)
    if name in ticks_and_marks.tick_columns(part):
        blank = proposal.answered("blank", part.source, part.table)
        if blank in (NO, LEAVE):
            extra["blank"] = BLANK_NO if blank == NO else NOT_LOOKED
    limited = ",".join(wordlist.limited_to(part, name))
    if limited and (name, limited) in per_word:
        extra["words"] = per_word[name, limited]
    crossed = per_word.get(("yes_no", f"{part.source},{name}"), {})
    for text, means in crossed.items():
        extra.setdefault("words", {}).setdefault(means, []).append(text)
    return extra


def no_day(part: Part, name: str) -> set[str]:
    """Give the words for no that stand among days: it was not done.

    The column says so for itself, since "no" means no in the sheet's other columns.
    """
    if ours_of(part.table, name).kind not in ("date", "datetime"):
        return set()
    return {text for text in part.texts(name) if yes_or_no(text) == NO and not text.isdigit()}


def _slot_unit(part: Part, name: str) -> str:
    from queen_outcomes.records.map.seen.feeds import unit_of

    units = {unit_of(column, part.table, name) for column in part.columns_of(name)}
    return units.pop() if len(units) == 1 else ""


def _each(proposal: Proposal, part: Part) -> tuple[dict[str, str], list[Any]]:
    """Write the slots: one text put for {}, or several named ones."""
    slots = part.feed.slots
    if not slots:
        return {}, []
    roles = list(next(iter(slots.values())))
    if part.feed.days:
        place = (part.source, part.table, MAIN_DATE[part.table])
        order = proposal.orders.by_column.get(place) or _order(proposal, part.source)
        each = [
            {
                "check": headings["findings"],
                "day": _iso(part.feed.days[slot], order, part, proposal),
            }
            for slot, headings in slots.items()
        ]
        return {"findings": "{check}"}, each
    if len(roles) > 1:
        starts = {
            slot: _common_start(list(headings.values())).rstrip()
            for slot, headings in slots.items()
        }
        for texts in (starts, {s: _shortest(starts[s]) for s in starts}):
            templates = _templates(slots, texts)
            if templates:
                return templates, list(texts.values())
    keys = {role: _SHARED_KEYS.get(role, role) for role in roles}
    each = [
        {keys[role]: headings[role] for role in roles} for headings in slots.values()
    ]
    return {role: f"{{{keys[role]}}}" for role in roles}, each


def _common_start(texts: list[str]) -> str:
    """Give what all texts begin with."""
    first, last = min(texts), max(texts)
    alike = [a == b for a, b in zip(first, last, strict=False)]
    return first[: alike.index(False) if False in alike else len(alike)]


def _shortest(start: str) -> str:
    """Give a slot's text without the word that a role's name began with."""
    return start.rpartition(" ")[0] or start


def _templates(
    slots: Mapping[str, Mapping[str, str]], texts: Mapping[str, str]
) -> dict[str, str] | None:
    if not all(texts.values()) or len(set(texts.values())) < len(texts):
        return None
    found: dict[str, str] = {}
    for slot, headings in slots.items():
        for role, heading in headings.items():
            if not heading.startswith(texts[slot]):
                return None
            template = "{}" + heading[len(texts[slot]) :]
            if found.setdefault(role, template) != template:
                return None
    return found


def _iso(text: str, order: str | None, part: Part, proposal: Proposal) -> str:
    seen = day_of(text.split(" (", maxsplit=1)[0])
    if seen is None or not (seen.plain or order):
        return text  # open: as it stands it is refused, and asked about
    day = seen.on(order or "")
    if day is None:
        return text
    if seen and seen.yearless:
        named = proposal.orders.yearless.get(part.source)
        years = Counter(
            y
            for p in proposal.station.parts_of(part.source)
            for y in p.years().elements()
        )
        year = named or (years.most_common(1)[0][0] if years else None)
        if year is None:
            return text  # of no year: left as it stands, it is refused and named
        day = day.replace(year=year)
    return day.isoformat()


def _colours(proposal: Proposal, part: Part) -> dict[str, dict[str, str]]:
    answer = proposal.answered("colours", part.source)
    if not isinstance(answer, dict):
        return {}
    found = {}
    for fill, sets in answer.items():
        kept = {n: str(v) for n, v in sets.items() if _sets_here(proposal, part, n)}
        if kept:
            found[fill] = kept
    return found


def _sets_here(proposal: Proposal, part: Part, name: str) -> bool:
    """Tell whether a rule is the first of its sheet that keeps a column."""
    from queen_outcomes.facts.dictionary import TABLES

    keeping = [
        p
        for p in proposal.station.parts_of(part.source)
        if name in TABLES[p.table].names
    ]
    return bool(keeping) and keeping[0] is part


# -- files --------------------------------------------------------------------------


def _habits(proposal: Proposal, sheet: Sheet) -> dict[str, Any]:
    source = sheet.source
    habits: dict[str, Any] = {}
    first = next((row.line for row in sheet.grid.rows if row.filled), None)
    if len(sheet.header) > 1 or (sheet.header and sheet.header[0] != first):
        habits["header"] = sheet.header[0] if len(sheet.header) == 1 else sheet.header
    if sheet.grid.encoding:
        habits["encoding"] = sheet.grid.encoding
    order = _order(proposal, source)
    if order:
        habits["dates"] = order
    habits |= {"month": month} if (month := proposal.answered("month", source)) else {}
    if source in proposal.orders.yearless:
        habits["year"] = proposal.orders.yearless[source]
    if _decimal(proposal.station.parts_of(source)) == ",":
        habits["decimal"] = ","
    prefix = _prefix(proposal, source)
    if prefix:
        habits["prefix"] = prefix
    leaves_void = proposal.answered("void", source) == LEAVE
    over = [*pass_over(sheet), *(map(escaped, sheet.void) if leaves_void else ())]
    none = deeds.no_record(sheet, proposal.station.given)
    habits |= {"pass_over": over} if over else {}
    habits |= {"no_record": none} if none else {}
    for kind in ("struck", "hidden"):
        if proposal.answered(kind, source) == LEAVE:
            habits[kind] = "pass over"
    return _taken_apart(proposal, source) | habits | _filled_down(proposal, source)


def _taken_apart(proposal: Proposal, source: str) -> dict[str, Any]:
    """Give the remarks that are taken apart, and the year of their days, if it is one."""
    parted = {one.heading: 1 for one in _told_fates(proposal, source)}
    years = {y for part in proposal.station.parts_of(source) for y in part.years()}
    year = {"year": years.pop()} if len(years) == 1 else {}
    return {"apart": parted, **year} if parted else {}


def _filled_down(proposal: Proposal, source: str) -> dict[str, list[str]]:
    """Give the headings whose empty cells take the day, or name, above."""
    down = [
        use.names[0]
        for part in proposal.station.parts_of(source)
        for name, use in part.feed.uses.items()
        if proposal.answered("fill", source, part.table, name) == YES
    ]
    down += [
        column.name
        for part in proposal.station.parts_of(source)
        if proposal.answered("fill", source, part.table, written_once.YEAR) == YES
        for name in part.feed.uses
        for column in part.columns_of(name)
        if is_year(column)
    ]
    return {"fill_down": list(dict.fromkeys(down))} if down else {}


def _prefix(proposal: Proposal, source: str) -> Any:
    """Give what is put before a file's labels: a year, or the word that they lack."""
    given = proposal.answered("prefix", "*", "inseminations", "queen_id")
    chosen = given if isinstance(given, dict) else proposal.prefixes
    year = chosen.get(source) if given == YES or isinstance(given, dict) else None
    led = {
        column: sources[source]
        for column, sources in proposal.leads.items()
        if source in sources and proposal.answered("lead", "*", "*", column) == YES
    }
    for column in proposal.yearly.keys() - {"queen_id"}:
        if (given := proposal.answered("prefix", "*", "inseminations", column)) == YES:
            given = proposal.yearly[column].prefixes
        if isinstance(given, dict) and source in given:
            led[column] = given[source]
    led = dict(sorted(led.items()))
    return {**led, **({"queen_id": year} if year else {})} if led else year


def _order(proposal: Proposal, source: str) -> str | None:
    """Give the order of a file's days: judged, or answered."""
    for name, files in proposal.orders.asked.items():
        if source in files:
            return next((q.answer for q in proposal.questions if q.id == name), None)
    return proposal.orders.by_file.get(source)


def _decimal(parts: Iterable[Part]) -> str:
    counts: Counter[str] = Counter()
    typed = True
    for part in parts:
        # of a figure of such a sheet nobody can tell whether it was typed as a text
        typed = typed and not part.source.partition("#")[0].lower().endswith(".ods")
        for name in part.feed.columns:
            if ours_of(part.table, name).kind not in ("number", "integer"):
                continue
            for held in part.contents(name):
                for cell in held.kept:
                    number = number_of(cell.text) if cell.kind == "text" else None
                    if number:
                        counts[
                            "," if number.comma else "." if number.point else ""
                        ] += 1
    points = counts["."] if typed else 0  # a workbook's own figures have points at any setting
    return "," if counts[","] > points else "."


def pass_over(sheet: Sheet) -> list[str]:
    """Give patterns for the rows that are no records, which match no record."""
    firsts = [row.cells[row.filled[0]].text for row in (*sheet.passed, *sheet.groups)]
    records = {row.cells[row.filled[0]].text.casefold() for row in sheet.rows}
    starts = Counter(text.split()[0] for text in set(firsts) if len(text.split()) > 1)
    found: dict[str, str] = {}
    for text in firsts:
        if re.search(r"\d", text) and not re.search(r"[^\W\d_]", text):
            continue  # a record may begin with such a figure next week: better told than passed
        choices = [_general(text, starts), _without_figures(text), escaped(text)]
        for pattern in choices:
            if pattern and not any(_matches(record, pattern) for record in records):
                found.setdefault(pattern.casefold(), pattern)  # of two spellings, one
                break
    patterns = list(found.values())
    return [p for p in patterns if not any(o != p and _matches(p, o) for o in patterns)]


def _general(text: str, starts: Counter[str]) -> str:
    """Give a pattern for every row of the kind: "Total*", "Yard *"."""
    folded = fold(text)
    for phrase in sorted(vocabulary().rows, key=len, reverse=True):
        if folded == phrase or folded.startswith(f"{phrase} "):
            words = text.split()[: len(phrase.split())]
            return escaped(" ".join(words).rstrip(":.,;")) + "*"
    first = text.split(maxsplit=1)[0]
    return f"{escaped(first)} *" if starts[first] > 1 and not first.isdigit() else ""


def _without_figures(text: str) -> str:
    return (
        re.sub(r"\d+([.,]\d+)?", "*", escaped(text)) if re.search(r"\d", text) else ""
    )


def _matches(text: str, pattern: str) -> bool:
    from fnmatch import fnmatchcase

    return fnmatchcase(text.casefold(), pattern.casefold())


def _unread_of_table(part: Part) -> list[str]:
    """Say which columns a diary's rows of one table have filled, and nothing reads there."""
    used = {h for name in part.feed.columns for h in part.feed.headings(name)}
    left = [
        f'"{column.name}" ({column.contents.filled})'
        for column in part.sheet.columns
        if part.feed.only
        and column.name not in {*used, *part.feed.only}
        and column.contents.filled
    ]
    said = f"{part.source}: in its rows of {part.table} not read: {shorten(left, ', ')}"
    return [said] if left else []


def _without_rule(proposal: Proposal, sheet: Sheet, parts: list[Part]) -> list[str]:
    """Say which tables a diary has rows of, and no columns that make records of them."""
    lacking = {
        proposal.station.given.get(deed.key, deeds.NO_RECORD): deed.text
        for deed in proposal.station.deeds
        if sheet.source in deed.sources
    }
    there = {deeds.NO_RECORD, *(part.table for part in parts)}
    return [
        f'{sheet.source}: rows such as "{text}" are not read: no columns were found that make '
        f"records of {table} of them"
        for table, text in lacking.items()
        if table not in there
    ]


def _unread(proposal: Proposal, found: Written, left_out: set[str], wanted) -> None:
    """Say which columns with text stay unread."""
    for sheet in proposal.station.sheets:
        parts = proposal.station.parts_of(sheet.source)
        if not parts or sheet.source in left_out:
            continue
        if wanted is not None and sheet.source not in wanted:
            continue
        used = {
            h
            for part in parts
            for n in part.feed.columns
            for h in part.feed.headings(n)
        } | {name for part in parts for name in part.feed.only}
        found.notes += [note for part in parts for note in _unread_of_table(part)]
        found.notes += _without_rule(proposal, sheet, parts)
        left = [
            c.name for c in sheet.columns if c.name not in used and c.contents.filled
        ]
        unnamed = len(sheet.void_lines) - len(sheet.void)
        if unnamed:
            lines = ", ".join(map(str, sheet.void_lines))
            found.notes.append(
                f"{sheet.source}: rows call themselves void ({lines}), and no pattern "
                "names them: they are read unless they are taken out of the sheet"
            )
        if left:
            names = [f'"{name}"' for name in left if name]
            unnamed = len(left) - len(names)
            names += [f"columns without a heading ({unnamed})"] if unnamed else []
            found.notes.append(f"{sheet.source}: not read: {shorten(names, ', ')}")
        apart_in = {
            c.name: parts
            for c in sheet.columns
            if c.name in left and (parts := apart.parts_in(c.contents.texts))
        }
        if apart_in:
            found.notes.append(
                f"{sheet.source}: cells of a day and words stand there; to read them, write "
                f"apart = {suggested.toml(apart_in)} into its [files] section, and a [[read]] "
                f"of their headings, such as "
                + ", ".join(f'"{n}"' for n in apart.names(*next(iter(apart_in.items())))[:2])
            )
