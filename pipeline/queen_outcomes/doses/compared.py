"""What the command `compare` was asked and found, and what the build holds of it already."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.facts.dictionary import COMPARED_BY
from queen_outcomes.facts.dose_words import METHODS
from queen_outcomes.facts.settings import Settings, asked_question

Row = dict[str, Any]
TABLES = (
    *("arms", "arm_contrasts", "arm_models", "arm_overlap"),
    *("arm_costs", "arm_exchange", "arm_needs"),
)


@dataclass(frozen=True)
class CompareRequest:
    """The command's words; None: not given.

    ``arms`` are names, or several in one text with commas between.
    """

    arms: tuple[str, ...] = ()
    reference: str | None = None
    outcome: str | None = None
    days: int | None = None
    margin: float | None = None
    trial: str | None = None
    by: str | None = None
    since: dt.date | None = None

    @property
    def is_of_protocols(self) -> bool:
        """Tell whether protocols are compared, as the build does."""
        return self.by is None and self.since is None


@dataclass(frozen=True, eq=False)
class Once:
    """What was found: the question, and rows of the tables by their names.

    ``unnamed`` counts courses whose arm is not recorded.
    """

    request: CompareRequest
    trial: str | None
    question: tuple[str, int]
    reference: str
    margin: float | None
    margin_said: str
    unnamed: int
    tables: dict[str, list[Row]]

    @property
    def title(self) -> str:
        """Name what is compared."""
        if self.request.since:
            return f"Before and since {self.request.since}"
        many = COMPARED_BY.get(self.request.by or "", "doses")
        return f"{many.capitalize()} compared"

    @property
    def has_difference(self) -> bool:
        """Tell whether any arm can be compared by the method fixed beforehand."""
        return any(
            row["primary"] and row["difference"] is not None
            for row in self.tables["arm_contrasts"]
        )


def of_build(store: Store, settings: Settings, request: CompareRequest) -> Once | None:
    """Give what was asked as the build's tables hold it; None where they do not.

    Parameters
    ----------
    store : Store
        A finished build, made with these settings and the season's plan as it is now.
    settings : Settings
    request : CompareRequest

    Raises
    ------
    UsageError
        See `asked_question`.
    """
    question = asked_question(settings, request.outcome, request.days)
    margin = settings.plan.margin
    is_built = (
        request.is_of_protocols
        and not request.arms
        and request.reference is None
        and request.margin in (None, margin)
        and question == settings.plan.question
    )
    if not is_built:
        return None
    # as `comparison_of` chooses: the one with most courses, outside of trials first
    counted = store.rows(
        "SELECT trial, count(*) FILTER (arm <> '') AS named, count(*) FILTER (arm = '') "
        "FROM arm_courses WHERE $trial IS NULL OR trial = $trial GROUP BY trial "
        "ORDER BY named DESC, trial NULLS FIRST LIMIT 1",
        {"trial": request.trial},
    )
    if not counted:
        return None
    ((trial, _, unnamed),) = counted
    of_trial = {"trial": trial}
    tables = {
        name: store.records(
            f'SELECT * FROM "{name}" WHERE trial IS NOT DISTINCT FROM $trial ORDER BY ALL',
            of_trial,
        )
        for name in TABLES
    }
    for name in ("arm_contrasts", "arm_models"):
        tables[name] = [
            row
            for row in tables[name]
            if (row["outcome"], row["window_days"]) == question
        ]
    ways = list(METHODS)
    tables["arm_contrasts"].sort(
        key=lambda row: (row["arm"], ways.index(row["method"]))
    )
    if len(tables["arms"]) < 2:
        return None
    (reference,) = {row["reference"] for row in tables["arm_contrasts"]}
    said = margin_said(request, settings, question)
    return Once(request, trial, question, reference, margin, said, unnamed, tables)


def margin_said(
    request: CompareRequest, settings: Settings, question: tuple[str, int]
) -> str:
    """Say where the margin comes from, where it is not the plan's for this question."""
    if request.margin is not None and (
        request.margin != settings.plan.margin or question != settings.plan.question
    ):
        return "The margin was given with the command, and not fixed beforehand."
    if settings.plan.margin is not None and question != settings.plan.question:
        return "The margin is the one that the plan states for another question."
    return ""
