"""The command `compare`: dose protocols against each other, in words, figures and a page."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import NoModelError, UsageError
from queen_outcomes.base.outputs import new_folder, refuse_kept_places
from queen_outcomes.commands.options import (
    Day,
    Share,
    csv_option,
    shared,
    station_argument,
    tell_files,
    write_csv,
)
from queen_outcomes.facts.dictionary import COMPARED_BY
from queen_outcomes.facts.outcomes import OUTCOMES

if TYPE_CHECKING:
    from queen_outcomes.build.latest_build import LatestBuild
    from queen_outcomes.doses.compared import Once
    from queen_outcomes.facts.settings import Settings

PLACE = ("build", "compare")
"""Where the page goes: beside the builds, so that no later build removes it."""
HOME = "../latest/dashboard/"


@click.command()
@station_argument
@click.option("--arms", multiple=True, help="Arms, with commas between; else all.")
@click.option("--reference", help="The arm to compare with; else the build's.")
@click.option("--outcome", type=click.Choice(list(OUTCOMES)), help="Else the plan's.")
@click.option("--days", type=click.IntRange(1), help="The outcome's window.")
@click.option(
    "--margin",
    type=Share(0, 1),
    help="The loss that would not matter, such as 0.1 or 10%; else the plan's, else none.",
)
@click.option("--trial", help="Only courses of this trial.")
@click.option(
    "--by",
    type=click.Choice(list(COMPARED_BY)),
    help="Compare by this, not by protocol.",
)
@click.option(
    "--since", type=Day(), help="Compare before and since this day, such as 2026-07-05."
)
@csv_option("arms and differences")
@shared
@click.make_pass_decorator(Console, ensure=True)
def compare(
    console: Console, station: Path, csv_file: Path | None, **asked: Any
) -> None:
    """Compare dose protocols, or tips, instruments, diluents or lines.

    Writes a page under build/compare.
    """
    if asked["by"] and asked["since"]:
        raise UsageError(
            "--by and --since each name what is compared",
            hint="give one of them; run the command twice for both",
        )
    from queen_outcomes.build.latest_build import open_latest
    from queen_outcomes.doses import compared
    from queen_outcomes.facts import settings as station_settings
    from queen_outcomes.models import season_plan

    refuse_kept_places(station, csv_file)
    settings = station_settings.load(station)
    request = compared.CompareRequest(**asked)
    with open_latest(station, console) as last:
        season = season_plan.season_of(last.as_of, settings.season_first_month)
        plan = season_plan.read(station, season, last.as_of)
        found = None
        if last.stands_on(settings, season_plan.journalled(station, plan)):
            found = compared.of_build(last.store, settings, request)
        if found is None:
            # late: what fits models takes longer to load than the build's tables to read
            from queen_outcomes.doses.compare_request import compare_once

            found = compare_once(last.store, settings, last.as_of, request, plan)
        place = station.joinpath(*PLACE)
        charts: dict[str, Any] = {}
        told = section_of(found, arm_levels(found, last), charts)
        with new_folder(place) as folder:
            shown = {"told": told, "charts": charts}
            page = place / draw(found, shown, last.as_of, settings, folder).name
    if csv_file:
        tell_files(console, [*write_csv(csv_file, *flat(found)), page])
    else:
        tell(found, told, page, console)
    if not found.has_difference:
        raise NoModelError(
            "these arms cannot be compared",
            hint=f"see {page}: what was found of each, and why there is no difference",
        )


def arm_levels(found: Once, last: LatestBuild) -> list[dict[str, Any]]:
    """Read where the courses of the build's arms lie; nothing for other arms."""
    from queen_outcomes.base import resources

    if not found.request.is_of_protocols:
        return []
    return last.store.records(resources.read("sql", "10_pages", "arm_levels.sql"))


def draw(
    found: Once,
    shown: dict[str, Any],
    as_of: dt.date,
    settings: Settings,
    folder: Path,
) -> Path:
    """Write the page of a comparison."""
    from queen_outcomes.dashboard.site import draw_apart
    from queen_outcomes.facts.dose_words import success

    page = {
        "title": found.title,
        "asked": success(*found.question),
        "margin_said": found.margin_said,
        "part": shown["told"],
        "charts": shown["charts"],
    }
    return draw_apart("compare", page, settings, as_of, folder, HOME)


