"""What one column or sheet leaves open: shares or per cent, blanks among ticks, colours, copies."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter, defaultdict
from collections.abc import Container, Sequence
from itertools import pairwise
from pathlib import PurePosixPath

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import FEWEST_SCORES, HIGHEST_SCORE
from queen_outcomes.facts.settings_form import MOST_SLOTS
from queen_outcomes.records import numbers, suggested
from queen_outcomes.records.map.asked.labels import key_of
from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.seen import meanings, months
from queen_outcomes.records.map.seen.contents import (
    MOST,
    Contents,
    SeenDay,
    bare_day,
    clock_of,
    crosses,
    day_of,
    is_ditto,
    number_of,
    yes_or_no,
)
from queen_outcomes.records.map.seen.deeds import (
    NO_RECORD,
    TABLES_OF_DEEDS,
    Deed,
    Given,
    tables_named,
)
from queen_outcomes.records.map.seen.feeds import Use, too_wide
from queen_outcomes.records.map.seen.fits import (
    MAIN_DATE,
    SPANS,
    can_hold,
    is_year,
    ours_of,
)
from queen_outcomes.records.map.seen.sheet import Sheet, SheetColumn
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.map.seen.words import STAGES
from queen_outcomes.records.sources import ENDINGS, LEGACY_ENDINGS, table_named

PER_CENT, SHARE, SCORE = "percent", "share", "score"
UNIT_OF = {PER_CENT: "%", SHARE: "share"}
"""The unit that an answer about percentages sets."""
LEAVE, READ = "leave", "read"
YEAR = "year"
"""In ids of questions the column of years that days lack, which is none of ours."""
_OWN_HOURS = 2
_BEHIND = re.compile(r"[ T]\d{1,2}:\d{2}.*$")
_WARM = 40
"""Semen stored above so many degrees was measured in Fahrenheit; 40 C is the hard limit."""
_GRAFT_DAYS = (17, 26)
"""Days from grafting to insemination, where emergence falls 11 to 13 days after grafting."""
_OF_CO2 = {"co2_other_at", "given_at"}
_MOST_WAYS = 6
"""So many ways in which CO2 is given, a station has at the most."""
_SHOWN = 5
_DIARY_ROWS = 3
_MOST_ROWS = {"inseminations": 2, "exits": 1.2}
"""Rows a queen, on average, above which a sheet may hold other things too."""
_MOST_DEEDS = 20
"""A column that says what was done has no more words for it."""
_FEW_DAYS = 1
"""A sheet with so many days may hold records, whatever its headings."""
_FEW_LIKE_DAYS = 3
"""And so with so many texts in a column that look like days, and cannot be read as such."""
_LIKE_DAY = re.compile(
    r"(?<![\d.,/-])\d{1,2}\s?[./-]\s?\d{1,2}(?:\.|[./-]\s?\d{2,4}\.?)?(?![\d/-])"
)
_IN_BLOCKS = ("inseminations", "checks", "exits", "lab")
_WITH_THE_DAY = ("semen_batch", "operator", "checker", "line", "graft_batch")
"""What may be written once for several rows too, where the day is."""
_FEW_BLOCKS, _MANY_BARE, _EACH_NEW = 3, 0.2, 0.95
"""So many blocks of rows under one day each; the share of rows without a day; and of days
that are new, and of rows without one in which something else is written."""
_AFTERWARDS = ("checks", "exits")
"""Tables whose days follow the insemination."""


def percentages(station: Station) -> list[Question]:
    """Ask about columns of per cent that may hold shares, or scores of the station's own."""
    questions = []
    for part in station.parts:
        for name in part.feed.columns:
            if ours_of(part.table, name).unit != "%":
                continue
            named, bare = _signed(part.contents(name))
            marks = [held for held in part.contents(name) if held.is_scores]
            asked = _marks(marks) if marks else _shares(named, bare) or _scores(named, bare)
            if asked:
                says, options = asked
                heading = part.feed.headings(name)[0]
                questions.append(
                    Question(
                        question_id("percent", part.source, part.table, name),
                        f'In "{part.source}", what are the marks under "{heading}" in per cent?'
                        if marks
                        else f'In "{part.source}", is 1 in "{heading}" one per cent or '
                        f"{_MAY_BE[SHARE in options]}?",
                        [says]
                        if marks
                        else [f"{says}: {', '.join(f'{n:g}' for n in bare[:_SHOWN])}"],
                        options,
                        sources=(part.source,),
                    )
                )
    return questions


def _signed(columns: Sequence[Contents]) -> tuple[list[float], list[float]]:
    """Part the figures of columns into those with a sign of their unit, and those without."""
    figures = [
        (number.value, bool(number.unit) or cell.kind == "percent")
        for held in columns
        for number, cell in zip(held.numbers, held.kept, strict=True)
        if number is not None
    ]
    return [n for n, sign in figures if sign], [n for n, sign in figures if not sign]


