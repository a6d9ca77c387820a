"""The part of the operators' page with each operator's running series of the season."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import operator_signals, theme
from queen_outcomes.dashboard.charts.running import cusum_chart, over_expected_chart
from queen_outcomes.dashboard.figures import Figure, Numbers
from queen_outcomes.facts.settings import Settings

Row = dict[str, Any]
Charts = dict[str, Any]
MOST_POINTS = 300
"""Cases of a series that are drawn; of more, those that show its course."""
AGAINST = {"level": "Against the station", "drift": "Against own earlier courses"}
ANSWERS = {True: "failed", False: "did not fail", None: "undecided"}
SIGNALS = {"worse": "more", "better": "fewer", "": ""}
COLUMNS = (
    ("case", "Course"),
    ("course_id", "Id"),
    ("done", "Inseminated"),
    ("known", "Known on"),
    ("answer", "Ended"),
)
OF_SERIES = (
    ("expected", "Expected"),
    ("over", "Failed minus expected"),
    ("worse", "Evidence for more"),
    ("better", "For fewer"),
    ("signal", "Signal"),
)


@dataclass(frozen=True)
class Spans:
    """Ends of the vertical scales, the same for every operator."""

    evidence: tuple[float, float]
    over: tuple[float, float]


def show(store: Store, settings: Settings, operators: list[Row], charts: Charts) -> Row:
    """Give what the page says of running series.

    Parameters
    ----------
    store : Store
    settings : Settings
    operators : list of dict
        Of `operators`, the plan's question.
    charts : dict
        Takes up the charts.
    """
    shown = [row["operator"] for row in operators if row["shown"]]
    held_back = [row["operator"] for row in operators if not row["shown"]]
    limits = _by_operator(store.records("SELECT * FROM series_limits ORDER BY ALL"))
    series = _by_operator(
        store.records('SELECT * FROM operator_series ORDER BY operator, series, "case"')
    )
    told = operator_signals.read(store)
    spans = _spans([row for name in shown for row in series.get(name, ())], limits)
    chance = settings.plan.false_alarm_chance
    parts = [
        _operator(at, name, limits[name], series.get(name, []), spans, charts)
        | operator_signals.said(name, limits[name], series.get(name, []), told, chance)
        for at, name in enumerate(shown)
        if name in limits
    ]
    held = [row for name in shown for row in limits.get(name, ()) if not row["message"]]
    signals = sum(row["signals"] for row in held)
    return {
        "operators": parts,
        "held_back": held_back,
        "held": bool(held),
        "signals": signals,
        "chance": 2 * chance * len(held),
        "provisional": any(row["provisional"] for row in held),
        "title": _title(parts, signals),
        "each": f"{100 * chance:g} %",
    }


def _by_operator(rows: list[Row]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row["operator"], []).append(row)
    return found


def _title(parts: list[Row], signals: int) -> str:
    if not parts:
        return "There is no running series yet"
    if not signals:
        return "No running series has signalled this season"
    named = [part["name"] for part in parts if part["signals"]]
    many = "one signal" if signals == 1 else f"{signals} signals"
    return f"The running series gave {many} this season: {', '.join(named)}"


def _spans(rows: list[Row], limits: dict[str, list[Row]]) -> Spans:
    def most(values: list[float | None]) -> float:
        return max((value for value in values if value is not None), default=1.0)

    held = [row for own in limits.values() for row in own]
    up = most([*(r["limit_worse"] for r in held), *(r["cusum_worse"] for r in rows)])
    down = most(
        [*(r["limit_better"] for r in held), *(r["cusum_better"] for r in rows)]
    )
    over = [row["sum_over_expected"] for row in rows] or [0.0]
    ends = (min(-1.0, 1.1 * min(over)), max(1.0, 1.1 * max(over)))
    return Spans(
        (-round(1.25 * down, 2), round(1.25 * up, 2)),
        (round(ends[0], 1), round(ends[1], 1)),
    )


def _operator(
    at: int,
    name: str,
    limits: list[Row],
    rows: list[Row],
    spans: Spans,
    charts: Charts,
) -> Row:
    """Draw both series of an operator, the level first."""
    panels = []
    for series in ("level", "drift"):
        own = [point(row) for row in rows if row["series"] == series]
        held = [row for row in limits if row["series"] == series]
        if own and held:
            key = f"{series}-{at + 1}"
            panels.append(
                _panel(key, name, series, held[0], thinned(own), spans, charts)
            )
    drawn = {row["case"] for panel in panels for row in panel.pop("points")}
    return {
        "key": f"operator-{at + 1}",
        "name": name,
        "signals": sum(row["signals"] for row in limits),
        "panels": panels,
        "table": _table(rows, drawn) if panels else None,
        "thinned": len(drawn) < len({row["case"] for row in rows}),
    }


def point(row: Row) -> Row:
    """Give a case as the charts and the table take it; better points downwards."""
    signal = SIGNALS[row["signal"]]
    done = row["inseminated_at"].date().isoformat()
    return {
        "case": row["case"],
        "done": done,
        "known": row["known_on"].isoformat(),
        "answer": ANSWERS[row["failed"]]
        if row["expected"] is not None
        else "undecided",
        "over": round(row["sum_over_expected"], 2),
        "worse": round(row["cusum_worse"], 3),
        "better": -round(row["cusum_better"], 3) + 0.0,
        "signal": signal,
        "said": f"{signal}: {done}" if signal else "",
    }


def thinned(points: list[Row], most: int = MOST_POINTS) -> list[Row]:
    """Keep the cases that show a long series' course.

    Kept are the first, the last, every signal and every undecided case, and of each
    stretch the highest and the lowest evidence.
    """
    if len(points) <= most:
        return points
    kept = {0, len(points) - 1}
    kept |= {at for at, row in enumerate(points) if row["signal"]}
    stretch = -(-2 * len(points) // most)
    for start in range(0, len(points), stretch):
        places = range(start, min(start + stretch, len(points)))
        kept.add(max(places, key=lambda at: points[at]["worse"]))
        kept.add(min(places, key=lambda at: points[at]["better"]))
    return [points[at] for at in sorted(kept)]


def _panel(
    key: str,
    name: str,
    series: str,
    limits: Row,
    points: list[Row],
    spans: Spans,
    charts: Charts,
) -> Row:
    better = limits["limit_better"]
    ends = (limits["limit_worse"], None if better is None else -better)
    evidence = ("case", "done", "known", "answer", "worse", "better", "signal", "said")
    over = ("case", "done", "known", "answer", "over")
    charts[f"evidence-{key}"] = theme.dressed(
        cusum_chart(_only(points, evidence), limits=ends, span=spans.evidence)
    )
    charts[f"over-{key}"] = theme.dressed(
        over_expected_chart(_only(points, over), span=spans.over)
    )
    signals = [row for row in points if row["signal"]]
    seen = "; ".join(f"{row['said']}, known {row['known']}" for row in signals)
    last = points[-1]
    return {
        "title": AGAINST[series],
        "points": points,
        "figures": [
            Figure(
                f"evidence-{key}",
                "",
                f"{name}, {AGAINST[series].lower()}: evidence that the odds of failing have "
                f"doubled (upwards) or halved (downwards). Signals: {seen or 'none'}.",
            ),
            Figure(
                f"over-{key}",
                "",
                f"{name}, {AGAINST[series].lower()}: failures minus expected, summed over "
                f"{last['case']} closed courses; now {last['over']:+.1f}.",
            ),
        ],
    }


def _only(points: list[Row], keys: tuple[str, ...]) -> list[Row]:
    return [{key: row[key] for key in keys} for row in points]


def _table(rows: list[Row], drawn: set[int]) -> Numbers:
    """Set both series of a case side by side."""
    cases: dict[int, Row] = {}
    both = sorted({row["series"] for row in rows}, reverse=True)
    for row in rows:
        if row["case"] in drawn:
            own = point(row) | {"course_id": row["course_id"]}
            case = cases.setdefault(row["case"], own)
            case |= _cells(row["series"], row, own)
    columns = [
        *COLUMNS,
        *(
            (f"{series}_{key}", f"{title}, {'station' if series == 'level' else 'own'}")
            for series in both
            for key, title in OF_SERIES
        ),
    ]
    numbers = tuple(key for key, _ in columns if key.startswith(("level_", "drift_")))
    return Numbers(columns, [cases[at] for at in sorted(cases)], ("case", *numbers))


def _cells(series: str, row: Row, own: Row) -> Row:
    expected = row["expected"]
    return {
        f"{series}_expected": "" if expected is None else f"{100 * expected:.0f} %",
        f"{series}_over": f"{own['over']:+.1f}",
        f"{series}_worse": f"{own['worse']:.2f}",
        f"{series}_better": f"{-own['better']:.2f}",
        f"{series}_signal": own["signal"],
    }
