"""How well a column of a sheet fits a column of ours: its heading first, its cells as the gate."""

from __future__ import annotations

import re
from collections.abc import Iterable

from queen_outcomes.facts.column import Column as Ours
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.map.seen.contents import MOST, Contents, is_tick
from queen_outcomes.records.map.seen.headings import Heading
from queen_outcomes.records.map.seen.sheet import SheetColumn
from queen_outcomes.records.map.seen.words import tokens, vocabulary

FINDINGS = "findings"
"""The pseudo-column of free words that set several columns."""
HAS_FINDINGS = ("checks",)
MAIN_DATE = {
    "queens": "emerged_on",
    "semen": "collected_at",
    "inseminations": "inseminated_at",
    "co2": "given_at",
    "placements": "placed_on",
    "checks": "checked_on",
    "exits": "left_on",
    "lab": "sampled_on",
}
PERSON = {"inseminations": "operator", "checks": "checker"}
ALSO_CALLED = {
    ("checks", "checker"): ("operator",),
    ("inseminations", "operator"): ("checker",),
    ("checks", "mark_seen"): ("marked",),
    ("co2", "given_at"): ("co2_other_at",),
    ("co2", "minutes"): ("co2_other_minutes",),
    ("inseminations", "dose_ul"): ("volume_ul",),
    ("semen", "volume_ul"): ("dose_ul",),
    ("semen", "drones_handled"): ("attempts",),
    ("lab", "sperm_millions"): (),
    ("placements", "removed_on"): ("left_on",),
    ("exits", "left_on"): ("removed_on",),
}
"""Headings of a like column elsewhere, which mean this one in this table."""
SHARED_IDS = ("queen_id", "colony_id", "semen_batch")
SPANS = ("minutes", "co2_other_minutes")
"""Columns of spans of time, which may be written as 4:30 and are no times of day."""
VOLUMES = ("uL", "mL")
PARTLY = 0.6
_LEAST = 0.45
_MANY = 30
"""Of so many drones a load is collected, and no line has such a number, as a rule."""
_PREPOSITION = 3
"""So many letters has a word such as "of" at the most; "amount" counts."""
_BY_UNIT = {
    ("co2", "minutes"): ("min", "s"),
    ("semen", "storage_c"): ("C", "F"),
    ("semen", "volume_ul"): VOLUMES,
}
"""What a heading such as "seconds" or "total µl", which names a unit alone, says in a table."""
_FACTS_OF_OTHERS = ("queens", "semen")
_PARTS_FOR = {
    "queen_id": {"queen", "number"},
    "queen_seen": {"queen", "seen"},
    "reason": {"reason"},
    "operator": {"person"},
    "checker": {"person"},
    "colony_id": {"number"},
    "semen_batch": {"number"},
}


def ours_of(table: str, name: str) -> Ours:
    """Give a column of ours; the pseudo-column is text."""
    if name == FINDINGS:
        return Ours(FINDINGS, "text", "free words about a check")
    return TABLES[table].column(name)


def names_of(table: str) -> tuple[str, ...]:
    """Give the columns a table can be fed, the pseudo-column among them."""
    names = TABLES[table].names
    return (*names, FINDINGS) if table in HAS_FINDINGS else names


def can_hold(kind: str, name: str, held: Contents) -> float:
    """Say how far cells allow a column of a kind: 0 not at all, 1 fully."""
    if not held.filled:
        return 1.0 if held.ditto or held.unknown else 0.7
    gate = _GATES.get(kind)
    return gate(name, held) if gate else 1.0


def _date(name: str, held: Contents) -> float:
    del name
    return 1.0 if held.day_share >= MOST else 0.8 if held.day_share >= PARTLY else 0.0


def _number(name: str, held: Contents) -> float:
    share = held.number_share
    if name in SPANS:
        both = zip(held.numbers, held.spans, strict=True)
        share = held.share(number or span for number, span in both)
    return 1.0 if share >= MOST else 0.8 if share >= PARTLY else 0.0


def _is_days(held: Contents) -> bool:
    """Tell days with their year from numbers such as 8.5, which may be day and month."""
    return held.whole_day_share >= PARTLY


