"""The registry of outcomes: each declared once, whole, in the order they are shown.

What differs between outcomes stands here or in the outcome's own SQL file, which
`statement` names: settings, checks due, curves, pages, sheets and the terminal follow. A
declaration that is not finished stops the build with the outcome's name.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Literal

from queen_outcomes.base import resources
from queen_outcomes.base.errors import LedgerError, UsageError, nearest, shorten

FOLDER = "04_outcomes"
STATES = ("yes", "no", "undecided", "left")
"""Every answer there is; rates count these four and no other."""

Curve = Literal["onset", "incidence", "state", "none"]
"""How the headline is estimated: the day she began, an event among competing ends, the
state on a day; or there is no curve and no headline beside the plain rate."""
CURVES: tuple[Curve, ...] = ("onset", "incidence", "state", "none")
ONCE: tuple[Curve, ...] = ("onset", "state")
"""Curves of which there is one only, since they are drawn from one outcome's dates."""
Looks = Literal["until", "after_laying", "from"]
"""Which planned looks can settle an outcome: those up to its window; those between the
window of laying and its own; those from its window on, within the days of grace."""
LOOKS: tuple[Looks, ...] = ("until", "after_laying", "from")

BROOD = "eggs, larvae, sealed brood"
QUEEN = "the queen, or eggs"
PATTERN = "sealed brood and its pattern"
DRONES = "drone brood in worker cells"
MARK = "her mark"
TO_SEE = {
    BROOD: ("eggs", "larvae", "sealed"),
    QUEEN: ("queen_seen", "eggs"),
    PATTERN: ("sealed", "pattern_pct"),
    DRONES: ("drone_in_worker",),
    MARK: ("queen_seen", "mark_seen"),
}
"""What a look can be asked to see, in the order in which it is read out at the colony, and
the columns of a check that it fills."""


@dataclass(frozen=True)
class Event:
    """What an incidence is drawn from; columns are those of `histories.sql`.

    Either the event is an end of hers for one of ``reasons``, or it has dates of its
    own: it had happened ``by`` and had not ``after``.
    """

    reasons: tuple[str, ...] = ()
    by: str = ""
    after: str = ""
    known: str = "alive_day"
    """The last day on which it is known not to have happened."""
    only_marked: bool = False
    """Whether only queens known to be marked are at risk, as nobody else would tell."""


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
    looks: Looks
    look_for: tuple[str, ...]
    """What a look must see to settle it, of `TO_SEE`."""
    event: Event | None = None
    """Of an incidence: what it is drawn from."""

    @property
    def setting(self) -> str:
        """The key of its windows in `[outcomes]` of `station.toml`."""
        return f"{self.name}_days"

    @property
    def statement(self) -> str:
        """The stem of the SQL file that answers it, in `sql/04_outcomes/`."""
        return f"answers_{self.name}"

    @property
    def is_told_at_close(self) -> bool:
        """Whether nothing but its own answer tells the failure.

        An end of hers tells it earlier, and a state on a day sums up the others.
        """
        return self.curve != "state" and not (self.event and self.event.reasons)


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
            looks="until",
            look_for=(BROOD,),
        ),
        Outcome(
            name="pattern",
            label="a good brood pattern",
            question="is her brood pattern good?",
            fails="no",
            days=(60,),
            among_layers=True,
            curve="none",
            success="a good brood pattern by day {}",
            failure="brood pattern not good by day {}",
            looks="after_laying",
            look_for=(PATTERN,),
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
            looks="from",
            look_for=(DRONES,),
            event=Event(by="drone_by", after="drone_after", known="sound_day"),
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
            looks="from",
            look_for=(MARK,),
            event=Event(reasons=("superseded",), known="mark_day", only_marked=True),
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
            looks="until",
            look_for=(QUEEN,),
            event=Event(reasons=("dead", "missing")),
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
            looks="from",
            look_for=(QUEEN, DRONES),
        ),
    )
}
"""Every outcome. The SQL of one may lean on the answers of those before it."""


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


def question_columns(question: tuple[str, int]) -> dict[str, str | int]:
    """Give an outcome and window as the tables' columns, and SQL's parameters, name them."""
    outcome, days = question
    return {"outcome": outcome, "window_days": days}


def refuse_unknown(answers: Iterable[tuple[str, str | None]]) -> None:
    """Stop the build where an outcome or a state is counted that nobody declared.

    Parameters
    ----------
    answers : iterable of tuple
        Outcome and state; pairs may repeat.

    Raises
    ------
    LedgerError
        The message names the outcomes, and the states of those that have others.
    """
    problems = {
        f"{name} is not declared" if name not in OUTCOMES else f"{name}: state {state}"
        for name, state in answers
        if name not in OUTCOMES or state not in STATES
    }
    if problems:
        raise LedgerError(
            "an answer is none of the registry's",
            found=shorten(sorted(problems)),
            expected=f"{', '.join(OUTCOMES)}; each {', '.join(STATES)}",
        )


def refuse_unfinished() -> None:
    """Stop a build before it begins where an outcome is declared in part only.

    Raises
    ------
    LedgerError
        The message names each such outcome and what it lacks.
    """
    problems = unfinished()
    if problems:
        raise LedgerError(
            "an outcome is declared in part only",
            where="queen_outcomes/facts/outcomes.py",
            found=shorten(problems),
            expected="every field, and a SQL file of its own",
        )


def unfinished() -> list[str]:
    """Give what is still missing of each outcome's declaration, as sentences."""
    statements = {file.name for file in (resources.folder("sql") / FOLDER).iterdir()}
    lacks = []
    for name, outcome in OUTCOMES.items():
        lacks += [f"{name}: {what}" for what in _lacking(outcome, statements)]
    for curve in ONCE:
        names = [name for name, outcome in OUTCOMES.items() if outcome.curve == curve]
        lacks += [f"{name}: curve {curve} is {names[0]}'s" for name in names[1:]]
    return lacks


def _lacking(outcome: Outcome, statements: set[str]) -> list[str]:
    empty = [f.name for f in fields(outcome) if getattr(outcome, f.name) in ("", ())]
    lacks = [f"{name} is empty" for name in empty]
    known = {"curve": CURVES, "looks": LOOKS, "fails": ("yes", "no")}
    for name, words in known.items():
        word = getattr(outcome, name)
        lacks += [] if word in words else [f"{name} is {word!r}, none of {words}"]
    for name in ("success", "failure"):
        words = getattr(outcome, name)
        lacks += [] if words.count("{}") == 1 else [f'{name} has no "{{}}" for the day']
    strange = [what for what in outcome.look_for if what not in TO_SEE]
    lacks += [f"look_for has {what!r}, not in TO_SEE" for what in strange]
    if (outcome.curve == "incidence") != (outcome.event is not None):
        lacks.append("an incidence has an event, and nothing else has")
    elif outcome.event and bool(outcome.event.reasons) == bool(outcome.event.by):
        lacks.append("the event has either reasons, or dates of its own")
    if f"{outcome.statement}.sql" not in statements:
        lacks.append(f"sql/{FOLDER}/{outcome.statement}.sql is missing")
    return lacks
