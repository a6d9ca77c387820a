"""The factors that may enter a model, and the columns that each becomes.

A form is found once, on the courses of a fit, and handed on: columns for changed values
never learn their own knots or levels. What goes into a model is chosen elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from queen_outcomes.stats.logistic.splines import rcs_basis, rcs_knots

Kind = Literal["spline", "line", "words", "season", "gap"]
Values = Mapping[str, np.ndarray]
"""Column -> values of each course: floats (NaN: not recorded) or texts ("")."""

OTHER = "other"
STRAIGHT = "straight line, which hides a best value in between"
"""Form of a factor that may bend, where its distinct values or the answers are too few."""
BEND = 1.0
"""Standard deviation of how far a drawn bend lifts its best value above its worst, in log
odds: an odds ratio of 2.7 is usual, of 7 rare. A choice; a factor's whole effect, line
and bend, is seldom larger."""
FEWEST = 10
"""Courses that a level needs to stand alone."""
MOST_KNOTS = 4


@dataclass(frozen=True)
class Term:
    """A factor: where its values stand, and how it is named.

    ``shown`` says how a number of the model's scale is turned back: "log1p" or "log".
    ``knots`` fixes the form: how many (0: a line), or where they lie; None leaves it to
    how many answers there are. ``is_drawn`` says that a bend by knots that are fixed is
    drawn to a line.
    """

    name: str
    kind: Kind
    column: str
    label: str
    unit: str = ""
    shown: str = ""
    knots: int | tuple[float, ...] | None = None
    is_drawn: bool = False

    def as_read(self, value: float) -> float:
        """Turn a value of the model's scale into the one that people know."""
        if self.shown == "log1p":
            return float(np.expm1(value))
        return float(np.exp(value)) if self.shown == "log" else float(value)


def _by_name(*terms: Term) -> dict[str, Term]:
    return {term.name: term for term in terms}


MAIN = _by_name(
    Term("dose", "spline", "dose", "dose", "uL"),
    Term("drone_age", "spline", "drone_age", "age of the drones", "days"),
    Term("queen_age", "spline", "queen_age", "age of the queen", "days"),
    Term("semen_age", "line", "semen_age", "age of the semen", "h", "log1p"),
    Term("doses", "line", "doses", "doses"),
    Term("co2_schedule", "words", "co2_schedule", "CO2 schedule"),
    Term("co2_gap", "gap", "co2_gap", "time between CO2 exposures", "h"),
    Term("experience", "line", "experience", "operator's cases so far", "cases", "log"),
    Term("instrument", "words", "instrument", "instrument"),
    Term("tip", "words", "tip", "tip"),
    Term("line", "words", "line", "line"),
    Term("drone_line", "words", "drone_line", "drone line"),
    Term("year", "words", "year", "season"),
    Term("season", "season", "day_of_year", "time of year"),
)
"""What is known before the queen is done, in order of priority."""


def terms_in_order(names: Sequence[str], adjust_for: Sequence[str]) -> tuple[Term, ...]:
    """Give a station's terms in its order; what is adjusted for is always in.

    The time between two exposures goes with the schedule.
    """
    chosen = list(dict.fromkeys([*names, *adjust_for]))
    if "co2_schedule" in chosen and "co2_gap" not in chosen:
        chosen.insert(chosen.index("co2_schedule") + 1, "co2_gap")
    return tuple(MAIN[name] for name in chosen)


BENCH = _by_name(
    Term("leak", "words", "leak", "backflow"),
    Term("attempts", "line", "attempts", "attempts"),
    Term("minutes", "line", "minutes", "time in the instrument", "min"),
    Term("dose_error", "line", "dose_error", "dose given minus meant", "uL"),
    Term("bench_order", "line", "bench_order", "place in the day's order"),
)
"""What happens on the bench: these may be how a factor of the main model acts."""

GROUPS = _by_name(
    Term("operator", "words", "operator", "operator"),
    Term("graft_batch", "words", "graft_batch", "graft batch"),
    Term("semen_batch", "words", "semen_batch", "semen batch"),
)
"""Groupings, as fixed effects where they have too few levels for anything else."""


