"""Histories filled in: against every path counted out, closed forms, and known truth."""

import itertools
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import statsmodels.api as sm
from queen_outcomes.base.workers import Workers
from queen_outcomes.stats.histories import chain, fit, passes
from queen_outcomes.stats.histories.chain import (
    BY_QUALITY,
    CAUSES,
    DRONE,
    EFFECTS,
    FINE,
    GONE,
    LEAST,
    MEAN_QUALITY,
    QUALITIES,
    REPLACED,
    STATES,
    TAKEN,
    WAITING,
    WORKING,
    DaySteps,
    FactorColumns,
    SeenCourses,
    Sign,
)
from queen_outcomes.stats.histories.fit import (
    Model,
    _batched,
    _effects,
    _rate,
    _slope,
    _start,
    even,
    fill_in,
    fit_histories,
)
from queen_outcomes.stats.histories.passes import Chain, Counts, Rates, parts_of
from queen_outcomes.stats.histories.shares import (
    filled_difference,
    filled_share,
    freedom_with_gaps,
)
from scipy import stats
from scipy.sparse import csr_array
from statsmodels.stats.proportion import proportion_confint

STEPS = DaySteps(np.array([0, 1, 2, 9, 14]), 2)


def effect_of(steps, name, step):
    """Name what factors act on for a cause at a step; empty: nothing."""
    for effect, where in parts_of(steps, name):
        if step in range(len(steps.days))[where]:
            return effect
    return ""


def rates(steps, n, seed=1):
    """Give rates high enough that every path has some weight."""
    rng = np.random.default_rng(seed)
    base = {k: rng.uniform(0.01, 0.1, steps.bands[k].max() + 1) for k in CAUSES}
    factor = {name: rng.uniform(0.5, 2, n) for name in EFFECTS}
    quality = rng.integers(0, 256, (len(steps.days), n)).astype(np.uint8)
    return Rates(base, factor, quality, {k: rng.uniform(0.5, 2, 256) for k in BY_QUALITY})


def by_quality(made, name, step, i):
    """Give what a course's quality does to a cause on a step."""
    acts = made.by_quality.get(name, np.ones(256))
    return acts[made.quality[step, i]]


def seen_at_random(steps, n, seed=2):
    rng = np.random.default_rng(seed)
    return rng.uniform(0.05, 1, (len(steps.days), len(STATES), n)).astype(np.float32)


def every_path(steps, made, seen, i):
    """Give every path of a course with its weight: states by step, and ways taken."""

    def leaving(step, state, onset):
        found = {}
        for name, cause in CAUSES.items():
            if cause.source != state or (name == "begins" and step == 0):
                continue
            place = steps.bands[name][step]
            rate = made.base[name][
                place[steps.began[onset]] if cause.since_laying else place
            ]
            effect = effect_of(steps, name, step)
            factor = made.factor[effect][i] if effect else 1.0
            found[name] = rate * factor * by_quality(made, name, step, i)
        return found

    paths = [((), (), 1.0, WAITING, 0)]
    for step in range(len(steps.days)):
        longer = []
        for states, ways, weight, state, onset in paths:
            out = leaving(step, state, onset)
            total = sum(out.values())
            stay = np.exp(-total * steps.width[step])
            moves = [(None, state, stay)]
            moves += [
                (name, CAUSES[name].target, (1 - stay) * rate / total)
                for name, rate in out.items()
            ]
            for name, to, chance in moves:
                here = weight * chance * float(seen[step, to, i])
                began = step if to == WORKING and state == WAITING else onset
                longer.append(((*states, to), (*ways, name), here, to, began))
        paths = longer
    total = sum(path[2] for path in paths)
    return [(states, ways, weight / total) for states, ways, weight, *_ in paths]


def steps_of(states, ways):
    """Give each step of a path: where it sets out, the step laying began at, the way taken."""
    before, onset = WAITING, 0
    for step, (state, way) in enumerate(zip(states, ways, strict=True)):
        yield step, before, onset, way
        onset = step if way == "begins" else onset
        before = state


def at_risk_of(steps, made, i, step, before, onset):
    """Give what may happen in a step: cause, band, what factors act on, factor, quality's."""
    for name, cause in CAUSES.items():
        if cause.source == before:
            band = steps.bands[name][step]
            band = band[steps.began[onset]] if cause.since_laying else band
            effect = effect_of(steps, name, step)
            factor = made.factor[effect][i] if effect else 1.0
            yield name, band, effect, factor, by_quality(made, name, step, i)


def test_two_passes_give_what_all_paths_counted_out_give():
    """States, events and days at risk by band; a day is half at risk where she leaves."""
    n, weight = 3, np.array([1.0, 2.0, 0.5])
    made, seen = rates(STEPS, n), seen_at_random(STEPS, n)
    # by other weights beside them, which must not show
    other = np.array([0.2, 3.0, 1.0])
    (_, counts), told = Chain(STEPS, made, seen).count([other, weight])
    inside = np.zeros((len(STEPS.days), len(STATES), n))
    events, days, days_at, square = (
        {name: np.zeros(len(base)) for name, base in made.base.items()} for _ in "edas"
    )
    came, expected = ({name: np.zeros(n) for name in (*EFFECTS, "")} for _ in "ce")
    events_at = dict.fromkeys(CAUSES, 0.0)
    paths = [(i, *path) for i in range(n) for path in every_path(STEPS, made, seen, i)]
    for i, states, ways, share in paths:
        inside[np.arange(len(states)), states, i] += share
        for step, before, onset, way in steps_of(states, ways):
            risk = share * STEPS.width[step] * (0.5 if way else 1.0)
            at = QUALITIES[made.quality[step, i]]
            for name, band, effect, factor, times in at_risk_of(
                STEPS, made, i, step, before, onset
            ):
                for power, total in enumerate((days, days_at, square)):
                    total[name][band] += risk * factor * times * weight[i] * at**power
                events[name][band] += share * weight[i] * (name == way)
                events_at[name] += share * weight[i] * at * (name == way)
                expected[effect][i] += risk * made.base[name][band] * times
                came[effect][i] += share * (name == way)
    np.testing.assert_allclose(told, inside, atol=2e-6)
    by_hand = {"events": events, "days": days, "came": came, "expected": expected}
    by_hand |= {"events_at": events_at, "days_at": days_at, "days_at_square": square}
    acted = {"events_at", "days_at", "days_at_square"}
    for kind, values in by_hand.items():
        found = getattr(counts, kind)
        assert found.keys() == (set(BY_QUALITY) if kind in acted else {*values} - {""})
        for name, each in found.items():
            np.testing.assert_allclose(each, values[name], rtol=1e-5, atol=1e-5)