def _yes_no(name: str, held: Contents) -> float:
    if held.yes_no_share >= MOST or set(held.counts) == {"0", "1"}:
        return 1.0
    if _is_days(held) or held.number_share > PARTLY:
        return 0.0
    return 0.8 if held.yes_no_share >= 0.5 else 0.5 if len(held.counts) <= 6 else 0.0


def _word(name: str, held: Contents) -> float:
    if _is_days(held):
        return 0.0
    if held.word_share(name) >= 0.5:
        return 1.0
    return 0.4 if held.number_share > 0.9 else 0.9


def _id(name: str, held: Contents) -> float:
    if _is_days(held) or held.plain_clock_share > PARTLY:
        return 0.0
    if name == "semen_batch" and all(map(_is_letter, held.texts)):
        return 1.0  # "F" and "T" among A to Z are loads, whatever they say elsewhere
    return 0.0 if held.yes_no_share > PARTLY else 1.0


def _is_letter(text: str) -> bool:
    return len(text) == 1 and text.isalpha() and text.isupper() and not is_tick(text)


def _label(name: str, held: Contents) -> float:
    if _is_days(held):
        return 0.0
    if name in PERSON.values():
        return 1.0 if held.name_like >= 0.5 else 0.3
    return 0.5 if held.plain_clock_share > 0.5 else 1.0


def _text(name: str, held: Contents) -> float:
    if name == FINDINGS:
        bad = _is_days(held) or held.number_share > 0.5 or held.yes_no_share > 0.9
        return 0.0 if bad else 1.0
    return 0.3 if _is_days(held) else 1.0


_GATES = {
    "date": _date,
    "datetime": _date,
    "number": _number,
    "integer": _number,
    "yes_no": _yes_no,
    "word": _word,
    "id": _id,
    "label": _label,
    "text": _text,
}


def names_column(said: Heading, held: Contents, table: str, name: str) -> float:
    """Say how far a heading names one column of a table; 0 where it does not.

    Another column that the heading names counts against it only where the cells could
    be that column's: "taken out / found empty" above days can only be the day.
    """
    calls = {name, *ALSO_CALLED.get((table, name), ())}
    ours = {f"column:{call}" for call in calls}
    worth, found = 1.0, False
    for phrase in said.phrases:
        columns = {label for label in phrase if label.startswith("column:")}
        topics = {label for label in phrase if label.startswith("topic:")}
        if ours & columns:
            found = True
            worth *= 1.0 if f"column:{name}" in columns else 0.85
        elif columns and not _holds_any(columns, held):
            worth *= 0.9
        elif columns:
            worth *= 0.9 if topics & {f"topic:{table}"} else 0.5
        elif topics and f"topic:{table}" not in topics:
            worth *= 0.9 if _is_fact(name) else 0.3
        elif not (phrase & {"part:filler", "part:number", f"topic:{table}"}):
            # "Date" beside the column's own name: fine for days alone
            worth *= 0.95
    if not found:
        return 0.0
    return worth * 0.85 ** len(said.unknown)


def _holds_any(labels: Iterable[str], held: Contents) -> bool:
    """Tell whether cells can be one of some columns; those of no table can be anything."""
    names = [label.removeprefix("column:") for label in labels]
    kinds = {c.name: c.kind for table in TABLES.values() for c in table.columns}
    kinds[FINDINGS] = "text"
    return any(n not in kinds or can_hold(kinds[n], n, held) > 0 for n in names)


def _is_fact(name: str) -> bool:
    return any(name in TABLES[table].names for table in _FACTS_OF_OTHERS)


