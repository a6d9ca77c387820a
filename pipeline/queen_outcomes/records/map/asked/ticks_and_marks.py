"""What is said by signs: blanks among ticks, words for a mark, letters for brood, fill colours."""

from __future__ import annotations

from collections import Counter

from queen_outcomes.records.map.asked.questions import (
    LEAVE,
    NO,
    YES,
    Question,
    question_id,
)
from queen_outcomes.records.map.seen import meanings
from queen_outcomes.records.map.seen.contents import crosses, yes_or_no
from queen_outcomes.records.map.seen.fits import ours_of
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.map.seen.words import STAGES, fold

_SHOWN = 5


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
                    tables=tuple(part.table for part in station.parts_of(sheet.source)),
                    fills=tuple(sorted(told)),
                )
            )
    return questions


def is_unmarked(text: str) -> bool:
    """Tell whether a word under a mark says that there is none."""
    sets = meanings.of_findings(text) or {}
    says_no = yes_or_no(text) == NO or sets.get("mark_seen") == NO
    return says_no or fold(text) in meanings.denying()  # "without"


def marks(station: Station) -> list[Question]:
    """Ask whether a mark written down says that she is marked, where nothing else does."""
    questions = []
    for part in station.parts:
        if "mark" not in part.feed.columns or "marked" in part.feed.columns:
            continue
        every = list(dict.fromkeys(part.texts("mark")))
        texts = [text for text in every if not is_unmarked(text)]
        denied = [text for text in every if is_unmarked(text)]
        empty = list(dict.fromkeys(t for held in part.contents("mark") for t in held.unknown))
        if texts:
            heading = part.feed.headings("mark")[0]
            questions.append(
                Question(
                    question_id("filled", part.source, part.table, "marked"),
                    f'In "{part.source}", is a queen with a word under "{heading}" marked?',
                    [
                        f"{len(part.texts('mark'))} have one: {', '.join(texts[:_SHOWN])}",
                        *([f"not marked: {', '.join(denied)}"] if denied else []),
                        *([f"nobody knows: {', '.join(empty)}"] if empty else []),
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
