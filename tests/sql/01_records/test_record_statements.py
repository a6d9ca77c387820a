"""What is found about records once they are read, from rows written by hand."""

import datetime as dt
from collections import Counter

import pytest
from by_hand import answers
from queen_outcomes.base.refs import IN_SOURCE_BITS, LINE_BITS
from staged_tables import day

FOLDER = "01_records"
READ = 'source_no INT, source TEXT, "table" TEXT'
STAYS = "ref BIGINT, colony_id TEXT, queen_id TEXT, placed_on DATE, last_on DATE"


def ref(source, line, slot=0):
    return (source << IN_SOURCE_BITS) + (slot << LINE_BITS) + line


def at(number, hour, minute=0):
    return dt.datetime.combine(day(number), dt.time(hour, minute))


def test_exposures_at_the_insemination_and_beside_it():
    done = [(n, queen, at(10, 10)) for n, queen in enumerate("ABDEFGHIJK")]
    done += [(90, "C", at(10, 0)), (91, "L", at(10, 10))]
    given = [
        (8, "A", at(10, 12)),  # two hours after: its own
        (9, "B", at(10, 12, 1)),  # a minute more
        (7, "C", at(10, 15)),  # days without a time need the same day
        (11, "D", at(15, 10)),  # five days off, still beside it
        (12, "E", at(16, 10)),  # six
        (13, "F", at(10, 0)),
        (14, "G", at(11, 0)),
        (15, "I", at(10, 8)),
        (16, "J", at(5, 10)),
        (17, "K", at(10, 10)),
        (18, "K", at(12, 10)),
        (19, "L", at(10, 13)),
    ]
    found = answers(
        FOLDER,
        "co2_beside",
        accepted_inseminations=(
            "ref BIGINT, queen_id TEXT, inseminated_at TIMESTAMP",
            done,
        ),
        accepted_co2=("ref BIGINT, queen_id TEXT, given_at TIMESTAMP", given),
    )
    # own: A, C, F, I, K; listed besides: B, D, G, J, L; not at all: E, H
    assert found == [(10, 5, 2, 12, 7)]


LOOKS = "ref BIGINT, own_id TEXT, colony_id TEXT, checked_on DATE, queens INT"


def test_the_queens_of_a_colony_that_has_two():
    looks = [
        (1, None, "C", day(10), 2),
        (2, "Q", "C", day(10), 2),
        (3, None, "C", day(10), 1),
        (4, None, "C", day(12), 2),
    ]
    stays = [
        (1, "C", "A", day(3), day(20)),
        (2, "C", "A", day(1), None),
        (3, "C", "B", day(5), day(10)),
        (4, "C", "E", day(11), None),
        (5, "C", "F", day(10), day(10)),
        (6, "C", "G", day(1), day(9)),
        (7, "D", "H", day(1), None),
    ]
    found = answers(
        FOLDER,
        "colonies_with_two_queens",
        colony_checks=(LOOKS, looks),
        stays=(STAYS, stays),
    )
    a, b, e, f = (
        f"{queen} (placed {day(n)})"
        for queen, n in (("A", 1), ("B", 5), ("E", 11), ("F", 10))
    )
    assert sorted(found) == [
        (1, "C", day(10), f"{a} and {b} and {f}"),
        (4, "C", day(12), f"{a} and {e}"),
    ]


