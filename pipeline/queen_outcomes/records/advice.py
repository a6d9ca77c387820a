"""What a look at the records advises: faults of one kind together, the gravest first.

Each piece of advice says what is wrong, how many records it concerns, where the first of
them stand, and the setting that would mend it, as it must be written. Needs the staged
and the accepted tables, and what `evidence` found in whole columns. It changes nothing.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from queen_outcomes.base import resources
from queen_outcomes.base.errors import shorten
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts.dictionary import DERIVED_LIMITS, TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records import day_headings, remarks, suggested
from queen_outcomes.records.evidence import (
    OpenQuestion,
    UnreadColumn,
    blank_answers,
)
from queen_outcomes.records.findings import FOLDER
from queen_outcomes.records.mapping import SourceMapping
from queen_outcomes.records.unanswered import Unanswered

WEIGHTS = {
    "refused": "no build can be made until this is mended",
    "not_used": "records that are not used until this is mended",
    "unsure": "may be read wrongly: only you can tell",
    "left_out": "cells left out of the analysis; their rows are used",
    "look": "worth a second look; used as it stands",
}
"""How grave a piece of advice is, the gravest first, and the heading of its kind."""
_SEVERITIES = {"quarantined": "not_used", "set_aside": "left_out", "look": "look"}
FIRST = 3
"""Places named of each piece of advice."""
FIRST_IDS = 4
"""Spellings, or ids, named of each."""
APART_DAYS = 200
"""Two days of one queen so far apart are of two seasons: a queen emerges once, and is
inseminated, and again if need be, within some weeks of that."""
GRAFT_DAYS = 12
"""From grafting a larva of a day to emergence: sixteen days after the egg was laid."""
MOST, FEW = 0.8, 0.2
"""Shares of ages that would be usual, and are, where a day is taken for another."""
COPY_SHARE, FEWEST_ROWS = 0.9, 3
FEWEST_AGES = 5
_LAST_NUMBER = re.compile(r"\D(\d+)$")
_TYPED_FOR = str.maketrans("oil", "011")
_MORE = re.compile(r"\s*[(\[]|\s")
MOST_NOTES = 40
"""Remarks named: each of them is one to mend."""
UNSURE = ("same_day_twice",)
"""Of what is used as it stands, what only the station can tell to be right."""
UNREAD_REASONS = {
    "date_unreadable": "not_used",
    "not_a_date": "left_out",
    "not_a_number": "left_out",
    "not_a_known_word": "left_out",
    "unknown_finding": "left_out",
}
"""Reasons told a column at a time, with its evidence, and how grave they are."""
LINKS = {
    "queen_id": (
        "inseminations",
        "accepted",
        ("checks", "exits", "queens", "placements", "co2", "lab"),
    ),
    "colony_id": ("placements", "staged", ("checks",)),
    "semen_batch": ("semen", "accepted", ("inseminations",)),
}
"""An id -> the table in which it must stand, and the tables that lean on it. A check whose
colony stands nowhere is no accepted row, so that its staged row is looked at."""
PEOPLE = {"inseminations": "operator", "checks": "checker"}
_FATES = {
    "spelled": "{n} of queens whose insemination spells the id otherwise",
    "not_inseminated": "{n} of queens without an insemination",
    "quarantined": "{n} in quarantine",
    "before": "{n} from before her insemination",
    "after": "{n} from after she was gone",
    "second": "{n} after an earlier exit of hers",
    "repeated": "{n} that repeat another row",
    "later": "{n} dated after the as-of day",
}


@dataclass(frozen=True)
class Advice:
    """One thing to do, for all records that it concerns."""

    kind: str
    weight: str
    """One of ``WEIGHTS``."""
    says: str
    """What is wrong, in one sentence without its end."""
    count: int
    """Records or cells concerned."""
    places: tuple[str, ...] = ()
    """The first of them, as "source:line"."""
    do: str = ""
    settings: tuple[str, ...] = ()
    """What to write into `station.toml`; one for each answer, where several could be."""
    table: str | None = None
    column: str | None = None
    fails: bool = False
    """Whether `check` ends with 1 while it stands."""

    def as_dict(self) -> dict[str, Any]:
        """Give it as JSON holds it."""
        return asdict(self)


@dataclass(frozen=True)
class Looked:
    """What a look at a station found, before it is grouped.

    Parameters
    ----------
    store : Store
        Holds staged and accepted tables, `sources_read`, `sources`, `repeats`,
        `quarantine`, `listed` and `linked_checks`.
    settings : Settings
    as_of : date
    sources : sequence of SourceMapping
    unread_files : sequence of str
        Files and sheets that nothing reads.
    unread : sequence of UnreadColumn
    questions : sequence of OpenQuestion
    unanswered : sequence of Unanswered
        Questions that the settings leave open.
    states_co2 : bool
        Whether the settings say which CO2 exposures are listed.
    """

    store: Store
    settings: Settings
    as_of: dt.date
    sources: Sequence[SourceMapping]
    unread_files: Sequence[str] = ()
    unread: Sequence[UnreadColumn] = ()
    questions: Sequence[OpenQuestion] = ()
    unanswered: Sequence[Unanswered] = ()
    states_co2: bool = False
    unlinked: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    """Column of ids -> `unlinked_ids`, made once."""
    alike: dict[str, list[tuple[list[str], int, int]]] = field(default_factory=dict)
    """Column of labels -> groups of its spellings, made once."""

    def statement(self, name: str, **given: Any) -> list[dict[str, Any]]:
        """Give the rows of one statement of the room."""
        return self.store.records(
            resources.read("sql", FOLDER, f"{name}.sql"), given or None
        )

    def place(self, ref: int | None) -> tuple[str, ...]:
        """Give where a ref stands; nothing for none."""
        if ref is None:
            return ()
        ((place,),) = self.store.rows(
            "SELECT source || ':' || ref_in_source($ref::BIGINT) FROM sources_read "
            "WHERE source_no = ref_source($ref::BIGINT)",
            {"ref": ref},
        )
        return (place,)

    def places(self, refs: Iterable[int]) -> tuple[str, ...]:
        """Give where the first of some refs stand."""
        return tuple(p for ref in sorted(refs)[:FIRST] for p in self.place(ref))


def gather(looked: Looked) -> list[Advice]:
    """Give all advice, the gravest first; among equals, what concerns most records."""
    found = [piece for part in _PARTS for piece in part(looked)]
    order = list(WEIGHTS)
    return sorted(
        found, key=lambda one: (order.index(one.weight), not one.fails, -one.count)
    )


# --- files


def _unread_files(looked: Looked) -> Iterator[Advice]:
    names = list(looked.unread_files)
    if names:
        yield Advice(
            "not_read",
            "not_used",
            f"{_counted(len(names), 'file or sheet', 'files or sheets')} in records/ "
            "that nothing reads: " + shorten(names, ", "),
            len(names),
            do="`queen-outcomes map` finds out what they hold; if they are no records, "
            "write",
            settings=(suggested.in_records(looked.settings.reading, ignore=names),),
            fails=True,
        )


def _copies(looked: Looked) -> Iterator[Advice]:
    from queen_outcomes.records.map.asked.which_records import looks_copied

    for row in looked.statement("copied_sources", share=COPY_SHARE, fewest=FEWEST_ROWS):
        copy, original = row["source"], row["original"]
        if looks_copied(original) and not looks_copied(copy):
            copy, original = original, copy
        reading = looked.settings.reading
        yield Advice(
            "copy",
            "unsure",
            f"{copy} looks like a copy of {original}: {row['repeated']} of "
            f"{row['rows_read']} rows are the same word for word, and count once",
            row["repeated"],
            looked.place(row["ref"]),
            "if it is, leave it out, so that no row corrected in one of them counts twice",
            (suggested.in_records(reading, ignore=[copy]),),
            row["table"],
        )


# --- cells that cannot be read


def _unread_columns(looked: Looked) -> Iterator[Advice]:
    """Tell unread cells a column at a time; slots of one source that need the same, once."""
    groups: dict[tuple, list[UnreadColumn]] = defaultdict(list)
    for one in _not_told(looked, looked.unread):
        used = one.used
        key = (used.source.name, used.source.table.name, used.name, one.settings)
        groups[key].append(one)
    for (source, table, column, settings), parts in groups.items():
        reasons = _unread_reasons(parts[0])
        weight = min(
            (UNREAD_REASONS[reason] for reason in reasons), key=list(WEIGHTS).index
        )
        contradicts = any(part.contradicts for part in parts)
        headings = dict.fromkeys(f'"{h}"' for part in parts for h in part.used.headings)
        says = f"{source}, {_columns(headings)}: {parts[0].says}"
        if len(parts) > 1:
            unread, filled = (
                sum(getattr(part, name) for part in parts)
                for name in ("unread", "filled")
            )
            says += f" (of all {len(parts)} columns: {unread} of {filled})"
        slots = ", ".join(str(part.used.slot.slot) for part in parts)
        places = looked.store.rows(
            "SELECT source || ':' || line || coalesce('/' || slot, '') FROM ("
            'SELECT source, line, slot, "table", reason, "column" FROM quarantine '
            'UNION ALL SELECT source, line, slot, "table", reason, "column" FROM listed) '
            f'WHERE source = {literal(source)} AND "table" = {literal(table)} '
            f'AND "column" = {literal(column)} AND coalesce(slot, 0) IN ({slots}) '
            f"AND list_contains($reasons, reason) ORDER BY line, slot LIMIT {FIRST}",
            {"reasons": reasons},
        )
        yield Advice(
            "unread_cells",
            "refused" if contradicts else weight,
            says,
            sum(part.unread for part in parts),
            tuple(place for (place,) in places),
            parts[0].correction
            if parts[0].cause == "cells"
            else _WHAT_TO_DO.get(parts[0].cause, ""),
            settings,
            table,
            column,
            fails=contradicts or weight == "not_used",
        )


def _unread_reasons(one: UnreadColumn) -> list[str]:
    column = one.used.column
    if column is None:
        return ["unknown_finding"]
    if column.kind in ("date", "datetime"):
        return ["date_unreadable" if column.required else "not_a_date"]
    is_number = column.kind in ("number", "integer")
    return ["not_a_number" if is_number else "not_a_known_word"]


_WHAT_TO_DO = {
    "about": "correct the cells, or, where such a number counts as it stands, write",
    "empty": "correct the cells, or, where it means that nothing was recorded, write",
    "words": "say what the words mean",
    "scores": "correct the cells, or add what they are to the scores",
    "span": "say which of them, the first where they are minutes and seconds",
}

_QUESTIONS = {
    "date_order": "say which order is right",
    "turned_dates": "see in the file whether those days are right; the first where day "
    "and month changed places, the second where they are right",
    "shares": "say whether 1 stands for all cells (share) or for one in a hundred (%); a "
    "figure with % behind it is per cent either way",
    "scores": "where they are scores of the station's own, say in the column's line of a "
    "[[read]] what each is in per cent, as scores = { 1 = 20, 2 = 40 }, or take the column out "
    "of the settings: a score is no per cent; where they are per cent, write",
    "blanks": 'say whether a blank means "no" or "not looked"',
    "id_dates": "make that column a column of texts in the spreadsheet, and write the "
    "ids again",
}


def _unanswered(looked: Looked) -> Iterator[Advice]:
    """Tell the questions of `map` that are open: a build stops for them."""
    groups: dict[str, list[Unanswered]] = defaultdict(list)
    for one in looked.unanswered:
        groups["word" if one.is_word else one.id].append(one)
    for parts in groups.values():
        one = parts[0]
        yield Advice(
            "open_question",
            "refused",
            shorten([part.found for part in parts], " ").rstrip("."),
            len(parts),
            do=one.how,
            settings=one.settings,
            fails=True,
        )


def _not_told(looked: Looked, shown: Sequence[Any]) -> list[Any]:
    """Leave out what is told with a question of `map`."""
    told = [each for one in looked.unanswered for each in one.shown]
    return [each for each in shown if each not in told]


def _questions(looked: Looked) -> Iterator[Advice]:
    """Tell what columns leave open; the columns of ticks of one sheet together."""
    groups: dict[tuple, list[OpenQuestion]] = defaultdict(list)
    for asked in _not_told(looked, looked.questions):
        alike = "" if asked.kind == "blanks" else (asked.used.name, asked.settings)
        place = asked.used.source.name, asked.used.source.table.name
        groups[(asked.kind, *place, alike)].append(asked)
    for (kind, source, table, _), parts in groups.items():
        used = [part.used for part in parts]
        headings = dict.fromkeys(f'"{h}"' for one in used for h in one.headings)
        settings, says = parts[0].settings, parts[0].says
        if kind == "blanks":
            says += " (the first of them)" if len(parts) > 1 else ""
            settings = blank_answers(parts)
        yield Advice(
            kind,
            "unsure",
            f"{source}, {_columns(headings)}: {says}",
            len(parts),
            do=_QUESTIONS[kind],
            settings=settings,
            table=table,
            column=", ".join(dict.fromkeys(one.name for one in used)),
        )


# --- spellings


def _spellings(looked: Looked) -> Iterator[Advice]:
    """Tell ids that reach no insemination, colony or semen as they are spelled."""
    says, refs, columns, count = [], [], [], 0
    for column, (home, kind, tables) in LINKS.items():
        rows = _unlinked(looked, column, home, kind, tables)
        alike = [row for row in rows if row["label"]]
        if not alike:
            continue
        columns.append(column)
        refs += [row["ref"] for row in alike]
        uses: Counter[str] = Counter()
        for row in alike:
            uses[row["table"]] += row["uses"]
        count += sum(uses.values())
        named = dict.fromkeys(f'"{row["id"]}" is "{row["label"]}"' for row in alike)
        told = ", ".join(list(named)[:FIRST_IDS])
        more = f" and {len(named) - FIRST_IDS} more" if len(named) > FIRST_IDS else ""
        listed = _listed(f"{n} {table}" for table, n in uses.items())
        says.append(
            f"{listed} reach no row of {home} only because {column} is spelled "
            f"otherwise: {told}{more}"
        )
    if says:
        yield Advice(
            "spelled_otherwise",
            "not_used",
            "; ".join(says),
            count,
            looked.places(refs),
            "write them alike, or take spellings for one that differ only in case, "
            "blanks, hyphens, slashes or leading zeros",
            _fold_setting(looked, columns),
            fails=True,
        )


def _fold_setting(looked: Looked, columns: Sequence[str]) -> tuple[str, ...]:
    """Give one line for all columns of ids that need it, whichever of them asks."""
    others = [
        column
        for column, rows in looked.unlinked.items()
        if any(row["label"] for row in rows)
    ]
    if _alike(looked, "graft_batch"):
        others.append("graft_batch")
    reading = looked.settings.reading
    return (suggested.in_records(reading, fold=[*columns, *others]),)


def _unlinked(
    looked: Looked, column: str, home: str, kind: str, tables: Sequence[str]
) -> list[dict[str, Any]]:
    """Give the ids of a column that stand in no row of their home, each table's once."""
    if column in looked.unlinked:
        return looked.unlinked[column]
    store, name = looked.store, quote(column)
    ((kept,),) = store.rows(f"SELECT count(*) FROM accepted_{home}")
    rows: list[dict[str, Any]] = []
    if kept:
        alone = "AND queen_id IS NULL" if column == "colony_id" else ""
        uses = " UNION ALL ".join(
            f'SELECT {name} AS id, {literal(table)} AS "table", min(ref) AS ref, '
            f"count(*) AS uses FROM {kind}_{table} WHERE {name} IS NOT NULL {alone} "
            "GROUP BY 1"
            for table in tables
        )
        store.execute(f"CREATE OR REPLACE TEMP VIEW id_uses AS {uses}")
        store.execute(
            f"CREATE OR REPLACE TEMP VIEW home_ids AS SELECT {name} AS id, "
            f"min(ref) AS ref FROM accepted_{home} WHERE {name} IS NOT NULL GROUP BY 1"
        )
        rows = looked.statement("unlinked_ids")
    looked.unlinked[column] = rows
    return rows


