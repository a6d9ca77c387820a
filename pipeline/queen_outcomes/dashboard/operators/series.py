"""The part of the operators' page with each operator's running series of the season."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from typing import Any

import altair as alt

from queen_outcomes.base.store import Store
from queen_outcomes.dashboard.charts import theme
from queen_outcomes.dashboard.charts.linked import linked
from queen_outcomes.dashboard.figures import (
    Numbers,
    PageFigure,
    grouped,
    only,
    statement,
)
from queen_outcomes.dashboard.operators.batches import excess, largest_part, part_said
from queen_outcomes.facts import words
from queen_outcomes.facts.dose_words import counted
from queen_outcomes.facts.settings import Settings

Row = dict[str, Any]
Charts = dict[str, Any]
MOST_POINTS = 300
"""Cases of a series that are drawn; of more, those that show its course."""
AGAINST = {
    "station": "Against the station's earlier seasons",
    "level": "Against colleagues this season",
    "drift": "Against own earlier courses",
}
SHORT = {"station": "station", "level": "colleagues", "drift": "own"}
STATION = "The whole station"
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


WHOSE = ("by", "graft", "semen")
COURSES = {
    "day": "done",
    "operator": "by",
    "graft_batch": "graft",
    "semen_batch": "semen",
}
"""Where a case names its level of each kind that charts mark."""
OFTEN = 0.8
"""Chance of seeing a doubling under which it is said to be often missed."""
DIRECTIONS = {"worse": "More failures", "better": "Fewer failures"}
MEASURES = {
    "station": "than earlier seasons lead to expect",
    "level": "than colleagues' courses of this season lead to expect",
    "drift": "than before",
}
OR_SEASON = " (or a harder season: colleagues are too few to tell)"
CASE = "closed course of the season"
EVIDENCE = "fewer ← → more"
OVER = "failed − expected"
LIMITS = ("limit_worse", "limit_better")
EXTENT = 30
"""Room for the numbers of a vertical axis: panels one below the other line up."""
OF_COURSE = [alt.Tooltip("graft:N", title="graft batch"), alt.Tooltip("semen:N")]
CROSS = "M-0.6,-0.6L0.6,0.6M-0.6,0.6L0.6,-0.6"


@dataclass(frozen=True)
class Spans:
    """Ends of the vertical scales, the same for every operator; the station has its own."""

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
    shown = [None, *(row["operator"] for row in operators if row["shown"])]
    held_back = [_held_back(row) for row in operators if not row["shown"]]
    limits = _by_operator(store, "series_limits")
    series = _by_operator(store, "operator_series", 'operator, series, "case"')
    whose = {
        row["course_id"]: row for row in store.records(statement("batches_of_courses"))
    }
    for rows in series.values():
        rows[:] = [row | whose[row["course_id"]] for row in rows]
    signalled = _by_operator(store, "operator_signals")
    batches = store.records("SELECT * FROM signal_batches ORDER BY ALL")
    own = {None: _spans(series.get(None, []), limits.get(None, []))}
    usual = _spans(
        [row for name in shown[1:] for row in series[name]],
        [row for name in shown[1:] for row in limits[name]],
    )
    chance = settings.plan.false_alarm_chance
    parts = [
        _operator(at, name, series[name], own.get(name, usual), charts)
        | {
            "name": name or STATION,
            "signals": len({row["episode"] for row in signalled[name]}),
            "said": signals_said(signalled[name], batches),
            "facts": facts_said(limits[name], series[name], chance),
        }
        for at, name in enumerate(shown)
        if name in limits
    ]
    held = [row for name in shown for row in limits[name] if not row["message"]]
    return {
        "station": next((part for part in parts if part["name"] == STATION), None),
        "own": {part["name"]: part for part in parts if part["name"] != STATION},
        "held_back": held_back,
        "held": bool(held),
        "chance": 2 * chance * len(held),
        "provisional": any(row["provisional"] for row in held),
        "each": f"{100 * chance:g} %",
    }


def _held_back(row: Row) -> str:
    """Name an operator without figures, and why if it is not for few courses."""
    apart = row["apart_from"]
    return (
        f"{row['operator']} (not told apart from {apart})" if apart else row["operator"]
    )


def _by_operator(store: Store, table: str, order: str = "ALL") -> dict[str, list[Row]]:
    return grouped(store.records(f"SELECT * FROM {table} ORDER BY {order}"))


def _spans(rows: list[Row], held: list[Row]) -> Spans:
    def most(way: str) -> float:
        values = [row[f"limit_{way}"] for row in (*held, *rows)]
        values += [row[f"cusum_{way}"] for row in rows]
        return round(1.4 * max((v for v in values if v is not None), default=1.0), 2)

    over = [row["sum_over_expected"] for row in rows] or [0.0]
    ends = (min(-1.0, 1.1 * min(over)), max(1.0, 1.1 * max(over)))
    return Spans(
        (-most("better"), most("worse")), (round(ends[0], 1), round(ends[1], 1))
    )


def _operator(
    at: int,
    name: str | None,
    rows: list[Row],
    spans: Spans,
    charts: Charts,
) -> Row:
    """Draw the station's series, or both of an operator, that against colleagues first."""
    panels = []
    for series in AGAINST:
        own = [point(row) for row in rows if row["series"] == series]
        if own:
            key = f"{series}-{at}"
            panels.append(
                _panel(key, name or STATION, series, thinned(own), spans, charts)
            )
    drawn = {row["case"] for panel in panels for row in panel.pop("points")}
    return {
        "key": f"operator-{at}",
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
        **{name: row[name] for name in WHOSE},
        "done": done,
        "known": row["known_on"].isoformat(),
        "answer": ANSWERS[row["failed"]]
        if row["expected"] is not None
        else "undecided",
        "over": round(row["sum_over_expected"], 2),
        "worse": round(row["cusum_worse"], 3),
        "better": -round(row["cusum_better"], 3) + 0.0,
        "limit_worse": _limit(row["limit_worse"], 1),
        "limit_better": _limit(row["limit_better"], -1),
        "signal": signal,
        "said": f"{signal}: {done}" if signal else "",
    }


