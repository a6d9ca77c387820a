"""Batches against what was expected: counts, hands, and tails one batch at a time."""

from __future__ import annotations

import zlib

import numpy as np
import pytest
from closed_courses import closed_courses
from queen_outcomes.audit.batches import NEAR, batch_rows
from queen_outcomes.stats.shares.poisson_binomial import batch_tails
from scipy.special import expit, ndtr

DEVIATIONS = {"graft_batch": 0.4, "semen_batch": 0.3}


def station(n=240, seed=2):
    """Make courses in grafts of 24 and loads of 9, the third graft nearly all failed."""
    rng = np.random.default_rng(seed)
    number = np.arange(n)
    risk = expit(rng.normal(-1.5, 0.5, n))
    failed = (rng.random(n) < risk).astype(float)
    failed[48:70] = 1.0
    failed[5], risk[100] = np.nan, np.nan
    day = np.datetime64("2026-05-01") + number // 20
    return closed_courses(
        course_id=np.char.zfill(number.astype(str), 4),
        operator=np.where(
            number % 7 == 0, "", np.char.add("op", (number % 3).astype(str))
        ),
        year=np.full(n, "2026"),
        graft_batch=np.where(
            number >= 216, "", np.char.add("g", (number // 24).astype(str))
        ),
        semen_batch=np.char.add("s", (number // 9).astype(str)),
        inseminated_at=day.astype(str),
        d0=day,
        operator_case=number.astype(float),
        failed=failed,
        risk=risk,
    )


@pytest.fixture(scope="module")
def rows():
    return batch_rows(station(), DEVIATIONS)


def test_every_named_batch_has_its_counts_and_hands(rows):
    cases = station()
    assert {(row["kind"], row["batch"]) for row in rows} == {
        *(("graft_batch", f"g{k}") for k in range(9)),
        *(("semen_batch", f"s{k}") for k in range(27)),
    }
    for row in rows:
        own = (getattr(cases, row["kind"]) == row["batch"]) & cases.counted
        assert row["courses"] == own.sum()
        assert row["failures"] == cases.failed[own].sum()
        assert row["expected"] == pytest.approx(cases.risk[own].sum(), rel=1e-12)
        assert row["ratio"] == pytest.approx(row["failures"] / row["expected"])
        assert row["first_on"] == cases.d0[own].min().item()
        assert row["operators"] == sorted(set(cases.operator[own].tolist()) - {""})


def test_tails_are_those_of_each_batch_by_itself(rows):
    cases, far = station(), 0
    for row in rows:
        kind = row["kind"]
        others = {**DEVIATIONS, kind: 0.0}
        own = np.flatnonzero((getattr(cases, kind) == row["batch"]) & cases.counted)
        some = cases.some(own)
        seed = zlib.crc32(f"{kind} {row['batch']}".encode())
        tails = batch_tails(some.risk, row["failures"], some.shared(others), seed=seed)
        if row["mid_p"] < 2 * ndtr(-NEAR):
            far += 1
            assert row["mid_p"] == pytest.approx(tails.two_sided, rel=1e-6)
        else:  # the normal curve stands in
            assert row["mid_p"] == pytest.approx(tails.two_sided, abs=0.1)
    assert far >= 3


def test_near_what_was_expected_the_normal_curve_gives_the_tails(rows):
    """Variance by hand: chance, and courses that share a batch of the other kind."""
    cases, near = station(), 0
    other = {"graft_batch": "semen_batch", "semen_batch": "graft_batch"}
    for row in rows:
        some = cases.some(
            np.flatnonzero((getattr(cases, row["kind"]) == row["batch"]) & cases.counted)
        )
        each, shared = some.risk * (1 - some.risk), getattr(some, other[row["kind"]])
        together = sum(each[shared == name].sum() ** 2 for name in np.unique(shared))
        variance = each.sum() + DEVIATIONS[other[row["kind"]]] ** 2 * together
        z = (row["failures"] - row["expected"]) / np.sqrt(variance)
        if abs(z) < NEAR:
            near += 1
            assert row["mid_p"] == pytest.approx(2 * ndtr(-abs(z)), rel=1e-9)
            assert row["flag"] == ""
    assert near > 20


def test_a_failed_graft_is_flagged_and_nothing_else_of_its_kind(rows):
    flagged = [row for row in rows if row["kind"] == "graft_batch" and row["flag"]]
    assert [(row["batch"], row["flag"]) for row in flagged] == [("g2", "more")]


def test_without_a_counted_course_there_is_no_row():
    cases = station()
    assert batch_rows(cases.with_risk(np.full(240, np.nan)), DEVIATIONS) == []
