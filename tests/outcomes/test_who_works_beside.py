"""Who works beside a build: nobody on few courses, nor where memory is short."""

from __future__ import annotations

import os

import pytest
from queen_outcomes.base.workers import Workers
from queen_outcomes.build.weekly import worker_memory
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.fills import beside_for


@pytest.mark.parametrize(
    ("memory_gb", "courses", "count"),
    [
        (16.0, 299, 1),
        (16.0, 300, 8),
        (1.21, 100_000, 2),  # one took 1.0 GB of so many
        (1.19, 100_000, 1),
        (2.5, 100_000, 3),
        (16.0, 10_000_000, 1),
    ],
)
def test_as_many_work_as_fit(memory_gb, courses, count):
    with Workers(8, memory_gb * 1e9) as workers:
        assert beside_for(workers, courses).count == count


def test_nobody_works_beside_where_nobody_is():
    assert beside_for(None, 5000).count == 1


@pytest.mark.parametrize(("courses", "count"), [(30_000, 2), (40_000, 1)])
def test_a_station_that_says_how_much_memory_there_is_has_one_beside_on_few(courses, count):
    memory = worker_memory(Settings(memory=4.0))
    with Workers(2, memory) as workers:
        assert beside_for(workers, courses).count == count


def test_workers_may_take_a_quarter_of_the_machine(monkeypatch):
    monkeypatch.setattr(os, "sysconf", {"SC_PAGE_SIZE": 4096, "SC_PHYS_PAGES": 2**22}.get)
    assert worker_memory(Settings()) == pytest.approx(2**34 / 4)
    monkeypatch.setattr(os, "sysconf", {"SC_PAGE_SIZE": 4096, "SC_PHYS_PAGES": 2**18}.get)
    with Workers(2, worker_memory(Settings())) as workers:  # 1 GB
        assert beside_for(workers, 30_000).count == 2
