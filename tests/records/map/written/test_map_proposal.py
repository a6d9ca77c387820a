"""What is written of sheets, words and answers: rules, habits and lists as plain values."""

import pytest
from queen_outcomes.records.map.asked import orders, wordlist
from queen_outcomes.records.map.asked.questions import Question, question_id
from queen_outcomes.records.map.seen.feeds import Feed, Use
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.map.written import proposal
from sheets_by_hand import part, sheet, station

DAY, NEXT = "2025-06-01", "2025-06-09"


def proposed(*parts, answers=None, seen=None, **more):
    """A proposal whose questions have these answers: (kind, *place) -> answer."""
    looked = seen or station(*parts)
    asked = [
        Question(question_id(*place), "", answer=answer)
        for place, answer in (answers or {}).items()
    ]
    return proposal.Proposal(
        looked, orders.judge(looked), wordlist.gather(looked), asked, **more
    )


def written(*parts, sources=None, **more):
    return proposal.mapping(proposed(*parts, **more), sources)


def test_rules_of_sheets_alike_are_one_and_the_others_apart():
    found = written(
        part("a.csv", "checks", eggs=["yes"]),
        part("b.csv", "checks", eggs=["no"]),
        part("c.csv", "exits", reason=["sold"]),
    )
    assert [(r.sources, r.table, r.columns) for r in found.rules] == [
        (["a.csv", "b.csv"], "checks", {"eggs": "eggs"}),
        (["c.csv"], "exits", {"reason": "reason"}),
    ]
    only = written(
        part("a.csv", "checks", eggs=["yes"]), part("b.csv", "exits"), sources=["b.csv"]
    )
    assert [r.sources for r in only.rules] == [["b.csv"]]


def test_sheets_that_the_answers_leave_out():
    one, two = (
        part("a.csv", "checks", eggs=["yes"]),
        part("b[1].csv", "exits", reason=["sold"]),
    )
    three = part("c.csv", "inseminations", operator=["Ada"])
    answers = {
        ("ignore", "a.csv"): "no",
        ("copy", "b[1].csv"): "yes",
        ("rows", "c.csv", "inseminations"): "no",
    }
    found = written(one, two, three, answers=answers)
    assert found.records["ignore"] == ["b[[]1].csv", "c.csv"]
    assert [r.sources for r in found.rules] == [["a.csv"]]
    assert "ignore" not in written(one, two, sources=["a.csv"], answers=answers).records
    # a sheet of two tables is left out only where it is no list of either
    both = part("c.csv", "inseminations", operator=["Ada"])
    looks = Part(both.sheet, Feed("checks", {"checker": Use(["operator"])}))
    found = written(both, looks, answers={("rows", "c.csv", "inseminations"): "no"})
    assert [r.table for r in found.rules] == ["checks"]
    assert "ignore" not in found.records


def test_spellings_and_people():
    bench = part("b.csv", "inseminations", operator=["Ada Brun", "AB"])
    looks = part("c.csv", "checks", eggs=["x AB", ""], larvae=["yes", "no"])
    answers = {
        ("fold", "*", "*", "queen_id"): "yes",
        ("fold", "*", "*", "colony_id"): "no",
        ("same", "*", "*", "operator"): "yes",
    }
    records = written(bench, looks, answers=answers).records
    assert records["fold"] == ["queen_id", "graft_batch"]
    assert records["same"] == {
        "checker": {"Ada Brun": ["AB"]},
        "operator": {"Ada Brun": ["AB"]},
    }
    records = written(
        bench, answers={("same", "*", "*", "operator"): {"A": ["B"]}}
    ).records
    assert records == {"same": {"operator": {"A": ["B"]}}}
    assert written(bench, answers={("same", "*", "*", "operator"): "no"}).records == {}
    assert written(bench, answers={("fold", "*", "*", "colony_id"): "yes"}).records[
        "fold"
    ] == ["colony_id"]


