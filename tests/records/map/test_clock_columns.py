"""A column of clocks belongs to the day it stands beside."""


import pytest
from mapped_stations import run

ROWS = range(1, 15)


def joined(station, *headings):
    """Give what `inseminated_at` is read from, with these headings in this order."""
    cells = {
        "Queen": [f"D{n}" for n in ROWS],
        "Inseminated": [f"2025-06-{n:02}" for n in ROWS],
        "Collected": [f"2025-05-{n:02}" for n in ROWS],
        "Time": [f"{8 + n % 9}:15" for n in ROWS],
        "Clock": [f"{9 + n % 9}:45" for n in ROWS],
        "Operator": ["Ada Brun"] * 14,
        "Dose": ["8"] * 14,
    }
    lines = [headings, *zip(*(cells[name] for name in headings), strict=True)]
    (station / "records").mkdir()
    (station / "records" / "bench.csv").write_text(
        "".join(",".join(line) + "\n" for line in lines), "utf-8"
    )
    _, settings = run(station)
    (rule,) = settings["read"]
    return {
        name: rule["columns"].get(name) for name in ("inseminated_at", "collected_at")
    }


@pytest.mark.parametrize(
    ("between", "inseminated", "collected"),
    [
        ("Inseminated,Time", ["Inseminated", "Time"], None),
        ("Time,Inseminated", ["Inseminated", "Time"], None),
        # each day the clock beside it, wherever the pair stands
        (
            "Inseminated,Time,Collected,Clock",
            ["Inseminated", "Time"],
            ["Collected", "Clock"],
        ),
        ("Collected,Inseminated,Time", ["Inseminated", "Time"], "Collected"),
        # a clock between two days is that of the day before it
        ("Inseminated,Time,Collected", ["Inseminated", "Time"], "Collected"),
        ("Collected,Time,Inseminated", "Inseminated", ["Collected", "Time"]),
        # a day takes one clock; the second goes to the other day, however far
        (
            "Inseminated,Time,Clock,Dose,Collected",
            ["Inseminated", "Time"],
            ["Collected", "Clock"],
        ),
    ],
)
def test_a_clock_goes_to_the_nearest_day(tmp_path, between, inseminated, collected):
    names = between.split(",")
    last = [name for name in ("Operator", "Dose") if name not in names]
    found = joined(tmp_path, "Queen", *names, *last)
    assert found == {"inseminated_at": inseminated, "collected_at": collected}


def proposed(station, day, heading, cells):
    """Give the rule of CO2 records whose exposures last so long, and what was asked."""
    lines = [f"Queen,{day},{heading},Inseminated,Operator,Dose"]
    lines += [
        f"D{n},2025-06-{n:02},{cell},2025-06-{n + 1:02},Ada Brun,8"
        for n, cell in zip(ROWS, cells, strict=True)
    ]
    (station / "records").mkdir()
    (station / "records" / "bench.csv").write_text("\n".join(lines) + "\n", "utf-8")
    begun, settings = run(station)
    asked = {q.kind: q for q in begun.proposal.questions}
    return {rule["table"]: rule["columns"] for rule in settings["read"]}, asked.get("span")


@pytest.mark.parametrize(
    ("day", "table", "names"),
    [
        ("CO2 given", "inseminations", ("co2_other_at", "co2_other_minutes")),
        ("Gassed", "co2", ("given_at", "minutes")),
    ],
)
@pytest.mark.parametrize("heading", ["CO2 duration", "min"])
@pytest.mark.parametrize(
    ("cells", "default"),
    [
        ([f"{3 + n % 4}:30" for n in ROWS], "min:s"),
        # half an hour is possible both ways
        ([f"0:{10 + n}" for n in ROWS], None),
        ([f"{3 + n % 4} min 30" for n in ROWS], "no question"),
        ([f"{3 + n % 4}" for n in ROWS], "no question"),
    ],
)
def test_how_long_is_no_time_of_day_and_goes_with_the_exposure_before_it(
    tmp_path, day, table, names, heading, cells, default
):
    rules, asked = proposed(tmp_path, day, heading, cells)
    read = {"from": heading, "unit": "min:s"} if default == "min:s" else heading
    assert [rules[table][name] for name in names] == [day, read]
    assert rules["inseminations"]["inseminated_at"] == "Inseminated"
    assert table == "inseminations" or "minutes" not in rules["inseminations"]
    assert (asked.default if asked else "no question") == default
