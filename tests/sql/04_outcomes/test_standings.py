"""How courses stand on the as-of day, and what was meant for them."""

from __future__ import annotations

import datetime as dt

import pytest
from fates import FATES, known
from station_tables import check, day, derived, insemination, leave


@pytest.fixture(scope="module")
def standings():
    store, names = known()
    rows = store.records(
        "SELECT * FROM standings INNER JOIN courses USING (course_no) "
        "WHERE window_days IS NULL"
    )
    told = {row["course_id"]: row for row in rows}
    return {fate: told[name] for fate, name in names.items()}


@pytest.mark.parametrize("fate", FATES)
def test_how_a_course_stands(standings, fate):
    same = ("end_reason", "end_since", "end_by", "end_behind", "begun_by", "exit_day")
    same += ("exit_reason", "is_marked", "onset_by")
    expected = {name: value for name, value in FATES[fate][1].items() if name in same}
    assert {name: standings[fate][name] for name in expected} == expected


def test_an_exit_as_drone_layer_bounds_the_turn_by_the_last_clean_look_before_it():
    def turned(*looks, gone=50):
        store = derived(
            queens=[{"queen_id": "Q", "marked": True}],
            inseminations=[insemination()],
            checks=[check(12, eggs=True), *looks],
            exits=[leave(gone, "drone_layer")],
        )
        (row,) = store.rows(
            "SELECT state, \"after\", \"by\", settled_by FROM outcomes "
            "WHERE outcome = 'drone_layer' AND window_days = 60"
        )
        return row

    sound = {"sealed": True, "drone_in_worker": "none"}
    many = check(40, sealed=True, drone_in_worker="many")
    exit_row, look_row = ["exits.csv:2"], ["checks.csv:4"]
    assert turned() == ("yes", 0, 50, exit_row)
    assert turned(check(30, **sound)) == ("yes", 30, 50, exit_row)
    # on the exit's own day a look without drone brood says nothing of the days before
    assert turned(check(50, **sound)) == ("yes", 0, 50, exit_row)
    assert turned(check(30, **sound), many) == ("yes", 30, 40, look_row)
    # a look on the exit's day counts before it
    assert turned(check(30, **sound), many, gone=40) == ("yes", 30, 40, look_row)


def test_a_mark_seen_before_a_course_is_of_that_queen_and_course_alone():
    """Q's is seen on day 100 of her first course; R has as many courses, and none."""
    seen = check(100, queen_seen=True, mark_seen=True)
    store = derived(
        inseminations=[insemination(n, queen) for queen in "QR" for n in (0, 120, 240)],
        checks=[seen, check(110, "R", eggs=True), check(115, eggs=True), check(200, "R", eggs=True)],
        as_of=day(600),
        until="standings",
    )
    rows = store.rows(
        "SELECT course_id, window_days, is_marked FROM standings "
        "INNER JOIN courses USING (course_no) ORDER BY ALL"
    )
    assert len(rows) == len(set(rows)) == 6 * (1 + len({window for _, window, _ in rows if window}))
    marked = {(course, window) for course, window, is_marked in rows if is_marked}
    windows = {window for _, window, _ in rows}
    late = {window for window in windows if window is None or window >= 100 - 7}
    assert marked == {
        *(("Q/1", window) for window in late),
        *((course, window) for course in ("Q/2", "Q/3") for window in windows),
    }


def at(number, hour, minute=0):
    return dt.datetime.combine(day(number), dt.time(hour, minute))


def meant(store, course_id="Q/1"):
    return store.records(
        "SELECT doses, dose, later_open, gone_first FROM meant WHERE course_id = $id",
        {"id": course_id},
    )[0]


def with_later_exposures(*exits):
    """Give twenty queens with an exposure two days later, and Q with her own only."""
    others = [f"L{number:02d}" for number in range(20)]
    return derived(
        inseminations=[insemination(0, queen_id=name) for name in ("Q", *others)],
        co2=[
            {"queen_id": "Q", "given_at": at(0, 11)},
            *({"queen_id": name, "given_at": at(2, 10)} for name in others),
        ],
        exits=exits,
    )


@pytest.mark.parametrize(
    ("gone", "later_open", "gone_first"),
    [
        # she went before the others got theirs: nobody can say whether she was to get one
        ([leave(1, "dead")], 1.0, True),
        ([leave(2, "dead")], 1.0, True),
        # between day 0 and 8, each day as likely as another: two of eight came before
        ([leave(8, "missing")], 0.25, False),
        ([leave(1, "sold")], 0.0, False),
        ([], 0.0, False),
    ],
)
def test_what_she_did_not_live_to_get_says_nothing_of_what_was_meant(
    gone, later_open, gone_first
):
    found = meant(with_later_exposures(*gone))
    assert (found["later_open"], found["gone_first"]) == (later_open, gone_first)


def test_where_nobody_gets_a_later_exposure_none_was_due():
    store = derived(
        inseminations=[insemination()],
        co2=[{"queen_id": "Q", "given_at": at(0, 11)}],
        exits=[leave(1, "dead")],
        until="meant",
    )
    assert meant(store)["later_open"] == 0.0


def test_what_was_meant_is_the_courses_own_where_as_many_doses_were_given():
    doses = [insemination(0, name, dose_ul=6.0, protocol="p") for name in "ABC"]
    doses += [insemination(0, dose_ul=8.0, dose_meant_ul=9.0, protocol="p")]
    doses += [insemination(0, "R", dose_ul=4.0)]
    store = derived(inseminations=doses)
    assert (meant(store)["doses"], meant(store)["dose"]) == (1, 9.0)
    assert (meant(store, "A/1")["dose"], meant(store, "R/1")["dose"]) == (6.0, 4.0)


def test_a_queen_that_died_before_her_second_dose_counts_as_meant_for_two():
    names = ("A", "B", "C")
    twice = [
        insemination(number, queen_id=name, dose_ul=6.0, protocol="6 and 6")
        for name in names
        for number in (0, 2)
    ]
    once = insemination(0, dose_ul=6.0, protocol="6 and 6")
    store = derived(inseminations=[*twice, once], exits=[leave(1, "dead")])
    found = meant(store)
    assert (found["doses"], found["dose"]) == (2, 12.0)
    assert store.rows("SELECT doses, dose_ul FROM courses WHERE queen_id = 'Q'") == [(1, 6.0)]
