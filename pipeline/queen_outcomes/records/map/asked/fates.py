"""How queens went, and what was seen of them, told with its day in a column of remarks.

"sold 9.7.", "12.6. superseded", "5.7. eggs, sold 9.7."
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import takes
from queen_outcomes.records import apart
from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.asked.wordlist import EXIT, Word
from queen_outcomes.records.map.seen import meanings
from queen_outcomes.records.map.seen.fits import FINDINGS
from queen_outcomes.records.map.seen.headings import heading
from queen_outcomes.records.map.seen.sheet import SheetColumn
from queen_outcomes.records.map.seen.station import Part, Station

KIND = "fates"
_FEWEST, _KNOWN, _AGAIN = 3, 0.5, 2
"""So many remarks with a day say how she went, under one heading, and such a share of those with
a day; of other words beside days, those that stand so often are asked about."""
_SHOWN, _MOST_PARTS = 5, 4
_PHRASES = re.compile(r"[,:()]|\s[-–]\s|\s\+\s")
_DEEDS = frozenset(["inseminations", "co2", "placements"])
_DAYS_OF_DEEDS = frozenset(["inseminated_at", "given_at", "placed_on"])
_DOSE = "uL"
"""Tables, days and the unit that a phrase of something else than her end names."""
_FOUND = ("dead", "missing", "superseded", "drone_layer", "swarmed", "colony_lost")
"""How queens are found to have gone at a look."""
_KEEPS = ("inseminations", "queens", "checks")
"""The tables whose rows name the queen that a remark is about, the first that a sheet feeds."""


@dataclass(frozen=True)
class Remarks:
    """A sheet's remarks that tell how queens went.

    Attributes
    ----------
    part : Part
        The rule that names the queen of each row.
    heading : str
    told : Counter of str
        Words beside a day, as they are read; not all of them say how she went.
    fates : mapping of str
        What those that do say, by the words.
    seen : mapping of dict
        What others say was seen, by the words.
    most : int
        How many days, each with its words, stand in a cell.
    settled : bool
        Whether the settings have them taken apart.
    """

    part: Part
    heading: str
    told: Counter[str]
    fates: Mapping[str, str]
    seen: Mapping[str, meanings.Meaning] = field(default_factory=dict)
    most: int = 1
    settled: bool = False

    @property
    def id(self) -> str:
        """The id of its question, which holds for all sheets with this heading."""
        return question_id(KIND, "*", "exits", self.heading.replace(":", " "))

    @property
    def headings(self) -> tuple[str, str]:
        """The headings that the day and the words have once cells are taken apart.

        Of several parts "{}" stands for the number.
        """
        day, words = apart.names(self.heading, self.most)[:2]
        return (day, words) if self.most == 1 else (_any_of(day), _any_of(words))

    @property
    def each(self) -> list[str]:
        """The numbers of several parts."""
        return [str(number) for number in range(1, self.most + 1)] if self.most > 1 else []


def _any_of(heading: str) -> str:
    """Put "{}" for the number at the end of a part's heading."""
    return heading.removesuffix(" 1)") + " {})"


def reason_of(words: str) -> str | None:
    """Say how a queen went by words of a remark; None where they do not say it.

    "Weak" is a fault, and no end unless something was done about it.
    """
    reasons = TABLES["exits"].column("reason").words
    said = meanings.of_word(words, "reason", reasons) if words else None
    return said if said != "culled_fault" or meanings.is_culled(words) else None


def beside_day(text: str) -> str:
    """Give the words of the phrase in which the first day of a text stands; empty without a day."""
    before, behind = apart.around_day(text) or ("", "")
    return " ".join(f"{_PHRASES.split(before)[-1]} {_PHRASES.split(behind)[0]}".split())


