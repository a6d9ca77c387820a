"""The comparer can fail, and the committed files are what the generators write."""

import csv
import zipfile
from pathlib import Path

import pytest
from compare import JUDGED, KEY, as_written, compare, compare_station, folded
from make import HERE, STATIONS, make_all

# ten cells in three rows
TRUE = [
    {"queen_id": "Q-1", "checked_on": "2025-06-01", "eggs": "yes", "pattern_pct": "88"},
    {"queen_id": "Q-1", "checked_on": "2025-06-08", "eggs": "no", "pattern_pct": ""},
    {"queen_id": "Q-2", "checked_on": "2025-06-01", "eggs": "", "pattern_pct": "90"},
]
FOLDERS = [station.FOLDER for station in STATIONS]


def altered(index: int, **values: str | None) -> list[dict]:
    rows = [dict(row) for row in TRUE]
    rows[index].update(values)
    return rows


def verdict(
    rows: list[dict], same_id=as_written
) -> tuple[int, int, int, int, int, int]:
    report = compare("checks", rows, TRUE, same_id)
    assert report.clean == (rows_of(report) == (0, 0, 0, 0, 0))
    return (report.right, *rows_of(report))


def rows_of(report) -> tuple[int, int, int, int, int]:
    return (
        len(report.wrong), len(report.missing), len(report.extra),
        report.rows_missing, report.rows_extra,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        (TRUE, (10, 0, 0, 0, 0, 0)),
        (TRUE[::-1], (10, 0, 0, 0, 0, 0)),
        (altered(0, pattern_pct="88.0"), (10, 0, 0, 0, 0, 0)),
        (altered(0, checked_on="2025-06-01T00:00:00"), (10, 0, 0, 0, 0, 0)),
        (altered(0, pattern_pct="0.88"), (9, 1, 0, 0, 0, 0)),
        (altered(0, eggs="no"), (9, 1, 0, 0, 0, 0)),
        (altered(0, eggs=None), (9, 0, 1, 0, 0, 0)),
        (altered(2, eggs="no"), (10, 0, 0, 1, 0, 0)),
        # a column that the truth does not have at all
        (altered(0, larvae="no"), (10, 0, 0, 1, 0, 0)),
        # month and day exchanged: one wrong cell, not a lost and a new row
        (altered(0, checked_on="2025-01-06"), (9, 1, 0, 0, 0, 0)),
        (altered(0, queen_id="q1"), (9, 1, 0, 0, 0, 0)),
        (TRUE[:2], (7, 0, 3, 0, 1, 0)),
        ([*TRUE, {"queen_id": "Q-9", "checked_on": "2025-07-01"}], (10, 0, 0, 2, 0, 1)),
        # the same row twice
        ([*TRUE, TRUE[1]], (10, 0, 0, 3, 0, 1)),
        ([], (0, 0, 10, 0, 3, 0)),
    ],
)
def test_every_kind_of_difference_is_counted(rows, expected):
    assert verdict(rows) == expected


def test_an_hour_that_was_lost_is_one_wrong_cell():
    true = [{"queen_id": "1", "inseminated_at": "2025-06-01T14:35"}]
    for wrong in ("2025-06-01", "2025-06-01T02:35"):
        report = compare(
            "inseminations", [{"queen_id": "1", "inseminated_at": wrong}], true
        )
        assert (report.right, len(report.wrong), report.rows_missing) == (1, 1, 0)


