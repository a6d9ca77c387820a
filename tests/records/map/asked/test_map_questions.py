"""Ids of questions as the settings keep them: written in a comment, and read back."""

import tomllib

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from queen_outcomes.base.errors import UsageError
from queen_outcomes.records.map.asked.questions import (
    Question,
    checked,
    open_line,
    open_questions,
    place_of,
    question_id,
    refused,
    refused_line,
    without_open_lines,
)

NAMES = st.text(st.characters(exclude_categories=["Cs"]))
"""Names of files and sheets: anything that TOML can hold."""


@given(source=NAMES, text=NAMES)
@example(source='a "b".csv', text='Is "a" a record?')
@example(source=r"a\b.csv", text="")
@example(source=r"a\"b", text="")
@example(source="a\x00\x1b\x7f\x85\u2028.csv", text="\x00\x1b\x7f\x85\u2028")
@example(source="a\nb\rc.csv", text="one\ntwo")
@example(source='x": y', text='": z')
@example(source="bench 10:30.csv", text="")
def test_an_id_is_read_back_as_it_was_written(source, text):
    question = Question(question_id("column", source, "checks", "note"), text)
    for line in (open_line(question), refused_line(question)):
        assert "\n" not in line
        assert tomllib.loads(f"a = 1\n{line}\nb = 2\n") == {"a": 1, "b": 2}
    written = f"a = 1\n{open_line(question)}\n{refused_line(question)}\nb = 2\n"
    (one,) = open_questions(written)
    assert (one.id, one.place) == (question.id, (source, "checks", "note"))
    assert refused(written) == {question.id}
    assert without_open_lines(written) == f"a = 1\n{refused_line(question)}\nb = 2\n"


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("ignore:plain.csv:*:*", '"ignore:plain.csv:*:*"'),
        ('ignore:a "b".csv:*:*', r'"ignore:a \"b\".csv:*:*"'),
        (r"ignore:a\b.csv:*:*", r'"ignore:a\\b.csv:*:*"'),
        ("ignore:müde Königin.csv:*:*", '"ignore:müde Königin.csv:*:*"'),
        ("ignore:a\x7f\x01\t.csv:*:*", r'"ignore:a\u007f\u0001\t.csv:*:*"'),
    ],
)
def test_an_id_can_be_copied_into_the_answers(name, written):
    line = open_line(Question(name, "Is it?"))
    assert line == f"# OPEN {written}: Is it?"
    assert tomllib.loads(f'{written} = "yes"') == {name: "yes"}


def test_a_text_has_no_sign_that_acts_on_an_editor():
    line = open_line(Question("void:a.csv:*:*", "is\tit\x1b[31m \u202evoid?"))
    assert line == r'# OPEN "void:a.csv:*:*": is it\u001b[31m \u202evoid?'


def test_an_id_that_somebody_spoilt_is_taken_as_it_stands():
    text = '# OPEN "ignore:a\\q.csv:*:*": Is it?\n# OPEN "half: no\n# OPEN "b": Or it?\r\n'
    found = [(one.id, one.text) for one in open_questions(text)]
    assert found == [(r"ignore:a\q.csv:*:*", "Is it?"), ("b", "Or it?")]


@pytest.mark.parametrize(
    ("name", "place"),
    [
        ("words:*:*:*", ("words", "*", "*", "*")),
        ("word:reason:gone: sold", ("word", "*", "*", "reason")),
        ("dates:bench.csv#a:b:checks:checked_on", ("dates", "bench.csv#a:b", "checks", "checked_on")),
        ("odd", ("odd", "*", "*", "*")),
    ],
)
def test_what_an_id_is_about(name, place):
    assert place_of(name) == place


PAINTED = Question(
    question_id("colours", "b.csv"), "", ["#FFFF00: 3 rows", "beside the list: yellow = sold"],
    {"no": "nothing"}, tables=("queens", "inseminations", "checks"), fills=("#FFFF00",),
)  # fmt: skip


def test_a_fill_sets_columns_that_its_sheet_keeps():
    assert checked(PAINTED, "no") == "no"
    sets = {"marked": "yes", "eggs": "no"}
    assert checked(PAINTED, {"#ffff00": sets}) == {"#FFFF00": sets}


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ({"#FFFF00": {"reason": "sold"}}, "a column of queens, inseminations, checks"),
        ({"#FFFF00": {"exit": "sold"}}, "a column of queens, inseminations, checks"),
        ({"#FF0000": {"marked": "yes"}}, "one of #FFFF00"),
        ({"#FFFF00": "sold"}, "one of #FFFF00"),
        ({"#FFFF00": {"marked": "perhaps"}}, '"yes" or "no"'),
    ],
)
def test_a_fill_that_can_set_nothing_is_refused(answer, said):
    # it was taken, and nothing was written
    with pytest.raises(UsageError) as refused_one:
        checked(PAINTED, answer)
    assert refused_one.value.expected.startswith(said)