def test_ditto_marks_and_the_list_of_exposures():
    looks = part("c.csv", "checks", checker=["Ada", '"', "do."], note=["''"])
    found = written(looks)
    assert found.records["ditto"] == ['"', "do."]
    assert found.notes[0] == 'ditto marks take the value above: "  do.'
    gas = part("g.csv", "co2", given_at=[DAY])
    place = ("co2", "*", "co2", "given_at")
    assert written(gas).records == {"co2": "every"}
    assert written(gas, answers={place: None}).records == {}
    assert written(gas, answers={place: "other"}).records == {"co2": "other"}


def test_words_stand_by_their_meaning_and_none_is_both_a_word_and_nothing():
    gone = part(
        "g.csv",
        "exits",
        reason=["sold", "Died", "flown", "n/a", "zork"],
        left_on=["?", DAY, DAY, DAY, "N/A"],
    )
    looks = part(
        "c.csv",
        "checks",
        eggs=["ja", "yes", "nein", "Ja"],
        findings=["Q", "rain", "-", "zork"],
    )
    found = written(gone, looks, answers={("words",): "yes"})
    assert found.words == {
        "yes": ["ja"],
        "no": ["nein"],
        "reason": {"dead": ["Died"], "missing": ["flown"]},
        "findings": {"Q": {"queen_seen": "yes"}, "rain": {}},
        "empty": ["?", "N/A", "n/a"],
    }
    assert written(gone, looks, answers={("words",): "no"}).words == {
        "empty": ["?", "N/A"]
    }


@pytest.mark.parametrize(
    ("slots", "templates", "each"),
    [
        (
            {
                "1": {"checked_on": "Check 1 date", "eggs": "Check 1 eggs"},
                "2": {"checked_on": "Check 2 date", "eggs": "Check 2 eggs"},
            },
            {"checked_on": "{} date", "eggs": "{} eggs"},
            ["Check 1", "Check 2"],
        ),
        # what the headings of a slot begin with is its own
        (
            {
                "1": {"checked_on": "1 day", "eggs": "1 day eggs"},
                "2": {"checked_on": "2 day", "eggs": "2 day eggs"},
            },
            {"checked_on": "{}", "eggs": "{} eggs"},
            ["1 day", "2 day"],
        ),
        # nothing in common: each is named
        (
            {
                "1": {"checked_on": "Date", "eggs": "Eggs"},
                "2": {"checked_on": "Date (2)", "eggs": "Eggs (2)"},
            },
            {"checked_on": "{date}", "eggs": "{eggs}"},
            [
                {"date": "Date", "eggs": "Eggs"},
                {"date": "Date (2)", "eggs": "Eggs (2)"},
            ],
        ),
        (
            {"1": {"eggs": "Eggs 1"}, "2": {"eggs": "Eggs 2"}},
            {"eggs": "{eggs}"},
            [{"eggs": "Eggs 1"}, {"eggs": "Eggs 2"}],
        ),
    ],
)
def test_slots_are_written_as_short_as_they_can_be(slots, templates, each):
    names = [name for roles in slots.values() for name in roles.values()]
    laid = sheet(
        ",".join(["Queen", *names]) + "\n" + ",".join(["D1", *["x"] * len(names)])
    )
    one = Part(laid, Feed("checks", {}, slots))
    assert proposal._each(proposed(one), one) == (templates, each)


def test_days_as_headings_are_written_as_days():
    laid = sheet(f"Queen,8.6.25,{NEXT},10.6.\nD1,eggs,Q,Q")
    names = ["8.6.25", NEXT, "10.6."]
    feed = Feed(
        "checks", {}, {n: {"findings": n} for n in names}, {n: n for n in names}
    )
    one = Part(laid, feed)
    made = proposed(one, answers={})
    made.orders.asked.clear()
    made.orders.by_file["sheet.csv"] = "mdy"
    made.orders.yearless["sheet.csv"] = 2024
    rule = proposal._rule(made, one, {})
    assert rule.each == [
        {"check": "8.6.25", "day": "2025-08-06"},
        {"check": NEXT, "day": NEXT},
        {"check": "10.6.", "day": "2024-10-06"},
    ]
    assert rule.columns == {"findings": "{check}", "checked_on": {"value": "{day}"}}
    made.orders.by_file.clear()
    assert proposal._rule(made, one, {}).each[0]["day"] == "8.6.25"  # which nobody guesses
    assert proposal._iso("soon", None, one, made) == "soon"