def _never_inseminated(looked: Looked) -> Iterator[Advice]:
    """Tell records of queens that stand in no insemination in any spelling."""
    rows = _unlinked(looked, "queen_id", *LINKS["queen_id"])
    uses: Counter[str] = Counter()
    for row in rows:
        if not row["label"]:
            uses[row["table"]] += row["uses"]
    if not uses:
        return
    refs = [row["ref"] for row in rows if not row["label"]]
    ids = dict.fromkeys(row["id"] for row in rows if not row["label"])
    listed = _listed(f"{n} {table}" for table, n in uses.items())
    longer, begin = _longer(looked, list(ids)), ""
    if longer:
        named = [f'"{one}" for "{other}"' for one, other in longer.items()]
        begin = (
            f"; {_counted(len(longer), 'id is', 'ids are')} spelled otherwise than at the "
            f"insemination, it seems: {', '.join(named[:FIRST_IDS])}"
        )
    yield Advice(
        "never_inseminated",
        "not_used" if longer else "look",
        f"{listed} name {_counted(len(ids), 'queen', 'queens')} of whom no insemination "
        "is on record: " + shorten([f'"{one}"' for one in ids], ", ") + begin,
        sum(uses.values()),
        looked.places(refs),
        ("write the ids alike; " if longer else "")
        + "add the inseminations or correct the ids; leave queens that were never "
        "inseminated as they are",
        column="queen_id",
        fails=bool(longer),
    )


