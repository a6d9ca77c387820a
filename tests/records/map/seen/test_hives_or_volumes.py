"""What stands under "ul", which is a hive in two languages and a volume in all."""

import pytest
from queen_outcomes.records.map.seen import feeds, hives_or_volumes
from queen_outcomes.records.map.seen.sheet import choose
from sheets_by_hand import sheet

DOSES = [8] * 7 + [10]
HIVES = [101, 102, 103, 104, 105, 106, 107, 108]
LOW = [1, 2, 3, 4, 5, 6, 7, 9]


def made(language, *columns, chosen=""):
    """Give a list of inseminations with more columns, in Czech or Polish."""
    head = {"cs": "č. matky,insem.", "pl": "nr matki,inseminacja"}[language]
    lines = [f"M{n},{n + 1}.6.2023,{','.join(str(held[n]) for _, held in columns)}" for n in range(8)]
    found = sheet("\n".join([f"{head},{','.join(name for name, _ in columns)}", *lines]))
    choose(found, {"ul": chosen} if chosen else {})
    hives_or_volumes.settle([found])
    return found


def fed(found):
    held = {name: heads for feed in feeds.find(found) for name, heads in feeds.summary([feed])[feed.table].items()}
    return {name: held.get(name) for name in ("dose_ul", "colony_id")}


@pytest.mark.parametrize(
    ("language", "columns", "dose", "colony"),
    [
        # the hive has its accent, so the other is the volume, and the reverse
        ("cs", [("ul", DOSES), ("úl", HIVES)], ["ul"], ["úl"]),
        ("cs", [("úl", LOW)], None, ["úl"]),
        ("cs", [("uL", DOSES), ("oplodňáček", HIVES)], ["uL"], ["oplodňáček"]),
        ("pl", [("ul", DOSES), ("ulik", HIVES)], ["ul"], ["ulik"]),
        # no queen is given 101 µl, and a dose that has its column is no other's
        ("cs", [("ul", HIVES)], None, ["ul"]),
        ("cs", [("dávka", DOSES), ("ul", LOW)], ["dávka"], ["ul"]),
    ],
)
def test_what_the_sheet_has_beside_it_tells_hives_from_volumes(language, columns, dose, colony):
    found = made(language, *columns)
    assert fed(found) == {"dose_ul": dose, "colony_id": colony}
    assert not found.either


@pytest.mark.parametrize(("held", "likely"), [(DOSES, "dose_ul"), (LOW, "")])
def test_alone_and_low_it_is_asked(held, likely):
    found = made("cs", ("ul", held))
    assert found.either["ul"].likely == likely
    assert set(found.either["ul"].options) == {"dose_ul", "colony_id"}
    assert (fed(found)["dose_ul"] == ["ul"]) == bool(likely)


@pytest.mark.parametrize("said", ["dose_ul", "colony_id"])
def test_an_answer_holds(said):
    found = made("cs", ("ul", LOW), chosen=said)
    assert fed(found)[said] == ["ul"]
    assert "ul" in found.either
