"""Courses, doses, CO2 schedule, ages and the operator's running numbers."""

import datetime as dt

import pytest
from queen_outcomes.facts.reading import Reading
from queen_outcomes.facts.settings import Outcomes, Settings
from station_tables import D0, check, day, derived, insemination, leave


def one(store, columns, course_id="Q/1"):
    (row,) = store.rows(
        f"SELECT {columns} FROM courses WHERE course_id = $id", {"id": course_id}
    )
    return row


def at(number, hour, minute=0):
    return dt.datetime.combine(day(number), dt.time(hour, minute))


def test_doses_at_most_the_gap_apart_are_one_course_counted_from_the_last():
    store = derived(until="courses", inseminations=[insemination(0), insemination(7), insemination(15)])
    rows = store.rows("SELECT course_id, d0, doses, first_on, next_on FROM courses")
    assert rows == [
        ("Q/1", day(7), 2, day(0), day(15)),
        ("Q/2", day(15), 1, day(15), None),
    ]


def test_the_largest_dose_gives_the_course_its_operator_and_the_sum_its_dose():
    store = derived(
        inseminations=[
            insemination(0, dose_ul=4.0, operator="A", dose_meant_ul=6.0),
            insemination(2, dose_ul=6.0, operator="B", dose_meant_ul=6.0),
            insemination(3, dose_ul=2.0, operator="C", dose_meant_ul=None),
        ]
    )
    assert one(store, "operator, dose_ul, dose_meant_ul, inseminated_at") == (
        "B",
        12.0,
        None,
        at(2, 10),
    )


@pytest.mark.parametrize("doses", [(6.0, 6.0), (8.0, None)])
def test_on_a_tie_or_an_unknown_dose_the_last_insemination_stands_for_the_course(doses):
    first, last = doses
    store = derived(
        inseminations=[
            insemination(0, dose_ul=first, operator="A"),
            insemination(2, dose_ul=last, operator="B"),
        ]
    )
    assert one(store, "operator, dose_ul") == ("B", None if last is None else 12.0)


def co2(*exposures, **more):
    return derived(
        inseminations=[insemination(0)],
        co2=[{"queen_id": "Q", "given_at": given} for given in exposures],
        **{"until": "meant", **more},
    )


@pytest.mark.parametrize(
    ("exposures", "expected"),
    [
        # common practice: one exposure during the procedure, another a day before or after
        ([at(0, 11)], (1, None, "one exposure")),
        ([at(0, 11), at(1, 10)], (2, 24.0, "other after")),
        ([at(-1, 10), at(0, 10)], (2, -24.0, "other before")),
        ([at(-1, 10)], (2, -24.0, "other before")),
        ([at(-1, 10), at(1, 10)], (3, -24.0, "other before")),
        ([at(2, 0)], (2, None, "other after")),
        ([at(0, 0)], (1, None, "one exposure")),
        ([at(0, 12, 1)], (2, 121 / 60, "other after")),
        # five days before and behind belong to the course, the sixth does not
        ([at(5, 10)], (2, 120.0, "other after")),
        ([at(-5, 10)], (2, -120.0, "other before")),
        ([at(6, 10)], (1, None, "not recorded")),
        ([at(-6, 10)], (1, None, "not recorded")),
        # up to two hours from the insemination are its own, on either side of it
        ([at(0, 12)], (1, None, "one exposure")),
        ([at(0, 8)], (1, None, "one exposure")),
        ([at(0, 7, 59)], (2, -121 / 60, "other before")),
        # a day without a time of day stands 24 hours off, to be held against others
        ([at(-1, 0), at(1, 9, 30)], (3, 23.5, "other after")),
        ([at(-1, 0), at(1, 10, 30)], (3, None, "other before")),
        ([], (1, None, "not recorded")),
    ],
)
def test_co2_exposures_are_told_apart_by_their_time(exposures, expected):
    store = co2(*exposures)
    found = one(store, "co2_exposures, co2_gap_h, co2_schedule")
    assert found == (expected[0], pytest.approx(expected[1]), expected[2])


