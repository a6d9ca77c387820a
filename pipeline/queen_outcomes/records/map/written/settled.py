"""What an answer to an earlier open question changes in the settings, and where.

Rules that stand there are changed in the answered place alone; what a keeper wrote stays.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from fnmatch import fnmatchcase
from typing import Any

from tomlkit.items import Table

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import ABSENT
from queen_outcomes.records import apart
from queen_outcomes.records.map.asked import (
    again,
    facts_in_lines,
    fates,
    lines_over_rows,
    several,
    title_facts,
    which_of_ours,
)
from queen_outcomes.records.map.asked.questions import Question, place_of
from queen_outcomes.records.map.seen import deeds
from queen_outcomes.records.map.seen.fits import FINDINGS
from queen_outcomes.records.map.seen.sheet import in_question
from queen_outcomes.records.map.seen.words import STAGES
from queen_outcomes.records.map.written.known import is_known, listed
from queen_outcomes.records.map.written.mapping import Written
from queen_outcomes.records.map.written.patterns import escaped
from queen_outcomes.records.map.written.rules import NewRule
from queen_outcomes.records.map.written.sections import (
    array_of,
    put_file,
    put_records,
    put_rule,
    put_words,
    section_of,
    value_of,
    without_station,
)

_CONTROLS = {
    "dates": ("dates",),
    "year": ("year",),
    "month": ("month",),
    "prefix": ("prefix",),
    "lead": ("prefix",),
    "struck": ("struck",),
    "hidden": ("hidden",),
    "void": ("pass_over",),
    "fill": ("fill_down",),
    fates.KIND: ("apart", "year", "year_of"),
    several.KIND: ("several",),
    facts_in_lines.KIND: ("group", "pass_over", "year"),
    again.KIND: ("ditto",),
}
"""What a question of a kind decides among a file's habits."""


def settle(document: Any, question: Question, everything: Written) -> None:
    """Put the answer to an earlier open question where it belongs, and nowhere else."""
    kind, source, table, column = place_of(question.id)
    _settle_habits(document, source, _CONTROLS.get(kind, ()), everything)
    if kind in ("dates", "year", "day", "weekday"):
        _settle_days(document, everything)
    required = [c.name for c in TABLES[table].columns if c.required] if table in TABLES else []
    if kind == "column" and column in required and not _feeds(everything, source, table):
        _settle_rows(document, source, table, everything)  # without its day it is no list
    elif kind in ("percent", "blank", "graft", "column", "mixed", "span", "filled"):
        _settle_columns(document, source, table, column, everything)
    elif kind in _BY_SHEET:
        _BY_SHEET[kind](document, source, everything)
    elif kind == "rows":
        _settle_rows(document, source, table, everything)
    elif kind in ("fold", "same", "co2", "next_placement"):
        kept = {k: v for k, v in everything.records.items() if k == kind}
        put_records(document, kept)
    elif kind == "prefix":  # the year may stand in a column of its own
        _settle_everywhere(document, column, everything)
    elif kind in _SETTLED:
        _SETTLED[kind](document, question, everything)
    elif kind in ("words", "word", "absent"):
        put_words(document, everything.words)
        _settle_everywhere(document, "*", everything)  # words that one column alone has
        _settle_fates(document, everything)
        _settle_said(document, question, everything)


def _settle_exposures(document: Any, source: str, everything: Written) -> None:
    """Add the rules that an answer has made of a sheet's words for CO2."""
    put_records(document, {k: v for k, v in everything.records.items() if k == "co2"})
    for rule in everything.rules:
        if rule.table == "co2" and rule.only and source in rule.sources:
            put_rule(document, replace(rule, sources=[source]))


def _settle_letters(document: Any, source: str, everything: Written) -> None:
    for stage in STAGES:
        _settle_columns(document, source, "checks", stage, everything)


def _settle_everywhere(document: Any, column: str, everything: Written) -> None:
    for rule in everything.rules:
        for source in rule.sources:
            _settle_columns(document, source, rule.table, column, everything)


