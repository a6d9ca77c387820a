"""The whole job on the invented station, through the installed command."""

from __future__ import annotations

import hashlib
import shutil
import sys
from html.parser import HTMLParser
from pathlib import Path

import duckdb
import polars as pl
import pytest
from demo_station import journal, make, run

pytestmark = pytest.mark.slow
ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture
def built(built_demo):
    return built_demo


@pytest.fixture(scope="module")
def latent():
    sys.path.insert(0, str(ROOT))
    from demo import make as demo_make
    from demo.generator import simulate
    from demo.truth import Truth

    return simulate(Truth(), demo_make.SEED)["latent"]


def table(build, name):
    return pl.read_parquet(build / "tables" / f"{name}.parquet")


def signals(build):
    series = table(build, "operator_series").filter(pl.col("signal") != "")
    return set(series.select("operator", "series", "course_id", "signal").iter_rows())


def test_every_row_read_is_accepted_or_quarantined(built):
    sources = table(built, "sources")
    assert sources["rows_read"].sum() > 20_000
    for row in sources.iter_rows(named=True):
        assert row["rows_read"] == row["accepted"] + row["quarantined"]
    assert table(built, "quarantine").unique(["source", "line"]).height == (
        sources["quarantined"].sum()
    )


def test_what_can_be_settled_agrees_with_the_truth_of_the_generator(built, latent):
    found = table(built, "outcomes").filter(pl.col("closed"))
    for outcome, window, truth, least in (
        ("laying", 21, "laying_21", 0.97),
        ("lost", 21, "lost_21", 0.95),
    ):
        answered = found.filter(
            (pl.col("outcome") == outcome)
            & (pl.col("window_days") == window)
            & pl.col("state").is_in(["yes", "no"])
        ).join(latent, on="course_id")
        agrees = (answered["state"] == "yes") == answered[truth]
        assert answered.height > 1000
        assert agrees.mean() > least, outcome


def test_onset_intervals_hold_the_true_day(built, latent):
    # misjudged cells are planted, so a few intervals are wrong as they would be in life
    found = (
        table(built, "onset")
        .filter(pl.col("by").is_not_null() & ~pl.col("conflict"))
        .join(latent, on="course_id")
        .filter(pl.col("onset_day").is_not_null())
    )
    holds = (found["after"] < found["onset_day"]) & (found["onset_day"] <= found["by"])
    assert found.height > 1000
    assert holds.mean() > 0.95


def test_open_cohorts_due_checks_and_quarantine_are_there_to_be_seen(built):
    assert table(built, "outcomes").filter(~pl.col("closed")).height > 100
    assert set(table(built, "due")["status"]) == {"due", "missed"}
    assert journal(built)["as_of"] == "2026-07-19"


def test_a_drift_is_signalled_or_said_to_be_out_of_reach(built):
    sys.path.insert(0, str(ROOT))
    from demo.truth import Truth

    (drift,) = Truth().drifts
    own = pl.col("operator") == drift.operator
    found = table(built, "operator_series").filter(own & (pl.col("signal") != ""))
    if found.height:
        assert set(found["signal"]) == {"worse"}
        assert found["inseminated_at"].min().date() >= drift.since
    else:  # failures beyond the expected gather from then on, and a miss is likely
        limits = table(built, "series_limits").filter(own)
        assert limits["detection"].max() < 0.5
        page = (built / "dashboard" / "operators.html").read_text(encoding="utf-8")
        assert "A doubling is often missed" in page
    level = table(built, "operator_series").filter(own & (pl.col("series") == "level"))
    day = level["inseminated_at"].dt.date()
    before = level.filter(day < drift.since)["sum_over_expected"][-1]
    assert level["sum_over_expected"][-1] > before + 5


def test_the_bad_graft_is_one_signal_that_names_the_batch(built):
    found = table(built, "operators").filter(
        (pl.col("outcome") == "laying") & (pl.col("operator") == "Birch")
    )
    signals = table(built, "operator_series").filter(
        (pl.col("operator") == "Birch") & (pl.col("signal") != "")
    )
    assert "level" in set(signals["series"])
    assert found["signals"].item() == 1
    page = (built / "dashboard" / "operators.html").read_text(encoding="utf-8")
    assert "nobody else worked on it" in page