def fate_on_day(text: str) -> str | None:
    """Say how a queen went on the day of a remark; None where it says nothing of it.

    Or where the day may be another's: "inseminated again 25.6., sold" dates no sale.
    """
    parted = apart.around_day(text)
    if parted is None:
        return None
    before, behind = (_PHRASES.split(side) for side in parted)
    own = f"{before[-1]} {behind[0]}"
    here = reason_of(own)
    if here and not meanings.is_culled(own):
        sides = before[-1], behind[0]
        doubted = any(reason_of(a) and is_deed(b, here) for a, b in (sides, sides[::-1]))
        return None if doubted else here
    said = reason_of(" ".join(parted))
    if not said or meanings.is_culled(own):
        return said
    near = (_up_to_fate(before[-2::-1]), _up_to_fate(behind[1:]))
    between = min((one for one in near if one is not None), key=len, default=[])
    # "open brood OK" is seen that day, though not all of it is known
    deeds = any(is_deed(one, said) or meanings.hints(one) for one in (own, *between))
    return None if deeds else said


def _up_to_fate(phrases: Sequence[str]) -> list[str] | None:
    """Give the phrases that stand before the first that says how she went."""
    at = next((n for n, phrase in enumerate(phrases) if reason_of(phrase)), None)
    return None if at is None else list(phrases[:at])


def is_deed(text: str, fate: str) -> bool:
    """Tell whether a phrase says that something else was done or seen than how she went.

    A day beside it is of that; but of a look it is hers too, where her fate is what was found.
    """
    said = heading(text)
    done = said.of("topic") & _DEEDS or said.of("column") & _DAYS_OF_DEEDS or said.unit == _DOSE
    looked = "checks" in said.of("topic") or "checked_on" in said.of("column")
    return bool(done or meanings.of_findings(text) or (looked and fate not in _FOUND))


def find(station: Station) -> list[Remarks]:
    """Find columns of remarks that tell how queens went; none in sheets that keep it anyhow."""
    found: dict[str, list[Remarks]] = defaultdict(list)
    for keeps, column in _columns(station):
        one = _told_in(keeps, column)
        if one is not None:
            found[column.name].append(one)
    return [one for same in found.values() for one in same if _say_so(same)]


def _told_in(keeps: Part, column: SheetColumn) -> Remarks | None:
    """Give what the remarks of a column tell beside days; None where no day stands there."""
    parts = {cell.whole: apart.split(cell.whole) for cell in column.contents.kept}
    most = max((len(own) for own in parts.values() if any(map(apart.around_day, own))), default=1)
    most = most if most <= _MOST_PARTS else 1
    texts = Counter[str]()
    for cell in column.contents.kept:
        texts.update(parts[cell.whole] if most > 1 else [cell.whole])
    told, fates, seen, doubted = Counter[str](), dict[str, str](), dict[str, meanings.Meaning](), set[str]()
    for text, words in apart.words_beside_days(texts).items():
        told[words] += texts[text]
        if fate := fate_on_day(text):
            fates[words] = fate
        elif reason_of(words):
            if look := _seen_on_day(text):
                seen[words] = look
            else:
                doubted.add(words)  # what is read alike cannot be told apart by its words
        elif look := meanings.of_findings(words):
            seen[words] = look
    for words in doubted | (fates.keys() & seen.keys()):
        told.pop(words, None)
    kept = {words: fate for words, fate in fates.items() if words in told}
    looks = {words: look for words, look in seen.items() if words in told}
    return Remarks(keeps, column.name, told, kept, looks, most) if told else None


def _seen_on_day(text: str) -> meanings.Meaning | None:
    """Say what was seen on the day of a remark that says of no day how she went: "3.6. eggs, sold"."""
    before, behind = apart.around_day(text) or ("", "")
    phrases = [one for side in (before, behind) for one in _PHRASES.split(side) if one.strip()]
    looked = [one for one in phrases if not reason_of(one)]
    return meanings.of_findings(", ".join(looked)) if looked else None


def _columns(station: Station) -> Iterator[tuple[Part, SheetColumn]]:
    """Give the columns that no rule reads, or only as a note, and the rule that names the queens."""
    for sheet in station.sheets:
        parts = station.parts_of(sheet.source)
        tables = {part.table: part for part in parts if "queen_id" in part.feed.uses}
        keeps = next((tables[name] for name in _KEEPS if name in tables), None)
        if keeps is None or any(part.table == "exits" for part in parts):
            continue
        read = {h for p in parts for n in p.feed.columns if n != "note" for h in p.feed.headings(n)}
        for column in sheet.columns:
            if column.name and column.name not in read:
                yield keeps, column


