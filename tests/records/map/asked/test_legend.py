"""Signs that a legend explains, on a sheet of its own."""

import datetime as dt

import pytest
from mapped_stations import run
from reading import accepted

AS_OF = dt.date(2026, 12, 31)
SIGNS = ["Kx", "Zw*", "L", "Kx*", "Zw", "0", "S", "KxZw"]
BENCH = "Queen,Inseminated,Dose\n" + "".join(f"D{n},2025-06-{n:02},8\n" for n in range(1, 9))
LOOKS = "Queen,Check date,Seen\n" + "".join(
    f"D{n},2025-06-{n + 14},{sign}\n" for n, sign in enumerate(SIGNS, 1)
)


@pytest.fixture
def station(tmp_path):
    (tmp_path / "records").mkdir()
    for name, text in (("bench", BENCH), ("looks", LOOKS)):
        (tmp_path / "records" / f"{name}.csv").write_text(text, "utf-8")
    return tmp_path


@pytest.mark.parametrize(
    "legend",
    [
        "Sign;means\nKx;eggs\nZw;sealed brood, the figure behind it is the pattern\n0;queenless\n"
        "S;superseded\n*;queen seen\nL;frilly\n;\nyellow;sold\n",
        "Kx = eggs;;Zw = sealed brood\n0 = queenless;;S = superseded; * = queen seen\nL = frilly;;\n",
    ],
)
def test_what_a_legend_says_of_signs_is_what_they_mean(station, legend):
    (station / "records" / "signs.csv").write_text(legend, "utf-8")
    begun, _ = run(station)
    asked = {question.id: question for question in begun.open}
    # what nobody understands of it is shown where the sign is asked about
    assert '"signs.csv" says: frilly' in asked["word:findings:L"].evidence
    looks = {row["queen_id"]: row for row in accepted(station, AS_OF)["checks"]}
    assert (looks["D1"]["eggs"], looks["D5"]["sealed"]) == ("yes", "yes")
    assert looks["D7"]["sealed"] is None  # and no guess by the letter


def test_a_sheet_of_other_pairs_is_no_legend(station):
    (station / "records" / "prices.csv").write_text("A;ten\nB;twenty\nKx;eggs\n", "utf-8")
    begun, _ = run(station)
    assert "word:findings:Kx" in {question.id for question in begun.open}
