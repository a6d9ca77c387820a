"""A question whose models would stand on the same is taken over from the build before."""

import datetime as dt

import pytest
from filled_in import fill_station
from modelled import LAYING, everything, queens, rows
from queen_outcomes.base.store import Store
from queen_outcomes.facts.exports.models import MODELS
from queen_outcomes.models import results
from queen_outcomes.models.season_plan import SeasonPlan
from station_tables import derived

pytestmark = pytest.mark.slow

DAY = dt.date(2025, 10, 1)
ALL = len(LAYING.outcomes.windows)


def modelled(made, earlier=None, plan=None, settings=LAYING):
    store = derived(dt.date(2026, 10, 1), settings, **rows(made))
    fill_station(store, settings)
    taken = results.fit_models(store, settings, plan, earlier)
    return store, taken


@pytest.fixture(scope="module")
def before(tmp_path_factory):
    """A finished build's file of 200 queens."""
    folder = tmp_path_factory.mktemp("before")
    store, _ = modelled(queens(200))
    store.execute(f"ATTACH '{folder / 'station.duckdb'}' AS kept")
    for name in (*(table.name for table in MODELS), "risk_models", "model_inputs"):
        store.execute(f"CREATE TABLE kept.{name} AS SELECT * FROM {name}")
    store.execute("DETACH kept")
    return folder, everything(store)


def test_the_same_records_take_everything_over_and_change_nothing(before, monkeypatch):
    folder, tables = before
    monkeypatch.setattr(results, "models_of", lambda *_: pytest.fail("fitted again"))
    store, taken = modelled(queens(200), folder)
    assert taken == ALL
    assert everything(store) == tables


def test_a_changed_answer_is_fitted_again(before):
    folder, tables = before
    made = queens(200)
    made[7]["lays"] = not made[7]["lays"]
    store, taken = modelled(made, folder)
    assert taken < ALL
    assert everything(store) != tables


def test_a_changed_factor_is_fitted_again(before):
    made = queens(200)
    made[7]["dose_ul"] += 0.1
    assert modelled(made, before[0])[1] == 0


def test_a_form_still_to_be_fixed_is_not_taken_over(before):
    plan = SeasonPlan("2025", DAY)
    _, taken = modelled(queens(200), before[0], plan)
    assert taken == 0
    assert plan.fresh


@pytest.mark.parametrize("spoil", ["missing", "empty"])
def test_a_build_without_the_marks_is_no_use(tmp_path, spoil):
    if spoil == "empty":
        with Store(tmp_path / "station.duckdb") as store:
            store.execute("CREATE TABLE other (x INTEGER)")
    assert modelled(queens(40), tmp_path)[1] == 0
