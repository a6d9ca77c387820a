"""Each source's headings become our columns, or the station is told what to mend.

Judges all sources of a table together, before a single row is read.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from queen_outcomes.base.errors import RecordsError, nearest, shorten
from queen_outcomes.records.header import Names, canonical, tidy


def map_columns(names: Names, headings: Sequence[str], where: str) -> dict[str, int]:
    """Give our column -> the place of the source's heading.

    Parameters
    ----------
    names : Names
        What the table's headings may be called.
    headings : sequence of str
        The source's headings as they stand there.
    where : str
        The source's name.

    Raises
    ------
    RecordsError
        Two headings for one column, or a required column is missing.
    """
    found = names.match(headings)
    for ours, places in found.items():
        if len(places) > 1:
            raise RecordsError(
                f'two headings stand for the column "{ours}"',
                where=where,
                found=", ".join(f'"{tidy(headings[place])}"' for place in places),
                expected="one",
                hint="rename or take out all but one of them",
            )
    lacking = names.missing(found)
    if lacking:
        _refuse_missing(names, lacking[0], headings, set(found), where)
    return {ours: places[0] for ours, places in found.items()}


def _refuse_missing(
    names: Names, column: str, headings: Sequence[str], known: set[str], where: str
) -> None:
    table = names.table
    wanted = " or ".join(table.either) if column in table.either else column
    theirs = next((h for h, ours in names.ours.items() if ours == column), None)
    free = [tidy(h) for h in headings if tidy(h) and not names.match([h])]
    close = nearest(theirs or column, free) or nearest_canonical(column, free)
    if close:
        hint = (
            f'is it the column "{close}"? then write under [columns.{table.name}] '
            f'in station.toml: {column} = "{close}"'
        )
    else:
        hint = (
            f"add the column, or name the station's own heading under "
            f"[columns.{table.name}] in station.toml"
        )
    raise RecordsError(
        f'the required column "{wanted}" is missing',
        where=where,
        found=shorten([tidy(h) for h in headings if tidy(h)], ", ") or "no headings",
        expected=wanted,
        hint=hint,
    )


def nearest_canonical(column: str, headings: Sequence[str]) -> str | None:
    """Give the heading nearest to a column's name, blanks and hyphens aside."""
    written = {canonical(heading): heading for heading in headings}
    close = nearest(column, written)
    return written[close] if close else None


def refuse_absent(
    table: str, columns: Mapping[str, str], headings: Sequence[Sequence[str]]
) -> None:
    """Refuse a heading of the settings that no source of its table has.

    Parameters
    ----------
    table : str
        The table's name.
    columns : mapping
        Our column -> the station's heading, as the settings have it.
    headings : sequence of sequences of str
        The headings of each source of the table.

    Raises
    ------
    RecordsError
        With the nearest heading there is.
    """
    there = {tidy(h).casefold(): tidy(h) for source in headings for h in source}
    there.pop("", None)
    for ours, theirs in columns.items():
        if tidy(theirs).casefold() in there:
            continue
        close = nearest(tidy(theirs), there.values())
        raise RecordsError(
            f'no source of the table "{table}" has the heading "{theirs}"',
            where=f"station.toml [columns.{table}] {ours}",
            found=shorten(list(there.values()), ", ") or "no headings",
            hint=f'did you mean "{close}"?' if close else "mend or take out that line",
        )


def unused_note(names: Names, heading: str, known: set[str], where: str) -> str:
    """Say that a column is not used, and which of ours it resembles."""
    free = [name for name in names.table.names if name not in known]
    close = nearest(canonical(heading), free)
    ask = f'; was "{close}" meant?' if close else ""
    return f'{where}: the column "{heading}" is not used{ask}'
