"""Which column labels the rows, where several could: running numbers, batches, counts of drones."""

import datetime as dt
import tomllib

import pytest
from queen_outcomes.records.map.asked import which_columns
from queen_outcomes.records.map.running import begin
from queen_outcomes.records.map.seen import feeds
from queen_outcomes.records.map.seen.station import Part
from reading import accepted
from sheets_by_hand import sheet, station

DAYS = [f"2025-06-{n:02}" for n in range(1, 9)]


def part_of(head, rows, table, source="sheet.csv"):
    """Give the rule of a table that a sheet feeds."""
    laid = sheet("\n".join([head, *rows]), source)
    (fed,) = [feed for feed in feeds.find(laid) if feed.table == table]
    return Part(laid, fed)


def asked_of(part):
    return {q.id.rpartition(":")[2]: q for q in which_columns.unsure(station(part))}


@pytest.mark.parametrize("number", ["lp.", "Lfd. Nr.", "poř. č.", "Volgnr", "#", "No.", "Løbenr"])
@pytest.mark.parametrize("queen", ["Queen", "matka", "Königin", "reine", "moer"])
def test_a_running_number_gives_way_to_the_queens(number, queen):
    rows = [f"{n},{n}/25,{day},8" for n, day in enumerate(DAYS, 1)]
    read = part_of(f"{number},{queen},Inseminated,Dose", rows, "inseminations")
    assert read.feed.headings("queen_id") == [queen]
    assert asked_of(read) == {}


def test_a_number_alone_still_labels_queens():
    rows = [f"{n},{day},8" for n, day in enumerate(DAYS, 1)]
    read = part_of("No.,Inseminated,Dose", rows, "inseminations")
    assert read.feed.headings("queen_id") == ["No."]


@pytest.mark.parametrize(
    ("numbers", "taken", "rival"),
    [
        (range(1, 9), "Queen", "No."),  # rows counted, or queens 1 to 8 of two mothers
        (range(301, 309), "No.", "Queen"),  # labels sooner than a count
        ([1, 2, 3, 1, 2, 3, 4, 5], "Queen", ""),  # counted anew each day: no label
    ],
)
def test_a_number_beside_queens_that_stand_twice_is_asked_about(numbers, taken, rival):
    rows = [f"{n},M{k % 2},{DAYS[k]},8" for k, n in enumerate(numbers)]
    read = part_of("No.,Queen,Inseminated,Dose", rows, "inseminations")
    assert read.feed.headings("queen_id") == [taken]
    asked = asked_of(read)
    assert asked.keys() == ({"queen_id"} if rival else set())
    if rival:
        assert asked["queen_id"].default is None
        assert asked["queen_id"].evidence[1].startswith(f'beside it "{rival}" holds ')


def test_rows_of_looks_may_be_counted():
    rows = [f"{n},D{n % 3},{day},yes" for n, day in enumerate(DAYS, 1)]
    read = part_of("No.,Queen,Checked,Eggs", rows, "checks")
    assert read.feed.headings("queen_id") == ["Queen"]
    assert asked_of(read) == {}


LOADS = "batch,collected,drone line,drones tried,drones w/ semen,total ul,°C kept"


def test_a_batch_of_semen_is_asked_about_and_drones_with_semen_are_counted():
    rows = [f"{'ABCDEFGH'[n]},{day},north,{90 + n},{60 + n},70,17" for n, day in enumerate(DAYS)]
    read = part_of(LOADS, rows, "semen")
    assert {name: read.feed.headings(name) for name in read.feed.columns} == {
        "semen_batch": ["batch"],
        "collected_at": ["collected"],
        "drone_line": ["drone line"],
        "drones_handled": ["drones tried"],
        "drones_yielding": ["drones w/ semen"],
        "volume_ul": ["total ul"],
        "storage_c": ["°C kept"],
    }
    assert asked_of(read)["semen_batch"].default == "yes"


LOADS_AGAIN = "prefix:*:inseminations:semen_batch"


