"""Queens, semen, inseminations and CO2 exposures as typed frames."""

from __future__ import annotations

import numpy as np
import polars as pl

from demo.biology import Columns, operator_shift
from demo.fates import CODE
from demo.labels import Labels, dates, masked, pick, times
from demo.truth import PROTOCOLS, Truth

YES_NO = ("no", "yes")
COLOURS = ("blue", "white", "yellow", "red", "green")  # by the year's last digit % 5
REMARKS = (
    "restless queen", "valve fold hard to pass", "mucus in tip", "tip changed",
    "small queen", "second look at the sting hook",
)  # fmt: skip


def queens(names: Labels, c: Columns, rng: np.random.Generator) -> pl.DataFrame:
    """One row a queen; ``mark`` names disc colour and number."""
    first = names.first
    marked = c["marked"][first]
    n = len(marked)
    disc = pl.Series(rng.integers(1, 100, n)).cast(pl.String)
    mark = pick(COLOURS, c["year"][first] % 5) + " " + disc
    return pl.DataFrame(
        {
            "queen_id": names.queen.filter(pl.Series(first)),
            "line": pick(names.line, c["line"][first]),
            "graft_batch": names.graft.filter(pl.Series(first)),
            "emerged_on": dates(c["emerged"][first]),
            "marked": pick(YES_NO, marked.astype(int)),
            "mark": masked(mark.to_numpy(), marked),
        }
    )


def semen(
    names: Labels, truth: Truth, s: Columns, ins: Columns, rng: np.random.Generator
) -> pl.DataFrame:
    """One row a load that was used; volumes in uL, ages in days."""
    n = len(s["collected"])
    used = np.bincount(ins["load"], weights=ins["dose_ul"], minlength=n)
    giving = (1 - truth.drone_gives_none) * truth.drone_uL
    handled = np.ceil((used * 1.12 + 8) / giving).astype(int)
    yielding = rng.binomial(handled, 1 - truth.drone_gives_none)
    volume = rng.normal(
        truth.drone_uL * yielding, truth.drone_uL_sd * np.sqrt(yielding)
    )
    day = s["collected"].astype("M8[D]")
    middle = day - s["drone_age_days"].astype(int).astype("m8[D]")
    by_age = rng.random(n) < 0.15
    spread = s["spread"].astype("m8[D]")
    frame = pl.DataFrame(
        {
            "semen_batch": names.semen,
            "collected_at": times(s["collected"]),
            "drone_line": pick(names.drone_line, s["drone_line"]),
            "drones_emerged_from": masked(middle - spread, ~by_age).cast(pl.Date),
            "drones_emerged_to": masked(middle + spread, ~by_age).cast(pl.Date),
            "drone_age_days": masked(s["drone_age_days"], by_age),
            "drones_handled": handled,
            "drones_yielding": yielding,
            "volume_ul": np.round(volume, 1),
            "storage_c": masked(np.round(rng.normal(16, 1.2, n), 1),
                                rng.random(n) < 0.93),
            "diluent": pick(("buffer A", "buffer B"), (rng.random(n) < 0.3) * 1),
            "motility_pct": masked(np.clip(np.rint(rng.normal(82, 7, n)), 20, 99),
                                   rng.random(n) < 0.55),
            "viability_pct": masked(np.clip(np.rint(rng.normal(88, 5, n)), 20, 99),
                                    rng.random(n) < 0.25),
        }
    )  # fmt: skip
    return frame.filter(pl.Series(used > 0))


