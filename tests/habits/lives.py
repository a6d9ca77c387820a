"""Invented lives of inseminated queens, from which each station's papers are written.

Nothing here knows how records are read. A life holds what its keeper could have
seen; the stations decide which of it they write down, and in which words.
"""

import random
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

YES, NO = "yes", "no"


@dataclass
class Look:
    """One look into a colony: canonical words, empty where not looked for."""

    on: date
    day: int
    seen: str
    mark: str
    eggs: str
    larvae: str
    sealed: str
    pattern: int | None
    drone: str
    cells: str


@dataclass
class Dose:
    """One time that semen was given."""

    at: datetime
    ul: float
    attempts: int
    leak: str
    minutes: int


@dataclass
class Life:
    """One queen with her inseminations, looks and end."""

    n: int
    line: int
    graft: int
    emerged: date
    marked: bool
    operator: int
    doses: list[Dose]
    co2_at: datetime
    looks: list[Look] = field(default_factory=list)
    left: date | None = None
    reason: str = ""

    @property
    def first(self) -> datetime:
        return self.doses[0].at


@dataclass(frozen=True)
class Plan:
    """What kind of a season: how many queens, when, by how many people."""

    seed: int
    count: int
    starts: date
    lines: int = 3
    operators: int = 2
    a_graft: int = 10
    days_between: int = 8
    look_days: tuple[int, ...] = (7, 14, 21, 35, 60)
    twice: float = 0.0
    usual_ul: float = 8.0
    first_number: int = 1


ENDS = (
    ("dead", 0.06, (1, 20)),
    ("missing", 0.08, (4, 40)),
    ("superseded", 0.06, (28, 80)),
    ("drone_layer", 0.05, (24, 60)),
    ("culled_fault", 0.04, (30, 60)),
    ("culled_other", 0.03, (20, 60)),
    ("sold", 0.10, (25, 70)),
    ("moved", 0.03, (15, 60)),
    ("colony_lost", 0.02, (20, 70)),
)


def pick(rng: random.Random, options, weights=None):
    """One of the options; `random()` alone, which is the same in every Python."""
    options = list(options)
    if weights is None:
        return options[int(rng.random() * len(options))]
    mark = rng.random() * sum(weights)
    for option, weight in zip(options, weights, strict=True):
        mark -= weight
        if mark < 0:
            return option
    return options[-1]


def whole(rng: random.Random, low: int, high: int) -> int:
    return low + int(rng.random() * (high - low + 1))


def lives(plan: Plan) -> list[Life]:
    """The queens of one season, in order of their numbers."""
    rng = random.Random(plan.seed)
    return [_life(rng, plan, k) for k in range(plan.count)]


def _life(rng: random.Random, plan: Plan, k: int) -> Life:
    graft = k // plan.a_graft
    place = k % plan.a_graft
    emerged = plan.starts + timedelta(days=plan.days_between * graft + place % 2)
    age = 8 + graft % 3 - place % 2
    # the bench opens at 9.20; a queen takes about a quarter of an hour
    at = datetime.combine(emerged, time(9, 20)) + timedelta(
        days=age, minutes=whole(rng, 11, 16) + 27 * place
    )
    doses = [_dose(rng, at, plan.usual_ul)]
    if rng.random() < plan.twice:
        later = at + timedelta(days=2, minutes=whole(rng, -40, 40))
        doses.append(_dose(rng, later, plan.usual_ul))
    life = Life(
        n=plan.first_number + k,
        line=(graft + (k % 7 == 3)) % plan.lines,
        graft=graft + 1,
        emerged=emerged,
        marked=rng.random() < 0.86,
        operator=pick(rng, range(plan.operators), [3, 2, 1, 1][: plan.operators]),
        doses=doses,
        co2_at=at + timedelta(days=pick(rng, (-1, 1)), minutes=whole(rng, -60, 90)),
    )
    _end(rng, life)
    _looks(rng, life, plan.look_days)
    return life


def _dose(rng: random.Random, at: datetime, usual: float) -> Dose:
    return Dose(
        at=at,
        ul=round(usual + pick(rng, (-1.5, -1, -0.5, 0, 0, 0, 0, 0.5, 1)), 1),
        attempts=pick(rng, (1, 2, 3), (6, 2, 1)),
        leak=pick(rng, ("none", "some", "most"), (12, 3, 1)),
        minutes=whole(rng, 3, 11),
    )


def _end(rng: random.Random, life: Life) -> None:
    last = life.doses[-1].at.date()
    mark = rng.random()
    for reason, share, (low, high) in ENDS:
        mark -= share
        if mark < 0:
            life.reason = reason
            life.left = last + timedelta(days=whole(rng, low, high))
            return


def _looks(rng: random.Random, life: Life, days: tuple[int, ...]) -> None:
    d0 = life.doses[-1].at.date()
    onset = 999 if rng.random() < 0.07 else round(rng.lognormvariate(2.12, 0.43))
    gone = (life.left - d0).days if life.left else 9999
    faulty = life.reason == "drone_layer"
    for planned in days:
        day = planned + pick(rng, (-1, 0, 0, 0, 1, 2))
        if day > gone or rng.random() < 0.06:
            continue
        here = not (life.reason in ("dead", "missing") and day > gone - 4)
        life.looks.append(
            _look(rng, life, d0 + timedelta(days=day), day, onset, here, faulty)
        )


def _look(rng, life, on, day, onset, here, faulty) -> Look:
    seen = here and rng.random() < 0.8
    usurped = life.reason == "superseded" and (life.left - on).days < 25
    eggs = here and day >= onset
    larvae = here and day >= onset + 4
    sealed = here and day >= onset + 9
    drone, pattern = "", None
    if sealed:
        drone = "none"
        if faulty:
            drone = "many" if day > onset + 20 else "few"
        pattern = min(98, 55 + whole(rng, 0, 45))
    return Look(
        on=on,
        day=day,
        seen=YES if seen else NO,
        mark=(NO if usurped else YES) if seen and life.marked else "",
        eggs=YES if eggs else NO,
        larvae=YES if larvae else NO,
        sealed=YES if sealed else NO,
        pattern=pattern,
        drone=drone,
        cells="supersedure" if usurped and rng.random() < 0.6 else "none",
    )