def _longer(looked: Looked, ids: Sequence[str]) -> dict[str, str]:
    """Give ids that may be an inseminated queen's, written otherwise.

    Those that say less or more ("Q-7" of "Q-7 (blue)"), where a blank or a bracket parts
    what is more; bare numbers without what stands before them ("61" of "S26-061"); and
    letters typed for figures ("S26-O4"). Only where one queen alone is so like.
    """
    homes = [
        one
        for (one,) in looked.store.rows(
            "SELECT DISTINCT queen_id FROM accepted_inseminations ORDER BY queen_id"
        )
    ]
    begins: dict[str, list[str]] = defaultdict(list)
    numbers, figures = defaultdict(list), defaultdict(list)
    for home in homes:
        begins[_beginning(home)].append(home)
        figures[_in_figures(home)].append(home)
        if number := _LAST_NUMBER.search(home):
            numbers[int(number[1])].append(home)
    found = {}
    for one in ids:
        same = begins.get(one) or begins.get(_beginning(one), [])
        if len(same) == 1 and (same[0] == _beginning(one) or one == _beginning(same[0])):
            found[one] = same[0]
            continue
        alike = numbers[int(one)] if one.isdecimal() else figures[_in_figures(one)]
        if len(alike) == 1:
            found[one] = alike[0]
    return found


