"""Which groupings' curves of laying are tested, between which levels, and what is said."""

import pytest
from filled_in import draw_curves
from queen_outcomes.dashboard import onset
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import count_rates
from station_tables import check, day, derived, insemination

QUEENS = 96
LOOKS = (7, 14, 21, 28)


@pytest.fixture(scope="module")
def store():
    """Give queens in 12 batches: one protocol begins a fortnight later, the lines alike."""
    names = [f"Q{n:02d}" for n in range(QUEENS)]
    late = {q: n % 2 == 1 for n, q in enumerate(names)}
    protocol = {q: None if n < 12 else f"p{n % 2}" for n, q in enumerate(names)}
    made = derived(
        day(120),
        queens=[
            {"queen_id": q, "graft_batch": f"G{n // 8}", "line": f"L{n * 7 % 13 % 2}"}
            for n, q in enumerate(names)
        ],
        inseminations=[insemination(0, q, protocol=protocol[q]) for q in names],
        checks=[
            check(d, q, eggs=d > (20 if late[q] else 6), queen_seen=True)
            for q in names
            for d in LOOKS
        ],
    )
    count_rates(made, Settings())
    draw_curves(made, Settings())
    return made


def test_a_late_protocol_is_told_apart_and_like_lines_are_not(store):
    found = {row["grouping"]: row for row in store.records("SELECT * FROM onset_tests")}
    protocol, line = found["protocol"], found["line"]
    assert protocol["p"] < 1e-4
    assert protocol["p"] < protocol["p_holm"] < 0.001
    assert line["p"] > 0.1
    # who has no protocol on record is in no level
    assert (protocol["levels"], protocol["courses"]) == (2, QUEENS - 12)
    assert (line["levels"], line["courses"], line["batches"]) == (2, QUEENS, 12)
    assert not {"season", "operator", "all"} & set(found)


def test_the_page_says_the_p_that_stands_in_the_table(store):
    ((p,),) = store.rows("SELECT p FROM onset_tests WHERE \"grouping\" = 'protocol'")
    assert onset._tested(store, "protocol").startswith(f"P = {p:.2g} if the groups")
    assert onset._tested(store, "season") == ""
