"""Questions that the data cannot answer: their ids, evidence, defaults and answers.

An id is "kind:source:table:column" with "*" where a part does not apply; it stays the
same as long as the sheet and its headings do. A question for several sheets has the id
that it has for the first of them, and an answer under another's id holds for that alone.
"""

from __future__ import annotations

import datetime as dt
import json
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rapidfuzz import fuzz, process

from queen_outcomes.base.errors import UsageError, raise_all
from queen_outcomes.base.text_layout import clean
from queen_outcomes.facts import languages, years
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings_form import MONTH, YEAR_OF_SHEET, sets_of
from queen_outcomes.records import suggested

KINDS = {
    "deed": "which table the rows of a diary belong to, by what they say was done",
    "dates": "the order in which days are written",
    "several": "several days in one cell, each of a dose",
    "year": "the year of days that are written without one",
    "month": "the month of days that are written without one",
    "weekday": "the day of the week of looks whose columns name weeks alone",
    "day": "days over columns that stand in no order",
    "mixed": "real days and texts in one column, as a spreadsheet of another locale leaves them",
    "percent": "whether figures up to 1 are shares or per cent",
    "span": "whether figures such as 4:30 are minutes and seconds or hours and minutes",
    "blank": "what a blank among ticks means",
    "prefix": "numbers that start again each year",
    "fold": "spellings of labels",
    "lead": "labels that lack the word before their number",
    "same": "spellings of people",
    "co2": "which CO2 exposures the list holds",
    "exposures": "the days on which CO2 was given, where words or counts stand",
    "copy": "a file that looks like a copy of another",
    "graft": "a day that may be that of grafting",
    "again": "words for a further dose where the queen should stand",
    "fill": "a day that is written once for several rows",
    "struck": "rows struck through",
    "hidden": "hidden rows",
    "title": "a fact above the headings that may hold for all rows below it",
    "void": "rows that call themselves void",
    "colours": "what a fill colour means",
    "filled": "whether a mark written down says that she is marked",
    "ignore": "a sheet that may be no record",
    "column": "what a column holds",
    "which": "which column of ours a heading means",
    "letters": "letters that may be the stages of brood",
    "rows": "whether every row of a sheet is a record of its table",
    "fates": "whether remarks with a day say how queens went",
    "absent": "what a text made of parts says of brood that it has no part for",
    "words": "what the words of the columns mean",
    "word": "what one word means",
}
_ID = r'"(?:[^"\\\n]|\\.)*"'
_OPEN = re.compile(rf"^# OPEN (?P<id>{_ID}): (?P<text>.*)$", re.MULTILINE)
_REFUSED = re.compile(rf"^# NO (?P<id>{_ID}): ", re.MULTILINE)
YES, NO = "yes", "no"
LEAVE, READ = "leave", "read"
RIGHT = "right"
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_FARTHEST = 5
"""An exposure lies so many days from its insemination at the most."""
OF_ALL_SHEETS = ("fold", "same")
"""Kinds of questions whose "no" no setting holds, so that a line of its own does."""


@dataclass
class Question:
    """One plain question.

    Parameters
    ----------
    id : str
        Stable: kind, source, table, column.
    text : str
        The question, in one sentence.
    evidence : list of str
        What in the data raised it.
    options : dict of answer to what it means
        Empty where any text may be the answer.
    default : str, optional
        The answer that the data support; None where they support none.
    """

    id: str
    text: str
    evidence: list[str] = field(default_factory=list)
    options: dict[str, str] = field(default_factory=dict)
    default: Any = None
    sources: tuple[str, ...] = ()
    answer: Any = None
    members: list[Question] = field(default_factory=list)
    """The questions of single sheets that this one stands for; see `alike`."""
    tables: tuple[str, ...] = ()
    """The tables whose columns an answer may set."""
    fills: tuple[str, ...] = ()
    """The fill colours that it may name."""

    @property
    def kind(self) -> str:
        """The first part of the id."""
        return self.id.partition(":")[0]

    @property
    def open(self) -> bool:
        """Tell whether nobody has answered."""
        if self.members:
            return any(member.answer is None for member in self.members)
        return self.answer is None

    def spread(self) -> None:
        """Give the answer to those of single sheets that have none of their own."""
        for member in self.members:
            if member.answer is None:
                member.answer = self.answer

    def as_dict(self) -> dict[str, Any]:
        """Give the question as JSON holds it."""
        return {
            "id": self.id,
            "question": self.text,
            "evidence": self.evidence,
            "options": self.options,
            "default": self.default,
            "answer": self.answer,
        }


