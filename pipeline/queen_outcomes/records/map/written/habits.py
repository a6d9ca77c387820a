"""A file's habits, as `[files]` says them: header, encoding, the form of its days, prefixes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from queen_outcomes.records import apart
from queen_outcomes.records.map.asked import (
    again,
    facts_in_lines,
    lines_over_rows,
    written_once,
)
from queen_outcomes.records.map.asked.proposal import Proposal
from queen_outcomes.records.map.asked.questions import LEAVE, NO, YES
from queen_outcomes.records.map.seen import deeds
from queen_outcomes.records.map.seen.contents import MOST, number_of
from queen_outcomes.records.map.seen.fits import MAIN_DATE, is_year, ours_of
from queen_outcomes.records.map.seen.sheet import Sheet
from queen_outcomes.records.map.seen.station import Part
from queen_outcomes.records.map.written.patterns import escaped, pass_over


def of_sheet(proposal: Proposal, sheet: Sheet) -> dict[str, Any]:
    """Give what `[files]` says of a sheet: its header, its encoding, the form of its days ..."""
    source = sheet.source
    habits: dict[str, Any] = {}
    first = next((row.line for row in sheet.grid.rows if row.filled), None)
    if len(sheet.header) > 1 or (sheet.header and sheet.header[0] != first):
        habits["header"] = sheet.header[0] if len(sheet.header) == 1 else sheet.header
    if sheet.grid.encoding:
        habits["encoding"] = sheet.grid.encoding
    order = proposal.order_of(source)
    if order:
        habits["dates"] = order
    habits |= {"month": month} if (month := proposal.answered("month", source)) else {}
    if year := proposal.orders.year_of(source):
        habits["year"] = year
    if _decimal(proposal.station.parts_of(source)) == ",":
        habits["decimal"] = ","
    prefix = _prefix(proposal, source)
    if prefix:
        habits["prefix"] = prefix
    group = _over_rows(proposal, sheet)
    habits |= _no_records(proposal, sheet, told=bool(group)) | habits
    for kind in ("struck", "hidden"):
        if proposal.answered(kind, source) == LEAVE:
            habits[kind] = "pass over"
    if doubled := proposal.several_of(source):
        habits["several"] = dict.fromkeys(doubled.headings, doubled.most)
    beside = _filled_down(proposal, source) | _of_row_above(proposal, source)
    return _taken_apart(proposal, source) | habits | group | beside


def _over_rows(proposal: Proposal, sheet: Sheet) -> dict[str, Any]:
    """Give the column that lines over rows tell of them, and how such lines begin."""
    column = proposal.answered(lines_over_rows.KIND, sheet.source)
    if column not in lines_over_rows.COLUMNS:
        return {}
    return {"group": column, "group_rows": [lines_over_rows.pattern(lines_over_rows.lines(sheet))]}


def _no_records(proposal: Proposal, sheet: Sheet, *, told: bool) -> dict[str, Any]:
    """Say which rows are no records, and what those say that stand between the records.

    ``told``: they give all that they say to one column.
    """
    source = sheet.source
    said = proposal.answered(facts_in_lines.KIND, source)
    lines = next((one for one in proposal.grouped if one.part.source == source and said != NO), None)
    rows = lines.rows if lines else lines_over_rows.lines(sheet) if told else ()
    over = pass_over(sheet, [row.line for row in rows])
    over += map(escaped, sheet.void) if proposal.answered("void", source) == LEAVE else ()
    none = deeds.no_record(sheet, proposal.station.given)
    found: dict[str, Any] = {"pass_over": over, "no_record": none}
    if lines and said == YES:
        asked = proposal.question("year", source)  # what nobody has answered is of no year
        found |= {"group": dict(lines.words)} | (facts_in_lines.year(lines, proposal.orders) if not asked else {})
    return {name: value for name, value in found.items() if value}


def _taken_apart(proposal: Proposal, source: str) -> dict[str, Any]:
    """Give the remarks that are taken apart, and the year of their days, if it is one."""
    parted = {one.heading: one.most for one in proposal.told_fates(source)} | _looks_apart(proposal, source)
    years = {y for part in proposal.station.parts_of(source) for y in part.years()}
    asked = proposal.question("year", source)  # what nobody has answered is of no year
    year: dict[str, Any] = {"year": years.pop()} if len(years) == 1 and not asked else {}
    known = proposal.orders.year_of(source)  # a season says it of every day
    if len(years) > 1 and not (asked or known) and (day := _whole_day(proposal, source)):
        year = {"year_of": day}
    return {"apart": parted, **year} if parted else {}


def _whole_day(proposal: Proposal, source: str) -> str:
    """Give the heading of the day that every row of a sheet has, with its year; or nothing."""
    for part in proposal.station.parts_of(source):
        names = part.feed.uses[day].names if (day := MAIN_DATE[part.table]) in part.feed.uses else ()
        held = part.contents(day) if len(names) == 1 and not part.feed.slots else []
        if held and not part.feed.only and held[0].whole_day_share >= MOST:
            return names[0]
    return ""


def _looks_apart(proposal: Proposal, source: str) -> dict[str, int]:
    """Give the headings whose cells hold looks with their days, where a rule reads these."""
    parts = proposal.station.parts_of(source)
    used = {h for part in parts for name in part.feed.columns for h in part.feed.headings(name)}
    return {
        name: most
        for part in parts[:1]
        for name, most in part.sheet.apart.items()
        if used.intersection(apart.names(name, most))
    }


def _of_row_above(proposal: Proposal, source: str) -> dict[str, list[str]]:
    """Give the marks for the value above where words for a further dose are such."""
    for part in proposal.station.parts_of(source):
        if proposal.answered(again.KIND, source, part.table, "queen_id") == YES:
            return {"ditto": again.ditto_of(part)}
    return {}


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
