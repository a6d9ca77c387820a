"""Labels and people across the sheets: spellings that are one, numbers that start again."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from rapidfuzz import fuzz

from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.seen.contents import day_of, is_ditto, ticked_by
from queen_outcomes.records.map.seen.fits import MAIN_DATE, PERSON, is_year
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.map.seen.words import tokens, vocabulary

FOLDED = {
    "queen_id": (
        "inseminations",
        ("checks", "exits", "queens", "placements", "co2", "lab"),
    ),
    "colony_id": ("placements", ("checks",)),
    "semen_batch": ("semen", ("inseminations",)),
}
"""A label's home, whose spelling counts, and the tables that refer to it."""
BATCHES = ("graft_batch", "semen_batch")
"""Labels of what is made anew each year, so that none can be of two."""
_ALIKE_NAMES = 90
_LEAST_NAME = 5
_NEARLY_ALL = 0.9
_NUMBER = r"\d+(?:\s?[-‐–/]\s?\d+)?"
_BARE = re.compile(_NUMBER)
_LED = re.compile(rf"^(?:#|[^\W\d_]+[.°]?)(?:[.:]? |\s?[-‐–]\s?)?(?={_NUMBER}$)")
"""A word or letter before a number: "hive 7", "Q-12", "q12", "nr 12/25", "Q25-14"."""
_WITH_YEAR = re.compile(r"^((?:19|20)?\d\d)([-‐–/._ ])(.+)$")
_SHOWN = 4


def key_of(label: str) -> str:
    """Give a label without case, blanks, hyphens, slashes and leading zeros of its numbers."""
    plain = unicodedata.normalize("NFKC", label).casefold()
    plain = re.sub(r"(?<!\d)0+(?=\d)", "", plain)  # first, as the reader: "25-014" is "25-14"
    return re.sub(r"[\s\-‐-―/]+", "", plain)


def spellings(station: Station) -> list[Question]:
    """Ask whether spellings of a label that differ slightly are one."""
    questions = []
    for column, (home, others) in FOLDED.items():
        homes = {t for part in station.of(home) for t in part.texts(column)}
        counts: Counter[str] = Counter()
        for table in others:
            for part in station.of(table):
                counts.update(part.texts(column))
        keys = {key_of(label): label for label in homes}
        apart = {
            text: keys[key_of(text)]
            for text in counts
            if text not in homes and key_of(text) in keys
        }
        if not homes or not apart:
            continue
        rows = sum(counts[text] for text in apart)
        shown = [
            f'"{text}" is "{label}"' for text, label in sorted(apart.items())[:_SHOWN]
        ]
        twins = len(homes) - len(keys)
        extra = (
            [f"{twins} labels of {home} differ only so and stay apart"] if twins else []
        )
        questions.append(
            Question(
                question_id("fold", column=column),
                f"Are spellings of {column} one where only case, blanks, hyphens, slashes or "
                "leading zeros differ?",
                [f"{rows} rows would find their {home} only so", *shown, *extra],
                {
                    YES: "they are one; the spelling of the first table counts",
                    NO: "they differ",
                },
                default=YES,
            )
        )
    return questions


def leads(station: Station) -> tuple[list[Question], dict[str, dict[str, str]]]:
    """Ask about labels that are bare numbers in one sheet, and "hive 7" in the others.

    Returns
    -------
    questions : list of Question
    prefixes : dict of column to source to what would be put before its numbers
    """
    questions, prefixes = [], {}
    for column, (home, others) in FOLDED.items():
        parts = [
            (part, set(part.texts(column)))
            for table in (home, *others)
            for part in station.of(table)
            if part.texts(column)
        ]
        numbers = {text for _, texts in parts for text in texts if _BARE.fullmatch(text)}
        if found := _behind_a_word(column, parts, numbers) or _around(column, parts, numbers):
            questions.append(found[0])
            prefixes[column] = found[1]
    return questions, prefixes


Held = Sequence[tuple[Part, set[str]]]
"""Sheets, each with the labels that stand there."""