@dataclass(frozen=True)
class OpenLine:
    """A question that `station.toml` says nobody has answered yet."""

    id: str
    text: str

    @property
    def place(self) -> tuple[str, str, str]:
        """Give the source, table and column that it concerns; "*" for any."""
        return place_of(self.id)[1:]


def question_id(
    kind: str, source: str = "*", table: str = "*", column: str = "*"
) -> str:
    """Give the stable id of a question."""
    return f"{kind}:{source}:{table}:{column}"


def place_of(name: str) -> tuple[str, str, str, str]:
    """Give the kind, source, table and column of a question's id; "*" for any."""
    kind, *rest = name.split(":", 1)
    if kind == "word":  # word:column:text
        return kind, "*", "*", "".join(rest).partition(":")[0]
    if kind == "deed":  # deed:heading:text, which any table of a diary may hang on
        return kind, "*", "*", "*"
    # a source's name may hold a colon
    parts = "".join(rest).rsplit(":", 2) if rest else []
    source, table, column = (*parts, "*", "*", "*")[:3]
    return kind, source, table, column


def open_line(question: Question) -> str:
    """Give the line of `station.toml` that says a question is open."""
    return _line("OPEN", question)


def refused_line(question: Question) -> str:
    """Give the line of `station.toml` that says a question was answered with no."""
    return _line("NO", question) + " (without this line it is asked again)"


def _line(word: str, question: Question) -> str:
    # comments are TOML too, which knows no control characters but the tab
    name, said = suggested.toml(question.id), clean(" ".join(question.text.split()))
    return f"# {word} {name}: {said}"


def _id_of(line: re.Match[str]) -> str:
    """Read the id that a line has in quotes; as it stands where somebody spoilt it."""
    try:
        return json.loads(line["id"], strict=False)
    except json.JSONDecodeError:
        return line["id"][1:-1]


def refused(text: str) -> set[str]:
    """Give the ids of the questions that the settings say were answered with no."""
    return {_id_of(line) for line in _REFUSED.finditer(text)}


def open_questions(text: str) -> list[OpenLine]:
    """Tell from the text of `station.toml` which questions are still open.

    Parameters
    ----------
    text : str
        The settings as they stand in the file.

    Returns
    -------
    list of OpenLine
        In the order of the file; `build` stops while one concerns a column in use.
    """
    return [
        OpenLine(_id_of(line), line["text"].rstrip()) for line in _OPEN.finditer(text)
    ]


def without_open_lines(text: str) -> str:
    """Take the lines of open questions out of the settings."""
    return re.sub(_OPEN.pattern + r"\n?", "", text, flags=re.MULTILINE)


def read_answers(path: Path) -> dict[str, Any]:
    """Read a file of answers: TOML, a question's id = its answer.

    Raises
    ------
    UsageError
        It cannot be read, or is no TOML.
    """
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise UsageError(
            "the answers cannot be read",
            where=str(path),
            found=str(problem),
            expected='lines such as "dates:bench.csv:inseminations:inseminated_at" = "dmy"',
            hint="mend the file; ids stand in quotes",
        ) from None


def give(
    questions: Iterable[Question], answers: Mapping[str, Any], known: Iterable[str]
) -> None:
    """Give answers to the questions that they name.

    Parameters
    ----------
    questions : iterable of Question
        Those asked now; their ``answer`` is filled in.
    answers : mapping of id to answer
    known : iterable of str
        Ids that may be answered though they are not asked now: single words, and
        questions that were answered in an earlier run.

    Raises
    ------
    UsageError
        An id that no question has (the nearest is named), or an answer that is none
        of the possible ones.
    """
    asked = {question.id: question for question in questions}
    single = {member.id: member for question in asked.values() for member in question.members}
    allowed = {*asked, *known}
    for name, answer in answers.items():
        if name not in allowed:
            near = process.extractOne(name, sorted(allowed), scorer=fuzz.ratio)
            raise UsageError(
                "an answer belongs to no question",
                where="the answers",
                found=name,
                expected="the id of a question that this station has",
                hint=f'did you mean "{near[0]}"?' if near else "take the line out",
            )
        if name in asked:
            asked[name].answer = checked(asked[name], answer)
        elif name in single:
            single[name].answer = checked(single[name], answer)
    for question in asked.values():
        question.spread()


def checked(question: Question, answer: Any) -> Any:
    """Give an answer in the form the question wants it, or refuse it."""
    if isinstance(answer, bool):
        answer = YES if answer else NO
    if question.kind == "month" and MONTH.read(answer) is None:
        raise UsageError(
            "an answer does not fit its question",
            where=question.id,
            found=str(answer),
            expected=MONTH.expected,
        )
    if question.kind == "year":
        return _year(question, answer)
    if question.kind == "weekday":
        answer = _weekday(str(answer))
    if question.kind in _TABLES and isinstance(answer, dict):
        return _TABLES[question.kind](question, answer)
    if question.options and not isinstance(answer, dict):
        options = {option.casefold(): option for option in question.options}
        given = str(answer).strip().casefold()
        if given not in options:
            raise UsageError(
                "an answer does not fit its question",
                where=question.id,
                found=str(answer),
                expected="one of " + ", ".join(question.options),
            )
        return options[given]
    return answer