def _in_figures(label: str) -> str:
    """Write the letters that are typed for figures as these: O for 0, l or I for 1."""
    return label.casefold().translate(_TYPED_FOR)


def _beginning(label: str) -> str:
    return _MORE.split(label, maxsplit=1)[0]


def _people(looked: Looked) -> Iterator[Advice]:
    """Tell operators and checkers that are written in several ways."""
    from queen_outcomes.records.map.asked import labels
    from queen_outcomes.records.map.seen import contents

    counts: Counter[str] = Counter()
    spelled: dict[str, set[str]] = {}
    for table, column in PEOPLE.items():
        rows = looked.store.rows(
            f"SELECT {column}, count(*) FROM staged_{table} "
            f"WHERE {column} IS NOT NULL GROUP BY 1"
        )
        spelled[column] = {name for name, _ in rows}
        counts.update(dict(rows))
    marks = {name for name in counts if contents.is_ditto(name)}
    for mark in marks:
        del counts[mark]
    same = looked.settings.reading.same
    fixed = {name for column in spelled for name in same.get(column, {})}
    groups: dict[str, list[str]] = {}
    for best, others in labels.grouped(counts).items():
        canonical = [name for name in (best, *others) if name in fixed]
        if len(canonical) > 1:
            continue  # the settings name them as two
        kept = canonical[0] if canonical else best
        groups[kept] = [name for name in (best, *others) if name != kept]
    if not groups:
        return
    told = [
        f"{best} ({counts[best]}) = "
        + ", ".join(f"{name} ({counts[name]})" for name in others)
        for best, others in groups.items()
    ]
    by_column = {
        column: own
        for column, names in spelled.items()
        if (
            own := {
                best: [name for name in others if name in names]
                for best, others in groups.items()
                if names & set(others)
            }
        )
    }
    apart = {
        column: {name: [] for best, others in own.items() for name in (best, *others)}
        for column, own in by_column.items()
    }
    reading = looked.settings.reading
    yield Advice(
        "people",
        "unsure",
        f"{_counted(len(groups), 'person is', 'people are')} written in several ways, "
        "it seems: " + shorten(told),
        sum(counts[name] for others in groups.values() for name in others),
        do="the first where each line is one person, the second where each spelling is",
        settings=(suggested.same(reading, by_column), suggested.same(reading, apart)),
        column=", ".join(by_column),
    )