def _marks(columns: Sequence[Contents]) -> tuple[str, dict[str, str]]:
    """Say that marks are scores, such as "++" and "4/5", which only the station can explain."""
    texts = sorted({text for held in columns for text in held.texts})
    return f"marks stand there: {', '.join(texts[:_SHOWN])}", {
        SCORE: "a score: it stays unread until station.toml says what each is in per cent; "
        f"or a table such as {{ {suggested.key(texts[-1])} = 90 }}, of every mark"
    }


_MAY_BE = {True: "the whole", False: "a score"}


def _shares(named: list[float], bare: list[float]) -> tuple[str, dict[str, str]] | None:
    """Say why figures without a sign may be shares: none is above 1, and signed ones are."""
    if not bare or not 0 < max(bare) <= 1 or (named and max(named) <= 1):
        return None
    says = f"all {len(bare)} figures are at most 1"
    if named:
        says = (
            f"{len(bare)} figures without % are at most 1, beside {len(named)} with it "
            f"up to {max(named):g}"
        )
    return says, {
        SHARE: "a share: 0.85 is 85 per cent",
        PER_CENT: "per cent: 0.85 is 0.85 per cent",
    }


def _scores(named: list[float], bare: list[float]) -> tuple[str, dict[str, str]] | None:
    """Say why figures may be scores: whole numbers to ten at most, several of them."""
    whole = all(value.is_integer() for value in bare)  # no infinity is
    several = len(bare) >= FEWEST_SCORES and len(set(bare)) > 1
    if named or not several or not whole or max(bare) > HIGHEST_SCORE:
        return None
    return f"all {len(bare)} figures are whole and at most {max(bare):g}", {
        SCORE: "a score, such as 1 to 5: it is no per cent, and stays unread until "
        "station.toml says what each is in per cent",
        PER_CENT: "per cent: 4 is 4 per cent of the cells",
    }


def spans(station: Station) -> list[Question]:
    """Ask which two units a span such as 4:30 is in; hours too long to be have a default."""
    questions = []
    for part in station.parts:
        for name in part.feed.columns:
            if name not in SPANS:
                continue
            texts = [
                cell.text
                for held in part.contents(name)
                for cell, span in zip(held.kept, held.spans, strict=True)
                if span == "open"
            ]
            if not texts:
                continue
            hard = ours_of(part.table, name).hard
            longest = hard.high if hard and hard.high is not None else float("inf")
            hours = [
                60 * int(first) + int(second[:2])
                for first, _, second in (text.partition(":") for text in texts)
            ]
            too_long = min(hours) > longest
            questions.append(
                Question(
                    question_id("span", part.source, part.table, name),
                    f'In "{part.source}", is {texts[0]} in '
                    f'"{part.feed.headings(name)[0]}" minutes and seconds, or hours and '
                    "minutes?",
                    [f"{len(texts)} are written so"]
                    + [f"as hours all would be over {longest:g} minutes"] * too_long,
                    {numbers.MINUTES: "minutes and seconds", numbers.HOURS: "hours and minutes"},
                    default=numbers.MINUTES if too_long else None,
                    sources=(part.source,),
                )
            )
    return questions


def tick_columns(part: Part) -> list[str]:
    """Give the columns of a rule that hold ticks or yes alone, and blanks."""
    found = []
    for name in part.feed.columns:
        held = part.contents(name)
        texts = [text for h in held for text in h.texts]
        blanks = any(not cell.text for h in held for cell in h.cells)
        said = {yes_or_no(text) for text in texts}
        is_yes_no = ours_of(part.table, name).kind == "yes_no"
        if is_yes_no and texts and said == {YES} and blanks and not crosses(texts):
            found.append(name)
    return found


def _says_no(station: Station, part: Part, name: str) -> bool:
    """Tell whether the same heading of the table says no in another sheet."""
    heads = part.feed.headings(name)
    return any(
        yes_or_no(text) == NO
        for other in station.of(part.table)
        if name in other.feed.columns and other.feed.headings(name) == heads
        for text in other.texts(name)
    )


def blanks(station: Station) -> list[Question]:
    """Ask what a blank means in columns that hold ticks alone; one question a rule."""
    questions = []
    asked = set()
    for part in station.parts:
        names = [n for n in tick_columns(part) if not _says_no(station, part, n)]
        key = question_id("blank", part.source, part.table)
        if not names or key in asked:
            continue
        asked.add(key)
        counts = []
        for name in names:
            held = part.contents(name)
            ticks = Counter(text for h in held for text in h.texts).most_common(3)
            empty = sum(not cell.text for h in held for cell in h.cells)
            shown = ", ".join(f'"{text}" {number}' for text, number in ticks)
            counts.append(f'"{part.feed.headings(name)[0]}": {shown}; blank {empty}')
        questions.append(
            Question(
                key,
                f'In "{part.source}", what does a blank mean in the columns of ticks?',
                counts,
                {
                    NO: "looked for, and no",
                    LEAVE: "not looked for, or not written down",
                },
                sources=(part.source,),
            )
        )
    return questions


