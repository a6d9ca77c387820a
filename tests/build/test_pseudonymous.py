"""What leaves the station under pseudonyms: no name in any byte, and every figure as it was."""

from __future__ import annotations

import json
import re
import shutil
import zipfile
import zlib
from collections import Counter
from pathlib import Path

import polars as pl
import printed
import pytest
from demo_station import run
from named_station import FRAGMENTS, write_named
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import site
from queen_outcomes.facts import exports as contract
from queen_outcomes.facts import pseudonyms, settings

pytestmark = pytest.mark.slow


def make(folder: Path) -> None:
    """Build the station under its names, then everything that may leave it."""
    place = write_named(folder / "station")
    for words in (
        ("build", place),
        ("build", place, "--pdf", "--pseudonyms", folder / "left"),
        ("export", place, folder / "csv", "--format", "csv", "--pseudonyms"),
        ("export", place, folder / "parquet", "--pseudonyms"),
    ):
        done = run(*words, "--quiet")
        assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def folder(shared):
    return shared.folder("named_station", make)


@pytest.fixture(scope="module")
def mask(folder):
    station = folder / "station"
    key = pseudonyms.station_key(station)
    with Store(
        station / "build" / "latest" / "station.duckdb", read_only=True
    ) as store:
        made = pseudonyms.mask_of(store, key, settings.load(station))
        pseudonyms.hide_names(store, made)  # sentences mask the labels then too
    return made


def texts(path: Path):
    """Give everything that a file says, in every way in which it may be packed."""
    content = path.read_bytes()
    yield path.name
    yield content.decode("latin-1")
    yield content.decode("utf-8", "replace")
    yield content.decode("utf-16-le", "replace")
    if path.suffix == ".parquet":
        frame = pl.read_parquet(path, glob=False)
        yield repr(frame.to_dicts())
    if path.suffix == ".pdf":
        yield " ".join(page.text for page in printed.pages(content))
        for stream in printed.STREAM.findall(content):
            try:
                yield zlib.decompress(stream).decode("latin-1")
            except zlib.error:
                continue
    if path.suffix in (".js", ".html", ".json"):
        # what stands behind \u00e4 and &auml;
        text = content.decode("utf-8")
        yield re.sub(r"\\u([0-9a-f]{4})", lambda found: chr(int(found[1], 16)), text)
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as packed:
            for name in packed.namelist():
                yield packed.read(name).decode("utf-8", "replace")


def found_in(place: Path) -> list[tuple[str, str]]:
    return [
        (path.relative_to(place).as_posix(), name)
        for path in sorted(place.rglob("*"))
        if path.is_file()
        for text in texts(path)
        for name in FRAGMENTS
        if name in text.casefold()
    ]


def test_the_search_finds_names_where_they_are(folder):
    """Every name is found in the named build, in tables, pages and the data beside them."""
    named = folder / "station" / "build" / "latest"
    places = found_in(named / "tables") + found_in(named / "dashboard")
    assert {name for _, name in places} == set(FRAGMENTS) - {"worfgrul"}
    assert {place.partition("/")[0] for place, _ in places} >= {
        *("quarantine.parquet", "outcomes.parquet", "operators.html", "data"),
        "sources.parquet",
    }
    assert "worfgrul" in (named / "run.json").read_text("utf-8").casefold()


@pytest.mark.parametrize("part", ["left", "csv", "parquet"])
def test_no_byte_of_what_leaves_holds_a_name(folder, part):
    assert found_in(folder / part) == []


def test_what_is_passed_on_is_a_dashboard_and_tables(folder, mask):
    left = folder / "left"
    assert {path.name for path in left.iterdir()} == {"dashboard", "tables", "run.json"}
    for name, _, _ in site.PAGES:
        assert (left / "dashboard" / f"{name}.html").is_file()
    assert list((left / "dashboard").glob("*.pdf"))
    journal = json.loads((left / "run.json").read_text("utf-8"))
    assert journal["pseudonyms"]["people"] == len(mask.codes)
    assert set(journal["settings"]["prior_cases"]) == {
        mask.codes["Worfgrul"],
        mask.codes["Zyxwal"],
    }
    page = (left / "dashboard" / "operators.html").read_text("utf-8")
    assert mask.codes["Zyxwal"] in page


def test_the_build_in_use_stays_and_nothing_is_fixed(folder):
    place = folder / "station"
    build = place / "build"
    runs = [path for path in build.iterdir() if re.match(r"\d{8}T", path.name)]
    assert [path.name for path in runs] == [(build / "latest").readlink().name]
    assert not (build / "history").exists()
    names = pl.read_parquet(build / "latest" / "tables" / "operators.parquet")
    assert "Zyxwal" in names["operator"].to_list()


