"""Sheets to write on: the bench's record of a day, and the yard's list of checks due.

What stands over a column is read again as it is: the station's own heading, or ours beside
what the language calls it. So are the words to circle, and the signs for yes and no.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from queen_outcomes.base.outputs import write_files
from queen_outcomes.base.store import Store, quote
from queen_outcomes.dashboard.figures import statement
from queen_outcomes.facts import languages
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.outcomes import TO_SEE
from queen_outcomes.facts.settings import Settings
from queen_outcomes.paper.order import by_colony
from queen_outcomes.paper.printing import prints, set_html, set_pdf
from queen_outcomes.records.headings import canonical

FOLDER = "sheets"
SIZES = {"a4": ("a4", "A4", 297), "letter": ("us-letter", "letter", 279.4)}
"""--paper -> its name for a PDF and for a page, and its longer side in mm."""
MARGIN, BOX, NOTE_LEAST = 8, 12, 20
"""Millimetres: of the page, of a box to write in, and of the notes at least."""
UPRIGHT = 14
"""Columns narrower than so many mm have their heading turned."""
BENCH_ROWS = 24
BENCH = (
    *("insemination_id", "queen_id", "inseminated_at", "operator", "instrument", "tip"),
    *("semen_batch", "dose_meant_ul", "dose_ul", "protocol", "trial", "block"),
    *("attempts", "leak", "minutes", "co2_other_at", "co2_other_minutes", "line"),
    *("graft_batch", "emerged_on", "marked", "drone_line", "drone_age_days"),
    *("collected_at", "storage_c", "note"),
)
"""Columns of the bench sheet."""
SELDOM = (
    *("insemination_id", "trial", "block", "line", "graft_batch", "emerged_on"),
    *("marked", "drone_line", "drone_age_days", "collected_at", "storage_c"),
)
"""What a new station keeps elsewhere, or not at all."""
ALWAYS = ("queen_id", "inseminated_at", "note")
CO2 = ("co2_other_at", "co2_other_minutes")
TOLD = ("colony_id", "queen_id", "day", "planned", "until")
YARD = (
    *("checked_on", "checker", "queen_seen", "mark_seen", "eggs", "larvae", "sealed"),
    *("brood_given", "multiple_eggs", "pattern_pct", "drone_in_worker", "queen_cells"),
    "note",
)
"""Columns to fill in the yard."""
WIDE = {"datetime": 26, "date": 19, "id": 22, "label": 17, "word": 26, "text": 0}
"""Millimetres that a kind of column takes where a box is too narrow; notes take the rest."""
OWN_WIDTHS = {
    "checker": 13,
    "queen_cells": 32,
    "instrument": 14,
    "tip": BOX,
    "block": BOX,
}
YES, OTHER_YES = "x", "1"
DAYS = {
    "iso": ("%Y-%m-%d", "%m-%d"),
    "ymd": ("%Y/%m/%d", "%m/%d"),
    "dmy": ("%d.%m.%Y", "%d.%m."),
    "mdy": ("%m/%d/%Y", "%m/%d"),
}
"""The station's order of days -> how a day is written, with its year and without."""

Row = dict[str, Any]


@dataclass(frozen=True)
class Head:
    """What stands over a column, and what is to be written below it."""

    caption: str
    width: float
    name: str = ""
    """Our column, where the caption alone would not be read as it."""
    hint: str = ""
    """The unit, or a day as it is to be written."""
    choices: Sequence[str] = ()
    """Words to circle."""

    @property
    def heading(self) -> str:
        """What stands over the column in a file."""
        return self.name or self.caption


