"""`audit`: how operators' failures compare with what their courses would lead to expect."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from queen_outcomes.audit import own_courses
from queen_outcomes.audit.period import Period, masked, read_period
from queen_outcomes.audit.said import APART, batch_failed, failing, station_said
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import NoModelError, UsageError, nearest
from queen_outcomes.base.store import Store
from queen_outcomes.facts.exports.audit import OPERATORS
from queen_outcomes.facts.pseudonyms import Mask, hide_names
from queen_outcomes.facts.settings import Settings, asked_question
from queen_outcomes.facts.words import fixed, percent

Row = dict[str, Any]


PLACES = {"filled_in": 1, "expected": 1, "failed_to_expected": 2}


@dataclass(frozen=True)
class AuditRequest:
    """What the command was asked: all may be left out."""

    operator: str | None = None
    outcome: str | None = None
    days: int | None = None
    since: dt.date | None = None
    until: dt.date | None = None


@dataclass(frozen=True, eq=False)
class Report:
    """An audit as it is printed and drawn.

    Attributes
    ----------
    title : str
    rows : list of dict
        One an operator, names as shown; a column a key. At least one.
    batches : list of str
        Batches outside the 99.8 % limits, in words.
    station : list of str
        What the station's own running series shows; empty where there is none.
    sheet : dict or None
        Of the one operator asked for.
    points : list of dict
        Of that operator's running series, for a chart.
    file : str
        A name for files.
    operators : list of dict
        As in the table `operators`, names as shown.
    """

    title: str
    rows: list[Row]
    batches: list[str]
    station: list[str]
    sheet: Row | None
    points: list[Row]
    file: str
    operators: list[Row]

    @property
    def shown(self) -> list[Row]:
        """Rows as they are shown: each column of numbers with one precision."""
        return [
            {**row, **{k: fixed(row[k], n) for k, n in PLACES.items()}}
            for row in self.rows
        ]

    @property
    def table(self) -> tuple[list[str], list[list[Any]]]:
        """Columns and rows to write: the operators, or the one's failed queens."""
        if self.sheet is None:
            names = [column.name for column in OPERATORS.columns]
            return names, [[row[name] for name in names] for row in self.operators]
        names = [key for key, _ in own_courses.COLUMNS]
        return names, [[row[name] for name in names] for row in self.sheet["failed"]]


def audit(
    store: Store, settings: Settings, asked: AuditRequest, mask: Mask | None = None
) -> Report:
    """Audit a finished build.

    Parameters
    ----------
    store : Store
    settings : Settings
    asked : AuditRequest
    mask : Mask, optional
        Names are told as its codes.

    Raises
    ------
    UsageError
        No such outcome, window or operator, or days in the wrong order.
    NoModelError
        No operator has a course that the records settle.
    """
    question = asked_question(settings, asked.outcome, asked.days)
    if asked.since and asked.until and asked.since > asked.until:
        raise UsageError(
            "the period ends before it begins",
            where="--from, --to",
            found=f"{asked.since} to {asked.until}",
            hint="turn the two days round, or leave one out",
        )
    period = read_period(store, settings, question, asked.since, asked.until)
    if not any(row["courses"] for row in period.operators):
        raise NoModelError(
            "there is nothing to audit",
            where=f"{question[0]} by day {question[1]}",
            found=_why_nothing(period),
            hint="ask for another outcome or period, or record who inseminated",
        )
    wanted = asked.operator
    if mask is not None:
        period = masked(period, mask)
        hide_names(store, mask)
        wanted = mask.codes.get(wanted, wanted)
    operator = _operator(period, wanted)
    everybody = "all operators" if mask is None else "all operators in codes"
    told, points = None, []
    if operator:
        # late: all operators' figures are there without it
        from queen_outcomes.audit.sheet import series_points, sheet

        told = sheet(store, period, operator)
        points = series_points(told.pop("points"))
    what = failing(question)
    return Report(
        title=f"{operator or 'Technique'}: courses {what}{_period_said(asked)}",
        rows=[_row(row) for row in period.operators],
        batches=_batches(period),
        station=station_said(store, question),
        sheet=told,
        points=points,
        file=_file_name(operator or everybody, question, asked),
        operators=period.operators,
    )


def _why_nothing(period: Period) -> str:
    cases = period.cases
    if not len(cases):
        return "no closed course"
    if not (cases.operator != "").any():
        return f"{len(cases)} closed courses, and no operator is recorded"
    return f"{len(cases)} closed courses, none of them decided and of known risk"


def _operator(period: Period, asked: str | None) -> str | None:
    if asked is None:
        return None
    names = [row["operator"] for row in period.operators]
    if asked in names:
        return asked
    close = nearest(asked, names)
    raise UsageError(
        "there is no such operator among the closed courses",
        where="--operator",
        found=asked,
        expected="one of " + ", ".join(names),
        hint=f"did you mean {close}?" if close else "",
    )


