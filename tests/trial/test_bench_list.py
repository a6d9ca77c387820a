"""The bench list: balanced, the same each time, and in the station's own form."""

from __future__ import annotations

import csv
import io
from collections import Counter
from itertools import groupby, permutations
from math import comb
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from planned_station import AS_OF, planned_store
from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.text_layout import NO_FORMULAS
from queen_outcomes.facts.reading import Reading
from queen_outcomes.facts.settings import Settings
from queen_outcomes.trial.bench_list import (
    MOST_PLACES,
    bench_list,
    list_csv,
    permuted_blocks,
    stratum_name,
)
from queen_outcomes.trial.plan import make
from queen_outcomes.trial.plan_report import name_remark, sheet, write
from reading import stage

STATED = {
    "arms": ("single 8=8", "6 and 6=6+6.5"),
    "difference": 0.2,
    "share": 0.65,
    "icc": 0.02,
    "queens_per_graft": 10,
    "queens_per_load": 5,
    "seed": 2026,
}
OWN = Settings(
    name="Station <b>&",
    reading=Reading(
        columns={"inseminations": {"protocol": "Dose plan", "graft_batch": "Graft"}},
        words={"leak": {"some": ("a little", "bit")}},
        decimal=",",
        units={"inseminations": {"dose_meant_ul": "mL"}},
    ),
)


@pytest.fixture
def plan(full_store):
    def planned(settings=None, **more):
        store = planned_store(full_store, [])
        return make(store, settings or Settings(), AS_OF, STATED | more)

    return planned


def drawn(found):
    return bench_list(found.request, found.size)


def table(text, delimiter=","):
    return list(csv.DictReader(io.StringIO(text), delimiter=delimiter))


def test_every_block_holds_both_arms_alike(plan):
    found = plan()
    places = drawn(found)
    assert len(places) == 2 * found.size.queens
    assert [place.number for place in places] == list(range(1, len(places) + 1))
    blocks = Counter((place.block, place.arm.name) for place in places)
    assert set(blocks.values()) == {2}
    assert len(blocks) == len(places) / 2
    assert len({place.graft for place in places}) == found.size.batches
    strata = Counter((place.graft, place.load) for place in places)
    assert set(strata.values()) == {4}


def test_whole_batches_are_all_of_one_arm(plan):
    found = plan(by="batch")
    places = drawn(found)
    arms = {(place.graft, place.arm.name) for place in places}
    assert len(arms) == found.size.batches
    in_blocks = Counter((p.block, p.arm.name, p.graft) for p in places)
    assert set(in_blocks.values()) == {10}
    assert set(Counter(key[:2] for key in in_blocks).values()) == {2}


@pytest.mark.slow
def test_the_list_depends_on_seed_and_name_alone(plan):
    one = list_csv(drawn(plan()), plan().request, Settings())
    again = list_csv(drawn(plan()), plan().request, Settings())
    assert one == again
    arms = [place.arm.name for place in drawn(plan())]
    assert arms != [place.arm.name for place in drawn(plan(seed=2027))]
    assert arms != [place.arm.name for place in drawn(plan(name="Other"))]
    # a trial of more graft batches begins with the same ones
    more = [place.arm.name for place in drawn(plan(power=0.9))]
    assert more[:20] == arms[:20]


def test_a_row_a_dose_with_what_the_plan_knows(plan):
    found = plan()
    rows = table(list_csv(drawn(found), found.request, Settings()))
    assert list(rows[0])[:4] == [
        *("insemination_id", "queen_id", "inseminated_at", "operator")
    ]
    assert "graft_batch" not in rows[0]
    split = [row for row in rows if row["protocol"] == "6 and 6"]
    assert len(split) == 2 * found.size.queens
    assert [row["dose_meant_ul"] for row in split[:4]] == ["6", "6.5", "6", "6.5"]
    assert split[1]["note"].endswith("dose 2 of 2")
    whole = [row["note"] for row in rows if row["protocol"] == "single 8"]
    assert len(whole) == found.size.queens
    assert not [note for note in whole if "dose" in note]
    known = {"trial", "block", "protocol", "dose_meant_ul", "note"}
    assert {name for row in rows for name, cell in row.items() if cell} == known
    assert {row["trial"] for row in rows} == {"Doses_2027"}


def test_the_list_speaks_as_the_station_writes(plan):
    found = plan(OWN)
    rows = table(list_csv(drawn(found), found.request, OWN), delimiter=";")
    assert {"Dose plan", "Graft", "block"} <= set(rows[0])
    doses = {row["dose_meant_ul"] for row in rows}
    assert doses == {"0,008", "0,006", "0,0065"}