@pytest.mark.parametrize(
    ("most_pairs", "alike"),
    [(3, {}), (4, {"HIVE 7": "Hive 7"}), (7, {"HIVE 7": "Hive 7"})],
)
def test_a_colony_without_queen_is_told_its_nearest_stay_and_label(most_pairs, alike):
    looks = [
        (1, None, "C", day(10), 0),
        (2, "Q", "C", day(10), 0),
        (3, None, "C", day(10), 1),
        (4, None, "HIVE 7", day(10), 0),
        (5, None, "hive_8", day(10), 0),
        (6, None, "D", day(10), 0),
    ]
    stays = [
        (1, "C", "A", day(12), None),
        (2, "C", "B", day(1), day(9)),
        (3, "Hive 7", "G", day(1), day(2)),
        (5, "D", "E", day(12), day(20)),
        (4, "D", "F", day(1), day(8)),  # as far off: the earlier row
        (6, "Hive 8", "H", day(1), day(2)),
    ]
    found = answers(
        FOLDER,
        "colonies_without_queen",
        {"most_pairs": most_pairs},
        colony_checks=(LOOKS, looks),
        stays=(STAYS, stays),
    )
    near = {row[0]: row[3:6] for row in found}
    none = (None, None, None)
    assert near == {
        1: ("B", day(1), day(9)),
        4: none,
        5: none,
        6: ("F", day(1), day(8)),
    }
    assert {row[1]: row[6] for row in found if row[6]} == alike


def test_a_label_that_is_like_none_is_told_none():
    found = answers(
        FOLDER,
        "colonies_without_queen",
        {"most_pairs": 100},
        colony_checks=(LOOKS, [(1, None, "zork", day(1), 0)]),
        stays=(STAYS, [(1, "Hive 7", "A", day(1), None)]),
    )
    assert found == [(1, "zork", day(1), None, None, None, None)]


def test_a_source_of_which_enough_rows_stand_elsewhere_is_a_copy():
    read = [
        (1, "a.csv", "checks"),
        (2, "b.csv", "checks"),
        (3, "c.csv", "checks"),
        (4, "d.csv", "checks"),
        (5, "b.csv", "exits"),
    ]
    repeats = [(ref(2, n), ref(1, n)) for n in (4, 3)]  # 2 of 5 less one passed over
    repeats += [(ref(2, n), ref(2, 2)) for n in (5, 6, 7)]  # of its own
    repeats += [(ref(3, n), ref(1, n)) for n in (2, 3, 4, 5)]  # 4 of 10
    repeats += [(ref(4, 2), ref(1, 2))]  # 1 of 2, but one row alone
    sources = [
        ("b.csv", "checks", 5, 1),
        ("b.csv", "exits", 2, 0),
        ("c.csv", "checks", 10, 0),
        ("d.csv", "checks", 2, 0),
    ]
    found = answers(
        FOLDER,
        "copied_sources",
        {"fewest": 2, "share": 0.5},
        repeats=('ref BIGINT, "first" BIGINT', repeats),
        sources_read=(READ, read),
        sources=('source TEXT, "table" TEXT, rows_read INT, passed_over INT', sources),
    )
    assert found == [("b.csv", "a.csv", "checks", 5, 2, ref(2, 3))]


def test_ages_at_insemination_that_fit_and_those_that_would_after_grafting():
    ages = {"A": 8, "B": 14, "C": 7, "D": 15, "E": 20, "F": 26, "G": 27}
    done = [(queen, at(30, 9), None, ref(2, n)) for n, queen in enumerate(ages, 2)]
    done += [("A", at(99, 9), None, ref(2, 10)), ("H", at(30, 9), day(20), ref(2, 11))]
    emerged = [
        (queen, day(30 - age), ref(1, n))
        for n, (queen, age) in enumerate(ages.items(), 2)
    ]
    emerged.append(("B", None, ref(1, 1)))
    found = answers(
        FOLDER,
        "emergence_ages",
        {"usual_low": 8, "usual_high": 14, "graft_days": 12},
        accepted_inseminations=(
            "queen_id TEXT, inseminated_at TIMESTAMP, emerged_on DATE, ref BIGINT",
            done,
        ),
        accepted_queens=("queen_id TEXT, emerged_on DATE, ref BIGINT", emerged),
        sources_read=(READ, [(1, "q.csv", "queens"), (2, "b.csv", "inseminations")]),
    )
    assert found == [
        ("b.csv", "inseminations", ref(2, 11), 1, 1, 0, 10),
        ("q.csv", "queens", ref(1, 2), 7, 2, 2, 15),
    ]


