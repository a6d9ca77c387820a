"""What records rule out of a course's history, and what a pattern tells of the next."""

from itertools import pairwise

import numpy as np
import polars as pl
import pytest
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import count_rates
from queen_outcomes.outcomes.signs import (
    FEW_PAIRS,
    FEWEST,
    PLACE,
    UNSEEN,
    _known_by_step,
    _pattern_by,
    _quality,
    _signs,
    read_known,
)
from queen_outcomes.stats.histories.chain import (
    DRONE,
    GONE,
    QUALITIES,
    REPLACED,
    STATES,
    TAKEN,
    WAITING,
    WORKING,
    DaySteps,
)
from queen_outcomes.stats.histories.fit import fill_in, fit_histories
from station_tables import check, day, derived, insemination, leave


def known(checks=(), exits=(), again=None, days=120):
    """Give what is known of one marked queen inseminated on day 0."""
    inseminations = [insemination(), *([insemination(again)] if again else [])]
    queens = [{"queen_id": "Q", "marked": True}]
    made = derived(
        day(days),
        queens=queens,
        inseminations=inseminations,
        checks=list(checks),
        exits=list(exits),
    )
    count_rates(made, Settings())
    return read_known(made, Settings())


def possible(found, number, course=0):
    """Give the states that the records leave on a day."""
    steps = found.seen.steps
    allowed = ~found.seen.ruled_out[steps.before(number), :, course]
    return {state for state in range(len(STATES)) if allowed[state]}


ALIVE = {WAITING, WORKING, DRONE}


@pytest.mark.parametrize(
    ("exits", "on_its_day", "before"),
    [
        ([leave(20, "dead")], {GONE}, ALIVE),
        ([leave(20, "missing")], {GONE}, set(range(6))),
        ([leave(20, "superseded")], {REPLACED}, set(range(6))),
        ([leave(20, "culled_fault")], {TAKEN}, ALIVE),
        ([leave(20, "sold")], ALIVE, {*ALIVE, GONE, REPLACED, TAKEN}),
        ([leave(20, "drone_layer")], {TAKEN}, {DRONE}),
        ([leave(20, "colony_lost")], {*ALIVE, GONE, REPLACED}, set(range(6))),
    ],
    ids=lambda value: value[0]["reason"] if isinstance(value, list) else "",
)
def test_an_exit_leaves_the_states_that_it_can_come_from(exits, on_its_day, before):
    found = known(exits=exits)
    assert possible(found, 20) == on_its_day
    assert possible(found, 19) == before


def test_inseminated_anew_without_brood_she_was_there_and_had_failed():
    found = known([check(15, eggs=False, queen_seen=True)], again=20)
    assert possible(found, 19) == {WAITING}
    assert possible(found, 20) == {TAKEN}
    laid = known([check(15, eggs=True, queen_seen=True)], again=20)
    assert possible(laid, 20) == ALIVE


def test_nobody_took_her_out_without_writing_it_down():
    found = known([check(7, eggs=False)], days=50)
    assert TAKEN not in possible(found, 50)
    assert TAKEN in possible(found, 200)  # what is to come is open


def signs_of(found, name):
    rows = found.seen.sign == PLACE[name]
    days = found.seen.steps.days[found.seen.at[rows]]
    return found.seen.finding[rows].tolist(), days


def test_brood_bears_on_the_days_on_which_it_was_laid():
    found = known([check(20, eggs=False, larvae=False, sealed=True)])
    findings, days = signs_of(found, "brood")
    assert findings == [2]  # brood without eggs
    # sealed for the first time, laid 8 days ago at the latest; alive 21 days ago at least
    assert days[0, WAITING] == 12
    assert days[0, GONE] == 0
    assert days[0, WORKING] == 20


def superseded(writes, notes_marks=True):
    """Give queens of whom a fifth is superseded on day 30, and half looked at after it.

    A daughter is seen, and where marks are noted it is noted that she has none; with
    ``writes`` whoever finds one writes an exit.
    """
    queens, inseminations, checks, exits = [], [], [], []
    for n in range(400):
        name, replaced, later = f"Q{n:03d}", n % 5 == 0, n % 10 < 5
        queens.append({"queen_id": name, "marked": True})
        inseminations.append(insemination(0, name))
        for number in (14, 25, *((45, 60) if later else ())):
            mark = not (replaced and number > 30) if notes_marks else None
            seen = {"eggs": True, "queen_seen": True, "mark_seen": mark}
            checks.append(check(number, name, **seen))
            if writes and replaced and number == 45:
                exits.append(leave(number, "superseded", name))
                break
    made = derived(
        day(150), queens=queens, inseminations=inseminations, checks=checks, exits=exits
    )
    count_rates(made, Settings())
    return read_known(made, Settings())


