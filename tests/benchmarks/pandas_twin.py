"""What an able analyst's script takes for the same outcomes, beside ours.

    python tests/benchmarks/pandas_twin.py --courses 10000 100000 --repeats 3

The script, in pandas (which the product does not need), reads the demo generator's records
of a large station, links looks to queens, dates laying and settles laying by day 21, lost
by day 21 and established by day 60: it checks nothing, keeps no ledger and knows these
records' form alone. Both run in processes of their own on the same files, ours until its
rates. A row a station: medians of the seconds of both, their ratio, and on how many
courses both say the same of all three outcomes.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from build_profile import AS_OF, build, make_records, show

ASKED = (("laying", 21), ("lost", 21), ("established", 60))
GRACE, HATCH, SEAL, EMERGE, GOOD = 7, 3, 8, 21, 80
"""Days a window stays open, days of brood from egg to larva, seal and bee, good pattern."""
GONE = ("dead", "missing", "superseded", "drone_layer", "culled_fault")
IN_HAND = ("sold", "moved", "sampled", "swarmed", "culled_other")
THERE = ("drone_layer", "culled_fault", *IN_HAND)
SIGHTS = (
    *("queen_seen", "mark_seen", "eggs", "larvae", "sealed", "brood_given"),
    *("multiple_eggs", "pattern_pct", "drone"),
)
YES_NO = {"yes": 1.0, "no": 0.0}


def read(records: Path, as_of):
    """Give the tables, typed, cut off at a day."""
    import pandas as pd

    def table(name: str, dates: list[str], others: list[str]):
        columns = [*dates, *others]
        found = pd.read_parquet(records / name, columns=columns)
        for date in dates:
            days = pd.to_datetime(found[date], errors="coerce")
            found[date] = days.astype("datetime64[s]")
        return found.drop_duplicates()

    done = table("inseminations", ["inseminated_at"], ["insemination_id", "queen_id"])
    queens = table("queens", [], ["queen_id", "marked"])
    placed = table(
        *("placements", ["placed_on", "removed_on"]),
        ["queen_id", "colony_id", "brood_present"],
    )
    exits = table("exits", ["left_on"], ["queen_id", "reason"])
    lab = table("lab", ["sampled_on"], ["queen_id"])
    names = [name for name in SIGHTS if name not in ("pattern_pct", "drone")]
    checks = table(
        *("checks", ["checked_on"]),
        ["queen_id", "colony_id", *names, "pattern_pct", "drone_in_worker"],
    )
    for name in names:
        checks[name] = checks[name].map(YES_NO).astype("float32")
    scores = {"none": 0.0, "few": 1.0, "many": 2.0}
    checks["drone"] = checks.pop("drone_in_worker").map(scores).astype("float32")
    checks["pattern_pct"] = checks.pattern_pct.where(checks.pattern_pct.between(0, 100))
    done = done.dropna(subset=["queen_id", "inseminated_at"])
    done = done[done.inseminated_at < as_of + pd.Timedelta(days=1)]
    done = done.drop_duplicates("insemination_id", keep=False)
    queens = queens.drop_duplicates("queen_id", keep=False)
    checks = checks[checks.checked_on <= as_of]
    exits, lab = exits[exits.left_on <= as_of], lab[lab.sampled_on <= as_of]
    return done, queens, placed, exits, lab, checks


def courses_of(done):
    """Put inseminations within a week of each other into one course."""
    done = done.sort_values(
        ["queen_id", "inseminated_at", "insemination_id"], ignore_index=True
    )
    done["on"] = done.inseminated_at.dt.normalize()
    begins = ~(done.groupby("queen_id").on.diff().dt.days <= 7)
    done["course"] = begins.groupby(done.queen_id).cumsum()
    done["cid"] = begins.cumsum() - 1
    found = done.groupby("cid").agg(
        queen_id=("queen_id", "first"),
        course=("course", "first"),
        first_on=("on", "min"),
        d0=("on", "max"),
    )
    found = found.reset_index()
    following = found.groupby("queen_id").first_on.shift(-1)
    found["next_day"] = (following - found.d0).dt.days
    return found


def to_course(frame, on: str, courses):
    """Give each row the queen's last course begun by its day."""
    import pandas as pd

    starts = courses[["queen_id", "d0", "cid"]].sort_values("d0")
    return pd.merge_asof(
        frame.sort_values(on), starts, left_on=on, right_on="d0", by="queen_id"
    )


