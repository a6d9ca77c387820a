"""Letters for stages of brood, marks for scores, colonies beside inseminations, short headings."""

import datetime as dt

import pytest
from mapped_stations import run
from queen_outcomes.base.errors import UsageError
from queen_outcomes.records.map.seen import feeds
from reading import accepted
from sheets_by_hand import sheet

AS_OF = dt.date(2026, 12, 31)
DAYS = [f"2025-06-{n:02}" for n in range(1, 9)]


def mapped(station, answers=None, **files):
    """Map a station of these files; the defaults are taken."""
    (station / "records").mkdir(exist_ok=True)
    for name, text in files.items():
        (station / "records" / f"{name}.csv").write_text(text, "utf-8")
    begun, settings = run(station, answers)
    rules = settings.get("read", [])
    return begun, {(rule["from"], rule["table"]): rule["columns"] for rule in rules}


BENCH = "Queen,Inseminated,Dose\n" + "".join(f"D{n},{day},8\n" for n, day in enumerate(DAYS, 1))


def looks_of(head, cells):
    rows = "".join(f"D{n},2025-06-{n + 14},{cells}\n" for n in range(1, 9))
    return f"{head}\n{rows}"


@pytest.mark.parametrize(
    "head",
    [
        "moer,datum controle,e,l,g",
        "matka,data przeglądu,j,l,z",
        "matka,datum kontroly,v,l,z",
        "regina,data controllo,u,l,o",
        "Königin,Kontrolldatum,E,L,V",
    ],
)
def test_letters_side_by_side_are_the_stages_that_begin_so(tmp_path, head):
    looks = looks_of(head, "+,+,-") + "D1,2025-06-30,-,+,+\n"
    begun, read = mapped(tmp_path, bench=BENCH, looks=looks)
    columns = read["looks.csv", "checks"]
    letters = head.split(",")[2:]
    assert [columns[stage] for stage in ("eggs", "larvae", "sealed")] == letters
    asked = {question.id: question for question in begun.asked}["letters:looks.csv:checks:*"]
    assert asked.default == "yes"
    row = accepted(tmp_path, AS_OF)["checks"][0]
    assert (row["eggs"], row["larvae"], row["sealed"]) == ("yes", "yes", "no")


def test_letters_that_are_none_stay_unread(tmp_path):
    files = {"bench": BENCH, "looks": looks_of("moer,datum controle,e,l,g,Opmerking", "+,+,-,ok")}
    letters = "letters:looks.csv:checks:*"
    _, read = mapped(tmp_path, {letters: "no"}, **files)
    assert not {"eggs", "larvae", "sealed"} & read["looks.csv", "checks"].keys()


@pytest.mark.parametrize(
    ("head", "cells"),
    [
        ("moer,datum controle,e,g,l", "+,+,-"),  # not as the stages come
        ("moer,datum controle,e,l", "+,+"),  # not all three
        ("moer,datum controle,e,l,g", "4,5,6"),  # no yes and no
        ("moer,datum controle,e,Merk,l,g", "+,wit,+,-"),  # not side by side
    ],
)
def test_letters_that_may_be_anything_are_left_alone(head, cells):
    laid = sheet(looks_of(head, cells), "looks.csv")
    assert laid.letters == []


@pytest.mark.parametrize(
    ("head", "marks", "table"),
    [
        ("Queen,Checked,Eggs,BR", ["2/5", "4/5", "5/5"], {"2/5": 40, "4/5": 80, "5/5": 95}),
        ("matka,data przeglądu,jaja,ocena", ["+", "++", "+++"], {"+": 30, "++": 60, "+++": 90}),
    ],
)
def test_marks_for_a_pattern_are_asked_in_per_cent(tmp_path, head, marks, table):
    rows = "".join(f"D{n},2025-06-{n + 14},yes,{marks[n % 3]}\n" for n in range(1, 9))
    percent = "percent:looks.csv:checks:pattern_pct"
    begun, read = mapped(tmp_path, bench=BENCH, looks=f"{head}\n{rows}")
    assert percent in {question.id for question in begun.open}
    (tmp_path / "station.toml").unlink()
    _, read = mapped(tmp_path, {percent: table})
    heading = head.split(",")[-1]
    assert read["looks.csv", "checks"]["pattern_pct"] == {"from": heading, "scores": table}
    patterns = {row["pattern_pct"] for row in accepted(tmp_path, AS_OF)["checks"]}
    assert {float(pattern) for pattern in patterns} == set(table.values())
    (tmp_path / "station.toml").unlink()
    _, read = mapped(tmp_path, {percent: "score"})
    assert "pattern_pct" not in read["looks.csv", "checks"]
    with pytest.raises(UsageError, match="does not fit"):
        begun.answer({percent: {marks[0]: 140}})


