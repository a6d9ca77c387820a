"""What led up to each signal: the courses since the series last stood at zero, by batch."""

from __future__ import annotations

from typing import Any

from queen_outcomes.audit.cases import Cases
from queen_outcomes.audit.excess import BatchPart
from queen_outcomes.models.risks import BATCHES

Row = dict[str, Any]


def signal_rows(series: list[Row]) -> tuple[list[Row], list[list[Row]]]:
    """Give every signal of the running series, and the courses of its run.

    Parameters
    ----------
    series : list of dict
        Rows of `operator_series`, those of one series together and in order.

    Returns
    -------
    list of dict, list of list of dict
        A signal's operator, series, direction, case, days, and what its run held;
        and the decided rows of each run.
    """
    signals: list[Row] = []
    runs: list[list[Row]] = []
    for at, row in enumerate(series):
        if row["signal"] == "":
            continue
        run = [one for one in _run(series, at) if _is_decided(one)]
        failures = sum(one["failed"] for one in run)
        kept = ("operator", "series", "case", "course_id", "inseminated_at", "known_on")
        signals.append(
            {
                **{name: row[name] for name in kept},
                "direction": row["signal"],
                "first_case": run[0]["case"],
                "courses": len(run),
                "failures": failures,
                "expected": float(sum(one["expected"] for one in run)),
            }
        )
        runs.append(run)
    return signals, runs


def _run(series: list[Row], at: int) -> list[Row]:
    """Give the rows from where the CUSUM last left zero up to its signal."""
    place = (series[at]["operator"], series[at]["series"])
    direction = series[at]["signal"]
    value = f"cusum_{direction}"
    first = at
    for back in range(at - 1, -1, -1):
        row = series[back]
        elsewhere = (row["operator"], row["series"]) != place
        if elsewhere or row["signal"] == direction or row[value] <= 0:
            break
        first = back
    return series[first : at + 1]


def _is_decided(row: Row) -> bool:
    return row["failed"] is not None and row["expected"] == row["expected"]


def signal_batches(
    signals: list[Row], runs: list[list[Row]], cases: Cases, parts: dict[str, list]
) -> list[Row]:
    """Give what each batch adds to each signal's run.

    Parameters
    ----------
    signals, runs : list
        As `signal_rows` gives them.
    cases : Cases
        All courses, for the batch of each.
    parts : dict of str to list of BatchPart
        An operator's batches, for whether anybody else worked on them.
    """
    place = {course: at for at, course in enumerate(cases.course_id.tolist())}
    rows: list[Row] = []
    for signal, run in zip(signals, runs, strict=True):
        alone = {(p.kind, p.batch): p.alone for p in parts[signal["operator"]]}
        for kind in BATCHES:
            names = getattr(cases, kind)
            found: dict[str, list[Row]] = {}
            for row in run:
                batch = str(names[place[row["course_id"]]])
                found.setdefault(batch, []).append(row)
            rows += [
                {
                    **{name: signal[name] for name in ("operator", "series", "case")},
                    "kind": kind,
                    "batch": batch,
                    "courses": len(own),
                    "failures": sum(row["failed"] for row in own),
                    "expected": float(sum(row["expected"] for row in own)),
                    "alone": alone.get((kind, batch), False),
                }
                for batch, own in found.items()
                if batch
            ]
    return rows


def part_rows(parts: dict[str, list[BatchPart]]) -> list[Row]:
    """Give every operator's batches as rows."""
    return [
        {
            "operator": name,
            "kind": part.kind,
            "batch": part.batch,
            "courses": part.courses,
            "failures": part.failures,
            "expected": part.expected,
            "alone": part.alone,
        }
        for name, own in parts.items()
        for part in own
    ]