@pytest.mark.parametrize(
    ("exposures", "expected"),
    [
        # only exposures beside the insemination's own are listed: no row means there was none
        ([], (1, None, "one exposure")),
        ([at(6, 10)], (1, None, "one exposure")),
        ([at(1, 10)], (2, 24.0, "other after")),
        ([at(-1, 10)], (2, -24.0, "other before")),
        # one at the insemination's time is its own all the same, and counts once
        ([at(0, 11)], (1, None, "one exposure")),
    ],
)
def test_where_only_other_exposures_are_listed_no_row_means_one(exposures, expected):
    settings = Settings(reading=Reading(co2="other"))
    store = co2(*exposures, settings=settings)
    assert one(store, "co2_exposures, co2_gap_h, co2_schedule") == expected


def test_a_second_dose_is_itself_the_other_exposure():
    store = derived(
        until="courses",
        inseminations=[insemination(0, dose_ul=6.0), insemination(2, dose_ul=6.0)]
    )
    assert one(store, "co2_exposures, co2_gap_h, co2_schedule") == (
        2,
        -48.0,
        "other before",
    )


def test_an_exposure_that_only_the_flat_sheet_has_counts():
    store = derived(until="courses", inseminations=[insemination(0, co2_other_at=at(1, 10))])
    assert one(store, "co2_exposures, co2_schedule") == (2, "other after")
    assert store.rows("SELECT count(*) FROM co2_exposures") == [(1,)]


def test_one_line_may_hold_both_exposures_and_their_times_part_them():
    line = {"ref": 7}
    store = derived(
        until="courses",
        inseminations=[insemination(0, co2_other_at=at(1, 10), **line)],
        co2=[{"queen_id": "Q", "given_at": at(0, 10), **line}],
    )
    assert one(store, "co2_exposures, co2_gap_h") == (2, 24.0)


def test_what_is_anothers_own_exposure_of_the_same_moment_stays_an_other_one():
    store = derived(
        until="courses",
        inseminations=[insemination(0), insemination(1, "R")],
        co2=[{"queen_id": name, "given_at": at(1, 10)} for name in "QR"],
    )
    assert one(store, "co2_schedule") == ("other after",)
    assert one(store, "co2_schedule", "R/1") == ("one exposure",)


def test_an_exposure_said_to_be_another_is_one_on_the_same_day_too():
    """Without a time of day nobody can say whether it came before or after."""
    store = derived(until="courses", inseminations=[insemination(0, co2_other_at=at(0, 0))])
    assert one(store, "co2_exposures, co2_schedule") == (2, "not recorded")


@pytest.mark.parametrize("listed", ["every", "other"])
def test_an_exposure_without_its_day_counts_and_nobody_knows_when_it_was(listed):
    settings = Settings(reading=Reading(co2=listed))
    columns = "co2_exposures, co2_gap_h, co2_schedule"
    gassed = insemination(0, co2_other_minutes=4.0)
    store = derived(until="courses", settings=settings, inseminations=[gassed])
    assert one(store, columns) == (2, None, "not recorded")
    # a list has the same exposure with its day
    given = [{"queen_id": "Q", "given_at": at(-1, 10)}]
    store = derived(until="courses", settings=settings, inseminations=[gassed], co2=given)
    assert one(store, columns) == (2, -24.0, "other before")


def test_exposures_up_to_the_as_of_day_count():
    for number, told in ((2, "other after"), (3, "not recorded")):
        store = co2(at(number, 10), as_of=day(2))
        assert one(store, "co2_schedule") == (told,)


