"""Find a queen, and see what her records say of her.

The page carries the list of courses; what is told of each queen lies in further files
that her browser loads when she is picked, so that 50,000 courses open at once.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import polars as pl

from queen_outcomes.base.refs import IN_SOURCE_BITS
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import fates, packing
from queen_outcomes.dashboard.charts.linked import table
from queen_outcomes.dashboard.figures import statement
from queen_outcomes.facts import words
from queen_outcomes.facts.outcomes import OUTCOMES, Outcome
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes import explain

STATIC = (
    *("queens.css", "queens-data.js", "queens-words.js", "queens-table.js"),
    *("queens-timeline.js", "queens-panel.js"),
)
"""The page's own style and scripts, in the order in which they are loaded."""
LIST_FILE = "data/queens-list.js"
QUEENS_A_FILE = 2000
FILES_AT_ONCE = 5
"""Files whose rows are held at once: all of them would take 2 GB at 100,000 courses."""
STATES = ("yes", "no", "undecided", "left")
"""A state is its place here and 1; 4 more while its window is open; 0: not at risk."""
NAMED = (
    *("operator", "line", "graft_batch", "semen_batch", "protocol", "dose_ul"),
    *("colony", "end_reason"),
)
"""Columns whose values stand once, in order, in a list of their own."""
COUNTED = ("course", "onset_after", "onset_by", "end_by")
END_WORDS = {
    "drone_layer": "gone as a drone-layer",
    "culled_fault": "culled for a fault",
}
"""How an end is said where its name does not say it."""
EVENTS = (
    *("emerged", "semen", "inseminated", "co2", "placed", "checked", "left", "sampled"),
    *("quarantined", "another", "drones", "brood", "empty", "no_brood", "queen"),
    "nothing",
)
"""What a row of the records tells (see `trail.sql`), or what a look that counts is drawn as
(see `queen_looks.sql`)."""
WORDED = {
    "courses": (),
    "records": ("remark",),
    "answers": ("rule",),
    "due": ("look_for", "settles"),
}
"""Columns of words, by table."""
WHOLE = {
    "courses": ("course", "conflict", "end_after", "inferred", "exit_day", "next_day"),
    "records": ("on", "until", "event", "place", "laying_after", "laying_by"),
    "answers": ("asked", "after", "by"),
    "due": ("course", "day", "on"),
}
"""Columns of whole numbers, by table."""
LISTS = {"courses": (), "records": ("says",), "answers": ("settled",), "due": ()}
"""Columns of lists of words or places, by table."""