def replaced_unseen(found):
    """Give the chance that those whom nobody looked at later were replaced by day 90."""
    model = fit_histories(found.seen)
    drawn = fill_in(found.seen, model, found.keys, np.arange(400), 20)
    unseen = [int(name[1:4]) % 10 >= 5 for name in found.courses["course_id"]]
    return np.mean([((h.end <= 90) & (h.ended_as == REPLACED))[unseen] for h in drawn])


def test_that_no_exit_is_written_tells_nothing_where_nobody_looked():
    # of 200 looked at later 40 were replaced; it is nobody's doing that the others were not
    silent, written = superseded(writes=False), superseded(writes=True)
    assert replaced_unseen(written) == pytest.approx(replaced_unseen(silent), rel=0.25)
    assert replaced_unseen(silent) == pytest.approx(0.2, abs=0.06)


def sold_or_found_replaced():
    """Give 600 marked queens, a fifth replaced on day 30, every third caught on day 80.

    Half are looked at on day 45 for their mark, and a daughter is written down then. Who is
    caught is sold, unless it is a daughter: then that is written.
    """
    queens, inseminations, checks, exits = [], [], [], []
    for n in range(600):
        name, replaced = f"Q{n:03d}", n % 5 == 0
        queens.append({"queen_id": name, "marked": True})
        inseminations.append(insemination(0, name))
        for number in (12, 24) if n % 2 else (12, 24, 45):
            mark = not (replaced and number > 30)
            checks.append(check(number, name, eggs=True, queen_seen=True, mark_seen=mark))
        if replaced and n % 2 == 0:
            exits.append(leave(45, "superseded", name))
        elif n % 3 == 0:
            exits.append(leave(80, "superseded" if replaced else "sold", name))
    made = derived(
        day(150), queens=queens, inseminations=inseminations, checks=checks, exits=exits
    )
    count_rates(made, Settings())
    return read_known(made, Settings())


def test_daughters_found_when_a_queen_is_to_be_sold_tell_nothing_of_those_left_alone():
    found = sold_or_found_replaced()
    sign = found.seen.signs[PLACE["exit unseen"]]
    assert sign.chances[sign.row[REPLACED], 1] == UNSEEN
    model = fit_histories(found.seen)
    drawn = fill_in(found.seen, model, found.keys, np.arange(600), 20)
    number = np.array([int(name[1:4]) for name in found.courses["course_id"]])
    left_alone = (number % 2 == 1) & (number % 3 > 0)
    share = np.mean(
        [((h.end <= 90) & (h.ended_as == REPLACED))[left_alone] for h in drawn]
    )
    assert share == pytest.approx(0.2, abs=0.03)


@pytest.mark.parametrize(
    ("notes_marks", "chance"), [(True, UNSEEN), (False, 0.6)], ids=["marks", "no marks"]
)
def test_exits_by_sight_make_an_unseen_supersedure_unwritten(notes_marks, chance):
    found = superseded(True, notes_marks)
    sign = found.seen.signs[PLACE["exit unseen"]]
    assert sign.chances[sign.row[REPLACED], 1] == pytest.approx(chance)
    findings, _ = signs_of(found, "exit")
    # written, all 40; or none, where nothing tells a marked queen from a daughter
    assert findings == ([1] * 40 if notes_marks else [])


def test_exits_of_queens_in_hand_are_taken_from_those_written_without_a_sight():
    """Of 4 marked ones written as superseded one was seen unmarked; 2 of 20 were in hand.

    0.6 are written of those that somebody may come upon (`EXIT`), three of four of them
    unseen: 0.45. Of these 0.1 come up anyway, which leaves 0.35 of the other 0.9.
    """
    reasons = ["superseded"] * 4 + ["sold", "sampled"] + [None] * 14
    courses = pl.DataFrame(
        {
            # five without a mark, whose exits tell nothing of what marks tell
            "exit_reason": [*reasons, *["superseded"] * 3, "sold", "sold"],
            "is_marked": [True] * 20 + [False, None, False, False, False],
        }
    )
    looks = pl.DataFrame({"mark": [0, 1, 1, None, 0]})
    course = np.array([0, 0, 1, 2, 20])
    sign = _signs(courses, looks, course)[PLACE["exit unseen"]]
    at = sign.row[REPLACED]
    assert sign.chances[at] == pytest.approx([1 - 0.35 / 0.9, 0.35 / 0.9])
    assert np.isfinite(sign.weight[at])  # it is learned on from there
    # where none was written, one seen unmarked tells that nobody writes them, if she had a mark
    courses = courses.with_columns(exit_reason=None)
    unseen = [_signs(courses, looks[places], course[places])[PLACE["exit unseen"]] for places in ([4], [0])]
    assert [sign.chances[at, 1] for sign in unseen] == pytest.approx([0.6, UNSEEN])


