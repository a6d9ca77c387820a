"""Every table and column of the records: type, unit, limits, words.

The one source of these facts: the reader, the expectations, the blank workbook
and the pages take them from here. `column.py` says what a column is; this file
says which there are, `limits.py` what may stand in them.
"""

from __future__ import annotations

from queen_outcomes.facts.column import Column, Limits, Pair, Table
from queen_outcomes.facts.limits import (
    CANNOT,
    CO2_HARD,
    CO2_SOFT,
    DOSE_HARD,
    DOSE_SOFT,
    DRONE_AGE_HARD,
    DRONE_AGE_SOFT,
    PERCENT,
    PRACTICE,
    STORAGE_HARD,
    STORAGE_SOFT,
)

LEAK = ("none", "some", "most")
DRONE_IN_WORKER = ("none", "few", "many")
QUEEN_CELLS = ("none", "supersedure", "swarm", "emergency")
GONE_REASONS = ("dead", "missing", "superseded", "drone_layer", "culled_fault")
"""Reasons that end a queen's story because of her; in the order of precedence."""
LEFT_REASONS = ("culled_other", "sold", "moved", "colony_lost", "swarmed", "sampled")
"""Reasons that end observation and say nothing about her."""


def _queen_id(required: bool = True) -> Column:
    return Column("queen_id", "id", "the station's label of the queen", required)


QUEEN_FACTS = (
    Column("line", "label", "the queen's dam line or stock"),
    Column("graft_batch", "id", "the graft she was raised in"),
    Column("emerged_on", "date", "the day she left her cell"),
    Column(
        "marked", "yes_no", "carries a paint mark, disc or clip that identifies her"
    ),
)

QUEENS = Table(
    name="queens",
    grain="a queen",
    key="queen_id",
    columns=(
        _queen_id(),
        *QUEEN_FACTS,
        Column("mark", "text", "what the mark is"),
    ),
)

SEMEN = Table(
    name="semen",
    grain="a collected semen load: a capillary, or a pooled batch",
    key="semen_batch",
    columns=(
        Column("semen_batch", "id", "the label of the semen load", True),
        Column("collected_at", "datetime", "end of collection"),
        Column("drone_line", "label", "stock of the drones"),
        Column("drones_emerged_from", "date", "emergence of the oldest drones used"),
        Column("drones_emerged_to", "date", "emergence of the youngest drones used"),
        Column(
            "drone_age_days",
            "number",
            "the drones' age at collection, when the dates are not kept",
            unit="days",
            hard=DRONE_AGE_HARD,
            soft=DRONE_AGE_SOFT,
        ),
        Column(
            "drones_handled",
            "integer",
            "drones everted or tried",
            hard=Limits(0, why=CANNOT),
        ),
        Column(
            "drones_yielding",
            "integer",
            "drones that gave usable semen",
            hard=Limits(0, why=CANNOT),
        ),
        Column(
            "volume_ul",
            "number",
            "volume collected",
            unit="uL",
            hard=Limits(0, low_open=True, why=CANNOT),
        ),
        Column(
            "storage_c",
            "number",
            "temperature it was kept at",
            unit="C",
            hard=STORAGE_HARD,
            soft=STORAGE_SOFT,
        ),
        Column("diluent", "label", "what the semen was mixed or topped with"),
        Column("motility_pct", "number", "laboratory motility", unit="%", hard=PERCENT),
        Column(
            "viability_pct", "number", "laboratory viability", unit="%", hard=PERCENT
        ),
    ),
    pairs=(
        Pair("drones_yielding", "drones_handled", "hard"),
        Pair("drones_emerged_from", "drones_emerged_to", "soft"),
        Pair("volume_ul", "drones_yielding", "soft", factor=2),
    ),
)

FLAT_SEMEN_FACTS = ("drone_line", "drone_age_days", "collected_at", "storage_c")
"""Columns of `semen` that a station with one flat sheet keeps in `inseminations`."""
FLAT_QUEEN_FACTS = tuple(column.name for column in QUEEN_FACTS)