def test_the_sheet_is_one_page_that_needs_nothing_else(plan):
    text = sheet(plan(OWN))
    assert text == sheet(plan(OWN))
    assert "Station &lt;b&gt;&amp;" in text
    assert "<script" not in text
    assert "http" not in text.replace("http-equiv", "")
    assert text.count("seed 2026") > 2
    for word in ("none", "a little", "most"):
        assert f'<span class="box"></span> {word}</span>' in text
    assert "Dose plan" in text
    assert text.count("<section") == 2 * plan(OWN).size.batches
    footer = text[text.index("<footer>") :]
    for hazard in ("CO2", "Stings", "Glass", "diluent", "licensed"):
        assert hazard in footer


def test_what_a_trial_needs_is_added_up(plan):
    found = plan()
    semen = found.size.queens * (8 + 12.5) * 1.1
    assert found.ready.semen_ul == pytest.approx(semen)
    assert found.ready.drones == pytest.approx(semen / 0.595, abs=1)
    # eight of the ten queens of a graft batch fill blocks of four
    assert found.ready_a_batch.semen_ul == pytest.approx(4 * 20.5 * 1.1)
    whole = plan(by="batch")
    assert whole.ready_a_batch.semen_ul == pytest.approx(10 * 12.5 * 1.1)


def test_a_list_beyond_any_bench_is_refused(plan):
    found = plan(difference=0.01)
    assert found.size.queens * 2 > MOST_PLACES
    with pytest.raises(UsageError, match="too long"):
        drawn(found)


def test_an_unusual_dose_and_a_name_in_use_are_remarked(full_store):
    store = planned_store(full_store, [])
    store.execute("INSERT INTO courses (course_id, trial) VALUES ('Q/1', 'Doses_2027')")
    found = make(store, Settings(), AS_OF, STATED | {"arms": ("a=8", "b=20")})
    assert len(found.remarks) == 2
    assert "b: 20 uL is unusual" in found.remarks[0]
    assert "Doses_2027" in found.remarks[1]


NAMES = st.text(
    st.sampled_from("=+-@'\"; ,AZb1é"), min_size=1, max_size=6
).filter(lambda name: name == " ".join(name.split()) and any(map(str.isalnum, name)))