def _labels(looked: Looked) -> Iterator[Advice]:
    """Tell labels of lines, protocols and the like, and graft batches, in several spellings."""
    reading = looked.settings.reading
    for column in _label_columns():
        rows = _alike(looked, column)
        if not rows:
            continue
        fixed = reading.same.get(column, {})
        groups = {}
        for spellings, _, _ in rows:
            kept = next((one for one in spellings if one in fixed), spellings[0])
            groups[kept] = [one for one in spellings if one != kept]
        told = [
            f"{kept} = " + ", ".join(f'"{one}"' for one in others)
            for kept, others in groups.items()
        ]
        settings = (suggested.same(reading, {column: groups}),)
        if column == "graft_batch":
            settings = _fold_setting(looked, [column])
        yield Advice(
            "labels_alike",
            "unsure",
            f"{column} has spellings that differ only in case, blanks, hyphens, slashes or "
            "leading zeros, and count apart: " + shorten(told),
            sum(count for *_, count in rows),
            looked.places([ref for _, ref, _ in rows]),
            "write them alike, or, if they are one",
            settings,
            column=column,
        )


def _label_columns() -> dict[str, list[str]]:
    """Give the columns of labels, and graft_batch, which has no table of its own."""
    holders: dict[str, list[str]] = defaultdict(list)
    for table in TABLES.values():
        for column in table.columns:
            is_label = column.kind == "label" and column.name not in PEOPLE.values()
            if is_label or column.name == "graft_batch":
                holders[column.name].append(table.name)
    return holders


def _alike(looked: Looked, column: str) -> list[tuple[list[str], int, int]]:
    """Give groups of a column's spellings, the commonest first; first ref, and cells."""
    if not looked.alike:
        looked.alike.update(_all_alike(looked.store))
    rows = looked.alike[column]
    # spellings that the settings name as two names are two
    fixed = looked.settings.reading.same.get(column, {})
    return [row for row in rows if sum(one in fixed for one in row[0]) < 2]


def _all_alike(store: Store) -> dict[str, list[tuple[list[str], int, int]]]:
    """Give those groups for every column of labels, in one statement."""
    filled = store.filled(f"staged_{name}" for name in TABLES)
    found: dict[str, list[tuple[list[str], int, int]]] = {}
    uses = []
    for column, tables in _label_columns().items():
        found[column] = []
        uses += [
            f'SELECT {literal(column)} AS "column", {quote(column)} AS id, ref '
            f"FROM staged_{table} WHERE {quote(column)} IS NOT NULL"
            for table in tables
            if f"staged_{table}" in filled
        ]
    if uses:
        for column, *row in store.rows(
            'SELECT "column", list(id ORDER BY uses DESC, ref), min(ref), '
            'sum(uses)::BIGINT FROM (SELECT "column", id, min(ref) AS ref, '
            f'count(*) AS uses FROM ({" UNION ALL ".join(uses)}) GROUP BY "column", id) '
            'GROUP BY "column", fold_id(id) HAVING count(*) > 1 ORDER BY 1, 3'
        ):
            found[column].append(tuple(row))
    return found