def test_courses_worked_on_in_blocks_come_out_as_all_together(monkeypatch):
    n = 11
    made, seen = rates(STEPS, n), seen_at_random(STEPS, n)
    weight, ones = np.random.default_rng(3).uniform(0.5, 2, n), np.ones(n)
    keys = np.arange(n, dtype=np.uint64)
    chances = [lambda block, step, k=k: even(keys[block], k, step) for k in (0, 1)]

    def counted_and_drawn():
        inside = np.empty_like(seen)

        def tell(block, found):
            inside[:, :, block] = found

        def seen_of(block):
            return seen[:, :, block]

        _, counts = passes.count_all(STEPS, made, seen_of, [ones, weight], tell)
        return counts, inside, passes.draw_all(STEPS, made, seen_of, n, chances)

    whole, inside, drawn = counted_and_drawn()
    monkeypatch.setattr(passes, "BLOCK", 4)
    parts, in_parts, again = counted_and_drawn()
    for kind in (*passes.OF_ALL, *passes.OF_COURSES):
        for name, told in getattr(whole, kind).items():
            np.testing.assert_allclose(getattr(parts, kind)[name], told, rtol=1e-5)
    np.testing.assert_allclose(in_parts, inside, rtol=1e-5)
    for one, other in zip(drawn, again, strict=True):
        np.testing.assert_array_equal(one.onset, other.onset)
        np.testing.assert_array_equal(one.end, other.end)
        np.testing.assert_array_equal(one.ended_as, other.ended_as)


def test_draws_come_as_often_as_the_passes_say():
    n = 4000
    made, seen = rates(STEPS, 1), seen_at_random(STEPS, 1)
    factor = {k: np.repeat(v, n) for k, v in made.factor.items()}
    quality = np.repeat(made.quality, n, axis=1)
    many = Rates(made.base, factor, quality, made.by_quality)
    chain = Chain(STEPS, many, np.repeat(seen, n, axis=2))
    inside = chain.count([np.ones(n)])[1][:, :, 0]
    rng = np.random.default_rng(5)
    (drawn,) = chain.draw(chain.backwards(), [lambda _: rng.random(n)])
    for step, day in enumerate(STEPS.days):
        working = (drawn.onset <= day) & (drawn.drone > day) & (drawn.end > day)
        found = {
            WAITING: (drawn.onset > day) & (drawn.end > day),
            WORKING: working,
            DRONE: (drawn.drone <= day) & (drawn.end > day),
            **{
                k: (drawn.end <= day) & (drawn.ended_as == k)
                for k in range(GONE, TAKEN + 1)
            },
        }
        for state, rows in found.items():
            sd = np.sqrt(inside[step, state] * (1 - inside[step, state]) / n)
            assert abs(rows.mean() - inside[step, state]) < 4.5 * sd + 1e-6


def test_unseen_queens_wait_as_the_exponential_says():
    made = rates(STEPS, 1)
    nothing = np.ones((len(STEPS.days), len(STATES), 1), np.float32)
    found, _ = Chain(STEPS, made, nothing).forwards()
    spent = np.zeros(len(STEPS.days))
    for name in ("begins", "lost_unlaid", "taken_unlaid"):
        for step in range(len(STEPS.days)):
            factor = made.factor[effect_of(STEPS, name, step)][0]
            rate = made.base[name][STEPS.bands[name][step]] * factor
            spent[step] += 0.0 if name == "begins" and not step else rate
    waiting = np.exp(-np.cumsum(spent * STEPS.width))
    np.testing.assert_allclose(found[1:, 0, 0], waiting, rtol=1e-5)


DAILY = DaySteps(np.arange(31), 11)
NO_SIGN = (Sign(np.array([(1.0,)]), (0,) * 6, np.array([np.inf])),)


def unscored(steps, n):
    """Give n courses that nobody scores."""
    return np.full((len(steps.days), n), MEAN_QUALITY, np.uint8)


def watched(onset, end, kind, until, steps=DAILY, signs=NO_SIGN):
    """Give courses whose state was seen each day up to the day ``until``, (n,)."""
    n = len(onset)
    out = np.zeros((len(steps.days), len(STATES), n), bool)
    for step, day in enumerate(steps.days):
        state = np.where(day >= end, kind, np.where(day >= onset, WORKING, WAITING))
        rows = np.flatnonzero(day <= until)
        out[step, :, rows] = True
        out[step, state[rows], rows] = False
    none = np.zeros(0, int)
    return SeenCourses(
        *(steps, out, none, none, none, np.zeros((0, 6), int), signs),
        *(FactorColumns.none(n), (), unscored(steps, n)),
    )