def test_an_id_whose_days_lie_years_apart():
    emerged = [("T", day(0), 1), ("U", None, 2), (None, day(0), 3), (None, day(900), 4)]
    done = [
        ("Q", None, at(0, 9), 11),
        ("Q", None, at(200, 9), 12),
        ("R", None, at(0, 9), 13),
        ("R", None, at(199, 9), 14),
        ("S", None, at(400, 9), 15),
        ("S", None, at(200, 9), 16),
        ("S", None, at(0, 9), 17),
        ("T", day(300), None, 18),
        ("U", day(900), at(0, 9), 19),
    ]
    found = answers(
        FOLDER,
        "id_years",
        {"apart_days": 200},
        staged_queens=("queen_id TEXT, emerged_on DATE, ref BIGINT", emerged),
        staged_inseminations=(
            "queen_id TEXT, emerged_on DATE, inseminated_at TIMESTAMP, ref BIGINT",
            done,
        ),
    )
    assert found == [
        ("T", "emerged", day(0), day(300), 1, 18),
        ("Q", "inseminated", day(0), day(200), 11, 12),
        ("S", "inseminated", day(0), day(200), 17, 16),
    ]


USES = 'id TEXT, "table" TEXT, ref BIGINT, uses BIGINT'


def test_spellings_that_are_alike_are_told_beside_the_commonest():
    uses = [
        ("n1", "checks", 5, 1),
        ("N 1", "exits", 7, 1),
        ("N 1", "checks", 9, 2),
        ("N-1", "checks", 6, 3),
        ("x", "checks", 1, 9),
        *(
            (spelt, "lab", 20 + n, 1)
            for n, spelt in enumerate(["Z1", "z1", "Z-1", "z-1", "Z 1", "z 1", "Z01"])
        ),
    ]
    found = {
        row[2]: (row[0], row[1], row[3])
        for row in answers(FOLDER, "look_alike_ids", id_uses=(USES, uses))
    }
    assert found["n1"] == (5, "checks", "N-1, N 1")
    assert found["N 1"] == (7, "exits", "N-1, n1")
    assert found["Z01"] == (26, "lab", "Z1, z1, Z-1, z-1, Z 1")
    assert len(found) == 2 + 6


def test_an_id_that_has_no_home_is_told_the_one_it_is_spelt_like():
    uses = [
        ("a 1", "checks", 3, 2),
        ("b1", "checks", 2, 1),
        ("A1", "checks", 1, 1),
        ("zz", "exits", 4, 5),
    ]
    found = answers(
        FOLDER,
        "unlinked_ids",
        home_ids=("id TEXT, ref BIGINT", [("A1", 1), ("B1", 2), ("B-1", 3)]),
        id_uses=(USES, uses),
    )
    assert found == [
        ("checks", "b1", 2, 1, None),
        ("checks", "a 1", 3, 2, "A1"),
        ("exits", "zz", 4, 5, None),
    ]


LISTED = 'source TEXT, "table" TEXT, slot INT, line INT'
REFS = 'ref BIGINT, "table" TEXT'


def test_rows_that_are_lost_or_stand_in_two_places():
    here = ("c.csv", "checks")
    exits = [(ref(2, 4), "exits"), (ref(2, 5), "exits")]
    found = answers(
        FOLDER,
        "misplaced_rows",
        sources_read=(READ, [(1, *here), (2, "c.csv", "exits")]),
        quarantine=(
            LISTED,
            [
                (*here, None, 3),
                (*here, None, 4),
                (*here, None, 4),
                (*here, None, 7),
                (*here, 2, 8),
            ],
        ),
        listed_records=(
            LISTED + ", reason TEXT",
            [
                (*here, None, 5, "repeated_row"),
                (*here, None, 6, "other"),
                (*here, None, 7, "repeated_row"),
                (*here, 2, 9, "repeated_row"),
            ],
        ),
        staged_refs=(
            REFS,
            [(ref(1, n), "checks") for n in range(2, 8)]
            + [(ref(1, n, 2), "checks") for n in (8, 9)]
            + exits,
        ),
        accepted_refs=(REFS, [(ref(1, 2), "checks"), (ref(1, 3), "checks"), *exits]),
    )
    # 6 is nowhere; 3 is accepted and quarantined, 7 quarantined and repeated
    assert found == [("checks", 1, 2)]


