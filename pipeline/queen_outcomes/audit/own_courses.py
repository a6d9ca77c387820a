"""One operator's own courses: her failed queens, and what they lie beside.

Colleagues' results are of the same question and of the same closed courses as hers, so
that a bad day and a bad load can be seen to be everybody's. Nothing here is estimated.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import compress
from typing import TYPE_CHECKING, Any

import numpy as np

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store

if TYPE_CHECKING:
    from queen_outcomes.models.closed import ClosedCourses

Row = dict[str, Any]
NOT_RECORDED = "not recorded"
TOOLS = {"tip": "Tip", "instrument": "Instrument"}
COLUMNS = (
    ("day", "Day 0"),
    ("queen_id", "Queen"),
    ("graft_batch", "Graft batch"),
    ("semen_batch", "Semen batch"),
    ("dose", "Dose, µL"),
    ("tip", "Tip"),
    ("instrument", "Instrument"),
    ("attempts", "Attempts"),
    ("leak", "Backflow"),
    ("of_day", "Colleagues that day"),
    ("of_load", "Colleagues, same semen"),
)
"""Key and heading of what a list of failed queens shows."""
NUMBERS = ("dose", "attempts", "of_day", "of_load")
TOOL_COLUMNS = (
    ("tool", "Used"),
    ("level", "Which"),
    ("courses", "Courses"),
    ("failures", "Failed"),
    ("expected", "Expected"),
    ("others_courses", "Colleagues' courses"),
    ("others_failures", "Failed"),
    ("others_expected", "Expected"),
)
AROUND_COLUMNS = (
    ("when", "Day 0"),
    ("courses", "Courses"),
    ("failures", "Failed"),
    ("expected", "Expected"),
)
STRETCH_COLUMNS = (
    ("stretch", "Cases"),
    ("courses", "Decided courses"),
    ("failures", "Failed"),
    ("share", "Share of success"),
    ("limits", "95 % limits"),
    ("expected", "Expected"),
)


BENCH = ("course_id", "queen_id", "dose_ul", "tip", "instrument", "attempts", "leak")
UNSEEN: Row = dict.fromkeys(BENCH)
"""Of a course whose id the store hides, as it may where names are put into codes."""


def bench_rows(store: Store, courses: Iterable[str]) -> dict[str, Row]:
    """Give what was done on the bench of some courses, by their ids."""
    sql = resources.read("sql", "10_pages", "bench_of_courses.sql")
    rows = store.records(sql, {"courses": list(courses)})
    return {row["course_id"]: row for row in rows}


def failed_queens(
    store: Store, cases: ClosedCourses, operators: Sequence[str]
) -> dict[str, list[Row]]:
    """List operators' failed courses, the latest first.

    Parameters
    ----------
    store : Store
        Holds courses.
    cases : ClosedCourses
        All closed courses of the question, of every operator.
    operators : sequence of str

    Returns
    -------
    dict of list of dict
        By operator: operator, course_id, queen_id, d0, graft_batch, semen_batch (the load), dose_ul,
        tip, instrument, attempts, leak; of colleagues' decided courses of the same day
        and of the same load how many there are and failed: day_courses, day_failed,
        load_courses, load_failed. A load that is not recorded has nobody's.
    """
    order = np.lexsort((cases.course_id, cases.inseminated_at, cases.d0))[::-1]
    decided = cases.decided & (cases.operator != "")
    failed = decided & (cases.failed == 1) & np.isin(cases.operator, operators)
    listed = order[failed[order]]
    counted = order[decided[order]]
    by = cases.operator[counted].tolist()
    lost = (cases.failed[counted] == 1).tolist()
    days = _Results(cases.d0[counted].tolist(), by, lost)
    loads = _Results(cases.semen_batch[counted].tolist(), by, lost)
    bench = bench_rows(store, cases.course_id[listed].tolist())
    found: dict[str, list[Row]] = {operator: [] for operator in operators}
    for at in listed.tolist():
        operator, load = str(cases.operator[at]), str(cases.semen_batch[at])
        day = cases.d0[at].item()
        of_day = days.of_others(day, operator)
        of_load = loads.of_others(load, operator) if load else (0, 0)
        found[operator].append(
            {
                "operator": operator,
                "d0": day,
                "graft_batch": str(cases.graft_batch[at]),
                "semen_batch": load,
                **bench.get(str(cases.course_id[at]), UNSEEN),
                "day_courses": of_day[0],
                "day_failed": of_day[1],
                "load_courses": of_load[0],
                "load_failed": of_load[1],
            }
        )
    return found


class _Results:
    """How many courses there are under each label, and how many failed, of all and of each hand.

    Counted once for everybody: colleagues' are all but an operator's own.
    """

    def __init__(self, labels: list[Any], by: list[str], failed: list[bool]) -> None:
        self._courses = Counter(labels) + Counter(zip(labels, by, strict=True))
        self._failed = Counter(compress(labels, failed))
        self._failed += Counter(compress(zip(labels, by, strict=True), failed))

    def of_others(self, label: Any, operator: str) -> tuple[int, int]:
        """Give colleagues' courses under a label, and how many of them failed."""
        own = label, operator
        return (
            self._courses[label] - self._courses[own],
            self._failed[label] - self._failed[own],
        )