def co2(station: Station) -> list[Question]:
    """Ask whether the CO2 list holds the insemination's own exposures."""
    listed = station.of("co2")
    if not listed:
        return []
    exposures = _moments(listed, "given_at")
    done = _moments(station.of("inseminations"), "inseminated_at")
    seen = own = 0
    for label, times in done.items():
        given = exposures.get(label)
        if given:
            seen += len(times)
            own += sum(any(_together(one, other) for other in given) for one in times)
    if not seen or own >= 0.5 * seen:
        return []
    return [
        Question(
            question_id("co2", table="co2", column="given_at"),
            "Does the CO2 list hold every exposure, or only those beside the "
            "insemination's own?",
            [
                f"{own} of {seen} inseminations of listed queens have one at their own time"
            ],
            {
                "other": "only the others; the one at the insemination is not written down",
                "every": "every exposure there was",
            },
            default="other" if own <= 0.1 * seen else None,
            sources=tuple(part.source for part in listed),
        )
    ]


def exposures(station: Station) -> list[Question]:
    """Ask on which days CO2 was given, where a column of inseminations says it in words or counts."""
    return [
        Question(
            question_id("exposures", part.source, "co2", "given_at"),
            f'In "{part.source}", on which days was CO2 given by what stands under '
            f'"{column.name}"?',
            [
                ", ".join(f'"{text}" {number}' for text, number in _said(column).most_common()),
                "0 is the day of insemination, -1 the day before, 1 the day after",
            ],
            {
                NO: "leave it unread; or a table of what stands for which days, such as "
                f"{{ {suggested.key(_said(column).most_common(1)[0][0])} = [-1, 0] }}: what is "
                "left out, and an empty cell, was not recorded"
            },
            sources=(part.source,),
        )
        for part in station.of("inseminations")
        for column in exposure_columns(station, part)[:1]
    ]


def exposure_columns(station: Station, part: Part) -> list[SheetColumn]:
    """Give the columns of a sheet of inseminations that say in a few words how CO2 was given."""
    fed = {h for p in station.parts_of(part.source) for n in p.feed.columns for h in p.feed.headings(n)}
    if part.feed.slots or MAIN_DATE["inseminations"] not in part.feed.uses:
        return []
    return [
        column
        for column in part.sheet.columns
        if column.name not in fed
        and ("co2" in column.heading.of("topic") or column.heading.of("column") & _OF_CO2)
        and not column.heading.of("column") & set(SPANS)
        and column.heading.unit not in ("min", "s")
        and not any(column.contents.days)
        and 0 < len(_said(column)) <= _MOST_WAYS
    ]


def _said(column: SheetColumn) -> Counter[str]:
    """Count what stands in a column, "-" among it; a mark that repeats the cell above is none."""
    held = column.contents
    return Counter([*held.texts, *held.unknown])


_Moment = tuple[frozenset[dt.date | str], dt.time | None]
"""The days that a text may be, or the text, and the time of day behind it."""


def _moments(parts: list[Part], name: str) -> dict[str, list[_Moment]]:
    """Give label -> when something was done to her, in whatever form it is written."""
    found: dict[str, list[_Moment]] = defaultdict(list)
    for part in parts:
        labels, columns = part.columns_of("queen_id"), part.columns_of(name)
        if not labels or not columns:
            continue
        clocks = [] if part.feed.slots else columns[1:2]
        for days in columns if part.feed.slots else columns[:1]:
            above = ""
            for row in part.sheet.rows:
                text = row.text(days.at)
                above = text = above if is_ditto(text) else text
                time = clock_of(row.text(clocks[0].at)) if clocks else _clock_in(text)
                label = row.text(labels[0].at)
                if text and label:
                    seen = days.contents.day_of(text)
                    found[key_of(label)].append((_days(seen, text), time))
    return found


def _days(seen: SeenDay | None, text: str) -> frozenset[dt.date | str]:
    return frozenset(day for _, day in seen.days) if seen else frozenset([text])


def _clock_in(text: str) -> dt.time | None:
    """Give the time of day behind a day in one cell."""
    behind = _BEHIND.search(text)
    return clock_of(behind[0].strip(" T")) if behind else None


def _together(one: _Moment, other: _Moment) -> bool:
    if not one[0] & other[0]:
        return False
    if one[1] is None or other[1] is None:
        return True
    minutes = [time.hour * 60 + time.minute for _, time in (one, other)]  # type: ignore[union-attr]
    return abs(minutes[0] - minutes[1]) <= _OWN_HOURS * 60


