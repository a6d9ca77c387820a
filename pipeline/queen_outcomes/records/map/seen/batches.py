"""What a bare "batch", "lot" or "parti" counts: loads of semen, or queens grafted together.

The word says neither. What else the sheet names decides, or the labels of the station's other
sheets; what is then left open is asked, with what the days of each batch speak for.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache

from queen_outcomes.records.map.seen.contents import MOST, Contents, is_ditto
from queen_outcomes.records.map.seen.fits import PARTLY, can_hold, fit
from queen_outcomes.records.map.seen.headings import Heading, heading
from queen_outcomes.records.map.seen.sheet import Either, Sheet, SheetColumn
from queen_outcomes.records.map.seen.words import fold, tokens, vocabulary

LOAD, GRAFT = "semen_batch", "graft_batch"
KINDS = (LOAD, GRAFT)
_SURE = 0.6
_ALIKE = 0.5
"""Such a share of labels that stand under a clear heading elsewhere tells what they label."""
_SERIES = frozenset(["series", "serie", "seria", "serija", "serien"])
"""What alone is one of queens in every language, whatever stands beside it."""
_OF_LOADS = frozenset(
    (
        *("collected_at", "drones_handled", "drones_yielding", "storage_c", "diluent"),
        *("motility_pct", "viability_pct"),
    )
)
_LEAST_TOLD = 2
"""What is told of loads of semen; one of them alone may stand beside a batch of queens too."""


def is_bare(said: Heading) -> bool:
    """Tell whether a heading says batch or lot, and not of what."""
    named = said.of("column")
    if not named or not named <= set(KINDS) or said.unknown:
        return False
    words = [word for word in tokens(said.name) if len(word) > 1 and not word.isdigit()]
    others = [word for word in words if word not in _bare_words()]
    beside = {label for word in others for label in vocabulary().labels.get(word, {"?"})}
    return len(others) < len(words) and beside <= {"part:number", "part:filler"}


@cache
def _bare_words() -> frozenset[str]:
    """Give the words that name both kinds of batch, alone or beside what they are of.

    "lot" is a load of semen alone, and one of queens in "lot de greffage".
    """
    of: dict[str, set[str]] = {}
    for kind in KINDS:
        phrases = [p for p, labels in vocabulary().labels.items() if f"column:{kind}" in labels]
        alone = {phrase for phrase in phrases if " " not in phrase}
        of[kind] = alone | {word for phrase in phrases for word in phrase.split()}
    single = {p for p, labels in vocabulary().labels.items() if _names_batch(labels)}
    return frozenset(single & of[LOAD] & of[GRAFT]) - _SERIES


def _names_batch(labels: Iterable[str]) -> bool:
    kinds = {f"column:{kind}" for kind in KINDS}
    return bool(kinds & set(labels)) and set(labels) <= kinds


def settle(sheets: Sequence[Sheet]) -> None:
    """Say in each sheet with queens what its bare batches count, and what is to be asked."""
    known = {kind: _labels(sheets, kind) for kind in KINDS}
    for sheet in sheets:
        bare = [c for c in sheet.columns if c.contents.filled and _was_bare(sheet, c)]
        if len(bare) != 1 or not _has_queens(sheet):
            continue
        column = bare[0]
        if column.name in sheet.chosen:
            sheet.either[column.name] = Either(KINDS)
            continue
        kind = _told_beside(sheet, column) or _told_elsewhere(column.contents, known)
        if not kind:
            kind, why = _told_by_days(sheet, column)
            sheet.either[column.name] = Either(KINDS, kind, why)
        _name(sheet, column, kind)


def _was_bare(sheet: Sheet, column: SheetColumn) -> bool:
    """Tell whether a heading says batch and not of what, but for what was answered of it."""
    return is_bare(heading(column.name) if column.name in sheet.chosen else column.heading)


def _name(sheet: Sheet, column: SheetColumn, kind: str) -> None:
    """Give a heading the meaning that it was found to have; as it is where none was."""
    if kind:
        said = replace(column.heading, phrases=(frozenset([f"column:{kind}"]),))
        sheet.columns[sheet.columns.index(column)] = replace(column, heading=said)


def _has_queens(sheet: Sheet) -> bool:
    return any(fit(column, "inseminations", "queen_id") >= _SURE for column in sheet.columns)


def _is_clearly(column: SheetColumn, kind: str) -> bool:
    """Tell whether a column is one kind of batch by a heading that says of what."""
    named = kind in column.heading.of("column") and not is_bare(column.heading)
    table = "inseminations" if kind == LOAD else "queens"
    return named and column.contents.filled > 0 and fit(column, table, kind) >= _SURE


def _told_beside(sheet: Sheet, column: SheetColumn) -> str:
    """Tell what a batch is by the other headings of its sheet; empty where they do not say."""
    others = [c for c in sheet.columns if c is not column]
    clear = {kind for kind in KINDS if any(_is_clearly(c, kind) for c in others)}
    if len(clear) == 1:
        return GRAFT if LOAD in clear else LOAD
    of_loads = sum(bool(c.heading.of("column") & _OF_LOADS) for c in others)
    return LOAD if of_loads >= _LEAST_TOLD and not clear else ""


def _labels(sheets: Iterable[Sheet], kind: str) -> frozenset[str]:
    """Give the labels of a kind of batch in all sheets; numbers alone are anything's."""
    texts = {
        text
        for sheet in sheets
        for column in sheet.columns
        if _is_clearly(column, kind)
        or (kind == LOAD and is_bare(column.heading) and not _has_queens(sheet))
        for text in column.contents.texts
    }
    return frozenset(fold(text) for text in texts if any(map(str.isalpha, text)))