@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(name=NAMES)
@example(name="=1+1")
@example(name="'=x")
@example(name="''a")
@example(name="-5 uL")
def test_a_name_comes_back_as_it_was_and_opens_as_no_formula(full_store, name):
    """What stands in the list is no formula to a spreadsheet, and reads as it was meant."""
    store = planned_store(full_store, [])
    given_arms = ("other=12", "b=8" if "=" in name else f"{name}=8")
    found = make(store, Settings(), AS_OF, STATED | {"arms": given_arms, "name": name})
    text = list_csv(drawn(found), found.request, Settings())
    store.close()
    rows = list(csv.DictReader(io.StringIO(text)))
    written = [cell for row in rows for cell in row.values()]
    assert not [cell for cell in written if cell[:1] in tuple("=+-@\t")]
    for number, row in enumerate(rows):
        row |= {"queen_id": f"Q{number}", "inseminated_at": "2026-05-01"}
    again = io.StringIO()
    writer = csv.DictWriter(again, rows[0], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    with TemporaryDirectory() as place:
        reading, staged = stage(Path(place), inseminations__csv=again.getvalue())
        trials = reading.rows("SELECT DISTINCT trial FROM staged_inseminations")
        arms = reading.rows("SELECT DISTINCT protocol FROM staged_inseminations")
        reading.close()
    assert trials == [(name,)]
    assert {arm for (arm,) in arms} == {arm.name for arm in found.request.arms}
    assert not any("queen-outcomes" in note for note in staged.notes)


def test_only_a_file_that_bears_our_mark_loses_an_apostrophe(tmp_path):
    ids = ["'=1", "'+2", "''3", "'a"]
    rows = "".join(f'"{one}",2026-05-01\n' for one in ids)
    reading, _ = stage(tmp_path, inseminations__csv=f"queen_id,inseminated_at\n{rows}")
    found = reading.rows("SELECT queen_id FROM staged_inseminations ORDER BY ref")
    assert [one for (one,) in found] == ids
    rows = "".join(f'"{one}",2026-05-01,\n' for one in ids)
    head = f'queen_id,inseminated_at,"{NO_FORMULAS}"\n'
    reading, staged = stage(tmp_path, inseminations__csv=head + rows)
    found = reading.rows("SELECT queen_id FROM staged_inseminations ORDER BY ref")
    assert [one for (one,) in found] == ["=1", "+2", "'3", "'a"]
    assert not any("queen-outcomes" in note for note in staged.notes)


def test_a_filled_list_is_never_written_over(plan, tmp_path):
    path = tmp_path / "inseminations_trial.csv"
    first = write(plan(), path, None)["csv"].read_bytes()
    assert write(plan(), path, None)["csv"].read_bytes() == first
    path.write_bytes(first + b"filled")
    with pytest.raises(UsageError, match="another file"):
        write(plan(), path, None)
    assert path.read_bytes() == first + b"filled"


def test_a_file_that_would_not_be_read_is_told(tmp_path):
    listed = tmp_path / "bench.csv"
    assert "inseminations_bench.csv" in name_remark(listed, Settings())
    assert not name_remark(tmp_path / "inseminations_x.csv", Settings())
    own = Settings(reading=Reading(files={"inseminations": ("bench*.csv",)}))
    assert not name_remark(listed, own)
    assert "bench*.csv" in name_remark(tmp_path / "inseminations_x.csv", own)


strata = st.dictionaries(st.text(max_size=4), st.integers(0, 25), max_size=4)


@settings(deadline=None)
@given(strata, st.integers(2, 4), st.integers(1, 3), st.integers(0, 9))
def test_every_full_block_holds_all_arms_alike(queens, number, times, seed):
    arms = list("abcd")[:number]
    lists = permuted_blocks(queens, arms, number * times, seed)
    assert {stratum: len(places) for stratum, places in lists.items()} == queens
    for places in lists.values():
        blocks = [block for block, _ in places]
        assert blocks == [at // (number * times) + 1 for at in range(len(places))]
        for _, group in groupby(places, lambda place: place[0]):
            counts = Counter(arm for _, arm in group)
            if counts.total() == number * times:
                assert counts == dict.fromkeys(arms, times)
            assert max(counts.values()) <= times


@settings(deadline=None)
@given(strata, st.integers(0, 9))
def test_a_stratum_s_list_depends_on_its_name_and_the_seed_alone(queens, seed):
    lists = permuted_blocks(queens, "xyz", 6, seed)
    assert permuted_blocks(dict(reversed(queens.items())), "zyx", 6, seed) == lists
    for stratum, number in queens.items():
        alone = permuted_blocks({stratum: number}, "xyz", 6, seed)[stratum]
        assert alone == lists[stratum]
        longer = permuted_blocks({stratum: number + 6}, "xyz", 6, seed)[stratum]
        assert longer[:number] == alone


def test_other_seeds_and_other_strata_give_other_lists():
    name, second = stratum_name("G1", "S1"), stratum_name("G1", "S2")
    one, other = (permuted_blocks({name: 40}, "xy", 4, seed)[name] for seed in (1, 2))
    assert one != other
    assert one != permuted_blocks({second: 40}, "xy", 4, 1)[second]


def guessed_right(block):
    """Guess the arm that is behind so far, at a tie by a coin."""
    right, seen = 0.0, Counter()
    for arm in block:
        other = "B" if arm == "A" else "A"
        right += 0.5 if seen[arm] == seen[other] else float(seen[arm] < seen[other])
        seen[arm] += 1
    return right


@pytest.mark.parametrize(
    ("size", "number", "expected"), [(4, 6, 17 / 6), (6, 20, 4.1), (8, 70, 5.328571)]
)
def test_a_guesser_of_permuted_blocks(size, number, expected):
    # Blackwell D, Hodges JL. Ann Math Stat 1957;28:449-460
    half = size // 2
    blocks = set(permutations("A" * half + "B" * half))
    assert len(blocks) == number
    right = [guessed_right(block) for block in blocks]
    assert sum(right) / number == pytest.approx(expected, abs=5e-7)
    excess = 2 ** (size - 1) / comb(size, half) - 0.5
    assert expected - half == pytest.approx(excess, abs=5e-7)
    # the lists themselves: all blocks turn up about as often, and are guessed as often
    order = permuted_blocks({"S": 3000 * size}, "AB", size, seed=11)["S"]
    arms = "".join(arm for _, arm in order)
    made = [tuple(arms[at : at + size]) for at in range(0, len(arms), size)]
    counts = Counter(made)
    assert set(counts) == blocks
    chi2 = sum((n - 3000 / number) ** 2 for n in counts.values()) * number / 3000
    assert chi2 < number - 1 + 4 * (2 * (number - 1)) ** 0.5
    mean = sum(map(guessed_right, made)) / 3000
    assert mean == pytest.approx(expected, abs=0.06)