def test_folded_labels_are_one_only_in_one_spelling(tmp_path: Path):
    assert folded("Q-12") == folded("q12") == folded("Q 012")
    assert (
        len({folded(label) for label in ("Q-12", "Q-120", "Q-1", "Q-2", "R-12")}) == 5
    )
    (tmp_path / "inseminations.csv").write_text(
        "queen_id,inseminated_at\nQ-1,2025-05-20\n", encoding="utf-8"
    )
    (tmp_path / "exits.csv").write_text(
        "queen_id,left_on,reason\nQ-1,2025-07-01,sold\n", encoding="utf-8"
    )
    bench = [{"queen_id": "Q-1", "inseminated_at": "2025-05-20"}]
    gone = {"left_on": "2025-07-01", "reason": "sold"}
    one = {"inseminations": bench, "exits": [{"queen_id": "Q-1", **gone}]}
    two = {"inseminations": bench, "exits": [{"queen_id": "Q 001", **gone}]}
    assert all(r.clean for r in compare_station(one, tmp_path, folded).values())
    unlinked = compare_station(two, tmp_path, folded)
    assert unlinked["inseminations"].clean
    assert [(c.true, c.read) for c in unlinked["exits"].wrong] == [("Q-1", "Q 001")]


def truth_rows(folder: str) -> dict[str, list[dict[str, str]]]:
    tables = {}
    for table in KEY:
        path = HERE / folder / "truth" / f"{table}.csv"
        if path.exists():
            with path.open(encoding="utf-8", newline="") as lines:
                tables[table] = list(csv.DictReader(lines))
    return tables


@pytest.mark.parametrize("folder", FOLDERS)
def test_the_truth_agrees_with_itself_and_not_with_a_spoilt_copy(folder: str):
    tables = truth_rows(folder)
    truth = HERE / folder / "truth"
    assert all(report.clean for report in compare_station(tables, truth).values())
    for table, rows in tables.items():
        for column in rows[0]:
            row = next(r for r in rows if r[column])
            kept, row[column] = row[column], "spoilt"
            report = compare_station(tables, truth)[table]
            assert not report.clean, (table, column)
            row[column] = kept


def test_queens_may_stand_in_a_flat_sheet():
    tables = truth_rows("01_wide_words")
    queens = {row["queen_id"]: row for row in tables.pop("queens")}
    for row in tables["inseminations"]:
        row.update(queens[row["queen_id"]])
    reports = compare_station(tables, HERE / "01_wide_words" / "truth")
    assert all(report.clean for report in reports.values())
    tables["inseminations"][3]["line"] = "Elm"
    reports = compare_station(tables, HERE / "01_wide_words" / "truth")
    assert [cell.read for cell in reports["queens"].wrong] == ["Elm"]


def test_an_unplaced_row_may_be_read_or_not():
    tables = truth_rows("08_colony_only")
    tables["checks"].append(
        {"colony_id": "N60", "checked_on": "2024-06-20", "eggs": "no"}
    )
    truth = HERE / "08_colony_only" / "truth"
    assert compare_station(tables, truth)["checks"].clean
    tables["checks"].append(
        {"colony_id": "N61", "checked_on": "2024-06-20", "eggs": "no"}
    )
    assert compare_station(tables, truth)["checks"].rows_extra == 1


def contents(path: Path) -> object:
    """A file's bytes; of a workbook its parts, since zlib's differ by version."""
    if path.suffix != ".xlsx":
        return path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        return [(i.filename, i.date_time, archive.read(i)) for i in archive.infolist()]


@pytest.mark.parametrize("folder", FOLDERS)
def test_a_truth_table_uses_only_the_columns_of_the_records(folder: str):
    for table, rows in truth_rows(folder).items():
        assert set(rows[0]) <= set(JUDGED[table])


def test_the_generators_write_the_committed_files(tmp_path: Path):
    make_all(tmp_path)
    made = {p.relative_to(tmp_path) for p in tmp_path.rglob("*") if p.is_file()}
    kept = {
        path.relative_to(HERE)
        for folder in FOLDERS
        for path in (HERE / folder).rglob("*")
        if path.is_file() and path.name != "station.toml"  # written by hand
    }
    assert made == kept
    differing = [
        str(p) for p in sorted(made) if contents(tmp_path / p) != contents(HERE / p)
    ]
    assert differing == []
