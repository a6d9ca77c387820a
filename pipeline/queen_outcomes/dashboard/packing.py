"""Columns of a table as short texts, for pages that carry many thousands of rows.

A number is written in digits of base 32, the lowest first; every digit but a number's last
has 32 added, so that numbers follow each other without a separator. A digit from 0 to 63
is one character of `ALPHABET`. What is not known is 0; a known number n is n + 1 in a
column without negative numbers, else 2n + 1 from zero up and -2n below. The first
character says which: "u" or "s". Where little is known, the capital letter says that only
known numbers stand there, before each the count of rows left out since the one before. A
column in which nothing is known has no text at all. A text is a number too: its place in a list of words that the whole file shares.
`reports/static/queens-data.js` reads what is written here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import chain
from typing import Any

import numpy as np
import polars as pl

ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
_LETTERS = np.frombuffer(ALPHABET.encode("ascii"), dtype=np.uint8)
_BITS = 5
_OFTEN = 3
"""A longer phrase is a word of its own from this many uses on."""
_PAUSE = ", "


def numbers(values: Sequence[int | None] | pl.Series) -> str | None:
    """Give a column of whole numbers as one text.

    Parameters
    ----------
    values : sequence of int or None
        Each between -2^62 and 2^62.

    Returns
    -------
    str or None
        None where every value is None, and where there is none at all.
    """
    column = pl.Series(values, dtype=pl.Int64)
    known = column.is_not_null().to_numpy()
    if not known.any():
        return None
    plain = column.fill_null(0).to_numpy()
    kind, coded = "u", plain + 1
    if (plain < 0).any():
        kind, coded = "s", np.where(plain < 0, -2 * plain, 2 * plain + 1)
    if known.all():  # to write how many are left out takes more, not less
        return kind + _digits(coded)
    dense = kind + _digits(np.where(known, coded, 0))
    at = np.flatnonzero(known)
    gaps = np.diff(at, prepend=-1) - 1
    sparse = kind.upper() + _digits(np.column_stack([gaps, coded[known]]).ravel())
    return min(dense, sparse, key=len)


def _digits(coded: np.ndarray) -> str:
    """Write numbers from zero up one after the other."""
    most = max(1, -(-int(coded.max()).bit_length() // _BITS))
    if most * _BITS < 31:
        coded = coded.astype(np.int32)  # half as much to go through, and most are small
    shifted = coded[:, None] >> (_BITS * np.arange(most + 1))
    goes_on = shifted[:, 1:] > 0
    used = np.hstack([np.ones((len(coded), 1), dtype=bool), goes_on[:, :-1]])
    digits = (shifted[:, :-1] & 31) | (goes_on << _BITS)
    return _LETTERS[digits[used]].tobytes().decode("ascii")


def lists(rows: Sequence[Sequence[int]]) -> dict[str, str | None]:
    """Give a column of lists: how many numbers each row has, and the numbers."""
    return {
        "n": numbers([len(row) for row in rows]),
        "v": numbers([number for row in rows for number in row]),
    }


class Words:
    """The words that one file's columns share, the most used first.

    Parameters
    ----------
    columns : iterable of sequences
        Every use of every word; None stands for no word.
    """

    def __init__(self, columns: Iterable[Iterable[str | None]]) -> None:
        uses = Counter(chain.from_iterable(columns))
        del uses[None]
        self.all = sorted(uses, key=lambda word: (-uses[word], word))
        self._places = {word: place for place, word in enumerate(self.all)}

    def places(self, column: Iterable[str | None]) -> list[int | None]:
        """Give each word's place in the list; None for no word."""
        return [None if word is None else self._places[word] for word in column]


def phrases(texts: Sequence[str]) -> list[list[str]]:
    """Split texts into phrases that come again; joined by ", " they are the texts.

    What is said often stays whole, as does all that follows a text's first phrase; only
    the rest is split at every ", ".
    """
    whole = Counter(texts)
    rests = Counter[str]()
    for text, uses in whole.items():
        rests[text.partition(_PAUSE)[2]] += uses
    split = {text: _split(text, whole, rests) for text in whole}
    return [split[text] for text in texts]


def _split(text: str, whole: Counter[str], rests: Counter[str]) -> list[str]:
    first, pause, rest = text.partition(_PAUSE)
    if whole[text] >= _OFTEN or not pause:
        return [text]
    if rests[rest] >= _OFTEN:
        return [first, rest]
    return text.split(_PAUSE)


def without_gaps(columns: dict[str, Any]) -> dict[str, Any]:
    """Leave out the columns in which nothing is known."""
    return {name: column for name, column in columns.items() if column is not None}