def _dittos(looked: Looked) -> Iterator[Advice]:
    """Tell cells that hold just a ditto mark, where no setting says that it is one."""
    from queen_outcomes.records.map.seen.contents import is_ditto

    reading = looked.settings.reading
    marks: Counter[str] = Counter()
    columns: dict[str, None] = {}
    refs = []
    short = r"regexp_full_match(text, '\D{1,8}')"
    filled = looked.store.filled(f"staged_{name}" for name in TABLES)
    for table in TABLES.values():
        if f"staged_{table.name}" not in filled:
            continue
        cells = " UNION ALL ".join(
            f"SELECT {n} AS place, ref, {quote(column.unread or column.name)} AS text "
            f"FROM staged_{table.name}"
            for n, column in enumerate(table.columns)
        )
        rows = looked.store.rows(
            f"SELECT place, text, count(*), min(ref) FROM ({cells}) WHERE {short} "
            "GROUP BY place, text ORDER BY place, min(ref), text"
        )
        for place, text, count, ref in rows:
            if is_ditto(text):
                marks[text] += count
                columns[f"{table.name}.{table.columns[place].name}"] = None
                refs.append(ref)
    if marks:
        told = ", ".join(f"{mark} ({count})" for mark, count in marks.items())
        yield Advice(
            "ditto",
            "unsure",
            f"{_counted(sum(marks.values()), 'cell holds', 'cells hold')} only a mark "
            f'for "as above", read as it stands: {told} in {", ".join(columns)}',
            sum(marks.values()),
            looked.places(refs),
            "if it means the value above",
            (suggested.in_records(reading, ditto=list(marks)),),
        )


# --- days that cannot be hers


def _restarts(looked: Looked) -> Iterator[Advice]:
    """Tell queens' numbers that start again each year, and the prefixes that part them."""
    rows = looked.statement("id_years", apart_days=APART_DAYS)
    if not rows:
        return
    ids = dict.fromkeys(row["queen_id"] for row in rows)
    kinds = Counter(row["kind"] for row in rows)
    first = rows[0]
    settings, mixed = _prefixes(looked)
    do = "if they are other queens each year, put the year before their numbers"
    if mixed:
        do += (
            f"; {', '.join(mixed)} holds records of several years, so divide it by "
            "year first"
        )
    yield Advice(
        "numbers_start_again",
        "not_used" if kinds["emerged"] else "unsure",
        f"{_counted(len(ids), 'queen number stands', 'queen numbers stand')} for queens "
        f"of two years: {shorten(list(ids), ', ')} ({first['queen_id']} {first['kind']} "
        f"on {first['earlier']} and on {first['later']})",
        len(ids),
        looked.places(
            [ref for row in rows[:2] for ref in (row["ref"], row["later_ref"])]
        ),
        do,
        settings,
        column="queen_id",
        # one queen emerges once
        fails=bool(kinds["emerged"]),
    )


def _prefixes(looked: Looked) -> tuple[tuple[str, ...], list[str]]:
    """Give the setting that puts each file's year before its ids, and files of two years."""
    dated = [
        f"SELECT ref, {quote(table.dated.name)}::DATE AS day, {literal(name)} AS "
        f'"table" FROM staged_{name} WHERE queen_id IS NOT NULL'
        for name, table in TABLES.items()
        if "queen_id" in table.names and table.dated.kind != "id"
    ]
    dated.append(
        "SELECT ref, emerged_on AS day, 'queens' AS \"table\" FROM staged_queens"
    )
    view = " UNION ALL ".join(dated)
    looked.store.execute(f"CREATE OR REPLACE TEMP VIEW dated_queens AS {view}")
    years: dict[str, dict[str, Counter[int]]] = defaultdict(
        lambda: defaultdict(Counter)
    )
    for row in looked.statement("queen_sources"):
        if row["year"] is not None:
            years[row["source"]][row["table"]][row["year"]] += row["records"]
    seasons = sorted(
        {
            year
            for tables in years.values()
            for name in ("inseminations", "queens")
            for year in tables.get(name, ())
        }
    )
    sections, mixed = [], []
    for source, tables in years.items():
        if looked.settings.reading.habits_of(source).prefix:
            continue
        year, is_mixed = _year_of(source, tables, seasons)
        if is_mixed:
            mixed.append(source)
        if year:
            reading = looked.settings.reading
            prefix = f"{year % 100:02}-"
            sections.append(suggested.in_file(source, reading, "prefix", prefix))
    return (("\n".join(sections),) if sections and not mixed else ()), mixed


def _year_of(
    source: str, tables: Mapping[str, Counter[int]], seasons: Sequence[int]
) -> tuple[int | None, bool]:
    """Give the year that a source's queens are of, and whether it seems to be several."""
    own = Counter[int]()
    for name in ("inseminations", "queens"):
        own.update(tables.get(name, {}))
    if own:
        return own.most_common(1)[0][0], len(own) > 1
    named = [year for year in seasons if str(year) in source]
    if len(named) == 1:
        return named[0], False
    # checks go on in the next spring, so that the first year is theirs
    known = sorted({year for years in tables.values() for year in years})
    first = known[0] if known else None
    late = sum(n for years in tables.values() for y, n in years.items() if y != first)
    whole = sum(sum(years.values()) for years in tables.values())
    return first, bool(whole) and late > FEW * whole and len(
        set(known) & set(seasons)
    ) > 1


