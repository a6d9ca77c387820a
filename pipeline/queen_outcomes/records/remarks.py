"""Remarks that say how queens ended, where no exit of theirs does.

Remarks are not read: who looks at a station is told of those that would be exits. One
whose day is its own can be taken apart; one without needs its day written.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.records import apart
from queen_outcomes.records.findings import FOLDER
from queen_outcomes.records.mapping import SourceMapping

LONGEST_WORD = 40
"""A phrase of more signs is a sentence, of which a word of it says little."""
TOLD = ("dead", "missing", "superseded", "drone_layer", "swarmed", "sold")
"""Reasons of exits that people write into remarks; a cull is one where somebody did it."""
CULLED = "culled"
"""Of no reason for an exit: somebody did it, and did not say why."""
_PHRASES = re.compile(r"[,;:()\n]|\s[-–]\s")


@dataclass
class FateRemarks:
    """Remarks that may say how a queen ended, each as it is written, with their number."""

    notes: Counter[str] = field(default_factory=Counter)
    queen_of: dict[int, str | None] = field(default_factory=dict)
    """The ref of its row -> her id."""

    @property
    def queens(self) -> list[str]:
        """Name the queens, in the order of the rows."""
        every = (self.queen_of[ref] for ref in sorted(self.queen_of))
        return list(dict.fromkeys(queen for queen in every if queen is not None))

    def listed(self) -> list[str]:
        """Give each remark with its number, the most frequent first."""
        return [f'"{note}" ({number})' for note, number in self.notes.most_common()]


def fate_in(note: str, own: Mapping[str, str]) -> str | None:
    """Say how a queen ended by a remark, or by one phrase of it; None where none says it.

    Parameters
    ----------
    note : str
    own : mapping of str
        The station's own words for it, in small letters -> ours.
    """
    phrases = [" ".join(phrase.split()) for phrase in (note, *_PHRASES.split(note))]
    said = (
        own.get(phrase.casefold()) or _fate(phrase)
        for phrase in phrases
        if len(phrase) <= LONGEST_WORD
    )
    return next(filter(None, said), None)


def _fate(phrase: str) -> str | None:
    from queen_outcomes.records.map.asked import fates
    from queen_outcomes.records.map.seen import meanings

    means = fates.reason_of(phrase)
    culled = means in ("culled_fault", "culled_other") and meanings.is_culled(phrase)
    if means is None and meanings.is_cull(phrase):
        return CULLED  # why she was, nobody wrote
    return means if means in TOLD or culled else None


def telling(
    store: Store, sources: Iterable[SourceMapping], words: Mapping[str, Iterable[str]]
) -> tuple[FateRemarks, FateRemarks]:
    """Find remarks that may say how a queen ended, which no exit of hers does.

    Parameters
    ----------
    store : Store
        Holds the raw and accepted tables, `passed_over` and `linked_checks`.
    sources : iterable of SourceMapping
    words : mapping of iterable of str
        Reasons of exits -> the station's own words for them.

    Returns
    -------
    dated : FateRemarks
        Those that hold the day of it.
    dayless : FateRemarks
        Those without a day, or with one that is of something else.
    """
    _pass_notes(store, list(sources))
    dated, dayless = FateRemarks(), FateRemarks()
    own = {word.casefold(): reason for reason, theirs in words.items() for word in theirs}
    for row in store.records(resources.read("sql", FOLDER, "telling_notes.sql")):
        note = row["note"].strip()
        parted = apart.around_day(note)
        means = fate_in(" ".join(parted or (note,)), own)
        kept = means in row["exits"] or (means == "drone_layer" and row["drones"])
        kept = kept or bool(means == CULLED and row["exits"])
        if not means or kept:
            continue
        told = dated if parted and _is_dated(note, own) else dayless
        told.notes[note.casefold()] += len(row["refs"])
        told.queen_of.update(zip(row["refs"], row["queens"], strict=True))
    store.drop("passed_notes")
    return dated, dayless


def _is_dated(note: str, own: Mapping[str, str]) -> bool:
    """Tell whether the day in a remark is of how she went."""
    from queen_outcomes.records.map.asked import fates

    return fates.fate_on_day(note) is not None or fates.beside_day(note).casefold() in own


def _pass_notes(store: Store, sources: Sequence[SourceMapping]) -> None:
    """Write the remarks of rows that are no check, each with the queen inseminated in its row."""
    store.execute("CREATE TABLE passed_notes (ref BIGINT, queen_id VARCHAR, note VARCHAR)")
    looks = [source for source in sources if source.table.name == "checks"]
    for source, slot in ((one, slot) for one in looks for slot in one.slots):
        note = slot.cells.get("note")
        if note is None or not note.columns:
            continue
        cells = ", ".join(f"nullif(trim(CAST(r.{quote(c)} AS VARCHAR)), '')" for c in note.columns)
        store.execute(
            "INSERT INTO passed_notes "
            f"SELECT p.ref, q.queen_id, nullif(concat_ws(' ', {cells}), '') FROM passed_over AS p "
            f"JOIN {source.raw} AS r ON r.source_line = ref_line(p.ref) LEFT JOIN ("
            "SELECT ref_line(i.ref) AS line, min(i.queen_id) AS queen_id "
            "FROM accepted_inseminations AS i JOIN sources_read AS s ON s.source_no = "
            f"ref_source(i.ref) WHERE s.source = {literal(source.name)} GROUP BY 1"
            ") AS q ON q.line = ref_line(p.ref) "
            f"WHERE p.why = 'slot' AND ref_source(p.ref) = {source.no} "
            f"AND ref_slot(p.ref) IS NOT DISTINCT FROM {slot.slot or 'NULL'}"
        )