def _behind_a_word(
    column: str, parts: Held, numbers: set[str]
) -> tuple[Question, dict[str, str]] | None:
    """Ask whether numbers are labels that others write behind a word: "hive 7"."""
    led, words = _led({text for _, texts in parts for text in texts})
    if not words or len({tokens(word) for word in words}) != 1:
        return None
    word = words.most_common(1)[0][0]
    shared = {text for text in numbers if key_of(text) in led}
    told = f"{len(shared)} of {len(numbers)} bare numbers stand so elsewhere"
    enough = len(shared) >= _NEARLY_ALL * len(numbers)
    if not enough and _is_number_word(word):
        # "nr 12" says no more than "12", however few write it
        known = len(led & set(map(key_of, numbers)))
        told = f"{known} of {len(led)} with it stand without it elsewhere"
        enough = known >= _NEARLY_ALL * len(led)
    bare = [
        part.source
        for part, texts in parts
        if texts & numbers and not any(_is_neither(text) for text in texts)
    ]
    if not enough or not numbers or not bare:
        return None
    label = min(shared, key=lambda text: (len(text), text))
    question = Question(
        question_id("lead", column=column),
        f'Is {column} "{label}" the same as "{word}{label}"?',
        [told],
        {YES: f'it is: put "{word}" before the numbers', NO: "it is not"},
        default=YES,
        sources=tuple(dict.fromkeys(bare)),
    )
    return question, dict.fromkeys(bare, word)


def _around(
    column: str, parts: Held, numbers: set[str]
) -> tuple[Question, dict[str, str]] | None:
    """Ask whether numbers are labels that others write with the same around them: "E-07-26".

    Of every number one label is known, and nearly all labels look so.
    """
    whole = {text for _, texts in parts for text in texts} - numbers
    sides: dict[tuple[str, str], dict[int, str]] = defaultdict(dict)
    for text in sorted(whole):
        for figures in re.finditer(r"\d+", text):
            place = (text[: figures.start()], text[figures.end() :])
            sides[place].setdefault(int(figures[0]), text)
    asked = {int(text) for text in numbers if text.isdigit()}
    fitting = {
        place: known
        for place, known in sides.items()
        if all(place) and asked <= set(known) and len(known) >= _NEARLY_ALL * len(whole)
    }
    if len(fitting) != 1 or len(asked) < _SHOWN or len(asked) < len(numbers):
        return None
    (before, after), known = next(iter(fitting.items()))
    bare = {part.source: f"{before}{{}}{after}" for part, texts in parts if texts <= numbers}
    one = min(asked)
    question = Question(
        question_id("lead", column=column),
        f'Is {column} "{one}" the same as "{known[one]}"?',
        [f"{len(asked)} of {len(asked)} bare numbers stand so elsewhere"],
        {YES: f'it is: put "{before}" before the numbers and "{after}" behind', NO: "it is not"},
        default=YES,
        sources=tuple(bare),
    )
    return question, bare


def _is_neither(text: str) -> bool:
    """Tell whether a label is no number, bare or behind a word: nothing is put before it."""
    return not _BARE.fullmatch(text) and _LED.sub("", text) == text


def _is_number_word(lead: str) -> bool:
    """Tell whether what stands before a number says "number" and no more."""
    labels = vocabulary().labels.get(" ".join(tokens(lead)), frozenset())
    return "part:number" in labels and (len("".join(tokens(lead))) > 1 or "#" in lead)


def _led(texts: Iterable[str]) -> tuple[set[str], Counter[str]]:
    """Give the keys of the numbers that stand behind a word, and the words counted."""
    leads = [(text, _LED.sub("", text)) for text in sorted(texts)]
    led = [(text[: len(text) - len(rest)], rest) for text, rest in leads if rest != text]
    return {key_of(rest) for _, rest in led}, Counter(lead for lead, _ in led)


def led_in_several_ways(station: Station, column: str) -> bool:
    """Tell whether putting a word before numbers still leaves one label in several spellings.

    "Q" beside "q-", or "Q25-14" beside "25-014".
    """
    home, others = FOLDED[column]
    texts = {t for n in (home, *others) for part in station.of(n) for t in part.texts(column)}
    keys, words = _led(texts)
    rests = {_LED.sub("", text) for text in texts}
    alike = {text for text in rests if key_of(text) in keys}
    return len(words) > 1 or len(alike) > len(set(map(key_of, alike)))


# -- people ---------------------------------------------------------------------


def people(station: Station) -> tuple[dict[str, list[str]], Counter[str]]:
    """Group the spellings of people.

    Returns
    -------
    groups : dict of the full spelling to its other spellings
    counts : Counter of spelling
    """
    counts = _people_counted(station)
    return grouped(counts), counts


