"""Every table and column of the records: type, unit, limits, words.

The one source of these facts: the reader, the expectations, the blank workbook
and the pages take them from here. `column.py` says what a column is; this file
says which there are and what may stand in them, each limit with where it comes from.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from queen_outcomes.facts.column import Column, Limits, Pair, Table

SM2 = (
    "Standard methods for instrumental insemination of Apis mellifera queens, "
    "J. Apic. Res. 52(4), 2013, doi 10.3896/IBRA.1.52.4.09"
)
PRACTICE = "common practice"
CANNOT = "by definition"

# hard limit, and soft limit where there is one
PERCENT = (Limits(0, 100, why=CANNOT),)
COUNT = (Limits(0, why=CANNOT),)
VOLUME = (Limits(0, low_open=True, why=CANNOT),)
DOSE = (
    Limits(0, 40, low_open=True, why="published doses 1-36 uL"),
    Limits(2, 14, why=f"{SM2}: 8-12 uL a queen"),
)
DRONE_AGE = (
    Limits(6, 90, why=PRACTICE),
    Limits(12, 35, why=f"{SM2}; Metz and Tarpy 2019, Insects 10(1):11"),
)
STORAGE = (
    Limits(-196, 40, why="liquid nitrogen to above hive temperature"),
    Limits(10, 25, why="J. Econ. Entomol. 93(3):568-571, 2000: 12-25 C"),
)
CO2_MINUTES = (
    Limits(0, 60, low_open=True, why=PRACTICE),
    Limits(high=12, why=PRACTICE),
)
BENCH_MINUTES = (Limits(0, 120, why=PRACTICE), Limits(high=15, why=PRACTICE))
ATTEMPTS = (Limits(1, 20, why=PRACTICE), Limits(high=3, why=PRACTICE))
SPERM_STORED = (Limits(0, 15, why="spermatheca's ceiling 7-8 million (memory)"),)

LEAK = ("none", "some", "most")
DRONE_IN_WORKER = ("none", "few", "many")
QUEEN_CELLS = ("none", "supersedure", "swarm", "emergency")
GONE_REASONS = ("dead", "missing", "superseded", "drone_layer", "culled_fault")
"""Reasons that end a queen's story because of her; in the order of precedence."""
LEFT_REASONS = ("culled_other", "sold", "moved", "colony_lost", "swarmed", "sampled")
"""Reasons that end observation and say nothing about her."""


def _queen_id(required: bool = True) -> Column:
    return Column("queen_id", "id", "the station's label of the queen", required)


def _number(
    name: str,
    meaning: str,
    unit: str,
    hard: Limits,
    soft: Limits | None = None,
    *,
    flat: bool = False,
    summed: bool = False,
) -> Column:
    column = Column(name, "number", meaning, False, unit, hard, soft)
    return replace(column, flat=flat, summed=summed)


def _count(name: str, meaning: str, hard: Limits, soft: Limits | None = None) -> Column:
    return Column(name, "integer", meaning, hard=hard, soft=soft)


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
        _number(
            "drone_age_days",
            "the drones' age at collection, when the dates are not kept",
            "days",
            *DRONE_AGE,
        ),
        _count("drones_handled", "drones everted or tried", *COUNT),
        _count("drones_yielding", "drones that gave usable semen", *COUNT),
        _number("volume_ul", "volume collected", "uL", *VOLUME),
        _number("storage_c", "temperature it was kept at", "C", *STORAGE),
        Column("diluent", "label", "what the semen was mixed or topped with"),
        _number("motility_pct", "laboratory motility", "%", *PERCENT),
        _number("viability_pct", "laboratory viability", "%", *PERCENT),
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
    findings=True,
    columns=(
        Column("insemination_id", "id", "label of the insemination, where one is kept"),
        _queen_id(),
        Column("inseminated_at", "datetime", "when", True),
        Column("operator", "label", "who inseminated"),
        Column("instrument", "label", "which bench or instrument"),
        Column("tip", "label", "which tip"),
        Column("semen_batch", "id", "the semen load used"),
        _number("dose_ul", "volume given", "uL", *DOSE, summed=True),
        _number(
            "dose_meant_ul", "volume the protocol called for", "uL", *DOSE, summed=True
        ),
        Column("protocol", "label", "the station's label of the dose protocol"),
        Column("trial", "label", "the planned trial she belongs to"),
        Column("block", "label", "the block of that trial"),
        _count("attempts", "insertions tried", *ATTEMPTS),
        Column("leak", "word", "semen seen to flow back", words=LEAK),
        _number(
            "minutes",
            "time the queen was held in the instrument",
            "min",
            *BENCH_MINUTES,
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
        _number(
            "co2_other_minutes",
            "how long that exposure lasted",
            "min",
            *CO2_MINUTES,
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
        _number("minutes", "how long", "min", *CO2_MINUTES),
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
    findings=True,
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
        _number(
            "pattern_pct",
            "cells filled in an area of sealed worker brood",
            "%",
            *PERCENT,
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
    findings=True,
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
        _number("sperm_millions", "sperm in the spermatheca", "million", *SPERM_STORED),
        _number("viability_pct", "live sperm among them", "%", *PERCENT),
    ),
)

TABLES = {
    table.name: table
    for table in (QUEENS, SEMEN, INSEMINATIONS, CO2, PLACEMENTS, CHECKS, EXITS, LAB)
}

IN_THE_FUTURE_DAYS = 366
"""A row dated more days than this after the as-of day cannot be placed."""

DERIVED_LIMITS: dict[str, tuple[Limits, Limits | None]] = {
    "queen_age_days": (
        Limits(1, 60, why=PRACTICE),
        Limits(5, 14, why=f"{SM2}, section 4.3"),
    ),
    "semen_age_h": (Limits(0, why=CANNOT), Limits(high=48, why=PRACTICE)),
    "drone_age_days": DRONE_AGE,
}
"""Hard and soft limits on values that are worked out from several records."""

FIRST_DAY, LAST_DAY = dt.date(1900, 1, 1), dt.date(2200, 12, 31)
"""Days that a setting or an option may name: what lies outside is a slip of the pen, and
windows behind the last day there is could not be reckoned."""
COMPARED_BY = {
    "instrument": "instruments",
    "tip": "tips",
    "diluent": "diluents",
    "line": "lines",
    "drone_line": "drone lines",
}
"""What else than the protocol can be compared: chosen before the dose, and never by how
the queen fared. With the word for several."""