def test_stays_of_two_queens_that_overlap():
    stays = [
        (1, "C", "A", day(1), day(5)),
        (2, "C", "B", day(5), day(9)),  # on the day of the change there is no overlap
        (3, "D", "E", day(1), None),
        (4, "D", "F", day(5), day(6)),
        (11, "D", "O", day(20), day(21)),
        (5, "H", "G", day(1), day(1)),
        (6, "H", "I", day(1), day(9)),
        (7, "K", "J", day(1), day(6)),
        (8, "K", "L", day(5), day(9)),
        (9, "N", "M", day(1), None),
        (10, "N", "M", day(3), None),  # one queen
    ]
    found = answers(FOLDER, "overlapping_placements", stays=(STAYS, stays))
    assert {(row[0], row[2], row[4], row[5]) for row in found} == {
        (3, "E", "F", 4),
        (4, "F", "E", 3),
        (11, "O", "E", 3),
        (5, "G", "I", 6),
        (6, "I", "G", 5),
        (7, "J", "L", 8),
        (8, "L", "J", 7),
    }


def test_a_stay_ends_with_removal_or_exit_and_is_alone_or_not():
    placed = [
        (1, "C", "A", day(1), day(5)),
        (2, "C", "B", day(6), None),
        (3, "D", "E", day(1), day(5)),
        (4, "D", "F", day(5), None),
        (5, "H", "G", day(1), None),
        (6, "H", "I", day(5), None),
        (7, "K", "J", day(3), day(9)),
        (8, "M", "L", day(1), None),
        (9, "M", "N", day(9), day(10)),
        (10, "Q", "P", day(1), day(20)),
        (11, "Q", "R", day(5), day(6)),
        (12, "Q", "S", day(8), day(9)),
        (13, "T", "U", day(1), day(2)),
    ]
    exits = [("G", day(0)), ("G", day(9)), ("G", day(4)), ("J", day(3)), ("U", day(4))]
    found = answers(
        FOLDER,
        "stays",
        {"next_ends": False},
        accepted_placements=(STAYS.replace("last_on", "removed_on"), placed),
        accepted_exits=("queen_id TEXT, left_on DATE", exits),
    )
    ends = {row[0]: row[4] for row in found}
    assert [n for n in ends if ends[n] is None] == [2, 4, 6, 8]
    assert [ends[n] for n in (1, 5, 7, 13)] == [day(5), day(4), day(3), day(2)]
    assert [row[0] for row in found if row[5]] == [1, 2, 5, 6, 7, 13]


COUNTED = 'source TEXT, "table" TEXT, rows_read INT, accepted INT, quarantined INT, passed_over INT'


def test_a_source_whose_rows_do_not_add_up_is_told():
    sources = [
        ("1", "t", 5, 3, 1, 1),
        ("2", "t", 5, 2, 1, 1),  # one is accounted for nowhere
        ("3", "t", 5, 3, 1, 1),  # one was never staged
        ("4", "t", 4, 3, 1, 0),  # one staged twice
        ("5", "t", 3, 2, 0, 1),  # one passed over and staged
        ("6", "t", 0, 0, 0, 0),
        ("7", "t", 1, 1, 0, 0),  # none was staged
    ]
    staged = [
        ref(n, line)
        for n, lines in ((1, 4), (2, 4), (3, 3), (4, 3), (5, 2))
        for line in range(2, 2 + lines)
    ]
    passed = [ref(1, 90), ref(2, 90), ref(3, 90), ref(5, 2)]
    found = answers(
        FOLDER,
        "unbalanced_sources",
        sources=(COUNTED, sources),
        sources_read=(READ, [(n, str(n), "t") for n in range(1, 8)]),
        staged_refs=("ref BIGINT", [(one,) for one in [*staged, ref(4, 2)]]),
        passed_over=("ref BIGINT", [(one,) for one in passed]),
    )
    assert [row[0] for row in found] == ["2", "3", "4", "5", "7"]
    assert found[2] == ("4", "t", 4, 3, 1, 0, 4, 3)