def lives(n, seed):
    """Give queens of known fate: a constant chance a day to begin, and to die."""
    rng = np.random.default_rng(seed)
    onset, end = rng.geometric(0.15, n), rng.geometric(0.03, n)
    return np.where(onset < end, onset, 999), end, np.full(n, GONE), rng


def test_what_is_seen_whole_comes_back_from_every_filling():
    onset, end, kind, _ = lives(60, 1)
    seen = watched(onset, end, kind, np.full(60, 30))
    keys = np.arange(60, dtype=np.uint64)
    for drawn in fill_in(seen, fit_histories(seen), keys, np.arange(60), 4):
        np.testing.assert_array_equal(drawn.onset, np.where(onset <= 30, onset, np.inf))
        np.testing.assert_array_equal(drawn.end, np.where(end <= 30, end, np.inf))


def test_whole_records_give_events_over_days_at_risk():
    onset, end, kind, _ = lives(3000, 2)
    model = fit_histories(watched(onset, end, kind, np.full(3000, 30)))
    # events over days at risk from days 15 to 30, and the chance of it within a day
    late = (end > 14) & (onset < 999)
    days = np.clip(np.minimum(end, 30) - np.maximum(onset, 14), 0, None)[late].sum()
    died = (late & (end <= 30) & (end > np.maximum(onset, 14))).sum()
    rate = -np.log1p(-died / days)
    assert model.rates.base["lost"][2] == pytest.approx(rate, rel=0.02)


def test_leaving_early_for_good_reasons_does_not_bias_what_is_filled_in():
    """Layers are sold from day 12 on; nobody sees what becomes of them."""
    onset, end, kind, rng = lives(3000, 3)
    sold = (onset < 12) & (end > 12) & (rng.random(3000) < 0.6)
    seen = watched(onset, end, kind, np.where(sold, 12, 30))
    keys = np.arange(3000, dtype=np.uint64)
    drawn = fill_in(seen, fit_histories(seen), keys, np.arange(3000), 6)
    alive = np.mean([(d.onset <= 30) & (d.end > 30) for d in drawn])
    truth = np.mean((onset <= 30) & (end > 30))
    assert abs(alive - truth) < 0.015
    assert abs(np.mean((onset <= 30) & (end > 30) & ~sold) - truth) > 0.1


SEASON = DaySteps(np.array([0, 5, *range(15, 121, 15), *range(155, 366, 35)]), 1)
SCORED_ON = {30: 4, 45: 5, 60: 6}
"""Days of scores, and the first step that begins on each."""


def sold_by_scores(n, slope, seed):
    """Give queens who lay from day 5, are scored thrice, and half of the good ones sold.

    They are superseded at a rate of .005 a day, times what the last score so far says.
    Beside it: her last score, and the days of her end and of her sale.
    """
    rng = np.random.default_rng(seed)
    end, sold = np.full((2, n), np.inf)
    last, quality = np.zeros(n), unscored(SEASON, n)
    for start, stop in itertools.pairwise([5, *SCORED_ON, 9999]):
        there = ~np.isfinite(end)
        if start in SCORED_ON:
            scored = there & ~np.isfinite(sold)
            last = np.where(scored, np.round(rng.normal(size=n) * FINE) / FINE, last)
            step = SCORED_ON[start]
            quality[step:, scored] = last[scored] * FINE + MEAN_QUALITY
            sold[scored & (last > 0) & (rng.random(n) < 0.5)] = start
        day = start + rng.exponential(1 / (0.005 * np.exp(slope * last)))
        end = np.where(there & (day <= stop), day, end)
    until = np.where(np.isfinite(sold), sold, 365)
    seen = watched(np.full(n, 5), end, np.full(n, REPLACED), until, steps=SEASON)
    return replace(seen, quality=quality), last, end, sold


def slope_of_scores(seen, end, sold):
    """Give the slope of what is known at each step's begin, by statsmodels."""
    days, rows = SEASON.days, []
    for step in range(2, len(days)):
        some = np.flatnonzero((end > days[step - 1]) & (sold >= days[step]))
        at_risk = np.minimum(end[some], days[step]) - days[step - 1]
        at, ended = QUALITIES[seen.quality[step, some]], end[some] <= days[step]
        rows.append(np.column_stack([np.full(len(some), step), at, ended, at_risk]))
    step, at, ended, at_risk = np.concatenate(rows).T
    levels = (step[:, None] == np.arange(2, len(days))).astype(float)
    model = sm.GLM(
        ended, np.column_stack([at, levels]), sm.families.Poisson(), exposure=at_risk
    )
    return model.fit().params[0]


@pytest.mark.parametrize("slope", [0.0, -0.2])
def test_a_score_acts_from_its_day_on(slope):
    """Who is scored again has lived up to then: for all days her last score says too much."""
    n = 3000
    seen, last, end, sold = sold_by_scores(n, slope, 14)
    keys, truth = np.arange(n, dtype=np.uint64), np.mean(end <= 365)

    def found(seen):
        model = fit_histories(seen)
        drawn = fill_in(seen, model, keys, np.arange(n), 4)
        return model, np.mean([d.end <= 365 for d in drawn], axis=0)

    model, replaced = found(seen)
    known = slope_of_scores(seen, end, sold)
    assert known == pytest.approx(slope, abs=0.1)
    assert model.by_quality["replaced"] == pytest.approx(known, abs=0.01)
    assert replaced.mean() == pytest.approx(truth, abs=0.01)
    # not so where her last score acts on all days, as if it had been known from day 0 on
    x = (last - last.mean())[:, None]
    fixed = FactorColumns(x, csr_array((n, 0)), np.ones(1))
    model, replaced = found(replace(seen, factors=fixed, quality=unscored(SEASON, n)))
    assert model.slopes["replaced"][0] < known - 0.06
    assert replaced.mean() < truth - 0.015


