"""Lines between the records that say something of the rows below them."""

import datetime as dt

import pytest
from mapped_stations import run
from queen_outcomes.records.map.asked import facts_in_lines
from reading import accepted
from sheets_by_hand import part, sheet, station

AS_OF = dt.date(2025, 12, 31)
ASKED = "lines:bench 2025.csv"
HEAD = "Queen;Inseminated;Dose;Nuc"
ROWS = ["1. series - hatched 14.5. - breeder B14", "Q1;22.5.2025;8;N1", "Q2;22.5.2025;8;N2"]
ROWS += ["2. series - hatched 26.5. - breeder B9", "Q3;3.6.2025;8;N3", "Q4;3.6.2025;8;N4", "Total: 4"]


def bench(folder, rows=ROWS):
    (folder / "records").mkdir()
    (folder / "records" / "bench 2025.csv").write_text("\n".join([HEAD, *rows]), "utf-8")
    looks = "queen_id,checked_on,eggs\n" + "".join(f"Q{n},2025-06-{n + 20},yes\n" for n in range(1, 5))
    (folder / "records" / "looks.csv").write_text(looks, "utf-8")


def facts(folder):
    """Give what is known of each queen, in whichever table it stands."""
    found = {}
    read = accepted(folder, AS_OF)
    for row in (*read["inseminations"], *read.get("queens", ())):
        own = found.setdefault(row["queen_id"], {})
        own |= {name: row[name] for name in ("graft_batch", "emerged_on", "line") if row.get(name)}
    return found


@pytest.mark.parametrize("later", [True, False])
def test_a_line_gives_its_series_its_day_and_its_mother_to_the_queens_below(tmp_path, later):
    bench(tmp_path)
    if later:
        begun, settings = run(tmp_path, accept=False)
        (asked,) = [q for q in begun.open if q.kind == "lines"]
        assert 'breeder B9" -> line = B9, graft_batch = 2, emerged_on = 26.5.' in asked.evidence[1]
        assert "group" not in settings["files"]["bench 2025.csv"]
    begun, settings = run(tmp_path)
    words = {"graft_batch": "series", "emerged_on": "hatched", "line": "breeder"}
    assert settings["files"]["bench 2025.csv"]["group"] == words
    assert settings["files"]["bench 2025.csv"]["pass_over"] == ["Total*"]
    first = {"graft_batch": "1", "emerged_on": "2025-05-14", "line": "B14"}
    second = {"graft_batch": "2", "emerged_on": "2025-05-26", "line": "B9"}
    assert facts(tmp_path) == {"Q1": first, "Q2": first, "Q3": second, "Q4": second}


@pytest.mark.parametrize("later", [True, False])
def test_lines_that_do_not_say_so_are_passed_over(tmp_path, later):
    bench(tmp_path)
    if later:
        run(tmp_path, accept=False)
    _, settings = run(tmp_path, {ASKED + ":*:*": "no"})
    habits = settings["files"]["bench 2025.csv"]
    assert "group" not in habits
    assert len(habits["pass_over"]) == 2
    assert facts(tmp_path) == {f"Q{n}": {} for n in range(1, 5)}


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (["I. series", "II. series"], {"graft_batch": "series"}),
        # one fact of lines that begin alike is the whole line's
        (["Series 1", "Series 2"], {}),
        # what few of them say, no day, a whole sentence, nothing that is known, what a column says
        (["Series 1", "Frost", "Rain"], {}),
        (["hatched late", "hatched well"], {}),
        (["Series of the queens that were lost"], {}),
        (["Yard North", "Yard South"], {}),
        (["breeder B14", "breeder B9"], {}),
    ],
)
def test_what_lines_say_is_told_by_the_words_before_it(lines, words):
    made = sheet("Queen,Inseminated,Dose,Breeder\n" + "\n".join(f"{line},,,\nQ{n},2025-05-2{n},8,B" for n, line in enumerate(lines)))
    keeps = part("sheet.csv", "inseminations", queen_id=["Q1"], line=["B"])
    known = station(keeps)
    known.sheets = [made]
    assert [dict(one.words) for one in facts_in_lines.find(known)] == ([words] if words else [])