def _handling(
    truth: Truth, c: Columns, ins: Columns, rng: np.random.Generator
) -> dict[str, pl.Series]:
    """Attempts, leak and minutes: worse hands need more of each."""
    n = len(ins["at"])
    shift = operator_shift(c, truth)[ins["course"]]
    attempts = 1 + np.minimum(rng.poisson(0.25 * np.exp(-0.8 * shift)), 5)
    odds = np.exp(-2.3 - 0.9 * shift)
    u = rng.random(n) * (1 + odds)
    leak = np.where(u < odds * 0.2, 2, np.where(u < odds, 1, 0))
    minutes = np.rint(np.exp(rng.normal(1.6 - 0.2 * shift, 0.3, n)) * 2) / 2
    leak = np.where(rng.random(n) < 0.05, -1, leak)
    return {
        "attempts": masked(attempts, rng.random(n) > 0.04),
        "leak": pick(("none", "some", "most"), leak),
        "minutes": masked(np.minimum(minutes, 40.0), rng.random(n) > 0.08),
    }


def inseminations(
    names: Labels, truth: Truth, c: Columns, ins: Columns, rng: np.random.Generator
) -> pl.DataFrame:
    """One row each time semen is given, in time order; doses in uL."""
    n = len(ins["at"])
    course = ins["course"]
    tip = (ins["at"].astype("M8[D]").astype(int) // 5 + ins["operator"]) % 6
    note = np.where(rng.random(n) < 0.02, rng.integers(0, len(REMARKS), n), -1)
    frame = pl.DataFrame(
        {
            "queen_id": names.queen.gather(course),
            "inseminated_at": times(ins["at"]),
            "operator": pick(names.operator, ins["operator"]),
            "instrument": pick(("B1", "B2", "B3"), ins["operator"] % 3),
            "tip": pick(tuple("abcdef"), tip),
            "semen_batch": names.semen.gather(ins["load"]),
            "dose_ul": masked(ins["dose_ul"], rng.random(n) > 0.006),
            "dose_meant_ul": ins["dose_meant_ul"],
            "protocol": pick(PROTOCOLS, c["protocol"][course]),
            "trial": pl.Series([None], dtype=pl.String).new_from_index(0, n),
            "block": pl.Series([None], dtype=pl.String).new_from_index(0, n),
            **_handling(truth, c, ins, rng),
            "note": pick(REMARKS, note),
        }
    ).sort("inseminated_at", "queen_id")
    number = pl.Series(np.arange(1, n + 1)).cast(pl.String)
    label = "I" + names.run + number.str.zfill(5 if n < 90_000 else 7)
    return frame.insert_column(0, label.alias("insemination_id"))


def co2(
    names: Labels,
    c: Columns,
    ins: Columns,
    cutoff: np.datetime64,
    rng: np.random.Generator,
) -> pl.DataFrame:
    """Other exposures by schedule, and a quarter of the procedures' own.

    A queen that died before her later exposure was due never had it, so the
    records show her with one exposure only: a trap kept on purpose.
    """
    at = ins["at"][c["main"]]
    hours = np.array([-24, -48, 24, 48, 0, 0])[c["co2_schedule"]]
    due = c["end_day"] * 24 >= hours
    due &= ~((c["end_reason"] == CODE["dead"]) & (c["end_day"] == 0) & (hours > 0))
    other = (hours != 0) & due & (rng.random(len(at)) > 0.015)
    jitter = rng.normal(0, 60, len(at)).astype(int).astype("m8[m]")
    when = at + hours.astype("m8[h]").astype("m8[m]") + jitter
    own = rng.random(len(ins["at"])) < 0.15
    queen = pl.concat(
        [names.queen.filter(pl.Series(other)),
         names.queen.gather(ins["course"][own])]
    )  # fmt: skip
    given = np.concatenate(
        [when[other], ins["at"][own] + rng.integers(1, 4, own.sum()).astype("m8[m]")]
    )
    frame = pl.DataFrame({"queen_id": queen, "given_at": times(given)})
    minutes = np.clip(np.rint(rng.normal(5, 1.5, len(given)) * 2) / 2, 1.5, 12)
    frame = frame.with_columns(minutes=masked(minutes, rng.random(len(given)) > 0.1))
    day = pl.col("given_at").cast(pl.Date)
    return frame.filter(day <= cutoff.item()).sort("given_at", "queen_id")