def scored(last_looks_good):
    """Give queens scored until their pattern is good, and then sold."""
    rng = np.random.default_rng(1)
    queens, inseminations, checks, exits = [], [], [], []
    for n in range(60):
        name = f"Q{n:02d}"
        queens.append({"queen_id": name})
        inseminations.append(insemination(0, name))
        for number in (35, 42, 49, 56):
            score = int(np.clip(rng.normal(80, 8), 0, 100))
            seen = {"sealed": True, "drone_in_worker": "none"}
            checks.append(check(number, name, pattern_pct=score, **seen))
            if last_looks_good and score >= 80:
                exits.append(leave(number + 1, "sold", name))
                break
    made = derived(
        day(120), queens=queens, inseminations=inseminations, checks=checks, exits=exits
    )
    count_rates(made, Settings())
    return read_known(made, Settings())


def test_who_is_scored_until_good_would_not_always_be_good_again():
    found = scored(last_looks_good=True)
    assert np.nanmean(found.last_good[60]) > 0.85
    assert found.again_good[60].mean() == pytest.approx(0.5, abs=0.13)
    other = scored(last_looks_good=False)
    assert np.nanmean(other.last_good[60]) == pytest.approx(0.5, abs=0.15)
    assert other.again_good[60].mean() == pytest.approx(0.5, abs=0.1)


def looked_at(queens, looks=3):
    """Give course, day and score of so many looks at each queen, the first of whom has none."""
    draw = np.random.default_rng(7)
    course = np.repeat(np.arange(1, queens + 1), looks)
    day = np.tile([0, 20, 45][:looks], queens).astype(float)
    level = np.repeat(draw.normal(80, 12, queens), looks)
    return course, day, np.round(np.clip(level + draw.normal(0, 5, len(course)), 5, 100))


def test_one_more_score_is_foretold_from_those_before_it():
    """Ridge regression by its augmented rows (Hoerl and Kennard 1970), queen by queen."""
    queens, window, good = 20, 60, 80.0
    course, day, score = looked_at(queens)
    assert queens * 2 >= FEW_PAIRS
    quality = _quality(course, day, score, window)
    scores = course, day, score
    last, again = _pattern_by(scores, queens + 1, (window, window + 7), good)
    log = np.log(np.maximum(day, 1.0))
    rows, follows, told = [], [], []
    for queen in range(1, queens + 1):
        own = np.flatnonzero(course == queen)
        for before, now in pairwise(own.tolist()):
            mean = score[own[0] : before + 1].mean()
            rows.append([1.0, score[before], mean, log[now] - log[before]])
            follows.append(score[now])
        for now in own.tolist():
            to_go = max(np.log(window) - log[now], 0.0)
            told.append([1.0, score[now], score[own[0] : now + 1].mean(), to_go])
    ridge = np.vstack([rows, np.diag([0.0, 1.0, 1.0, 1.0])])
    rule = np.linalg.lstsq(ridge, np.append(follows, np.zeros(4)), rcond=None)[0]
    stray = np.array(follows) - np.array(rows) @ rule
    middle = np.array(told) @ rule
    # scores are whole per cents: 79.5 is rounded to a good one
    chance = [(m + stray >= good - 0.5).mean() for m in middle[2::3]]
    assert again[1:] == pytest.approx(chance)
    assert again[0] == pytest.approx(np.mean(chance))
    # in deviations of first scores, which nobody chose
    first = middle[::3]
    assert quality == pytest.approx((middle - first.mean()) / first.std())
    assert last[1:].tolist() == [score[3 * n + 2] >= good for n in range(queens)]
    assert np.isnan(last[0])


