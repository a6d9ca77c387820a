"""What the methods page says of figures that lie off, and how it names what is fixed."""

import pytest
from queen_outcomes.dashboard import methods


def row(**given):
    usual = {"what": "estimate", "question": "laying 21", "nominal": "0.95"}
    return {**usual, "share": "0.95", "bias": "0.001", **given}


@pytest.mark.parametrize("share", ["0.936", "0.95", "0.9645"])
def test_what_is_near_is_no_exception(share):
    assert methods.exception(row(share=share)) == ""


def test_a_plain_rate_is_explained_elsewhere():
    assert methods.exception(row(what="rate, limits by batch", share="0.3")) == ""


def test_an_exception_has_its_figures_and_its_reason():
    late = row(question="superseded 365", share="0.874", bias="0.0231")
    assert methods.exception(late).startswith(
        "estimate: superseded by day 365: 87.4 % in place of 95 %, +2.3 points off on average; "
    )
    test = row(
        what="test of a term without effect", nominal="0.05", share="0.07", bias=""
    )
    assert "7.0 % in place of 5 %; a semen batch" in methods.exception(test)
    assert methods.exception(row(share="0.8")).endswith("the reason is not known")


def test_every_exception_of_the_kept_table_has_a_reason():
    shown = methods.how_sure()
    assert shown["recovery"]
    assert {row["as_of"] for row in shown["foreign"]} == {"mid", "after"}
    assert {row["generator"] for row in shown["hands"]} == {
        *("daily states", "frailty", "ledger", "reserves")
    }
    whole = [row for row in shown["agreement"] if row["kind"] == "all"]
    assert max(int(row["stations"]) for row in whole) >= 20
    # what every course is foretold adds up to the headline, whatever a shift is called
    assert all(abs(float(row["mean_off"])) <= 0.3 for row in whole)
    failures = [row for row in shown["agreement"] if row["kind"] == "failures"]
    assert all(abs(float(row["mean_off"])) < 0.1 for row in failures)
    assert not [said for said in shown["exceptions"] if "not known" in said]


def test_what_a_season_fixed_is_named_as_on_the_other_pages():
    said = methods.in_words("form of drone_layer by day 60, main model")
    assert said == "form of turned drone-layer by day 60, main model"
    assert methods.in_words("doses outside of trials") == "doses outside of trials"
