"""What the curves are told of single courses: sets of days of laying, times at risk."""

import numpy as np
import pytest
from filled_in import draw_curves
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.curves import (
    NEVER_ONLY,
    at_risk,
    onset_sets,
)
from queen_outcomes.outcomes.derive import count_rates
from queen_outcomes.outcomes.signs import histories_given
from station_tables import check, day, derived, insemination, leave

pytestmark = pytest.mark.slow


def known(store):
    """Give the histories of a small station."""
    count_rates(store, Settings())
    store.step("05_rates", "histories", histories_given())
    return store.frame("SELECT * FROM histories ORDER BY course_id")


def histories(*checks, exits=(), again=None):
    inseminations = [insemination(), *([insemination(again)] if again else [])]
    queens = [{"queen_id": "Q", "marked": True}]
    store = derived(
        queens=queens, inseminations=inseminations, checks=checks, exits=list(exits)
    )
    return known(store)


def onset_set(frame):
    """Give after, by and whether she may never have laid, of the first course."""
    after, by, never = onset_sets(frame)
    return float(after[0]), float(by[0]), bool(never[0])


NEVER = (NEVER_ONLY, np.inf, True)


@pytest.mark.parametrize(
    ("checks", "exits", "expected"),
    [
        # looked at without brood within a week before her end: she had not laid
        ([check(10, eggs=False, queen_seen=True)], [leave(16, "dead")], NEVER),
        # gone by day 5: she cannot have laid
        ([], [leave(5, "dead")], NEVER),
        # nobody looked: she may have, until half way through the days in which she went
        ([], [leave(20, "dead")], (0, 10, True)),
        (
            [check(10, eggs=False, queen_seen=True)],
            [leave(30, "missing")],
            (10, 20, True),
        ),
        # taken out by hand: she was alive to the day before
        ([check(2, eggs=False)], [leave(40, "culled_fault")], (2, 20, True)),
        # sold: not laying by the last look, and nothing more is known
        ([check(10, eggs=False)], [leave(16, "sold")], (10, np.inf, False)),
    ],
    ids=["looked", "early", "unseen", "long ago", "culled", "sold"],
)
def test_only_a_course_whose_laying_is_not_settled_may_have_laid(
    checks, exits, expected
):
    assert onset_set(histories(*checks, exits=exits)) == expected


def test_a_further_insemination_settles_it_when_she_was_looked_at_shortly_before():
    assert onset_set(histories(check(20, eggs=False), again=24)) == NEVER
    assert onset_set(histories(check(9, eggs=False), again=24)) == (9, 24, True)


def test_what_settles_laying_as_no_is_never_in_the_curve():
    """The rule of the outcome and the set of the curve are one."""
    looks = [(n, n % 12) for n in range(3, 22, 3)]
    inseminations = [insemination(0, f"Q{n}") for n, _ in looks]
    checks = [
        check(n - before, f"Q{n}", eggs=False, queen_seen=True)
        for n, before in looks
        if before < n
    ]
    exits = [leave(n, "dead", f"Q{n}") for n, _ in looks]
    store = derived(inseminations=inseminations, checks=checks, exits=exits)
    frame = known(store)
    after, *_ = onset_sets(frame)
    settled = store.rows(
        "SELECT course_id FROM outcomes WHERE outcome = 'laying' AND state = 'no' "
        "ORDER BY course_id"
    )
    never = frame["course_id"].to_numpy()[after == NEVER_ONLY]
    assert [name for (name,) in settled] == never.tolist()
    assert 2 < len(never) < len(looks)


LAYING = check(12, eggs=True, larvae=False, queen_seen=True)


def drone_layer(*checks, exits=()):
    risk = at_risk(histories(LAYING, *checks, exits=exits), "drone_layer")
    return [float(part[0]) for part in (risk.entry, risk.since, risk.by)]


def test_drone_laying_that_may_lie_before_her_onset_is_not_lost():
    many = check(40, sealed=True, drone_in_worker="many")
    # never seen without drone cells: any day behind the one by which she laid
    assert drone_layer(many) == [12, 13, 40]


