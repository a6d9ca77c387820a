"""Which groupings' curves are tested, between which levels, and what is said."""

import pytest
from filled_in import draw_curves
from queen_outcomes.dashboard import endings, onset
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


def brood(day_seen: int, queen: str, lives: bool) -> dict:
    seen = {"eggs": True, "queen_seen": True} if lives else {"queen_seen": False}
    return check(day_seen, queen, **{"eggs": False, **seen})


@pytest.fixture(scope="module")
def short_lived():
    """Give queens in 12 batches that lay alike; of line L1 every second is soon lost."""
    names = [f"Q{n:02d}" for n in range(QUEENS)]
    is_lost = {q: n % 4 == 1 or n == 40 for n, q in enumerate(names)}
    made = derived(
        day(120),
        queens=[
            {"queen_id": q, "graft_batch": f"G{n // 8}", "line": f"L{n % 2}"}
            for n, q in enumerate(names)
        ],
        inseminations=[
            insemination(
                0,
                q,
                protocol="small" if n < 12 else "p0" if n % 3 else "p1",
                semen_batch=f"s{n // 16 * 2 + n % 16 // 8}",
            )
            for n, q in enumerate(names)
        ],
        checks=[
            brood(d, q, lives=not (is_lost[q] and d > 20))
            for q in names
            for d in (*LOOKS, 35)
        ],
    )
    count_rates(made, Settings())
    draw_curves(made, Settings())
    return made


def test_the_line_that_is_lost_more_often_is_told_apart_over_all_days(short_lived):
    rows = short_lived.records("SELECT * FROM incidence_tests")
    found = {(row["event"], row["grouping"]): row for row in rows}
    line, protocol = found["lost", "line"], found["lost", "protocol"]
    assert (line["levels"], line["courses"], line["batches"]) == (2, QUEENS, 12)
    assert line["p"] < 0.001
    assert line["p"] < line["p_holm"] < 0.01
    assert protocol["p"] > 0.1
    # nobody was culled, so there is nothing to test by
    assert not {event for event, _ in found} & {"culled_fault", "drone_layer"}


def test_a_level_with_hardly_an_event_to_expect_is_not_tested(short_lived):
    told = short_lived.rows(
        "SELECT levels, courses FROM incidence_tests "
        "WHERE event = 'lost' AND \"grouping\" = 'protocol'"
    )
    # 25 of 96 are lost, so three to expect of the small protocol's 12
    assert told == [(2, QUEENS - 12)]
    # but all of them lay
    began = short_lived.rows(
        "SELECT levels, courses FROM onset_tests WHERE \"grouping\" = 'protocol'"
    )
    assert began == [(3, QUEENS)]


def test_how_many_are_watched_stands_beside_the_curve(short_lived):
    rows = short_lived.rows(
        "SELECT day, at_risk FROM incidence WHERE event = 'lost' "
        "AND \"grouping\" = 'all' AND day IN (0, 35, 36) ORDER BY day"
    )
    assert rows[0] == (0, QUEENS)
    assert dict(rows)[35] == QUEENS - 25
    assert 36 not in dict(rows)


def test_the_page_draws_what_is_watched_and_tells_each_test(short_lived):
    charts = {}
    shown = endings.show(short_lived, 80, charts)
    assert shown["there"]
    ((last,),) = short_lived.rows(
        "SELECT max(day) FROM incidence WHERE \"grouping\" = 'all' AND at_risk >= 80"
    )
    drawn = charts["endings"].to_dict()["datasets"]
    assert {row["level"] for rows in drawn.values() for row in rows} <= {
        endings.name_of(event) for event in ("lost", "superseded", "drone_layer")
    } | {"culled for a fault"}
    assert max(row["day"] for rows in drawn.values() for row in rows) == last
    first = shown["tests"][0]
    assert (first["event"], first["grouping"]) == ("lost", "line")
    assert endings.show(short_lived, QUEENS + 1, {})["there"] is False


def test_headlines_are_said_once_an_outcome_at_the_first_window():
    rates = [
        {"outcome": "lost", "window_days": 21, "estimate": 0.07},
        {"outcome": "laying", "window_days": 21, "estimate": 0.8},
        {"outcome": "superseded", "window_days": 90, "estimate": 0.09},
        {"outcome": "superseded", "window_days": 365, "estimate": 0.2},
    ]
    assert endings.said(rates) == "7 % lost by day 21; 9 % superseded by day 90"