def with_exits(courses, exits, lab):
    """Add each course's exit."""
    import pandas as pd

    sampled = lab[~lab.queen_id.isin(exits.queen_id)]
    sampled = sampled.rename(columns={"sampled_on": "left_on"}).assign(reason="sampled")
    every = pd.concat([exits, sampled]).dropna(subset=["left_on"])
    order = {reason: at for at, reason in enumerate(GONE)}
    every = every.assign(order=every.reason.map(order).fillna(9))
    every = to_course(every, "left_on", courses).dropna(subset=["cid"])
    every = every.sort_values(["cid", "left_on", "order"]).drop_duplicates("cid")
    every["exit_day"] = (every.left_on - every.d0).dt.days
    return courses.merge(every[["cid", "exit_day", "reason"]], on="cid", how="left")


def looks_of(checks, placed, exits, courses):
    """Link checks of a colony to the queen placed there, and merge those of a day."""
    import pandas as pd

    placed = placed[~(placed.removed_on < placed.placed_on)]
    placed = placed.dropna(subset=["queen_id", "colony_id", "placed_on"])
    left = exits.dropna()[["queen_id", "left_on"]].sort_values("left_on")
    stays = pd.merge_asof(
        *(placed.sort_values("placed_on"), left),
        left_on="placed_on",
        right_on="left_on",
        by="queen_id",
        direction="forward",
    )
    stays["until"] = stays[["removed_on", "left_on"]].min(axis=1)
    stays = stays[["colony_id", "placed_on", "until", "queen_id"]]
    of_colony = checks[checks.queen_id.isna() & checks.colony_id.notna()]
    of_colony = pd.merge_asof(
        of_colony.drop(columns="queen_id").sort_values("checked_on"),
        stays.sort_values("placed_on"),
        left_on="checked_on",
        right_on="placed_on",
        by="colony_id",
    )
    inside = of_colony.queen_id.notna() & ~(of_colony.checked_on > of_colony.until)
    of_colony = of_colony[inside].drop(columns=["placed_on", "until"])
    looks = pd.concat([checks[checks.queen_id.notna()], of_colony])
    looks = looks[looks.queen_id.isin(courses.queen_id)]
    by_day = looks.groupby(["queen_id", "checked_on"], as_index=False)
    looks = by_day[list(SIGHTS)].max()
    scored = (looks.pattern_pct > 0) | (looks.drone >= 1)
    looks["sealed"] = looks.sealed.mask(scored, 1.0)
    looks["mark_seen"] = looks.mark_seen.where(looks.queen_seen == 1)
    return looks, placed


def with_brood_before(looks, placed, courses):
    """Add the last day on which strange brood came in, or older brood was seen."""
    import pandas as pd

    given = pd.concat(
        [
            looks.loc[looks.brood_given == 1, ["queen_id", "checked_on"]].set_axis(
                ["queen_id", "given_on"], axis=1
            ),
            placed.loc[
                placed.brood_present == "yes", ["queen_id", "placed_on"]
            ].set_axis(["queen_id", "given_on"], axis=1),
        ]
    )
    looks = pd.merge_asof(
        *(looks.sort_values("checked_on"), given.sort_values("given_on")),
        left_on="checked_on",
        right_on="given_on",
        by="queen_id",
    )
    brood = (looks.eggs == 1) | (looks.larvae == 1) | (looks.sealed == 1)
    seen = looks.loc[brood, ["queen_id", "checked_on"]]
    seen = seen.set_axis(["queen_id", "old_on"], axis=1).sort_values("old_on")
    starts = courses[["queen_id", "d0", "cid"]].sort_values("d0")
    old = pd.merge_asof(
        *(starts, seen),
        left_on="d0",
        right_on="old_on",
        by="queen_id",
        allow_exact_matches=False,
    )
    looks["old_on"] = looks.cid.map(old.set_index("cid").old_on)
    return looks


