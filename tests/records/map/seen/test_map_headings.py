"""Headings are known in every language, by one file of words each.

The headings of `random_sheets.HEADINGS` were chosen by hand, not taken from the files.
"""

import tomllib

import pytest
from queen_outcomes.base import resources
from queen_outcomes.facts.languages import by_name
from queen_outcomes.records.map.seen import words
from queen_outcomes.records.map.seen.contents import Contents, number_of
from queen_outcomes.records.map.seen.fits import fit
from queen_outcomes.records.map.seen.headings import heading
from queen_outcomes.records.map.seen.opened import Cell
from queen_outcomes.records.map.seen.sheet import SheetColumn
from random_sheets import HEADINGS, TABLES

SAMPLES = {
    "queen_id": ["K-1", "K-2", "K-3"],
    "line": ["Birke", "Olm"],
    "emerged_on": ["2025-05-01", "2025-05-14"],
    "inseminated_at": ["2025-05-11", "2025-05-24"],
    "checked_on": ["2025-06-11", "2025-06-24"],
    "left_on": ["2025-07-11", "2025-07-24"],
    "operator": ["Ada Brun", "Milo Katz"],
    "checker": ["Ada Brun", "Milo Katz"],
    "dose_ul": ["8", "7.5"],
    "attempts": ["1", "2"],
    "pattern_pct": ["80", "75"],
    "reason": ["gone?"],
}


@pytest.mark.parametrize("language", sorted(HEADINGS))
def test_each_language_names_its_columns(language):
    tried = 0
    for table, names in TABLES.items():
        for name in names:
            for text in HEADINGS[language][name]:
                if name in (
                    "checked_on",
                    "left_on",
                    "operator",
                    "checker",
                ) and not heading(text, language).of("column"):
                    continue  # "Date" and "Who" are told by their neighbours
                home = "queens" if name in ("line", "emerged_on") else table
                yes_no = name in ("queen_seen", "eggs", "larvae", "sealed")
                held = HEADINGS[language]["yes_no"] if yes_no else SAMPLES[name]
                column = SheetColumn(
                    0, heading(text, language), Contents([Cell(t) for t in held])
                )
                assert fit(column, home, name) >= 0.6, (text, name)
                tried += 1
    assert tried > 25


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("Dose (ul)", "uL"),
        ("Vol (mL)", "mL"),
        ("Temp F", "F"),
        ("Pattern %", "%"),
        ("Menge µl", "uL"),
        ("Dose ul given", "uL"),
        ("ul Dose given", "uL"),
    ],
)
def test_unit_of_a_heading(text, unit):
    assert heading(text).unit == unit


def test_a_sheet_s_own_language_comes_first_and_others_where_they_know_more():
    """In German "Stock" is a hive; in English stock is a line."""
    assert heading("Stock", "de").of("column") == {"colony_id"}
    assert heading("Stock zork", "de").of("column") == {"colony_id"}
    assert heading("Stock", "en").of("column") == {"line"}
    assert heading("Stock").of("column") == {"colony_id", "line"}
    queen = heading("Königin", "en")
    assert (queen.labels, queen.unknown) == ({"part:queen"}, ())


@pytest.mark.parametrize(
    ("text", "column"),
    [("geschl.", "emerged_on"), ("Rückl.", "leak"), ("2. Kontrolle verd.", "sealed")],
)
def test_headings_cut_short(text, column):
    assert heading(text, "de").of("column") == {column}


@pytest.mark.parametrize(
    ("text", "slot"),
    [
        ("1st check", "1"),
        ("Check 2 date", "2"),
        ("3. Kontrolle", "3"),
        ("Spring eggs", "spring"),
        ("CO2", ""),
        ("Date", ""),
    ],
)
def test_place_in_a_series(text, slot):
    assert heading(text).slot == slot


@pytest.mark.parametrize(
    ("text", "column"),
    [
        ("Anzahl Drohnen", "drones_handled"),
        ("Drohnen Anzahl", "drones_handled"),  # not the drones' line
        ("Mio Spermien", "sperm_millions"),
        ("Drohnen Zettel", "drone_line"),  # no known phrase in any order
    ],
)
def test_words_of_a_phrase_may_stand_in_another_order(text, column):
    assert heading(text).of("column") == {column}


