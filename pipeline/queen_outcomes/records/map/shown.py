"""Rows as a mapping will have them read, for showing before anything is written.

A plain second reading of a few rows by the answers there are. The records themselves
are read by the reader alone; this is for the eyes of whoever answers the questions.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from queen_outcomes.facts.column import UNITS
from queen_outcomes.records.map import labels
from queen_outcomes.records.map.contents import (
    clock_of,
    day_of,
    is_ditto,
    is_tick,
    number_of,
    ticked_by,
    yes_or_no,
)
from queen_outcomes.records.map.fits import FINDINGS, MAIN_DATE, PERSON, ours_of
from queen_outcomes.records.map.opened import Cell
from queen_outcomes.records.map.proposal import Proposal, Written
from queen_outcomes.records.map.station import Part

ROWS = 5
ShownRow = dict[str, str]


def rows(proposal: Proposal, written: Written, part: Part) -> Iterator[ShownRow]:
    """Read the rows of one rule.

    Parameters
    ----------
    proposal : Proposal
    written : Written
        The mapping of the proposal with the answers there are.
    part : Part

    Yields
    ------
    dict
        Our column -> text in our own form; a cell that cannot be read keeps its text
        with a question mark before it. Empty slots are left out.
    """
    yield from _Reading(proposal, written, part).rows()


class _Reading:
    """One rule's reading: the station's, the file's and the column's settings together."""

    def __init__(self, proposal: Proposal, written: Written, part: Part) -> None:
        self.part = part
        self.written = written
        self.rule = next(
            r
            for r in written.rules
            if r.table == part.table
            and part.source in r.sources
            and set(r.columns)
            >= set(part.feed.slots and next(iter(part.feed.slots.values())))
        )
        self.habits = written.files.get(part.source, {})
        self.orders = proposal.orders.by_column
        self.folded = _folds(proposal, written)
        self.people = {
            spelling: name
            for groups in written.records.get("same", {}).values()
            for name, others in groups.items()
            for spelling in others
        }
        self.at = {column.name: column.at for column in part.sheet.columns}
        self.above: dict[int, Cell] = {}

    def rows(self) -> Iterator[ShownRow]:
        """Read row by row, slot by slot."""
        sheet, feed = self.part.sheet, self.part.feed
        for row in sheet.rows:
            kept = {}
            for column in sheet.columns:
                cell = row.cells[column.at] if column.at < len(row.cells) else Cell()
                if is_ditto(cell.text):
                    cell = self.above.get(column.at, Cell())
                self.above[column.at] = cell
                kept[column.name] = cell
            for slot in feed.slots or {"": {}}:
                read = self._row(kept, slot)
                if self._holds(read):
                    yield read

    def _holds(self, read: ShownRow) -> bool:
        names = {"queen_id", "colony_id", "semen_batch"}
        if not self.part.feed.slots and len(self.part.feed.columns) <= 1:
            return bool(read)
        fixed = names if self.part.table != "semen" else set()
        if self.part.feed.days:
            fixed = fixed | {MAIN_DATE[self.part.table]}
        return bool(set(read) - fixed)

    def _row(self, kept: dict[str, Cell], slot: str) -> ShownRow:
        feed = self.part.feed
        read: ShownRow = {}
        ticker = ""
        for name in self.rule.columns:
            headings = (
                [feed.slots[slot][name]]
                if slot in feed.slots and name in feed.slots[slot]
                else feed.uses[name].names
                if name in feed.uses
                else []
            )
            spec = self.rule.columns[name]
            extra = spec if isinstance(spec, dict) else {}
            if not headings and isinstance(extra.get("from"), str):
                headings = [extra["from"]]
            if not headings:
                continue
            cells = [kept.get(heading, Cell()) for heading in headings]
            read.update(self._cell(name, cells, extra))
            ticker = ticker or ticked_by(cells[0].text)
        if feed.days:
            day = day_of(feed.days[slot].split(" (")[0])
            found = day.on(self.habits.get("dates", "dmy")) if day else None
            read[MAIN_DATE[self.part.table]] = str(found)
        date = read.get(MAIN_DATE[self.part.table])
        for name in self.rule.columns:
            spec = self.rule.columns[name]
            says_no = isinstance(spec, dict) and spec.get("blank") == "no"
            if says_no and (date or self.part.table == "queens"):
                read.setdefault(name, "no")
        if ticker and self.part.table == "checks" and "checker" not in read:
            read["checker"] = self.people.get(ticker, ticker)
        return {name: value for name, value in read.items() if value}

    def _cell(self, name: str, cells: list[Cell], extra: dict[str, Any]) -> ShownRow:
        text = cells[0].text
        kind = ours_of(self.part.table, name).kind
        if not text or (kind not in ("text", "label", "word") and self._empty(text)):
            return {}
        if name == FINDINGS:
            meant = self._words(FINDINGS, extra).get(text.casefold())
            return dict(meant) if meant is not None else {FINDINGS: f"?{text}"}
        if kind == "word":
            return self._word(name, text)
        if kind in ("date", "datetime", "number", "integer", "yes_no"):
            if kind == "yes_no":
                value = self._yes_no(text, extra)
            elif kind in ("number", "integer"):
                value = self._number(name, cells[0], extra)
            else:
                value = self._moment(name, cells)
            return {name: value or f"?{text}"}
        return {name: self._label(name, kind, text)}

    def _empty(self, text: str) -> bool:
        listed = self.written.words.get("empty", [])
        return text.casefold() in {word.casefold() for word in listed}

    def _words(self, column: str, extra: dict[str, Any]) -> dict[str, Any]:
        section = extra.get("words") or self.written.words.get(column, {})
        return {text.casefold(): meant for text, meant in section.items()}

    def _moment(self, name: str, cells: list[Cell]) -> str:
        text = cells[0].text
        if cells[0].kind == "date":
            day, time = dt.date.fromisoformat(text[:10]), text[11:16]
        else:
            place = (self.part.source, self.part.table, name)
            seen = day_of(text)
            day = (
                seen.on(self.orders.get(place) or self.habits.get("dates", ""))
                if seen
                else None
            )
            if day and seen and seen.yearless:
                day = day.replace(year=self.habits.get("year", day.year))
            time = text.partition(" ")[2] if clock_of(text.partition(" ")[2]) else ""
        if day is None:
            return ""
        for cell in cells[1:]:
            clock = clock_of(cell.text)
            time = clock.isoformat("minutes") if clock else time
        return f"{day.isoformat()}T{time}" if time else day.isoformat()

    def _number(self, name: str, cell: Cell, extra: dict[str, Any]) -> str:
        number = number_of(cell.text)
        if number is None:
            return ""
        ours = ours_of(self.part.table, name)
        unit = number.unit or extra.get("unit", "")
        unit = "fraction" if unit == "share" else unit
        factor, offset = UNITS.get(ours.unit, {}).get(unit, (1, 0))
        return f"{round(number.value * factor + offset, 6):g}"

    def _yes_no(self, text: str, extra: dict[str, Any]) -> str:
        if is_tick(text):
            return yes_or_no(text) or ""
        words = extra.get("words") or self.written.words
        for ours in ("yes", "no"):
            if text.casefold() in {t.casefold() for t in words.get(ours, [])}:
                return ours
        said = {"yes": "yes", "y": "yes", "true": "yes", "1": "yes"}.get(
            text.casefold()
        )
        return said or ("no" if text.casefold() in ("no", "n", "false", "0") else "")

    def _word(self, name: str, text: str) -> ShownRow:
        ours = ours_of(self.part.table, name).words
        for word, theirs in self.written.words.get(name, {}).items():
            if text.casefold() in {t.casefold() for t in theirs}:
                return {name: word}
        if text.casefold() in ours:
            return {name: text.casefold()}
        return {} if self._empty(text) else {name: f"?{text}"}

    def _label(self, name: str, kind: str, text: str) -> str:
        if name in PERSON.values():
            return self.people.get(text, text)
        if name == "queen_id":
            text = self.habits.get("prefix", "") + text
        if kind == "id" and name in self.written.records.get("fold", ()):
            return self.folded.get(name, {}).get(labels.key_of(text), text)
        return text


def _folds(proposal: Proposal, written: Written) -> dict[str, dict[str, str]]:
    """Give for each folded label column key -> the label that counts."""
    found: dict[str, dict[str, str]] = {}
    for column in written.records.get("fold", ()):
        home = labels.FOLDED.get(column, ("inseminations",))[0]
        keys = found.setdefault(column, {})
        for part in proposal.station.of(home):
            if column in part.feed.columns:
                for text in part.texts(column):
                    keys.setdefault(labels.key_of(text), text)
    return found


def sample(proposal: Proposal, written: Written) -> dict[str, list[ShownRow]]:
    """Give the first rows of each table, as they will be read."""
    shown: dict[str, list[ShownRow]] = {}
    sources = {(r.table, source) for r in written.rules for source in r.sources}
    for part in proposal.station.parts:
        if (part.table, part.source) not in sources:
            continue
        have = shown.setdefault(part.table, [])
        for row in rows(proposal, written, part):
            if len(have) >= ROWS:
                break
            have.append(row)
    return shown