def _say_so(same: Sequence[Remarks]) -> bool:
    """Tell whether enough remarks under one heading say how queens went, or what was seen."""
    every = sum(one.told.total() for one in same)
    # somebody who says that he killed her says how she went, if not why
    known = sum(
        count
        for one in same
        for text, count in one.told.items()
        if text in one.fates or text in one.seen or meanings.is_culled(text)
    )
    return known >= max(_FEWEST, _KNOWN * every)


def settle(found: Iterable[Remarks], settings: Mapping[str, Any]) -> list[Remarks]:
    """Mark the remarks that the settings have taken apart: what new words say is added to that."""
    files = settings.get("files")
    parted = [
        (pattern, {heading.casefold(): most for heading, most in habits.get("apart", {}).items()})
        for pattern, habits in (files.items() if isinstance(files, Mapping) else ())
        if isinstance(habits, Mapping)
    ]
    return [
        next(
            (
                replace(one, settled=True, most=own[one.heading.casefold()])
                for pattern, own in parted
                if takes(pattern, one.part.source) and one.heading.casefold() in own
            ),
            one,
        )
        for one in found
    ]


def words(found: Iterable[Remarks], known: Sequence[Word]) -> list[Word]:
    """Give the words that say how queens went, but for those that other columns have."""
    have = {word.text.casefold() for word in known if word.column == "reason"}
    made: dict[str, Word] = {}
    found = list(found)
    every = sum((one.told for one in found), Counter[str]())
    for one in found:
        for text, count in one.told.items():
            fate, seen = one.fates.get(text), one.seen.get(text) or meanings.of_findings(text)
            told = fate or seen or every[text] >= _AGAIN or meanings.is_culled(text) or meanings.hints(text)
            if text.casefold() in have or not told:
                continue
            # a queen seen to lay drones may have been left where she was
            unsure = fate and (seen or fate == "drone_layer") and not meanings.is_culled(text)
            means = None if unsure else fate or seen
            word = made.setdefault(text.casefold(), Word("reason", text, means=means, dated=True))
            word.count += count
            word.sources.add(one.part.source)
            word.headings.add(one.heading)
    return list(made.values())


def questions(found: Iterable[Remarks]) -> list[Question]:
    """Ask of each heading once whether its remarks are to be read as exits."""
    by_id: dict[str, list[Remarks]] = {}
    for one in found:
        by_id.setdefault(one.id, []).append(one)
    asked = []
    for name, same in by_id.items():
        texts = list(dict.fromkeys(text for one in same for text in (*one.fates, *one.seen)))
        shown = ", ".join(f'"{text}"' for text in texts[:_SHOWN])
        asked.append(
            Question(
                name,
                f'Do remarks under "{same[0].heading}" say when and how queens went'
                f"{', or what was seen of them' if any(one.seen for one in same) else ''}?",
                [f"{sum(one.told.total() for one in same)} have a day beside words, such as {shown}"],
                {YES: "they do: read those as exits, and what was seen as checks", NO: "they do not: leave them unread"},
                sources=tuple(dict.fromkeys(one.part.source for one in same)),
            )
        )
    return asked


def rules(
    one: Remarks, queen: Any, means: Iterable[Word]
) -> Iterator[tuple[str, dict[str, Any], list[str]]]:
    """Give the tables that a sheet's remarks are read as, with their columns and the words taken.

    Parameters
    ----------
    one : Remarks
    queen : str or dict
        What gives the queen of each row.
    means : iterable of Word
    """
    day, said = one.headings
    ends, looks = set[str](), set[str]()
    for word in means:
        if word.column == FINDINGS and word.means and not word.limited:
            looks.add(word.text.casefold())
        elif word.column == "reason" and word.means:
            sets = word.means if isinstance(word.means, dict) else {EXIT: word.means}
            ends |= {word.text.casefold()} if EXIT in sets else set()
            looks |= {word.text.casefold()} if sets.keys() - {EXIT} else set()
    for table, known, columns in (
        ("exits", ends, {"left_on": day, "reason": said}),
        ("checks", looks, {"checked_on": day, FINDINGS: said}),
    ):
        texts = sorted(text for text in one.told if text.casefold() in known)
        if texts:
            yield table, {"queen_id": queen, **columns}, texts