@dataclass(frozen=True, eq=False)
class Form:
    """A factor in the shape it enters a model.

    Attributes
    ----------
    term : Term
    knots : ndarray
        Of a spline; fewer than 3 make a line.
    levels : tuple of str
        Of words, the commonest first: it is what the others are compared with.
    centre : float
        Taken off a number, so that the constant stands for a usual course.
    is_drawn : bool
        The bend is drawn to a line, as far as the answers do not tell of it.
    hides : bool
        A line, though a value between others might be best.
    """

    term: Term
    knots: np.ndarray = field(default_factory=lambda: np.empty(0))
    levels: tuple[str, ...] = ()
    centre: float = 0.0
    is_drawn: bool = False
    hides: bool = False

    @property
    def df(self) -> int:
        """How many columns it takes."""
        if self.term.kind == "words":
            return len(self.levels) - 1
        return 2 if self.term.kind == "season" else max(1, len(self.knots) - 1)

    @property
    def cost(self) -> int:
        """How much of a budget it takes: a bend that is drawn to a line takes none."""
        return 1 if self.is_drawn else self.df

    @property
    def pull(self) -> np.ndarray:
        """Precision with which each column's coefficient is drawn to zero, shape (df,)."""
        drawn = np.zeros(self.df)
        if self.is_drawn:
            x = np.linspace(self.knots[0], self.knots[-1], 101)
            line, *bends = rcs_basis(x, self.knots).T
            for j, bend in enumerate(bends, start=1):
                away = bend - np.polyval(np.polyfit(line, bend, 1), line)
                drawn[j] = (np.ptp(away) / BEND) ** 2
        return drawn

    @property
    def said(self) -> str:
        """Give the form in words."""
        if self.term.kind == "words":
            return f"{len(self.levels)} levels"
        if self.term.kind == "season":
            return "sine and cosine of the year"
        if self.is_drawn:
            return "bend, drawn to a line as far as answers are too few to tell"
        if len(self.knots):
            return f"spline of {len(self.knots)} knots"
        return STRAIGHT if self.hides else "line"

    @property
    def names(self) -> tuple[str, ...]:
        """Name the columns."""
        if self.term.kind == "words":
            return tuple(
                f"{level} against {self.levels[0]}" for level in self.levels[1:]
            )
        if self.term.kind == "season":
            return ("sine", "cosine")
        return ("line", *(f"bend {j}" for j in range(1, self.df)))

    def columns(self, values: Values) -> np.ndarray:
        """Give the columns (n, df) for these values."""
        x = values[self.term.column]
        if self.term.kind == "words":
            columns = np.arange(1, len(self.levels))
            return (self.places(x)[:, None] == columns).astype(float)
        if self.term.kind == "season":
            angle = 2 * np.pi * x / 365.25
            return np.column_stack([np.sin(angle), np.cos(angle)])
        made = rcs_basis(x, self.knots) - rcs_basis(np.array([self.centre]), self.knots)
        # one exposure has no gap: no column then, and the schedule carries the difference
        return np.nan_to_num(made) if self.term.kind == "gap" else made

    def places(self, x: np.ndarray) -> np.ndarray:
        """Give each course's place among the levels, rare ones joined; -1: none."""
        joined = self.levels.index(OTHER) if OTHER in self.levels else -1
        if len(x) and (x == x[0]).all():  # every course set to one level
            level = x[0].item()
            at = self.levels.index(level) if level in self.levels else joined
            return np.full(len(x), at)
        found = np.full(len(x), joined)
        for at, level in enumerate(self.levels):
            found[x == level] = at
        return found


def find_form(term: Term, values: Values) -> Form | None:
    """Find the fullest form that the values allow; None where they do not vary.

    Knots of 3 are found anew by `coarsen`, since their quantiles differ.
    """
    x = values[term.column]
    if term.kind == "words":
        levels = find_levels(x, 1 if term.name in GROUPS else FEWEST)
        return Form(term, levels=levels) if len(levels) > 1 else None
    seen = x[np.isfinite(x)]
    if len(seen) == 0 or np.ptp(seen) <= 1e-9 * max(1.0, np.abs(seen).max()):
        return None
    knots, may_bend = _knots(term, seen), term.kind in ("spline", "gap")
    return Form(
        term,
        knots=knots,
        centre=float(np.median(seen)),
        is_drawn=term.is_drawn,
        hides=may_bend and not len(knots) and len(np.unique(seen)) > 2,
    )


def _knots(term: Term, seen: np.ndarray) -> np.ndarray:
    if isinstance(term.knots, tuple):
        return np.array(term.knots)
    if term.kind in ("line", "season") or term.knots == 0:
        return np.empty(0)
    return _find_knots(seen, term.knots or MOST_KNOTS)


def _find_knots(seen: np.ndarray, most: int) -> np.ndarray:
    """Find knots at quantiles; where these tie, at three values that many courses have.

    A station's doses are a few round numbers: a bend is then what the one in the middle
    differs by.
    """
    values, counts = np.unique(seen[np.isfinite(seen)], return_counts=True)
    # a quantile between two values is none of them: two values have but a line
    knots = rcs_knots(seen, most) if len(values) > 2 else np.empty(0)
    common, counts = values[counts >= FEWEST], counts[counts >= FEWEST]
    if len(knots) or len(common) < 3:
        return knots
    middle = 1 + int(np.argmax(counts[1:-1]))
    return common[[0, middle, -1]]


def coarsen(form: Form, values: Values, *, drawn: bool) -> Form | None:
    """Give the next simpler form: 3 knots, then a line, then None, as if it is fixed.

    ``drawn`` keeps a bend in place of the line, which costs no more.
    """
    if form.term.knots is not None or form.is_drawn:
        return None
    if len(form.knots) > 3:
        return replace(form, knots=_find_knots(values[form.term.column], 3))
    if not len(form.knots):
        return None
    return replace(form, is_drawn=True) if drawn else straightened(form)


def straightened(form: Form) -> Form:
    """Give a line in place of a bend."""
    return replace(form, knots=np.empty(0), is_drawn=False, hides=True)


def find_levels(x: np.ndarray, fewest: int = FEWEST) -> tuple[str, ...]:
    """Give the levels of a text, the commonest first, rare ones joined as "other".

    When those joined are still too few, the next rarest level joins them.
    """
    names, counts = np.unique(x, return_counts=True)
    order = np.lexsort((names, -counts))
    kept = [(str(names[at]), int(counts[at])) for at in order]
    joined = 0
    while kept and (kept[-1][1] < fewest or 0 < joined < fewest):
        joined += kept.pop()[1]
    if joined:
        kept.append((OTHER, joined))
    return tuple(name for name, _ in sorted(kept, key=lambda pair: (-pair[1], pair[0])))