def test_what_became_of_a_sources_rows():
    here = ("a.csv", "checks")
    found = answers(
        FOLDER,
        "sources",
        sources_read=(
            READ + ", sha256 TEXT, rows_read INT",
            [(1, *here, "abc", 9), (2, "a.csv", "exits", "abc", 0)],
        ),
        accepted_refs=("ref BIGINT", [(ref(1, n),) for n in (2, 3, 4)]),
        quarantine=(LISTED, [(*here, None, 7), (*here, None, 7), (*here, 1, 7)]),
        listed_records=(
            LISTED + ", reason TEXT",
            [(*here, None, 5, "repeated_row")] * 2 + [(*here, None, 6, "other")],
        ),
        passed_over=("ref BIGINT", [(ref(1, 8),)]),
    )
    assert found == [
        ("a.csv", "checks", "abc", 9, 4, 2, 1, 1),
        ("a.csv", "exits", "abc", 0, 0, 0, 0, 0),
    ]


def test_what_became_of_queens_checks_and_exits():
    bench = [
        ("A", 0),
        ("A", 20),
        ("B", 5),
        ("C", 5),
        ("D", 0),
        ("D", 10),
        ("E", 60),
        ("G", 60),
        ("H", 50),
    ]
    staged = [*(queen for queen, _ in bench), "F", None, "G"]
    exits = [
        ("A", 10, "counts"),
        ("A", 12, "second"),
        ("A", 30, "counts"),  # after her second insemination
        ("A", 30, "second"),
        ("B", 50, "counts"),
        ("B", 4, "before"),
        ("C", 5, "counts"),
        ("D", 10, "counts"),
        ("A", 51, "later"),
        ("Z", 30, "not_inseminated"),
        ("z9", 30, "spelled"),
        ("B", 9, "quarantined"),
        ("B", 9, "repeated"),
    ]
    checks = [
        ("A", 0, "counts"),
        ("B", 4, "before"),
        ("A", 10, "counts"),  # the day she went
        ("A", 11, "after"),
        ("A", 20, "counts"),  # inseminated again
        ("A", 31, "after"),
        ("C", 6, "after"),
        ("D", 12, "after"),
        ("B", 50, "counts"),
        ("A", 51, "later"),
        (None, 9, "not_inseminated"),
        ("Z", 9, "not_inseminated"),
        ("z9", 9, "spelled"),
        ("B", 9, "quarantined"),
        ("B", 9, "repeated"),
    ]

    def lines(source, rows, *fates):
        return [ref(source, n) for n, row in enumerate(rows, 2) if row[2] in fates]

    def kept(source, rows):
        return [
            (ref(source, n), queen, day(on))
            for n, (queen, on, fate) in enumerate(rows, 2)
            if fate not in ("quarantined", "repeated")
        ]

    # of the bench F, the row without a queen, and G's second are in quarantine
    lost = [("i", "inseminations", None, n) for n in (11, 12, 13)]
    lost += [
        ("e", "exits", None, exits.index(row) + 2)
        for row in exits
        if row[2] == "quarantined"
    ]
    lost += [
        ("c", "checks", None, checks.index(row) + 2)
        for row in checks
        if row[2] == "quarantined"
    ]
    found = answers(
        FOLDER,
        "counted_records",
        {"as_of": day(50), "spelled": ["z9"]},
        quarantine=(LISTED, lost),
        sources_read=(
            READ,
            [(1, "i", "inseminations"), (2, "e", "exits"), (3, "c", "checks")],
        ),
        accepted_inseminations=(
            "queen_id TEXT, inseminated_at TIMESTAMP",
            [(q, at(n, 9)) for q, n in bench],
        ),
        staged_inseminations=(
            "ref BIGINT, queen_id TEXT",
            [(ref(1, n), q) for n, q in enumerate(staged, 2)],
        ),
        accepted_exits=("ref BIGINT, queen_id TEXT, left_on DATE", kept(2, exits)),
        staged_exits=(
            "ref BIGINT, queen_id TEXT, left_on DATE",
            [(ref(2, n), q, day(on)) for n, (q, on, _) in enumerate(exits, 2)],
        ),
        accepted_checks=(
            "ref BIGINT, checked_on DATE",
            [(r, on) for r, _, on in kept(3, checks)],
        ),
        linked_checks=(
            "ref BIGINT, queen_id TEXT",
            [(r, q) for r, q, _ in kept(3, checks) if q],
        ),
        staged_checks=(
            "ref BIGINT, checked_on DATE",
            [(ref(3, n), day(on)) for n, (_, on, _) in enumerate(checks, 2)],
        ),
        repeats=(
            "ref BIGINT",
            [(r,) for r in lines(2, exits, "repeated") + lines(3, checks, "repeated")],
        ),
    )
    counted = {
        kind: {fate: n for one, fate, n in found if one == kind} for kind, *_ in found
    }
    assert counted == {
        "queens": {"counts": 5, "later": 2, "quarantined": 2},
        "exits": dict(Counter(fate for *_, fate in exits)),
        "checks": dict(Counter(fate for *_, fate in checks)),
    }


