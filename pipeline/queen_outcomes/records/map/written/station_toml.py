"""Write the mapping into `station.toml`, and keep everything that stands there.

Comments, order and blanks stay; lists are added to; a rule for a sheet that has one is
not written again. Questions left open become `# OPEN` lines at the end.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import AoT, Array, InlineTable, Table

from queen_outcomes.base import resources
from queen_outcomes.base.errors import UsageError
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import ABSENT
from queen_outcomes.records import apart
from queen_outcomes.records.map.asked import (
    again,
    fates,
    group_lines,
    several,
    title_facts,
    which_of_ours,
)
from queen_outcomes.records.map.asked.questions import (
    Question,
    open_line,
    place_of,
    refused_line,
    without_open_lines,
)
from queen_outcomes.records.map.seen import deeds
from queen_outcomes.records.map.seen.fits import FINDINGS
from queen_outcomes.records.map.seen.sheet import in_question
from queen_outcomes.records.map.seen.words import STAGES
from queen_outcomes.records.map.written.mapping import Written
from queen_outcomes.records.map.written.patterns import escaped
from queen_outcomes.records.map.written.rules import NewRule

_WIDE = 88
_ORDER_KEYS = {"dates": ("dates", "order"), "decimal": ("numbers", "decimal")}
"""Habits that the station has when all its files have them."""
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
    fates.KIND: ("apart", "year"),
    several.KIND: ("several",),
    group_lines.KIND: ("group", "pass_over", "year"),
    again.KIND: ("ditto",),
}
"""What a question of a kind decides among a file's habits."""


def current(path: Path) -> str:
    """Give the settings as they stand; the blank form where there are none yet."""
    if path.exists():
        return path.read_bytes().decode("utf-8-sig")
    return resources.read("reports", "text", "station.toml")


def parsed(text: str, where: str) -> dict[str, Any]:
    """Read the settings as plain values.

    Raises
    ------
    UsageError
        They are not TOML.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise UsageError(
            "the settings are not valid TOML",
            where=where,
            found=str(problem),
            hint="mend that line; texts stand in quotes, dates do not",
        ) from None


def known_patterns(settings: Mapping[str, Any]) -> list[str]:
    """Give the patterns of sources that the settings speak of already."""
    found: list[str] = list(_listed(settings.get("records", {}).get("ignore", [])))
    for rule in settings.get("read", []):
        found += _listed(rule.get("from", []))
    for patterns in settings.get("tables", {}).values():
        found += _listed(patterns)
    return found


def known_headings(settings: Mapping[str, Any]) -> dict[str, dict[str, str]]:
    """Give what [columns.TABLE] says: table -> our column -> heading; no mistakes of it."""
    tables = settings.get("columns", {})
    return {
        table: {
            name: theirs
            for name, theirs in columns.items()
            if isinstance(theirs, str) and name in TABLES[table].names
        }
        for table, columns in (tables.items() if isinstance(tables, dict) else ())
        if table in TABLES and isinstance(columns, dict)
    }


def known_deeds(settings: Mapping[str, Any]) -> dict[tuple[str, str], str]:
    """Give what the settings say of diaries: (heading, text) -> table, or no record."""
    found = {}
    holders = [
        (rule.get("only"), rule.get("table")) for rule in settings.get("read", [])
    ]
    files = settings.get("files", {})
    holders += [
        (file.get("no_record"), deeds.NO_RECORD)
        for file in (files.values() if isinstance(files, dict) else ())
        if isinstance(file, dict)
    ]
    for texts, table in holders:
        for name, said in texts.items() if isinstance(texts, dict) else ():
            found |= {deeds.key_of(name, text): table for text in _listed(said)}
    return found


def is_known(source: str, patterns: Iterable[str]) -> bool:
    """Tell whether a pattern names a source; one without "#" names a file's sheets all."""
    file = source.partition("#")[0]
    return any(
        fnmatchcase(source, pattern)
        or ("#" not in pattern and fnmatchcase(file, pattern))
        for pattern in patterns
    )


def _listed(value: Any) -> list[str]:
    return (
        [value] if isinstance(value, str) else [v for v in value if isinstance(v, str)]
    )


