"""What the words in cells mean: yes and no, reasons, leaks, and free words about a check."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache

from queen_outcomes.records.map.seen.contents import yes_or_no
from queen_outcomes.records.map.seen.words import (
    fold,
    forms,
    languages,
    tokens,
    vocabulary,
)

Meaning = dict[str, str]
_STAGES = ("eggs", "larvae", "sealed")
_SETS: dict[str, Meaning] = {
    "queen": {"queen_seen": "yes"},
    "queen_not": {"queen_seen": "no"},
    "mark_no": {"queen_seen": "yes", "mark_seen": "no"},
    "mark_yes": {"mark_seen": "yes"},
    "eggs": {"eggs": "yes"},
    "eggs_not": {"eggs": "no"},
    "larvae": {"larvae": "yes"},
    "sealed": {"sealed": "yes"},
    "all_stages": dict.fromkeys(_STAGES, "yes"),
    "brood": {"larvae": "yes", "sealed": "yes"},
    "nothing": dict.fromkeys(_STAGES, "no"),
    "drone_few": {"drone_in_worker": "few"},
    "drone_many": {"drone_in_worker": "many"},
    "multiple": {"multiple_eggs": "yes"},
    "cells_supersedure": {"queen_cells": "supersedure"},
    "cells_swarm": {"queen_cells": "swarm"},
    "cells_emergency": {"queen_cells": "emergency"},
    "cells_none": {"queen_cells": "none"},
    "brood_given": {"brood_given": "yes"},
    "unlooked": {},
}
_NEGATED: dict[str, Meaning] = {
    "queen": {"queen_seen": "no"},
    "eggs": {"eggs": "no"},
    "larvae": {"larvae": "no"},
    "sealed": {"sealed": "no"},
    "brood": {"larvae": "no", "sealed": "no"},
    "mark_yes": {"queen_seen": "yes", "mark_seen": "no"},
    "cells_supersedure": {"queen_cells": "none"},
    "multiple": {"multiple_eggs": "no"},
    "drone_few": {"drone_in_worker": "none"},
    "drone_many": {"drone_in_worker": "none"},
}
_FIRST = (
    "unlooked",
    "nothing",
    "queen_not",
    "mark_no",
    "all_stages",
    "multiple",
    "drone_few",
    "drone_many",
    "cells_supersedure",
    "cells_swarm",
    "cells_emergency",
    "cells_none",
    "brood_given",
    "queen",
    "eggs_not",
    "eggs",
    "larvae",
    "sealed",
    "mark_yes",
    "brood",
)
_LONGEST = 6
_UNKNOWN = ""
"""The kind of what nobody knows."""
_PIECES = re.compile(r"[,;\n]")
_MINUS = re.compile(r"\w[-–−](?=[\s,;/)]|$)|[-–−]\s*(?=[,;/)]|$)|(?:^|[\s,;/(])[-–−]\w")
"""A minus that may deny the word beside it; between blanks it parts two words."""


@cache
def _kinds() -> dict[str, str]:
    """Give each phrase its kind; a phrase of two kinds is what comes first in `_FIRST`."""
    found: dict[str, str] = {}
    for kind in _FIRST:
        for phrase in vocabulary().findings.get(kind, ()):
            found.setdefault(phrase, kind)
    return found


@cache
def _names() -> frozenset[str]:
    """Give the names of queen cells in several words, which begin like other things."""
    return frozenset(
        phrase
        for phrase, labels in vocabulary().labels.items()
        if "column:queen_cells" in labels and " " in phrase and phrase not in _kinds()
    )


def of_findings(text: str, only: tuple[str, ...] = ()) -> Meaning | None:
    """Say what a free word under a check sets; None where a part of it is unknown.

    Unknown is a minus that may deny a word ("E+ L-"), and a name that only begins like
    a known one ("queen cells" is no queen seen).

    Parameters
    ----------
    text : str
    only : tuple of str
        Columns it may set, where the heading names fewer ("brood").
    """
    found: Meaning = {}
    denied: Meaning = {}
    parted = "+" in text and re.search(r"\s[-–−]\s", text)
    known_all, looked, nothing = not (_MINUS.search(text) or parted), True, False
    for words in filter(None, map(tokens, _PIECES.split(text))):
        for kind, is_denied in _said(words):
            known_all = known_all and kind != _UNKNOWN
            looked = looked and kind != "unlooked"
            if is_denied and kind in _NEGATED:
                denied |= _NEGATED[kind]
            elif kind == "nothing":
                nothing = True  # but for what is said to be there: "no brood, eggs"
            elif kind != _UNKNOWN:
                # the first word wins: "seen, no eggs" says that the queen was seen
                found = _SETS[kind] | found
    found = (_SETS["nothing"] if nothing else {}) | found | denied
    if not looked:
        return None if found else {}
    if only:
        found = {name: value for name, value in found.items() if name in only}
    return found if known_all and found else None


def hints(text: str) -> bool:
    """Tell whether a part of a text is known for what is seen at a look."""
    said = [kind for words in map(tokens, _PIECES.split(text)) for kind, _ in _said(words)]
    return any(kind != _UNKNOWN for kind in said)


def _said(words: Sequence[str]) -> list[tuple[str, bool]]:
    """Take the words of a phrase for kinds of findings, and tell which of them are denied.

    A denial is of what follows it, or of what stands before it where nothing follows
    ("queen none") and in languages that deny behind a word.
    """
    known, kinds, found = vocabulary().findings, _kinds(), list[tuple[str, bool]]()
    negated, at = False, 0
    while at < len(words):
        for length in range(_LONGEST, 0, -1):
            phrase = " ".join(words[at : at + length])
            kind = kinds.get(phrase)
            denies = phrase in known.get("negations", ())
            behind = phrase in known.get("negations_behind", ())
            after = words[at + length :]
            if kind or denies or behind or phrase in _names():
                break
        if denies and kind and kind != "nothing":
            denies, kind = _denied_beside(phrase, kind, words[:at], after)
        at += length
        ends = all(word in known.get("fillers", ()) for word in after)
        if (behind or (denies and ends)) and found and found[-1][0] in _NEGATED:
            found[-1] = (found[-1][0], True)
            negated = False
        elif (denies and (kind is None or (after and kind == "nothing"))) or (behind and not found):
            negated = True
        elif kind == "nothing" and found and ends:
            found.append((_UNKNOWN, False))  # "queen none": no queen, or a queen and no brood
        elif kind:
            found.append((kind, negated))
            negated = negated and bool(after) and after[0] in known.get("joins_negation", ())
        elif phrase not in known.get("joins_negation", ()) and phrase not in known.get("fillers", ()):
            found.append((_UNKNOWN, False))
    return found


@cache
def _where_it_denies(phrase: str) -> tuple[frozenset[str], ...]:
    """Give what is found at looks in each language in which a word denies, folded."""
    named = [words.get("findings", {}) for words in languages().values()]
    return tuple(
        frozenset(form for texts in found.values() for text in texts for form in forms(text))
        for found in named
        if phrase in map(fold, found.get("negations", ()))
    )


def _denied_beside(
    phrase: str, kind: str, before: Sequence[str], after: Sequence[str]
) -> tuple[bool, str | None]:
    """Tell what a word is that denies in one language and is a thing in another.

    "Ei" is no beside words of the language in which it denies, and an egg beside others;
    alone nobody knows.
    """
    if not before and not after:
        return False, _UNKNOWN
    beside = {" ".join(after[:n]) for n in range(1, _LONGEST)}
    beside |= {" ".join(before[-n:]) for n in range(1, _LONGEST)}
    denies = any(not known.isdisjoint(beside - {""}) for known in _where_it_denies(phrase))
    return denies, None if denies else kind


def of_word(text: str, column: str, choices: tuple[str, ...]) -> str | None:
    """Say which of a word column's words a text is; None where nobody can tell."""
    plain = fold(text)
    known = vocabulary().words.get(column, {})
    if plain in known:
        return known[plain]
    if text.strip().casefold() in known:
        return known[text.strip().casefold()]
    if column == "reason":
        said = _of_reason(plain)
        culled = said in ("culled_fault", "culled_other")  # "not needed", "no brood"
        return said if culled or not _doubted(plain) else None
    if column == "queen_cells" and (found := of_findings(text)):
        return found.get("queen_cells")
    if yes_or_no(text) == "no" and "none" in choices:
        return "none"
    inside = {known[p] for p in known if _within(p, plain)}
    return inside.pop() if len(inside) == 1 and not _doubted(plain) else None