def section_of(
    found: Once, levels: list[dict[str, Any]], charts: dict[str, Any]
) -> dict[str, Any]:
    """Give what a page and the terminal say of a comparison."""
    from queen_outcomes.dashboard.doses import section

    own = [row for row in levels if row["trial"] == found.trial]
    tables = {**found.tables, "arm_levels": own}
    about = {"trial": found.trial, "unnamed": found.unnamed}
    made = section("asked", found.question, tables, charts, **about)
    if found.request.is_of_protocols or found.trial:
        return made
    return made | {"title": found.title}


ARM_COLUMNS = {
    "name": "arm",
    "courses": "courses",
    "closed": "closed",
    "yes": "yes",
    "no": "no",
    "undecided": "undecided",
    "left": "left",
    "rate": "plain rate",
    "limits": "95 % limits",
    "adjusted": "adjusted (95 % limits)",
    "mean_dose_ul": "mean dose, uL",
    "doses": "doses",
}
ARM_DROPS = ("doses", "mean_dose_ul", "left", "undecided", "closed", "courses")
"""What a narrow terminal does without, in this order."""
CONTRAST_COLUMNS = {
    "pair": "compared",
    "how": "method",
    "points": "difference in success, points",
    "judged": "verdict",
    "p": "P",
    "p_holm": "P, all arms",
    "ratio": "ratio",
    "shared": "overlap",
}
CONTRAST_DROPS = ("ratio", "shared", "p", "p_holm")


ARM_CELLS = (
    *("arm", "reference", "courses", "closed", "yes", "no", "undecided", "left"),
    *("rate", "low", "high", "adjusted", "adjusted_low", "adjusted_high"),
    *("mean_dose_ul", "doses"),
)
CONTRAST_CELLS = (
    *("outcome", "window_days", "reference", "method", "primary", "difference"),
    *("low", "high", "p", "p_holm", "ratio", "margin", "overlap", "verdict"),
)
RENAMED = {
    "arm reference": "is_reference",
    "arm low": "rate_low",
    "arm high": "rate_high",
}


def flat(found: Once) -> tuple[list[str], list[list[Any]]]:
    """Give one table of a comparison: an arm and method a row, the reference once.

    Columns are those of `arms`, then those of `arm_contrasts`, null for the reference.
    """
    names = [RENAMED.get(f"arm {name}", name) for name in ARM_CELLS]
    rows: list[list[Any]] = []
    for arm in found.tables["arms"]:
        own = [row for row in found.tables["arm_contrasts"] if row["arm"] == arm["arm"]]
        counts = [arm[name] for name in ARM_CELLS]
        rows += [
            [*counts, *(row.get(name) for name in CONTRAST_CELLS)] for row in own or [{}]
        ]
    return [*names, *CONTRAST_CELLS], rows


def tell(found: Once, told: dict[str, Any], page: Path, console: Console) -> None:
    """Print what was found: sentences, two tables and the page's place."""
    if console.json:
        outcome, days = found.question
        console.emit_json(
            {
                "trial": found.trial,
                "outcome": outcome,
                "window_days": days,
                "reference": found.reference,
                "margin": found.margin,
                "arms": found.tables["arms"],
                "arm_contrasts": found.tables["arm_contrasts"],
                "arm_costs": found.tables["arm_costs"],
                "arm_exchange": found.tables["arm_exchange"],
                "page": str(page),
            }
        )
        return
    console.emit(f"{told['title']}: {told['what']}, from the first insemination")
    for sentence in (
        *told["findings"],
        *told["exchange"],
        told["basis"],
        found.margin_said,
        told["needed"],
    ):
        if sentence:
            console.tell(sentence)
    arms = [_arm(row) for row in told["arms"]]
    for rows, columns, drops in (
        (arms, ARM_COLUMNS, ARM_DROPS),
        (told["differences"], CONTRAST_COLUMNS, CONTRAST_DROPS),
    ):
        console.emit("")
        cells = [[_cell(key, row[key]) for key in columns] for row in rows]
        names = [columns[key] for key in drops]
        console.emit_table(list(columns.values()), cells, drops=names)
    console.emit("")
    console.emit(str(page))


def _arm(row: dict[str, Any]) -> dict[str, Any]:
    """Give an arm's row in per cent, as the page writes it."""
    from queen_outcomes.facts import words

    return {
        **row,
        "rate": words.percent(row["share"]),
        "limits": words.limits(row["low"], row["high"]),
    }


def _cell(key: str, value: Any) -> Any:
    """Give a cell as the page writes it."""
    from queen_outcomes.dashboard.figures import p_value
    from queen_outcomes.facts.words import plain

    if key in ("p", "p_holm"):
        return p_value(value)
    return value if isinstance(value, int) else plain(value)
