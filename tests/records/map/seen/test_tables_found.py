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


TOLD = "Queen,Colour,Day,Who,Dose,Nuc,Seen,Then\nD1,red,2.6. + 4.6.,M,4+4,N1,15.6. open brood,\nD2,red,2.6. + 4.6.,J,4+4,N2,,\n"


def test_a_record_that_says_what_those_above_say_is_no_heading_whatever_words_stand_in_it():
    rows = "D3,red,9.6. + 11.6.,M,4+4,N3,22.6. eggs,9.7. brood\nD4,blue,9.6. + 11.6.,J,4+4,N4,22.6. eggs,\n"
    made = grid(f"{TOLD},,,,,,,\nSeries 2,,,,,,,\n{rows}{rows.replace('D', 'E')}", "looks.csv")
    assert [part.source for part in stacked.parted(made, None)] == ["looks.csv"]
    # but for one cell that says the same, which a heading may
    rows = "Hive,Colour,Left on,Reason,,N1,,\nE1,red,2025-06-20,dead,,,,\nE2,red,2025-06-21,sold,,,,\n"
    made = grid(f"{TOLD},,,,,,,\n{rows}", "looks.csv")
    assert [part.source for part in stacked.parted(made, None)] == ["looks.csv", "looks.csv//Hive"]


def test_a_mark_for_the_same_stands_in_no_heading():
    rows = 'Queen eggs,",Left,Reason,Brood,,\nE1,red,2025-06-20,dead,,,\nE2,red,2025-06-21,sold,,,\n'
    made = grid(f"{TOLD},,,,,,\n{rows}", "looks.csv")
    assert [part.source for part in stacked.parted(made, None)] == ["looks.csv"]