def grouped(counts: Counter[str]) -> dict[str, list[str]]:
    """Group spellings of people: the fullest of each -> the others, where there are any."""
    names = sorted(
        counts, key=lambda name: (-len(tokens(name)), -len(name), -counts[name], name)
    )
    groups: dict[str, list[str]] = {}
    for name in names:
        homes = [whole for whole in groups if _same_person(whole, name)]
        if len(homes) == 1:
            groups[homes[0]].append(name)
        elif not homes:
            groups[name] = []
    named = {
        _best([whole, *rest], counts): [whole, *rest] for whole, rest in groups.items()
    }
    return {
        best: sorted(name for name in all_of if name != best)
        for best, all_of in named.items()
        if len(all_of) > 1
    }


def _people_counted(station: Station) -> Counter[str]:
    """Count the spellings of operators, checkers and initials beside ticks."""
    counts: Counter[str] = Counter()
    for table, column in PERSON.items():
        for part in station.of(table):
            if column in part.feed.columns:
                counts.update(part.texts(column))
    for part in station.of("checks"):
        texts = [
            t
            for n in part.feed.columns
            if n not in PERSON.values()
            for t in part.texts(n)
        ]
        counts.update(initials for text in texts if (initials := ticked_by(text)))
    return counts


def _best(spellings_of: list[str], counts: Counter[str]) -> str:
    """Give the fullest spelling with capitals; the most frequent where several are."""
    return max(
        spellings_of,
        key=lambda name: (
            any(len(word) > 2 for word in tokens(name)),
            len("".join(tokens(name))),
            name[:1].isupper() and not name.isupper(),
            counts[name],
        ),
    )


def _same_person(whole: str, name: str) -> bool:
    """Tell whether a spelling can be another's: case, dots, initials, a slip of the pen."""
    full, short = tokens(whole), tokens(name)
    joined = "".join(short)
    if not full or not short:
        return False
    if "".join(full) == joined or _shortened(full, short):
        return True
    # a slip of the pen in a name long enough to tell
    long_enough = min(len("".join(full)), len(joined)) >= _LEAST_NAME
    return long_enough and fuzz.ratio(" ".join(full), " ".join(short)) >= _ALIKE_NAMES


def _shortened(full: tuple[str, ...], short: tuple[str, ...]) -> bool:
    """Tell whether a name is another's initials, or leaves a part of it out."""
    joined = "".join(short)
    if len(full) == 1:
        return len(joined) <= 2 < len(full[0]) and full[0].startswith(joined)
    initials = len(joined) >= 2 and joined == "".join(word[0] for word in full)
    part_by_part = len(short) == len(full) and all(
        given == whole or (len(given) == 1 and whole.startswith(given))
        for whole, given in zip(full, short, strict=True)
    )
    one_part = len(short) == 1 and len(joined) > 2 and joined in full
    return initials or part_by_part or one_part


def ask_people(station: Station) -> list[Question]:
    """Ask whether the spellings of people that are alike are one person each."""
    groups, counts = people(station)
    if not groups:
        return []
    shown = [
        f"{best} ({counts[best]}): " + ", ".join(f"{n} ({counts[n]})" for n in others)
        for best, others in sorted(groups.items())
    ]
    return [
        Question(
            question_id("same", column="operator"),
            "Are these spellings one person each?",
            shown,
            {YES: "as listed", NO: "every spelling is a person"},
            default=YES,
        )
    ]


# -- numbers that start again -------------------------------------------------------


@dataclass
class Yearly:
    """How labels that start again each year are told apart.

    Parameters
    ----------
    prefixes : dict of source to the prefix that its year gives
    years : dict of source to the heading of the years that stand beside its labels
    carrying : list of source
        Those whose labels begin with the year already.
    """

    prefixes: dict[str, str] = field(default_factory=dict)
    years: dict[str, str] = field(default_factory=dict)
    carrying: list[str] = field(default_factory=list)


