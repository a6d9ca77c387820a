"""What a bare "batch" or "lot" beside queens counts: loads of semen, or queens grafted together."""

import pytest
from queen_outcomes.records.map.seen import batches
from queen_outcomes.records.map.seen.headings import heading
from queen_outcomes.records.map.seen.sheet import choose
from sheets_by_hand import sheet

GRAFTED = ["1,2025-05-01,2025-05-10", '",",2025-05-11', "2,2025-05-20,2025-05-29", '",",2025-05-30']
LOADED = ["a,2025-05-01,2025-05-10", "a,2025-05-02,2025-05-10", "b,2025-05-20,2025-05-29", "b,2025-05-19,2025-05-29"]
BOTH = ["a,2025-05-01,2025-05-10", "a,2025-05-01,2025-05-10", "b,2025-05-20,2025-05-29", "b,2025-05-20,2025-05-29"]


def settled(name, rows, more="", others=()):
    head, values = (f",{more.split('=')[0]}", f",{more.split('=')[1]}") if more else ("", "")
    head, values = head.replace(";", ","), values.replace(";", ",")
    lines = [f"D{n},{row}{values}" for n, row in enumerate(rows)]
    made = sheet("\n".join([f"Queen,{name},Emerged,Inseminated{head}", *lines]))
    batches.settle([made, *others])
    (column,) = [c for c in made.columns if c.name == name]
    return column.heading.of("column"), made.either.get(name)


@pytest.mark.parametrize(
    ("text", "bare"),
    [
        *[(text, True) for text in ("Lot", "Lote", "N° lot", "Lote n.º", "Parti", "Batch", "Charge")],
        *[(text, False) for text in ("Semen", "Lot de greffage", "Semen batch", "Graft", "Serie", "Series")],
        *[(text, False) for text in ("Zorb lot", "Capillary", "Queen", "Eggs", "Batch day", "2")],
    ],
)
def test_words_that_say_batch_and_not_of_what(text, bare):
    assert batches.is_bare(heading(text)) == bare


@pytest.mark.parametrize(
    ("rows", "likely"), [(GRAFTED, "graft_batch"), (LOADED, "semen_batch"), (BOTH, "")]
)
@pytest.mark.parametrize("name", ["Lot", "Batch", "Partia"])
def test_the_days_of_each_batch_speak_for_what_it_is_and_it_is_asked(name, rows, likely):
    named, either = settled(name, rows)
    assert either.likely == likely
    assert either.options == ("semen_batch", "graft_batch")
    assert len(either.why) == 2
    assert named == ({likely} if likely else heading(name).of("column"))


@pytest.mark.parametrize(
    "more",
    [
        ["1,,2025-05-12", "2,,2025-05-28"],
        [",2025-05-03,2025-05-12", ",2025-05-04,2025-05-28", ",2025-05-05,2025-05-29"],
    ],
)
def test_rows_without_a_batch_or_a_day_do_not_weigh(more):
    written = [row.replace('",",', "1,2025-05-01,", 1) for row in GRAFTED[:2]]
    written += [row.replace('",",', "2,2025-05-20,", 1) for row in GRAFTED[2:]]
    assert settled("Lot", [*written, *more])[1].likely == "graft_batch"


def test_days_that_show_nothing_speak_for_nothing():
    assert settled("Lot", GRAFTED[:2])[1].why == ()
    assert settled("Lot", [f"{n},2025-05-01,2025-05-10" for n in range(4)])[1].why == ()


@pytest.mark.parametrize(
    ("more", "kind"),
    [
        ("Semen=S1", "graft_batch"),
        ("Graft no=G1", "semen_batch"),
        ("Collected;Drones used=2025-05-09;70", "semen_batch"),
    ],
)
def test_what_else_the_sheet_names_decides(more, kind):
    for rows in (GRAFTED, LOADED):
        assert settled("Lot", rows, more) == ({kind}, None)


@pytest.mark.parametrize("more", ["Collected=2025-05-09", "Drone age=18"])
def test_one_fact_of_drones_or_semen_does_not_decide(more):
    assert settled("Lot", GRAFTED, more)[1].likely == "graft_batch"


def test_both_kinds_under_clear_headings_leave_the_bare_one_asked():
    made = sheet("Queen,Lot,Semen,Graft no,Inseminated\nD1,x,S1,G1,2025-06-01\nD2,x,S1,G1,2025-06-01")
    batches.settle([made])
    assert list(made.either) == ["Lot"]


def test_labels_of_other_sheets_decide():
    loads = sheet("Lot,Collected,Volume\na,2025-05-09,80\nb,2025-05-28,90", "semen.csv")
    assert settled("Lot", LOADED, others=[loads]) == ({"semen_batch"}, None)
    # a number alone is anything's
    loads = sheet("Lot,Collected,Volume\n1,2025-05-09,80\n2,2025-05-28,90", "semen.csv")
    assert settled("Lot", GRAFTED, others=[loads])[1].likely == "graft_batch"
    grafts = sheet("Queen,Graft,Emerged\nE1,a,2025-05-01\nE2,b,2025-05-02", "q.csv")
    assert settled("Lot", LOADED, others=[grafts]) == ({"graft_batch"}, None)


def test_no_sheet_without_queens_and_no_two_bare_headings_are_asked():
    for text in ("Lot,Collected,Volume\na,2025-05-09,80", "Queen,Lot,Lote,Inseminated\nD1,a,b,2025-06-01"):
        made = sheet(text)
        batches.settle([made])
        assert made.either == {}


def test_an_answer_stands_above_what_the_days_speak_for():
    lines = [f"D{n},{row}" for n, row in enumerate(GRAFTED)]
    made = sheet("\n".join(["Queen,Lot,Emerged,Inseminated", *lines]))
    choose(made, {"Lot": "semen_batch"})
    batches.settle([made])
    assert made.columns[1].heading.of("column") == {"semen_batch"}
    assert "Lot" in made.either