def test_signs_are_learned_from_those_whose_state_is_known():
    """Half of the courses are watched to the end; of the others one look tells."""
    n = 2000
    rng = np.random.default_rng(4)
    onset, end = np.full(n, 5), 5 + rng.geometric(0.05, n)
    sign = Sign(np.array([(0.5, 0.5)] * 2), (0, 0, 0, 1, 1, 1), np.array([2.0, 2.0]))
    until = np.where(rng.random(n) < 0.5, 30, 8)
    seen = watched(onset, end, np.full(n, REPLACED), until, signs=(sign,))
    looks = rng.random(n) < np.where(end <= 20, 0.2, 0.9)
    rows = np.arange(n)
    seen = SeenCourses(
        *(seen.steps, seen.ruled_out, rows, np.zeros(n, int), looks.astype(int)),
        *(np.full((n, 6), 20), seen.signs, seen.factors, seen.batches, seen.quality),
    )
    model = fit_histories(seen)
    np.testing.assert_allclose(model.signs[0].chances[:, 1], [0.9, 0.2], atol=0.06)
    drawn = fill_in(seen, model, rows.astype(np.uint64), rows, 4)
    for told in (True, False):
        rows = (until == 8) & (end > 8) & (looks == told)
        replaced = np.mean([d.end[rows] <= 20 for d in drawn])
        assert replaced == pytest.approx((end[rows] <= 20).mean(), abs=0.06)


def test_what_looks_tell_comes_out_to_the_bit_however_courses_are_parted(monkeypatch):
    n, k, rng = 23, 200, np.random.default_rng(8)
    chances = [rng.dirichlet(np.ones(width), 2) for width in (3, 2)]
    rows = (0, 1, 0, 1, 1, 0)
    signs = tuple(Sign(each, rows, np.array([2.0, 5.0])) for each in chances)
    g = len(STEPS.days)
    # one without looks
    course, sign = np.sort(rng.integers(0, n - 1, k)), rng.integers(0, 2, k)
    finding, at = rng.integers(0, 2, k), rng.integers(0, g, (k, len(STATES)))
    ruled_out = rng.random((g, len(STATES), n)) < 0.1
    seen = SeenCourses(
        *(STEPS, ruled_out, course, sign, finding, at, signs),
        *(FactorColumns.none(n), (), unscored(STEPS, n)),
    )
    told = np.where(ruled_out, LEAST, 0.0)
    for row in range(k):
        for state in range(len(STATES)):
            chance = chances[sign[row]][rows[state], finding[row]]
            told[at[row, state], state, course[row]] += np.log(chance)
    expected = np.exp(np.maximum(told - told.max(axis=1, keepdims=True), LEAST))
    whole = seen.likelihood(signs, slice(0, n))
    np.testing.assert_allclose(whole, expected, rtol=1e-5)  # float32
    inside, weight = seen_at_random(STEPS, n), rng.uniform(0.5, 2, n)
    direct, each = inside[at, np.arange(len(STATES)), course[:, None]], np.empty((k, 6))
    for start in range(0, n, 5):
        block = slice(start, start + 5)
        np.testing.assert_array_equal(seen.likelihood(signs, block), whole[:, :, block])
        found = seen.at_findings(inside[:, :, block], block)
        each[seen.findings_of(block)] = found
    np.testing.assert_array_equal(each, direct)
    learned = seen.learn(signs, each, weight)
    monkeypatch.setattr(chain, "SOME", 7)
    for one, other in zip(learned, seen.learn(signs, each, weight), strict=True):
        np.testing.assert_array_equal(one.chances, other.chances)


def test_records_that_contradict_each_other_have_a_history_all_the_same():
    onset, end, kind, _ = lives(40, 6)
    seen = watched(onset, end, kind, np.full(40, 30))
    seen.ruled_out[3, :, 0] = True
    seen.ruled_out[9, WORKING:, 1] = seen.ruled_out[4, [0, *range(2, 6)], 1] = True
    drawn = fill_in(
        seen, fit_histories(seen), np.arange(40, dtype=np.uint64), np.arange(40), 2
    )
    assert all(np.isfinite(d.onset[2:][onset[2:] <= 30]).all() for d in drawn)


def test_chance_hangs_on_the_course_and_not_on_its_place():
    keys = np.arange(20000, dtype=np.uint64) * np.uint64(7)
    drawn = even(keys, 3, 8)
    order = np.random.default_rng(1).permutation(len(keys))
    np.testing.assert_array_equal(even(keys[order], 3, 8), drawn[order])
    assert stats.kstest(drawn, "uniform").pvalue > 0.01
    for other in ((3, 9), (4, 8), (8, 3)):
        assert abs(np.corrcoef(drawn, even(keys, *other))[0, 1]) < 0.03


def test_a_share_without_gaps_has_the_limits_of_its_batches():
    rng = np.random.default_rng(7)
    yes = (rng.random(300) < 0.6).astype(float)
    batch = np.arange(300) % 30
    share = filled_share(np.tile(yes, (20, 1)), batch, 300)
    off = np.bincount(batch, yes - yes.mean())
    se = np.sqrt((off**2).sum() * 30 / 29) / 300
    reach = stats.t.ppf(0.975, freedom_with_gaps(20, 0.0, 29)) * se
    p = yes.mean()
    expected = 1 / (1 + np.exp(-(np.log(p / (1 - p)) + reach / (p * (1 - p)))))
    assert share.estimate == pytest.approx(p)
    assert share.unsettled == 0
    assert share.high == pytest.approx(max(expected, share.high))
    assert share.high >= expected - 1e-12


