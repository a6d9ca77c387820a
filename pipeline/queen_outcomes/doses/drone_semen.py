"""How much semen a drone handled gives, yielding or not."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store

UL_A_YIELDING_DRONE = 1.0
"""uL, the usual rule of thumb (Standard methods for instrumental insemination, 2013, doi
10.3896/IBRA.1.52.4.09, section 3.1)."""
YIELDING = 1.0 - 0.405
"""Share of drones everted by hand that give semen (Rhodes et al. 2011, Apidologie
42:29-38)."""


@dataclass(frozen=True)
class DroneSemen:
    """uL of semen from a drone handled, and what that leans on."""

    ul_a_drone: float
    said: str


def drone_semen(store: Store, as_of: dt.date) -> DroneSemen:
    """Take it from the station's semen loads; where they do not say, from what is usual."""
    (row,) = store.records(
        resources.read("sql", "08_doses", "drone_yield.sql"), {"as_of": as_of}
    )
    if row["volume_ul"] and row["volume_drones"]:
        ul = row["volume_ul"] / row["volume_drones"]
        return DroneSemen(
            ul, f"{ul:.2f} uL a drone handled, from {row['loads']} semen loads"
        )
    share, whose = YIELDING, "as is usual by hand (Rhodes et al. 2011)"
    if row["yielding"] and row["yield_drones"]:
        share, whose = row["yielding"] / row["yield_drones"], "as the loads say"
    said = (
        f"1 uL a yielding drone, the usual rule of thumb, and {100 * share:.0f} % of "
        f"drones yielding, {whose}"
    )
    return DroneSemen(UL_A_YIELDING_DRONE * share, said)