def fit(column: SheetColumn, table: str, name: str) -> float:
    """Say how well a column fits one of ours by its own heading; 0 not at all."""
    said, held = column.heading, column.contents
    ours = ours_of(table, name)
    gate = can_hold(ours.kind, name, held)
    if name == "pattern_pct" and held.is_scores:
        gate = 1.0  # marks of the station's own, which are asked about
    if not gate:
        return 0.0
    worth = names_column(said, held, table, name)
    if _tells_how_much(said, held, ours):
        return 0.0
    worth = max(worth, _by_both(said, held, name))
    if not worth:
        worth = _by_topic_or_part(said, held, table, name)
    if said.unit in _BY_UNIT.get((table, name), ()) and not said.of("column"):
        worth = max(worth, 0.7)
    if ours.unit and said.unit and held.filled and not _unit_fits(ours, said.unit):
        worth *= 0.3
    worth *= gate
    return worth if worth >= _LEAST else 0.0


def _by_both(said: Heading, held: Contents, name: str) -> float:
    """Judge what neither a heading nor the cells below it tell alone."""
    if name == "pattern_pct" and _is_share_of_brood(said, held):
        return 0.8
    if name == "mark" and "marked" in said.of("column") and held.yes_no_share < 0.5:
        return 0.9  # "red" under "marked" says how
    if name == "drones_handled" and _is_number_of_drones(said, held):
        return 0.7  # what cells allow is less where some are doubted: it is asked about then
    if (name == "reason" and tells_how_she_went(said, held)) or _is_day_of_it(said, held, name):
        return 0.8
    volumes = name in ("dose_ul", "volume_ul") and _is_volume(said)
    if name == "dose_ul" and said.unit in VOLUMES and said.of("column") == {"tip"}:
        return 0.8  # what was in the syringe
    return 0.8 if volumes and said.of("column") <= {"semen_batch"} else 0.0


def _is_day_of_it(said: Heading, held: Contents, name: str) -> bool:
    """Tell whether days stand below what names a thing: "fate date", or "1st dose" beside "µl"."""
    named = said.of("column")
    if name == "left_on":
        return named == {"reason"} and _is_days(held)
    return name == "inseminated_at" and named == {"dose_ul"} and _can_only_be_days(held)


def _can_only_be_days(held: Contents) -> bool:
    """Tell days from figures: "16/5" is no dose, and "8.5" may be one."""
    return _is_days(held) or (held.day_share >= PARTLY and held.number_share < 1 - PARTLY)


def _is_share_of_brood(said: Heading, held: Contents) -> bool:
    """Tell whether "brood %", or per cent under "brood", is the pattern."""
    columns = said.of("column")
    shown = said.unit == "%" or held.units()["%"] >= MOST * max(held.filled, 1)
    return shown and bool(columns) and columns <= {FINDINGS, "sealed", "pattern_pct"}


def tells_how_she_went(said: Heading, held: Contents) -> bool:
    """Tell whether words of how queens go stand under a heading that names their going.

    "Exit" beside "Exit date": by its heading alone it could be the day.
    """
    going = said.of("column") <= {"left_on", "removed_on"} and bool(
        said.of("column") or "exits" in said.of("topic")
    )
    return going and not held.day_share and held.word_share("reason") >= 0.5


def _tells_how_much(said: Heading, held: Contents, ours: Ours) -> bool:
    """Tell whether a heading that names a label or a stock says how much or how many there is."""
    if ours.name == "colony_id" and said.unit == "uL" and set(said.name) & {"µ", "μ"}:
        return True  # a volume, though a hive is "ul" in one language
    if _is_volume(said) and ours.kind in ("id", "label"):
        return True  # "semen (µl)" is how much, and no load's label
    if ours.name in ("line", "drone_line") and said.unknown and held.number_share >= MOST:
        return True  # how many of something that nobody taught us, and no stock
    if ours.name == "drone_line" and _is_number_of_drones(said, held):
        return True
    if ours.name in ("semen_batch", "drone_line") and _counts_drones(said, held):
        return True  # "drones w/ semen" above figures
    return said.unit in VOLUMES and ours.kind == "label"  # "syringe (µl)": what was in it


def _counts_drones(said: Heading, held: Contents) -> bool:
    """Tell whether figures stand under a heading of drones and something else.

    "Drones from" and "drones of hive" say where they came from.
    """
    of_drones = any("column:drone_line" in phrase for phrase in said.phrases)
    others = [phrase for phrase in said.phrases if not phrase & {"part:filler", "column:colony_id"}]
    known = vocabulary().labels
    more = len(others) > 1 or any(
        "part:filler" in known.get(word, ()) and len(word) > _PREPOSITION for word in tokens(said.name)
    )
    figures = held.filled > 0 and held.number_share >= MOST
    return of_drones and more and figures and "part:number" not in said.labels


