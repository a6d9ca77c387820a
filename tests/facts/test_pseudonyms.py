"""Codes for people in everything that leaves the station."""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import stat

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.store import Store
from queen_outcomes.facts import exports as contract
from queen_outcomes.facts import pseudonyms
from queen_outcomes.facts.settings import Plan, Settings

FIRST = dt.datetime.combine(dt.date(2026, 5, 1), dt.time(10))
KEY = bytes(range(32))
NAMES = ("Zyxwal", "Quopbo", "Vrunna Tholk")


def code(name: str, size: int = 8) -> str:
    """Give a code by the definition: HMAC-SHA256 of the name (RFC 2104), vowels replaced."""
    digits = hmac.new(KEY, name.encode(), hashlib.sha256).hexdigest()[:size]
    return "P-" + "".join("23456789bcdfghkm"[int(digit, 16)] for digit in digits)


def rows_of(names=NAMES):
    courses = [
        {
            "course_id": f"Q{n}/1",
            "operator": name,
            "inseminated_at": FIRST + dt.timedelta(days=n),
            "d0": FIRST.date(),
            "instrument": f"{name}'s bench",
            "line": "Amber",
        }
        for n, name in enumerate(names)
    ]
    return {
        "courses": courses,
        "rates": [
            {"outcome": "laying", "grouping": "operator", "level": "Zyxwal"},
            {"outcome": "laying", "grouping": "line", "level": "zyxwal's amber"},
            {"outcome": "laying", "grouping": "all", "level": "all"},
        ],
        "batches": [
            {
                "kind": "graft_batch",
                "batch": "g-Quopbo2",
                "operators": ["Quopbo", "Zyxwal"],
            }
        ],
        "model_coefficients": [
            {"term": "line", "coefficient": "zyxwal's amber against Amber"}
        ],
        "outcomes": [
            {
                "course_id": "Q1/1",
                "outcome": "laying",
                "window_days": 21,
                "state": "yes",
                "settled_by": settled,
            }
            for settled in (["b_quopbo_2026.csv:3", "a.csv:2"], [], None)
        ],
        "quarantine": [
            {
                "source": "b_quopbo_2026.csv",
                "row": "by Quopbo",
                "message": "Quopbo",
                "value": "Quopbo",
            }
        ],
    }


@pytest.fixture
def store(full_store):
    made = full_store(**rows_of())
    # a number of operators, as one of the build's own tables has it
    made.execute("CREATE TABLE counted AS SELECT 3 AS operators")
    made.execute(
        "CREATE TABLE accepted_checks AS SELECT 'Sworl' AS checker, 'Quopbo told' AS note"
    )
    return made


@pytest.fixture
def mask(store):
    """The same store's codes, once its names are hidden."""
    made = pseudonyms.mask_of(store, KEY, Settings(prior_cases={"Plimsa": 4}))
    pseudonyms.hide_names(store, made)
    return made


def test_codes_are_keyed_by_the_secret_and_depend_on_the_name_alone(mask):
    everybody = (*NAMES, "Sworl", "Plimsa")
    assert mask.codes == {name: code(name) for name in everybody}
    assert mask.codes != pseudonyms.Mask(bytes(32), everybody).codes
    more = pseudonyms.Mask(KEY, ["Abba", *reversed(everybody), "Zz"]).codes
    assert {name: more[name] for name in everybody} == mask.codes


def test_nobody_shares_a_code(monkeypatch):
    monkeypatch.setattr(pseudonyms, "SIZES", (1, 3, 64))
    names = [f"Name{number}" for number in range(17)]  # one digit tells 16 apart
    codes = pseudonyms.Mask(KEY, names).codes
    assert len(set(codes.values())) == 17
    assert {len(one) for one in codes.values()} == {len("P-") + 3}


def test_no_name_is_left_in_any_table(mask, store):
    for name in [*contract.TABLES, "accepted_checks"]:
        words = str(store.rows(f'SELECT * FROM "{name}"')).casefold()
        for person in ("zyxwal", "quopbo", "vrunna", "tholk", "sworl"):
            assert person not in words, name
    assert store.rows("SELECT note FROM accepted_checks") == [(None,)]
    assert store.rows("SELECT row, message, value FROM quarantine") == [("{}", "", "")]


def test_only_names_are_replaced(mask, store):
    assert store.rows("SELECT level FROM rates WHERE grouping <> 'operator'") == [
        (f"{code('Zyxwal')}'s amber",),
        ("all",),
    ]
    assert store.rows("SELECT level FROM rates WHERE grouping = 'operator'") == [
        (code("Zyxwal"),)
    ]
    assert store.rows("SELECT operators FROM counted") == [(3,)]
    assert store.rows("SELECT coefficient FROM model_coefficients") == [
        (f"{code('Zyxwal')}'s amber against Amber",)
    ]
    assert store.rows("SELECT batch FROM batches") == [(f"g-{code('Quopbo')}2",)]
    settled = [f"b_{code('Quopbo')}_2026.csv:3", "a.csv:2"]
    found = store.rows("SELECT settled_by FROM outcomes ORDER BY len(settled_by)")
    assert sorted(found, key=repr) == sorted([(settled,), ([],), (None,)], key=repr)
    assert {line for (line,) in store.rows("SELECT line FROM courses")} == {"Amber"}


def test_no_order_tells_the_order_of_the_names(mask, store):
    both = sorted([code("Quopbo"), code("Zyxwal")])
    assert both == [code("Zyxwal"), code("Quopbo")]  # by name it is the other way
    assert store.rows("SELECT operators FROM batches") == [(both,)]


