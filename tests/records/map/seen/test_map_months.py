"""Sheets of one month, whose cells hold the day of the month alone."""

import datetime as dt

import pytest
from mapped_stations import run
from queen_outcomes.base.errors import UsageError
from queen_outcomes.records.map.running import begin
from queen_outcomes.records.map.seen import months
from reading import accepted
from sheets_by_hand import grid

BENCH = """{title},,,
day,queen,dose (µl),operator
3,Q{n}1,8,Ada
,Q{n}2,7.5,Ada
11,Q{n}3,8,Bo
,Q{n}4,8,Bo
12,Q{n}5,8,Bo
,Q{n}6,8,Bo
"""
CHECKS = """{title},,
day,queen,findings
20,Q{n}1,eggs
,Q{n}2,eggs
21,Q{n}3,eggs
,Q{n}4,no brood
30,Q{n}5,eggs
,Q{n}6,eggs
"""


@pytest.fixture
def station(tmp_path):
    (tmp_path / "records").mkdir()
    return tmp_path


def put(station, files):
    for name, text in files.items():
        (station / "records" / name).write_text(text, "utf-8")


def asked(begun):
    return {q.id.split(":")[1]: q for q in begun.asked if q.kind == "month"}


@pytest.mark.parametrize(
    ("text", "found", "years"),
    [
        ("2026-05 mai", {5}, {2026}),
        ("MAI 2026 – visites", {5}, {2026}),
        ("bench 5.2026", {5}, {2026}),
        ("août", {8}, set()),
        ("Dezember 25", {12}, set()),
        ("bench 2026", set(), {2026}),
        # a whole day says nothing of the month that others are of
        ("printed 2026-05-12", set(), {2026}),
        ("printed 12.5.2026", set(), {2026}),
        ("Q2026 bench", set(), {2026}),
        ("May and June 2026", {5, 6}, {2026}),
    ],
)
def test_what_a_text_says_of_a_month(text, found, years):
    said = months.said_by(text)
    assert (set(said.months), set(said.years)) == (found, years)


@pytest.mark.parametrize(
    ("source", "title", "agreed", "possible"),
    [
        ("2026-05 mai.csv", "MAI 2026", (2026, 5), 1),
        ("bench 2026.xlsx#May", "bench", (2026, 5), 1),
        ("bench.csv", "May 2026", (2026, 5), 1),
        ("2026-05.csv", "June 2026", None, 2),
        ("2025-05.csv", "May 2026", None, 2),
        ("may.csv", "bench", None, 0),
        ("bench.csv", "bench", None, 0),
    ],
)
def test_file_sheet_and_title_have_to_agree(source, title, agreed, possible):
    found = months.evidence(grid(f"{title},\nday,queen\n3,Q1\n", source), [2])
    assert (found.agreed, len(found.possible)) == (agreed, possible)


def test_a_month_is_proposed_and_its_days_are_read(station):
    put(
        station,
        {
            "bench 2026-05.csv": BENCH.format(title="MAY 2026", n="a"),
            "checks 2026-05.csv": CHECKS.format(title="looks of May 2026", n="a"),
        },
    )
    begun, settings = run(station)
    assert not begun.open
    question = asked(begun)["bench 2026-05.csv"]
    assert question.evidence == [
        '"bench 2026-05"',
        '"MAY 2026"',
        "they are figures up to 12, without month and year",
    ]
    bench = settings["files"]["bench 2026-05.csv"]
    assert (bench["month"], bench["fill_down"]) == ("2026-05", ["day"])
    found = accepted(station, dt.date(2026, 12, 31))
    assert [row["inseminated_at"][:10] for row in found["inseminations"]] == [
        *["2026-05-03"] * 2,
        *["2026-05-11"] * 2,
        *["2026-05-12"] * 2,
    ]
    assert [row["checked_on"] for row in found["checks"]][::2] == [
        "2026-05-20",
        "2026-05-21",
        "2026-05-30",
    ]


def test_names_that_disagree_leave_the_month_open(station):
    put(
        station,
        {
            "bench 2026-05.csv": BENCH.format(title="JUNE 2026", n="a"),
            "checks 2026-06.csv": CHECKS.format(title="June 2026", n="a"),
        },
    )
    begun, settings = run(station)
    question = asked(begun)["bench 2026-05.csv"]
    assert question in begun.open
    assert (question.default, list(question.options)) == (None, ["2026-05", "2026-06"])
    assert "month" not in settings["files"]["bench 2026-05.csv"]
    begun, settings = run(station, {question.id: "2026-06"}, accept=False)
    assert not begun.open
    assert settings["files"]["bench 2026-05.csv"]["month"] == "2026-06"


@pytest.mark.parametrize("answer", ["June", "2026-13", "2026-6", 6, True])
def test_an_answer_that_is_no_month_is_refused(station, answer):
    put(station, {"bench 2026-05.csv": BENCH.format(title="MAY 2026", n="a")})
    with pytest.raises(UsageError) as refused:
        begin(station).answer({"month:bench 2026-05.csv:*:*": answer})
    assert "2026-05" in refused.value.expected


def test_figures_under_another_heading_are_no_days(station):
    text = BENCH.format(title="MAY 2026", n="a").replace("day,queen", "score,queen")
    put(station, {"bench 2026-05.csv": text})
    assert not asked(begin(station))


def test_beside_whole_days_a_day_is_how_many_days_it_took(station):
    lines = BENCH.format(title="MAY 2026", n="a").splitlines()
    lines[1] += ",date"
    lines[2:] = [f"{line},2026-05-{n + 12}" for n, line in enumerate(lines[2:])]
    put(station, {"bench 2026-05.csv": "\n".join(lines) + "\n"})
    begun = begin(station)
    assert not asked(begun)
    (bench,) = begun.proposal.station.of("inseminations")
    assert bench.feed.headings("inseminated_at") == ["date"]


def test_whole_days_need_no_month(station):
    text = BENCH.format(title="MAY 2026", n="a")
    for day in ("3", "11", "12"):
        text = text.replace(f"\n{day},Q", f"\n2026-05-{day.zfill(2)},Q")
    put(station, {"bench 2026-05.csv": text})
    assert not asked(begin(station))


def test_numbers_that_start_again_are_seen_though_only_the_month_has_a_year(station):
    put(
        station,
        {
            f"bench {year}-05.csv": BENCH.format(title=f"May {year}", n="a").replace("8,", f"{dose},")
            for year, dose in ((2025, 9), (2026, 8))
        },
    )
    (found,) = [q for q in begin(station).asked if q.kind == "prefix"]
    assert "bench 2025-05.csv: 25-" in found.evidence


def test_a_decimal_comma_is_seen_among_the_figures_of_an_ods_sheet():
    from queen_outcomes.records.map.written import habits
    from sheets_by_hand import part

    made = part("book.ods#May", "inseminations", dose_ul=["8.5", "7.5", "8.0", "7,5"])
    assert habits._decimal([made]) == ","
    made = part("book.csv", "inseminations", dose_ul=["8.5", "7.5", "8.0", "7,5"])
    assert habits._decimal([made]) == "."
    made = part("book.ods#May", "inseminations", dose_ul=["8.5", "7.5"])
    assert habits._decimal([made]) == "."
