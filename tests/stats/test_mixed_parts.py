"""The parts of the crossed logistic fit by hand: rows made ready, the search, the modes."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import statsmodels.api as sm
from queen_outcomes.stats.logistic import mixed, mixed_sparse
from queen_outcomes.stats.logistic.mixed import fit_again, fit_mixed
from queen_outcomes.stats.logistic.mixed_laplace import Laplace, cross
from queen_outcomes.stats.logistic.mixed_sparse import dot, times
from scipy.sparse import csr_array
from scipy.special import expit


def answers(rows=60, seed=4):
    """Columns, wins, trials and codes of a few rows."""
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(rows), rng.normal(3, 2, rows)])
    trials = rng.integers(1, 4, rows).astype(float)
    wins = rng.binomial(trials.astype(int), expit(0.3 * X[:, 1] - 0.5)).astype(float)
    return X, wins, trials, [rng.integers(0, 5, rows), rng.integers(0, 3, rows)]


def model_of(pull=0.0):
    X, wins, trials, codes = answers()
    made = mixed.prepare(X, wins, codes, trials, np.ones(60), np.array([0.0, pull]))
    return made, Laplace(made.rows, made.pull)


def test_half_of_all_answers_start_from_even_odds():
    # p q = 1/4 a trial: 1 and 3 of the levels' trials, whose mean by weight is 10/4
    X, wins, trials = np.ones((2, 1)), np.array([2.0, 6.0]), np.array([4.0, 12.0])
    codes = [np.array([0, 1]), np.array([0, 0])]
    made = mixed.prepare(X, wins, codes, trials, np.ones(2), np.zeros(1))
    assert made.start == pytest.approx([0], abs=1e-12)
    assert made.level_information == pytest.approx([2.5, 4])
    assert made.constant == pytest.approx(
        np.log(6) + np.log(924)
    )  # 4 over 2, 12 over 6
    assert made.back == pytest.approx(np.array([[0.5]]))
    # weight 2 on the first row: its constant twice, and as many trials more
    made = mixed.prepare(X, wins, codes, trials, np.array([2.0, 1.0]), np.zeros(1))
    assert made.constant == pytest.approx(2 * np.log(6) + np.log(924))
    assert made.level_information == pytest.approx([(4 + 9) / 5, 5])


def test_a_search_sets_out_in_units_of_what_levels_leave_to_tell():
    made, model = model_of(pull=0.4)
    eased = mixed._eased(made, 2)
    assert eased.back @ eased.start == pytest.approx(made.back @ made.start)
    eased_model, sd = Laplace(eased.rows, eased.pull), np.full(2, mixed.FIRST)
    told = eased_model.information(eased.start, sd)
    assert told == pytest.approx(np.eye(2), abs=1e-9)
    at_start = [m.value(one.start, sd) for m, one in ((model, made), (eased_model, eased))]
    assert at_start[0] == pytest.approx(at_start[1], rel=1e-12)


def test_the_start_is_the_plain_fit_in_units_of_its_information():
    X, wins, trials, codes = answers()
    made = mixed.prepare(X, wins, codes, trials, np.ones(60), np.zeros(2))
    known = sm.GLM(
        np.column_stack([wins, trials - wins]), X, family=sm.families.Binomial()
    ).fit(tol=1e-12)
    assert made.back @ made.start == pytest.approx(known.params, rel=1e-7)
    assert made.back @ made.back.T == pytest.approx(known.cov_params(), rel=1e-6)
    assert made.rows.successes.sum() == wins.sum()
    assert made.rows.trials.sum() == trials.sum()


def test_a_drawn_start_is_level_in_the_penalised_likelihood():
    X, wins, trials, codes = answers()
    pull = np.array([0.0, 30.0])
    made = mixed.prepare(X, wins, codes, trials, np.ones(60), pull)
    beta = made.back @ made.start
    chance = expit(X @ beta)
    assert X.T @ (wins - trials * chance) == pytest.approx(pull * beta, abs=1e-7)
    information = (X * (trials * chance * (1 - chance))[:, None]).T @ X + np.diag(pull)
    assert made.back @ made.back.T == pytest.approx(
        np.linalg.inv(information), rel=1e-6
    )


def test_a_long_way_is_gone_in_steps_of_four():
    # 1 in 30,000: log odds of -10.3, where a whole first step would lead astray
    X = np.ones((2, 1))
    found, information, words = mixed._plain(
        X, np.array([1.0, 0.0]), np.array([1e4, 2e4]), np.zeros((1, 1))
    )
    assert words == ""
    assert found == pytest.approx([np.log(1 / 29_999)], rel=1e-9)
    assert information == pytest.approx(np.array([[29_999 / 30_000]]), rel=1e-6)


def test_rows_without_weight_are_as_if_they_were_not_there():
    X, wins, trials, codes = answers()
    weights = np.ones(60)
    weights[:5] = 0
    first = (np.arange(60) < 5).astype(float)
    words = mixed.prepare(
        np.column_stack([X, first]), wins, codes, trials, weights, np.zeros(3)
    )
    assert (
        words == "columns of X that follow from the columns before them: 2 (constant)"
    )
    fit = fit_mixed(
        X, wins, dict(zip("ab", codes, strict=True)), trials=trials, weights=weights
    )
    rest = {name: code[5:] for name, code in zip("ab", codes, strict=True)}
    other = fit_mixed(X[5:], wins[5:], rest, trials=trials[5:])
    assert fit.log_likelihood == pytest.approx(other.log_likelihood)
    assert [len(fit.modes[name]) for name in "ab"] == [5, 3]


def test_cells_are_told_apart_whatever_the_codes():
    most = 2**31 - 1
    # 4 x 2^62 is 0 in 64 bits
    codes = [np.array([0, 4, most, 4]), *[np.array([0, 0, most, 0])] * 2]
    cells, cell = mixed._cells(codes, [most + 1] * 3)
    assert cell.tolist() == [0, 1, 2, 1]
    assert cells.tolist() == [[0, 4, most], [0, 0, most], [0, 0, most]]


def test_rows_alike_are_added_up_where_they_are_many():
    X = np.array([[0.0, 1], [-0.0, 1], [2, 1], [0, 1], [2, 1], [0, 1]])
    cell = np.array([0, 0, 0, 1, 0, 1])
    wins, total = np.arange(6.0), np.arange(6) + 10.0
    found = mixed._merged(X, wins, total, cell)
    sums = sorted(zip(found[3], found[0][:, 0], found[1], found[2], strict=True))
    assert sums == [(0, 0, 1, 21), (0, 2, 6, 26), (1, 0, 8, 28)]
    # nine in ten distinct: merging costs more than it saves
    X = np.arange(10.0)[:, None]
    X[9] = 0
    assert mixed._merged(X, X[:, 0], X[:, 0], np.zeros(10, int))[0] is X
    X = np.zeros((4, 1))
    kept = mixed._merged(X, X[:, 0], X[:, 0], np.arange(4))
    assert kept[0] is X


@pytest.mark.parametrize("constant", [1.0, -5.0])
def test_columns_are_centred_and_scaled_and_the_way_back_is_known(constant):
    rng = np.random.default_rng(3)
    X = np.column_stack(
        [np.full(50, constant), rng.gamma(2.0, 3.0, 50), np.full(50, 7.0), np.zeros(50)]
    )
    scaled, back = mixed._scaled(X)
    assert X @ back == pytest.approx(scaled, abs=1e-12)
    assert (scaled**2).mean(axis=0) == pytest.approx([1, 1, 0, 0], abs=1e-12)
    assert scaled[:, 1:].mean(axis=0) == pytest.approx([0, 0, 0], abs=1e-12)
    plain, back = mixed._scaled(X[:, 1:2])
    assert plain == pytest.approx(X[:, 1:2] / np.sqrt((X[:, 1] ** 2).mean()))
    assert X[:, 1:2] @ back == pytest.approx(plain)


@pytest.mark.parametrize(
    ("rest", "words"),
    [
        (
            1e-12,
            "columns of X that follow from the columns before them: 2 (made up of 1)",
        ),
        (1e-10, ""),
    ],
)
def test_what_columns_before_it_leave_of_a_column_decides(rest, words):
    # orthogonal columns of mean square 1, and one that turns away from one of them
    one, two, three = np.ones(4), np.tile([1.0, -1], 2), np.repeat([1.0, -1], 2)
    turned = np.sqrt(1 - rest) * two + np.sqrt(rest) * three
    assert mixed._dependent(np.column_stack([one, two, turned])) == words


def test_only_the_columns_that_run_away_are_named():
    X, wins, trials, codes = answers()
    never = np.zeros(60)
    never[:6] = 1
    wins[:6] = 0
    fit = fit_mixed(
        np.column_stack([X, never]), wins, {"a": codes[0]}, trials=trials,
        weights=np.full(60, 50.0),
    )  # fmt: skip
    assert fit.message == (
        "separation: the answers fix a chance at 0 or 1; columns running away: 2"
    )


def test_what_cannot_be_fitted_is_told_and_has_the_shape_of_an_answer():
    X, wins, trials, codes = answers()
    groups = {"a": codes[0], "b": codes[1]}

    def message(X=X, groups=groups, **changed):
        given = {"trials": trials, **changed}
        fit = fit_mixed(X, given.pop("y", wins), groups, **given)
        assert not fit.converged
        assert np.isnan(fit.log_likelihood)
        return fit.message

    drawing = (
        "what draws coefficients to zero is not a number from 0 on for each column"
    )
    for pull in ([0.0], [0.0, -1], [0.0, np.nan]):
        assert message(pull=np.array(pull)) == drawing
    outside = "an answer lies outside 0 to its trials, or a weight is negative"
    none, less = trials.copy(), np.ones(60)
    none[3], less[3] = 0, -1
    idle = wins.copy()
    idle[3] = 0
    below = wins.copy()
    below[3] = -1
    assert message(y=idle, trials=none) == outside
    assert message(weights=less) == outside
    assert message(y=below) == outside
    assert message(y=trials + 1) == outside
    assert message(y=trials * 0) == message(y=trials) == "all answers are equal"
    short = "the columns, answers and counts are not of one length, or there are none"
    assert message(X=X[:, 0]) == message(weights=np.ones(3)) == short
    gaps = X.copy()
    gaps[3] = np.nan
    assert message(X=gaps) == "X holds what is no number in 1 rows"
    assert message(weights=gaps[:, 0]) == "weights holds what is no number in 1 rows"

    fit = fit_mixed(X, trials, groups, trials=trials)
    assert (fit.beta.shape, fit.cov_beta.shape) == ((2,), (2, 2))
    assert fit.cov_joint.shape == (4, 4)
    for levels in (fit.modes, fit.mode_se):
        assert [len(levels[name]) for name in "ab"] == [5, 3]
    fit = fit_mixed(X[:, 0], wins, {"a": codes[0] - 1, "b": codes[1][:0]})
    assert (fit.beta.shape, fit.cov_joint.shape) == ((0,), (2, 2))
    assert [len(fit.modes[name]) for name in "ab"] == [0, 0]


def test_where_a_fit_ended_nowhere_the_next_is_begun_anew():
    X, wins, _, codes = answers()
    y, groups = np.minimum(wins, 1), {"a": codes[0]}
    expected = fit_mixed(X, y, groups)
    nowhere = fit_mixed(X, np.ones(60), groups)
    assert nowhere.end is None
    flat = replace(expected.end, covariance=np.full((3, 3), np.nan))
    for before in (nowhere, replace(expected, end=flat)):
        found = fit_again(before, X, y, groups)
        assert (found.beta == expected.beta).all()
        assert (found.cov_joint == expected.cov_joint).all()


def test_a_known_curvature_is_mended_along_the_step():
    # Nocedal and Wright, Numerical Optimization, 2nd edition, (6.17), from the identity
    found = mixed._mended(np.eye(2), np.array([1.0, 1]), np.array([2.0, 1]))
    assert found == pytest.approx(np.array([[5, -1], [-1, 11]]) / 9)
    for rise in ([1.0, -1], [-1.0, 0]):  # no rise along the step says nothing
        kept = mixed._mended(np.eye(2), np.array([1.0, 1]), np.array(rise))
        assert (kept == np.eye(2)).all()


def along_a_hyperbola():
    """A search over the value sqrt(1 + x^2) alone, from 2, and where it has been."""
    seen = []

    def slope(coefficients, deviations):
        (x,) = coefficients
        seen.append(x)
        return np.hypot(1, x), coefficients / np.hypot(1, x), deviations

    crossing = SimpleNamespace(owner=np.zeros(0, int))
    model = SimpleNamespace(slope=slope, rows=SimpleNamespace(crossing=crossing))
    return mixed.Search(model, np.array([2.0]), np.ones(0)), seen


def test_from_an_old_curvature_too_long_a_step_is_halved_and_the_next_ones_mended():
    search, seen = along_a_hyperbola()
    found = search.follow(np.array([[10.0]]))
    first = 20 / np.sqrt(5)  # ten times the slope
    assert seen[:4] == pytest.approx([2, 2 - first, 2 - first / 2, 2 - first / 4])
    # in one dimension that is the secant's step
    x, y = seen[3], seen[0]
    at, before = x / np.hypot(1, x), y / np.hypot(1, y)
    assert seen[4] == pytest.approx(x - at * (x - y) / (at - before))
    assert found.coefficients == pytest.approx([0], abs=mixed.NEAR)
    assert found.slope < mixed.NEAR
    assert found.value == pytest.approx(1)
    assert found.covariance == pytest.approx(np.array([[10.0]]))


def test_an_old_curvature_that_leads_nowhere_is_given_up(monkeypatch):
    monkeypatch.setattr(mixed, "AGAIN", 3)
    search, seen = along_a_hyperbola()
    assert search.follow(np.array([[10.0]])) is None
    assert len(seen) == 3


def test_the_search_is_in_units_of_a_standard_error():
    # information 1 / FIRST^2 shrinks by half: FIRST / (sqrt(2 levels) / 2) is the error
    made, model = model_of()
    search = mixed.Search(model, made.start, np.full(2, 1 / mixed.FIRST**2))
    assert search.unit == pytest.approx([0.6 / np.sqrt(10), 0.6 / np.sqrt(6)])
    assert search.floor == pytest.approx([0.003, 0.003])
    assert search.free.all()
    coefficients, deviations = search.split(search.point)
    assert (coefficients == made.start).all()
    assert deviations == pytest.approx([mixed.FIRST] * 2)
    # one level of next to no information: no unit is longer than 2
    search = mixed.Search(model, made.start, np.full(2, 1e-9))
    assert search.unit == pytest.approx([2, 2])
    assert search.floor == pytest.approx([10, 10])


def spied(search):
    """Where each descent of a search sets out from, as deviations."""
    begun, descend = [], search._descend

    def spy():
        begun.append(search.split(search.point)[1])
        descend()

    search._descend = spy
    return begun


def test_a_deviation_held_at_zero_is_let_go_where_the_value_falls():
    rng = np.random.default_rng(2)
    code = np.repeat(np.arange(12), 20)
    y = (rng.random(240) < expit(rng.normal(0, 1.5, 12)[code])).astype(float)
    ones = np.ones(240)
    made = mixed.prepare(ones[:, None], y, [code], ones, ones, np.zeros(1))
    search = mixed.Search(
        Laplace(made.rows, made.pull), made.start, made.level_information
    )
    search._hold(np.array([True]))
    assert (search.free.any(), search.point[1]) == (False, 0)
    begun = spied(search)
    found = search.run()
    assert np.concatenate(begun) == pytest.approx([0, 10 * search.floor[0]])
    free = fit_mixed(ones[:, None], y, {"batch": code})
    assert found.deviations == pytest.approx([free.theta_sd["batch"]], rel=1e-5)
    assert found.slope < 1e-6


def test_a_deviation_that_falls_to_zero_is_held_and_the_rest_searched_again():
    code = np.repeat(np.arange(20), 10)
    y = np.tile([1, 1, 1, 1, 0, 0, 0, 0, 0, 0.0], 20)
    ones = np.ones(200)
    made = mixed.prepare(ones[:, None], y, [code], ones, ones, np.zeros(1))
    search = mixed.Search(
        Laplace(made.rows, made.pull), made.start, made.level_information
    )
    begun = spied(search)
    found = search.run()
    assert np.concatenate(begun) == pytest.approx([mixed.FIRST, 0])
    assert found.deviations == [0]


def test_a_curvature_that_is_not_positive_has_no_inverse():
    made, model = model_of()
    search = mixed.Search(model, made.start, made.level_information)
    search.free[1] = False
    curvature = np.array([[4.0, 1, 0], [1, 9, 2], [0, 2, 1]])
    full = search._inverse(curvature)
    assert full[:3, :3] == pytest.approx(np.linalg.inv(curvature))
    assert not full[3].any()
    assert not full[:, 3].any()
    for bad in (
        np.diag([1.0, 1, -1]),
        np.diag([1.0, 1, 0]),
        np.array([[1.0, 2, 0], [2, 1, 0], [0, 0, 1]]),
        np.diag([1.0, 1, np.nan]),
    ):
        full = search._inverse(bad)
        assert np.isnan(full[:3, :3]).all()
        assert not full[3].any()


def test_a_pull_adds_half_of_its_square_to_the_value():
    drawn, with_pull = model_of(pull=4.0)
    sd, at = np.array([0.4, 0.2]), drawn.start + 0.3
    alone = Laplace(drawn.rows, np.zeros((2, 2)))
    beta = drawn.back @ at
    assert with_pull.value(at, sd) - alone.value(at, sd) == pytest.approx(
        2 * beta[1] ** 2
    )
    _, by_one, _ = with_pull.slope(at, sd)
    _, by_other, _ = alone.slope(at, sd)
    pulled = drawn.back.T @ np.array([0, 4 * beta[1]])
    assert by_one - by_other == pytest.approx(pulled, abs=1e-10)


def test_the_predictor_is_that_of_columns_and_modes():
    made, model = model_of()
    sd = np.array([0.4, 0.2])
    model.value(made.start, sd)
    crossing = made.rows.crossing
    effects = sd[crossing.owner] * model.modes
    cell = np.repeat(np.arange(len(made.rows.lengths)), made.rows.lengths)
    expected = made.rows.X @ made.start + effects[crossing.at[:, cell]].sum(axis=0)
    assert model.linear_predictor(made.start, sd) == pytest.approx(expected)


def test_the_modes_are_found_by_an_old_curvature_while_it_serves(monkeypatch):
    made, model = model_of()
    calls = []
    for name in ("_curved", "_move"):
        own = getattr(Laplace, name)
        monkeypatch.setattr(
            Laplace,
            name,
            lambda *a, own=own, name=name, **k: calls.append(name) or own(*a, **k),
        )
    sd = np.array([0.4, 0.2])
    model.value(made.start, sd)
    first = calls.count("_move")
    assert calls.count("_curved") == 2  # where it begins, and where it ends
    assert 2 <= first <= 9
    calls.clear()
    model.value(made.start, sd)  # nothing moves
    assert calls == ["_curved"]
    model.value(made.start, 20 * sd)  # so far away that curvatures are worked out anew
    assert calls.count("_curved") > 3
    left = model.modes - 20 * sd[made.rows.crossing.owner] * made.rows.crossing.spread(
        made.rows.cell_sums(
            made.rows.successes
            - made.rows.trials * expit(model.linear_predictor(made.start, 20 * sd))
        )
    )
    assert left == pytest.approx(np.zeros(8), abs=1e-6)


def test_a_far_step_is_halved_until_it_pays():
    made, model = model_of()
    fixed, scale = made.rows.X @ made.start, np.full(8, 0.4)
    left = made.rows.successes - made.rows.trials * expit(fixed)
    step = -300 * scale * made.rows.crossing.spread(made.rows.cell_sums(left))
    before = model._penalised(fixed, model.modes)

    def at(share):
        modes = -share * step
        return model._penalised(model._eta(fixed, scale * modes), modes)

    shares = 0.5 ** np.arange(20)
    paying = next(share for share in shares if at(share) <= before)
    eta = model._move(fixed, scale, fixed, step, far=True)
    assert paying < 1
    assert model.modes == pytest.approx(-paying * step, rel=1e-12)
    assert eta == pytest.approx(model._eta(fixed, scale * model.modes))
    model.modes = np.zeros(8)
    model._move(fixed, scale, fixed, step, far=False)
    assert model.modes == pytest.approx(-step)


def test_a_second_grouping_of_one_level_meets_every_level_once():
    pattern = cross(np.array([[0, 1, 2], [0, 0, 0]]), [3, 1])
    assert pattern.row.tolist() == [0, 1, 2]
    assert pattern.column.tolist() == [0, 0, 0]
    assert pattern.owner.tolist() == [0, 0, 0, 1]
    alone = cross(np.array([[0, 1, 2]]), [3])
    assert (len(alone.row), alone.layout.unknowns, alone.largest) == (0, 0, 3)


def test_products_of_what_is_empty_are_zeros_and_others_the_usual_ones():
    rng = np.random.default_rng(1)
    one, other = rng.normal(size=(4, 3)), rng.normal(size=(3, 2))
    for left in (one, np.asfortranarray(one)):
        assert times(left, other[:, 0]) == pytest.approx(one @ other[:, 0])
        for right in (other, np.asfortranarray(other)):
            assert times(left, right) == pytest.approx(one @ other)
    assert times(one[:0], other[:, 0]).shape == (0,)
    assert times(one[:, :0], other[:0]).tolist() == [[0, 0]] * 4
    assert times(one, other[:, :0]).shape == (4, 0)
    assert dot(other[0], other[1]) == pytest.approx(other[0] @ other[1])
    assert dot(one[:0, 0], one[:0, 0]) == 0


def test_an_unknown_that_meets_all_others_goes_to_the_border(monkeypatch):
    monkeypatch.setattr(mixed_sparse, "DENSE_UP_TO", 59)
    monkeypatch.setattr(mixed_sparse, "SMALLEST_BLOCK", 4)
    near = np.abs(np.subtract.outer(np.arange(60), np.arange(60))) <= 1
    near[17] = near[:, 17] = True
    layout = mixed_sparse.plan(csr_array(near.astype(float)))
    assert (layout.border, layout.place[17]) == (1, 59)
    # blocks of 4 below each other, and one row of 60
    assert (layout.unknowns, layout.blocks) == (60, 15)
    assert layout.size == 14 * 16 + 9 + 13 * 16 + 12 + 60
    row, column = np.nonzero(np.tril(near))
    places = layout.locate(layout.place[row], layout.place[column])
    assert len(np.unique(places)) == len(places)
    assert (places >= 0).all()
    assert (places < layout.size).all()
    # few unknowns are one dense block; of such as all meet all only a corner is left out
    few = mixed_sparse.plan(csr_array(near[:59, :59].astype(float)))
    assert (few.border, few.blocks, few.size) == (0, 1, 59**2)
    all_meet = mixed_sparse.plan(csr_array(np.ones((60, 60))))
    assert (all_meet.border, all_meet.size) == (0, 4 * 4 + 56 * 4 + 56 * 56)
    assert mixed_sparse.plan(csr_array((0, 0))).unknowns == 0


def test_first_steps_take_the_determinants_slope_as_it_was(monkeypatch):
    rng = np.random.default_rng(5)
    code, x = np.repeat(np.arange(12), 20), rng.normal(size=240)
    X, groups = np.column_stack([np.ones(240), x]), {"batch": code}
    eta = rng.normal(0, 0.8, 12)[code] + 0.4 * x
    first, other = (1.0 * (rng.random(240) < expit(eta)) for _ in range(2))
    other = np.where(rng.random(240) < 0.1, other, first)
    before = fit_mixed(X, first, groups)
    # the whole slope at a maximum is nothing: one part takes the other away
    rows = mixed.prepare(
        *(X, first, [code], np.ones(240), np.ones(240), np.zeros(2))
    ).rows
    model = Laplace(replace(rows, X=X[np.argsort(code)] @ before.end.back), 0 * np.eye(2))
    coefficients = np.linalg.solve(before.end.back, before.beta)
    sd = np.array([before.theta_sd["batch"]])
    model.value(coefficients, sd)
    assert model.lean(coefficients, sd) == pytest.approx(-before.end.bent, abs=1e-5)
    found, asked = [], []
    slope = mixed.Search.slope
    monkeypatch.setattr(
        mixed.Search, "slope", lambda s, x: (asked.append(1), slope(s, x))[1]
    )
    for approaches in (0, mixed.APPROACHES):
        monkeypatch.setattr(mixed, "APPROACHES", approaches)
        asked.clear()
        found.append((fit_again(before, X, other, groups), len(asked)))
    (plain, many), (led, few) = found
    se = np.sqrt(np.diag(before.cov_beta))
    assert led.beta == pytest.approx(plain.beta, abs=2 * mixed.NEAR * se.max())
    assert few < many
