"""Words of a look that are made of short parts, such as "ELV 4, Kg".

Where several texts are, each part is asked about once in place of every text: there are
fewer of them, and what next week's looks put together anew is read too.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Container, Iterable, Mapping, Sequence
from itertools import pairwise

from queen_outcomes.facts.reading import ABSENT, PARTS
from queen_outcomes.records.map.asked.questions import NO, YES, Question, question_id
from queen_outcomes.records.map.asked.wordlist import DASHES, Word, has_foreign_letter
from queen_outcomes.records.map.seen import meanings
from queen_outcomes.records.map.seen.fits import FINDINGS
from queen_outcomes.records.map.seen.words import (
    STAGES,
    first_letters,
    fold,
    languages,
    vocabulary,
)

ANY_SHARE = "{pattern_pct}"
"""The part that any share of a text is."""
_COMMA, _SHARE = re.compile(r"[,;\n]"), re.compile(r"(\d{1,3}(?:[.,]\d+)?\s?%)")
_MANY, _FEW, _WORDS = 6, 0.8, 4
"""Texts of several phrases, from which on phrases are asked about; of how many others, for each of
those; and the words of a phrase."""
_FEWEST, _WAYS = 3, 2
"""Texts of several parts, from which on parts are asked about; and the ways in which a letter
stands beside others, from which on it is a part of its own."""
_BETWEEN = re.compile(r"[\s,;:/+&|()]+")
_JOINING = "+/&|"
"""Signs between parts, of which one that stands alone as a text says something itself."""
_NO_SIGNS = "?.\"'%" + "".join(DASHES)
"""What is no part of its own: "F4*" has one for "*", and "F4?" says that nobody knows."""
_PIECE = re.compile(
    rf"[^\W\d_]+|\d+|[{re.escape(''.join(sorted(DASHES - {'--'})))}]+|[^\w\s{re.escape(_NO_SIGNS)}]"
)
_SHORT, _CAPITALS, _MOST = 2, 5, 10
"""Letters of a part, of several that stand together, and the highest score."""


def tokens_of(text: str, whole: Container[str] = ()) -> tuple[str, ...] | None:
    """Take a text apart: letters that stand together, scores, short words; None: it is prose.

    ``whole`` holds capitals, in small letters, that are one part where they stand together,
    and signs that say something themselves.
    """
    found: list[str] = []
    for chunk in _chunks(text.strip(), whole):
        pieces = _PIECE.findall(chunk)
        if chunk.casefold() in whole:
            found.append(chunk)
        elif "".join(pieces) != chunk or not all(map(_is_short, pieces)):
            return None
        else:
            for piece in pieces:
                apart = piece.isupper() and piece.casefold() not in whole
                found += list(piece) if apart else [piece]
    folded = {token.casefold() for token in found}
    return tuple(found) if found and len(folded) == len(found) else None


def _chunks(text: str, whole: Container[str]) -> Iterable[str]:
    """Cut a text at blanks and signs, but for signs that are parts themselves."""
    for word in text.split():
        if word in whole:
            yield word
        else:
            yield from filter(None, _BETWEEN.split(word))


def _is_short(piece: str) -> bool:
    if piece.isdigit():
        return int(piece) <= _MOST
    return len(piece) <= (_CAPITALS if piece.isupper() else _SHORT)


def _signs(texts: Iterable[str]) -> set[str]:
    """Give the signs that stand alone in one text and at the end of others: "+", and "+ n".

    None where one joins two parts as well: nobody knows which of the two it does elsewhere.
    """
    alone = {text.strip() for text in texts} - {""}
    found = {text for text in alone if not text.strip(_JOINING)}
    joins = re.compile(rf"\w\s*[{re.escape(_JOINING)}]+\s*\w")
    return found if not any(map(joins.search, alone)) else set()


def _whole(texts: Collection[str]) -> set[str]:
    """Give the capitals that stand together in one way alone, in small letters: one part.

    Letters of which each stands for itself are put together in several ways. So are signs.
    """
    runs = {
        piece
        for text in texts
        for piece in _PIECE.findall(text)
        if piece.isupper() and tokens_of(text)
    }
    ways = Counter(letter for run in runs for letter in set(run))
    return _signs(texts) | {run.casefold() for run in runs if len(run) > 1 and max(ways[r] for r in run) < _WAYS}


def is_made_of(text: str, parts: Container[str]) -> bool:
    """Tell whether a text is made of such parts alone, ``parts`` in small letters."""
    ways = tokens_of(text, parts), phrases_of(text)
    return any(tokens and all(token.casefold() in parts for token in tokens) for tokens in ways)


def phrases_of(text: str) -> tuple[str, ...] | None:
    """Take a text apart at its commas and shares: short phrases; None: it is prose."""
    found = []
    pieces = [piece for each in _COMMA.split(text) for piece in _SHARE.split(each)]
    for phrase in (piece.strip() for piece in pieces if piece.strip()):
        if _SHARE.fullmatch(phrase):
            found.append(ANY_SHARE)
        elif re.search(r"\d", phrase) or len(phrase.split()) > _WORDS:
            return None
        else:
            found.append(phrase)
    folded = {phrase.casefold() for phrase in found}
    return tuple(found) if len(folded) == len(found) else None


def compose(words: Sequence[Word]) -> list[Word]:
    """Put parts in the place of texts that are made of them, where there are several."""
    return _by_phrases(_by_letters(words))


def _by_phrases(words: Sequence[Word]) -> list[Word]:
    """Put phrases in the place of texts that are made of them: "all stages, 85 %, queen seen"."""
    free = [word for word in words if word.column == FINDINGS and not word.limited]
    plain = {id(word): phrases for word in free if (phrases := phrases_of(word.text))}
    often = Counter(p.casefold() for phrases in plain.values() for p in phrases)
    known = {phrase for phrase, number in often.items() if number >= _WAYS}
    taken = {key: _parted(phrases, known) for key, phrases in plain.items()}
    several = [taken[id(word)] for word in free if len(taken.get(id(word), ())) > 1]
    parts = {phrase.casefold() for phrases in several for phrase in phrases}
    asked = [part for part in parts if fold(part) not in _joins()]
    if len(several) < _MANY or len(asked) > _FEW * len(several):
        return list(words)
    found: dict[str, Word] = {word.text.casefold(): word for word in words if word.column == PARTS}
    rest = []
    for word in words:
        phrases = taken.get(id(word), ())
        if not phrases or not parts.issuperset(map(str.casefold, phrases)):
            rest += [] if word.column == PARTS else [word]
            continue
        for phrase in phrases:
            part = found.setdefault(phrase.casefold(), Word(PARTS, phrase))
            part.count += word.count
            part.sources |= word.sources
            part.headings |= word.headings
            nothing = phrase == ANY_SHARE or fold(phrase) in _joins()
            part.means = {} if nothing else meanings.of_findings(phrase)
    return [*rest, *sorted(found.values(), key=lambda part: (-part.count, part.text))]


def _parted(phrases: Iterable[str], known: Container[str]) -> tuple[str, ...]:
    """Part phrases by one that stands alone elsewhere: "queen seen wet", "eggs and sealed brood"."""
    found: list[str] = []
    for phrase in phrases:
        found += _joined(phrase, known) or _begun(phrase, known)
    return tuple(dict.fromkeys(found))


def _begun(phrase: str, known: Container[str]) -> list[str]:
    """Take off the phrase that another begins with: "queen seen" of "queen seen wet"."""
    words = phrase.split()
    begins = range(len(words) - 1, 0, -1)
    at = next((n for n in begins if " ".join(words[:n]).casefold() in known), 0)
    rest = " ".join(words[at:]).lstrip("&+ ")
    return [" ".join(words[:at]), *([rest] if rest else [])] if at else [phrase]


def _joined(phrase: str, known: Container[str]) -> list[str]:
    """Part a phrase at its "and", which sets nothing; empty where neither side stands alone."""
    words = phrase.split()
    for at in range(1, len(words) - 1):
        sides = " ".join(words[:at]), " ".join(words[at + 1 :])
        if fold(words[at]) in _joins() and any(side.casefold() in known for side in sides):
            return [sides[0], words[at], sides[1]]
    return []


def _joins() -> frozenset[str]:
    return vocabulary().findings.get("joins", frozenset())


def _by_letters(words: Sequence[Word]) -> list[Word]:
    free = [word for word in words if word.column == FINDINGS and not word.limited]
    texts = [word.text for word in free]
    whole, said = _whole(texts), {text for text in texts if not text.strip(_JOINING)}
    taken = {
        id(word): tokens
        for word in free
        if (tokens := tokens_of(word.text, whole)) and not _lacks(word.text, tokens, said)
    }
    several = [
        taken[id(word)]
        for word in free
        if word.means is None and len(taken.get(id(word), ())) > 1
    ]
    parts = {token for tokens in several for token in tokens}
    made = [word for word in words if parts.issuperset(taken.get(id(word), "?"))]
    if len(several) < _FEWEST or len(parts) > len(made):
        return list(words)
    runs = _runs((word.text for word in made), whole)
    stages, together = _stages(runs), {letter for run in runs for letter in run}
    found: dict[str, Word] = {}
    for word in made:
        for token in taken[id(word)]:
            part = found.setdefault(token.casefold(), Word(PARTS, token))
            part.count += word.count
            part.sources |= word.sources
            part.headings |= word.headings
            part.spoken |= word.spoken
            # of letters written together one alone may be another's abbreviation
            foreign = token in together or has_foreign_letter(token, word.spoken)
            alone = None if foreign else meanings.of_findings(token)
            part.means = stages.get(token) or alone
    rest = [word for word in words if not any(word is one for one in made)]
    return [*rest, *sorted(found.values(), key=lambda part: (-part.count, part.text))]


def _lacks(text: str, tokens: Sequence[str], said: Container[str]) -> bool:
    """Tell whether a sign at an end of a text, which says something elsewhere, is no part here."""
    words = text.split()
    ends = (words[0], words[-1]) if words else ()
    return any(word in said and word not in tokens for word in ends)


def _runs(texts: Iterable[str], whole: Container[str]) -> list[str]:
    """Give the letters that stand together, each a part of its own."""
    pieces = (piece for text in texts for piece in _PIECE.findall(text))
    return [p for p in pieces if len(p) > 1 and p.isupper() and p.casefold() not in whole]


def _stages(runs: Sequence[str]) -> dict[str, dict[str, str]]:
    """Guess which letters are eggs, larvae and sealed brood: three that keep one order.

    And that are what the words for them begin with, all in one language.
    """
    letters = list(dict.fromkeys(max(runs, key=len, default=[])))
    after = {pair for run in runs for pair in pairwise(run)}
    if len(letters) != len(STAGES) or any((late, soon) in after for soon, late in pairwise(letters)):
        return {}
    pairs = list(zip(map(fold, letters), STAGES, strict=True))
    said = (first_letters(language) for language in languages())
    if not any(all(letter in own[stage] for letter, stage in pairs) for own in said):
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
