"""What a plan says and where it goes: terminal, JSON, the bench list and sheet as files."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from itertools import groupby
from pathlib import Path
from typing import Any

from queen_outcomes import __version__
from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.outputs import write_files
from queen_outcomes.base.templates import environment
from queen_outcomes.facts.dictionary import LEAK
from queen_outcomes.facts.dose_words import success
from queen_outcomes.facts.outcomes import outcome_named
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records.sources import fits, table_of_file
from queen_outcomes.trial.bench_list import (
    BenchPlace,
    bench_list,
    list_columns,
    list_csv,
)
from queen_outcomes.trial.plan import SPARE, TrialPlan
from queen_outcomes.trial.plan_figures import PlanFigure

CAUTIONS = (
    "This is a plan. Whether and how it is carried out, the care of the animals and the "
    "law rest with those licensed for it and with local codes.",
    "CO2 displaces air: work ventilated, shut the valve between queens, cylinder upright "
    "and secured, an alarm at breathing height (usual workplace limit 5,000 ppm over "
    "8 h, OSHA 29 CFR 1910.1000; short-term limits differ by country).",
    "Stings: a systemic reaction is an emergency. Adrenaline where it is prescribed; "
    "never work alone.",
    "Glass tips break and drone faeces irritate skin and eyes: eye shield, sharps box, no "
    "suction by mouth (common practice).",
    "Drugs in diluent, gas for anaesthesia, and moving bees or semen fall under local "
    "veterinary, movement and workplace law.",
)
MOSTLY_DECIDED = 0.8
AS_ASKED = ("difference", "margin", "alpha", "power", "by", "block_size", "seed")
"""What the JSON gives of the request as it stands."""
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


@dataclass(frozen=True)
class Section:
    """A part of what is printed: a table, or lines."""

    title: str
    columns: tuple[str, ...] = ()
    rows: list[list[Any]] = field(default_factory=list)
    lines: tuple[str, ...] = ()


def sections(plan: TrialPlan) -> list[Section]:
    """Give everything that a plan says, in the order it is printed."""
    return [
        Section(f"{plan.request.name}: {aim(plan)}", lines=(_design(plan),)),
        _arms(plan),
        _needs(plan),
        _powers(plan),
        _figures(plan),
        Section("What it assumes", lines=tuple(assumptions(plan))),
        Section("Write into station.toml", lines=tuple(settings_lines(plan))),
        Section("Cautions", lines=CAUTIONS),
    ]


def aim(plan: TrialPlan) -> str:
    """Say what the trial is to find out."""
    r = plan.request
    what = f"the share {success(*r.question)}"
    others = ", ".join(a.name for a in r.arms if a.name != r.reference)
    if r.margin is not None:
        return (
            f"is {what} with {others} not worse than with {r.reference} by "
            f"{points(r.margin)} or more?"
        )
    way = "higher" if plan.size.p_arm > plan.size.p_reference else "lower"
    gap = points(abs(r.difference or 0))
    return f"is {what} with {others} {way} than with {r.reference} by {gap}?"


def _design(plan: TrialPlan) -> str:
    r = plan.request
    drawn = (
        f"whole graft batches drawn by lot, {r.block_size} graft batches a block"
        if r.whole_batches
        else f"queens drawn by lot within graft batch and semen batch, {r.block_size} a block"
    )
    return f"{drawn}; seed {r.seed}"


def _arms(plan: TrialPlan) -> Section:
    r, size = plan.request, plan.size
    rows = [
        [
            arm.name + (" (reference)" if arm.name == r.reference else ""),
            arm.words,
            percent(size.p_reference if arm.name == r.reference else size.p_arm),
            *(size.decided, size.closed, size.inseminated, size.queens),
            f"{size.queens * arm.total_ul * (1 + SPARE):.0f}",
        ]
        for arm in r.arms
    ]
    columns = (
        *("arm", "dose", "success", "decided", "closed", "inseminated"),
        *("on the list", "semen uL"),
    )
    return Section("Queens an arm: needed, and on the list", columns, rows)


def _needs(plan: TrialPlan) -> Section:
    size, ready, batch = plan.size, plan.ready, plan.ready_a_batch
    lay = size.layout
    over = f", {lay.spare} over" if lay.spare else ""
    loads = " + ".join(str(queens) for queens in lay.load_queens)
    rows = [
        ["decided courses an arm, were they independent", f"{size.alone:.1f}"],
        ["x factor for queens of a batch being alike", f"{size.effect:.3f}"],
        ["x factor for few batches", f"{size.few:.3f}"],
        ["graft batches", str(size.batches)],
        ["queens of each in the trial", f"{lay.used}{over}"],
        ["semen batches for each, with so many queens", f"{lay.loads}: {loads}"],
        ["queens in all", str(ready.queens)],
        [f"semen in all, {percent(SPARE)} spare", f"{ready.semen_ul:.0f} uL"],
        ["drones to handle in all", str(ready.drones)],
        *_seasons(plan),
        ["semen for the graft batch that takes most", f"{batch.semen_ul:.0f} uL"],
        ["drones to handle for it", str(batch.drones)],
        ["power reached", power_words(size.power)],
    ]
    return Section("What the trial needs", ("what", "how much"), rows)


def _seasons(plan: TrialPlan) -> list[list[str]]:
    """Set queens and drones against what the station raises in a season."""
    asked = {
        "queens": (plan.ready.queens, plan.figures.queens_a_season),
        "drones": (plan.ready.drones, plan.figures.drones_a_season),
    }
    return [
        [f"seasons for its {what}, at {own.value:,.0f} a season", f"{needed / own.value:.1f}"]
        for what, (needed, own) in asked.items()
        if own.value
    ]


def _powers(plan: TrialPlan) -> Section:
    rows = [
        [one.batches, one.queens, f"{one.decided:.0f}", power_words(one.power)]
        for one in plan.size.neighbours
    ]
    columns = ("graft batches", "queens an arm", "decided", "power")
    return Section("Power of other sizes", columns, rows)


def _figures(plan: TrialPlan) -> Section:
    rows = [[f.name, value(f), f.source, f.basis] for f in plan.figures.listed()]
    return Section("Figures used", ("figure", "value", "from", "which is"), rows)


def assumptions(plan: TrialPlan) -> list[str]:
    """Say what must hold for the plan to hold, a sentence each."""
    r, size = plan.request, plan.size
    outcome, _ = r.question
    others = len(r.arms) - 1
    said = [
        f"{r.reference} does as the figure above says ({percent(size.p_reference)}); "
        "a season differs from the last, and the figure has limits of its own.",
        "The comparison is of arms as drawn, inside blocks, with 95 % limits that allow "
        "for graft batches"
        + (f" and for {others} comparisons with the reference." if others > 1 else "."),
        "A queen takes the next place of her graft batch and semen batch as she comes to "
        "hand, before anybody looks at the dose; she keeps that arm whatever is given.",
        "Those who look into the colonies later do not know the dose.",
        "Where a split dose is drawn and she dies before it is complete, she stays in "
        "her arm.",
    ]
    seasons = max((float(row[1]) for row in _seasons(plan)), default=0.0)
    if seasons > 1:
        said.insert(
            0,
            f"It takes {seasons:g} of the station's fullest seasons, as many queens and "
            "drones as were raised in them all put into the trial: plan for several "
            "seasons, or ask for a larger difference or margin.",
        )
    if r.whole_batches:
        said.append(
            "A batch of one arm tells the arm and the batch apart only over many batches; "
            "let arms of a block share semen batches where that can be done."
        )
    if plan.figures.decided.value < MOSTLY_DECIDED:
        said.append(
            f"Only {percent(plan.figures.decided.value)} of the closed courses are "
            "decided; where being decided depends on the arm, the arms cannot be compared "
            "fairly: look at more queens at the right time."
        )
    if size.opposite is not None:
        said.append(
            "A difference as large in the other direction would need "
            f"{size.opposite:.0f} instead of {size.alone:.0f} decided courses an arm, "
            "were they independent."
        )
    if outcome_named(outcome).among_layers:
        said.append(
            "The outcome is asked of queens that lay only; where arms differ in laying, "
            "the queens compared are not the ones drawn by lot."
        )
    return said


def settings_lines(plan: TrialPlan) -> list[str]:
    """Give the lines that write the plan down before the season."""
    r, own = plan.request, plan.settings.plan
    line = f"{_key(r.name)} = {plan.size.closed}"
    lines = [line] if own.planned_arms else ["[planned_arms]", line]
    if own.planned_arms:
        lines.insert(0, "# under [planned_arms], which is there already:")
    if r.margin is not None and own.margin != r.margin:
        lines += ["# under [plan]:", f"margin = {r.margin:g}"]
    return lines


def as_json(plan: TrialPlan) -> dict[str, Any]:
    """Give a plan as plain values, for programs."""
    r, size = plan.request, plan.size
    sized = asdict(size)
    sized["layout"]["loads"] = size.layout.loads
    outcome, days = r.question
    return {
        "trial": r.name,
        "as_of": plan.as_of,
        "outcome": outcome,
        "window_days": days,
        "reference": r.reference,
        "arms": [{**asdict(arm), "dose_ul": arm.total_ul} for arm in r.arms],
        **{name: getattr(r, name) for name in AS_ASKED},
        "figures": {name: asdict(f) for name, f in vars(plan.figures).items()},
        "size": sized,
        "ready": {"spare": SPARE, **asdict(plan.ready)},
        "ready_a_batch": {"spare": SPARE, **asdict(plan.ready_a_batch)},
        "assumptions": assumptions(plan),
        "remarks": plan.remarks,
        "station_toml": settings_lines(plan),
        "cautions": CAUTIONS,
    }


def points(share: float) -> str:
    """Give a difference of shares in points."""
    return f"{100 * share:g} points"


def percent(share: float) -> str:
    """Give a share as a percentage, to three figures."""
    return f"{100 * share:.3g} %"


def power_words(power: float | None) -> str:
    """Give a power as a percentage."""
    return "under 5 %" if power is None else f"{100 * power:.1f} %"


def value(figure: PlanFigure) -> str:
    """Give a figure with its unit."""
    if figure.unit == "share":
        return f"{100 * figure.value:.1f} %"
    digits = {"queens": 1, "drones": 0}.get(figure.unit, 3)
    return f"{figure.value:.{digits}f} {figure.unit}".strip()


def _key(name: str) -> str:
    """Write a name as a TOML key."""
    if _BARE_KEY.fullmatch(name):
        return name
    return json.dumps(name, ensure_ascii=False).replace("\x7f", "\\u007f")


BY_HAND = ("queen_id", "inseminated_at", "operator", "dose_ul", "attempts", "minutes")
"""Columns of the records that the sheet leaves room for, besides leak."""


def sheet(plan: TrialPlan) -> str:
    """Give the sheet as one HTML page for A4 paper, lying."""
    headings = list_columns(plan.settings)
    template = environment().get_template("plan_sheet.html")
    return template.render(
        station=plan.settings.name,
        version=__version__,
        as_of=plan.as_of.isoformat(),
        request=plan.request,
        aim=aim(plan),
        size=plan.size,
        headings=headings,
        by_hand=[headings[name] for name in BY_HAND],
        leak=_leak_words(plan.settings),
        parts=_parts(bench_list(plan.request, plan.size)),
        cautions=CAUTIONS,
    )


def _leak_words(settings: Settings) -> list[str]:
    """Give the station's own words for semen seen to flow back."""
    own = settings.reading.words.get("leak", {})
    return [next(iter(own.get(word, ())), word) for word in LEAK]