def test_one_taken_out_for_it_was_sound_when_last_seen_so():
    sound = check(30, sealed=True, drone_in_worker="none", queen_seen=True)
    assert drone_layer(sound, exits=[leave(50, "drone_layer")]) == [12, 31, 50]
    assert drone_layer(exits=[leave(50, "drone_layer")]) == [12, 13, 50]


def test_one_that_left_in_hand_was_watched_until_then():
    sound = check(30, sealed=True, drone_in_worker="none", queen_seen=True)
    assert drone_layer(sound)[2] == 30
    assert drone_layer(sound, exits=[leave(50, "sold")])[2] == 50
    # a colony that was lost, and her with it, was in nobody's hand
    assert drone_layer(sound, exits=[leave(50, "colony_lost")])[2] == 30


def lost(*checks, exits=()):
    risk = at_risk(histories(*checks, exits=exits), "lost")
    return [float(part[0]) for part in (risk.since - 1, risk.behind, risk.by)]


def test_a_look_finds_what_may_be_old_and_an_exit_alone_dates_it():
    alive = check(10, queen_seen=True)
    dead, missing = [leave(60, "dead")], [leave(60, "missing")]
    assert lost(alive, exits=dead) == [10, 59, 60]
    assert lost(alive, check(60, queen_seen=False), exits=dead) == [10, 10, 60]
    assert lost(alive, check(59, queen_seen=False), exits=dead) == [10, 10, 60]
    assert lost(alive, check(20, queen_seen=False), exits=dead) == [10, 59, 60]
    # nobody misses a queen without looking: within the month, or at the look
    assert lost(alive, exits=missing) == [10, 30, 60]
    assert lost(check(45, queen_seen=True), exits=missing) == [45, 45, 60]
    assert lost(alive, check(60, queen_seen=False), exits=missing) == [10, 10, 60]
    empty = [check(n, queen_seen=False, eggs=False) for n in (50, 54)]
    assert lost(alive, *empty) == [10, 10, 50]
    # taken out by hand, on that very day; and one that is still there
    assert lost(alive, exits=[leave(60, "culled_fault")])[1:] == [59, 60]
    assert lost(alive) == [9, 10, 10]


def superseded(*checks, exits=()):
    risk = at_risk(histories(LAYING, *checks, exits=exits), "superseded")
    return [float(part[0]) for part in (risk.since - 1, risk.behind, risk.by)]


def test_eggs_do_not_tell_a_queen_from_her_successor():
    eggs, stranger = check(60, eggs=True), check(90, mark_seen=False, queen_seen=True)
    mark = check(35, mark_seen=True, queen_seen=True)
    # from the day by which she laid herself, or her mark was last seen
    assert superseded(eggs, stranger) == [12, 12, 90]
    assert superseded(mark, eggs, stranger) == [35, 35, 90]
    # written down without a look: within the month before
    gone = [leave(100, "superseded")]
    assert superseded(mark, eggs, exits=gone) == [35, 70, 100]
    # of a queen that died the same eggs tell that she lived: nobody replaced her
    risk = at_risk(histories(LAYING, eggs, exits=[leave(90, "missing")]), "lost")
    assert float(risk.since[0]) - 1 == 57  # eggs show her alive when they were laid


def test_patterns_of_queens_that_failed_say_nothing_of_those_that_work():
    """Of 40 layers 20 have poor patterns and die by day 60; all others work."""
    checks, exits, inseminations = [], [], []
    for n in range(40):
        name, poor = f"Q{n:02d}", n < 20
        inseminations.append(insemination(0, name))
        checks.append(check(10, name, eggs=True, queen_seen=True))
        pattern = 60 if poor else 95
        checks.append(check(35, name, sealed=True, pattern_pct=pattern))
        if poor:
            exits.append(leave(50, "dead", name))
        else:
            checks.append(check(62, name, queen_seen=True, eggs=True))
    store = derived(day(200), inseminations=inseminations, checks=checks, exits=exits)
    count_rates(store, Settings())
    draw_curves(store, Settings())
    (row,) = store.records(
        "SELECT * FROM rates WHERE \"grouping\" = 'all' AND outcome = 'established'"
    )
    assert (row["yes"], row["no"]) == (20, 20)
    assert row["estimate"] == pytest.approx(0.5, abs=0.02)
