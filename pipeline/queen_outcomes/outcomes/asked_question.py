"""The question that a command is asked about: an outcome and its window."""

from __future__ import annotations

from queen_outcomes.base.errors import UsageError, nearest
from queen_outcomes.facts.settings import Settings


def asked_question(
    settings: Settings, outcome: str | None, days: int | None
) -> tuple[str, int]:
    """Give outcome and window asked for, what was left out filled in.

    Parameters
    ----------
    settings : Settings
    outcome : str, optional
        Else the outcome of [plan].
    days : int, optional
        Else the window of [plan] for its outcome, the first window for others.

    Raises
    ------
    UsageError
        The station does not ask that; the message says what it asks.
    """
    windows, plan = settings.outcomes.windows, settings.plan
    outcome = plan.outcome if outcome is None else outcome
    own = [window for name, window in windows if name == outcome]
    if days is None:
        days = plan.days if outcome == plan.outcome else next(iter(own), None)
    if days in own:
        return outcome, days
    close = nearest(outcome, [name for name, _ in windows])
    hint = f'did you mean "{close}"?' if close else ""
    if own and days > 0:
        hint = (
            f"add {days} to {outcome}_days under [outcomes] in station.toml and build"
        )
    raise UsageError(
        "this outcome and window are not asked of this station",
        where="--outcome, --days",
        found=outcome if days is None else f"{outcome} by day {days}",
        expected="one of " + ", ".join(f"{name} by day {day}" for name, day in windows),
        hint=hint,
    )