def test_what_a_columns_rule_says_beside_its_heading():
    looks = part(
        "c.csv",
        "checks",
        pattern_pct=["0.8"],
        eggs=["x", ""],
        mark_seen=["yes"],
        checked_on=[DAY],
    )
    place = ("c.csv", "checks")
    answers = {
        ("percent", *place, "pattern_pct"): "share",
        ("blank", *place): "no",
        ("column", *place, "mark_seen"): "no",
        ("mixed", *place, "checked_on"): "swapped",
    }
    made = proposed(looks, answers=answers)
    made.orders.turned[(*place, "checked_on")] = "mdy"
    rule = proposal._rule(made, looks, {})
    assert rule.columns == {
        "pattern_pct": {"from": "pattern_pct", "unit": "share"},
        "eggs": {"from": "eggs", "blank": "no"},
        "checked_on": {"from": "checked_on", "dates": "mixed:mdy"},
    }
    leave = proposed(
        looks,
        answers={
            ("blank", *place): "leave",
            ("percent", *place, "pattern_pct"): "percent",
        },
    )
    leave.orders.by_column[(*place, "checked_on")] = "dmy"
    columns = proposal._rule(leave, looks, {}).columns
    assert columns["eggs"] == {"from": "eggs", "blank": "not looked"}
    # said, so that nobody asks again
    assert columns["pattern_pct"] == {"from": "pattern_pct", "unit": "%"}
    assert columns["checked_on"] == {"from": "checked_on", "dates": "dmy"}
    asked = proposed(looks, answers={("blank", *place): None})
    assert proposal._rule(asked, looks, {}).columns["eggs"] == "eggs"


def test_a_score_is_no_per_cent_and_stays_unread():
    looks = part("c.csv", "checks", pattern_pct=[*"12345"], eggs=["yes"] * 5)
    place = ("percent", "c.csv", "checks", "pattern_pct")
    made = proposed(looks, answers={place: "score"})
    assert list(proposal._rule(made, looks, {}).columns) == ["eggs"]
    (told,) = proposal._scored(made, looks)
    assert told.endswith(
        'pattern_pct = { from = "pattern_pct", scores = '
        "{ 1 = .., 2 = .., 3 = .., 4 = .., 5 = .. } }"
    )
    assert proposal._scored(proposed(looks, answers={place: "percent"}), looks) == []


def test_a_no_among_days_is_no_day():
    gas = part(
        "c.csv", "co2", queen_id=["D1", "D2", "D3"], given_at=[DAY, "no", "n/a"]
    )
    found = written(gas)
    assert found.rules[0].columns["given_at"] == {
        "from": "given_at",
        "empty": ["n/a", "no"],
    }
    assert any('"no" under "given_at"' in note for note in found.notes)
    plain = part("c.csv", "co2", queen_id=["D1", "D2"], given_at=[DAY, "n/a"])
    assert written(plain).rules[0].columns["given_at"] == "given_at"


def test_a_mark_that_says_she_is_marked():
    seen = part("q.csv", "queens", mark=["red", "no", "Blue", "red"])
    found = written(seen, answers={("filled", "q.csv", "queens", "marked"): "yes"})
    assert found.rules[0].columns["marked"] == {
        "from": "mark",
        "words": {"yes": ["Blue", "red"], "no": ["no"]},
    }
    found = written(seen, answers={("filled", "q.csv", "queens", "marked"): "no"})
    assert found.rules[0].columns == {"mark": "mark"}


def test_a_fill_sets_columns_of_the_first_rule_that_keeps_them():
    bench = part("b.csv", "inseminations", operator=["Ada"])
    looks = Part(bench.sheet, Feed("checks", {"checker": Use(["operator"])}))
    answers = {
        ("colours", "b.csv"): {
            "#FF0000": {"eggs": "no", "leak": "some"},
            "#00FF00": {"reason": "x"},
        }
    }
    found = written(bench, looks, answers=answers)
    assert [(r.table, r.colours) for r in found.rules] == [
        ("inseminations", {"#FF0000": {"leak": "some"}}),
        ("checks", {"#FF0000": {"eggs": "no"}}),
    ]
    assert written(bench, answers={("colours", "b.csv"): "no"}).rules[0].colours == {}


