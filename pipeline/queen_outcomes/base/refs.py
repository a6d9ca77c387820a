"""Refs: one number for the place of a record, and the SQL that takes it apart.

A ref is the number of a source and table, then the slot of the row that the record is
(0: the whole row is one), then the line.
"""

from __future__ import annotations

LINE_BITS, SLOT_BITS = 30, 6
IN_SOURCE_BITS = LINE_BITS + SLOT_BITS
MACROS = {
    "ref_of(source_no, slot, line)": f"(source_no::BIGINT << {IN_SOURCE_BITS}) "
    f"| (slot::BIGINT << {LINE_BITS}) | line",
    "ref_source(ref)": f"ref >> {IN_SOURCE_BITS}",
    "ref_line(ref)": f"ref & {2**LINE_BITS - 1}",
    "ref_slot(ref)": f"nullif((ref >> {LINE_BITS}) & {2**SLOT_BITS - 1}, 0)",
    "ref_in_source(ref)": "ref_line(ref) || coalesce('/' || ref_slot(ref), '')",
    "ref_place(sources, ref)": "sources[ref_source(ref)] || ':' || ref_in_source(ref)",
    "fold_id(id)": r"lower(regexp_replace(regexp_replace(id, "
    r"'(^|[^0-9])0+([0-9])', '\1\2', 'g'), '[\s\-‐-―/]+', '', 'g'))",
}
"""What every statement may call: ref_place gives "source:line" or "source:line/slot", fold_id an id
without case, blanks, hyphens, slashes and leading zeros."""