def said(row: Row) -> Row:
    """Put a failed course into words: what is not recorded is an empty cell."""
    dose = row["dose_ul"]
    return {
        **row,
        "day": row["d0"].isoformat(),
        "dose": "" if dose is None else f"{dose:.1f}",
        "of_day": _of(row, "day"),
        "of_load": _of(row, "load"),
    }


def _of(row: Row, what: str) -> str:
    many = row[f"{what}_courses"]
    return f"{row[f'{what}_failed']} of {many}" if many else ""


def beside_said(cases: ClosedCourses, operator: str) -> list[str]:
    """Say how colleagues fared on the days and with the loads of an operator's failures."""
    counted = cases.counted
    own = cases.operator == operator
    others = counted & ~own & (cases.operator != "")
    failed = own & counted & (cases.failed == 1)
    told = []
    for values, words in (
        (cases.d0, "On the days of these failures"),
        (cases.semen_batch, "With the loads of these failures"),
    ):
        labels = np.unique(values[failed])
        beside = others & np.isin(values, labels[labels.astype(str) != ""])
        if beside.any():
            told.append(
                f"{words} colleagues did {int(beside.sum())} courses: "
                f"{int(cases.failed[beside].sum())} failed, "
                f"{cases.risk[beside].sum():.1f} expected."
            )
    return told


def by_tool(store: Store, cases: ClosedCourses, operator: str) -> list[Row]:
    """Give an operator's results by tip and by instrument, colleagues' beside them.

    Parameters
    ----------
    store : Store
    cases : ClosedCourses
    operator : str

    Returns
    -------
    list of dict
        tool, level, courses, failures, expected, and the same of colleagues
        (others_courses, others_failures, others_expected). Decided courses of known
        risk; a tool that is recorded for none of hers gives no row.
    """
    counted = cases.some(np.flatnonzero(cases.counted))
    bench = bench_rows(store, counted.course_id.tolist())
    own = counted.operator == operator
    rows = []
    for tool in TOOLS:
        used = np.array(
            [bench.get(str(name), UNSEEN)[tool] or "" for name in counted.course_id],
            dtype=str,
        )
        if not (used[own] != "").any():
            continue
        for level in np.unique(used[own]).tolist():
            here = used == level
            rows.append(
                {
                    "tool": tool,
                    "level": level or NOT_RECORDED,
                    **_results(counted, own & here, ""),
                    **_results(
                        counted, ~own & here & (counted.operator != ""), "others_"
                    ),
                }
            )
    return rows


def _results(cases: ClosedCourses, here: np.ndarray, start: str) -> Row:
    return {
        f"{start}courses": int(here.sum()),
        f"{start}failures": int(cases.failed[here].sum()),
        f"{start}expected": float(cases.risk[here].sum()),
    }


def around_signal(cases: ClosedCourses, operator: str, signal: Row) -> list[Row]:
    """Give an operator's season before and since a signal.

    Parameters
    ----------
    cases : ClosedCourses
    operator : str
    signal : dict
        Of `operator_signals`: inseminated_at, known_on.

    Returns
    -------
    list of dict
        when, courses, failures, expected: up to the course that signalled, later ones,
        and those of them that were inseminated after it was known.
    """
    at, known = np.datetime64(signal["inseminated_at"].date()), signal["known_on"]
    here = np.flatnonzero(cases.d0 == at)
    seasons = cases.season[here]
    season = cases.season == (seasons[0] if len(seasons) else "")
    own = (cases.operator == operator) & cases.counted & season
    since = own & (cases.d0 > at)
    parts = {
        f"this season up to {_day(at)}": own & (cases.d0 <= at),
        "since": since,
        f"of these, done after it was known ({known.isoformat()})": since
        & (cases.d0 > np.datetime64(known)),
    }
    return [{"when": when, **_results(cases, part, "")} for when, part in parts.items()]


def _day(value: np.datetime64) -> str:
    day: dt.date = value.astype("datetime64[D]").item()
    return day.isoformat()
