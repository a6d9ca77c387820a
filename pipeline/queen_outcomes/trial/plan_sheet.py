"""The printed bench sheet of a trial: one page, to fill in by hand, that needs nothing else."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from queen_outcomes import __version__
from queen_outcomes.base.templates import environment
from queen_outcomes.facts.dictionary import LEAK
from queen_outcomes.facts.settings import Settings
from queen_outcomes.trial.plan import Plan
from queen_outcomes.trial.plan_list import BenchPlace, list_columns
from queen_outcomes.trial.plan_words import CAUTIONS, aim

BY_HAND = ("queen_id", "inseminated_at", "operator", "dose_ul", "attempts", "minutes")
"""Columns of the records that the sheet leaves room for, besides leak."""


def sheet(plan: Plan) -> str:
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
        parts=_parts(plan.bench_list()),
        cautions=CAUTIONS,
    )


def _leak_words(settings: Settings) -> list[str]:
    """Give the station's own words for semen seen to flow back."""
    own = settings.reading.words.get("leak", {})
    return [next(iter(own.get(word, ())), word) for word in LEAK]


def _parts(places: tuple[BenchPlace, ...]) -> list[dict[str, Any]]:
    """Gather the places of each graft batch and semen load, a line a dose."""
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
