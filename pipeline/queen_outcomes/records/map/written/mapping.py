"""The whole mapping: sheets, answers and words become rules and files' habits.

Everything here is plain values in the shape of `station.toml`; `station_toml.py` puts them
into the file.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import BELOW
from queen_outcomes.records.map.asked import labels, next_placements, ticks_and_marks
from queen_outcomes.records.map.asked.proposal import Proposal
from queen_outcomes.records.map.asked.questions import NO, YES
from queen_outcomes.records.map.seen.fits import MAIN_DATE, PERSON, ours_of
from queen_outcomes.records.map.seen.station import Part
from queen_outcomes.records.map.written import habits, notes, rules, word_lists
from queen_outcomes.records.map.written.patterns import escaped
from queen_outcomes.records.map.written.rules import NewRule


@dataclass
class Written:
    """What is to be written.

    Parameters
    ----------
    rules : list of NewRule
    files : dict of source to its habits
    records : dict
        ``ignore``, ``fold``, ``same``, ``ditto``, ``co2``, ``next_placement``.
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
    found.words, per_word = word_lists.sections(proposal, wanted)
    for part in proposal.station.parts:
        if part.source in left_out or (
            wanted is not None and part.source not in wanted
        ):
            continue
        if _is_no_list(proposal, part) or _lacks_its_place(proposal, part):
            continue
        found.notes += [*notes.undone(part), *notes.scores(proposal, part)]
        rule = rules.made(proposal, part, per_word)
        others = (*rules.exposures(proposal, part), *rules.exits_in_remarks(proposal, part, rule))
        for one in (rule, rules.exits_at_looks(proposal, part, rule, found.notes), *others):
            if one:
                rules.add(found.rules, one)
        whole = part.sheet.whole or part.sheet
        found.files.setdefault(part.source, habits.of_sheet(proposal, whole))
    for sheet in proposal.station.sheets:
        tables = {f"{sheet.source}{BELOW}{text}" for text in sheet.grid.tables_below}
        if tables and (wanted is None or wanted & {sheet.source, *tables}):
            own = found.files.setdefault(sheet.source, {})
            own["tables_below"] = list(sheet.grid.tables_below)
    found.files = {source: own for source, own in found.files.items() if own}
    found.notes += notes.unread(proposal, left_out, wanted)
    return found


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
    if any(rules.is_left(proposal, part, name) for name in labels):
        return True
    day = MAIN_DATE[part.table]
    others = len(proposal.station.parts_of(part.source)) > 1
    return others and ours_of(part.table, day).required and rules.is_left(proposal, part, day)


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
    if proposal.answered(next_placements.KIND, "*", "placements", "colony_id") == YES:
        records[next_placements.KIND] = "ends"
    co2 = proposal.answered("co2", "*", "co2", "given_at")
    told = any(isinstance(q.answer, dict) for q in proposal.questions if q.kind == "exposures")
    if told and not proposal.station.of("co2"):
        records["co2"] = "every"  # what was not recorded is then none, and not one alone
    if proposal.station.of("co2"):
        asked = proposal.question("co2", "*", "co2", "given_at")
        records["co2"] = co2 or ("every" if asked is None else None)
        if records["co2"] is None:
            del records["co2"]