def start_again(
    station: Station,
    yearless: Mapping[str, int] = MappingProxyType({}),
    titled: Mapping[tuple[str, str], str] = MappingProxyType({}),
) -> tuple[list[Question], dict[str, Yearly]]:
    """Ask about every kind of label that may start again each year, each at most once.

    Labels of inseminations are asked about first; those of batches that stand above headings,
    or in other sheets, where these raise no question.

    Parameters
    ----------
    station : Station
    yearless : mapping
        Source -> the year of its days without one.
    titled : mapping
        (source, column) -> the label that stands above the headings for all rows.

    Returns
    -------
    questions : list of Question
    told_apart : dict of column to how its labels are told apart
    """
    asked = {column: yearly(station, column, yearless) for column in _WHOSE}
    questions = [question for raised, _ in asked.values() for question in raised]
    told_apart = {column: found for column, (_, found) in asked.items()}
    more, prefixes = batches_again(station, bool(asked["queen_id"][0]), titled)
    known = {question.id for question in questions}
    for column, of_batches in prefixes.items():
        if not told_apart[column].prefixes and not told_apart[column].years:
            told_apart[column] = Yearly(of_batches)
    return [*questions, *(one for one in more if one.id not in known)], told_apart


def yearly(
    station: Station, column: str, yearless: Mapping[str, int] = MappingProxyType({})
) -> tuple[list[Question], Yearly]:
    """Ask about labels of queens or semen that stand in two years' sheets.

    Parameters
    ----------
    station : Station
    yearless : mapping
        Source -> the year of its days without one.

    Returns
    -------
    questions : list of Question
        At most one; it has no default.
    told_apart : Yearly
        How, if they start again.
    """
    whose, others, homes = _WHOSE[column]
    again = _in_two_years(station, column, homes, yearless)
    if not again:
        return [], Yearly()
    holding = [part for part in station.parts if column in part.feed.columns]
    bare = {key_of(t) for p in holding if p.table in homes for t in p.texts(column)}
    found = Yearly()
    form = "{short}-"
    for part in holding:
        beside = [c for c in part.sheet.columns if is_year(c)]
        if written := _year_written(set(part.texts(column)), bare):
            found.carrying.append(part.source)
            form = written
        elif len(beside) == 1 and part.table not in homes:
            found.years[part.source] = beside[0].name
            form = "{year} "
    for part in holding:
        year = _year_of(part, station)
        if year and part.source not in (*found.years, *found.carrying):
            prefix = form.format(year=year, short=f"{year % 100:02}")
            found.prefixes.setdefault(part.source, prefix)
    shown = ", ".join(again[:_SHOWN]) + (" ..." if len(again) > _SHOWN else "")
    question = Question(
        question_id("prefix", table="inseminations", column=column),
        f"Do {whose} start again each year? {len(again)} numbers stand in sheets of two years.",
        [
            f"{'first inseminated' if column == 'queen_id' else 'they stand'} in two years: {shown}",
            *(f"{source}: {prefix}" for source, prefix in found.prefixes.items()),
            *(f'{source}: with the year under "{name}"' for source, name in found.years.items()),
            *(f"{source}: the year stands there" for source in dict.fromkeys(found.carrying)),
        ],
        {YES: f"other {others}: put the year before them", NO: f"the same {others}"},
    )
    return [question], found


_WHOSE = {
    "queen_id": ("the queens' numbers", "queens", ("inseminations",)),
    "semen_batch": ("the labels of semen", "loads", ("inseminations",)),
    "graft_batch": ("the labels of grafts", "grafts", ("queens", "inseminations")),
}
"""Column of labels -> whose they are, what they label, and the tables that are of one year."""


def _in_two_years(
    station: Station, column: str, tables: Iterable[str], yearless: Mapping[str, int]
) -> list[str]:
    """Give the labels that stand in sheets of two years of some tables, sorted."""
    first: dict[str, dict[str, int]] = defaultdict(dict)
    for part in (part for table in tables for part in station.of(table)):
        if column in part.feed.columns:
            usual = yearless.get(part.source) or _year_of(part, station)
            for label, year in _dated_labels(part, column, usual):
                first[label].setdefault(part.source, year)
    return sorted(label for label, seen in first.items() if len({*seen.values()}) > 1)


def _year_written(texts: set[str], bare: set[str]) -> str:
    """Give the form in which labels begin with a year, the rest being a bare one: "2025/1"."""
    found = [match for text in texts if (match := _WITH_YEAR.match(text))]
    forms = Counter(
        ("{year}" if len(match[1]) == 4 else "{short}") + match[2]
        for match in found
        if key_of(match[3]) in bare
    )
    return max(forms, key=forms.__getitem__) if forms.total() > len(texts) / 2 else ""


