"""A planned trial: request, figures, size, what to have ready, and the bench list."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.stats.shares.planning import Dose, Ready, to_have_ready
from queen_outcomes.trial.plan_arms import unusual_doses
from queen_outcomes.trial.plan_figures import Figures, station_figures
from queen_outcomes.trial.plan_list import BenchPlace, bench_list
from queen_outcomes.trial.plan_request import Request, read_request
from queen_outcomes.trial.plan_size import TrialSize, trial_size

SPARE = 0.1
"""Share of the semen to have over, for what stays in tips and tubes; an allowance."""


@dataclass(frozen=True)
class Plan:
    """Everything that is said of a planned trial.

    ``ready`` is for the whole trial, ``ready_a_batch`` for the graft batch that takes
    most. ``remarks`` are what a person should look at, a sentence each.
    """

    request: Request
    figures: Figures
    size: TrialSize
    ready: Ready
    ready_a_batch: Ready
    remarks: tuple[str, ...]
    settings: Settings
    as_of: dt.date

    def bench_list(self) -> tuple[BenchPlace, ...]:
        """Draw the list; the same each time."""
        return bench_list(self.request, self.size)


def make(
    store: Store, settings: Settings, as_of: dt.date, asked: Mapping[str, Any]
) -> Plan:
    """Plan a trial with the figures of a finished build.

    Parameters
    ----------
    store : Store
        The build's tables, to read.
    settings : Settings
    as_of : date
        Of the build.
    asked : mapping
        See `plan_request.read_request`.

    Raises
    ------
    UsageError
        It cannot be planned so; the message says why and what would do.
    """
    request = read_request(asked, settings, as_of)
    figures = station_figures(store, settings, as_of, request)
    size = trial_size(request, figures)
    ul = figures.ul_a_drone.value
    needs = [Dose(arm.name, size.queens, arm.total_ul) for arm in request.arms]
    return Plan(
        *(request, figures, size, to_have_ready(needs, ul, SPARE)),
        to_have_ready(_of_a_batch(request, size), ul, SPARE),
        tuple(_remarks(store, settings, request)),
        *(settings, as_of),
    )


def _of_a_batch(request: Request, size: TrialSize) -> list[Dose]:
    if request.whole_batches:
        largest = max(request.arms, key=lambda arm: arm.total_ul)
        return [Dose(largest.name, size.layout.used, largest.total_ul)]
    queens = round(size.layout.per_arm)
    return [Dose(arm.name, queens, arm.total_ul) for arm in request.arms]


def _remarks(store: Store, settings: Settings, request: Request) -> list[str]:
    remarks = unusual_doses(request.arms, settings)
    ((courses,),) = store.rows(
        "SELECT count(*) FROM courses WHERE trial = $trial", {"trial": request.name}
    )
    if courses:
        remarks.append(
            f"{courses} courses of a trial named {request.name} are in the records "
            "already: give a new trial a name of its own with --name"
        )
    return remarks