@pytest.mark.parametrize("hour", [10, 0])
def test_two_doses_of_one_moment_do_not_tell_which_exposure_was_the_other(hour):
    """Neither came before; without a time of day nor does the day alone tell."""
    together = {"inseminated_at": at(0, hour), "dose_ul": 4.0}
    store = derived(until="courses", inseminations=[insemination(0, **together)] * 2)
    assert one(store, "co2_exposures, co2_schedule") == (2, "not recorded")


def test_an_exposure_counts_for_the_queen_it_was_given_to():
    store = derived(
        until="courses",
        inseminations=[insemination(0), insemination(0, "R")],
        co2=[{"queen_id": "R", "given_at": at(1, 10)}],
    )
    assert one(store, "co2_schedule") == ("not recorded",)
    assert one(store, "co2_schedule", "R/1") == ("other after",)


def test_a_flat_sheets_exposure_and_the_same_one_in_the_co2_table_count_once():
    store = derived(
        until="courses",
        inseminations=[insemination(0, co2_other_at=at(1, 10))],
        co2=[{"queen_id": "Q", "given_at": at(1, 10)}],
    )
    assert one(store, "co2_exposures, co2_gap_h") == (2, 24.0)


def test_ages_come_from_the_dates_and_half_days_are_kept():
    store = derived(
        until="courses",
        queens=[{"queen_id": "Q", "emerged_on": day(-9)}],
        semen=[
            {
                "semen_batch": "S",
                "collected_at": at(-1, 10),
                "drones_emerged_from": day(-22),
                "drones_emerged_to": day(-19),
                "drone_age_days": 90.0,
            }
        ],
        inseminations=[insemination(0, semen_batch="S")],
    )
    assert one(store, "queen_age_days, drone_age_days, semen_age_h") == (9, 19.5, 24.0)


def test_hours_need_a_time_of_day_on_both_sides_but_an_order_of_days_does_not():
    """A day alone: no hours; the day after the insemination: impossible, and listed."""
    listed = {}
    for number in (-1, 0, 1):
        store = derived(inseminations=[insemination(0, collected_at=at(number, 0))])
        assert one(store, "semen_age_h") == (None,)
        listed[number] = store.rows("SELECT value FROM course_findings")
    assert listed == {-1: [], 0: [], 1: [("-24.0",)]}


def test_an_impossible_age_is_left_empty_and_listed():
    store = derived(
        queens=[{"queen_id": "Q", "emerged_on": day(3)}],
        inseminations=[insemination(0, collected_at=at(1, 10))],
    )
    assert one(store, "queen_age_days, semen_age_h") == (None, None)
    listed = store.rows(
        'SELECT reason, "column", value FROM course_findings ORDER BY "column"'
    )
    assert listed == [
        ("derived_impossible", "queen_age_days", "-3.0"),
        ("derived_impossible", "semen_age_h", "-24.0"),
    ]


def test_a_flat_sheet_fills_what_the_proper_table_lacks_and_a_clash_is_listed():
    store = derived(
        queens=[{"queen_id": "Q", "line": "Flint"}],
        inseminations=[
            insemination(0, line="Chalk", graft_batch="G1", drone_age_days=18.0)
        ],
    )
    assert one(store, "line, graft_batch, drone_age_days") == ("Flint", "G1", 18.0)
    rows = store.rows('SELECT reason, "column", value, other FROM course_findings')
    assert rows == [("flat_disagrees", "line", "Chalk", "Flint")]


def test_a_later_courses_row_never_tells_an_earlier_course_that_she_is_marked():
    store = derived(until="courses", inseminations=[insemination(0), insemination(20, marked=True)])
    assert one(store, "marked", "Q/1") == (None,)
    assert one(store, "marked", "Q/2") == (True,)