def put(
    text: str,
    written: Written,
    *,
    open_ones: Iterable[Question] = (),
    refused_ones: Iterable[Question] = (),
    answered: Iterable[Question] = (),
    everything: Written | None = None,
) -> str:
    """Put a mapping into the settings' text.

    Parameters
    ----------
    text : str
        The settings as they stand.
    written : Written
        Rules and habits of the new sheets.
    open_ones : iterable of Question
        Questions that stay open.
    refused_ones : iterable of Question
        Questions answered with no, of which no setting keeps a trace.
    answered : iterable of Question
        Earlier open questions that now have an answer; the rules they concern are
        changed in that place alone.
    everything : Written, optional
        The mapping of all sheets, from which those places are taken.

    Returns
    -------
    str
        Valid TOML.
    """
    document = tomlkit.parse(without_open_lines(text).rstrip("\n") + "\n")
    first_time = not document.get("read") and not document.get("tables")
    files = dict(written.files)
    if first_time:
        files = _of_the_station(
            document, files, [s for r in written.rules for s in r.sources]
        )
    _put_records(document, written.records)
    _put_words(document, written.words)
    for source, habits in files.items():
        _put_file(document, source, _without_station(document, habits))
    for rule in written.rules:
        _put_rule(document, rule)
    if everything is not None:
        for question in answered:
            _settle(document, question, everything)
    result = tomlkit.dumps(document).rstrip("\n") + "\n"
    lines = [refused_line(question) for question in refused_ones]
    lines += [open_line(question) for question in open_ones]
    if lines:
        result += "\n" + "\n".join(lines) + "\n"
    tomllib.loads(result)
    return result


# -- parts ----------------------------------------------------------------------------


def _section(parent: Any, name: str) -> Any:
    """Give a section, made where there is none."""
    if name not in parent:
        if isinstance(parent, tomlkit.TOMLDocument) and parent.body:
            parent.add(tomlkit.nl())
        parent[name] = tomlkit.table()
    return parent[name]


def _of_the_station(
    document: tomlkit.TOMLDocument,
    files: Mapping[str, Mapping[str, Any]],
    sources: list[str],
) -> dict[str, dict[str, Any]]:
    """Move to the station what every file that says anything of it has alike."""
    left = {source: dict(habits) for source, habits in files.items()}
    for habit, (section, key) in _ORDER_KEYS.items():
        values = {habits[habit] for habits in left.values() if habit in habits}
        silent = [s for s in sources if habit not in left.get(s, {})]
        # a file with decimal points among files with commas keeps its own
        if len(values) != 1 or key in document.get(section, {}):
            continue
        if habit == "decimal" and silent:
            continue
        _section(document, section)[key] = values.pop()
        for habits in left.values():
            habits.pop(habit, None)
    return {source: habits for source, habits in left.items() if habits}


