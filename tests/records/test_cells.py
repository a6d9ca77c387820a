"""What a cell's text is read as, and what is left unread."""

import datetime as dt

import pytest
from queen_outcomes.base.errors import UsageError
from reading import stage

DAY = dt.datetime.fromisoformat("2025-06-20")


def cast(path, column, texts, settings=None, table="inseminations"):
    """Stage texts as one column; give value and unread text of each."""
    lines = [f"Q1\t2025-06-01\t{text}" for text in texts]
    head = f"queen_id\tinseminated_at\t{column}"
    content = "\n".join([head, *lines]) + "\n"
    store, _ = stage(path, settings, inseminations__csv=content)
    unread = f"{column}__unread"
    known = unread in store.columns("staged_inseminations")
    found = store.rows(
        f"SELECT {column}, {unread if known else 'NULL'} "
        "FROM staged_inseminations ORDER BY ref"
    )
    store.close()
    return found


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2025-06-20", DAY),
        ("2025-06-20T10:30", DAY.replace(hour=10, minute=30)),
        (
            "2025-06-20 10:30:15.5",
            dt.datetime.fromisoformat("2025-06-20T10:30:15.500000"),
        ),
        ("2025-02-31", None),
        ("2025-6-20", DAY),
        ("20250620", DAY),
        ("1825-06-20", None),
        ("2025-06-20T10:30Z", None),
        ("2025-06-20T10:30+02:00", None),
        ("2025-06-20 24:00", None),
        ("20.06.2025", None),
        ("45413", None),
        ("infinity", None),
    ],
)
def test_iso_times(tmp_path, text, value):
    expected = (value, None if value else text)
    assert cast(tmp_path, "co2_other_at", [text]) == [expected]


@pytest.mark.parametrize("order", ["dmy", "mdy"])
def test_days_in_the_stations_order_and_never_the_other(tmp_path, order):
    texts = [
        "5.4.2025",
        "05/04/25",
        "5-4-2025 9:05",
        "13.4.2025",
        "4.13.2025",
        "5.4/2025",
    ]
    found = cast(tmp_path, "co2_other_at", texts, {"dates": {"order": order}})
    day = (
        dt.datetime.fromisoformat("2025-04-05")
        if order == "dmy"
        else dt.datetime.fromisoformat("2025-05-04")
    )
    thirteenth = dt.datetime.fromisoformat("2025-04-13")
    assert [value for value, _ in found] == [
        day,
        day,
        day.replace(hour=9, minute=5),
        thirteenth if order == "dmy" else None,
        thirteenth if order == "mdy" else None,
        None,
    ]
    assert found[5][1] == "5.4/2025"


def test_a_day_drops_its_time_and_an_impossible_one_is_unread(tmp_path):
    found = cast(tmp_path, "emerged_on", ["2025-06-20 10:30", "2025-02-29"])
    assert found == [(dt.date(2025, 6, 20), None), (None, "2025-02-29")]


@pytest.mark.parametrize(
    ("decimal", "good", "bad"),
    [
        (
            ".",
            {"8": 8, "+8.25": 8.25, "-1": -1},
            ["8,5", "1e3", "nan", "inf", "0x1F", "1_000", "1,000", "9" * 400],
        ),
        (",", {"8": 8, "8,25": 8.25}, ["8.25", "1.000", "1.234"]),
    ],
)
def test_numbers(tmp_path, decimal, good, bad):
    settings = {"numbers": {"decimal": decimal}}
    found = cast(tmp_path, "dose_ul", [*good, *bad], settings)
    assert found == [
        *((value, None) for value in good.values()),
        *((None, text) for text in bad),
    ]


def test_whole_numbers_may_carry_a_programs_zero(tmp_path):
    found = cast(tmp_path, "attempts", ["3", "3.0", "3.5", "\u00a04 "])
    assert found == [(3, None), (3, None), (None, "3.5"), (4, None)]


def test_units_become_ours_without_dust(tmp_path):
    settings = {"units": {"inseminations": {"dose_ul": "mL"}}}
    assert cast(tmp_path, "dose_ul", ["0.008", "0.0123"], settings) == [
        (8.0, None),
        (12.3, None),
    ]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("Q 1", "Q 1"),
        (" Q  \u00a01 ", "Q 1"),
        ("12.0", "12"),
        ("012", "012"),
        ("12.50", "12.50"),
        ("ﬁ１", "fi1"),
        ("q1", "q1"),
        ("\u00a0", None),
    ],
)
def test_ids(tmp_path, text, value):
    assert cast(tmp_path, "graft_batch", [text]) == [(value, None)]


def test_labels_keep_a_point_and_texts_stay_as_they_stand(tmp_path):
    assert cast(tmp_path, "operator", ["12.0"]) == [("12.0", None)]
    assert cast(tmp_path, "note", ["a  b"]) == [("a  b", None)]


def test_yes_and_no_in_the_usual_and_the_stations_words(tmp_path):
    texts = ["YES", "y", "1", "true", "No", "0", "Ja", "nein", "maybe"]
    settings = {"words": {"yes": ["ja"], "no": ["NEIN"]}}
    found = cast(tmp_path, "marked", texts, settings)
    assert [value for value, _ in found] == [
        *[True] * 4,
        *[False] * 2,
        True,
        False,
        None,
    ]
    assert found[-1][1] == "maybe"


def test_the_stations_words_stand_beside_ours(tmp_path):
    settings = {"words": {"leak": {"most": ["viel"]}}}
    found = cast(tmp_path, "leak", ["some", "VIEL", "None", "lots"], settings)
    assert found == [("some", None), ("most", None), ("none", None), (None, "lots")]


def test_a_word_of_ours_cannot_mean_another(tmp_path):
    settings = {"words": {"leak": {"most": ["Some"]}}}
    with pytest.raises(UsageError, match="a word of ours"):
        cast(tmp_path, "leak", ["some"], settings)


@pytest.mark.parametrize("column", ["note", "operator", "dose_ul", "marked", "leak"])
def test_the_stations_words_for_empty_hold_for_every_column(tmp_path, column):
    settings = {"words": {"empty": ["-", "k.A."]}}
    assert cast(tmp_path, column, ["-", "K.a."], settings) == [(None, None)] * 2
