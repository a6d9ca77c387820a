"""What the operators' page says first, what it draws, and what it keeps to itself."""

from __future__ import annotations

import random
import re

import pytest
from audited import audited, page_of, told
from modelled import queens

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def usual():
    made = queens(300)
    for queen in made:
        queen["operator"] = {"A": "<b>A</b>", "B": "B & C"}.get(
            queen["operator"], queen["operator"]
        )
    return page_of(audited(made))


@pytest.fixture(scope="module")
def two_seasons():
    """Two years of courses; in the second nobody else works on the grafts of one."""
    chance = random.Random(4)
    made = queens(480, share=0.15)
    for number, queen in enumerate(made):
        if number >= 240:
            queen["on"] = 365 + (number - 240) // 10 * 3
        if number >= 400 and number % 20 < 10:
            queen |= {"operator": "A", "graft_batch": "bad"}
            queen["lays"] = chance.random() > 0.6
    store = audited(made)
    return store, page_of(store)


def text_of(html: str) -> str:
    """Give what can be read, without scripts and marks."""
    bare = re.sub(r"<script.*?</script>", "", html, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", bare).split())


def test_every_chart_has_its_place_a_title_and_words(usual):
    page, text = usual
    places = re.findall(
        r'<div class="chart[^"]*" id="chart-([^"]+)" role="img" aria-label="([^"]+)"',
        text,
    )
    assert {name for name, _ in places} == set(page["charts"])
    assert all(len(said) > 20 for _, said in places)
    needed = ("funnel-graft-batch", "days", "operators-adjusted", "operators-funnel")
    assert set(needed) <= set(page["charts"])


def test_every_chart_has_its_numbers_within_its_section(usual):
    _, text = usual
    for part in text.split("<section")[1:]:
        if 'class="chart ' in part:
            assert "<table" in part, part[:200]


def layers_of(chart):
    """Give the named points of a funnel, and its lines by size."""
    drawn = chart.to_dict()["datasets"].values()
    rows = [row for rows in drawn for row in rows]
    points = [row for row in rows if "degree" in row]
    return points, {row["size"]: row for row in rows if "size" in row}


@pytest.mark.parametrize("which", ["usual", "two_seasons"])
def test_what_is_flagged_is_drawn_outside_its_line_and_nothing_else(which, request):
    found = request.getfixturevalue(which)
    charts = (found if which == "usual" else found[1])[0]["charts"]
    outside = 0
    for name in (n for n in charts if "funnel" in n):
        points, lines = layers_of(charts[name])
        for point in points:
            line = lines[point["courses"]]
            within = line["low_998"] <= point["ratio"] <= line["high_998"]
            beyond = not line["low_998"] < point["ratio"] < line["high_998"]
            flagged = point["degree"] == "flagged"
            assert beyond if flagged else within, (name, point, line)
            outside += flagged
    assert outside or which == "usual"


def test_batches_come_before_any_operators_chart(usual, two_seasons):
    _, text = usual
    order = [text.index(f'id="{key}"') for key in ("glance", "fairly", "batches")]
    order += [text.index(f'id="{key}"') for key in ("series", "operators", "learning")]
    assert order == sorted(order)
    assert text.index("chart-funnel-graft-batch") < text.index(
        "chart-operators-expected"
    )
    page = two_seasons[1][0]
    assert page["overview"]["lead"][0].startswith("Batches first: graft batch bad")


def test_each_operator_has_one_row_and_one_story(usual, two_seasons):
    for page, text in (usual, two_seasons[1]):
        rows = page["overview"]["rows"]
        assert [row["operator"] for row in rows] == [
            story["operator"] for story in page["stories"]
        ]
        for row in rows:
            assert text.count(f'id="{row["key"]}"') == 1
            assert text.count(f'href="#{row["key"]}"') == 1


def test_a_small_line_ends_where_the_series_ends(two_seasons):
    store, (page, _) = two_seasons
    for row in page["overview"]["rows"]:
        cases = told(store, "operator_series", operator=row["operator"], series="level")
        last = max(cases, key=lambda one: one["case"])
        assert row["line"]["last"] == f"{last['sum_over_expected']:+.1f}"
        signals = {one["known_on"] for one in cases if one["signal"]}
        assert len(set(row["line"]["signals"])) == len(signals)


def test_who_signals_stands_out_once_and_nowhere_as_within_chance(two_seasons):
    store, (page, text) = two_seasons
    signalled = {
        row["operator"]
        for row in store.records(
            "SELECT DISTINCT operator FROM operator_signals WHERE operator IS NOT NULL"
        )
    }
    assert "A" in signalled
    for row in page["overview"]["rows"]:
        assert row["stands_out"] == (
            row["operator"] in signalled or "over all courses" in row["standing"]
        )
        assert (row["standing"] == "within chance") != row["stands_out"]
    lead = " ".join(page["overview"]["lead"])
    assert all(f"{name}: " in lead for name in signalled)
    said = text_of(text).lower()
    assert "is flagged over all" not in said
    assert "no running series" not in said


def test_her_failed_queens_stand_in_her_story(usual):
    page, text = usual
    for story in page["stories"]:
        (row,) = [
            r for r in page["figures"]["rows"] if r["operator"] == story["operator"]
        ]
        assert story["failed_count"] >= row["failures"]
        for failed in story["failed"]:
            assert f"queens.html#{failed['course_id'].replace('/', '%2F')}" in text


def test_names_from_the_records_are_escaped(usual):
    page, text = usual
    assert "<b>A</b>" not in text
    assert "&lt;b&gt;A&lt;/b&gt;" in text
    assert "B &amp; C" in text
    assert "<b>A</b>" in page["figures"]["title"]


def test_nobody_is_judged(usual, two_seasons):
    for html in (usual[1], two_seasons[1][1]):
        said = text_of(html).lower()
        for word in (
            " bad operator",
            " good operator",
            " worse",
            "causes",
            "blame",
            "nan ",
        ):
            assert word not in said, word
        assert "it names no cause" in said


def test_a_first_season_is_provisional(usual):
    page, text = usual
    assert page["series"]["provisional"]
    assert "Provisional: there is no earlier season" in text_of(text)
    assert all(len(part["panels"]) == 1 for part in page["series"]["own"].values())


def test_the_chance_of_false_signals_is_added_up_over_the_station(usual, two_seasons):
    page, _ = usual
    assert page["series"]["chance"] == pytest.approx(6 * 2 * 0.01)
    _, (second, text) = two_seasons
    assert second["series"]["chance"] == pytest.approx((6 * 2 + 1) * 2 * 0.01)
    assert "chance alone gives up to 0.26 signals a season" in text_of(text)


def test_both_series_are_drawn_once_there_is_an_earlier_season(two_seasons):
    _, (page, _) = two_seasons
    assert not page["series"]["provisional"]
    station, operators = page["series"]["station"], page["series"]["own"].values()
    assert station["name"] == "The whole station"
    assert [panel["title"] for panel in station["panels"]] == [
        "Against the station's earlier seasons"
    ]
    assert "at each of 2 limits, so up to 2 % together" in " ".join(station["facts"])
    for part in operators:
        assert [panel["title"] for panel in part["panels"]] == [
            "Against colleagues this season",
            "Against own earlier courses",
        ]
        facts = " ".join(part["facts"])
        assert "had the odds of failing doubled" in facts
        assert "at each of 4 limits, so up to 4 % together" in facts


def test_a_signal_carries_both_its_days_and_the_batch_behind_it(two_seasons):
    store, (page, _) = two_seasons
    signals = told(store, "operator_signals", operator="A", direction="worse")
    assert signals
    first = min(signals, key=lambda row: (row["series"] != "level", row["case"]))
    part = page["series"]["own"]["A"]
    said = " ".join(part["said"])
    assert first["inseminated_at"].date().isoformat() in said
    assert f"known on {first['known_on'].isoformat()}" in said
    assert "Graft batch bad holds" in said
    assert "nobody else worked on it" in said


def test_an_excess_in_a_batch_of_ones_own_is_said(two_seasons):
    _, (page, text) = two_seasons
    (said,) = [one for one in page["batches"]["apart"]["said"] if one.startswith("A: ")]
    assert "graft batch bad that nobody else worked on" in said
    assert "these records cannot tell" in text_of(text)


def test_few_courses_are_counted_and_not_compared():
    page, text = page_of(audited(queens(12)))
    assert page["cannot"].startswith("No operator has 10 closed, decided courses")
    assert page["figures"]["figures"] == []
    assert page["series"]["own"] == {}
    assert {row["standing"] for row in page["overview"]["rows"]} == {
        "too few courses to compare"
    }
    assert page["series"]["held_back"]
    assert {row["flag_said"] for row in page["figures"]["rows"]} == {
        "too few courses to compare"
    }
    assert all(row["expected_said"] == "" for row in page["figures"]["rows"])
    assert not any(
        name.startswith(("operators", "evidence")) for name in page["charts"]
    )
    assert "Counts only" in text


def test_some_shown_and_some_held_back():
    made = queens(120)
    for queen in made[:4]:
        queen["operator"] = "Z"
    page, _ = page_of(audited(made))
    assert page["cannot"] == ""
    assert page["series"]["held_back"] == ["Z"]
    (row,) = [one for one in page["figures"]["rows"] if one["operator"] == "Z"]
    assert (row["courses"], row["ratio_said"]) == (4, "")
    drawn = page["charts"]["operators-adjusted"]
    assert "'Z'" not in str(drawn)


def test_without_operators_the_page_says_what_to_record():
    made = [{k: v for k, v in q.items() if k != "operator"} for q in queens(60)]
    page, text = page_of(audited(made))
    assert page["cannot"].startswith(
        "No operator is recorded for the 60 closed courses"
    )
    assert page["cannot"] in text_of(text)
    assert set(page["charts"]) == {"funnel-graft-batch", "funnel-semen-batch", "days"}
    assert 'id="series"' not in text


def test_without_a_closed_course_there_are_words():
    page, text = page_of(audited([]))
    assert page["cannot"].startswith("No window has closed yet")
    assert page["charts"] == {}
    assert "No dose, attempt, backflow or time on the bench" in text


def test_one_operator_has_nobody_to_be_compared_with():
    page, text = page_of(audited(queens(80, operator="A")))
    assert any("A is the only operator on record" in said for said in page["cautions"])
    assert "There is nobody to rank against." in text
    assert page["batches"]["apart"]["title"].startswith("A: operator and batch cannot")


@pytest.mark.parametrize(
    ("lays", "said"),
    [
        (True, "None of the 80 decided courses failed"),
        (False, "All 80 decided courses"),
    ],
)
def test_a_station_where_all_end_alike_says_so(lays, said):
    page, _ = page_of(audited(queens(80, lays=lays)))
    assert page["cautions"][0].startswith(said)
    assert "the station's rate" in page["expected"]["message"]
    assert "No ranks are given" in page["figures"]["ranks"]


def test_without_batches_operator_and_batch_cannot_be_told_apart():
    left_out = ("graft_batch", "semen_batch")
    made = [{k: v for k, v in q.items() if k not in left_out} for q in queens(120)]
    page, text = page_of(audited(made))
    assert page["batches"]["apart"]["title"].startswith("No batch is recorded")
    assert "No graft or semen batch is recorded" in text