def habits(laid, feed=None, **more):
    one = Part(laid, feed or Feed("checks", {}))
    made = proposed(one, **more)
    return proposal._habits(made, laid)


def test_the_habits_of_a_file():
    text = "Queen,Date,Eggs,Larvae\n" + "D1,2025-06-01,yes,no\n" * 3
    assert habits(sheet(text)) == {}
    assert habits(sheet("Spring,,,\n" + text)) == {"header": 2}
    two = "Queen,Check,,\n,Date,Eggs,Larvae\n" + "D1,2025-06-01,yes,no\n" * 3
    assert habits(sheet(two)) == {"header": [1, 2]}
    assert habits(sheet(",,,\n" + text)) == {}
    answers = {("struck", "sheet.csv"): "leave", ("hidden", "sheet.csv"): "read"}
    assert habits(sheet(text), answers=answers) == {"struck": "pass over"}
    void = text + "D9*,2025-06-01,yes,void\n"
    assert habits(sheet(void), answers={("void", "sheet.csv"): "leave"}) == {
        "pass_over": ["D9[*]"]
    }
    assert habits(sheet(void), answers={("void", "sheet.csv"): "read"}) == {}


@pytest.mark.parametrize(
    ("doses", "sign"),
    [
        (["7,5", "8"], ","),
        (["7.5", "7,5"], "."),
        (["7,5", "6,5", "7.5"], ","),
        (["8"], "."),
        ([("7,5", "number")], "."),
    ],
)
def test_the_decimal_sign_of_most_typed_numbers(doses, sign):
    bench = part("b.csv", "inseminations", dose_ul=doses, note=["1,5", "2,5", "3,5"])
    assert proposal._decimal([bench]) == sign


def test_days_with_words_that_stay_unread_are_told_with_the_setting_that_reads_them():
    laid = sheet(
        "Queen,Eggs,Looks,Fate,Gone,Zork\n"
        'D1,yes,"10.6. E+; 3. Juli E- L-",sold 3/7,2025-07-03,a 1/2 b 3/4\n'
        "D2,yes,,2025-07-04: dead,,a"
    )
    one = Part(
        laid, Feed("checks", {"queen_id": Use(["Queen"]), "eggs": Use(["Eggs"])})
    )
    _, told = proposal.mapping(proposed(seen=Station([laid], [one]))).notes
    assert 'apart = { Looks = 2, Fate = 1 } into its [files] section' in told
    assert told.endswith('such as "Looks (day 1)", "Looks (words 1)"')


def test_columns_with_text_that_stay_unread_are_told():
    laid = sheet("Queen,Date,Eggs,Zork,Plonk\nD1,2025-06-01,yes,a,")
    one = Part(
        laid, Feed("checks", {"queen_id": Use(["Queen"]), "eggs": Use(["Eggs"])})
    )
    other = sheet("Queen,Eggs,Zork\nD1,yes,a", "z.csv")
    seen = Station([laid, other], [one])
    told = 'sheet.csv: not read: "Date", "Zork"'
    assert proposal.mapping(proposed(seen=seen)).notes == [told]
    assert proposal.mapping(proposed(seen=seen), ["z.csv"]).notes == []
    assert (
        proposal.mapping(
            proposed(seen=seen, answers={("ignore", "sheet.csv"): "yes"})
        ).notes
        == []
    )


@pytest.mark.parametrize(
    ("texts", "start"),
    [(["Check 1 a", "Check 1 b"], "Check 1 "), (["ab", "abc"], "ab"), (["a", "b"], "")],
)
def test_what_texts_begin_with(texts, start):
    assert proposal._common_start(texts) == start