def _settle_days(document: Any, everything: Written) -> None:
    """Write the days of headings as they are read once their order is known."""
    for rule in everything.rules:
        for source in rule.sources:
            for theirs in _rules_of(document, source, rule.table) if rule.each else ():
                known = {slot["check"]: slot["day"] for slot in rule.each if "day" in slot}
                for slot in theirs.get("each", ()):
                    if isinstance(slot, Mapping) and slot.get("check") in known:
                        slot["day"] = known[slot["check"]]


def _put_in_order(document: Any, question: Question) -> None:
    """Put slots in the order of their days, once somebody has said which these are."""
    _, source, table, _ = place_of(question.id)
    for theirs in _rules_of(document, source, table):
        slots = list(theirs.get("each", ()))
        if slots and all(isinstance(one, Mapping) and "day" in one for one in slots):
            theirs["each"] = array_of(sorted(map(dict, slots), key=lambda one: str(one["day"])))


def _settle_fates(document: Any, everything: Written) -> None:
    """Add rules for exits that words under looks tell of, and what new words say to them."""
    for rule in everything.rules:
        said = rule.columns.get("reason")
        if not isinstance(said, Mapping) or list(rule.only) != [said.get("from")]:
            continue
        theirs = [
            one
            for source in rule.sources
            for one in _rules_of(document, source, "exits")
            if dict(one.get("only", {})).keys() == rule.only.keys()
        ]
        if not theirs:
            put_rule(document, rule)
        for one in theirs:
            for heading, texts in rule.only.items():
                have = listed(one["only"][heading])
                one["only"][heading] = array_of([*have, *(t for t in texts if t not in have)])
            words = one["columns"]["reason"].setdefault("words", {})
            for reason, texts in said.get("words", {}).items():
                have = listed(words.get(reason, []))
                words[reason] = array_of([*have, *(t for t in texts if t not in have)])


def _settle_title(document: Any, question: Question, everything: Written) -> None:
    """Add a fact that stands above the headings to the rules of its table that lack it."""
    _, _, table, column = place_of(question.id)
    for rule in everything.rules:
        if rule.table == table and column in rule.columns:
            for source in rule.sources:
                for theirs in _rules_of(document, source, table):
                    if column not in theirs["columns"]:
                        theirs["columns"][column] = value_of(rule.columns[column])


def _settle_deed(document: Any, question: Question, everything: Written) -> None:
    """Give the rows with a text of a diary to the table that was answered, and to no other."""
    _, name, text = question.id.split(":", 2)
    _strike(document, name, text)
    if question.answer == deeds.NO_RECORD:
        for source in question.sources:
            put_file(document, source, {"no_record": {name: [text]}})
        return
    for rule in everything.rules:
        if rule.table != question.answer or not set(rule.sources) & set(question.sources):
            continue
        theirs = [
            one
            for source in rule.sources
            for one in _rules_of(document, source, rule.table)
            if name in one.get("only", {})
        ]
        if not theirs:
            put_rule(document, rule)
        elif text.casefold() not in map(str.casefold, listed(theirs[0]["only"][name])):
            theirs[0]["only"][name] = array_of([*listed(theirs[0]["only"][name]), text])


_SAID = {"exits": "reason", "checks": FINDINGS}
"""What the words of remarks fill, in each table that they are read as."""


def _settle_remarks(document: Any, question: Question, everything: Written) -> None:
    """Add the rules that read remarks as exits, and as looks."""
    for rule in everything.rules:
        told = list(rule.only) == [rule.columns.get(_SAID.get(rule.table, ""))]
        if told and set(rule.sources) & set(question.sources):
            have = [one for s in rule.sources for one in _rules_of(document, s, rule.table)]
            if not any(dict(one.get("only", {})).keys() == rule.only.keys() for one in have):
                put_rule(document, rule)


