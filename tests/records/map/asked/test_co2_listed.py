"""What is asked about a list of CO2 exposures."""

import pytest
from queen_outcomes.records.map.asked import co2
from sheets_by_hand import ids, part, station

DAY = "2025-05-14"


def with_times(source, table, name, queens, days, times=None):
    """A rule whose day has its clock in a column of its own."""
    columns = {"queen_id": queens, name: days}
    if times is None:
        return part(source, table, **columns)
    made = part(source, table, **columns, minutes=times)
    made.feed.uses[name].names.append("minutes")
    del made.feed.uses["minutes"]
    return made


@pytest.mark.parametrize(
    ("done", "given", "default"),
    [
        # every insemination has an exposure at its own time, or half of them
        (None, [DAY, DAY], "none"),
        (None, [DAY, "2025-05-13"], "none"),
        (None, ["2025-05-12", "2025-05-13"], "other"),
        # two hours are together, a minute more is not
        (["10:00", "10:00"], ["12:00", "8:00"], "none"),
        (["10:00", "10:00"], ["12:01", "7:59"], "other"),
        (["10:59", "10:59"], ["13:00", "13:00"], "other"),
        (["10:01", "10:01"], ["12:00", "12:00"], "none"),
        (["10:00", "10:00"], ["", ""], "none"),
    ],
)
def test_a_list_of_exposures_may_leave_out_the_inseminations_own(done, given, default):
    queens = ["D1", "D2"]
    bench = with_times(
        "b.csv", "inseminations", "inseminated_at", queens, [DAY] * 2, done
    )
    if done:
        gas = with_times("g.csv", "co2", "given_at", queens, [DAY] * 2, given)
    else:
        gas = with_times("g.csv", "co2", "given_at", ["d 1", "D2"], given)
    found = co2.co2(station(bench, gas))
    assert [q.default for q in found] == ([] if default == "none" else [default])


def test_a_few_exposures_at_the_inseminations_leave_the_list_open():
    queens = [f"D{n}" for n in range(10)]
    bench = part(
        "b.csv", "inseminations", queen_id=[*queens, "Z", ""], inseminated_at=[DAY] * 12
    )
    for own, default in ((0, "other"), (1, "other"), (2, None), (4, None)):
        days = [DAY] * own + ["2025-05-15"] * (10 - own)
        gas = part("g.csv", "co2", queen_id=[*queens, ""], given_at=[*days, DAY])
        (asked,) = co2.co2(station(bench, gas))
        assert asked.default == default
        assert asked.evidence[0].startswith(f"{own} of 10 inseminations")
        assert asked.sources == ("g.csv",)
    assert co2.co2(station(bench)) == []
    unseen = part("g.csv", "co2", queen_id=["Y"], given_at=[DAY])
    assert co2.co2(station(bench, unseen)) == []
    assert co2.co2(station(bench, part("g.csv", "co2", given_at=[DAY]))) == []


@pytest.mark.parametrize(
    ("done", "given", "asked"),
    [
        (["6/1/24", "6/13/2024"], ["June 1, 2024", "2024-06-13"], False),
        (["2024-06-01", '"'], ["2024-06-01", "2024-06-01"], False),
        (["2024-06-01 10:00"] * 2, ["2024-06-01 18:00"] * 2, True),
        (["2024-06-01"] * 2, ["2024-06-02"] * 2, True),
    ],
)
def test_exposures_at_the_inseminations_own_time_however_days_are_written(
    done, given, asked
):
    bench = part("b.csv", "inseminations", queen_id=["D1", "D2"], inseminated_at=done)
    gas = part("c.csv", "co2", queen_id=["D1", "D2"], given_at=given)
    assert ids(co2.co2(station(bench, gas))) == ["co2:*:co2:given_at"] * asked
