"""What the records say of each queen: the tables behind the queens page's panel.

The words are those of the command `explain`, from the same statements.
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes import explain

Tables = dict[str, pl.DataFrame]


def tables(
    store: Store,
    courses: pl.DataFrame,
    answers: pl.DataFrame,
    settings: Settings,
    as_of: dt.date,
) -> Tables:
    """Give what is to be shown of the queens, as tables in the order of the queens.

    Parameters
    ----------
    store : Store
        A build in which everything is derived.
    courses, answers : DataFrame
        As `queen_cards.sql` and `queen_answers.sql` give them.
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
    queens = courses["queen_id"].unique().sort().to_list()
    given = explain.parameters(store, queens, settings=settings, as_of=as_of)

    def told(name: str) -> pl.DataFrame:
        return store.frame(explain.statement(name), given)

    shapes = store.frame(resources.read("sql", "10_pages", "queen_looks.sql"))
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
    answers = answers.join(rules, on=["course_id", "outcome", "window_days"]).sort(
        "queen_id", "course", "outcome", "window_days"
    )
    return {
        "courses": courses.sort("queen_id", "course"),
        "records": records,
        "answers": _settled(answers, records),
        "due": store.frame(
            'SELECT queen_id, course, day, "on", look_for, due.settles FROM due '
            "INNER JOIN courses USING (queen_id, course_id) WHERE status = 'due' "
            "ORDER BY queen_id, course, day"
        ),
    }


def _settled(answers: pl.DataFrame, records: pl.DataFrame) -> pl.DataFrame:
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