def _settle_several(document: Any, question: Question, everything: Written) -> None:
    """Write the rules of a sheet anew that read the values of its cells one by one."""
    for rule in everything.rules:
        for source in set(rule.sources) & set(question.sources):
            for theirs in _rules_of(document, source, rule.table):
                if "each" not in theirs and rule in _alike(everything.rules, theirs):
                    if rule.each:
                        theirs["each"] = array_of(rule.each)
                    _settle_columns(document, source, rule.table, "*", everything)


def _settle_said(document: Any, question: Question, everything: Written) -> None:
    """Have a word beside a day read by the rules of its remarks, once it is known what it says."""
    text = question.id.split(":", 2)[-1] if question.kind == "word" else None
    for rule in everything.rules:
        if list(rule.only) != [rule.columns.get(_SAID.get(rule.table, ""))]:
            continue
        ((heading, known),) = rule.only.items()
        new = [one for one in known if text in (None, one) and question.kind != ABSENT]
        every = [
            one
            for table in _SAID
            for source in rule.sources
            for one in _rules_of(document, source, table)
            if heading in one.get("only", {})
        ]
        theirs = [one for one in every if one["table"] == rule.table]
        if new and every and not theirs:
            put_rule(document, replace(rule, only={heading: new}))
        for one in theirs:
            have = [str(said) for said in listed(one["only"][heading])]
            folded = {said.casefold() for said in have}
            more = [said for said in new if said.casefold() not in folded]
            if more:
                one["only"][heading] = array_of([*have, *more])


def _settle_which(document: Any, question: Question, everything: Written) -> None:
    """Read a heading as the column of ours that was answered, and as no other."""
    _, source, _, name = place_of(question.id)
    for rule in document.get("read", []):
        if is_known(source, listed(rule.get("from", []))):
            for ours in [n for n, spec in rule["columns"].items() if _is_from(spec, name)]:
                del rule["columns"][ours]
    for rule in everything.rules:
        told = {n: spec for n, spec in rule.columns.items() if _is_from(spec, name)}
        if source not in rule.sources or not told:
            continue
        theirs = _rules_of(document, source, rule.table)
        for one in theirs:
            if _is_like(one, rule):
                one["columns"].update({n: value_of(spec) for n, spec in told.items()})
        if not theirs:
            put_rule(document, replace(rule, sources=[source]))
    put_words(document, everything.words)


def _is_like(theirs: Any, rule: NewRule) -> bool:
    """Tell whether a rule of the settings chooses the same rows and slots as another."""
    have = theirs.unwrap()
    return have.get("only", {}).keys() == rule.only.keys() and have.get("each", []) == rule.each


def _is_from(spec: Any, name: str) -> bool:
    """Tell whether a column is filled from a heading, named as in a question."""
    heading = spec.get("from") if isinstance(spec, Mapping) else spec
    return isinstance(heading, str) and in_question(heading) == name


_SETTLED = {
    "day": lambda document, question, _: _put_in_order(document, question),
    several.KIND: _settle_several,
    which_of_ours.KIND: _settle_which,
    deeds.KIND: _settle_deed,
    title_facts.KIND: _settle_title,
    fates.KIND: _settle_remarks,
}


def _strike(document: Any, name: str, text: str) -> None:
    """Take a text out of what chooses rows; a rule or line that is then empty goes too."""
    holders = [(rule, "only") for rule in document.get("read", [])]
    holders += [(file, "no_record") for file in document.get("files", {}).values()]
    for holder, key in holders:
        texts = listed(holder.get(key, {}).get(name, []))
        left = [one for one in texts if one.casefold() != text.casefold()]
        if left:
            holder[key][name] = array_of(left)
        elif texts:
            del holder[key][name]
    for rule in [r for r in document.get("read", []) if "only" in r and not r["only"]]:
        document["read"].remove(rule)
    for file in document.get("files", {}).values():
        if "no_record" in file and not file["no_record"]:
            del file["no_record"]