def _parts(places: tuple[BenchPlace, ...]) -> list[dict[str, Any]]:
    """Gather the places of each graft batch and semen batch, a line a dose."""
    return [
        {
            "graft": graft,
            "load": load,
            "lines": [
                {"place": place, "dose": dose, "number": number, "first": number == 1}
                for place in own
                for number, dose in enumerate(place.arm.doses, start=1)
            ],
        }
        for (graft, load), own in groupby(places, lambda p: (p.graft, p.load))
    ]


def write(plan: TrialPlan, csv_file: Path | None, page: Path | None) -> dict[str, Path]:
    """Write the bench list and the sheet where they are asked for.

    Returns
    -------
    dict
        "csv" and "sheet" -> the file written.

    Raises
    ------
    UsageError
        The list would land over another file.
    """
    written = {"csv": csv_file, "sheet": page}
    texts = {}
    if csv_file:
        texts[csv_file] = list_text(plan, csv_file)
    if page:
        texts[page] = sheet(plan)
    write_files(texts)
    return {name: path for name, path in written.items() if path}


def tell(plan: TrialPlan, files: Mapping[str, Path], console: Console) -> None:
    """Print a plan and the files written; what needs a second look goes to stderr."""
    for remark in plan.remarks:
        console.note(f"note: {remark}")
    if "csv" in files and (remark := name_remark(files["csv"], plan.settings)):
        console.note(f"note: {remark}")
    if console.json:
        written = {name: str(path) for name, path in files.items()}
        console.emit_json({**as_json(plan), "files": written})
        return
    for at, section in enumerate(sections(plan)):
        console.emit(("\n" if at else "") + section.title)
        if section.columns:
            console.emit_table(section.columns, section.rows)
        for line in section.lines:
            console.tell(f"  {line}")
    if files:
        console.emit("\nWritten")
    for path in files.values():
        console.emit(f"  {path}")


def list_text(plan: TrialPlan, path: Path) -> str:
    """Give the bench list to be filled in, for a place where no other file stands.

    Raises
    ------
    UsageError
        Another file stands there.
    """
    text = list_csv(bench_list(plan.request, plan.size), plan.request, plan.settings)
    if path.exists() and path.read_bytes() != text.encode():
        raise UsageError(
            "another file stands where the bench list was to go",
            where=str(path),
            hint="it may be a list filled in by hand: move it, or name another file",
        )
    return text


def name_remark(path: Path, settings: Settings) -> str:
    """Say how the file must be named to be read as inseminations; empty if it is."""
    patterns = settings.reading.files.get("inseminations")
    if any(r.table == "inseminations" for r in settings.reading.rules_for(path.name)):
        return ""
    if patterns and any(fits(pattern, path.name) for pattern in patterns):
        return ""
    if patterns:
        return (
            f"to be read, {path.name} must be one of the files under [tables] "
            f"inseminations in station.toml: {', '.join(patterns)}"
        )
    if table_of_file(path.name) == "inseminations":
        return ""
    return (
        f"to be read, {path.name} must have a name that begins with "
        f"inseminations, such as inseminations_{path.name}"
    )
