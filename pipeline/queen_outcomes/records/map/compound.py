"""Words of a look that are made of short parts, such as "ELV 4, Kg".

Where several texts are, each part is asked about once in place of every text: there are
fewer of them, and what next week's looks put together anew is read too.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Mapping, Sequence
from itertools import pairwise

from queen_outcomes.facts.reading import ABSENT, PARTS
from queen_outcomes.records.map import meanings
from queen_outcomes.records.map.fits import FINDINGS
from queen_outcomes.records.map.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.wordlist import DASHES, Word
from queen_outcomes.records.map.words import fold, vocabulary

STAGES = ("eggs", "larvae", "sealed")
"""In the order in which brood goes through them, and its letters are mostly written."""
_FEWEST = 3
"""Texts of several parts, from which on parts are asked about."""
_BETWEEN = re.compile(r"[\s,;:/+.&|()]+")
_RUN = re.compile(r"([^\W\d_]+)?(\d{1,2})?")
_SHORT, _CAPITALS, _MOST = 2, 5, 10
"""Letters of a part, of several that stand together, and the highest score."""


def tokens_of(text: str) -> tuple[str, ...] | None:
    """Take a text apart: capitals that stand together, scores, short words; None: it is prose."""
    found: list[str] = []
    for chunk in _BETWEEN.split(text):
        run = _RUN.fullmatch(chunk)
        if chunk in DASHES:
            found.append(chunk)
        elif chunk and not (run and _is_short(run)):
            return None
        elif chunk and run:
            letters, score = run.groups()
            if letters:
                found += list(letters) if letters.isupper() else [letters]
            found += [score] if score else []
    return tuple(found) if len(set(found)) == len(found) else None


def _is_short(run: re.Match[str]) -> bool:
    letters, score = run.groups()
    longest = _CAPITALS if letters and letters.isupper() else _SHORT
    return len(letters or "") <= longest and (not score or int(score) <= _MOST)


def is_made_of(text: str, parts: Container[str]) -> bool:
    """Tell whether a text is made of such parts alone, ``parts`` in small letters."""
    tokens = tokens_of(text)
    return bool(tokens) and all(token.casefold() in parts for token in tokens)


def compose(words: Sequence[Word]) -> list[Word]:
    """Put parts in the place of texts that are made of them, where there are several."""
    taken = {
        id(word): tokens
        for word in words
        if word.column == FINDINGS and not word.limited and (tokens := tokens_of(word.text))
    }
    several = [taken[id(word)] for word in words if _is_unknown(word, taken)]
    parts = {token for tokens in several for token in tokens}
    made = [word for word in words if parts.issuperset(taken.get(id(word), "?"))]
    if len(several) < _FEWEST or len(parts) > len(made):
        return list(words)
    stages = _stages(several)
    found: dict[str, Word] = {}
    for word in made:
        for token in taken[id(word)]:
            part = found.setdefault(token.casefold(), Word(PARTS, token))
            part.count += word.count
            part.sources |= word.sources
            part.headings |= word.headings
            part.means = stages.get(token) or meanings.of_findings(token)
    rest = [word for word in words if not any(word is one for one in made)]
    return [*rest, *sorted(found.values(), key=lambda part: (-part.count, part.text))]


def _is_unknown(word: Word, taken: Container[int]) -> bool:
    several = id(word) in taken and word.means is None
    return several and len(tokens_of(word.text) or ()) > 1


def _stages(texts: Iterable[Sequence[str]]) -> dict[str, dict[str, str]]:
    """Guess which letters are eggs, larvae and sealed brood: three that keep one order.

    And that are what the words for them begin with, in one language or another.
    """
    runs = [[one for one in tokens if len(one) == 1 and one.isalpha()] for tokens in texts]
    letters = list(dict.fromkeys(max(runs, key=len, default=[])))
    after = {pair for run in runs for pair in pairwise(run)}
    known = vocabulary().findings
    begins = [{fold(phrase)[:1] for phrase in known.get(stage, ())} for stage in STAGES]
    if len(letters) != len(STAGES) or any((late, soon) in after for soon, late in pairwise(letters)):
        return {}
    if any(fold(one) not in own for one, own in zip(letters, begins, strict=True)):
        return {}
    return {one: {stage: YES} for one, stage in zip(letters, STAGES, strict=True)}


def question(words: Sequence[Word]) -> list[Question]:
    """Ask what a text made of parts says of the stages that it has no part for."""
    parts = [word for word in words if word.column == PARTS]
    if not parts:
        return []
    shown = ", ".join(f'"{part.text}"' for part in parts[:5])
    return [
        Question(
            question_id(ABSENT, column=FINDINGS),
            "Where a text has a part for a stage of brood and none for another, was that looked "
            "for, and not there?",
            [f"the parts are {shown}" + (" ..." if len(parts) > 5 else "")],
            {
                YES: "it was: eggs, larvae or sealed brood that are not written were not there",
                NO: "nobody knows: nothing is said of them",
            },
        )
    ]


def absent(parts: Iterable[Mapping[str, str]]) -> dict[str, str]:
    """Give what the answer yes sets: no, of each stage that a part says is there."""
    there = {name for sets in parts for name, value in sets.items() if value == YES}
    return {stage: NO for stage in STAGES if stage in there}