def test_a_bad_graft_of_one_operator_is_shown_as_a_batch(built, tmp_path):
    grafts = table(built, "batches").filter(
        (pl.col("outcome") == "laying")
        & (pl.col("kind") == "graft_batch")
        & (pl.col("ratio") > 1)
    )
    alone = grafts.sort("mid_p").head(1)
    assert alone["mid_p"].item() < 0.05
    assert alone["operators"].list.len().item() == 1
    (operator,) = alone["operators"][0]
    station = shutil.copytree(built.parents[1], tmp_path / "copy", symlinks=True)
    told = run("audit", station, "--operator", operator)
    assert told.returncode == 0
    assert f"Graft batch {alone['batch'][0]}" in told.stdout
    assert "operator and batch cannot be told apart" in told.stdout


def test_what_the_season_fixed_is_there_to_read_and_hashed(built):
    text = (built.parent.parent / "seasons" / "2026.toml").read_bytes()
    kept = journal(built)["season"]
    assert kept["sha256"] == hashlib.sha256(text).hexdigest()
    assert b"risk of laying by day 21" in text


class _Nesting(HTMLParser):
    """The elements that are open, and what closed something else."""

    ALONE = frozenset(["meta", "link", "input", "br", "img", "hr", "col", "source", "wbr"])

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.wrong: list[str] = []

    def handle_starttag(self, tag, attrs):
        if tag == "summary" and self.open[-1] != "details":
            self.wrong.append(f"{self.getpos()}: a summary in {self.open[-1]}")
        if tag not in self.ALONE:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        pass

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"{self.getpos()}: </{tag}>")


def test_what_a_page_opens_it_closes(built):
    pages = sorted((built / "dashboard").glob("*.html"))
    assert len(pages) > 7
    for page in pages:
        nesting = _Nesting()
        nesting.feed(page.read_text(encoding="utf-8"))
        assert (nesting.wrong[:1], nesting.open) == ([], []), page.name


def test_two_builds_give_the_same_bytes(built, tmp_path):
    again = make(tmp_path / "again")
    names = sorted(
        path.relative_to(built)
        for part in ("tables", "dashboard")
        for path in (built / part).rglob("*")
        if path.is_file()
    )
    assert len(names) > 15
    for name in names:
        assert (built / name).read_bytes() == (again / name).read_bytes(), name


def test_explain_due_and_export_read_the_finished_build(built, tmp_path):
    station = built.parent.parent
    with duckdb.connect(str(built / "station.duckdb"), read_only=True) as con:
        ((queen,),) = con.execute("SELECT min(queen_id) FROM courses").fetchall()
    told = run("explain", station, queen)
    assert told.returncode == 0
    assert "inseminations.csv:" in told.stdout
    assert run("due", station).stdout.count("\n") > 10
    assert run("export", station, tmp_path / "out", "--format", "csv").returncode == 0
    assert (tmp_path / "out" / "datapackage.json").is_file()


def test_an_export_under_pseudonyms_names_no_operator(built, tmp_path):
    out = tmp_path / "out"
    words = ("export", built.parent.parent, out, "--format", "csv", "--pseudonyms")
    assert run(*words).returncode == 0
    text = "".join(path.read_text("utf-8") for path in sorted(out.iterdir()))
    for (name,) in table(built, "operators").select("operator").unique().iter_rows():
        assert name not in text


def test_a_rebuild_as_of_a_later_day_tells_what_changed(built, tmp_path):
    station = tmp_path / "copy"
    shutil.copytree(built.parent.parent, station, symlinks=True)
    before = signals(built)
    assert run("build", station, "--as-of", "2026-07-26").returncode == 0
    changes = table(station / "build" / "latest", "changes")
    assert changes.height > 20
    assert set(changes["was"].drop_nulls()) <= {"yes", "no", "undecided", "left"}
    # a week of further courses is in the series, and no signal has vanished
    later = signals(station / "build" / "latest")
    assert before
    assert before <= later