def _without_station(document: Any, habits: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out what the station says already."""
    kept = dict(habits)
    for habit, (section, key) in _ORDER_KEYS.items():
        if kept.get(habit) == document.get(section, {}).get(key, object()):
            del kept[habit]
    return kept


def _put_records(document: Any, records: Mapping[str, Any]) -> None:
    if not records:
        return
    section = _section(document, "records")
    for key, value in records.items():
        if isinstance(value, list):
            have = _listed(section.get(key, []))
            section[key] = _array([*have, *(v for v in value if v not in have)])
        elif isinstance(value, Mapping):
            same = _section(section, key)
            for column, groups in value.items():
                merged = {k: list(v) for k, v in dict(same.get(column, {})).items()}
                for name, others in groups.items():
                    have = merged.setdefault(name, [])
                    have += [other for other in others if other not in have]
                same[column] = _value(merged)
        else:
            section[key] = value


def _put_words(document: Any, words: Mapping[str, Any]) -> None:
    if not words:
        return
    section = _section(document, "words")
    # plain lists stand above the sections, or TOML would put them into the last one
    lists = {name: value for name, value in words.items() if isinstance(value, list)}
    for name, value in lists.items():
        have = _listed(section.get(name, []))
        merged = _array([*have, *(v for v in value if v not in have)])
        section[name] = merged
    for name, value in words.items():
        if name in lists:
            continue
        inner = _section(section, name)
        for key, meant in value.items():
            if isinstance(meant, list):
                have = _listed(inner.get(key, []))
                inner[key] = _array([*have, *(v for v in meant if v not in have)])
            elif key not in inner:
                inner[key] = _value(meant)


def _put_file(document: Any, source: str, habits: Mapping[str, Any]) -> None:
    if not habits:
        return
    section = _section(_section(document, "files"), escaped(source))
    for key, value in habits.items():
        if key in ("pass_over", "fill_down"):
            have = _listed(section.get(key, []))
            section[key] = _array([*have, *(v for v in value if v not in have)])
        elif key == "no_record":
            texts = {name: _listed(said) for name, said in section.get(key, {}).items()}
            for name, more in value.items():
                have = texts.setdefault(name, [])
                have += [text for text in more if text not in have]
            section[key] = _value(texts)
        elif key == "apart" and key in section:
            section[key] = _value(dict(value) | dict(section[key]))
        elif key == "prefix" and key in section:
            section[key] = _value(_named(value) | _named(section[key]))
        elif key not in section:
            section[key] = _value(value)


def _named(prefix: Any) -> dict[str, str]:
    """Give prefixes by their columns; a text alone is the queens'."""
    return {"queen_id": str(prefix)} if isinstance(prefix, str) else dict(prefix)


def _put_rule(document: Any, rule: NewRule) -> None:
    table = tomlkit.table()
    sources = [escaped(source) for source in rule.sources]
    table["from"] = sources[0] if len(sources) == 1 else _array(sources)
    table["table"] = rule.table
    if rule.only:
        table["only"] = _value(rule.only)
    if rule.each:
        table["each"] = _array(rule.each)
    columns = tomlkit.table()
    for name, spec in rule.columns.items():
        columns[name] = _value(spec)
    table["columns"] = columns
    if rule.colours:
        colours = tomlkit.table()
        for fill, sets in rule.colours.items():
            colours[fill] = _value(sets)
        table["colours"] = colours
    if "read" not in document:
        document.add(tomlkit.nl())
        document["read"] = tomlkit.aot()
    rules = document["read"]
    assert isinstance(rules, AoT)
    rules.append(table)


def _value(value: Any) -> Any:
    if isinstance(value, Mapping):
        return _inline(value)
    return _array(value) if isinstance(value, list | tuple) else value


def _inline(value: Mapping[str, Any]) -> InlineTable:
    table = tomlkit.inline_table()
    for key, inner in value.items():
        table[key] = _value(inner)
    return table


def _array(values: Iterable[Any]) -> Array:
    array = tomlkit.array()
    listed = list(values)
    for value in listed:
        array.append(_value(value))
    return array.multiline(len(array.as_string()) > _WIDE)


# -- answers to earlier questions -------------------------------------------------------


def _settle(document: Any, question: Question, everything: Written) -> None:
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
        _put_records(document, kept)
    elif kind == "prefix":  # the year may stand in a column of its own
        _settle_everywhere(document, column, everything)
    elif kind in _SETTLED:
        _SETTLED[kind](document, question, everything)
    elif kind in ("words", "word", "absent"):
        _put_words(document, everything.words)
        _settle_everywhere(document, "*", everything)  # words that one column alone has
        _settle_fates(document, everything)
        _settle_said(document, question, everything)


def _settle_exposures(document: Any, source: str, everything: Written) -> None:
    """Add the rules that an answer has made of a sheet's words for CO2."""
    _put_records(document, {k: v for k, v in everything.records.items() if k == "co2"})
    for rule in everything.rules:
        if rule.table == "co2" and rule.only and source in rule.sources:
            _put_rule(document, replace(rule, sources=[source]))


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
            theirs["each"] = _array(sorted(map(dict, slots), key=lambda one: str(one["day"])))


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
            _put_rule(document, rule)
        for one in theirs:
            for heading, texts in rule.only.items():
                have = _listed(one["only"][heading])
                one["only"][heading] = _array([*have, *(t for t in texts if t not in have)])
            words = one["columns"]["reason"].setdefault("words", {})
            for reason, texts in said.get("words", {}).items():
                have = _listed(words.get(reason, []))
                words[reason] = _array([*have, *(t for t in texts if t not in have)])


def _settle_title(document: Any, question: Question, everything: Written) -> None:
    """Add a fact that stands above the headings to the rules of its table that lack it."""
    _, _, table, column = place_of(question.id)
    for rule in everything.rules:
        if rule.table == table and column in rule.columns:
            for source in rule.sources:
                for theirs in _rules_of(document, source, table):
                    if column not in theirs["columns"]:
                        theirs["columns"][column] = _value(rule.columns[column])


def _settle_deed(document: Any, question: Question, everything: Written) -> None:
    """Give the rows with a text of a diary to the table that was answered, and to no other."""
    _, name, text = question.id.split(":", 2)
    _strike(document, name, text)
    if question.answer == deeds.NO_RECORD:
        for source in question.sources:
            _put_file(document, source, {"no_record": {name: [text]}})
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
            _put_rule(document, rule)
        elif text.casefold() not in map(str.casefold, _listed(theirs[0]["only"][name])):
            theirs[0]["only"][name] = _array([*_listed(theirs[0]["only"][name]), text])


_SAID = {"exits": "reason", "checks": FINDINGS}
"""What the words of remarks fill, in each table that they are read as."""


def _settle_remarks(document: Any, question: Question, everything: Written) -> None:
    """Add the rules that read remarks as exits, and as looks."""
    for rule in everything.rules:
        told = list(rule.only) == [rule.columns.get(_SAID.get(rule.table, ""))]
        if told and set(rule.sources) & set(question.sources):
            have = [one for s in rule.sources for one in _rules_of(document, s, rule.table)]
            if not any(dict(one.get("only", {})).keys() == rule.only.keys() for one in have):
                _put_rule(document, rule)


def _settle_several(document: Any, question: Question, everything: Written) -> None:
    """Write the rules of a sheet anew that read the values of its cells one by one."""
    for rule in everything.rules:
        for source in set(rule.sources) & set(question.sources):
            for theirs in _rules_of(document, source, rule.table):
                if "each" not in theirs and rule in _alike(everything.rules, theirs):
                    if rule.each:
                        theirs["each"] = _array(rule.each)
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
            _put_rule(document, replace(rule, only={heading: new}))
        for one in theirs:
            have = [str(said) for said in _listed(one["only"][heading])]
            folded = {said.casefold() for said in have}
            more = [said for said in new if said.casefold() not in folded]
            if more:
                one["only"][heading] = _array([*have, *more])


def _settle_which(document: Any, question: Question, everything: Written) -> None:
    """Read a heading as the column of ours that was answered, and as no other."""
    _, source, _, name = place_of(question.id)
    for rule in document.get("read", []):
        if is_known(source, _listed(rule.get("from", []))):
            for ours in [n for n, spec in rule["columns"].items() if _is_from(spec, name)]:
                del rule["columns"][ours]
    for rule in everything.rules:
        told = {n: spec for n, spec in rule.columns.items() if _is_from(spec, name)}
        if source not in rule.sources or not told:
            continue
        theirs = _rules_of(document, source, rule.table)
        for one in theirs:
            if _is_like(one, rule):
                one["columns"].update({n: _value(spec) for n, spec in told.items()})
        if not theirs:
            _put_rule(document, replace(rule, sources=[source]))
    _put_words(document, everything.words)


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
        texts = _listed(holder.get(key, {}).get(name, []))
        left = [one for one in texts if one.casefold() != text.casefold()]
        if left:
            holder[key][name] = _array(left)
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
        _put_records(document, {"ignore": ignore} if ignore else {})
        if ignore:  # settings of a sheet that is left out would be refused
            document.get("files", {}).pop(escaped(source), None)


def _feeds(everything: Written, source: str, table: str) -> bool:
    return any(rule.table == table and source in rule.sources for rule in everything.rules)


def _settle_rows(document: Any, source: str, table: str, everything: Written) -> None:
    """Take a sheet out of the rules of a table that it turned out not to list."""
    if _feeds(everything, source, table):
        return
    for theirs in _rules_of(document, source, table):
        left = [p for p in _listed(theirs["from"]) if p != escaped(source)]
        if left:
            theirs["from"] = _array(left)
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
        _put_file(document, file, _without_station(document, kept))


def _settle_colours(document: Any, source: str, everything: Written) -> None:
    for rule in everything.rules:
        if source in rule.sources and rule.colours:
            for theirs in _rules_of(document, source, rule.table):
                theirs["colours"] = {f: _value(s) for f, s in rule.colours.items()}


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
                    columns[name] = _value(spec)  # a mark that says so: no column of its own
                if name in columns and column in ("*", name) and columns[name] != spec:
                    columns[name] = _value(spec)


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
        and is_known(source, _listed(rule.get("from", [])))
    ]


_BY_SHEET: dict[str, Callable[[Any, str, Written], None]] = {
    "exposures": _settle_exposures,
    "letters": _settle_letters,
    "colours": _settle_colours,
    "ignore": _settle_ignored,
}
"""Kinds of questions that a sheet's name alone says the place of -> what an answer does."""