def _is_number_of_drones(said: Heading, held: Contents) -> bool:
    """Tell whether "no. of drones" stands above figures that are too high for a line's number.

    "120?" is one too, though somebody doubted it.
    """
    of_drones = any({"column:drone_line", "topic:semen"} <= phrase for phrase in said.phrases)
    figures = [re.fullmatch(r"\W*(\d+)\W*", text) for text in held.texts]
    numbers = sorted(int(match[1]) for match in figures if match)
    if not of_drones or "part:number" not in said.labels or len(numbers) < MOST * len(figures):
        return False
    return bool(numbers) and numbers[len(numbers) // 2] >= _MANY


def _is_volume(said: Heading) -> bool:
    """Tell whether a heading names semen, and a unit of volume beside it."""
    return said.unit in VOLUMES and "semen_batch" in said.of("column")


def _unit_fits(ours: Ours, unit: str) -> bool:
    from queen_outcomes.facts.column import UNITS

    return unit in UNITS[ours.unit]


def _by_topic_or_part(said: Heading, held: Contents, table: str, name: str) -> float:
    """Judge a heading that names no column: a topic with a day, a part such as "who"."""
    topics = said.of("topic")
    if said.of("column") or (topics and table not in topics):
        return 0.0
    worth = _by_topic(said, held, table, name) or _by_part(said, held, table, name)
    return worth * 0.85 ** len(said.unknown)


def _by_topic(said: Heading, held: Contents, table: str, name: str) -> float:
    """Judge a heading that says which table, by what stands below it."""
    days = held.day_share >= PARTLY
    if table not in said.of("topic"):
        return 0.0
    if name == MAIN_DATE[table] and days:
        return 0.9
    if name == FINDINGS and not said.of("part") - {"filler"}:
        return 0.8
    if name == "minutes" and said.unit in ("min", "s"):
        return 0.9
    if name == "reason" and not days:
        return 0.8
    return 0.9 if name == "dose_ul" and said.unit in ("uL", "mL") else 0.0


def _by_part(said: Heading, held: Contents, table: str, name: str) -> float:
    """Judge a heading that says "who", "no" or "queen" and leaves open of what."""
    # "what" may ask why a queen went as well as what was done
    parts, wanted = said.of("part") - {"filler", "deed"}, _PARTS_FOR.get(name, set())
    if not wanted & parts or parts - wanted - {"number", "seen"}:
        return 0.0
    if name == "colony_id" or (name == "semen_batch" and table == "inseminations"):
        # a bare number is a queen's sooner than a hive's or a load's
        return 0.46
    if name == "queen_seen":
        return 0.85 if held.yes_no_share >= 0.5 else 0.0
    return 0.9 if said.of("topic") else 0.8


def is_generic_date(column: SheetColumn) -> bool:
    """Tell whether a column holds days under a heading that names no table."""
    said = column.heading
    named = said.of("part")
    return (
        column.contents.day_share >= PARTLY
        and not said.of("column")
        and not said.of("topic")
        # "12/25" under "queen" or "no." is a label
        and ("date" in named or not named & {"queen", "number"})
    )


def is_time(column: SheetColumn) -> bool:
    """Tell whether a column holds times of day that belong to a day beside it.

    Under a heading that says how long, 4:30 is no time of day.
    """
    held = column.contents
    if column.heading.of("column") & set(SPANS):
        return False
    if held.filled and held.clock_share < MOST:
        return False
    if "time" in column.heading.of("part"):
        return True
    return held.plain_clock_share >= MOST


def is_year(column: SheetColumn) -> bool:
    """Tell whether a column holds years, by its heading and its cells."""
    held = column.contents
    years = held.share(re.fullmatch(r"(?:19|20)\d\d", text) for text in held.texts)
    return column.heading.of("part") == {"year"} and years >= MOST