def test_a_source_s_rows_are_summed_up_by_how_bad_they_are():
    counts = "rows_read INT, accepted INT, quarantined INT, passed_over INT"
    found = answers(
        FOLDER,
        "check_summary",
        sources=(
            f'source TEXT, "table" TEXT, {counts}',
            [
                ("b", "checks", 9, 8, 1, 0),
                ("a", "exits", 3, 2, 0, 1),
                ("a", "checks", 5, 5, 0, 0),
            ],
        ),
        listed=(
            'source TEXT, "table" TEXT, severity TEXT',
            [("a", "checks", "set_aside")] * 3
            + [("a", "exits", "look")] * 2
            + [("b", "checks", "look")],
        ),
    )
    assert found == [
        ("a", "checks", 5, 5, 0, 0, 3, 0),
        ("a", "exits", 3, 2, 0, 1, 0, 2),
        ("b", "checks", 9, 8, 1, 0, 0, 1),
    ]


def test_the_worst_problems_are_told_first():
    told = 'reason TEXT, "table" TEXT, "column" TEXT, source TEXT, line INT, slot INT, message TEXT'
    found = answers(
        FOLDER,
        "check_problems",
        quarantine=(told, [("id_missing", "checks", "queen_id", "a", 3, 2, "m")]),
        listed=(
            f"severity TEXT, {told}",
            [
                ("look", "after", "checks", None, "a", 4, None, "m"),
                ("set_aside", "odd", "checks", "eggs", "a", 5, None, "m"),
            ],
        ),
    )
    assert [(row[0], row[5]) for row in found] == [
        ("quarantined", "3/2"),
        ("set_aside", "5"),
        ("look", "4"),
    ]


def test_the_years_of_a_source():
    found = answers(
        FOLDER,
        "queen_sources",
        dated_queens=(
            'ref BIGINT, "table" TEXT, day DATE',
            [(ref(1, 2), "queens", day(0)), (ref(1, 3), "queens", day(1))],
        ),
        sources_read=(READ, [(1, "q.csv", "queens"), (2, "r.csv", "queens")]),
    )
    assert found == [("q.csv", "queens", 2025, 2)]