def _grafting(looked: Looked) -> Iterator[Advice]:
    """Tell days of emergence that are rather those of grafting."""
    hard, soft = DERIVED_LIMITS["queen_age_days"]
    usual = looked.settings.limit("derived", "queen_age_days", "soft", soft) or hard
    rows = looked.statement(
        "emergence_ages",
        usual_low=usual.low if usual.low is not None else hard.low,
        usual_high=usual.high if usual.high is not None else hard.high,
        graft_days=GRAFT_DAYS,
    )
    for row in rows:
        queens = row["queens"]
        if queens < FEWEST_AGES or row["usual"] > FEW * queens:
            continue
        if row["usual_later"] < MOST * queens:
            continue
        yield Advice(
            "graft_day",
            "unsure",
            f"emerged_on in {row['source']} may be the day of grafting: only "
            f"{row['usual']} of {queens} queens would be of a usual age at insemination "
            f"(half of them {row['middle']} days or more), and {row['usual_later']} if "
            f"she emerged {GRAFT_DAYS} days later",
            queens,
            looked.place(row["ref"]),
            f"if it is, take emerged_on for {row['source']} out of the settings, or give "
            "the day she left her cell",
            table=row["table"],
            column="emerged_on",
        )


def _co2(looked: Looked) -> Iterator[Advice]:
    """Ask which exposures to CO2 are listed, where few lie at the insemination."""
    if looked.states_co2:
        return
    (row,) = looked.statement("co2_beside")
    if row["listed"] and 2 * row["own"] < row["listed"]:
        reading = looked.settings.reading
        yield Advice(
            "co2",
            "unsure",
            f"only {row['own']} of {row['listed']} inseminations with a CO2 record have "
            f"one at their own time, and {row['unlisted']} have none at all",
            row["rows"],
            looked.place(row["ref"]),
            'say whether every exposure is listed ("every"), or only those beside the '
            'insemination\'s own ("other")',
            tuple(suggested.in_records(reading, co2=one) for one in ("other", "every")),
            "co2",
        )


def _dayless_co2(looked: Looked) -> Iterator[Advice]:
    """Tell exposures of which a row has the minutes and no day."""
    rows = looked.store.rows(
        "SELECT ref FROM accepted_inseminations "
        "WHERE co2_other_minutes IS NOT NULL AND co2_other_at IS NULL ORDER BY ref"
    )
    if rows:
        yield Advice(
            "dayless_co2",
            "unsure",
            f"{_counted(len(rows), 'insemination has', 'inseminations have')} the minutes "
            "of another CO2 exposure and no day of it, so that nobody knows whether it "
            "came before or after",
            len(rows),
            looked.places(ref for (ref,) in rows),
            "name its day as co2_other_at; one that is always the day before is, under "
            '[read.columns], co2_other_at = { from = "the insemination\'s day", days = -1 }',
            table="inseminations",
            column="co2_other_at",
        )


# --- single rows


def _single_rows(looked: Looked) -> Iterator[Advice]:
    """Tell what rows say by themselves, one reason of one column together."""
    told = resources.read("sql", FOLDER, "check_problems.sql")
    groups: dict[tuple, list[dict[str, Any]]] = defaultdict(list)
    for row in looked.store.records(told):
        table = None if row["reason"] == "look_alike" else row["table"]
        if row["reason"] not in UNREAD_REASONS:
            key = (row["severity"], row["reason"], table, row["column"])
            groups[key].append(row)
    for (severity, reason, table, column), rows in groups.items():
        is_alike = reason == "look_alike"
        if is_alike and (
            column == "graft_batch"
            or any(row["label"] for row in looked.unlinked.get(column, ()))
        ):
            continue  # told with the records that find no home, or as a label
        weight = "unsure" if reason in UNSURE else _SEVERITIES[severity]
        first = " ".join((rows[0]["message"] or "").split())
        what = f"{len(rows)} rows" + (f" of {table}" if table else "")
        what += f" ({column})" if column else ""
        says = first if len(rows) == 1 else f"{what}, such as: {first}"
        setting = ()
        if is_alike and column in suggested.FOLDED:
            setting = _fold_setting(looked, [column])
        yield Advice(
            reason,
            weight,
            says.rstrip("."),
            len(rows),
            tuple(f"{row['source']}:{row['line']}" for row in rows[:FIRST]),
            settings=setting,
            table=table,
            column=column or None,
            fails=weight == "not_used",
        )


def _no_reasons(looked: Looked) -> Iterator[Advice]:
    """Tell exits that do not say why: what became of their queens stays undecided."""
    rows = looked.store.rows(
        "SELECT a.ref FROM accepted_exits AS a JOIN staged_exits AS s USING (ref) "
        "WHERE s.reason IS NULL AND s.reason__unread IS NULL ORDER BY a.ref"
    )
    ((every,),) = looked.store.rows("SELECT count(*) FROM accepted_exits")
    if rows:
        yield Advice(
            "no_reason",
            "look",
            f"{len(rows)} of {_counted(every, 'exit', 'exits')} have no reason: they end "
            "what is known of the queen, and say nothing of how she did",
            len(rows),
            looked.places(ref for (ref,) in rows),
            "where a column says why, name it as reason; else leave them as they are",
            table="exits",
            column="reason",
        )