@pytest.mark.parametrize("part", ["left/tables", "parquet"])
def test_every_figure_equals_the_named_build_s(folder, mask, part):
    named = folder / "station" / "build" / "latest" / "tables"
    compared = 0
    for name in contract.TABLES:
        was = pl.read_parquet(named / f"{name}.parquet")
        now = pl.read_parquet(folder / part / f"{name}.parquet")
        emptied = pseudonyms.AS_WRITTEN.get(name, ())
        masked = [
            {key: value for key, value in mask.row(row).items() if key not in emptied}
            for row in was.to_dicts()
        ]
        left = [
            {key: value for key, value in row.items() if key not in emptied}
            for row in now.to_dicts()
        ]
        assert sorted(map(repr, left)) == sorted(map(repr, masked)), name
        compared += len(left)
    assert compared > 500


def figures(page: Path, mask=None) -> Counter:
    """Give how often each number stands on a page, names being no matter."""
    text = page.read_text("utf-8")
    if mask is not None:
        text = mask.label(text)
    # codes, and names of data sets: both have digits
    text = re.sub(r"P-[2-9b-m]{8,}|data-[0-9a-f]{32}", "", text)
    return Counter(re.findall(r"\d+(?:\.\d+)?", text))


@pytest.mark.parametrize("name", ["index", "onset", "factors", "operators", "doses"])
def test_the_pages_show_the_same_figures(folder, mask, name):
    was = folder / "station" / "build" / "latest" / "dashboard" / f"{name}.html"
    now = folder / "left" / "dashboard" / f"{name}.html"
    seen = figures(now)
    assert sum(seen.values()) > 100
    assert seen == figures(was, mask)


def test_rows_stand_in_the_order_of_the_codes(folder, mask):
    table = pl.read_parquet(folder / "left" / "tables" / "operators.parquet")
    names = table["operator"].unique(maintain_order=True).to_list()
    assert names == sorted(names)
    by_name = [mask.codes[name] for name in sorted(mask.codes) if mask.codes[name] in names]
    assert names != by_name  # with this secret; else the order would tell


def test_an_audit_s_files_and_words_name_nobody(folder, mask, tmp_path):
    place = tmp_path / "station"
    shutil.copytree(folder / "station", place, symlinks=True)
    named = json.loads(run("audit", place, "--json").stdout)
    shutil.rmtree(place / "build" / "audit")
    for words in ((), ("--operator", "Zyxwal"), ("--operator", mask.codes["Zyxwal"])):
        done = run("audit", place, *words, "--pseudonyms", "--json")
        assert done.returncode == 0, done.stderr
        told = json.loads(done.stdout)
        said = done.stdout.casefold().replace(str(place).casefold(), "")
        assert not [name for name in FRAGMENTS if name in said]
        assert found_in(place / "build" / "audit") == []
        for row in named["operators"]:
            other = {**row, "operator": mask.codes[row["operator"]]}
            assert other in told["operators"]
    done = run("audit", place, "--operator", "Zyxwall", "--pseudonyms")
    assert done.returncode == 2
    said = done.stderr.replace("Zyxwall", "").casefold()
    assert "p-" in said
    assert not [name for name in FRAGMENTS if name in said]


def test_a_further_row_changes_no_code_and_a_lost_secret_all(folder, mask, tmp_path):
    place = tmp_path / "station"
    shutil.copytree(folder / "station", place, symlinks=True)
    with (place / "records" / "inseminations.csv").open("a", encoding="utf-8") as file:
        file.write("Q99,2026-04-01 09:00,Abrax,S00-0-plimzqa,8,8,single 8,,,\n")
    key = pseudonyms.station_key(place)
    later = pseudonyms.Mask(key, {"Abrax", *mask.codes}).codes
    assert {name: later[name] for name in mask.codes} == mask.codes
    (place / "pseudonyms.key").unlink()
    other = pseudonyms.Mask(pseudonyms.station_key(place), mask.codes).codes
    assert not set(other.values()) & set(mask.codes.values())


@pytest.mark.parametrize("kept", ["records", "build", "seasons"])
def test_a_place_of_the_station_s_own_is_refused(command, station, kept):
    ran = command("build", station, "--pseudonyms", station / kept / "out")
    assert ran.code == 2
    assert f"nothing is written into {kept}/" in ran.err


def test_a_folder_with_something_else_is_refused_before_anything_is_built(
    command, station, tmp_path
):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "run.json").write_text("{}", encoding="utf-8")
    ran = command("build", station, "--pseudonyms", tmp_path / "mine")
    assert (ran.code, "holds something else" in ran.err) == (2, True)
    ran = command(
        "build", station, "--until", "check", "--pseudonyms", tmp_path / "out"
    )
    assert ran.code == 2
    assert not (station / "build").exists()