@pytest.mark.parametrize(
    ("head", "loads", "column", "prefix"),
    [
        ("Year,Batch", ["2024,A", "2024,B", "2025,A", "2025,B"], ["Year", "Batch"], "2025 "),
        ("Load", ["2024/A", "2024/B", "2025/A", "2025/B"], "Load", "2025/"),
    ],
)
def test_loads_that_start_again_each_year_are_found_by_the_year(
    tmp_path, head, loads, column, prefix
):
    (tmp_path / "records").mkdir()
    for year in (2024, 2025):
        rows = "".join(f"{year % 100}-{n},{year}-06-{n:02},{'AB'[n % 2]},8\n" for n in range(1, 9))
        path = tmp_path / "records" / f"bench {year}.csv"
        path.write_text(f"Queen,Inseminated,Semen,Dose\n{rows}", "utf-8")
    looks = "".join(f"24-{n},2024-06-{n + 14},yes\n" for n in range(1, 9))
    (tmp_path / "records" / "checks.csv").write_text(f"Queen,Checked,Eggs\n{looks}", "utf-8")
    rows = "".join(f"{load},{load[:4]}-05-2{n},{90 + n},70\n" for n, load in enumerate(loads))
    path = tmp_path / "records" / "semen.csv"
    path.write_text(f"{head},Collected,drones tried,total ul\n{rows}", "utf-8")
    begun = begin(tmp_path)
    assert {q.id: q.default for q in begun.asked}[LOADS_AGAIN] is None
    begun.answer({LOADS_AGAIN: "yes"})
    begun.accept()
    (tmp_path / "station.toml").write_text(begun.settings(), "utf-8")
    settings = tomllib.loads(begun.settings())
    (rule,) = [rule for rule in settings["read"] if rule["table"] == "semen"]
    assert rule["columns"]["semen_batch"] == column
    assert settings["files"]["bench 2025.csv"]["prefix"] == {"semen_batch": prefix}
    read = accepted(tmp_path, dt.date(2025, 12, 31))
    given = {row["semen_batch"] for row in read["inseminations"]}
    assert given == {row["semen_batch"] for row in read["semen"]}
    assert len(given) == 4


def test_figures_under_drones_and_semen_label_no_load():
    rows = [f"{80 + n},{day},north,70" for n, day in enumerate(DAYS)]
    laid = sheet("\n".join(["drones for semen,collected,drone line,volume", *rows]))
    assert feeds.find(laid) == []


def test_a_graft_batch_beside_queens_labels_no_load():
    rows = [f"D{n},B1,{day},8,south" for n, day in enumerate(DAYS)]
    head = "Queen,Batch,Inseminated,Dose,Drone line"
    assert part_of(head, rows, "queens").feed.headings("graft_batch") == ["Batch"]
    assert part_of(head, rows, "inseminations").feed.headings("semen_batch") == []


@pytest.mark.parametrize(
    ("heads", "who"), [("Kö-Nr,bes. am,Bes.,µl", "Bes."), ("Queen,Op date,Op,µl", "Op")]
)
def test_a_day_of_what_an_operator_did_is_no_operator(heads, who):
    rows = [f"D{n},{day},{'RW' if n % 3 else 'AK'},8" for n, day in enumerate(DAYS, 1)]
    read = part_of(heads, rows, "inseminations")
    assert read.feed.headings("operator") == [who]
    assert read.feed.headings("inseminated_at") == [heads.split(",")[1]]


@pytest.mark.parametrize("head", ["číslo", "Nr.", "No.", "numer"])
def test_the_number_of_a_load_is_no_queen_in_a_sheet_of_semen(head):
    rows = [f"{n}/25,{day},Jalovec,{90 + n},{50 + n}" for n, day in enumerate(DAYS, 1)]
    heads = f"{head},Collected,Drone line,Drones handled,Volume (µl)"
    read = part_of(heads, rows, "semen", "bench 2025.xlsx#semen")
    assert read.feed.headings("semen_batch") == [head]
    assert read.feed.headings("volume_ul") == ["Volume (µl)"]


def test_words_under_a_queen_s_heading_label_no_queens():
    """As "seen" and "not seen" under "Queen", in looks that name the colony alone."""
    rows = [f"P{n},{day},{'seen' if n % 3 else 'not seen'},yes" for n, day in enumerate(DAYS, 1)]
    read = part_of("Colony,Check date,Queen,Eggs", rows, "checks")
    assert "queen_id" not in read.feed.columns


def test_the_mother_of_several_queens_is_not_the_queen_of_each_row():
    rows = [f"B{n:02},{'Ivy' if n < 5 else 'Hazel'},{day}" for n, day in enumerate(DAYS, 1)]
    read = part_of("Queen,Mother,Hatched", rows, "queens")
    assert read.feed.headings("queen_id") == ["Queen"]


def test_a_code_beside_the_number_of_the_row_is_the_queen():
    rows = [f"{n},25-T{1 + n // 5}-0{n},{day},8" for n, day in enumerate(DAYS, 1)]
    read = part_of("Queen no,Queen code,Inseminated,Dose", rows, "inseminations")
    assert read.feed.headings("queen_id") == ["Queen code"]


def test_loads_named_once_over_their_queens_make_no_list_of_loads():
    rows = [
        f'D{n},{day},{f"{n}/25" if n in (1, 5) else chr(34)},Jalovec,8' for n, day in enumerate(DAYS, 1)
    ]
    fed = {feed.table for feed in feeds.find(sheet("\n".join(["Queen,Inseminated,Semen,Drone line,Dose", *rows])))}
    assert "semen" not in fed
    assert "inseminations" in fed
