"""Looks that stand in one cell with their days, and cells that hold something else."""

import pytest
from queen_outcomes.records.map.seen import feeds, looks_apart
from queen_outcomes.records.map.seen.opened import Cell, CellGrid, Row
from queen_outcomes.records.map.seen.sheet import lay_out

SEEN = ["5.6. eggs", "5.6. no eggs", "6.6. open brood", "7.6. eggs, sealed brood"]


def laid(**columns):
    """Give a list of four inseminations with further columns, by their headings."""
    names = {name.replace("__", ". ").replace("_", " "): held for name, held in columns.items()}
    rows = [["Queen", "Inseminated on", *names]]
    rows += [[f"D{n}", f"2025-05-2{n}", *(held[n] for held in names.values())] for n in range(4)]
    made = tuple(
        Row(line, tuple(Cell(" ".join(text.split()), lines=text if "\n" in text else "") for text in row))
        for line, row in enumerate(rows, 1)
    )
    return looks_apart.part(lay_out(CellGrid("book.xlsx#2025", made)))


def looks(sheet):
    (feed,) = [feed for feed in feeds.find(sheet) if feed.table == "checks"]
    return feed


def test_cells_of_one_look_each_are_a_series_where_there_are_several():
    second = ["", "24.6. sealed brood", "24.6. eggs", "25.6. drone layer"]
    found = laid(**{"1__check": SEEN, "2__check": second, "autumn": ["", "7.9. eggs", "", "8.9. gone"]})
    assert found.apart == {"1. check": 1, "2. check": 1, "autumn": 1}
    assert [(r["checked_on"], r["findings"]) for r in looks(found).slots.values()] == [
        (f"{name} (day)", f"{name} (words)") for name in found.apart
    ]
    # a row's cells stand where its columns say
    places = {column.name: column.at for column in found.columns}
    assert found.rows[1].text(places["2. check (day)"]) == "24.6."
    assert found.rows[1].text(places["2. check (words)"]) == "sealed brood"


def test_one_column_of_one_look_each_is_no_series():
    found = laid(Check=SEEN)
    assert looks(found).slots == {}
    assert (looks(found).headings("checked_on"), looks(found).headings("findings")) == (
        ["Check (day)"],
        ["Check (words)"],
    )


def test_several_looks_of_a_cell_stand_in_lines_or_behind_semicolons():
    found = laid(Checks=[SEEN[0], "5.6. eggs; 24.6. brood", "5.6. eggs\n24.6. brood\n7.9. gone", "6.6. eggs"])
    assert found.apart == {"Checks": 3}
    slots = looks(found).slots
    assert [roles["checked_on"] for roles in slots.values()] == [f"Checks (day {n})" for n in (1, 2, 3)]
    held = found.column("Checks (words 2)").contents.texts
    assert held == ["brood", "brood"]


@pytest.mark.parametrize(
    ("name", "texts"),
    [
        # an hour, a figure or a mark beside a day is no word
        ("Check", ["5.6. 10:30", "5.6. 11:00", "6.6. 9:15", "7.6. 8:00"]),
        ("Check", ["5.6. 4", "5.6. 3", "6.6. 5", "7.6. 2"]),
        ("Check", ["5.6. x", "5.6. x", "6.6. x", "7.6. x"]),
        # words of which nobody knows any
        ("Check", ["5.6. zork", "5.6. plonk", "6.6. fleem", "7.6. blarg"]),
        # too few
        ("Check", [*SEEN[:2], "", ""]),
        # what is of no look, or of how queens went
        ("Remarks", SEEN),
        ("Gone", ["sold 5.6.", "dead 5.6.", "sold 6.6.", "sold 7.6."]),
        ("Zork", SEEN),
    ],
)
def test_other_cells_stay_whole(name, texts):
    found = laid(**{name: texts})
    assert found.apart == {}
    assert name in [column.name for column in found.columns]


def test_the_day_of_a_look_in_its_own_column_is_not_lost_for_them():
    days = ["2025-06-02", "2025-06-03", "2025-06-02", ""]
    found = laid(Checked_on=days, Eggs=["y", "n", "y", ""], **{"2__check": SEEN})
    assert found.apart == {}
    assert looks(found).headings("checked_on") == ["Checked on"]