def test_gaps_widen_the_limits_and_few_known_courses_too():
    rng = np.random.default_rng(8)
    yes = (rng.random((20, 200)) < 0.5).astype(float)
    settled = np.tile(yes[0], (20, 1))
    batch = np.arange(200)
    half = settled.copy()
    half[:, :100] = yes[:, :100]
    whole, gaps = filled_share(settled, batch, 200), filled_share(half, batch, 200)
    assert 0 < gaps.unsettled < 0.6
    assert gaps.high - gaps.low > whole.high - whole.low
    few = filled_share(settled, batch, 12)
    assert few.high - few.low > 0.45


@pytest.mark.parametrize("unsettled", [0.0, 0.3, 0.9])
def test_degrees_of_freedom_are_fewer_than_either_source_has(unsettled):
    found = freedom_with_gaps(20, unsettled, 40)
    assert found < 40
    if unsettled:
        assert found < 19 / unsettled**2


GAPPY = np.array(
    [
        [1, 1, 0, 1, 0, 1, 1, np.nan],
        [1, 1, 0, 0, 0, 1, np.nan, np.nan],
        [1, 1, 0, 1, 1, 1, 1, 0],
    ]
)
"""Three fillings of eight courses."""
OF_BATCH = np.array([4, 4, 4, 7, 7, 9, 9, 9])


def by_rubin(parts, weights):
    """Mean, variance within and between: of sums over batches, filling by filling."""
    batches = np.unique(OF_BATCH)
    each, within = [], []
    for answers, weight in zip(parts, weights, strict=True):
        seen = np.isfinite(answers)
        share = [answers[seen & side].mean() if side.any() else 0.0 for side in weight]
        off = sum(
            sign * np.where(seen & side, answers - p, 0) / (seen & side).sum()
            for sign, side, p in zip((1, -1), weight, share, strict=False)
            if side.any()
        )
        sums = [np.sum(off[b == OF_BATCH]) for b in batches]
        each.append(share[0] - share[1])
        within.append(np.sum(np.square(sums)) * 3 / 2)
    return np.mean(each), np.mean(within), np.var(each, ddof=1)


def test_a_share_with_gaps_follows_rubin_s_rules_over_batches():
    sides = [(np.ones(8, bool), np.zeros(8, bool))] * 3
    mean, within, between = by_rubin(GAPPY, sides)
    found = filled_share(GAPPY, OF_BATCH, 40)
    total = within + 4 / 3 * between
    assert found.estimate == pytest.approx(mean)
    assert found.unsettled == pytest.approx(4 / 3 * between / total)
    freedom = freedom_with_gaps(3, 4 / 3 * between / total, 2)
    reach = stats.t.ppf(0.975, freedom) * np.sqrt(total) / (mean * (1 - mean))
    odds = np.log(mean / (1 - mean))
    assert found.low == pytest.approx(1 / (1 + np.exp(reach - odds)))
    assert found.high == pytest.approx(1 / (1 + np.exp(-reach - odds)))


