"""Rows that are taken for the headings of a further table, and rows that are records."""

from queen_outcomes.records.map.seen import stacked
from sheets_by_hand import grid

LOOKS = "Nuc,Day,Who,Queen?,Eggs,Larvae\nN1,24 May 2024,Lene,Y,Y,N\nN2,24 May 2024,Lene,N,N,N\n"


def test_a_record_below_a_blank_row_is_no_heading_whatever_letters_stand_in_it():
    rows = "N36,20 Jun 2024,Lene,N,Y,N\nN37,20 Jun 2024,Osric,Y,Y,Y\nN38,21 Jun 2024,Tam,N,N,Y\n"
    made = grid(f"{LOOKS},,,,,\n{rows}", "looks.csv")
    assert [part.source for part in stacked.parted(made, None)] == ["looks.csv"]


def test_headings_of_their_own_below_a_blank_row_begin_a_table():
    rows = "Queen,Left,Reason,,,\nD1,2024-06-20,dead,,,\nD2,2024-06-21,sold,,,\n"
    made = grid(f"{LOOKS},,,,,\n{rows}", "looks.csv")
    found = [part.source for part in stacked.parted(made, None)]
    assert found == ["looks.csv", "looks.csv//Queen"]


def test_a_title_in_two_cells_is_no_table_of_its_own():
    titled = f"Queens inseminated 2024,,,,brought up to date in September,\n,,,,,\n{LOOKS}"
    assert [part.source for part in stacked.parted(grid(titled, "looks.csv"), None)] == ["looks.csv"]
    # and the headings below it are those that a further table is told by
    again = grid(f"{titled},,,,,\n{LOOKS.replace('N', 'M')}", "looks.csv")
    assert [part.source for part in stacked.parted(again, None)] == ["looks.csv"]