def _told_elsewhere(held: Contents, known: dict[str, frozenset[str]]) -> str:
    alike = [
        kind
        for kind, labels in known.items()
        if held.share(fold(text) in labels for text in held.texts) >= _ALIKE
    ]
    return alike[0] if len(alike) == 1 and can_hold("id", alike[0], held) else ""


def _told_by_days(sheet: Sheet, column: SheetColumn) -> tuple[str, tuple[str, ...]]:
    """Tell what the days of each batch speak for, and say so.

    Queens grafted together emerge on one day; those of one load are inseminated on one.
    """
    born = _of_one_day(sheet, column, {"column:emerged_on", "column:grafted_on"})
    done = _of_one_day(sheet, column, {"column:inseminated_at", "topic:inseminations"})
    why = []
    if born is not None:
        why.append(f"the queens of each emerged on {'one day' if born else 'several days'}")
    if done is not None:
        why.append(f"they were inseminated on {'one day' if done else 'several days'}")
    kind = "" if born == done else GRAFT if born else LOAD if done else ""
    return kind, tuple(why)


def _of_one_day(sheet: Sheet, column: SheetColumn, named: set[str]) -> bool | None:
    """Tell whether nearly all rows of each batch have one day; None where nothing shows it."""
    dated = (c for c in sheet.columns if c.contents.day_share >= PARTLY)
    days = next((c for c in dated if c.heading.labels & named), None)
    if days is None:
        return None
    groups: dict[str, Counter[str]] = defaultdict(Counter)
    for batch, day in zip(down(column.contents), down(days.contents), strict=True):
        if batch and day:
            groups[fold(batch)][_day(days.contents, day)] += 1
    several = [days for days in groups.values() if days.total() > 1]
    if len(several) < 2:
        return None
    alike = sum(max(days.values()) for days in several)
    return alike >= MOST * sum(days.total() for days in several)


def down(held: Contents) -> list[str]:
    """Give the text of each row, where marks for "the same" stand or it is written once."""
    texts = [cell.text for cell in held.cells]
    once = 2 * sum(map(bool, texts)) < len(texts)
    found: list[str] = []
    for text in texts:
        above = found[-1] if found else ""
        found.append(above if is_ditto(text) or (once and not text) else text)
    return found


def _day(held: Contents, text: str) -> str:
    """Give a day without its year, which some rows leave out."""
    seen = held.day_of(text)
    return f"{seen.days[0][1]:%m-%d}" if seen else text.casefold()