def evidence_of(looks, placed, courses, queens):
    """Say whose brood each look saw, and what that bounds."""
    import numpy as np
    import pandas as pd

    exits = courses.set_index("cid").exit_day
    looks = to_course(looks, "checked_on", courses)
    looks = looks.sort_values(["queen_id", "checked_on"], ignore_index=True)
    looks["day"] = (looks.checked_on - looks.d0).dt.days
    looks = looks[~(looks.day > looks.cid.map(exits))]
    marked = (looks.mark_seen == 1).groupby(looks.queen_id).cummax()
    before = marked.groupby(looks.queen_id).shift(fill_value=False)
    of_queen = looks.queen_id.map(queens.set_index("queen_id").marked)
    unmarked = (looks.mark_seen == 0) & (of_queen.eq("yes") | before)
    looks["mark"] = np.where(
        looks.mark_seen == 1, 1.0, np.where(unmarked, 0.0, np.nan)
    )
    looks = with_brood_before(looks, placed, courses)
    e = looks[looks.cid.notna()].sort_values(["cid", "day"], ignore_index=True)
    older = (e.eggs == 1) & (e.day <= 0)
    older |= ((e.larvae == 1) & (e.day < 4)) | ((e.sealed == 1) & (e.day < 9))
    older_on = e.checked_on.where(older).groupby(e.cid).ffill()
    last = pd.concat([e.given_on, e.old_on, older_on], axis=1).max(axis=1)
    since = (e.checked_on - last).dt.days
    another, workers = e.mark == 0, (e.multiple_eggs == 1) & (e.queen_seen != 1)
    may = ~another & ~workers
    eggs = (e.eggs == 1) & may & ~(since <= HATCH)
    larvae = (e.larvae == 1) & may & ~(since <= SEAL + 1)
    clean = may & ~(since <= EMERGE)
    sealed = (e.sealed == 1) & clean
    e["pattern_h"], e["drone_h"] = e.pattern_pct.where(clean), e.drone.where(clean)
    e["eggs_h"], e["brood"] = eggs, eggs | larvae | sealed
    e["nobrood"] = (e.eggs == 0) & ~another & ~larvae & ~sealed
    e["seen"] = (e.queen_seen == 1) & ~another
    e["sign"] = e.seen | e.brood
    none = (e.eggs == 0) | ((e.eggs == 1) & workers)
    e["empty"] = (e.queen_seen == 0) & none & ~e.brood
    d = e.day.astype("float64")
    by = [(d - SEAL).where(sealed), (d - HATCH).where(larvae), d.where(eggs)]
    e["by"] = pd.concat(by, axis=1).min(axis=1)
    after = [
        d.where(e.nobrood),
        (d - 4).where(eggs & (e.larvae == 0) & ~another & ~sealed),
        (d - 10).where((eggs | larvae) & (e.sealed == 0) & ~another),
    ]
    e["after"] = pd.concat(after, axis=1).max(axis=1)
    e = e.set_index("cid", drop=False)
    e.index.name = None
    return e


def drone_day(e) -> float:
    """Give the day of the second of two looks a week apart that saw few drones."""
    few = e.day[(e.drone_h == 1) & (e.pattern_h < GOOD)]
    none = e.day[e.drone_h == 0]
    for at, second in enumerate(few):
        for first in few.iloc[:at]:
            if second - first >= 7 and not none.between(first, second).any():
                return second
    return float("nan")


