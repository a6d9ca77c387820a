"""What happened the day before a window's last day, on it, and the day after it.

By the definitions of the outcomes: the last day belongs to the window, and what is seen
within the days of grace still tells of it.
"""

import pytest
from station_tables import check, day, derived, insemination, leave

LAID = {"eggs": True, "larvae": True, "sealed": True, "queen_seen": True, "pattern_pct": 90}
LAID |= {"mark_seen": True, "drone_in_worker": "none"}
LAYING, LOST, PATTERN = ("laying", 21), ("lost", 21), ("pattern", 60)
DRONES, WORKS, SUPERSEDED = ("drone_layer", 60), ("established", 60), ("superseded", 90)


def seen(**found):
    """She laid on day 14, and this was seen later."""
    return lambda n: ([check(14, **LAID), check(n, **found)], [])


def gone(reason):
    return lambda n: ([check(14, **LAID)], [leave(n, reason)])


def unlaid(reason, *looks):
    return lambda n: ([check(d, eggs=False) for d in looks], [leave(n, reason)])


YES, NO, OPEN, LEFT = "yes", "no", "undecided", "left"
EDGES = [
    # eggs on the last day have been laid by it; none seen on it: she has not begun
    (LAYING, lambda n: ([check(3, eggs=False), check(n, eggs=True, larvae=False)], []), {20: YES, 21: YES, 22: OPEN}),
    (LAYING, lambda n: ([check(n, eggs=False)], []), {20: OPEN, 21: NO, 22: NO}),
    (LAYING, lambda n: ([], [leave(n, "sold")]), {20: LEFT, 21: OPEN, 22: OPEN}),
    # gone too early to lay, or within a week of a look without brood
    (LAYING, unlaid("dead"), {5: NO, 6: OPEN}),
    (LAYING, unlaid("dead", 9), {16: NO, 17: OPEN}),
    # inseminated again before she laid
    (LAYING, lambda n: ([], []), {28: NO, 29: OPEN}),
    (LOST, unlaid("dead"), {20: YES, 21: YES, 22: OPEN}),
    (LOST, unlaid("missing"), {20: YES, 21: YES, 22: OPEN}),
    (LOST, unlaid("sold"), {20: LEFT, 21: NO, 22: NO}),
    (LOST, lambda n: ([check(n, queen_seen=True)], []), {20: OPEN, 21: NO, 28: NO, 29: OPEN}),
    (WORKS, seen(queen_seen=True), {59: OPEN, 60: YES, 61: YES, 67: YES, 68: OPEN}),
    (WORKS, gone("dead"), {59: NO, 60: NO, 61: OPEN}),
    (WORKS, gone("missing"), {59: NO, 60: NO, 61: OPEN}),
    (WORKS, gone("superseded"), {59: NO, 60: NO, 61: OPEN}),
    (WORKS, gone("sold"), {59: LEFT, 60: YES, 61: YES, 67: YES, 68: OPEN}),
    (WORKS, gone("drone_layer"), {59: NO, 60: NO, 61: YES}),
    (WORKS, seen(**{**LAID, "drone_in_worker": "many"}), {59: NO, 60: NO, 61: YES}),
    (WORKS, seen(**{**LAID, "pattern_pct": 40}), {59: NO, 60: NO, 67: NO, 68: OPEN}),
    (DRONES, seen(**{**LAID, "drone_in_worker": "many"}), {59: YES, 60: YES, 61: OPEN}),
    (DRONES, seen(**{**LAID, "drone_in_worker": "few"}), {59: OPEN, 60: NO, 61: NO}),
    (DRONES, seen(**LAID), {59: OPEN, 60: NO, 61: NO, 67: NO, 68: OPEN}),
    (DRONES, gone("drone_layer"), {59: YES, 60: YES, 61: OPEN}),
    (DRONES, gone("dead"), {59: LEFT, 60: LEFT, 61: OPEN}),
    (DRONES, gone("sold"), {59: LEFT, 60: OPEN, 61: OPEN}),
    (SUPERSEDED, seen(queen_seen=True, mark_seen=True), {89: OPEN, 90: NO, 91: NO, 97: NO, 98: OPEN}),
    (SUPERSEDED, gone("superseded"), {89: YES, 90: YES, 91: OPEN}),
    (SUPERSEDED, gone("sold"), {89: LEFT, 90: OPEN, 91: OPEN}),
    (SUPERSEDED, gone("dead"), {89: LEFT, 90: LEFT, 91: OPEN}),
    # the score that is good, and one less
    (PATTERN, lambda n: ([check(14, **{**LAID, "pattern_pct": n})], []), {79: NO, 80: YES, 81: YES}),
    (PATTERN, gone("sold"), {20: YES, 60: YES}),
    (PATTERN, lambda n: ([check(14, eggs=True, larvae=True)], [leave(n, "sold")]), {59: LEFT, 60: OPEN}),
]  # fmt: skip
CASES = [
    (outcome, window, n, state, *make(n))
    for (outcome, window), make, days in EDGES
    for n, state in days.items()
]
AGAIN = 5
"""The edge whose day is that of the next insemination."""


@pytest.fixture(scope="module")
def found():
    """A queen a case, all in one station."""
    names = [f"Q{at:03}" for at in range(len(CASES))]
    made = zip(names, CASES, strict=True)
    rows = [(name, checks, exits) for name, (*_, checks, exits) in made]
    again = [
        insemination(n, names[at])
        for at, (_, _, n, _, *_) in enumerate(CASES)
        if n in EDGES[AGAIN][2] and not CASES[at][4] and not CASES[at][5]
    ]
    store = derived(
        day(500),
        queens=[{"queen_id": name, "marked": True} for name in names],
        inseminations=[*(insemination(0, name) for name in names), *again],
        checks=[{**row, "queen_id": name} for name, checks, _ in rows for row in checks],
        exits=[{**row, "queen_id": name} for name, _, exits in rows for row in exits],
    )
    told = store.rows("SELECT course_id, outcome, window_days, state FROM outcomes")
    return {key: state for *key, state in told for key in [tuple(key)]}


@pytest.mark.parametrize("at", range(len(CASES)))
def test_the_day_before_the_last_day_and_the_day_after(found, at):
    outcome, window, _, state, *_ = CASES[at]
    assert found.get((f"Q{at:03}/1", outcome, window)) == state