def test_a_score_is_known_from_the_first_step_that_begins_on_its_day_or_later():
    steps = DaySteps(np.array([0, 1, 2, 5, 9, 20]), 1)
    course = np.array([0, 0, 2, 2, 2, 3, 4])
    day = np.array([2.0, 3.0, 0.0, 6.0, 8.0, 20.0, 21.0])
    quality = np.array([1.0, -0.5, 9.0, 0.25, -9.0, 1.0, 1.0])
    codes = _known_by_step(steps, course, day, quality, 5)
    assert codes.dtype == np.uint8
    limits = QUALITIES.min(), QUALITIES.max()
    # before: nothing, which is the mean; from day 2 on her first, from day 5 on her next
    assert QUALITIES[codes[:, 0]].tolist() == [0, 0, 0, 1, -0.5, -0.5]
    assert not QUALITIES[codes[:, 1]].any()
    # of two within a step the later stays, and what is beyond a byte stands at its end
    assert QUALITIES[codes[:, 2]].tolist() == [0, *[limits[1]] * 4, limits[0]]
    # a score on the last day, or later, acts on nothing
    assert not QUALITIES[codes[:, 3:]].any()


def test_the_quality_of_who_is_scored_is_known_from_that_day_on():
    found = scored(last_looks_good=False)
    days, known = found.seen.steps.days, QUALITIES[found.seen.quality]
    # looked at on days 35 to 56, which lie within steps that end on days 36 and 60
    assert not known[days <= 36].any()
    assert (known[days > 36] != 0).mean() > 0.95
    assert np.ptp(known[days > 60], axis=0).max() == 0


def test_few_scores_foretell_nothing_and_few_pairs_the_last_score():
    course, day, score = looked_at(FEWEST - 1, 1)
    last, again = _pattern_by((course, day, score), FEWEST, (60, 67), 80.0)
    assert not _quality(course, day, score, 60).any()
    assert again.tolist() == [1.0] * FEWEST
    assert last[1:].tolist() == (score >= 80).tolist()
    course, day, score = looked_at(FEWEST, 1)
    quality = _quality(course, day, score, 60)
    _, again = _pattern_by((course, day, score), FEWEST + 1, (60, 67), 80.0)
    assert quality == pytest.approx((score - score.mean()) / score.std())
    assert again[1:].tolist() == (score >= 79.5).tolist()
    alike = np.full(FEWEST, 80.0)
    assert not _quality(course, day, alike, 60).any()


def test_a_score_after_the_close_is_none_of_the_windows():
    """Queens with scores up to day 45, all of whom sink in their second summer."""
    short = looked_at(40)
    queens = np.arange(1, 41)
    late = queens, np.full(40, 200.0), np.full(40, 50.0)
    order = np.argsort(np.append(short[0], queens), kind="stable")
    long = [np.append(*pair)[order] for pair in zip(short, late, strict=True)]
    both = [_pattern_by(scores, 41, (60, 67), 80.0) for scores in (short, long)]
    for then, later in zip(*both, strict=True):
        np.testing.assert_array_equal(then, later)


def test_where_no_score_came_in_time_the_first_after_the_close_foretells_it():
    """Of the last two queens one is scored after the close alone, and the other never."""
    course, day, score = looked_at(40)
    scores = np.append(course, 41), np.append(day, 80.0), np.append(score, 20.0)
    last, again = _pattern_by(scores, 43, (60, 67), 80.0)
    assert np.isnan(last[41:]).all()
    assert again[41] < 0.1 < again[42]
    # by the close of a longer window it is her last
    assert _pattern_by(scores, 43, (365, 372), 80.0)[0][41] == 0.0


def test_who_sank_after_the_close_was_a_working_queen_on_the_window_s_last_day():
    checks = [check(number, queen_seen=True, eggs=True) for number in (12, 61)]
    scored_on = {40: 92, 210: 40}
    checks += [check(n, sealed=True, pattern_pct=pct) for n, pct in scored_on.items()]
    found = known(checks, days=220)
    assert found.last_good[60].tolist() == [1.0]


def test_one_look_is_enough_to_have_been_looked_at():
    """Between days 3 and 10 on the last of them, between 17 and 27 twice, else never."""
    found = known([check(number, queen_seen=True) for number in (3, 10, 18, 27)], days=120)
    looked = {name: signs_of(found, name)[0] for name in PLACE if name.startswith("looked ")}
    assert looked["looked 3 to 10"] == looked["looked 17 to 27"] == [1]
    assert looked["looked 10 to 17"] == looked["looked 27 to 45"] == [0]
    # of days that are still to come nobody knows
    assert looked["looked 75 to 120"] == looked["looked 120 to 200"] == []