def _year(question: Question, answer: Any) -> Any:
    """Check that an answer is a year, a season, or that they are to be left unread."""
    given = LEAVE if str(answer).strip().casefold() == LEAVE else years.answered(answer)
    if given is None:
        raise UsageError(
            "an answer does not fit its question",
            where=question.id,
            found=str(answer),
            expected=f'{YEAR_OF_SHEET.expected}, or "{LEAVE}"',
        )
    return given


def _days_meant(question: Question, answer: Mapping[str, Any]) -> dict[str, str]:
    """Check that days stand for headings that the question names."""
    read = {}
    for text, day in answer.items():
        try:
            meant = dt.date.fromisoformat(str(day))
        except ValueError:
            meant = None
        if meant is None or f'"{text}"' not in question.text:
            raise UsageError(
                "an answer does not fit its question",
                where=question.id,
                found=f"{text} = {day}",
                expected="headings that the question names, each with its day: year-month-day",
                hint='write a table such as { "5/6" = 2025-07-05 }',
            )
        read[text] = meant.isoformat()
    return read


def _weekday(answer: str) -> str:
    """Give the English name of a weekday in any language; what is none of one day as it is."""
    meant = languages.weekdays().get(languages.folded(answer.strip()), frozenset())
    return WEEKDAYS[min(meant) - 1] if len(meant) == 1 else answer


def _scores(question: Question, answer: Mapping[str, Any]) -> dict[str, float]:
    """Check what each score is in per cent."""
    for score, meant in answer.items():
        number = isinstance(meant, int | float) and not isinstance(meant, bool)
        if not number or not 0 <= meant <= 100 or not score.strip():
            raise UsageError(
                "an answer does not fit its question",
                where=question.id,
                found=f"{score} = {meant}",
                expected="what each score is in per cent, from 0 to 100",
                hint='write a table such as { "++" = 60, "+++" = 90 }',
            )
    return dict(answer)


def _exposures(question: Question, answer: Mapping[str, Any]) -> dict[str, list[int]]:
    """Check on which days around an insemination each text says that CO2 was given."""
    read: dict[str, list[int]] = {}
    for text, days in answer.items():
        listed = days if isinstance(days, list) else [days]
        whole = all(isinstance(day, int) and not isinstance(day, bool) for day in listed)
        if not whole or any(abs(day) > _FARTHEST for day in listed) or not text.strip():
            raise UsageError(
                "an answer does not fit its question",
                where=question.id,
                found=f"{text} = {days}",
                expected=f"days from -{_FARTHEST} to {_FARTHEST}, 0 for that of insemination",
                hint='write a table such as { "2x" = [-1, 0], "1x" = [0] }',
            )
        read[text] = sorted(set(listed))
    return read


def _fills(question: Question, answer: Mapping[str, Any]) -> dict[str, dict[str, str]]:
    """Check that every fill sets columns that a rule of the sheet keeps."""
    tables = [TABLES[name] for name in question.tables]
    read: dict[str, dict[str, str]] = {}
    for fill, sets in answer.items():
        if fill.upper() not in question.fills or not isinstance(sets, Mapping):
            raise UsageError(
                "an answer does not fit its question",
                where=question.id,
                found=f"{fill} = {sets}",
                expected="one of " + ", ".join(question.fills),
                hint='write a table such as { "#FFFF00" = { marked = "yes" } }',
            )
        for name, value in sets.items():
            table = next((one for one in tables if name in one.names), None)
            if table is None:
                raise UsageError(
                    "a colour cannot set this column",
                    where=f"{question.id}, {fill}",
                    found=name,
                    expected=f"a column of {', '.join(question.tables)}",
                    hint="how a queen went needs its day: write it in a row of the exits",
                )
            faults: list[UsageError] = []
            read.setdefault(fill.upper(), {}).update(sets_of(table, {name: value}, question.id, faults))
            raise_all(faults)
    return read


_TABLES = {"day": _days_meant, "percent": _scores, "exposures": _exposures, "colours": _fills}
"""Kinds that a table may answer, and what checks it."""


def accept_defaults(questions: Iterable[Question]) -> None:
    """Take every default that the data support; a question without one stays open."""
    for question in questions:
        if question.open and question.default is not None:
            question.answer = question.default if question.answer is None else question.answer
            question.spread()