def _row(row: Row) -> Row:
    """Give what the table of operators shows; counts only where figures are held back."""
    shown = row["shown"]
    ranked = shown and row["rank_low"] is not None
    return {
        "operator": row["operator"],
        "courses": row["courses"],
        "failures": row["failures"],
        "filled_in": round(row["filled"], 1) if shown else None,
        "expected": round(row["expected"], 1) if shown else None,
        "failed_to_expected": round(row["ratio"], 2) if shown else None,
        "adjusted": percent(row["adjusted"]) if shown else None,
        "limits": f"{100 * row['low']:.0f}-{100 * row['high']:.0f}" if shown else None,
        "stands_out": _stands_out(row),
        "rank": f"{row['rank_low']}-{row['rank_high']}" if ranked else None,
        "shared": _shared(row),
        "signals": row["signals"],
    }


def _stands_out(row: Row) -> str | None:
    if row["apart_from"]:
        return f"no verdict: not told apart from {row['apart_from']}"
    return row["flag"] if row["shown"] else "too few courses"


def _shared(row: Row) -> str | None:
    if row["shared_pct"] is None:
        return None
    return f"{row['shared_pct']:.0f} %" + ("" if row["separable"] else f", {APART}")


def _batches(period: Period) -> list[str]:
    said = []
    for batch in sorted(period.batches, key=lambda row: (row["mid_p"], row["batch"])):
        if batch["flag"]:
            hands = ", ".join(batch["operators"])
            alone = f"; {APART}" if len(batch["operators"]) == 1 else ""
            said.append(f"{batch_failed(batch)} ({hands or 'nobody named'}{alone})")
    return said


def _file_name(shown: str, question: tuple[str, int], asked: AuditRequest) -> str:
    """Give a file's name; an operator's own spelling is kept where a path allows it.

    A period has a file of its own, so that it does not take the place of the whole.
    """
    safe = "".join(sign if sign.isalnum() else "-" for sign in shown).strip("-") or "-"
    days = (("from", asked.since), ("to", asked.until))
    period = "".join(f"-{word}-{day}" for word, day in days if day)
    return f"{safe}-{question[0]}-{question[1]}{period}"


def _period_said(asked: AuditRequest) -> str:
    """Say the period in a title; empty for all courses."""
    days = (("from", asked.since), ("to", asked.until))
    said = " ".join(f"{word} {day}" for word, day in days if day)
    return f", day 0 {said}" if said else ""


def tell(report: Report, console: Console, files: list[str]) -> None:
    """Print an audit: batches first, then operators, then the one asked for."""
    if console.json:
        console.emit_json(
            {
                "title": report.title,
                "batches": report.batches,
                "station": report.station,
                "operators": report.rows,
                "sheet": report.sheet,
                "files": files,
            }
        )
        return
    console.emit(report.title)
    console.emit("\nBatches first: outside what chance gives 998 times in 1,000")
    for said in report.batches or ["none"]:
        console.tell(f"  {said}")
    if report.sheet is None:
        for said in report.station:
            console.tell(f"\n{said}")
        console.emit("\nOperators")
        columns = [name.replace("_", " ") for name in report.rows[0]]
        cells = [list(row.values()) for row in report.shown]
        console.emit_table(columns, cells, drops=DROPS)
        console.tell(
            "\nThe ratio is each operator's own; ratios do not rank operators. "
            "What stands out asks for a look at semen, queens and bench, and names no "
            "cause."
        )
    else:
        _tell_sheet(report.sheet, console)
    for path in files:
        console.emit(path)


DROPS = ("rank", "shared", "limits", "adjusted", "failed to expected")
OWN_DROPS = ("Instrument", "Colleagues, same semen", "Colleagues that day", "Tip")
"""Columns that a narrow terminal does without, in this order."""
TOLD = (("What was done", "done"), ("How it compares", "compares"))
TOLD_LATER = (
    ("The running series", "series"),
    ("What to look at first", "first"),
    ("What this comparison cannot tell", "limits"),
)


def _tell_sheet(told: Row, console: Console) -> None:
    console.tell(f"\n{told['verdict']}")
    for title, key in (*TOLD, *TOLD_LATER):
        console.emit(f"\n{title}")
        for said in told[key]:
            console.tell(f"  {said}")
    for part in told["around"]:
        console.emit(f"\n{part['signal']}")
        _tell_rows(own_courses.AROUND_COLUMNS, part["rows"], console)
    console.emit(f"\nFailed queens: {len(told['failed'])}")
    for said in told["beside"]:
        console.tell(f"  {said}")
    _tell_rows(own_courses.COLUMNS, told["failed"], console)
    _tell_rows(own_courses.TOOL_COLUMNS, told["tools"], console)
    _tell_rows(own_courses.STRETCH_COLUMNS, told["learning"]["rows"], console)


def _tell_rows(
    columns: tuple[tuple[str, str], ...], rows: list[Row], console: Console
) -> None:
    if rows:
        console.emit("")
        cells = [[row[key] for key, _ in columns] for row in rows]
        heads = [heading for _, heading in columns]
        console.emit_table(heads, cells, drops=OWN_DROPS)