INSEMINATIONS = Table(
    name="inseminations",
    grain="one time semen is given to a queen",
    key="insemination_id",
    required=True,
    columns=(
        Column("insemination_id", "id", "label of the insemination, where one is kept"),
        _queen_id(),
        Column("inseminated_at", "datetime", "when", True),
        Column("operator", "label", "who inseminated"),
        Column("instrument", "label", "which bench or instrument"),
        Column("tip", "label", "which tip"),
        Column("semen_batch", "id", "the semen load used"),
        Column(
            "dose_ul",
            "number",
            "volume given",
            unit="uL",
            hard=DOSE_HARD,
            soft=DOSE_SOFT,
        ),
        Column(
            "dose_meant_ul",
            "number",
            "volume the protocol called for",
            unit="uL",
            hard=DOSE_HARD,
            soft=DOSE_SOFT,
        ),
        Column("protocol", "label", "the station's label of the dose protocol"),
        Column("trial", "label", "the planned trial she belongs to"),
        Column("block", "label", "the block of that trial"),
        Column(
            "attempts",
            "integer",
            "insertions tried",
            hard=Limits(1, 20, why=PRACTICE),
            soft=Limits(high=3, why=PRACTICE),
        ),
        Column("leak", "word", "semen seen to flow back", words=LEAK),
        Column(
            "minutes",
            "number",
            "time the queen was held in the instrument",
            unit="min",
            hard=Limits(0, 120, why=PRACTICE),
            soft=Limits(high=15, why=PRACTICE),
        ),
        Column("note", "text", "anything else"),
        *(column.as_flat() for column in QUEEN_FACTS),
        *(SEMEN.column(name).as_flat() for name in FLAT_SEMEN_FACTS),
        Column(
            "co2_other_at",
            "datetime",
            "the CO2 exposure that is not the procedure's own",
            flat=True,
        ),
        Column(
            "co2_other_minutes",
            "number",
            "how long that exposure lasted",
            unit="min",
            hard=CO2_HARD,
            soft=CO2_SOFT,
            flat=True,
        ),
    ),
)

CO2 = Table(
    name="co2",
    grain="a CO2 exposure",
    columns=(
        _queen_id(),
        Column("given_at", "datetime", "when", True),
        Column(
            "minutes", "number", "how long", unit="min", hard=CO2_HARD, soft=CO2_SOFT
        ),
    ),
)

PLACEMENTS = Table(
    name="placements",
    grain="a stay of one queen in one colony",
    columns=(
        _queen_id(),
        Column("colony_id", "id", "the colony or nucleus", True),
        Column("placed_on", "date", "the day she was introduced", True),
        Column("removed_on", "date", "the day she was taken out; empty while there"),
        Column("method", "label", "how she was introduced"),
        Column(
            "brood_present", "yes_no", "the colony held another queen's brood that day"
        ),
    ),
    pairs=(Pair("placed_on", "removed_on", "quarantine"),),
)

CHECKS = Table(
    name="checks",
    grain="one look into a colony or nucleus",
    required=True,
    either=("queen_id", "colony_id"),
    columns=(
        _queen_id(required=False),
        Column("colony_id", "id", "the colony or nucleus looked into"),
        Column("checked_on", "date", "the day of the look", True),
        Column("checker", "label", "who looked"),
        Column("queen_seen", "yes_no", "the queen was seen; empty: not looked for"),
        Column("mark_seen", "yes_no", "no: the queen seen does not carry her mark"),
        Column("eggs", "yes_no", "eggs in worker cells; empty: not looked for"),
        Column("larvae", "yes_no", "larvae in worker cells; empty: not looked for"),
        Column("sealed", "yes_no", "sealed worker cells; empty: not looked for"),
        Column(
            "brood_given",
            "yes_no",
            "brood from elsewhere was put in since the last check",
        ),
        Column(
            "pattern_pct",
            "number",
            "cells filled in an area of sealed worker brood",
            unit="%",
            hard=PERCENT,
        ),
        Column(
            "drone_in_worker",
            "word",
            "drone brood in worker cells; many: half or more of the sealed cells",
            words=DRONE_IN_WORKER,
        ),
        Column("multiple_eggs", "yes_no", "several eggs to a cell, on cell walls"),
        Column("queen_cells", "word", "queen cells seen", words=QUEEN_CELLS),
        Column("note", "text", "anything else"),
    ),
)

EXITS = Table(
    name="exits",
    grain="the day a queen left observation",
    columns=(
        _queen_id(),
        Column("left_on", "date", "the day", True),
        Column(
            "reason",
            "word",
            "culled_fault: removed for how she performed; culled_other, sold, moved, "
            "colony_lost, sampled and swarmed say nothing about her",
            words=GONE_REASONS + LEFT_REASONS,
        ),
    ),
)

LAB = Table(
    name="lab",
    grain="a spermatheca looked at",
    columns=(
        _queen_id(),
        Column("sampled_on", "date", "the day", True),
        Column(
            "sperm_millions",
            "number",
            "sperm in the spermatheca",
            unit="million",
            hard=Limits(0, 15, why="spermatheca's ceiling 7-8 million (memory)"),
        ),
        Column(
            "viability_pct", "number", "live sperm among them", unit="%", hard=PERCENT
        ),
    ),
)

TABLES = {
    table.name: table
    for table in (QUEENS, SEMEN, INSEMINATIONS, CO2, PLACEMENTS, CHECKS, EXITS, LAB)
}

IN_THE_FUTURE_DAYS = 366
"""A row dated more days than this after the as-of day cannot be placed."""