def write(
    station: Path,
    settings: Settings,
    as_of: dt.date,
    store: Store | None,
    *,
    by: str = "colony",
    paper: str = "a4",
) -> list[Path]:
    """Write the sheets as HTML and, where that can be, PDF into ``build/sheets``.

    Gives their paths.

    Parameters
    ----------
    station : Path
    settings : Settings
        Its language, its own headings and words.
    as_of : date
    store : Store or None
        The last build; None without one: then only the bench sheet is made, with all
        that a station may keep.
    by : {"colony", "yard"}
        The order of the yard list.
    paper : {"a4", "letter"}
    """
    folder = station / "build" / FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    made = {"bench": bench(settings, as_of, kept(store), paper)}
    if store is not None:
        due = store.records(statement("yard_round"))
        made["yard"] = yard(due, settings, as_of, by, paper)
    files: dict[Path, str | bytes] = {}
    for name, data in made.items():
        if prints():
            files[folder / f"{name}.pdf"] = set_pdf("form.typ", data, as_of)
        files[folder / f"{name}.html"] = set_html("form_sheet.html", data)
    return write_files(files)


def kept(store: Store | None) -> list[str]:
    """Give the columns of the bench sheet that a station's records fill at all."""
    new = [name for name in BENCH if name not in SELDOM]
    if store is None:
        return new
    counts = ", ".join(f"count({quote(name)}) AS {quote(name)}" for name in BENCH)
    (filled,) = store.records(f"SELECT {counts} FROM accepted_inseminations")
    if not filled["queen_id"]:
        return new
    (exposures,) = store.rows(
        "SELECT count(given_at), count(minutes) FROM accepted_co2"
    )
    also = [name for name, count in zip(CO2, exposures, strict=True) if count]
    return [name for name in BENCH if filled[name] or name in (*ALWAYS, *also)]


def bench(
    settings: Settings, as_of: dt.date, columns: Sequence[str], paper: str
) -> Row:
    """Give the blank record of days at the bench, with the columns that are kept."""
    words = languages.paper(settings.language)
    heads = [_head(settings, "inseminations", name, as_of) for name in columns]
    key = [words["row"], *_key(settings, heads, "inseminations", columns)]
    return {
        **_sheet(settings, as_of, words["bench"], _fitted(heads, paper), paper),
        "rows": [{"cells": [""] * len(heads), "heavy": []}] * BENCH_ROWS,
        "key": [*key, *words["cautions"], words["sting"]],
    }


def yard(
    listed: Sequence[Row], settings: Settings, as_of: dt.date, by: str, paper: str
) -> Row:
    """Give the checks due, with room to write what is seen.

    Parameters
    ----------
    listed : sequence of dict
        Rows of ``yard_round.sql``.
    """
    words = languages.paper(settings.language)
    due = sorted((row for row in listed if row["status"] == "due"), key=by_colony)
    if by == "yard":  # colonies that nobody has looked into yet come last
        due.sort(key=lambda row: (row["place"] is None, row["place"]))
    told = [_told(row, settings) for row in due]
    wide = [
        _as_wide([row[at] for row in told], most) for at, most in enumerate((30, 36))
    ]
    heads = [
        *(
            replace(_head(settings, "checks", name, as_of), width=width)
            for name, width in zip(TOLD, wide, strict=False)
        ),
        Head(words["day"], 8),
        Head(words["planned"], BOX),
        Head(words["until"], BOX),
        *(_head(settings, "checks", name, as_of) for name in YARD),
    ]
    title = f"{words['yard']}, {words[f'by_{by}']}. {words['due'].format(len(due))}"
    key = [words["look"], words["last"], words["many"]]
    return {
        **_sheet(settings, as_of, title, _fitted(heads, paper), paper),
        "rows": [
            {"cells": cells + [""] * len(YARD), "heavy": _heavy(row)}
            for row, cells in zip(due, told, strict=True)
        ],
        "key": [*_key(settings, heads, "checks", YARD), *key, words["sting"]],
        "empty": words["none_due"],
    }


def _sheet(
    settings: Settings, as_of: dt.date, title: str, heads: Sequence[Head], paper: str
) -> Row:
    words = languages.paper(settings.language)
    pdf, page, _ = SIZES[paper]
    return {
        "lang": settings.language,
        "station": settings.name,
        "title": title,
        "as_of": words["as_of"].format(_written(as_of, settings)),
        "page": words["page"].split("{}"),
        "paper": pdf,
        "size": page,
        "margin": MARGIN,
        "box": BOX,
        "heads": [
            {**asdict(head), "upright": 0 < head.width < UPRIGHT} for head in heads
        ],
    }