Question = tuple[str, int]


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `queens.html` shows, and the files it loads."""
    rules = settings.outcomes
    courses = store.frame(statement("queen_cards"), {"as_of": as_of})
    queens = courses["queen_id"].unique().sort().to_list()
    sources = words.source_names(store)
    column, column_title = _column(rules.windows)
    listed = {
        **index(
            courses, store.frame(statement("queen_states")), queens, settings, as_of
        ),
        "sources": sources,
        "queens_a_file": QUEENS_A_FILE,
        "column": column,
        "end_words": END_WORDS,
        "events": EVENTS,
        "tables": {
            name: (*whole, *WORDED[name], *LISTS[name]) for name, whole in WHOLE.items()
        },
    }
    parts = [
        part
        for some in _slices(queens)
        for part in packed_files(
            details(store, courses, some, settings, as_of), some, sources, rules.windows
        )
    ]
    # files are found by their numbers: a page that was opened before a rebuild must not
    # take another build's rows for its own
    said = words.script_json([listed, *parts]).encode()
    mark = {"made_of": hashlib.sha256(said).hexdigest()[:16]}
    scripts = [f"static/{name}" for name in STATIC if name.endswith(".js")]
    scripts.insert(1, LIST_FILE)  # behind the script that takes it up
    charts: dict[str, Any] = {}
    became = fates.show(store, rules.laying_days[0], as_of, charts)
    asked = {"as_of": as_of, "seasons": 2}
    shared = store.records(statement("linked_courses"), asked) if charts else []
    return {
        "became": became,
        "charts": charts,
        "linked": table(shared, ("week", "operator", "graft_batch")),
        "count": len(courses),
        "choices": _choices(rules.windows),
        "column_title": column_title,
        "first_window": rules.laying_days[0],
        "first_answer": rules.laying_days[0] + rules.grace_days,
        "scripts": scripts,
        "files": {
            LIST_FILE: _script("list", listed | mark),
            **{
                f"data/queens-{number}.js": _script(number, part | mark)
                for number, part in enumerate(parts)
            },
        },
    }


def _slices(queens: list[str]) -> Iterator[list[str]]:
    """Give the queens of as many whole files as are made at once."""
    step = QUEENS_A_FILE * FILES_AT_ONCE
    for start in range(0, len(queens), step):
        yield queens[start : start + step]


def _first_of(curve: str, windows: list[Question]) -> tuple[Outcome, int | None]:
    """Give the outcome with a curve, and the place of its first question, if it has one."""
    outcome = next(one for one in OUTCOMES.values() if one.curve == curve)
    asked = [at for at, (name, _) in enumerate(windows) if name == outcome.name]
    return outcome, asked[0] if asked else None


def _column(windows: list[Question]) -> tuple[int | None, str]:
    """Give the question that has a column in the list, and its heading."""
    outcome, at = _first_of("state", windows)
    title = outcome.label.capitalize()
    return at, title if at is None else f"{title} by day {windows[at][1]}"


def _choices(windows: list[Question]) -> list[dict[str, Any]]:
    """Give the answers that the list can be narrowed to."""
    found = []
    for curve, is_success in (("state", True), ("onset", False)):
        outcome, at = _first_of(curve, windows)
        if at is not None:
            said = outcome.success if is_success else outcome.failure
            answer = "no" if (outcome.fails == "yes") is is_success else "yes"
            said = said.format(windows[at][1])
            found.append({"question": at, "answer": answer, "words": said})
    return found


def _script(name: str | int, content: dict[str, Any]) -> str:
    """Give a script that hands its content over; a page from a disk may load no other."""
    return f"queens.take({words.script_json(name)}, {words.script_json(content)});\n"


def index(
    courses: pl.DataFrame,
    answers: pl.DataFrame,
    queens: list[str],
    settings: Settings,
    as_of: dt.date,
) -> dict[str, Any]:
    """Give the list as packed columns with what is needed to read them.

    Parameters
    ----------
    courses : DataFrame
        As `queen_cards.sql` gives it; the list keeps its order.
    answers : DataFrame
        As `queen_states.sql` gives them.
    queens : list of str
        Every queen's label, in order; a course names her by her place.
    settings : Settings
        The outcomes asked about, their windows and the days of grace.
    as_of : date
        The day the figures stand for.

    Returns
    -------
    dict
        ``first_day`` (the earliest day 0; days are counted from there), ``queens``,
        ``questions``, ``lists`` (each named column's values), ``columns`` (packed) and
        ``states`` (a packed column a question).
    """
    first = courses["d0"].min() if len(courses) else as_of
    place = {queen: number for number, queen in enumerate(queens)}
    columns: dict[str, Any] = {
        "queen": packing.numbers([place[queen] for queen in courses["queen_id"]]),
        "d0": packing.numbers((courses["d0"] - first).dt.total_days()),
    }
    columns |= {name: packing.numbers(courses[name]) for name in COUNTED}
    lists = {}
    for name in NAMED:
        lists[name], columns[name] = _coded_values(courses[name])
    return {
        "as_of": as_of,
        "first_day": first,
        "grace_days": settings.outcomes.grace_days,
        "queens": queens,
        "answers": STATES,
        "questions": [_question(*asked) for asked in settings.outcomes.windows],
        "lists": lists,
        "columns": packing.without_gaps(columns),
        "states": [
            packing.numbers(_state_codes(courses, answers, *asked))
            for asked in settings.outcomes.windows
        ],
    }


def _question(outcome: str, days: int) -> dict[str, Any]:
    asked = OUTCOMES[outcome]
    return {
        "outcome": outcome,
        "days": days,
        "words": asked.label,
        "lane": asked.curve == "incidence" and asked.is_told_at_close,
    }


def _coded_values(column: pl.Series) -> tuple[list[Any], str | None]:
    """Give a column's values, each once and in order, and every row's place in them."""
    values = sorted(column.drop_nulls().unique())
    place = {value: number for number, value in enumerate(values)}
    return values, packing.numbers([place.get(value) for value in column])


def _state_codes(
    courses: pl.DataFrame, answers: pl.DataFrame, outcome: str, days: int
) -> list[int]:
    asked = answers.filter(
        (pl.col("outcome") == outcome) & (pl.col("window_days") == days)
    )
    known = {
        course: STATES.index(state) + 1 + (0 if closed else len(STATES))
        for course, state, closed in asked.select(
            "course_id", "state", "closed"
        ).iter_rows()
    }
    return [known.get(course, 0) for course in courses["course_id"]]


def details(
    store: Store,
    courses: pl.DataFrame,
    queens: list[str],
    settings: Settings,
    as_of: dt.date,
) -> dict[str, pl.DataFrame]:
    """Give what is to be shown of some queens, as tables in their order.

    Parameters
    ----------
    store : Store
        A build in which everything is derived.
    courses : DataFrame
        As `queen_cards.sql` gives it, of every queen.
    queens : list of str
        The labels of those asked for, in order.
    settings : Settings
        For the stage lengths that the looks are read with.
    as_of : date

    Returns
    -------
    dict of DataFrame
        ``courses``; ``records``, a row of the records with what a look implies;
        ``answers`` with the rule and, in ``settled``, the places of the deciding rows
        among the queen's ``records``; ``due``, the looks due. All by ``queen_id``; days
        count from the course's day 0, and ``records`` carry dates.
    """
    given = explain.parameters(store, queens, settings=settings, as_of=as_of)
    asked = {"queens": queens}

    def told(name: str) -> pl.DataFrame:
        return store.frame(explain.statement(name), given)

    shapes = store.frame(statement("queen_looks"))
    looks = told("looks_explained").join(shapes, on="ref")
    looks = looks.with_columns(event=pl.lit("checked")).drop(
        "course_id", "day", "source"
    )
    records = (
        told("trail")
        .with_row_index("row")
        .join(looks, on=["ref", "event"], how="left")
        .sort("row")
    )
    rules = told("outcomes_explained").select(
        "course_id", "outcome", "window_days", "rule"
    )
    answers = (
        store.frame(statement("queen_answers"), asked)
        .join(rules, on=["course_id", "outcome", "window_days"])
        .sort("queen_id", "course", "outcome", "window_days")
    )
    return {
        "courses": courses.filter(pl.col("queen_id").is_in(queens)).sort(
            "queen_id", "course"
        ),
        "records": records,
        "answers": _settled_by(answers, records),
        "due": store.frame(statement("queen_due"), asked),
    }


def _settled_by(answers: pl.DataFrame, records: pl.DataFrame) -> pl.DataFrame:
    """Put the deciding rows' places among the queen's records beside each answer."""
    places = (
        records.with_columns(place=pl.int_range(pl.len()).over("queen_id"))
        .select("queen_id", "source", "place")
        .unique(["queen_id", "source"], keep="first", maintain_order=True)
    )
    rows = answers.with_row_index("row")
    found = (
        rows.select("row", "queen_id", "settled_by")
        .explode("settled_by", empty_as_null=True, keep_nulls=True)
        .with_row_index("turn")
        .join(
            places, left_on=["queen_id", "settled_by"], right_on=["queen_id", "source"]
        )
        .sort("turn")
        .group_by("row", maintain_order=True)
        .agg(settled="place")
    )
    return rows.join(found, on="row", how="left").sort("row").drop("row")


def packed_files(
    told: Mapping[str, pl.DataFrame],
    queens: list[str],
    sources: list[str],
    questions: list[Question],
) -> Iterator[dict[str, Any]]:
    """Give what each file holds: the queens in order, `QUEENS_A_FILE` to a file.

    Parameters
    ----------
    told : mapping of DataFrame
        As `details` gives them.
    queens : list of str
        Their labels, in order.
    sources : list of str
        The sources' names in the order of their numbers.
    questions : list of (str, int)
        Outcomes and windows, in the order that the page numbers them.

    Yields
    ------
    dict
        ``words``, and each table: ``rows``, how many each queen of the file has, and its
        packed columns. ``on`` and ``until`` are days after the queen's first day 0;
            ``asked`` is (course - 1) * number of questions + number of the question from zero;
        ``place`` is line * number of sources + number of the source from zero, where
        the line holds its slot too;
        ``says`` lists phrases that ", " joins, ``settled`` places among her records.
    """
    coded = _coded(told, sources, questions)
    for start in range(0, len(queens), QUEENS_A_FILE):
        end = min(start + QUEENS_A_FILE, len(queens))
        here = {
            name: frame.filter(pl.col("queen").is_between(start, end, closed="left"))
            for name, frame in coded.items()
        }
        yield _packed(here, start, end - start)


def _coded(
    told: Mapping[str, pl.DataFrame],
    sources: list[str],
    questions: list[Question],
) -> dict[str, pl.DataFrame]:
    """Put numbers in the place of queens, dates, sources and what has a fixed order."""
    first = (
        told["courses"]
        .group_by("queen_id")
        .agg(first=pl.col("d0").min())
        .sort("queen_id")
        .with_row_index("queen")
    )
    numbered = {
        name: frame.join(first, on="queen_id", maintain_order="left")
        for name, frame in told.items()
    }
    days = [
        (pl.col(name) - pl.col("first")).dt.total_days().alias(name)
        for name in ("on", "until")
    ]
    numbered["due"] = numbered["due"].with_columns(days[0])
    source = pl.col("ref") // 2**IN_SOURCE_BITS - 1
    line = pl.col("ref") % 2**IN_SOURCE_BITS
    numbered["records"] = numbered["records"].with_columns(
        *days,
        place=line * len(sources) + source,
        event=_number(pl.coalesce("shape", "event"), EVENTS),
    )
    asked = [f"{outcome} {window}" for outcome, window in questions]
    question = pl.concat_str("outcome", "window_days", separator=" ")
    numbered["answers"] = numbered["answers"].with_columns(
        asked=(pl.col("course") - 1) * len(asked) + _number(question, asked)
    )
    return numbered


def _number(column: pl.Expr, values: tuple[str, ...] | list[str]) -> pl.Expr:
    return column.replace_strict(
        list(values), list(range(len(values))), return_dtype=pl.Int64
    )


def _packed(here: dict[str, pl.DataFrame], start: int, queens: int) -> dict[str, Any]:
    """Give one file's tables, and the words that they share."""
    says = packing.phrases(here["records"]["says"].to_list())
    worded = {
        (name, column): here[name][column].replace("", None).to_list()
        for name, columns in WORDED.items()
        for column in columns
    }
    shared = packing.Words([*says, *worded.values()])
    packed: dict[str, Any] = {"words": shared.all}
    for name, frame in here.items():
        columns = {
            column: packing.numbers(frame[column].cast(pl.Int64))
            for column in WHOLE[name]
        }
        columns |= {
            column: packing.numbers(shared.places(worded[name, column]))
            for column in WORDED[name]
        }
        packed[name] = packing.without_gaps(columns)
        counts = np.bincount(frame["queen"].to_numpy() - start, minlength=queens)
        packed[name]["rows"] = packing.numbers(pl.Series(counts))
    packed["records"]["says"] = packing.lists([shared.places(row) for row in says])
    settled = here["answers"]["settled"].to_list()
    packed["answers"]["settled"] = packing.lists([row or [] for row in settled])
    return packed
