"""Sheets of Swedish, Finnish and Turkish stations, and a word that is a denial in one language alone."""

import datetime as dt

import pytest
from mapped_stations import run
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.map.seen.meanings import of_findings, of_word
from reading import accepted

NOTHING = dict.fromkeys(("eggs", "larvae", "sealed"), "no")
REASONS = TABLES["exits"].column("reason").words


@pytest.mark.parametrize(
    ("text", "sets"),
    [
        ("munia ja toukkia", {"eggs": "yes", "larvae": "yes"}),
        ("ei munia", {"eggs": "no"}),
        ("ei toukkia", {"larvae": "no"}),
        ("emo nähty, ei vielä munia", {"queen_seen": "yes", "eggs": "no"}),
        ("ei sikiöitä", NOTHING),
        ("toukkia ei", {"larvae": "no"}),
        ("emoton", {"queen_seen": "no"}),
        ("merkitsemätön emo", {"queen_seen": "yes", "mark_seen": "no"}),
        ("vain kuhnurisikiötä", {"drone_in_worker": "many"}),
        ("hyvä peitesikiö", {"sealed": "yes"}),
        ("ägg och öppet yngel", {"eggs": "yes", "larvae": "yes"}),
        ("inga ägg", {"eggs": "no"}),
        ("inget än", NOTHING),
        (
            "drottningen ej sedd, fint täckt yngel",
            {"queen_seen": "no", "sealed": "yes"},
        ),
        ("bara drönaryngel", {"drone_in_worker": "many"}),
        # an egg in one language and a denial in another: what stands beside it says which
        ("ei en larven", {"eggs": "yes", "larvae": "yes"}),
        ("larven en ei", {"eggs": "yes", "larvae": "yes"}),
        ("ei", None),
    ],
)
def test_what_is_found_at_looks_in_swedish_and_finnish(text, sets):
    assert of_findings(text) == sets


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("myyty", "sold"),
        ("ei herännyt", "dead"),
        ("emo kadonnut", "missing"),
        ("vaihtunut", "superseded"),
        ("poistettu, aukkoinen", "culled_fault"),
        ("såld", "sold"),
        ("weisellös", "missing"),
        ("omärkt", None),
        ("stilla byte", "superseded"),
        ("dödad, luckigt yngel", "culled_fault"),
    ],
)
def test_how_queens_go_in_swedish_and_finnish(text, meant):
    assert of_word(text, "reason", REASONS) == meant


SHEETS = {
    "sv": (
        "Drottning,Kläckt,Inseminerad,Dos,Utförd av,Anm\n{rows}",
        "{n},2025-05-{d:02},2025-06-{d:02},8,AL,\n",
        "Datum,Drottning,Fynd\n{rows}",
        "2025-06-{e},{n},ägg\n",
    ),
    "fi": (
        "Emo,Kuoriutunut,Siemennetty,Annos,Tekijä,Huom.\n{rows}",
        "{n},2025-05-{d:02},2025-06-{d:02},8,AL,\n",
        "pvm,emo,havainnot\n{rows}",
        "2025-06-{e},{n},munia\n",
    ),
    "tr": (
        "Ana No,Çıkış,Tohumlama,Doz,Yapan,Ruşet\n{rows}",
        "{n},2025-05-{d:02},2025-06-{d:02},8,AL,R{d}\n",
        "Tarih,Ruşet,Durum\n{rows}",
        "2025-06-{e},R{d},yumurta\n",
    ),
}


@pytest.mark.parametrize("language", SHEETS)
def test_a_list_and_its_looks_are_read(tmp_path, language):
    listed, row, looks, look = SHEETS[language]
    (tmp_path / "records").mkdir()
    days = range(1, 9)
    for name, head, each in (("one.csv", listed, row), ("two.csv", looks, look)):
        rows = "".join(each.format(n=f"D{d:02}", d=d, e=d + 14) for d in days)
        (tmp_path / "records" / name).write_text(head.format(rows=rows), "utf-8")
    begun, settings = run(
        tmp_path,
        {"column:one.csv:placements:placed_on": "yes"} if language == "tr" else {},
    )
    assert not begun.open
    read = {name for rule in settings["read"] for name in rule["columns"]}
    assert read >= {"queen_id", "inseminated_at", "dose_ul", "operator", "emerged_on"}
    found = accepted(tmp_path, dt.date(2025, 12, 31))["checks"]
    assert [(row["eggs"], row["checked_on"]) for row in found] == [
        ("yes", f"2025-06-{d + 14}") for d in days
    ]