def rows_apart(station: Station) -> list[Question]:
    """Ask about rows that are struck through or hidden."""
    questions = []
    for sheet in station.sheets:
        if not station.parts_of(sheet.source):
            continue
        for kind, words in (("struck", "struck through"), ("hidden", "hidden")):
            rows = [row for row in sheet.rows if getattr(row, kind)]
            if rows:
                lines = ", ".join(str(row.line) for row in rows[:_SHOWN])
                questions.append(
                    Question(
                        question_id(kind, sheet.source),
                        f'Are the {len(rows)} rows of "{sheet.source}" that are {words} records?',
                        [f"rows {lines}" + (" ..." if len(rows) > _SHOWN else "")],
                        {READ: "read them like the others", LEAVE: "pass them over"},
                        default=READ if kind == "hidden" else None,
                        sources=(sheet.source,),
                    )
                )
    return questions


def journals(station: Station) -> list[Question]:
    """Ask about sheets in which queens stand more often than a table allows.

    A journal of all that happened has a queen and a day in every row as well.
    """
    questions: dict[str, Question] = {}
    for part in station.parts:
        name = question_id("rows", part.source, part.table)
        if part.feed.only:
            continue  # its rows are told by what they say was done
        if name in questions:
            continue  # a wide sheet may feed a table by several rules
        labels = Counter(part.texts("queen_id"))
        rows = sum(labels.values())
        done = diary = _things_done(part)
        if part.feed.untold:
            done = [*diary, "nothing but a queen and a day says so"]
        if rows <= _MOST_ROWS.get(part.table, rows) * len(labels) and not done:
            continue
        questions[name] = Question(
            name,
            f'Is every row of "{part.source}" one of {part.table}?',
            [f"{len(labels)} queens stand in {rows} rows", *done],
            {
                YES: "every row is",
                NO: "not so: leave the sheet unread"
                + (", and write a [[read]] with `only` for each thing done" if diary else ""),
            },
            sources=(part.source,),
        )
    return list(questions.values())


def _things_done(part: Part) -> list[str]:
    """Say which column of a diary tells what was done: it names what several tables hold."""
    told = []
    used = {h for name in part.feed.columns for h in part.feed.headings(name)}
    for column in part.sheet.columns:
        held, counts = column.contents, column.contents.counts
        if column.name in used or not 1 < len(counts) <= _MOST_DEEDS:
            continue
        if held.filled < MOST * len(held.cells):
            continue  # a diary says it in every row; fates stand in some
        topics = {text: tables_named(text) for text in counts}
        named = sum(n for text, n in counts.items() if topics[text])
        if named < MOST * held.filled or len(set().union(*topics.values())) < 2:
            continue
        if all(part.table in found for found in topics.values()):
            continue
        shown = ", ".join(f'"{text}" ({n})' for text, n in counts.most_common(_SHOWN))
        told.append(f'"{column.name}" says {shown}')
    return told


def diaries(deeds: list[Deed], settled: Given) -> list[Question]:
    """Ask of every text which table its rows belong to.

    Parameters
    ----------
    deeds : list of Deed
    settled : mapping
        What the settings say of texts under the same heading, for the defaults.
    """
    return [
        Question(
            deed.id,
            f'Which table do the {len(deed.rows)} rows with "{deed.text}" under '
            f'"{deed.heading}" belong to?',
            _diary_rows(deed, settled),
            {
                **{table: TABLES[table].grain for table in TABLES_OF_DEEDS},
                NO_RECORD: "none: they are counted, and not read",
            },
            default=settled.get(deed.key) or deed.likely or None,
            sources=deed.sources,
        )
        for deed in deeds
    ]


def _diary_rows(deed: Deed, settled: Given) -> list[str]:
    shown = [
        " | ".join(cell.text for cell in row.cells if cell.text)
        for _, row in deed.rows[:_DIARY_ROWS]
    ]
    nobody = ["no row of them names a queen"] if deed.names_nobody else []
    return [*(["so say the settings"] if deed.key in settled else []), *nobody, *shown]


def days_above(station: Station) -> list[Question]:
    """Ask whether a day that is written once holds for the rows below it.

    Sheets of one workbook that have it under one heading are judged together. Where it does,
    names beside it that stand there as seldom may hold for the rows below them as well.
    """
    alike: dict[tuple[str, str, str], list[Part]] = defaultdict(list)
    for part in station.parts:
        use = part.feed.uses.get(MAIN_DATE[part.table])
        if use and part.table in _IN_BLOCKS:
            alike[part.source.partition("#")[0], part.table, use.names[0]].append(part)
    questions = []
    shared: set[tuple[str, str]] = set()
    for (_, table, named), parts in alike.items():
        name = MAIN_DATE[table]
        # the rows of a diary share their day, whichever table they belong to
        own = [one for one in parts if not one.feed.only or (one.source, named) not in shared]
        told = _once_for_several(own, name)
        shared |= {(one.source, named) for one in own if told and one.feed.only}
        for part in own if told else ():
            asked = f'In "{part.source}", does a day under "{named}" hold for the rows below '
            questions.append(
                Question(
                    question_id("fill", part.source, table, name),
                    asked + "it that have none?",
                    [told],
                    {YES: "it does: fill it down", NO: "their day is not known"},
                    default=YES,
                    sources=(part.source,),
                )
            )
        if told:
            questions += _names_above(own, set(own[0].feed.uses) - {"queen_id"})
        elif table == "checks":  # as on the card of a colony, where she is named once
            questions += _names_above([one for one in own if not one.feed.only], {"queen_id"})
    return questions


