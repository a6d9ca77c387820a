"""What a person meets when the records cannot be used: words, and no half-made build."""

import json

import pytest
import xlsxwriter

INSEMINATIONS = "queen_id,inseminated_at,dose_ul\nQ1,2026-05-01,8\nQ2,2026-05-01,8\n"
CHECKS = "queen_id,checked_on,eggs\nQ1,2026-05-14,yes\nQ2,2026-05-14,no\n"


@pytest.fixture
def records(station):
    """A station with the two tables that must be there."""
    folder = station / "records"
    (folder / "inseminations.csv").write_text(INSEMINATIONS, encoding="utf-8")
    (folder / "checks.csv").write_text(CHECKS, encoding="utf-8")
    return folder


def wide(path):
    """Write a sheet of two hundred columns, of which we know three."""
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("checks")
        for column in range(200):
            sheet.write(0, column, f"Column {column}")
        for column, name in enumerate(("queen_id", "checked_on", "eggs")):
            sheet.write(0, 100 + column, name)
        sheet.write_row(1, 100, ["Q1", "2026-05-14", "yes"])


REFUSED = {
    "no records at all": (lambda r: [p.unlink() for p in r.iterdir()], "inseminations"),
    "an empty file": (lambda r: (r / "checks.csv").write_bytes(b""), "empty"),
    "rubbish named csv": (
        lambda r: (r / "checks.csv").write_bytes(bytes(range(256)) * 40),
        "not a text table",
    ),
    "a locked workbook": (
        lambda r: (r / "lab.xlsx").write_bytes(
            bytes.fromhex("d0cf11e0a1b11ae1") + bytes(4096)
        ),
        "password",
    ),
    "a missing column": (
        lambda r: (r / "checks.csv").write_text("queen_id,chekced_on\nQ1,2026-05-14\n"),
        "chekced_on",
    ),
    "a required table missing": (lambda r: (r / "checks.csv").unlink(), "checks"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_unusable_records_are_refused_in_words(command, records, name):
    spoil, expected = REFUSED[name]
    spoil(records)
    ran = command("build", records.parent)
    assert ran.code == 3, ran.err
    assert expected in ran.err
    assert "Traceback" not in ran.err
    assert not (records.parent / "build" / "latest").exists()


@pytest.mark.slow
def test_a_refused_build_leaves_the_one_before_as_it_was(command, records):
    assert command("build", records.parent).code == 0
    latest = records.parent / "build" / "latest"
    before = (latest / "run.json").read_bytes()
    (records / "checks.csv").write_bytes(b"")
    assert command("build", records.parent).code == 3
    assert (latest / "run.json").read_bytes() == before


REFUSALS = {
    "no insemination of a day": (
        lambda r: (r / "inseminations.csv").write_text(
            INSEMINATIONS.replace("2026-05-01", "soon")
        ),
        (),
        "2 inseminations read, 2 of them in quarantine",
    ),
    "no insemination accepted": (
        lambda r: (r / "inseminations.csv").write_text(
            "insemination_id,queen_id,inseminated_at\nA,Q1,2026-05-01\nA,Q2,2026-05-02\n"
        ),
        (),
        "no insemination can be used",
    ),
    "unread files and no rows": (
        lambda r: [
            *(
                (r / f"{n}.csv").write_text("queen_id,inseminated_at,checked_on\n")
                for n in ("inseminations", "checks")
            ),
            (r / "bench book.csv").write_text(INSEMINATIONS),
        ],
        (),
        "not read: bench book.csv",
    ),
    "a day before the first record": (
        lambda r: None,
        ("--as-of", "2026-04-30"),
        "as of 2026-04-30, first insemination on 2026-05-01",
    ),
}


@pytest.mark.slow
def test_a_build_that_stands_on_nothing_is_refused_and_the_last_one_stays(
    command, records
):
    station = records.parent
    assert command("build", station).code == 0
    latest = station / "build" / "latest"
    before = latest.resolve(), (latest / "run.json").read_bytes()
    good = {path: path.read_bytes() for path in records.iterdir()}
    for name, (spoil, flags, told) in REFUSALS.items():
        spoil(records)
        ran = command("build", station, *flags)
        assert (ran.code, told in ran.err) == (3, True), (name, ran.err)
        assert (latest.resolve(), (latest / "run.json").read_bytes()) == before, name
        for path in records.iterdir():
            path.unlink()
        for path, content in good.items():
            path.write_bytes(content)
    assert (
        command("build", station, "--as-of", "2026-05-01", "--until", "check").code == 0
    )


@pytest.mark.slow
def test_what_nothing_reads_ends_strict_builds_and_check_with_one(command, records):
    (records / "bench notes.docx").write_bytes(b"x")
    station, build = records.parent, ("build", records.parent, "--until", "check")
    ran = command(*build)
    assert ran.code == 0
    assert 'NOT READ: 1 file or sheet in records/ ("bench notes.docx")' in ran.err
    assert command(*build, "--strict").code == 1
    assert command("check", station).code == 1
    with (station / "station.toml").open("a", encoding="utf-8") as file:
        file.write('[records]\nignore = ["*.docx"]\n')
    ran = command(*build, "--strict")
    assert ran.code == 0
    assert "NOT READ" not in ran.err
    assert command("check", station).code == 0


@pytest.mark.slow
def test_headings_alone_make_a_build_that_says_there_is_nothing_yet(command, records):
    for path in records.iterdir():
        path.write_text(path.read_text(encoding="utf-8").splitlines()[0] + "\n")
    assert command("build", records.parent).code == 0
    page = records.parent / "build" / "latest" / "dashboard" / "index.html"
    assert "No queen has been inseminated" in page.read_text(encoding="utf-8")


@pytest.mark.slow
def test_the_same_file_twice_counts_once_and_is_told(command, records):
    (records / "checks_copy.csv").write_text(CHECKS, encoding="utf-8")
    ran = command("build", records.parent)
    assert ran.code == 0
    assert "copy" in ran.err
    told = command("explain", records.parent, "Q1")
    assert told.out.count("checks") >= 1
    assert command("check", records.parent).code == 0


@pytest.mark.slow
def test_a_sheet_of_two_hundred_columns_is_read(command, records):
    (records / "checks.csv").unlink()
    wide(records / "checks.xlsx")
    ran = command("build", records.parent, "--until", "derive")
    assert ran.code == 0, ran.err


HUGE = 10**20


@pytest.mark.parametrize(
    "setting",
    [
        f"[outcomes]\nlaying_days = {HUGE}",
        f"[show]\nhistory_builds = {HUGE}",
        f"[prior_cases]\nAda = -{HUGE}",
        f"[season]\nfirst_month = {HUGE}",
        f'[files."*"]\nheader = {HUGE}',
        f'[files."*"]\nyear = {HUGE}',
        f"[limits.inseminations]\ndose_ul.hard = [0, {HUGE}]",
        f"[limits.derived]\nqueen_age_days.soft = [-{HUGE}, 3]",
    ],
)
def test_a_whole_number_beyond_any_range_is_refused_in_words(command, records, setting):
    settings = records.parent / "station.toml"
    settings.write_text(f'name = "Huge"\n{setting}\n', encoding="utf-8")
    ran = command("check", records.parent)
    assert (ran.code, "Traceback" in ran.err) == (2, False)
    assert "station.toml" in ran.err
    assert str(HUGE) in ran.err


@pytest.mark.slow
def test_limits_without_an_end_on_either_side_bound_nothing(command, records):
    (records / "inseminations.csv").write_text(
        INSEMINATIONS.replace(",8", ",70"), encoding="utf-8"
    )
    nothing = "{ hard = [-inf, inf], soft = [-inf, inf] }"
    (records.parent / "station.toml").write_text(
        f"[limits.inseminations]\ndose_ul = {nothing}\nattempts = {nothing}\n"
        f"[limits.derived]\nqueen_age_days = {nothing}\n",
        encoding="utf-8",
    )
    ran = command("check", records.parent, "--verify", "--json")
    assert ran.code == 0, ran.err
    read = {row["table"]: row for row in json.loads(ran.out)["summary"]}
    assert read["inseminations"]["set aside"] == read["inseminations"]["look"] == 0
    assert command("build", records.parent, "--until", "derive").code == 0


@pytest.mark.slow
def test_cells_beyond_any_range_are_set_aside_one_by_one(command, records):
    cells = (2**63, -(2**63) - 1, "9" * 400, "1e309", 10**20)
    rows = "".join(f"Q{n + 3},2026-05-0{n + 1},{cell}\n" for n, cell in enumerate(cells))
    (records / "inseminations.csv").write_text(
        INSEMINATIONS.replace("dose_ul", "attempts") + rows, encoding="utf-8"
    )
    ran = command("check", records.parent, "--json")
    assert "Traceback" not in ran.err
    read = {row["table"]: row for row in json.loads(ran.out)["summary"]}
    assert read["inseminations"]["accepted"] == 2 + len(cells)
    assert read["inseminations"]["set aside"] == len(cells)


@pytest.mark.slow
def test_thousands_of_columns_hang_nothing(command, records):
    path = records / "checks.csv"
    first, *rows = path.read_text("utf-8").splitlines()
    more = "".join(f",c{number}" for number in range(3_000))
    wider = [first + more, *(row + ",x" * 3_000 for row in rows)]
    path.write_text("\n".join(wider) + "\n", "utf-8")
    ran = command("check", records.parent, "--json")
    assert ran.code == 0, ran.err
    read = {row["table"]: row for row in json.loads(ran.out)["summary"]}
    assert read["checks"]["read"] == read["checks"]["accepted"] == len(rows)


@pytest.mark.slow
def test_a_quarantined_row_makes_check_and_strict_builds_end_with_one(command, records):
    with (records / "checks.csv").open("a", encoding="utf-8") as file:
        file.write("Q1,someday,yes\n")
    assert command("check", records.parent).code == 1
    build = ("build", records.parent, "--until", "check")
    assert command(*build).code == 0
    assert command(*build, "--strict").code == 1
