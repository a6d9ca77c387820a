"""Several spellings of one name made one, where the settings say so.

A file's prefix goes before its ids; [records] same gives a name for its other
spellings; [records] fold takes ids for one that differ only in case, blanks, hyphens, slashes or
leading zeros. Two queens that were both inseminated under their own spelling stay two.
"""

from __future__ import annotations

import re

from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts.column import Table
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import Reading
from queen_outcomes.records import findings
from queen_outcomes.records.cells import folded, listed

HOMES = {
    "queen_id": ("inseminations", "inseminations"),
    "semen_batch": ("inseminations", "semen"),
    "graft_batch": ("inseminations", ""),
    "colony_id": ("placements", ""),
}
"""Column -> the table whose spelling is the label, and the one in which two spellings are
two things; empty: nowhere."""


def respelled(table: Table, source: str, reading: Reading) -> dict[str, str]:
    """Give SQL that spells the columns of a source's rows as the settings say.

    Parameters
    ----------
    table : Table
    source : str
        The source's name.
    reading : Reading

    Returns
    -------
    dict of str to str
        Our column -> SQL of its value; only where it differs from what was read.
    """
    values = {}
    prefixes = reading.habits_of(source).prefix or {}
    for name in table.names:
        cell = quote(name)
        value = cell
        if name in prefixes:
            value = _prefixed(prefixes[name], cell)
        if name in reading.same:
            key = rf"lower(regexp_replace(trim({value}), '\s+', ' ', 'g'))"
            cases = " ".join(
                f"WHEN {key} IN ({listed(_spellings(one, others))}) THEN {literal(one)}"
                for one, others in reading.same[name].items()
            )
            value = f"CASE {cases} ELSE {value} END"
        if value != cell:
            values[name] = value
    return values


_BETWEEN = r"[\s\-‐-―]+"
"""Signs by which spellings of an id may differ."""


def _prefixed(prefix: str, cell: str) -> str:
    """Give SQL of an id with its prefix, which it may have already, in whatever spelling.

    "Q" is not put before "q-12", nor "25-" before "25-12"; a prefix that ends in a figure is
    put before every id, since nobody can tell it from the figures behind it. "E-{}-26" has a
    place for the id, and what it lacks stands on both sides.
    """
    if "{}" in prefix:
        return _surrounded(*prefix.split("{}"), cell)
    put = f"{literal(prefix)} || {cell}"
    plain = re.sub(_BETWEEN, "", prefix).lower()
    if not plain or prefix[-1:].isdigit():
        return put
    if plain[-1].isalpha():
        bare = rf"lower(regexp_replace({cell}, '{_BETWEEN}', '', 'g'))"
        has = f"regexp_matches({bare}, {literal(f'^{re.escape(plain)}[0-9]')})"
    else:
        has = f"starts_with(lower({cell}), {literal(prefix.lower())})"
    return f"CASE WHEN {has} THEN {cell} ELSE {put} END"


def _surrounded(before: str, after: str, cell: str) -> str:
    """Give SQL of an id with what stands before and after its number, but for one that has it."""
    ends = (re.escape(re.sub(_BETWEEN, "", text).lower()) for text in (before, after))
    bare = rf"lower(regexp_replace({cell}, '{_BETWEEN}', '', 'g'))"
    has = f"regexp_matches({bare}, {literal('^{}[0-9]+{}$'.format(*ends))})"
    return f"CASE WHEN {has} THEN {cell} ELSE {literal(before)} || {cell} || {literal(after)} END"


def _spellings(one: str, others: tuple[str, ...]) -> set[str]:
    return folded(" ".join(text.split()) for text in (one, *others))


def fold(store: Store, reading: Reading) -> None:
    """Take the spellings of ids for one in the staged tables, and tell of each.

    Parameters
    ----------
    store : Store
        Holds the staged tables, which are changed, and `findings`, which is added to.
    reading : Reading
        Its ``fold`` names the columns.
    """
    for column in reading.fold:
        _fold(store, column)


def _fold(store: Store, column: str) -> None:
    holders = [t.name for t in TABLES.values() if column in t.names]
    home, guarded = HOMES[column]
    name = quote(column)
    uses = " UNION ALL ".join(
        f'SELECT {name} AS id, {literal(table)} AS "table", min(ref) AS ref, '
        f"count(*) AS uses FROM staged_{table} WHERE {name} IS NOT NULL GROUP BY 1"
        for table in holders
    )
    store.execute(f"CREATE OR REPLACE TEMP VIEW id_uses AS {uses}")
    store.step(findings.FOLDER, "folded_ids", {"home": home, "guarded": guarded})
    for table in holders:
        findings.add(
            store,
            "spelling_folded",
            table,
            f'folded_ids WHERE "table" = {literal(table)} AND label IS NOT NULL',
            column=column,
            value="id",
            parts={"label": "label", "rows": "CAST(uses AS VARCHAR)"},
        )
        findings.add(
            store,
            "spelling_unsure",
            table,
            f'folded_ids WHERE "table" = {literal(table)} AND label IS NULL',
            column=column,
            value="id",
            parts={"others": "others"},
        )
        store.execute(
            f"UPDATE staged_{table} SET {name} = f.label FROM folded_ids AS f "
            f"WHERE f.id = staged_{table}.{name} AND f.label IS NOT NULL"
        )
    store.drop("folded_ids")