def batches_again(
    station: Station,
    queens_start_again: bool,
    titled: Mapping[tuple[str, str], str] = MappingProxyType({}),
) -> tuple[list[Question], dict[str, dict[str, str]]]:
    """Ask about labels of grafts and of semen that stand in the sheets of two years.

    Labels that stand above the headings count too. Only where every sheet that has them is of one year: with its year before them, those of
    a list of several years would no longer be found.

    Parameters
    ----------
    station : Station
    queens_start_again : bool
        Whether the queens' numbers do, as it seems.
    titled : mapping
        (source, column) -> the label that stands above the headings for all rows.

    Returns
    -------
    questions : list of Question
        A default, where the queens' numbers start again as well.
    prefixes : dict of column to source to the prefix that its year would give
    """
    questions, prefixes = [], {}
    for column in BATCHES:
        texts = [
            (part, [titled[place]] if place in titled else part.texts(column))
            for part in station.parts
            if (place := (part.source, column)) in titled or column in part.feed.columns
        ]
        years = {part.source: _only_year(part, station) for part, _ in texts}
        again = _labels_of_two_years(texts, years)
        if not again or None in years.values():
            continue
        prefixes[column] = {source: f"{int(y or 0) % 100:02}-" for source, y in years.items()}
        shown = ", ".join(again[:_SHOWN]) + (" ..." if len(again) > _SHOWN else "")
        questions.append(
            Question(
                question_id("prefix", table="inseminations", column=column),
                f"Do the labels of {column} start again each year? {len(again)} stand in "
                "sheets of two years.",
                [
                    f"in two years: {shown}",
                    *(f"{source}: {prefix}" for source, prefix in prefixes[column].items()),
                ],
                {YES: "other ones: put the year before their labels", NO: "the same ones"},
                default=YES if queens_start_again else None,
                sources=tuple(years),
            )
        )
    return questions, prefixes


def _only_year(part: Part, station: Station) -> int | None:
    """Give the year of a sheet; None where its days are of several, or of none."""
    one_year = all(len(own.years()) <= 1 for own in station.parts_of(part.source))
    return _year_of(part, station) if one_year else None


def _labels_of_two_years(
    texts: list[tuple[Part, list[str]]], years: Mapping[str, int | None]
) -> list[str]:
    """Give the labels that one table has in the sheets of two years."""
    seen: dict[tuple[str, str], set[int | None]] = defaultdict(set)
    for part, own in texts:
        for text in own:
            seen[part.table, text].add(years[part.source])
    return sorted({text for (_, text), of in seen.items() if len(of - {None}) > 1})


def _dated_labels(part: Part, column: str, usual: int | None) -> Iterable[tuple[str, int]]:
    """Give each label with the year of its row; that of the sheet where its day has none."""
    names = part.columns_of(column)
    days = part.columns_of(MAIN_DATE[part.table])
    of_month = next((d.contents.month for d in days if d.contents.month), None)
    usual = of_month[0] if of_month else usual
    above: int | None = None
    for label, *cells in zip(
        names[0].contents.cells, *(d.contents.cells for d in days), strict=False
    ):
        years = [
            year
            for cell in cells
            if (year := _year_in(cell.text, usual) or (usual if of_month and cell.text else None))
        ]
        years = years if days or usual is None else [usual]
        # a row without a day is of the season of the row above it
        if not years and above and not any(cell.text for cell in cells):
            years = [above]
        above = years[-1] if years else above
        for year in years if label.text and not is_ditto(label.text) else ():
            yield label.text, year


def _year_in(text: str, usual: int | None) -> int | None:
    """Give the year of a day; the usual one where it is written without, or is that above."""
    seen = day_of(text)
    if is_ditto(text) or (seen and seen.yearless):
        return usual
    year = re.search(r"(?<!\d)(?:19|20)\d\d(?!\d)", text)
    short = re.search(r"\D(\d\d)\.?(?: |$)", text)
    return int(year[0]) if year else 2000 + int(short[1]) if short else None


def _year_of(part: Part, station: Station) -> int | None:
    """Give the year that a sheet's queens belong to: that of its inseminations, or its name."""
    own = [p for p in station.parts_of(part.source) if p.table == "inseminations"]
    for one in (*own, part):
        years = one.years()
        if years:
            return (
                max(years, key=lambda y: years[y])
                if own
                else min(years, key=lambda y: (-years[y], y))
            )
    named = re.findall(r"(?<!\d)(?:19|20)\d\d(?!\d)", part.source)
    return int(named[-1]) if named else None