def test_a_pair_of_checkers_is_put_in_order_anew(store):
    first, second = sorted(["Quopbo", "Zyxwal"])
    store.execute(
        "CREATE TABLE checker_agreement AS SELECT measure, "
        f"'{first}' AS first_checker, '{second}' AS second_checker, mean, low, high "
        "FROM (VALUES ('pattern_pct', 4e0, -2e0, 10e0), ('eggs', NULL, 2e-1, 9e-1)) "
        "AS made(measure, mean, low, high)"
    )
    pseudonyms.hide_names(store, pseudonyms.mask_of(store, KEY, Settings()))
    assert store.rows("SELECT * FROM checker_agreement ORDER BY measure") == [
        ("eggs", code(second), code(first), None, 0.2, 0.9),
        ("pattern_pct", code(second), code(first), -4.0, -10.0, 2.0),
    ]


def test_a_name_that_is_a_common_word_costs_no_sentence_its_sense():
    mask = pseudonyms.Mask(KEY, ["Young", "AB", "12", "Q", "All Hands"])
    assert mask.said("All in all, All Hands") == f"All in all, {code('All Hands')}"
    assert mask.said("no young queen; Young's own") == (
        f"no young queen; {code('Young')}'s own"
    )
    # in labels a long name is found however it is written; initials stand alone
    assert mask.label("bench of young") == f"bench of {code('Young')}"
    assert mask.label("AB2 CAB ab-1") == f"{code('AB')}2 CAB {code('AB')}-1"
    # neither a number nor one letter can be told from any other
    assert mask.label("checks.csv:12, Q26-001") == "checks.csv:12, Q26-001"
    assert (mask.code("12"), mask.code("Q")) == (code("12"), code("Q"))


def test_parts_and_forms_of_a_name_are_found():
    mask = pseudonyms.Mask(KEY, ["Jörn Vossen"])
    assert mask.label("Vossen B2") == f"{code('Vossen')} B2"
    assert mask.label("bei Jo\u0308rn Vossen") == f"bei {code('Jörn Vossen')}"
    assert mask.label("jörn vossen") == code("Jörn Vossen")
    # a letter without a dot is taken for one with it, which folding does not do
    assert pseudonyms.Mask(KEY, ["Ilinka"]).label("ılınka").startswith("P-")


def test_sentences_mask_the_labels_that_hold_a_name_in_another_form():
    mask = pseudonyms.Mask(KEY, ["Jörn Vossen"])
    labels = {name: mask.label(name) for name in ("VOSSEN B2", "Vossen B2", "Amber")}
    assert mask.said("VOSSEN B2 against Amber") == "VOSSEN B2 against Amber"
    mask.quoting(labels)
    assert mask.said("VOSSEN B2 against Amber") == f"{code('Vossen')} B2 against Amber"


@settings(max_examples=40, deadline=None)
@given(st.lists(st.text(min_size=1, max_size=8), min_size=1, max_size=6), st.text())
def test_any_names_and_texts_can_be_masked(names, text):
    mask = pseudonyms.Mask(KEY, names)
    for name in names:
        if name.strip():
            assert mask.code(name).startswith("P-")
    mask.label(text)
    mask.said(text)


def test_what_the_settings_name_is_masked():
    station = Settings(
        name="Station Zyxwal",
        prior_cases={"Zyxwal": 3},
        plan=Plan(planned_cases={"Quopbo": 9}),
    )
    mask = pseudonyms.Mask(KEY, pseudonyms.people_in(station))
    shown = mask.settings(station)
    assert shown.name == f"Station {code('Zyxwal')}"
    assert shown.prior_cases == {code("Zyxwal"): 3}
    assert shown.plan.planned_cases == {code("Quopbo"): 9}


def test_the_build_s_file_is_not_changed(tmp_path, full_store):
    full_store(tmp_path / "one.duckdb", **rows_of()).close()
    before = (tmp_path / "one.duckdb").read_bytes()
    with Store(tmp_path / "one.duckdb", read_only=True) as reading:
        mask = pseudonyms.mask_of(reading, KEY, Settings())
        pseudonyms.hide_names(reading, mask)
        found = {name for (name,) in reading.rows("SELECT operator FROM courses")}
        assert found == set(map(code, NAMES))
    assert (tmp_path / "one.duckdb").read_bytes() == before


def test_a_station_that_names_nobody_has_no_codes(full_store):
    empty = full_store()
    mask = pseudonyms.mask_of(empty, KEY, Settings())
    pseudonyms.hide_names(empty, mask)
    assert mask.codes == {}
    assert empty.rows("SELECT * FROM courses") == []


# -- the secret


def test_a_station_gets_a_secret_once_and_keeps_it(tmp_path):
    key = pseudonyms.station_key(tmp_path)
    path = tmp_path / "pseudonyms.key"
    assert len(key) == 32
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert pseudonyms.station_key(tmp_path) == key
    assert key.hex() not in pseudonyms.key_mark(key)
    path.unlink()
    other = pseudonyms.station_key(tmp_path)
    assert other != key
    assert pseudonyms.key_mark(other) != pseudonyms.key_mark(key)


@pytest.mark.parametrize("text", ["", "# nothing\n", "12ab\n", "zz" * 32, "é\n"])
def test_a_damaged_secret_is_refused(tmp_path, text):
    (tmp_path / "pseudonyms.key").write_text(text, encoding="utf-8")
    with pytest.raises(UsageError, match="secret") as refused:
        pseudonyms.station_key(tmp_path)
    assert "pseudonyms.key" in refused.value.where