def _names_above(parts: Sequence[Part], names: Container[str]) -> list[Question]:
    """Ask the same of names that are new wherever they are written; no default fits all."""
    questions = []
    for name in parts[0].feed.uses if parts else ():
        kind = ours_of(parts[0].table, name).kind
        if kind not in ("id", "label") or name not in names:
            continue
        if not all(name in part.feed.uses for part in parts):
            continue
        if told := _once_for_several(parts, name):
            named = parts[0].feed.uses[name].names[0]
            questions += [
                Question(
                    question_id("fill", part.source, part.table, name),
                    f'In "{part.source}", does what stands under "{named}" hold for the rows '
                    "below it that have none?",
                    [told],
                    {YES: "it does: fill it down", NO: "it is not known for them"},
                    sources=(part.source,),
                )
                for part in parts
            ]
    return questions


def years_above(station: Station) -> list[Question]:
    """Ask whether a year that is written once holds for the rows below it."""
    questions: dict[str, Question] = {}
    for part in station.parts:
        for name, use in part.feed.uses.items():
            years = [c for c in part.columns_of(name) if is_year(c)]
            at = years[0].at if years else 0
            bare = [row for row in part.sheet.rows if not row.text(at)] if years else []
            if not bare or not part.sheet.rows[0].text(at):
                continue
            heading = years[0].name
            questions.setdefault(
                part.source,
                Question(
                    question_id("fill", part.source, part.table, YEAR),
                    f'In "{part.source}", does a year under "{heading}" hold for the rows below '
                    f"it that have none, where the days under \"{use.names[0]}\" lack it?",
                    [f"{len(bare)} of {len(part.sheet.rows)} rows have none"],
                    {YES: "it does: fill it down", NO: "their year is not known"},
                    default=YES,
                    sources=(part.source,),
                ),
            )
    return list(questions.values())


def month_of_days(station: Station) -> list[Question]:
    """Ask of which month the days are that are written as the day of a month alone."""
    questions: dict[str, Question] = {}
    for part in station.parts:
        for name in part.feed.columns:
            column = next((c for c in part.columns_of(name) if c.contents.month), None)
            asked = question_id("month", part.source)
            if column is None or asked in questions:
                continue
            found = part.sheet.months
            most = max(day for t in column.contents.texts if (day := bare_day(t)) is not None)
            questions[asked] = Question(
                asked,
                f'Of which month are the days under "{column.name}" in "{part.source}"?',
                [*found.told, f"they are figures up to {most}, without month and year"],
                {months.written(month): "as it is named" for month in found.possible}
                if found.agreed is None
                else {},
                default=months.written(found.agreed) if found.agreed else None,
                sources=(part.source,),
            )
    return list(questions.values())


def _once_for_several(parts: Sequence[Part], name: str) -> str:
    """Say how many rows lack a day or name, where a new one stands over each block alone.

    A row that nothing else is written in has none because nothing was done yet.
    """
    rows = bare = done = written = pairs = changes = 0
    for part in parts:
        at, others = part.columns_of(name)[0].at, _besides(part, name)
        sheet = part.sheet.whole or part.sheet
        texts = [row.text(at) for row in sheet.rows]
        lacking = [row for row in sheet.rows if not row.text(at)]
        told = [text for text in texts if text]
        if not told or not texts[0]:
            return ""
        rows, bare, written = rows + len(texts), bare + len(lacking), written + len(told)
        done += sum(any(row.text(place) for place in others) for row in lacking)
        pairs += len(told) - 1
        changes += sum(one != other for one, other in pairwise(told))
    blocks = written >= _FEW_BLOCKS and changes >= _EACH_NEW * pairs
    if not blocks or bare < _MANY_BARE * rows or done < _EACH_NEW * bare:
        return ""
    what = "a day" if name == MAIN_DATE[parts[0].table] else "one"
    return f"{bare} of {rows} rows have none, and {what} never stands twice in a row"


def _besides(part: Part, name: str) -> list[int]:
    """Give the places of what a row says of itself beside its ids."""
    ids = [n for n in part.feed.columns if ours_of(part.table, n).kind == "id"]
    places = [
        column.at
        for n in part.feed.columns
        if n != name and n not in ids
        for column in part.columns_of(n)
    ]
    sheet = part.sheet.whole or part.sheet
    return places + [sheet.column(named).at for named in part.feed.only]