def standing(window: int, e, info, age):
    """Say what is known of every course at a window's close."""
    import numpy as np
    import pandas as pd

    cut = np.minimum(age, window + GRACE)
    s = pd.DataFrame({"cut": cut})
    s["exit"] = info.exit_day.where(info.exit_day <= cut)
    s["reason"] = info.reason.where(s.exit.notna())
    s["next"] = info.next_day.where(info.next_day <= cut)
    e = e[e.day.to_numpy() <= cut.reindex(e.index).to_numpy()]
    end_by, reason = _inferred(s, e)
    gone = s.reason.isin(GONE)
    s["end_by"] = np.where(gone, np.fmin(s.exit, end_by), end_by)
    s["end"] = s.reason.where(gone, reason)
    s["left"] = s.exit.where(s.exit.notna() & ~gone)
    last = np.fmin(s.cut, s.end_by).reindex(e.index).to_numpy()
    e = e[e.day.to_numpy() <= last]
    first = e.day[e.brood].groupby(level=0).min()
    by = e.by.groupby(level=0).min().reindex(s.index)
    upto = e[~(e.day > first.reindex(e.index))]
    after = upto.after.groupby(level=0).max().clip(lower=0)
    after = after.reindex(s.index).fillna(0)
    s["after"], s["by"] = after.mask(after >= by, 0), by.clip(lower=0)
    without = e.day[e.nobrood].groupby(level=0).max().reindex(s.index)
    s["brood"] = first.reindex(s.index).notna()
    at = np.fmin(s.end_by, s.next)
    s["unlaid"] = ~s.brood & ((at <= 5) | (at - without <= 7))
    there = e.day[e.seen | e.eggs_h].groupby(level=0).max().reindex(s.index)
    s["there"] = np.fmax(there, s.exit.where(s.reason.isin(THERE)))
    s["pattern"] = e.pattern_h.groupby(level=0).last()
    drone = e.day[e.drone_h == 2].groupby(level=0).min().reindex(s.index)
    few = e[(e.drone_h == 1) & (e.pattern_h < GOOD)].index
    few = few[few.duplicated()].unique()
    if len(few):
        second = e.loc[few].groupby("cid").apply(drone_day).reindex(s.index)
        drone = np.fmin(drone, second)
    s["drone"] = np.fmin(drone, s.exit.where(s.reason == "drone_layer"))
    return s


def _inferred(s, e):
    """Infer ends nobody wrote down: two empty looks, or a queen without her mark."""
    import numpy as np
    import pandas as pd

    last = e.day[e.sign].groupby(level=0).max().reindex(e.index)
    late = e[e.queen_seen.notna() & ~(e.day <= last)]
    late = late.assign(run=(~late["empty"]).cumsum())
    runs = late[late["empty"]].groupby(["cid", "run"]).day.agg(["min", "max"])
    missing = runs[runs["max"] - runs["min"] >= 3]["min"].groupby(level=0).min()
    own = e.day[e.mark == 1].groupby(level=0).max().reindex(e.index)
    other = e.day[(e.mark == 0) & ~(e.day <= own)].groupby(level=0).min()
    found = pd.DataFrame(
        {"missing": missing.reindex(s.index), "superseded": other.reindex(s.index)}
    )
    found = found.mask(s.reason.isin(THERE) | s.next.notna())
    by = found.min(axis=1)
    is_other = found.superseded <= found.missing.fillna(1e9)
    named = pd.Series(np.where(is_other, "superseded", "missing"), index=s.index)
    return by, named.where(by.notna())


