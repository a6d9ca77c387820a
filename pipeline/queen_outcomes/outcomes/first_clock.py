"""The outcomes once more, for comparing doses: day 0 is a course's first insemination.

A queen inseminated on two days had to live until the second; counted from there she would
be flattered. Only queens with such a course are derived anew.
"""

from __future__ import annotations

import datetime as dt

from queen_outcomes.base.store import Store
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import STEPS, parameters

SCHEMA = "from_first"
TWICE = "SELECT queen_id FROM main.courses WHERE first_on < d0"
NARROWED = ("accepted_inseminations", "linked_checks")


def derive_from_first(store: Store, settings: Settings, as_of: dt.date) -> None:
    """Write ``outcomes_from_first`` (course_id, outcome, window_days, state, closed).

    Parameters
    ----------
    store : Store
        Holds what `derive` reads and wrote.
    settings : Settings
    as_of : date
    """
    given = parameters(store, settings, as_of, from_first=True)
    store.execute(f"CREATE SCHEMA {SCHEMA}")
    try:
        for name in NARROWED:
            store.execute(
                f"CREATE VIEW {SCHEMA}.{name} AS SELECT * FROM main.{name} "
                f"WHERE queen_id IN ({TWICE})"
            )
        # new tables land in the first of these, and hide those of the second
        store.execute(f"SET search_path = '{SCHEMA},main'")
        for folder, name in STEPS:
            store.step(folder, name, given)
            if name == "outcomes":
                break
        store.execute("SET search_path = 'main'")
        store.step("04_outcomes", "outcomes_from_first", {})
    finally:
        store.execute("SET search_path = 'main'")
        store.execute(f"DROP SCHEMA {SCHEMA} CASCADE")
