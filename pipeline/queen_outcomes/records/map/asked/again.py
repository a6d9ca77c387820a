"""Words such as "2nd" where the queen should stand: her second dose, on a row of its own."""

from __future__ import annotations

import re

from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.seen.contents import is_ditto
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.map.seen.words import tokens, vocabulary

KIND = "again"
_ID = "queen_id"
_FEW = 0.5
"""Rows of further doses are no more than such a share of a list."""
_ORDINAL = re.compile(r"^[2-9](?:st|nd|rd|th|ere|eme|er)$")
_RAISED = re.compile(r"^[2-9]\s?[ªº]")
_OF_DOSES = frozenset(
    [*("column:dose_ul", "column:inseminated_at", "topic:inseminations"), "part:filler", "part:number"]
)


def texts(part: Part) -> list[str]:
    """Give the words for a further dose that stand where a list of inseminations has the queen."""
    if part.table != "inseminations" or part.feed.only or _ID not in part.feed.uses:
        return []
    (column, *more) = part.columns_of(_ID)
    counts = column.contents.counts
    found = [text for text in counts if says_again(text)]
    first = next(iter(column.contents.texts), "")
    elsewhere = {
        text.casefold()
        for other in part.sheet.columns
        if other.at != column.at
        for text in other.contents.counts
    }
    few = sum(counts[text] for text in found) <= _FEW * column.contents.filled
    # a mark for the value above is one in every column of a sheet
    plain = first not in found and not elsewhere & {text.casefold() for text in found}
    return found if few and plain and not more else []


def says_again(text: str) -> bool:
    """Tell whether a text says "the second one", or "dose 2", and no label: "2a" is one."""
    words = tokens(text)
    ordinals, labels = vocabulary().ordinals, vocabulary().labels
    spelled = [w for w in words if _ORDINAL.match(w) or (ordinals.get(w, 0) > 1 and w.isalpha())]
    if _RAISED.match(text.strip()):
        spelled += [word for word in words if word[:1].isdigit() and word not in spelled]
    others = [word for word in words if word not in spelled]
    doses = [word for word in others if labels.get(word, frozenset()) & _OF_DOSES]
    figures = [word for word in others if word.isdigit() and 1 < int(word) < 10]
    named = any(labels.get(word, frozenset()) & {*_OF_DOSES} - {"part:filler", "part:number"} for word in doses)
    if len(spelled) == 1 and len(words[0]) > 1:
        return len(doses) == len(others)
    return not spelled and named and len(figures) == 1 and len(doses) + 1 == len(others)


def questions(station: Station) -> list[Question]:
    """Ask whether such a word stands for the queen of the row above."""
    asked = []
    for part in station.of("inseminations"):
        found = texts(part)
        if not found:
            continue
        counts = part.columns_of(_ID)[0].contents.counts
        shown = ", ".join(f'"{text}"' for text in found)
        heading = part.feed.headings(_ID)[0]
        asked.append(
            Question(
                question_id(KIND, part.source, part.table, _ID),
                f'In "{part.source}", does {shown} under "{heading}" stand for the queen of the '
                "row above?",
                [f"it stands there {sum(counts[text] for text in found)} times"],
                {YES: "it does: her next dose", NO: "it does not: it is a queen's label"},
                default=YES,
                sources=(part.source,),
            )
        )
    return asked


def ditto_of(part: Part) -> list[str]:
    """Give the marks for the value above that a sheet has, with its words for a further dose."""
    marks = {
        text.strip()
        for column in part.sheet.columns
        for text in column.contents.ditto
        if is_ditto(text.strip())
    }
    return [*sorted(marks), *texts(part)]