def test_a_course_is_placed_on_the_first_day_in_its_own_span():
    def placed(number, queen="Q"):
        return {"queen_id": queen, "colony_id": "C", "placed_on": day(number)}

    doses = [insemination(0), insemination(20), insemination(0, "R")]
    stays = [placed(-1), placed(9), placed(4), placed(2, "R"), placed(20)]
    store = derived(until="courses", inseminations=doses, placements=stays, as_of=day(20))
    days = {name: one(store, "placed_day", name) for name in ("Q/1", "Q/2", "R/1")}
    assert days == {"Q/1": (4,), "Q/2": (0,), "R/1": (2,)}
    early = derived(until="courses", inseminations=doses, placements=stays, as_of=day(3))
    assert one(early, "placed_day") == (None,)


def test_courses_are_numbered_in_the_order_of_queens_and_courses():
    doses = [insemination(20), insemination(0), insemination(0, "R"), insemination(0, "P")]
    store = derived(until="courses", inseminations=doses)
    ordered = store.rows("SELECT course_id FROM courses ORDER BY course_no")
    assert [name for (name,) in ordered] == ["P/1", "Q/1", "Q/2", "R/1"]


def test_the_next_course_is_the_one_that_follows():
    store = derived(until="courses", inseminations=[insemination(number) for number in (0, 20, 40, 42)])
    spans = store.rows("SELECT first_on, d0, next_on FROM courses ORDER BY course")
    assert spans == [
        (day(0), day(0), day(20)),
        (day(20), day(20), day(40)),
        (day(40), day(42), None),
    ]


def test_a_queen_stands_on_the_bench_where_she_first_came():
    """R is taken between the two doses of Q."""
    doses = [
        insemination(0, queen, operator="A", inseminated_at=at(0, hour))
        for queen, hour in (("Q", 10), ("R", 11), ("Q", 12))
    ]
    store = derived(until="courses", inseminations=doses)
    found = {name: one(store, "bench_order, operator_case", name) for name in ("Q/1", "R/1")}
    assert found == {"Q/1": (1, 3), "R/1": (2, 2)}


def test_an_operators_cases_days_and_bench_order_are_counted():
    store = derived(
        until="courses",
        inseminations=[
            insemination(0, "P", operator="A"),
            insemination(0, "Q", operator="A", insemination_id="2"),
            insemination(3, "R", operator="A"),
            insemination(3, "S", operator="B"),
        ]
    )
    rows = store.rows(
        "SELECT queen_id, operator_case, operator_gap_days, bench_order FROM courses "
        "ORDER BY queen_id"
    )
    assert rows == [
        ("P", 2, None, 2),
        ("Q", 1, None, 1),
        ("R", 3, 3, 1),
        ("S", 1, None, 1),
    ]


@pytest.mark.parametrize(
    ("first_month", "season"), [(1, "2025"), (6, "2025/2026"), (7, "2024/2025")]
)
def test_the_season_may_begin_in_another_month(first_month, season):
    settings = Settings(season_first_month=first_month)
    store = derived(settings=settings, inseminations=[insemination(0)])
    assert one(store, "season, iso_week") == (season, "2025-W22")


def test_a_queen_inseminated_after_the_as_of_day_is_not_yet_a_course():
    store = derived(as_of=day(-1), inseminations=[insemination(0)])
    assert store.rows("SELECT * FROM courses") == []


def test_the_window_is_a_setting():
    short = Settings(outcomes=Outcomes(laying_days=(14,)))
    store = derived(
        settings=short,
        inseminations=[insemination(0)],
        checks=[check(16, eggs=False), check(20, eggs=True)],
    )
    rows = store.rows(
        "SELECT window_days, state FROM outcomes WHERE outcome = 'laying'"
    )
    assert rows == [(14, "no")]


def test_a_course_closes_with_the_grace_and_not_before():
    rows = {}
    for number in (27, 28):
        store = derived(
            as_of=day(number), inseminations=[insemination(0)], exits=[leave(3, "dead")]
        )
        rows[number] = store.rows(
            "SELECT state, closed FROM outcomes WHERE outcome = 'laying'"
        )
    assert rows == {27: [("no", False)], 28: [("no", True)]}
    assert day(0) == D0