def void(station: Station) -> list[Question]:
    """Ask about rows that call themselves void."""
    return [
        Question(
            question_id("void", sheet.source),
            f'Are the rows of "{sheet.source}" that call themselves void no records?',
            [f'"{first}": "{words}"' for first, words in sheet.void.items()],
            {LEAVE: "they are none: pass them over", READ: "read them like the others"},
            sources=(sheet.source,),
        )
        for sheet in station.sheets
        if sheet.void and station.parts_of(sheet.source)
    ]


def colours(station: Station) -> list[Question]:
    """Ask what fills mean; nothing, where nobody says otherwise."""
    questions = []
    for sheet in station.sheets:
        if not station.parts_of(sheet.source):
            continue
        counts = Counter(
            fill for row in sheet.rows for fill in {c.fill for c in row.cells if c.fill}
        )
        # a fill in nearly every row is the sheet's dress
        told = {f: n for f, n in counts.items() if 0 < n < 0.9 * len(sheet.rows)}
        if told:
            legend = [
                " ".join(c.text for c in row.cells if c.text)
                for row in sheet.passed
                if "=" in "".join(c.text for c in row.cells)
                and not any(ch.isdigit() for c in row.cells for ch in c.text)
            ]
            questions.append(
                Question(
                    question_id("colours", sheet.source),
                    f'Do the fill colours of "{sheet.source}" say something that no cell says?',
                    [
                        *(
                            f"{fill}: {number} rows"
                            for fill, number in sorted(told.items())
                        ),
                        *(f"beside the list: {line}" for line in legend[:_SHOWN]),
                    ],
                    {NO: 'nothing; or a table such as {"#FFFF00" = {marked = "yes"}}'},
                    default=NO,
                    sources=(sheet.source,),
                )
            )
    return questions


def no_records(station: Station) -> list[Question]:
    """Ask about sheets that feed no table, but for forms that are still to be filled in."""
    homes = {
        key_of(t)
        for part in station.of("inseminations")
        for t in part.texts("queen_id")
    }
    questions = []
    for sheet in station.no_records:
        if sheet.grid.problem or sheet.is_form:
            continue
        headings = ", ".join(column.name for column in sheet.columns if column.name)
        labels = _labels_in(sheet, homes)
        days = _days_in(sheet)
        evidence = [f"headings: {headings}" if headings else "no headings were found"]
        if labels:
            evidence.append(f"{labels} labels of inseminated queens stand in it")
        if days:
            evidence.append(f"{days} days stand in one column")
        like_days = [] if days else _like_days(sheet)
        if len(like_days) >= _FEW_LIKE_DAYS:
            shown = ", ".join(f'"{text}"' for text in like_days[:_SHOWN])
            evidence.append(
                f"{len(like_days)} texts in one column look like days, and have no year or "
                f"cannot be read: {shown}"
            )
        if wide := too_wide(sheet):
            evidence.append(
                f"{wide} looks or doses stand side by side, and a row may hold {MOST_SLOTS}: "
                "part the sheet into several, each with the queens' labels"
            )
        questions.append(
            Question(
                question_id("ignore", sheet.source),
                f'No table was found in "{sheet.source}"; is it no record?',
                evidence,
                {
                    YES: "it is no record: leave it out",
                    NO: "it is; its columns are to be set by hand",
                },
                default=None
                if labels > 1
                or days >= _FEW_DAYS
                or len(like_days) >= _FEW_LIKE_DAYS
                or _is_named(sheet.source)
                else YES,
                sources=(sheet.source,),
            )
        )
    unopened = [
        Question(
            question_id("ignore", sheet.source),
            f'Nothing could be read in "{sheet.source}"; leave it out?',
            [sheet.grid.problem],
            {YES: "leave it out", NO: "it holds records: save it in another form"},
            default=None if _is_sheet(sheet.source) or _is_named(sheet.source) else YES,
            sources=(sheet.source,),
        )
        for sheet in station.not_opened
    ]
    return questions + unopened


def _labels_in(sheet: Sheet, homes: set[str]) -> int:
    """Count the labels of inseminated queens in the column that holds most of them.

    Headings or not: a sheet whose headings nobody knows may hold records all the same.
    Bare numbers are labels of too many things to say so.
    """
    columns: dict[int, set[str]] = defaultdict(set)
    for row in sheet.grid.rows:
        for at in row.filled:
            if not row.cells[at].text.isdigit():
                columns[at].add(key_of(row.cells[at].text))
    return max((len(texts & homes) for texts in columns.values()), default=0)


def _is_sheet(file: str) -> bool:
    """Tell whether a file that was not opened may be of a kind that holds records."""
    return PurePosixPath(file).suffix.lower() in ("", *ENDINGS, *LEGACY_ENDINGS)