def _head(settings: Settings, table: str, column: str, as_of: dt.date) -> Head:
    """Give what stands over one of our columns, so that the reader knows it again."""
    reading, about = settings.reading, TABLES[table].column(column)
    own = reading.columns.get(table, {}).get(column)
    caption = own or languages.caption(settings.language, column)
    kept_in = reading.units.get(table, {}).get(column) or about.unit
    day = _written(as_of, settings)
    hints = {"date": day, "datetime": f"{day} 10:30"}
    unit = "" if not kept_in or _tells(caption, kept_in) else kept_in
    words = reading.words.get(column, {})
    return Head(
        caption,
        OWN_WIDTHS.get(column, WIDE.get(about.kind, BOX)),
        name="" if own or canonical(caption) == column else column,
        hint=hints.get(about.kind, unit),
        choices=[next(iter(words.get(ours, ())), ours) for ours in about.words],
    )


def _tells(caption: str, unit: str) -> bool:
    """Tell whether a caption's words have the unit, alone or as "minutes" has "min".

    A letter within a word is none: no "instrument" says that seconds are meant.
    """
    asked = unit.casefold()
    words = re.findall(r"[^\W\d_]+|%", caption.casefold())
    return asked in words or (
        len(asked) > 1 and any(word.startswith(asked) for word in words)
    )


def _fitted(heads: Sequence[Head], paper: str) -> list[Head]:
    """Make columns that would leave no room for notes narrower, boxes last."""
    room = SIZES[paper][2] - 2 * MARGIN - NOTE_LEAST
    boxes = sum(head.width for head in heads if head.width < UPRIGHT)
    share = min(1, (room - boxes) / (sum(head.width for head in heads) - boxes))
    widths = [
        head.width if head.width < UPRIGHT else max(UPRIGHT, head.width * share)
        for head in heads
    ]
    least = min(1, room / sum(widths))
    return [
        replace(head, width=width * least)
        for head, width in zip(heads, widths, strict=True)
    ]


def _key(
    settings: Settings, heads: Sequence[Head], table: str, columns: Sequence[str]
) -> list[str]:
    """Say how to fill in: the same on every page."""
    words, reading = languages.paper(settings.language), settings.reading
    asked = [TABLES[table].column(name) for name in columns]
    meant = reading.words.get("yes_no", {}).get("no", ())
    taken = {word.casefold() for word in (*meant, *reading.empty)}
    signs = words["marks"].format(OTHER_YES if YES in taken else YES)
    key = [signs] if any(column.kind == "yes_no" for column in asked) else []
    if any(column.words for column in asked):
        key.append(words["circle"])
    theirs = {
        ours: languages.word(settings.language, column.name, ours)
        for column in asked
        for ours in column.words
        if ours not in reading.words.get(column.name, {})
    }
    other = [f"{ours} = {word}" for ours, word in theirs.items() if word != ours]
    key += [f"{', '.join(other)}."] if other else []
    key.append(words["same"])
    return [*key, words["typing"]] if any(head.name for head in heads) else key


def _written(day: dt.date, settings: Settings, *, year: bool = True) -> str:
    """Write a day in the station's order."""
    long, short = DAYS[settings.reading.date_order]
    return day.strftime(long if year else short)


def _told(row: Row, settings: Settings) -> list[str]:
    """Give a check's cells that are printed: where, whom, when; the year is the head's."""
    days = (row["on"], row["useful_until"])
    short = [_written(day, settings, year=False) for day in days]
    return [row["colony_id"] or "", row["queen_id"], str(row["day"]), *short]


def _heavy(row: Row) -> list[int]:
    """Give the places of the boxes that a look is for."""
    wanted = {
        column
        for what in row["look_for"].split("; ")
        for column in TO_SEE.get(what, ())
    }
    return [at for at, name in enumerate(YARD, start=len(TOLD)) if name in wanted]


def _as_wide(texts: Sequence[str], most: float) -> float:
    """Give the millimetres that the longest of some labels takes."""
    return min(most, max(UPRIGHT, 2.2 * max(map(len, texts), default=0) + 3))
