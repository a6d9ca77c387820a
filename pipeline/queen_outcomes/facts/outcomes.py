"""The registry of outcomes: each declared once, whole, in the order they are shown.

What differs between outcomes stands here or in the outcome's own SQL file, which
`statement` names: settings, checks due, pages, sheets and the terminal follow. A
declaration that is not finished stops the build with the outcome's name.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal

from queen_outcomes.base import resources
from queen_outcomes.base.errors import UsageError, nearest

Curve = Literal["onset", "incidence", "state", "score"]
"""How the headline is estimated: the day she began, an event among competing ends, the
state on a day, or a score among layers that has no curve."""
CURVES: tuple[Curve, ...] = ("onset", "incidence", "state", "score")
FOLDER = "04_outcomes"


@dataclass(frozen=True)
class Outcome:
    """One question asked of every course, and all that is particular to it."""

    name: str
    label: str
    """As in "share laying": what a queen is or has done when the answer is yes."""
    question: str
    fails: Literal["yes", "no"]
    """The answer that is a failure."""
    days: tuple[int, ...]
    """Default windows, in days after day 0; the setting is `<name>_days`."""
    among_layers: bool
    """Asked only of queens that laid by the window's end."""
    curve: Curve
    success: str
    """What is a success by a day, "{}" standing for it."""
    failure: str
    """What is a failure by a day, "{}" standing for it."""
    look_for: str
    """What a look must see to settle it."""
    is_end: bool = False
    """Its yes is an end of hers, and is told as that."""

    @property
    def setting(self) -> str:
        """The key of its windows in `[outcomes]` of `station.toml`."""
        return f"{self.name}_days"

    @property
    def statement(self) -> str:
        """The stem of the SQL file that answers it, in `sql/04_outcomes/`."""
        return f"answers_{self.name}"


OUTCOMES: dict[str, Outcome] = {
    outcome.name: outcome
    for outcome in (
        Outcome(
            name="laying",
            label="laying",
            question="has she begun to lay?",
            fails="no",
            days=(21,),
            among_layers=False,
            curve="onset",
            success="laying by day {}",
            failure="not laying by day {}",
            look_for="eggs, larvae, sealed brood",
        ),
        Outcome(
            name="pattern",
            label="a good brood pattern",
            question="is her brood pattern good?",
            fails="no",
            days=(60,),
            among_layers=True,
            curve="score",
            success="a good brood pattern by day {}",
            failure="brood pattern not good by day {}",
            look_for="brood pattern",
        ),
        Outcome(
            name="drone_layer",
            label="turned drone-layer",
            question="has she turned drone-layer?",
            fails="yes",
            days=(60,),
            among_layers=True,
            curve="incidence",
            success="not turned drone-layer by day {}",
            failure="turned drone-layer by day {}",
            look_for="sealed brood, drone brood",
        ),
        Outcome(
            name="superseded",
            label="superseded",
            question="has she been superseded?",
            fails="yes",
            days=(90, 365),
            among_layers=True,
            curve="incidence",
            success="not superseded by day {}",
            failure="superseded by day {}",
            look_for="her mark",
            is_end=True,
        ),
        Outcome(
            name="lost",
            label="lost",
            question="is she dead or missing?",
            fails="yes",
            days=(21,),
            among_layers=False,
            curve="incidence",
            success="not lost by day {}",
            failure="lost by day {}",
            look_for="the queen or eggs",
            is_end=True,
        ),
        Outcome(
            name="established",
            label="established",
            question="is she a working queen?",
            fails="no",
            days=(60,),
            among_layers=False,
            curve="state",
            success="established by day {}",
            failure="not established by day {}",
            look_for="the queen or eggs, sealed brood, drone brood",
        ),
    )
}


def outcome_named(name: str) -> Outcome:
    """Give an outcome by its name.

    Raises
    ------
    UsageError
        There is no such outcome.
    """
    if name not in OUTCOMES:
        raise UsageError(
            "there is no such outcome",
            found=name,
            expected=", ".join(OUTCOMES),
            hint=nearest(name, OUTCOMES) or "take one of these",
        )
    return OUTCOMES[name]


def unfinished() -> list[str]:
    """Give what is still missing of each outcome's declaration, as sentences."""
    said = []
    statements = {place.name for place in (resources.folder("sql") / FOLDER).iterdir()}
    for outcome in OUTCOMES.values():
        empty = [
            f.name for f in fields(outcome) if getattr(outcome, f.name) in ("", ())
        ]
        said += [f"{outcome.name}: {name} is empty" for name in empty]
        if outcome.curve not in CURVES:
            said.append(f"{outcome.name}: there is no curve {outcome.curve!r}")
        if f"{outcome.statement}.sql" not in statements:
            said.append(
                f"{outcome.name}: sql/{FOLDER}/{outcome.statement}.sql is missing"
            )
    return said