def _is_named(source: str) -> bool:
    """Tell whether a file or sheet has the name of a table, whatever stands in it."""
    parts = source.split("#")  # the sign may stand in the names of both as well
    files = ("#".join(parts[:at]) for at in range(1, len(parts) + 1))
    sheets = ("#".join(parts[at:]) for at in range(1, len(parts)))
    return any(map(table_named, (*(PurePosixPath(file).stem for file in files), *sheets)))


def _days_in(sheet: Sheet) -> int:
    """Count the days in the column that holds most of them."""
    counts: Counter[int] = Counter()
    for row in sheet.grid.rows:
        for at in row.filled:
            seen = day_of(row.cells[at].text)
            counts[at] += row.cells[at].kind == "date" or bool(
                seen and not seen.yearless
            )
    return max(counts.values())


def _like_days(sheet: Sheet) -> list[str]:
    """Give the texts that look like days, of the column that holds most of them.

    Days without a year, or behind a weekday of a language that nobody taught us.
    """
    columns: dict[int, list[str]] = defaultdict(list)
    for row in sheet.grid.rows:
        for at in row.filled:
            text = row.cells[at].text
            seen = day_of(text)
            if number_of(text) is None and (seen or _LIKE_DAY.search(text)):
                columns[at].append(text)
    return max(columns.values(), key=len, default=[])


