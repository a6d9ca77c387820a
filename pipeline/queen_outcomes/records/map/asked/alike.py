"""One question for all sheets of a station that are alike, where one answer is likely.

Nine sheets of one book under the same headings are one hand's: whoever is asked the same
nine times stops reading. An answer under the id of one of them still holds for it alone.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace

from queen_outcomes.base.errors import shorten
from queen_outcomes.records.map.asked.questions import Question, place_of
from queen_outcomes.records.map.seen.sheet import Sheet

_OF_ANY_FILE = (
    *("filled", "blank", "fill", "column", "percent", "span", "graft", "letters", "ignore", "which", "again"),
    *("exposures", "weekday"),
)
_OF_ONE_FILE = ("dates", "rows", "year", "colours")
"""Kinds that are asked once for sheets alike: of all files, or of one workbook."""
_BY_HEADING = ("which",)
"""Of these one heading is asked once, whatever else the sheets hold: one hand means one thing by it."""
_EXAMPLE = re.compile(r", such as .*\?$")
_SHOWN = 3


def together(questions: Iterable[Question], sheets: Mapping[str, Sheet]) -> list[Question]:
    """Put questions that ask the same of sheets alike into one each.

    Parameters
    ----------
    questions : iterable of Question
    sheets : mapping of source to Sheet

    Returns
    -------
    list of Question
        In the same order, a joint one where its first stood. It has the first one's id.
    """
    questions = list(questions)
    places = [place_of(question.id) for question in questions]
    copies = {source for kind, source, *_ in places if kind == "copy"}  # may be left out
    groups: dict[object, list[Question]] = defaultdict(list)
    for question, (_, source, *_) in zip(questions, places, strict=True):
        key = None if source in copies else _key(question, sheets)
        groups[key or question.id].append(question)
    found = [group[0] if len(group) == 1 else joint(group) for group in groups.values()]
    return _of_one_heading(found)


def _of_one_heading(questions: Iterable[Question]) -> list[Question]:
    """Put questions into one that ask the same of one heading for several tables."""
    groups: dict[object, list[Question]] = defaultdict(list)
    for question in questions:
        same = question.text, tuple(question.evidence), str(question.default)
        groups[same if question.kind == "column" else question.id].append(question)
    return [
        group[0]
        if len(group) == 1
        else replace(group[0], members=[one for q in group for one in q.members or [q]])
        for group in groups.values()
    ]


def joint(members: list[Question]) -> Question:
    """Give the question of several that differ in their sheet, or in their table, alone."""
    first = members[0]
    of_each: dict[str, Question] = {}
    for question in members:
        of_each.setdefault(place_of(question.id)[1], question)
    if len(of_each) == 1:
        return replace(first, members=list(members))
    sources = list(of_each)
    named = shorten([f'"{source}"' for source in sources], ", ")
    whole = f"{len(sources)} sheets{'' if first.kind in _BY_HEADING else ' alike'} ({named})"
    of_all = [line for line in first.evidence if all(line in one.evidence for one in members)]
    evidence = [
        f"{source}: {line}"
        for source, question in list(of_each.items())[:_SHOWN]
        for line in question.evidence
        if line not in of_all
    ]
    if evidence and len(sources) > _SHOWN:
        evidence.append(f"and the like in {len(sources) - _SHOWN} more")
    evidence += of_all
    return replace(
        first,
        text=first.text.replace(f'"{sources[0]}"', whole),
        evidence=evidence,
        sources=tuple(dict.fromkeys(s for question in members for s in question.sources)),
        members=list(members),
        tables=tuple(dict.fromkeys(t for question in members for t in question.tables)),
        fills=tuple(dict.fromkeys(f for question in members for f in question.fills)),
    )


def _key(question: Question, sheets: Mapping[str, Sheet]) -> object:
    """Give what questions have in common that are put together; None: it stands alone."""
    kind, source, table, column = place_of(question.id)
    sheet = sheets.get(source)
    if kind not in (*_OF_ANY_FILE, *_OF_ONE_FILE) or sheet is None or not sheet.heads:
        return None
    file = sheet.grid.file if kind in _OF_ONE_FILE else ""
    text = _EXAMPLE.sub("", question.text.replace(f'"{source}"', "{}"))
    options = tuple(question.options)
    heads = () if kind in _BY_HEADING else sheet.heads
    return kind, table, column, file, heads, text, options, str(question.default)
