"""What is written of sheets, words and answers: rules, habits and lists as plain values."""

from proposals_by_hand import proposed
from queen_outcomes.records.map.asked.questions import Question
from queen_outcomes.records.map.seen.feed import Feed, Use
from queen_outcomes.records.map.seen.station import Part, Station
from queen_outcomes.records.map.written import mapping
from sheets_by_hand import part, sheet

DAY = "2025-06-01"


def written(*parts, sources=None, **more):
    return mapping.mapping(proposed(*parts, **more), sources)


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
    seen = part("q.csv", "queens", mark=["red", "no", "Blue", "red", "-"])
    found = written(seen, answers={("filled", "q.csv", "queens", "marked"): "yes"})
    assert found.rules[0].columns["marked"] == {
        "from": "mark",
        "filled": "yes",
        "words": {"no": ["no"]},
        "empty": ["-"],
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


def test_days_with_words_that_stay_unread_are_told_with_the_setting_that_reads_them():
    laid = sheet(
        "Queen,Eggs,Looks,Fate,Gone,Zork\n"
        'D1,yes,"10.6. E+; 3. Juli E- L-",sold 3/7,2025-07-03,a 1/2 b 3/4\n'
        "D2,yes,,2025-07-04: dead,,a"
    )
    one = Part(
        laid, Feed("checks", {"queen_id": Use(["Queen"]), "eggs": Use(["Eggs"])})
    )
    _, told = mapping.mapping(proposed(seen=Station([laid], [one]))).notes
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
    assert mapping.mapping(proposed(seen=seen)).notes == [told]
    assert mapping.mapping(proposed(seen=seen), ["z.csv"]).notes == []
    assert (
        mapping.mapping(
            proposed(seen=seen, answers={("ignore", "sheet.csv"): "yes"})
        ).notes
        == []
    )


def test_single_answers_are_taken_and_words_of_other_sheets_left_alone():
    gone = part("g.csv", "exits", reason=["zork", "n/a", "plonk"])
    looks = part("c.csv", "checks", eggs=["n/a", "ja"])
    made = proposed(gone, looks, answers={("words",): "yes"})
    for text, answer in (("zork", "sold"), ("plonk", None), ("n/a", "dead")):
        made.questions.append(Question(f"word:reason:{text}", "", answer=answer))
    # what is a word in one column is not said to be nothing in another
    assert mapping.mapping(made).words == {
        "yes": ["ja"],
        "reason": {"dead": ["n/a"], "sold": ["zork"]},
    }
    assert mapping.mapping(made, ["c.csv"]).words == {"yes": ["ja"], "empty": ["n/a"]}


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
    found = mapping.mapping(made)
    assert found.rules[0].columns == {
        "eggs": {"from": "eggs", "words": {"no": ["x"]}},
        "findings": {"from": "Brood", "words": {"larvae": {"larvae": "yes"}}},
    }
    plain = part("c.csv", "checks", {"findings": "Seen"}, findings=["larvae"])
    rule = written(plain, answers={("words",): "yes"}).rules[0]
    assert rule.columns == {"findings": "Seen"}
