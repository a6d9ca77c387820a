"""Signs that say something where they stand alone, beside letters: "+", "++", "+ n"."""

import pytest
from queen_outcomes.records.map.asked.compound import compose
from queen_outcomes.records.map.asked.wordlist import Word
from queen_outcomes.records.map.seen.fits import FINDINGS


def composed(*texts):
    """Give the words that are asked about, parts and whole texts."""
    words = [Word(FINDINGS, text, count=1, sources={"a.csv"}) for text in texts]
    found = compose(words)
    return {w.text for w in found if w.column == "parts"}, {
        w.text for w in found if w.column == FINDINGS
    }


def test_a_sign_that_stands_alone_is_a_part_at_the_end_of_others():
    parts, rest = composed("+", "++", "+ n", "P4", "P5", "P n", "P3 n")
    assert parts == {"+", "n", "P", "3", "4", "5"}
    assert rest == {"++"}


@pytest.mark.parametrize("joined", ["P + n", "P+n"])
def test_one_that_joins_parts_too_is_asked_about_with_its_text(joined):
    parts, rest = composed("+", "+ n", "P4", "P5", "P n", "P3 n", joined)
    assert "+" not in parts
    assert rest == {"+", "+ n"}


def test_one_that_never_stands_alone_only_joins():
    parts, rest = composed("P+n", "P4 + n", "P3", "P5", "P4", "n")
    assert parts == {"P", "n", "3", "4", "5"}
    assert not rest


@pytest.mark.parametrize(
    ("spoken", "means"),
    [({"tr"}, None), ({"de"}, {"eggs": "yes"}), ({"en"}, {"eggs": "yes"}), (set(), {"eggs": "yes"})],
)
def test_a_lone_letter_is_a_stage_where_its_word_begins_so(spoken, means):
    """In a Turkish sheet "E" is drones, and eggs are "Y"."""
    texts = ["Y L", "Y K", "E", "L", "Y L K", "K", "E K", "Y"]
    words = [Word(FINDINGS, text, count=1, spoken=set(spoken)) for text in texts]
    (letter,) = [word for word in compose(words) if word.text == "E"]
    assert letter.means == means