def grafting(station: Station) -> list[Question]:
    """Ask about days of emergence that lie as far from insemination as grafting does."""
    questions = []
    for part in station.parts:
        if "emerged_on" not in part.feed.columns:
            continue
        headings = part.feed.headings("emerged_on")
        own = [p for p in station.parts_of(part.source) if p.table == "inseminations"]
        if not own:
            continue
        days = part.columns_of("emerged_on")[0].contents
        done = own[0].columns_of("inseminated_at")[0].contents
        gaps = sorted(
            (later.days[0][1] - earlier.days[0][1]).days
            for earlier, later in zip(days.days, done.days, strict=False)
            if earlier and later and len(days.days) == len(done.days)
        )
        if not gaps:
            continue
        middle = gaps[len(gaps) // 2]
        if _GRAFT_DAYS[0] <= middle <= _GRAFT_DAYS[1]:
            questions.append(
                Question(
                    question_id("graft", part.source, part.table, "emerged_on"),
                    f'Is "{headings[0]}" in "{part.source}" the day of grafting?',
                    [
                        f"half of the queens are inseminated {middle} days after it, or later"
                    ],
                    {
                        YES: "grafting: leave it unread",
                        NO: "she left her cell that day",
                    },
                    sources=(part.source,),
                )
            )
    return questions


def is_unmarked(text: str) -> bool:
    """Tell whether a word under a mark says that there is none."""
    sets = meanings.of_findings(text) or {}
    return yes_or_no(text) == NO or sets.get("mark_seen") == NO


def marks(station: Station) -> list[Question]:
    """Ask whether a mark written down says that she is marked, where nothing else does."""
    questions = []
    for part in station.parts:
        if "mark" not in part.feed.columns or "marked" in part.feed.columns:
            continue
        every = list(dict.fromkeys(part.texts("mark")))
        texts = [text for text in every if not is_unmarked(text)]
        denied = [text for text in every if is_unmarked(text)]
        if texts:
            heading = part.feed.headings("mark")[0]
            questions.append(
                Question(
                    question_id("filled", part.source, part.table, "marked"),
                    f'In "{part.source}", is a queen with a word under "{heading}" marked?',
                    [
                        f"{len(part.texts('mark'))} have one: {', '.join(texts[:_SHOWN])}",
                        *([f"not marked: {', '.join(denied)}"] if denied else []),
                    ],
                    {
                        YES: "she is; where none is written nobody knows",
                        NO: "it does not say so",
                    },
                    default=YES,
                    sources=(part.source,),
                )
            )
    return questions


def fahrenheit(station: Station) -> None:
    """Set the unit of temperatures that can only be Fahrenheit."""
    for part in station.parts:
        use = part.feed.uses.get("storage_c")
        if use and not use.unit:
            numbers = [n for h in part.contents("storage_c") for n in h.numbers if n]
            bare = [n.value for n in numbers if not n.unit]
            if bare and min(bare) > _WARM:
                use.unit = "F"


def unsure(station: Station) -> list[Question]:
    """Ask about columns taken for ours by what stands in them, under another heading.

    A day under a heading that nobody knows may be that of anything: it has no default.
    """
    questions = []
    for part in station.parts:
        for name, use in part.feed.uses.items():
            if use.value:
                questions.append(_of_every_row(part, name, use.value))
                continue
            unknown_day, too_early = _is_unknown_day(part, name), _too_early(station, part, name)
            if unknown_day or too_early or use.rival or _doubtful(part, name, use):
                texts = ", ".join(list(dict.fromkeys(part.texts(name)))[:_SHOWN])
                questions.append(
                    Question(
                        question_id("column", part.source, part.table, name),
                        _in_words(station, part, name, use),
                        [
                            f"it holds {texts}",
                            *([too_early] if too_early else []),
                            *_rival(part, use.rival),
                        ],
                        {YES: "it is", NO: "it is not: leave it unread"},
                        default=None
                        if unknown_day or too_early or use.rival or _bare(part, name)
                        else YES,
                        sources=(part.source,),
                    )
                )
    return questions


def letters(station: Station) -> list[Question]:
    """Ask whether letters under a look are the stages of brood that begin so."""
    questions: dict[str, Question] = {}
    for part in station.of("checks"):
        heads = [h for name in STAGES for h in part.feed.headings(name) if h in part.sheet.letters]
        if not heads:
            continue
        shown = '", "'.join(part.sheet.letters[: len(STAGES)])
        cells = Counter(t for name in STAGES for h in part.contents(name) for t in h.counts)
        name = question_id("letters", part.source, part.table)
        questions.setdefault(
            name,
            Question(
                name,
                f'In "{part.source}", are "{shown}" eggs, larvae and sealed brood?',
                [f"below them stand {', '.join(f'{text}' for text, _ in cells.most_common(_SHOWN))}"],
                {YES: "they are, under every look", NO: "they are not: leave them unread"},
                default=YES,
                sources=(part.source,),
            ),
        )
    return list(questions.values())


def _of_every_row(part: Part, name: str, value: str) -> Question:
    """Ask about what a sheet's name or title says of all its rows."""
    return Question(
        question_id("column", part.source, part.table, name),
        f'In "{part.source}", was every queen {value}?',
        [f"its name or title says so, and no column holds the {name}"],
        {YES: "every one was", NO: "not so: leave it open"},
        default=YES,
        sources=(part.source,),
    )


def _in_words(station: Station, part: Part, name: str, use: Use) -> str:
    """Ask whether a heading is a column of ours; of a colony, when the queen went into it."""
    own = [p for p in station.parts_of(part.source) if p.table == "inseminations"]
    days = [heading for p in own for heading in p.feed.headings("inseminated_at")]
    if name == "placed_on" and use.names[0] in days:
        colony = part.feed.headings("colony_id")[0]
        return (
            f'In "{part.source}", does a queen go into the colony under "{colony}" on the day '
            "of her insemination?"
        )
    rows = f" of the rows of {part.table}" if part.feed.only else ""
    return f'In "{part.source}", is {_under(use.names)} the column {name}{rows}?'


def _rival(part: Part, rival: str) -> list[str]:
    """Show what stands under another heading that may be meant as well."""
    if not rival:
        return []
    texts = list(part.sheet.column(rival).contents.counts)[:_SHOWN]
    return [f'beside it "{rival}" holds {", ".join(texts)}']


def _under(names: Sequence[str]) -> str:
    return " with ".join(f'"{name}"' for name in names)


def _too_early(station: Station, part: Part, name: str) -> str:
    """Say that most days of a look or an exit lie before the insemination of their row.

    Under "out of the cell" beside the day of insemination a queen hatched.
    """
    own = [p for p in station.parts_of(part.source) if p.table == "inseminations"]
    if part.table not in _AFTERWARDS or name != MAIN_DATE[part.table] or not own:
        return ""
    columns = part.columns_of(name)[0], own[0].columns_of("inseminated_at")[0]
    days = zip(*(_plain_days(part.sheet, column.at) for column in columns), strict=True)
    both = [(day, done) for day, done in days if day and done]
    early = sum(day < done for day, done in both)
    if not early or early < MOST * len(both):
        return ""
    return f"{early} of {len(both)} lie before the insemination of their row"


def _plain_days(sheet: Sheet, at: int) -> list[dt.date | None]:
    """Give the day of each row in a column; None where it is none, or may be two."""
    found = []
    for row in sheet.rows:
        seen = day_of(row.text(at)[:10])
        found.append(seen.days[0][1] if seen and len(set(seen.days)) == 1 else None)
    return found


def _bare(part: Part, name: str) -> bool:
    """Tell whether a column holds bare numbers, which are labels of too many things."""
    return all(text.isdigit() for text in part.texts(name))


def _is_unknown_day(part: Part, name: str) -> bool:
    """Tell whether a table's own day stands under a heading in no language's words."""
    said = part.columns_of(name)[0].heading
    return name == MAIN_DATE[part.table] and bool(said.unknown) and not said.phrases


def _doubtful(part: Part, name: str, use: Use) -> bool:
    held = part.contents(name)
    gate = min(can_hold(ours_of(part.table, name).kind, name, h) for h in held)
    return use.worth < 0.6 and bool(part.texts(name)) and gate > 0
