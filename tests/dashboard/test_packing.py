"""Packed columns: what is read back is what was put in."""

from __future__ import annotations

import pytest
import unpacked
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.dashboard import packing

whole = st.one_of(st.integers(-40, 40), st.integers(-(2**40), 2**40))
columns = st.lists(st.one_of(st.none(), whole), max_size=60)
words = st.text(st.sampled_from('ab, "<é\u2028'), max_size=12)


@settings(deadline=None)  # a loaded machine is no failure
@given(columns)
def test_numbers_are_read_back(column):
    packed = packing.numbers(column)
    assert unpacked.numbers(packed, len(column)) == column
    assert (packed is None) == (not [n for n in column if n is not None])


@settings(deadline=None)  # a loaded machine is no failure
@given(st.lists(st.lists(st.integers(0, 5000), max_size=5), max_size=20))
def test_lists_are_read_back(rows):
    assert unpacked.lists(packing.lists(rows), len(rows)) == rows


@settings(deadline=None)  # a loaded machine is no failure
@given(st.lists(words, max_size=30))
def test_phrases_join_to_the_texts(texts):
    assert [", ".join(parts) for parts in packing.phrases(texts)] == texts


@settings(deadline=None)  # a loaded machine is no failure
@given(st.lists(st.one_of(st.none(), words), max_size=30))
def test_words_are_read_back(column):
    shared = packing.Words([column, column])
    places = shared.places(column)
    assert [None if p is None else shared.all[p] for p in places] == column
    assert len(set(shared.all)) == len(shared.all)


def test_the_most_used_word_comes_first():
    assert packing.Words([["b", "a", "c", "c"]]).all == ["c", "a", "b"]


@pytest.mark.parametrize(
    ("column", "text"),
    [
        ([0, 1, 30], "uBCf"),  # one digit each: the number and 1
        ([31], "ugB"),  # 32 = 0 + 1 * 32; the first digit has 32 added
        ([None, 5], "uAG"),
        ([-1, 1], "sCD"),  # -2n, and 2n + 1
        ([None] * 9 + [2], "UJD"),  # nine left out, then 2 and 1
        ([None, None], None),
        ([], None),
    ],
)
def test_the_form_is_the_one_described(column, text):
    assert packing.numbers(column) == text


def test_what_comes_often_stays_whole():
    texts = ["in A, eggs, larvae", "in B, eggs, larvae", "in C, eggs, larvae"]
    assert packing.phrases(texts)[0] == ["in A", "eggs, larvae"]
    assert packing.phrases(["in A, eggs"] * 3)[0] == ["in A, eggs"]
    assert packing.phrases(["in A, eggs, larvae"])[0] == ["in A", "eggs", "larvae"]
