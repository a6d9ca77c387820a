"""Dose protocols of the invented station, whose plain rates are made to mislead."""

from __future__ import annotations

import sys
from pathlib import Path

import duckdb
import numpy as np
import polars as pl
import pytest
from armed import settled
from queen_outcomes.doses.arm_model import arm_model
from queen_outcomes.facts.settings import Settings

pytestmark = pytest.mark.slow
ROOT = Path(__file__).resolve().parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from demo import make as demo_make  # noqa: E402
from demo.biology import p_lay  # noqa: E402
from demo.generator import simulate  # noqa: E402
from demo.truth import PROTOCOLS, Truth  # noqa: E402

EIGHT, TWELVE, SPLIT = PROTOCOLS
STATIONS = 8


def true_shares(latent, truth):
    """Give each protocol's true share of queens that ever lay, in these courses."""
    return {name: p_lay(latent, truth, protocol=name).mean() for name in PROTOCOLS}


@pytest.fixture(scope="module")
def figures(built_demo):
    with duckdb.connect(str(built_demo / "station.duckdb"), read_only=True) as con:
        arms = pl.DataFrame(con.sql("SELECT * FROM arms"))
        laying = con.sql("SELECT * FROM arm_contrasts WHERE outcome = 'laying'")
        contrasts = pl.DataFrame(laying)
    return {row["arm"]: row for row in arms.to_dicts()}, contrasts.to_dicts()


def test_the_true_order_is_seen_once_adjusted_and_not_before(figures):
    arms, _ = figures
    truth = Truth()
    true = true_shares(simulate(truth, demo_make.SEED)["latent"], truth)
    order = sorted(PROTOCOLS, key=true.__getitem__)
    assert order == [EIGHT, SPLIT, TWELVE]
    assert sorted(PROTOCOLS, key=lambda arm: arms[arm]["adjusted"]) == order
    # the best of them is given to the worst queens, and looks the worst as they are
    assert min(PROTOCOLS, key=lambda arm: arms[arm]["rate"]) == TWELVE


def test_the_adjusted_limits_hold_the_truth(figures):
    _, contrasts = figures
    truth = Truth()
    true = true_shares(simulate(truth, demo_make.SEED)["latent"], truth)
    judged = [row for row in contrasts if row["primary"]]
    assert {row["method"] for row in judged} == {"adjusted"}
    for row in judged:
        gap = true[row["arm"]] - true[row["reference"]]
        assert row["low"] < gap < row["high"], row["arm"]


def known(latent: pl.DataFrame) -> dict[str, np.ndarray]:
    """Give what is known of the courses when the first dose is given."""
    first = latent["first_insemination"].cast(pl.Date)
    waited = (latent["d0"].cast(pl.Date) - first).dt.total_days()
    numbers = {
        "drone_age": latent["drone_age_days"],
        "queen_age": latent["queen_age_days"] - waited,
        "semen_age": latent["semen_age_h"].log1p(),
        "experience": latent["operator_case"].clip(1).log(),
        "day_of_year": first.dt.ordinal_day(),
    }
    groups = ("operator", "line", "drone_line", "graft_batch", "semen_batch")
    texts = {name: latent[name] for name in groups}
    texts |= {"year": latent["season"]}
    return {
        **{name: x.cast(pl.Float64).to_numpy() for name, x in numbers.items()},
        **{name: x.cast(pl.String).to_numpy().astype(str) for name, x in texts.items()},
        "co2_before": np.full(len(latent), "none before"),
    }


def test_over_many_stations_only_the_adjusted_difference_finds_the_truth():
    truth, errors = Truth(), {"adjusted": [], "plain": []}
    for seed in range(STATIONS):
        latent = simulate(truth, 1000 + seed)["latent"]
        true = true_shares(latent, truth)
        arm = latent["protocol"].to_numpy().astype(str)
        lays = latent["lays"].to_numpy().astype(float)
        model = arm_model(settled(known(latent), arm, lays), "laying", Settings())
        gap = true[TWELVE] - true[EIGHT]
        found = model.difference(TWELVE, EIGHT, 0.95, None).estimate
        plain = lays[arm == TWELVE].mean() - lays[arm == EIGHT].mean()
        errors["adjusted"].append(found - gap)
        errors["plain"].append(plain - gap)
    mean = {name: float(np.mean(x)) for name, x in errors.items()}
    spread = {name: float(np.std(x, ddof=1)) for name, x in errors.items()}
    reach = 3 / np.sqrt(STATIONS)
    assert abs(mean["adjusted"]) < reach * spread["adjusted"]
    assert mean["plain"] < -reach * spread["plain"]