def settle(records: Path, as_of: str):
    """Give a row a course: its id, and each outcome's state, null where it is open."""
    import numpy as np
    import pandas as pd

    day = pd.Timestamp(as_of)
    done, queens, placed, exits, lab, checks = read(records, day)
    courses = with_exits(courses_of(done), exits, lab)
    looks, placed = looks_of(checks, placed, exits, courses)
    e = evidence_of(looks, placed, courses, queens)
    info = courses.set_index("cid")
    age = (day - info.d0).dt.days

    def state(yes, no, left):
        return np.select([no, yes, left], ["no", "yes", "left"], "undecided")

    def laying(s, window):
        yes = s.by <= window
        never = (s.end_by <= window) & s.unlaid
        anew = s.next.notna() & ~s.brood & (s.next <= window + GRACE)
        return yes, ~yes & ((s.after >= window) | never | anew)

    s21, s60 = (standing(window, e, info, age) for window in (21, 60))
    away = {21: (s21.left < 21) | (s21.next < 21), 60: (s60.left < 60) | (s60.next < 60)}
    lost = s21.end.isin(["dead", "missing"]) & (s21.end_by <= 21)
    laid, unlaid = laying(s60, 60)
    failing = (s60.drone <= 60) | (s60.pattern < GOOD)
    found = {
        "laying": state(*laying(s21, 21), away[21]),
        "lost": state(lost, ~lost & (s21.there >= 21), away[21] | (s21.end_by <= 21)),
        "established": state(
            laid & (s60.there >= 60) & ~failing,
            unlaid | (s60.end_by <= 60) | (laid & failing),
            away[60],
        ),
    }
    closed = {name: age >= window + GRACE for name, window in ASKED}
    states = {
        name: pd.Series(x, index=info.index).where(closed[name])
        for name, x in found.items()
    }
    return pd.DataFrame(
        {"course_id": info.queen_id + "/" + info.course.astype(str), **states}
    )


def ours(station: Path):
    """Give the same of the build's file, and remove it."""
    import shutil

    import duckdb

    (path,) = (station / "build").glob("*/station.duckdb")
    pivot = ", ".join(
        f"max(CASE WHEN outcome = '{name}' AND window_days = {window} AND closed "
        f"THEN state END) AS {name}"
        for name, window in ASKED
    )
    with duckdb.connect(str(path), read_only=True) as con:
        found = con.execute(
            f"SELECT course_id, {pivot} FROM outcomes GROUP BY course_id"
        ).df()
    shutil.rmtree(station / "build")
    return found


def compare(command: str, station: Path, repeats: int) -> dict[str, str]:
    """Time both in turn and compare what they say."""
    import pandas as pd

    seconds: dict[str, list[float]] = {"ours": [], "script": []}
    made = station / "script.parquet"
    script = [sys.executable, __file__, "--script", str(station / "records"), str(made)]
    for _ in range(repeats):
        begin = time.perf_counter()
        subprocess.run(script, check=True)
        seconds["script"].append(time.perf_counter() - begin)
        seconds["ours"].append(build(command, station, "rates")["whole"])
        mine = ours(station)
    both = mine.merge(pd.read_parquet(made), on="course_id", how="outer")
    alike = pd.Series(data=True, index=both.index)
    for name, _ in ASKED:
        one, other = (both[f"{name}_{side}"].fillna("") for side in "xy")
        alike &= one == other
    half = {name: statistics.median(found) for name, found in seconds.items()}
    return {
        "courses": f"{len(both):,}",
        **{name: f"{value:.1f}" for name, value in half.items()},
        "ours / script": f"{half['ours'] / half['script']:.2f}",
        "the same": f"{int(alike.sum()):,}",
    }


def main() -> None:
    """Read the command line and print the table."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--courses", nargs="+", type=int, default=[10_000, 100_000])
    words.add_argument("--repeats", type=int, default=3)
    words.add_argument("--place", type=Path, default=Path(tempfile.gettempdir()) / "qo")
    own = Path(sys.executable).with_name("queen-outcomes")
    words.add_argument("--command", default=str(own), help="the installed command")
    words.add_argument("--script", nargs=2, type=Path, help=argparse.SUPPRESS)
    given = words.parse_args()
    if given.script:
        records, made = given.script
        settle(records, str(AS_OF)).to_parquet(made)
        print(json.dumps({"made": str(made)}), file=sys.stderr)
        return
    show(
        [
            compare(
                given.command,
                make_records(given.place, courses, "parquet"),
                given.repeats,
            )
            for courses in sorted(given.courses)
        ]
    )


if __name__ == "__main__":
    main()