def _settle_ignored(document: Any, source: str, everything: Written) -> None:
    if not any(source in rule.sources for rule in everything.rules):
        ignore = [
            p for p in everything.records.get("ignore", []) if p == escaped(source)
        ]
        put_records(document, {"ignore": ignore} if ignore else {})
        if ignore:  # settings of a sheet that is left out would be refused
            document.get("files", {}).pop(escaped(source), None)


def _feeds(everything: Written, source: str, table: str) -> bool:
    return any(rule.table == table and source in rule.sources for rule in everything.rules)


def _settle_rows(document: Any, source: str, table: str, everything: Written) -> None:
    """Take a sheet out of the rules of a table that it turned out not to list."""
    if _feeds(everything, source, table):
        return
    for theirs in _rules_of(document, source, table):
        left = [p for p in listed(theirs["from"]) if p != escaped(source)]
        if left:
            theirs["from"] = array_of(left)
        else:
            document["read"].remove(theirs)
    _settle_ignored(document, source, everything)


def _settle_habits(
    document: Any, source: str, keys: Iterable[str], everything: Written
) -> None:
    for file, habits in everything.files.items():
        kept = {
            key: habits[key] for key in keys if key in habits and source in ("*", file)
        }
        put_file(document, file, without_station(document, kept))


def _settle_group(document: Any, source: str, everything: Written) -> None:
    """Have lines over rows give what they tell, and be passed over no longer."""
    habits = everything.files.get(source, {})
    if lines_over_rows.KIND not in habits:
        return
    section = section_of(section_of(document, "files"), escaped(source))
    section.update({key: value_of(habits[key]) for key in (lines_over_rows.KIND, "group_rows")})
    (begin,) = habits["group_rows"]
    left = [p for p in listed(section.get("pass_over", [])) if not fnmatchcase(p, begin)]
    if left:
        section["pass_over"] = array_of(left)
    else:
        section.pop("pass_over", None)


def _settle_colours(document: Any, source: str, everything: Written) -> None:
    for rule in everything.rules:
        if source in rule.sources and rule.colours:
            for theirs in _rules_of(document, source, rule.table):
                theirs["colours"] = {f: value_of(s) for f, s in rule.colours.items()}


def _settle_columns(
    document: Any, source: str, table: str, column: str, everything: Written
) -> None:
    every = [r for r in everything.rules if source in r.sources and r.table == table]
    for theirs in _rules_of(document, source, table):
        ours = _alike(every, theirs)
        if not ours and _reads_remarks(theirs):
            continue
        if column in theirs["columns"] and all(column not in r.columns for r in ours):
            del theirs["columns"][column]
        for rule in ours:
            for name, spec in rule.columns.items():
                columns: Table = theirs["columns"]
                if name == "marked" == column and name not in columns:
                    columns[name] = value_of(spec)  # a mark that says so: no column of its own
                if name in columns and column in ("*", name) and columns[name] != spec:
                    columns[name] = value_of(spec)


def _alike(rules: Sequence[NewRule], theirs: Mapping[str, Any]) -> list[NewRule]:
    """Give the rules that choose their rows by the same column; all where none does.

    A sheet may tell of exits twice, under its looks and in its remarks: what one of the two
    rules reads the other must not be given, nor any other what reads remarks.
    """
    chosen = dict(theirs.get("only", {})).keys()
    same = [rule for rule in rules if rule.only.keys() == chosen]
    return same if same or _reads_remarks(theirs) else list(rules)


def _reads_remarks(theirs: Mapping[str, Any]) -> bool:
    return any(map(apart.is_of_words, theirs.get("only", {})))


def _rules_of(document: Any, source: str, table: str) -> list[Any]:
    return [
        rule
        for rule in document.get("read", [])
        if rule.get("table") == table
        and is_known(source, listed(rule.get("from", [])))
    ]


_BY_SHEET: dict[str, Callable[[Any, str, Written], None]] = {
    "exposures": _settle_exposures,
    "letters": _settle_letters,
    "colours": _settle_colours,
    "ignore": _settle_ignored,
    lines_over_rows.KIND: _settle_group,
}
"""Kinds of questions that a sheet's name alone says the place of -> what an answer does."""