def test_limits_hold_the_share_of_every_filling():
    # one of 40 in one filling of 20, nobody in the others: it may well be nobody
    answers = np.zeros((20, 40))
    answers[3, 7] = 1.0
    found = filled_share(answers, np.arange(40) // 4, 40)
    assert found.estimate == pytest.approx(1 / 800)
    assert (found.low, found.high > 1 / 40) == (0.0, True)
    turned = filled_share(1.0 - answers, np.arange(40) // 4, 40)
    assert turned.high == 1.0


def test_few_known_courses_have_wilson_s_limits_over_the_design_effect():
    batch = np.arange(300) % 30
    # of ten batches all are yes, of twenty half: 200 of 300
    yes = ((batch < 10) | (np.arange(300) // 30 % 2 == 0)).astype(float)
    # off by 10/3 in ten batches and by -5/3 in twenty
    within = (10 * (10 / 3) ** 2 + 20 * (5 / 3) ** 2) / 300**2 * 30 / 29
    known = 12 / (within / (2 / 9 / 300))
    found = filled_share(np.tile(yes, (2, 1)), batch, 12)
    low, high = proportion_confint(2 / 3 * known, known, method="wilson")
    assert (found.low, found.high) == pytest.approx((low, high))
    # as many in every batch: no more courses than there are
    yes = (np.arange(300) // 30 % 2).astype(float)
    found = filled_share(np.tile(yes, (2, 1)), batch, 12)
    low, high = proportion_confint(6, 12, method="wilson")
    assert (found.low, found.high) == pytest.approx((low, high))


def test_a_share_of_one_filling_or_one_batch_or_all_alike():
    one = filled_share(GAPPY[:1], OF_BATCH, 40)
    assert (one.estimate, one.unsettled) == (pytest.approx(5 / 7), 0)
    twice = [(np.ones(8, bool), np.zeros(8, bool))] * 2
    _, within, _ = by_rubin(GAPPY[[0, 0]], twice)
    reach = stats.t.ppf(0.975, freedom_with_gaps(1, 0.0, 2)) * np.sqrt(within)
    odds = np.log(5 / 2) - reach / (10 / 49)
    assert np.log(one.low / (1 - one.low)) == pytest.approx(odds)
    alone = filled_share(GAPPY[:1], np.zeros(8), 40)
    apart = filled_share(GAPPY[:1], np.arange(8), 40)
    assert (alone.low, alone.high) == (apart.low, apart.high)
    assert alone.low != one.low
    # of a single course there is no variance: Wilson's limits on what is known
    single = filled_share(np.ones((2, 1)), np.zeros(1), 4)
    low, high = proportion_confint(4, 4, method="wilson")
    assert (single.estimate, single.low, single.high) == (1, pytest.approx(low), high)
    nobody = filled_share(np.empty((0, 3)), np.arange(3), 0)
    assert np.isnan([nobody.estimate, nobody.low, nobody.high, nobody.unsettled]).all()


def test_a_difference_with_gaps_follows_rubin_s_rules_over_batches():
    is_one = np.array([True, False, False, True, True, False, True, False])
    found = filled_difference(GAPPY, is_one, OF_BATCH)
    assert found.one == pytest.approx(np.mean([3 / 4, 1 / 3, 1]))
    assert found.other == pytest.approx(np.mean([2 / 3, 2 / 3, 1 / 2]))
    assert np.isnan(found.p)  # two thirds of the variance are of the gaps
    told = GAPPY[[0, 0, 0]]
    told[1, 7] = 0
    mean, within, between = by_rubin(told, [(is_one, ~is_one)] * 3)
    total = within + 4 / 3 * between
    part = 4 / 3 * between / total
    found = filled_difference(told, is_one, OF_BATCH)
    assert found.one - found.other == pytest.approx(mean)
    assert 0 < part < 0.5
    freedom = freedom_with_gaps(3, part, 2)
    assert found.p == pytest.approx(2 * stats.t.sf(abs(mean) / np.sqrt(total), freedom))
    one = filled_difference(GAPPY[:1], is_one, OF_BATCH)
    _, within, _ = by_rubin(np.repeat(GAPPY[:1], 2, axis=0), [(is_one, ~is_one)] * 2)
    apart = one.one - one.other
    freedom = freedom_with_gaps(1, 0.0, 2)
    assert one.p == pytest.approx(2 * stats.t.sf(abs(apart) / np.sqrt(within), freedom))
    alone = filled_difference(GAPPY[:1], is_one, np.zeros(8))
    apart = filled_difference(GAPPY[:1], is_one, np.arange(8))
    assert alone.p == apart.p != one.p
    alike = filled_difference(np.ones((2, 4)), np.arange(4) < 2, np.arange(4))
    assert (alike.one, alike.other, np.isnan(alike.p)) == (1, 1, True)
    assert np.isnan(filled_difference(np.empty((0, 4)), is_one[:4], np.arange(4)).one)


def test_nobody_at_risk_has_no_share():
    share = filled_share(np.full((20, 3), np.nan), np.arange(3), 0)
    assert np.isnan([share.estimate, share.low, share.high]).all()


def test_paths_counted_out_are_all_there():
    """The check itself: weights add up, and the ways out are those of the states."""
    made, seen = rates(STEPS, 1), seen_at_random(STEPS, 1)
    paths = every_path(STEPS, made, seen, 0)
    assert sum(weight for *_, weight in paths) == pytest.approx(1)
    ends = set(itertools.chain.from_iterable(states for states, *_ in paths))
    assert ends == set(range(len(STATES)))


def test_two_groups_without_gaps_differ_as_regression_by_batch_says():
    """Cameron AC, Miller DL. J Hum Resour 2015;50:317-372: the sandwich by cluster."""
    rng = np.random.default_rng(9)
    one, batch = rng.random(240) < 0.3, np.arange(240) % 24
    yes = (rng.random(240) < 0.5 + 0.2 * one).astype(float)
    found = filled_difference(np.tile(yes, (20, 1)), one, batch)
    X = np.column_stack([np.ones(240), one])
    bread = np.linalg.inv(X.T @ X)
    beta = bread @ X.T @ yes
    scores = X * (yes - X @ beta)[:, None]
    sums = np.array([scores[batch == b].sum(axis=0) for b in range(24)])
    se = np.sqrt((bread @ (sums.T @ sums) @ bread)[1, 1] * 24 / 23)
    freedom = freedom_with_gaps(20, 0.0, 23)
    assert found.one - found.other == pytest.approx(beta[1])
    assert found.p == pytest.approx(2 * stats.t.sf(abs(beta[1]) / se, freedom))


def test_a_difference_that_stands_on_guesses_has_no_p():
    rng = np.random.default_rng(10)
    drawn = (rng.random((20, 100)) < 0.5).astype(float)
    found = filled_difference(drawn, np.arange(100) < 40, np.arange(100))
    assert np.isfinite([found.one, found.other]).all()
    assert np.isnan(found.p)
    nobody = filled_difference(drawn, np.zeros(100, bool), np.arange(100))
    assert np.isnan(nobody.p)


def test_factors_count_as_their_centred_columns_written_out():
    rng = np.random.default_rng(9)
    n, words = 40, rng.integers(0, 4, (40, 2))
    numbers = rng.normal(size=(n, 2))
    numbers -= numbers.mean(axis=0)
    # of each word's levels the last is none: a rare one, that goes with nobody
    each = [words[:, k, None] == np.arange(3) for k in range(2)]
    levels = np.concatenate(each, axis=1).astype(float)
    factors = FactorColumns(numbers, csr_array(levels), np.ones(8))
    X = np.concatenate([numbers, levels - levels.mean(axis=0)], axis=1)
    worth, slopes = rng.uniform(0.1, 2, n), rng.normal(size=8)
    np.testing.assert_allclose(factors.times(slopes), X @ slopes)
    np.testing.assert_allclose(factors.totals(worth), X.T @ worth, atol=1e-12)
    np.testing.assert_allclose(
        factors.products(worth), (X.T * worth) @ X, rtol=1e-10, atol=1e-12
    )


def test_one_round_moves_no_slope_by_more_than_one():
    """Of forty courses the half with a factor is lost at once, the others never."""
    n = 40
    x = np.where(np.arange(n) % 2 == 0, 1.0, -1.0)
    factors = FactorColumns(0.01 * x[:, None], csr_array((n, 0)), np.array([1e-6]))
    onset, end, kind, _ = lives(n, 1)
    seen = replace(watched(onset, end, kind, np.full(n, 30)), factors=factors)
    still = {name: np.ones(n) for name in EFFECTS}
    rates = Rates({}, still, seen.quality, {})
    model = Model(rates, (), {name: np.zeros(1) for name in EFFECTS}, {})
    counts = Counts({}, {}, {"lost": (x > 0) * 1.0}, {"lost": np.full(n, 0.5)})
    slopes, _ = _effects(seen, model, counts, "lost", np.ones(n))
    assert slopes[0] == pytest.approx(1.0)


def test_steps_have_widths_sets_and_bands():
    assert STEPS.width.tolist() == [1, 1, 1, 7, 5]
    # working queens are kept apart that begin before day 8, 10 and 18
    assert (STEPS.began.tolist(), STEPS.sets) == ([0, 0, 0, 1, 2], 3)
    assert STEPS.bands["begins"].tolist() == [0, 1, 2, 3, 4]
    assert STEPS.bands["lost"].tolist() == [0, 0, 0, 1, 2]
    # days since laying, which began on days 1, 9 and 14 on average: 8 and 13 of the first
    assert STEPS.bands["turns"].tolist() == [*[[0, 0, 0]] * 3, [1, 0, 0], [1, 0, 0]]
    assert STEPS.before([-3, 0, 8, 9, 99]).tolist() == [0, 0, 2, 3, 4]
    assert STEPS.behind([0, 3, 9, 99]).tolist() == [0, 3, 3, 4]


def test_rates_are_events_over_days_pulled_to_the_usual_one():
    def rate(name, events, days):
        return _rate(
            Counts({name: np.array(events)}, {name: np.array(days)}, {}, {}), name
        )

    # usual: (0.9 + 0.1) / 100; then half an event more, on the days in which it usually comes
    assert rate("lost_drone", [0.9], [0.0]) == pytest.approx([1.4 / 50])
    assert rate("lost_drone", [1.9], [300.0]) == pytest.approx([2.4 / 400])
    lost = rate("lost", [1.9, *[0.0] * 7], [100.0, *[0.0] * 7])
    assert lost == pytest.approx([2.4 / 150, *[1 / 100] * 7])
    # day by day the usual rate is that of nine days, and neighbours lend a quarter
    events = np.zeros(21)
    events[10] = 0.9
    begins = rate("begins", events, np.zeros(21))
    assert begins[8:13] == pytest.approx([0.01, 0.0145, 0.019, 0.0145, 0.01])
    assert begins[[5, 6, 14, 15]] == pytest.approx([0.001, 0.01, 0.01, 0.001])
    days = np.zeros(21)
    days[10] = 100.0
    begins = rate("begins", np.zeros(21), days)
    assert begins[[10, 11, 5]] == pytest.approx([1 / 2100, 1 / 2050, 1 / 1000])


def test_learning_sets_out_from_a_tenth_a_day_in_the_first_weeks():
    seen = watched(*[np.full(2, 5)] * 4, steps=DaySteps(np.array([0, 24, 25, 60]), 2))
    assert _start(seen, "begins").tolist() == [0.1, 0.1, 0.01, 0.01]
    assert _start(seen, "lost").tolist() == [2e-4] * 5
    assert _start(seen, "lost_drone").tolist() == [2e-4]


def test_batches_are_pulled_together_as_their_spread_says():
    codes = np.array([0, 0, 1, 1])
    came, one = np.array([3.0, 1, 0, 0]), np.ones(4)

    def batched(batches, weight=one, own=one):
        seen = SimpleNamespace(n=4, batches=batches)
        return _batched(seen, came, one, own, weight).tolist()

    # 4 and 0 where 2 and 2 were expected: extra (0 + 4) / 8, so that 2 are lent
    assert batched((codes,)) == [1.5, 1.5, 0.5, 0.5]
    assert batched((codes,), np.array([1.0, 1, 2, 0])) == [1.5, 1.5, 0.5, 0.5]
    # expected 8 and 4 by their own factors: extra (16 - 4 + 16) / 80, so that 20/7 are lent
    found = batched((codes,), own=np.array([4.0, 4, 2, 2]))
    lent = 20 / 7
    assert found[1:3] == pytest.approx([(4 + lent) / (8 + lent), lent / (4 + lent)])
    # by another grouping nothing is left to say: 4 where 2 x 1.5 + 2 x 0.5 were expected
    assert batched((codes, np.zeros(4, int))) == [1.5, 1.5, 0.5, 0.5]
    assert batched(()) == [1] * 4


def test_steps_of_learning_end_at_the_poisson_regression():
    """By statsmodels, with days at risk as exposure."""
    rng = np.random.default_rng(4)
    n = 80
    x = rng.normal(size=(n, 2))
    x -= x.mean(axis=0)
    expected, weight = rng.uniform(0.2, 2, n), rng.uniform(0.5, 2, n)
    came = rng.poisson(expected * np.exp(0.3 + x @ [0.5, -0.4])).astype(float)
    factors = FactorColumns(x, csr_array((n, 0)), np.full(2, 1e-9))
    seen = SimpleNamespace(n=n, factors=factors, batches=())
    counts = Counts({}, {}, {"lost": came}, {"lost": expected})
    factor, slopes = np.ones(n), np.zeros(2)

    def modelled():
        made = Rates({}, {"lost": factor}, np.zeros((1, n), np.uint8), {})
        return Model(made, (), {"lost": slopes}, {})

    for _ in range(12):
        slopes, factor = _effects(seen, modelled(), counts, "lost", weight)
    known = sm.GLM(
        came, sm.add_constant(x), family=sm.families.Poisson(), exposure=expected,
        freq_weights=weight,
    ).fit(tol=1e-12)  # fmt: skip
    assert slopes == pytest.approx(known.params[1:], rel=1e-5)
    assert factor == pytest.approx(np.exp(x @ slopes))
    # a ridge adds its part to the slope of the likelihood
    stiff = replace(factors, ridge=np.array([4.0, 9.0]))
    seen = SimpleNamespace(n=n, factors=stiff, batches=())
    for _ in range(12):
        slopes, factor = _effects(seen, modelled(), counts, "lost", weight)
    mean = expected * factor
    mean *= (weight @ came) / (weight @ mean)
    assert x.T @ (weight * (came - mean)) == pytest.approx([4, 9] * slopes, abs=1e-6)


@pytest.mark.parametrize("pull", [0.0, 7.0])
def test_steps_on_quality_end_at_the_poisson_regression_with_a_rate_a_band(
    monkeypatch, pull
):
    """By statsmodels, with days at risk as exposure, and a level a band."""
    rng = np.random.default_rng(4)
    monkeypatch.setattr(fit, "PULL", pull)
    # of the first band nobody is scored
    n, band = 300, np.repeat([0, 1, 2], 100)
    at, days = np.where(band > 0, rng.normal(0.5, 1, n), 0.0), rng.uniform(0.2, 3, n)
    came = rng.poisson(days * np.array([0.5, 1, 2])[band] * np.exp(-0.6 * at)) * 1.0
    slope = 0.0
    for _ in range(12):
        worth = days * np.exp(slope * at)
        sums = [np.bincount(band, worth * at**power) for power in range(3)]
        told = ({"lost": each} for each in (sums[0], came @ at, *sums[1:]))
        days_of, *rest = told
        counts = Counts({"lost": np.bincount(band, came)}, days_of, {}, {}, *rest)
        rate = counts.events["lost"] / sums[0]
        slope = _slope(counts, "lost", rate, slope)
    off = came - days * rate[band] * np.exp(slope * at)
    assert off @ at == pytest.approx(pull * slope, abs=1e-9)
    if not pull:
        X = np.column_stack([at, *(band == b for b in range(3))]).astype(float)
        family = sm.families.Poisson()
        known = sm.GLM(came, X, family=family, exposure=days).fit(tol=1e-12)
        assert slope == pytest.approx(known.params[0], rel=1e-6)


def test_one_round_moves_the_slope_of_quality_by_one_at_most():
    one = {"lost": np.ones(2)}
    counts = Counts({}, one, {}, {}, {"lost": 50.0}, {"lost": np.zeros(2)}, one)
    assert _slope(counts, "lost", np.full(2, 0.1), 0.25) == 1.25


def test_batches_are_weighted_as_one_and_by_one_on_average(monkeypatch):
    seen = watched(*[np.full(6, 5)] * 4)
    weights = []

    def learned(seen, model, weight, rounds):
        weights.append(weight)
        return model

    model = fit_histories(seen)
    monkeypatch.setattr(fit, "learn", learned)
    keys = np.arange(6, dtype=np.uint64) + np.uint64(3)
    drawn = fill_in(seen, model, keys, np.array([0, 0, 1, 1, 2, 2]), 3)
    assert (len(drawn), len(weights)) == (3, 2)  # a pair, and one more
    for number, weight in zip((0, 2), weights, strict=True):
        assert weight.mean() == pytest.approx(1)
        # exponential, by the smallest key of the batch
        each = -np.log1p(-even(keys[::2], number, fit.WEIGHING))
        assert weight == pytest.approx(np.repeat(each / each.mean(), 2))


def test_pairs_are_drawn_from_rates_learned_anew_from_batches_weighted_at_random(
    monkeypatch,
):
    """Every round of learning of each pair by itself, in place of a first one in common."""
    seen = watched(*lives(40, 3)[:3], np.arange(40) % 25)
    model = fit_histories(seen)
    keys, clusters = np.arange(40, dtype=np.uint64), np.arange(40) // 4
    taken = []
    monkeypatch.setattr(fit, "draw_all", lambda steps, rates, *_: taken.append(rates))
    given = seen, model, keys, clusters, 4, Workers(1), [NO_SIGN]
    tasks, others = fit.begin_filling(*given)
    assert (len(tasks), len(others)) == (2, 1)
    for task in (*tasks, *others):
        task.result()
    for first, rates in zip((0, 2, 0), taken, strict=True):
        each = -np.log1p(-even(keys[::4], first, fit.WEIGHING))
        weight = np.repeat(each / each.mean(), 4)
        own = fit.learn(seen, model, weight, fit.ROUNDS_AGAIN).rates
        for name in CAUSES:
            np.testing.assert_allclose(rates.base[name], own.base[name], rtol=1e-5)
        for name in EFFECTS:
            np.testing.assert_allclose(rates.factor[name], own.factor[name], rtol=1e-5)


def test_chance_is_that_of_the_published_generator():
    # splitmix64 from 0: the first number it gives (from memory)
    assert even(np.zeros(1, np.uint64), 0)[0] == (0xE220A8397B1DCDAF >> 11) * 2.0**-53