def is_reason(text: str) -> bool:
    """Tell whether a text, as a whole, is a word for how a queen went."""
    return fold(text) in vocabulary().words["reason"]


def is_cull(text: str) -> bool:
    """Tell whether a text, as a whole, is a word for that: "removed", not "cage removed"."""
    return fold(text) in vocabulary().reason_parts.get("culled", ())


def is_culled(text: str) -> bool:
    """Tell whether a text says that somebody killed her or took her out."""
    plain = fold(text)
    return any(_within(phrase, plain) for phrase in vocabulary().reason_parts.get("culled", ()))


def _of_reason(plain: str) -> str | None:
    parts, known = vocabulary().reason_parts, vocabulary().words["reason"]

    def has(part: str) -> bool:
        return any(_within(phrase, plain) for phrase in parts.get(part, ()))

    if has("culled"):
        # killed for that is how she went all the same
        drones = any(_within(p, plain) for p, reason in known.items() if reason == "drone_layer")
        of = ("drone_layer", drones), ("culled_other", has("other")), ("culled_fault", has("fault"))
        return next((reason for reason, said in of if said), None)
    colony = any(f"{plain} ".startswith(f"{p} ") for p in parts.get("colony", ()))
    if colony and has("ruin"):
        return "colony_lost"
    inside = [phrase for phrase in known if len(phrase) > 2 and _within(phrase, plain)]
    meant = {known[p] for p in inside if len(p) == max(map(len, inside))}
    if meant:
        return meant.pop() if len(meant) == 1 else None
    if colony or any(_within(p, plain) for p in parts.get("colony", ())):
        return "colony_lost" if has("ruin") else None
    return "culled_fault" if has("fault") and not has("other") else None


def denying() -> frozenset[str]:
    """Give the words that deny what follows them, or what stands before."""
    known = vocabulary().findings
    return known.get("negations", frozenset()) | known.get("negations_behind", frozenset())


def _doubted(plain: str) -> bool:
    """Tell whether a text denies or asks: "not sold", "swarmed?"."""
    denials = denying()
    return "?" in plain or any(_within(phrase, plain) for phrase in denials)


def _within(phrase: str, text: str) -> bool:
    """Tell whether a phrase stands in a text as whole words."""
    return f" {phrase} " in f" {text} "


def of_yes_no(text: str) -> str | None:
    """Say whether a text is yes or no."""
    return yes_or_no(text)