def test_prefixes_are_those_of_the_year_or_the_word_that_numbers_lack():
    year, lead = (
        ("prefix", "*", "inseminations", "queen_id"),
        ("lead", "*", "*", "colony_id"),
    )
    known = {"prefixes": {"b.csv": "25-"}, "leads": {"colony_id": {"c.csv": "hive "}}}

    def given(answers, source):
        one = part(source, "inseminations", queen_id=["1"])
        return proposal._prefix(proposed(one, answers=answers, **known), source)

    assert given({year: "yes"}, "b.csv") == "25-"
    assert given({year: "no"}, "b.csv") is None
    assert given({year: {"c.csv": "x-"}}, "b.csv") is None
    assert given({year: {"c.csv": "x-"}}, "c.csv") == "x-"
    assert given({lead: "yes"}, "c.csv") == {"colony_id": "hive "}
    assert given({lead: "no"}, "c.csv") is None
    assert given({lead: "yes"}, "b.csv") is None
    both = given({lead: "yes", year: {"c.csv": "x-"}}, "c.csv")
    assert both == {"colony_id": "hive ", "queen_id": "x-"}


def test_the_order_of_a_file_is_the_answer_where_it_was_asked():
    asked = part("c.csv", "checks", checked_on=["1.2.2025"])
    place = ("dates", "c.csv", "checks", "checked_on")
    assert proposal._order(proposed(asked, answers={place: "mdy"}), "c.csv") == "mdy"
    assert proposal._order(proposed(asked), "c.csv") is None
    plain = part("c.csv", "checks", checked_on=["14.2.2025"])
    assert proposal._order(proposed(plain), "c.csv") == "dmy"


def test_single_answers_are_taken_and_words_of_other_sheets_left_alone():
    gone = part("g.csv", "exits", reason=["zork", "n/a", "plonk"])
    looks = part("c.csv", "checks", eggs=["n/a", "ja"])
    made = proposed(gone, looks, answers={("words",): "yes"})
    for text, answer in (("zork", "sold"), ("plonk", None), ("n/a", "dead")):
        made.questions.append(Question(f"word:reason:{text}", "", answer=answer))
    # what is a word in one column is not said to be nothing in another
    assert proposal.mapping(made).words == {
        "yes": ["ja"],
        "reason": {"dead": ["n/a"], "sold": ["zork"]},
    }
    assert proposal.mapping(made, ["c.csv"]).words == {"yes": ["ja"], "empty": ["n/a"]}


def test_words_of_one_heading_stand_with_its_column():
    looks = part(
        "c.csv",
        "checks",
        {"findings": "Brood"},
        findings=["larvae", "larvae"],
        eggs=["x", "✓"],
    )
    made = proposed(looks, answers={("words",): "yes"})
    made.questions.append(Question("word:yes_no:x", "", answer="no"))
    found = proposal.mapping(made)
    assert found.rules[0].columns == {
        "eggs": {"from": "eggs", "words": {"no": ["x"]}},
        "findings": {"from": "Brood", "words": {"larvae": {"larvae": "yes"}}},
    }
    plain = part("c.csv", "checks", {"findings": "Seen"}, findings=["larvae"])
    rule = written(plain, answers={("words",): "yes"}).rules[0]
    assert rule.columns == {"findings": "Seen"}


@pytest.mark.parametrize(
    ("second", "unit"), [("Dose 2 (ml)", "mL"), ("Dose 2 (ul)", "")]
)
def test_slots_of_one_unit_have_it(second, unit):
    laid = sheet(f"Queen,Dose 1 (ml),{second}\nD1,8,9")
    slots = {"1": {"dose_ul": "Dose 1 (ml)"}, "2": {"dose_ul": second}}
    assert (
        proposal._slot_unit(Part(laid, Feed("inseminations", {}, slots)), "dose_ul")
        == unit
    )


def test_a_slots_text_may_lose_the_word_before_it():
    assert proposal._shortest("Round 1 Check") == "Round 1"
    assert proposal._shortest("Check") == "Check"


@pytest.mark.parametrize(
    ("texts", "found"),
    [
        ({"1": "1st look", "2": "2nd look"}, {"checked_on": "{} day"}),
        ({"1": "1st look", "2": "1st look"}, None),
        ({"1": "1st look", "2": ""}, None),
    ],
)
def test_slots_have_one_form_where_each_has_a_text_of_its_own(texts, found):
    slots = {"1": {"checked_on": "1st look day"}, "2": {"checked_on": "2nd look day"}}
    assert proposal._templates(slots, texts) == found