def test_another_language_by_one_file(tmp_path, monkeypatch):
    """Lithuanian, in one file beside the others: its headings, yes and reasons are known."""
    folder = tmp_path / "reports" / "text" / "words"
    folder.mkdir(parents=True)
    ours = resources.folder("reports") / "text" / "words"
    for path in ours.iterdir():
        (folder / path.name).write_text(path.read_text("utf-8"), "utf-8")
    (folder / "lt.toml").write_text(
        'name = "Lietuvių"\n[columns]\nqueen_id = ["Motinėlės nr"]\neggs = ["Kiaušinėliai"]\n'
        'inseminated_at = ["Apvaisinta dieną"]\n[words]\nyes = ["taip"]\n'
        '[words.reason]\nsold = ["parduota"]\n[months]\nnames = [["sausis"], ["vasaris"], ["kovas"]]\n',
        "utf-8",
    )
    monkeypatch.setattr(resources, "folder", lambda name: tmp_path / name)
    _forget()
    try:
        assert heading("Motinėlės nr.").of("column") == {"queen_id"}
        assert heading("Kiaušinėliai").of("column") == {"eggs"}
        assert heading("Apvaisinta dieną").of("column") == {"inseminated_at"}
        assert words.vocabulary().words["yes_no"]["taip"] == "yes"
        assert words.vocabulary().words["reason"]["parduota"] == "sold"
        assert words.vocabulary().months["kovas"] == 3
    finally:
        monkeypatch.undo()
        _forget()
    assert heading("Motinėlės nr.").of("column") != {"queen_id"}


def _forget():
    from queen_outcomes.records.map.seen import contents, headings, meanings

    for module in (words, headings, contents, meanings):
        for thing in vars(module).values():
            if hasattr(thing, "cache_clear"):
                thing.cache_clear()


def test_english_comes_first_of_the_languages_and_the_others_by_name():
    first, *others = words.languages()
    assert first == "en"
    assert others == sorted(others)
    assert len(others) > 2


def test_every_language_has_every_list():
    folder = resources.folder("reports") / "text" / "words"
    documents = {p.name: tomllib.loads(p.read_text("utf-8")) for p in folder.iterdir()}
    english = documents["en.toml"]
    assert {f"{name}.toml" for name in HEADINGS} <= set(documents)
    for name, document in documents.items():
        if "paper" not in document:
            continue  # records are read in it, and no sheet is printed
        for section, lists in english.items():
            if section in ("name", "units"):
                continue
            lacking = set(lists) - set(document[section]) - {"temperament"}
            assert not lacking, (name, section, lacking)


READ_ONLY = ("da", "hu", "nl", "pt", "tr")


@pytest.mark.parametrize("name", READ_ONLY)
def test_a_language_that_is_read_alone_has_what_records_are_read_by(name):
    document = by_name()[name]
    assert [len(document[each]["names"]) for each in ("months", "weekdays")] == [12, 7]
    assert {"yes", "no", "empty", "reason"} <= set(document["words"])
    assert all(number_of(f"8 {unit}").unit == "uL" for unit in document["units"]["uL"])
    needed = {"queen_id", "inseminated_at", "dose_ul", "semen_batch", "colony_id", "placed_on"}
    needed |= {"eggs", "larvae", "sealed", "queen_seen", "pattern_pct", "left_on", "reason"}
    assert needed <= set(document["columns"])


@pytest.mark.parametrize(
    ("text", "column"),
    [
        ("Dronning set", "queen_seen"),
        ("Forseglet yngel", "sealed"),
        ("Geïnsemineerd op", "inseminated_at"),
        ("Moer gezien", "queen_seen"),
        ("Criação operculada", "sealed"),
        ("Zangões", "drones_handled"),
        ("Termékenyítve", "inseminated_at"),
        ("Fedett fias", "sealed"),
        ("ÇIKIŞ TARİHİ", "emerged_on"),
        ("Kapalı yavru", "sealed"),
    ],
)
def test_headings_of_languages_that_are_read_alone(text, column):
    assert column in heading(text).of("column")


@pytest.mark.parametrize(
    ("text", "worth"), [("no", 0.1), ("tip", 1.0), ("day zork", 0.5), ("of zork", 0.0)]
)
def test_two_letters_tell_little_of_a_language_and_three_what_a_word_does(text, worth):
    assert words.languages_in([text])["en"] == worth
