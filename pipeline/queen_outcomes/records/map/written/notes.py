"""What is told beside the settings: what was not done, and what stays unread."""

from __future__ import annotations

from collections.abc import Container

from queen_outcomes.base.errors import shorten
from queen_outcomes.records import apart, suggested
from queen_outcomes.records.map.asked import figures
from queen_outcomes.records.map.asked.proposal import Proposal
from queen_outcomes.records.map.seen import deeds
from queen_outcomes.records.map.seen.sheet import Sheet
from queen_outcomes.records.map.seen.station import Part
from queen_outcomes.records.map.written.rules import no_day
from queen_outcomes.records.map.written.word_lists import by_letters


def undone(part: Part) -> list[str]:
    """Say which words for no stand among days, and are read as not done."""
    return [
        f'{part.source}: "{text}" under "{column.name}" is no day: it was not done'
        for name in part.feed.columns
        for column in part.columns_of(name)
        for text in sorted(no_day(part, name) & set(column.contents.texts), key=by_letters)
    ]


def scores(proposal: Proposal, part: Part) -> list[str]:
    """Say how scores are read, once somebody knows what each of them is in per cent."""
    found = []
    for name in part.feed.columns:
        if proposal.answered("percent", part.source, part.table, name) == figures.SCORE:
            texts = sorted(set(part.texts(name)), key=by_letters)
            scores = ", ".join(f"{suggested.key(text)} = .." for text in texts)
            heading = suggested.toml(part.feed.headings(name)[0])
            found.append(
                f"{part.source}: to have the scores under {heading} read, write what each is "
                f"in per cent under its [read.columns]: {name} = {{ from = {heading}, "
                f"scores = {{ {scores} }} }}"
            )
    return found


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


def unread(
    proposal: Proposal, left_out: Container[str], wanted: Container[str] | None
) -> list[str]:
    """Say which columns with text stay unread."""
    notes: list[str] = []
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
        notes += [note for part in parts for note in _unread_of_table(part)]
        notes += _without_rule(proposal, sheet, parts)
        left = [
            c.name for c in sheet.columns if c.name not in used and c.contents.filled
        ]
        unnamed = len(sheet.void_lines) - len(sheet.void)
        if unnamed:
            lines = ", ".join(map(str, sheet.void_lines))
            notes.append(
                f"{sheet.source}: rows call themselves void ({lines}), and no pattern "
                "names them: they are read unless they are taken out of the sheet"
            )
        if left:
            names = [f'"{name}"' for name in left if name]
            unnamed = len(left) - len(names)
            names += [f"columns without a heading ({unnamed})"] if unnamed else []
            notes.append(f"{sheet.source}: not read: {shorten(names, ', ')}")
        apart_in = {
            c.name: parts
            for c in sheet.columns
            if c.name in left and (parts := apart.parts_in(c.contents.texts))
        }
        if apart_in:
            notes.append(
                f"{sheet.source}: cells of a day and words stand there; to read them, write "
                f"apart = {suggested.toml(apart_in)} into its [files] section, and a [[read]] "
                f"of their headings, such as "
                + ", ".join(f'"{n}"' for n in apart.names(*next(iter(apart_in.items())))[:2])
            )
    return notes