def _limit(value: float | None, side: int) -> float | None:
    return None if value is None else side * round(value, 2)


def thinned(points: list[Row], most: int = MOST_POINTS) -> list[Row]:
    """Keep the cases that show a long series' course.

    Kept are the first, the last and every signal, and of each stretch the highest and the
    lowest evidence.
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
    points: list[Row],
    spans: Spans,
    charts: Charts,
) -> Row:
    evidence = ("case", "done", "known", "answer", "worse", "better", "signal", "said")
    evidence += LIMITS
    over = ("case", *WHOSE, "done", "known", "answer", "over")
    charts[f"evidence-{key}"] = cusum_chart(only(points, evidence), span=spans.evidence)
    drawn = over_expected_chart(only(points, over), span=spans.over)
    charts[f"over-{key}"] = linked(drawn, courses=COURSES)
    signals = [row for row in points if row["signal"]]
    seen = "; ".join(f"{row['said']}, known {row['known']}" for row in signals)
    last = points[-1]
    whose = f"{name}, {AGAINST[series].lower()}"
    alts = {
        f"evidence-{key}": f"{whose}: evidence that the odds of failing have doubled "
        f"(upwards) or halved (downwards). Signals: {seen or 'none'}.",
        f"over-{key}": f"{whose}: failures minus expected, summed over {last['case']} "
        f"closed courses; now {last['over']:+.1f}.",
    }
    return {
        "title": AGAINST[series],
        "points": points,
        "figures": [PageFigure(chart, "", alt) for chart, alt in alts.items()],
    }


def _table(rows: list[Row], drawn: set[int]) -> Numbers:
    """Set both series of a case side by side."""
    cases: dict[int, Row] = {}
    seen = {row["series"] for row in rows}
    both = [series for series in AGAINST if series in seen]
    for row in rows:
        if row["case"] in drawn:
            own = point(row) | {"course_id": row["course_id"]}
            case = cases.setdefault(row["case"], own)
            case |= _cells(row["series"], row, own)
    of_series = [
        (f"{series}_{key}", f"{title}, {SHORT[series]}")
        for series in both
        for key, title in OF_SERIES
    ]
    numbers = ("case", *(key for key, _ in of_series))
    ordered = [cases[at] for at in sorted(cases)]
    return Numbers([*COLUMNS, *of_series], ordered, numbers)


def _cells(series: str, row: Row, own: Row) -> Row:
    expected = row["expected"]
    return {
        f"{series}_expected": "" if expected is None else f"{100 * expected:.0f} %",
        f"{series}_over": f"{own['over']:+.1f}",
        f"{series}_worse": f"{own['worse']:.2f}",
        f"{series}_better": f"{0.0 - own['better']:.2f}",
        f"{series}_signal": own["signal"],
    }


def facts_said(limits: list[Row], rows: list[Row], chance: float) -> list[str]:
    """Say what an operator's limits can and cannot see.

    Parameters
    ----------
    limits, rows : list of dict
        Of `series_limits` and `operator_series`, the operator's.
    chance : float
        Of a false signal within a season, for each direction of each series.
    """
    level = [row for row in rows if row["series"] != "drift"]
    held = [row for row in limits if not row["message"]]
    facts = [_counts_said(level)]
    facts += [
        f"No verdict {AGAINST[row['series']].lower()}: {row['message']}."
        for row in limits
        if row["message"]
    ]
    if held:
        facts.append(false_said(len(held), chance))
        facts += [detection_said(row) for row in sorted(held, key=_after_level)]
    if any(row["provisional"] for row in limits):
        facts.append(
            "Provisional: there is no earlier season, so the courses are measured by "
            "themselves, and only against colleagues."
        )
    elif {row["series"] for row in limits} == {"level"}:
        facts.append("No own earlier courses: the series against them is missing.")
    return facts


def signals_said(signals: list[Row], batches: list[Row]) -> list[str]:
    """Say each change that was signalled once, whichever series saw it."""
    found: dict[int, list[Row]] = defaultdict(list)
    for row in sorted(signals, key=lambda one: (one["case"], _after_level(one))):
        found[row["episode"]].append(row)
    return [_episode_said(rows, batches) for _, rows in sorted(found.items())]


def _episode_said(rows: list[Row], batches: list[Row]) -> str:
    said = signal_said(rows[0], batches)
    more = [f"{AGAINST[r['series']].lower()} at course {r['case']}" for r in rows[1:]]
    return f"{said} The same change: {', '.join(more)}." if more else said


def _after_level(row: Row) -> bool:
    return row["series"] != "level"


def _counts_said(level: list[Row]) -> str:
    if not level:
        return "No closed course this season yet."
    undecided = sum(row["failed"] is None or row["expected"] is None for row in level)
    skipped = f"; {undecided} undecided, marked and passed over" if undecided else ""
    return f"{counted(len(level), 'closed course')} this season{skipped}."


def false_said(series: int, chance: float) -> str:
    """Say how likely a season without any change still gives a signal."""
    many = 2 * series
    return (
        f"With nothing changed, a season of the planned courses still signals by chance with "
        f"about {100 * chance:g} % at each of {many} limits, so up to "
        f"{100 * chance * many:g} % together."
    )


def detection_said(row: Row) -> str:
    """Say how likely a doubling of the odds had been seen by now, and how soon."""
    said = f"{AGAINST[row['series']]}: had the odds of failing doubled at the first course, "
    if row["detection"] is None:
        return f"{said}the chance of a signal is not known."
    said += f"the {row['cases']} courses so far would have signalled with a chance of "
    said += words.percent(row["detection"])
    if row["median_courses"] is not None:
        said += f", half the time within {row['median_courses']:.0f} courses"
    missed = " A doubling is often missed." if row["detection"] < OFTEN else ""
    if row["cases"] > row["holds_for"]:
        missed += f" Beyond the {row['holds_for']} planned there is no verdict."
    return f"{said}.{missed}"


def signal_said(row: Row, batches: list[Row]) -> str:
    """Say a signal, its two days, what led up to it, and in which batches that lies."""
    what = f"{DIRECTIONS[row['direction']]} {MEASURES[row['series']]}"
    if row["series"] == "drift" and not row["season_told"]:
        what += OR_SEASON
    day = row["inseminated_at"].date().isoformat()
    start = (
        f"{what}: signal at course {row['case']} of {day}, known on "
        f"{row['known_on'].isoformat()}. Since the series last stood at zero, "
        f"{row['failures']} of {row['courses']} courses failed where {row['expected']:.1f} "
        "were expected."
    )
    if row["direction"] == "better":
        return start
    place = ("operator", "series", "case")
    own = [b for b in batches if all(b[key] == row[key] for key in place)]
    more = [
        _adds(best, row)
        for kind in words.BATCH_KINDS
        if (best := largest_part(own, kind)) is not None
    ]
    return " ".join([start, *(said for said in more if said)])


def _adds(part: Row, signal: Row) -> str:
    """Name a batch that nobody else worked on, or one with a third of the excess."""
    total = signal["failures"] - signal["expected"]
    share = excess(part) / total if total > 0 else 0.0
    if share < 1 / 3:
        return ""
    size = f"{excess(part):.1f} of these {total:.1f} beyond the expected"
    said = (
        f"{words.BATCH_KINDS[part['kind']].capitalize()} {part['batch']} holds {size}"
    )
    if part["alone"]:
        return (
            f"{said} ({part_said(part)}), and nobody else worked on it: whether it was "
            "the batch or the hand cannot be told."
        )
    return f"{said} ({part_said(part)}); others worked on it too."


@cache
def _case(title: str | None = None) -> alt.X:
    """Give the axis of cases; without a title also without numbers, as one lies below."""
    return alt.X(
        "case:Q",
        title=title,
        scale=alt.Scale(nice=False, domainMin=0),
        axis=alt.Axis(tickMinStep=theme.WHOLE, grid=False, labels=title is not None),
    )


@cache  # as every operator's charts have them
def _case_tooltip(*more: str) -> list[alt.Tooltip]:
    return [
        alt.Tooltip("case:Q", title="course of the season"),
        alt.Tooltip("done:N", title="inseminated"),
        alt.Tooltip("known:N", title="known"),
        alt.Tooltip("answer:N", title="ended"),
        *(alt.Tooltip(f"{name}:Q", format=".2f") for name in more),
    ]


def cusum_chart(
    rows: list[dict[str, Any]],
    *,
    span: tuple[float, float],
) -> theme.Drawn:
    """Draw the evidence for more failures upwards, for fewer mirrored downwards.

    Parameters
    ----------
    rows : list of dict
        case, done, known, answer (failed, not, undecided), worse, better (negative),
        signal, said (the words by a signal); limit_worse, limit_better: values at which
        there is a signal, the latter negative; None: no verdict.
    span : tuple of float
        Ends of the vertical scale, the same for every operator.
    """
    y = alt.Y(
        "worse:Q",
        title=EVIDENCE,
        scale=alt.Scale(domain=list(span), nice=False),
        axis=alt.Axis(
            tickCount=5, minExtent=EXTENT, labelExpr="format(abs(datum.value), '~g')"
        ),
    )
    base = theme.chart(rows)
    tooltip = _case_tooltip("worse", "better")
    layers = [
        theme.chart([{"at": 0}])
        .mark_rule(color=theme.QUIET)
        .encode(y=alt.Y("at:Q", title=EVIDENCE)),
        *_limit_lines(rows),
        base.mark_line(color=theme.OPEN, strokeWidth=theme.STROKE).encode(
            x=_case(), y=y, tooltip=tooltip
        ),
        base.mark_line(color=theme.CLOSED, strokeWidth=theme.STROKE, strokeDash=[3, 2]).encode(
            x=_case(), y=alt.Y("better:Q", title=EVIDENCE), tooltip=tooltip
        ),
        *_marked(rows, tooltip, foot=span[0]),
    ]
    return theme.layered(layers, height=140)


def _limit_lines(rows: list[dict[str, Any]]) -> list[alt.Chart]:
    """Draw both limits as they move with what may be spent, each named at an end of it.

    That for more where it begins: further on its series may rise through the name.
    """
    found = []
    for name, said, at, dy in (
        (LIMITS[0], "limit: more", 0, -8),
        (LIMITS[1], "limit: fewer", -1, 10),
    ):
        own = only([row for row in rows if row[name] is not None], ("case", name))
        if not own:
            continue
        place = {"x": _case(), "y": alt.Y(f"{name}:Q", title=EVIDENCE)}
        line = theme.chart(own).mark_line(
            color=theme.QUIET,
            strokeWidth=1.2,
            strokeDash=theme.LIMIT_DASHES,
            interpolate="step-before",
        )
        # clear of what the line does under the name, a good third of the width
        beside = own[at:] if at else own[: 1 + len(own) * 2 // 5]
        highest = max(row[name] for row in beside)
        late = own[at]["case"] > rows[-1]["case"] / 2
        text = theme.chart([{**own[at], name: highest, "said": said}]).mark_text(
            align="right" if late else "left", dy=dy, fontSize=11, color=theme.INK
        )
        found += [line.encode(**place), text.encode(**place, text=alt.Text("said:N"))]
    return found


def _marked(
    rows: list[dict[str, Any]], tooltip: list, *, foot: float
) -> list[alt.Chart]:
    """Mark signals with their day, and undecided courses by a cross at the foot."""
    found = []
    place = {"x": _case(), "y": alt.Y("at:Q", title=EVIDENCE)}
    signals = [
        {**row, "at": row["worse"] if row["signal"] == "more" else row["better"]}
        for row in rows
        if row["signal"]
    ]
    if signals:
        base = theme.chart(signals)
        late = signals[-1]["case"] > rows[-1]["case"] / 2
        text = base.mark_text(
            align="right" if late else "left",
            dx=-9 if late else 9,
            dy=-6,
            fontSize=12,
            color=theme.INK,
        )
        mark = base.mark_point(
            shape="triangle-up", filled=True, size=110, color=theme.INK, opacity=theme.SOLID
        )
        found += [
            mark.encode(**place, tooltip=tooltip),
            text.encode(**place, text=alt.Text("said:N")),
        ]
    undecided = [{**row, "at": foot} for row in rows if row["answer"] == "undecided"]
    if undecided:
        cross = theme.chart(undecided).mark_point(
            shape=CROSS, size=40, color=theme.INK, strokeWidth=1.2, yOffset=-6
        )
        found.append(cross.encode(**place, tooltip=tooltip))
    return found


def over_expected_chart(
    rows: list[dict[str, Any]], *, span: tuple[float, float]
) -> theme.Drawn:
    """Draw failures minus expected, summed over the season's courses.

    Parameters
    ----------
    rows : list of dict
        case, by, graft, semen, done, known, answer, over.
    span : tuple of float
        Ends of the vertical scale.
    """
    y = alt.Y(
        "over:Q",
        title=OVER,
        scale=alt.Scale(domain=list(span), nice=False),
        axis=alt.Axis(tickCount=4, minExtent=EXTENT),
    )
    zero = theme.chart([{"at": 0}])
    base = theme.chart(rows)
    layers = [
        zero.mark_rule(color=theme.QUIET).encode(y=alt.Y("at:Q", title=OVER)),
        base.mark_line(color=theme.INK, strokeWidth=1.5).encode(
            x=_case(CASE), y=y, tooltip=[*_case_tooltip("over"), *OF_COURSE]
        ),
    ]
    return theme.layered(layers, height=85)