@pytest.mark.parametrize("colony", ["Nuc", "EWK", "ruchette", "volk", "ulik", "nucleo"])
def test_a_colony_beside_inseminations_is_a_stay_from_that_day_if_one_says_so(tmp_path, colony):
    rows = "".join(f"D{n},{day},8,N{n}\n" for n, day in enumerate(DAYS, 1))
    files = {
        "bench": f"Queen,Inseminated,Dose,{colony}\n{rows}",
        "looks": looks_of("Queen,Checked,Eggs", "yes"),
    }
    placed = "column:bench.csv:placements:placed_on"
    begun, read = mapped(tmp_path, **files)
    asked = {question.id: question for question in begun.asked}[placed]
    assert asked.text.endswith(f'into the colony under "{colony}" on the day of her insemination?')
    expected = {"queen_id": "Queen", "colony_id": colony, "placed_on": "Inseminated"}
    assert read["bench.csv", "placements"] == expected
    (tmp_path / "station.toml").unlink()
    _, read = mapped(tmp_path, {placed: "no"})
    assert ("bench.csv", "placements") not in read


@pytest.mark.parametrize(
    ("head", "column"),
    [
        ("Queen,Inseminated,Dose,Op", "operator"),
        ("Königin,besamt,Dosis,Bes.", "operator"),
        ("reine,inséminée le,dose,opér.", "operator"),
        ("matka,inseminacja,dawka,kto", "operator"),
        ("moer,KI datum,dosis,door", "operator"),
        ("regina,inseminata il,dose,chi", "operator"),
    ],
)
def test_who_inseminated_has_short_headings(head, column):
    rows = [f"D{n},{day},8,{'AB'[n % 2]}K" for n, day in enumerate(DAYS)]
    found = feeds.summary(feeds.find(sheet("\n".join([head, *rows]))))
    assert found["inseminations"][column] == [head.split(",")[-1]]


def test_days_of_emergence_may_lack_their_year():
    rows = [f"D{n},{day},8,5/{n + 9}" for n, day in enumerate(DAYS)]
    found = feeds.summary(feeds.find(sheet("\n".join(["Queen,Inseminated,Dose,Em.", *rows]))))
    assert found["queens"]["emerged_on"] == ["Em."]


@pytest.mark.parametrize("letters", ["AF", "FT", "NY"])
def test_a_load_of_one_letter_is_no_yes_or_no(letters):
    rows = [f"D{n},{day},8,{letters[n % 2]}" for n, day in enumerate(DAYS)]
    found = feeds.summary(feeds.find(sheet("\n".join(["Queen,Inseminated,Dose,Semen", *rows]))))
    assert found["inseminations"]["semen_batch"] == ["Semen"]


def test_phrases_joined_by_and_are_parts_where_one_stands_alone(tmp_path):
    seen = ["eggs", "eggs and wet brood", "queen seen, wet brood", "eggs and dry brood", "eggs",
            "queen seen, dry brood", "eggs and larvae", "queen seen, larvae", "queen seen, eggs", "wet brood", "spick and span"]  # fmt: skip
    rows = "".join(f"D{1 + n % 8},2025-06-{n + 14},\"{text}\"\n" for n, text in enumerate(seen))
    answers = {"word:parts:wet brood": "larvae = yes", "word:parts:dry brood": "sealed = yes"}
    begun, _ = mapped(tmp_path, answers, bench=BENCH, looks="Queen,Check date,Seen\n" + rows)
    assert "word:findings:spick and span" in {question.id for question in begun.open}
    found = [(row["eggs"], row["larvae"], row["sealed"]) for row in accepted(tmp_path, AS_OF)["checks"]]
    assert ("yes", "yes", None) in found  # "eggs and wet brood"
    assert ("yes", None, "yes") in found
    assert not [question.id for question in begun.asked if question.id == "word:findings:eggs and wet brood"]


def test_what_brood_is_like_says_under_its_heading_that_there_is_some(tmp_path):
    rows = "".join(
        f"D{n},2025-06-{n + 14},{('patchy', 'good', 'frilly', 'none')[n % 4]}\n" for n in range(1, 9)
    )
    begun, _ = mapped(tmp_path, bench=BENCH, looks="Queen,Check date,Brood\n" + rows)
    assert "word:findings:frilly" in {question.id for question in begun.open}
    looks = {row["queen_id"]: (row["larvae"], row["sealed"]) for row in accepted(tmp_path, AS_OF)["checks"]}
    assert looks["D4"] == looks["D5"] == ("yes", "yes")
    assert looks["D3"] == ("no", "no")
