"""Models, audit and comparisons are the same by however many cores they are worked out."""

from __future__ import annotations

import datetime as dt

import pytest
from filled_in import fill_station
from modelled import LAYING, queens, rows
from queen_outcomes.audit.results import audit_station
from queen_outcomes.base.workers import Workers
from queen_outcomes.doses.results import compare_station
from queen_outcomes.facts.exports.audit import AUDIT
from queen_outcomes.facts.exports.doses import DOSES
from queen_outcomes.facts.exports.models import MODELS
from queen_outcomes.models.results import fit_models
from queen_outcomes.models.season_plan import SeasonPlan
from queen_outcomes.outcomes import fills
from station_tables import derived

pytestmark = pytest.mark.slow

DAY = dt.date(2026, 10, 1)


def worked_out(made: list[dict], cores: int):
    """Give all rows of a station of two seasons, and what was fixed for the second."""
    store, plan = derived(DAY, LAYING, **rows(made)), SeasonPlan("2025", DAY)
    fill_station(store, LAYING)
    with Workers(cores) as workers:
        fit_models(store, LAYING, plan, None, workers)
        audit_station(store, LAYING, plan, workers)
        compare_station(store, LAYING, DAY, plan, workers)
    names = [table.name for table in (*MODELS, *AUDIT, *DOSES)]
    tables = {n: store.rows(f'SELECT * FROM "{n}" ORDER BY ALL') for n in names}
    return tables, plan.fresh, plan.changed


def test_no_row_depends_on_how_many_cores_work_it_out(monkeypatch):
    monkeypatch.setattr(fills, "FEW_COURSES", 0)
    made = queens(160)
    for number, queen in enumerate(made):
        queen["on"] -= 365 * (number % 2)
    alone, two, four = (worked_out(made, cores) for cores in (1, 2, 4))
    assert alone == two == four
    tables, fixed, _ = alone
    assert len(tables["model_coefficients"]) >= 10
    assert len(tables["operator_series"]) > 50
    assert any(name.startswith("form of laying") for name in fixed)