def _telling_notes(looked: Looked) -> Iterator[Advice]:
    """Tell remarks that are a word for how a queen ended, which no column has."""
    dated, dayless = remarks.telling(
        looked.store, looked.sources, looked.settings.reading.words.get("reason", {})
    )
    for told, kind, says, do in (
        (
            dated,
            "telling_notes",
            "{n} may say how a queen ended, which no exit of hers does: {notes}; remarks are "
            "not read",
            "if so, write it into exits as her reason, on that day, or have remarks that hold "
            "the day read (`apart` under [files]); what is only a sign at a check (drone brood) "
            "into its column there",
        ),
        (
            dayless,
            "dayless_fates",
            "{n} may say how a queen ended, and no day of it, so that none can be an exit: "
            "{notes}{queens}",
            'if so, write the day beside the word ("sold 9.7."), or write it into exits; where '
            "it was seen at a look, that is the day of the look. What is only a sign at a check "
            "(drone brood) belongs into its column there",
        ),
    ):
        if told.notes:
            queens = shorten(told.queens, ", ")
            count = told.notes.total()
            yield Advice(
                kind,
                "unsure",
                says.format(
                    n=_counted(count, "remark", "remarks"),
                    notes=_all_but_many(told.listed()),
                    queens=f"; of queens {queens}" if queens else "",
                ),
                count,
                looked.places(told.queen_of),
                do,
                table="exits",
                column="reason",
            )


def _all_but_many(notes: list[str]) -> str:
    """Name remarks one by one: each is one to mend."""
    rest = len(notes) - MOST_NOTES
    return ", ".join([*notes[:MOST_NOTES], *([f"and {rest} more"] if rest > 0 else [])])


def _days_over_columns(looked: Looked) -> Iterator[Advice]:
    """Tell days over the columns of looks that stand in no order among the others."""
    for source in looked.sources:
        if source.table.name != "checks":
            continue
        for name, day, around in day_headings.astray(source):
            yield Advice(
                "day_of_heading",
                "unsure",
                f'{source.name}, column "{name}": its looks are read as of {day}, and it stands '
                f"{around}",
                1,
                do="if they are of another day, correct the heading, or its `day` in the "
                "[[read]]; if not, put the slots of `each` there in the order of their days",
                table=source.table.name,
                column="checked_on",
            )


_PARTS: tuple[Callable[[Looked], Iterable[Advice]], ...] = (
    _unanswered,
    _unread_files,
    _unread_columns,
    _spellings,
    _restarts,
    _questions,
    _dittos,
    _people,
    _labels,
    _copies,
    _grafting,
    _co2,
    _dayless_co2,
    _no_reasons,
    _days_over_columns,
    _telling_notes,
    _single_rows,
    _never_inseminated,
)


# --- the last sentence


def counted(looked: Looked) -> dict[str, dict[str, int]]:
    """Count the queens, checks and exits that count, and of the rest why they do not."""
    rows = _unlinked(looked, "queen_id", *LINKS["queen_id"])
    spelled = sorted({row["id"] for row in rows if row["label"]})
    fates: dict[str, dict[str, int]] = {"queens": {}, "checks": {}, "exits": {}}
    for row in looked.statement("counted_records", as_of=looked.as_of, spelled=spelled):
        fates[row["kind"]][row["fate"]] = row["records"]
    return fates


def closing(fates: Mapping[str, Mapping[str, int]]) -> str:
    """Say in one sentence how many queens, checks and exits will count, and why not all."""
    if not any(fates.values()):
        return "Nothing is recorded yet: fill in the inseminations and the checks."
    will = _listed(
        _counted(each.get("counts", 0), kind[:-1], kind) for kind, each in fates.items()
    )
    reasons = [
        f"{kind}: " + ", ".join(_FATES[fate].format(n=n) for fate, n in not_counted)
        for kind, each in fates.items()
        if (not_counted := [(f, each[f]) for f in _FATES if f in each])
    ]
    if not reasons:
        return f"{will} will count, which is all there are."
    rest = _listed(
        _counted(n, kind[:-1], kind)
        for kind, each in fates.items()
        if (n := sum(each.values()) - each.get("counts", 0))
    )
    return f"{will} will count, and {rest} will not ({'; '.join(reasons)})."


def _columns(headings: Collection[str]) -> str:
    return f"column{'s' if len(headings) > 1 else ''} {', '.join(headings)}"


def _counted(number: int, one: str, several: str) -> str:
    return f"{number} {one if number == 1 else several}"


def _listed(parts: Iterable[str]) -> str:
    *most, last = parts
    return f"{', '.join(most)} and {last}" if most else last
