"""The limits of what may be written, each with where it comes from."""

from __future__ import annotations

from queen_outcomes.facts.column import Limits

SM2 = (
    "Standard methods for instrumental insemination of Apis mellifera queens, "
    "J. Apic. Res. 52(4), 2013, doi 10.3896/IBRA.1.52.4.09"
)
PRACTICE = "common practice"
CANNOT = "by definition"

PERCENT = Limits(0, 100, why=CANNOT)
DOSE_HARD = Limits(0, 40, low_open=True, why="published doses 1-36 uL")
DOSE_SOFT = Limits(2, 14, why=f"{SM2}: 8-12 uL a queen")
DRONE_AGE_HARD = Limits(6, 90, why=PRACTICE)
DRONE_AGE_SOFT = Limits(12, 35, why=f"{SM2}; Metz and Tarpy 2019, Insects 10(1):11")
STORAGE_HARD = Limits(-196, 40, why="liquid nitrogen to above hive temperature")
STORAGE_SOFT = Limits(10, 25, why="J. Econ. Entomol. 93(3):568-571, 2000: 12-25 C")
CO2_HARD = Limits(0, 60, low_open=True, why=PRACTICE)
CO2_SOFT = Limits(high=12, why=PRACTICE)

DERIVED_LIMITS: dict[str, tuple[Limits, Limits | None]] = {
    "queen_age_days": (
        Limits(1, 60, why=PRACTICE),
        Limits(5, 14, why=f"{SM2}, section 4.3"),
    ),
    "semen_age_h": (Limits(0, why=CANNOT), Limits(high=48, why=PRACTICE)),
    "drone_age_days": (DRONE_AGE_HARD, DRONE_AGE_SOFT),
}
"""Hard and soft limits on values that are worked out from several records."""
