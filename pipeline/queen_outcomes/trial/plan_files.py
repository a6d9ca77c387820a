"""Where a plan goes: the bench list and the sheet as files, the rest to the terminal."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from queen_outcomes.base.console import Console
from queen_outcomes.base.errors import UsageError
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records.sources import fits, table_of_file
from queen_outcomes.trial.plan import Plan, make
from queen_outcomes.trial.plan_list import list_csv
from queen_outcomes.trial.plan_sheet import sheet
from queen_outcomes.trial.plan_words import as_json, sections

__all__ = ["make", "tell", "write"]


def write(
    plan: Plan, station: Path, csv_file: Path | None, page: Path | None
) -> dict[str, Path]:
    """Write the bench list and the sheet where they are asked for.

    Returns
    -------
    dict
        "csv" and "sheet" -> the file written.

    Raises
    ------
    UsageError
        The list would land in the station's records unfilled, or over another file.
    """
    written = {}
    if csv_file:
        written["csv"] = write_list(plan, csv_file, station)
    if page:
        page.write_text(sheet(plan), encoding="utf-8", newline="\n")
        written["sheet"] = page
    return written


def tell(plan: Plan, files: Mapping[str, Path], console: Console) -> None:
    """Print a plan and the files written; what needs a second look goes to stderr."""
    for remark in plan.remarks:
        console.note(f"note: {remark}")
    if "csv" in files and (remark := name_remark(files["csv"], plan.settings)):
        console.note(f"note: {remark}")
    if console.json:
        written = {name: str(path) for name, path in files.items()}
        console.emit_json({**as_json(plan), "files": written})
        return
    for at, section in enumerate(sections(plan)):
        console.emit(("\n" if at else "") + section.title)
        if section.columns:
            console.emit_table(section.columns, section.rows)
        for line in section.lines:
            console.tell(f"  {line}")
    if files:
        console.emit("\nWritten")
    for path in files.values():
        console.emit(f"  {path}")


def write_list(plan: Plan, path: Path, station: Path) -> Path:
    """Write the bench list to be filled in.

    Raises
    ------
    UsageError
        It would land in the station's records unfilled, or over another file.
    """
    if path.resolve().is_relative_to((station / "records").resolve()):
        raise UsageError(
            "an empty list is not a record yet",
            where=str(path),
            expected="a place outside the station's records",
            hint="fill it in first; then put its filled rows into records/",
        )
    text = list_csv(plan.bench_list(), plan.request, plan.settings)
    if path.exists() and path.read_bytes() != text.encode():
        raise UsageError(
            "another file stands where the bench list was to go",
            where=str(path),
            hint="it may be a list filled in by hand: move it, or name another file",
        )
    path.write_text(text, encoding="utf-8", newline="")
    return path


def name_remark(path: Path, settings: Settings) -> str:
    """Say how the file must be named to be read as inseminations; empty if it is."""
    patterns = settings.reading.files.get("inseminations")
    if patterns and any(fits(pattern, path.name) for pattern in patterns):
        return ""
    if patterns:
        return (
            f"to be read, {path.name} must be one of the files under [tables] "
            f"inseminations in station.toml: {', '.join(patterns)}"
        )
    if table_of_file(path.name) == "inseminations":
        return ""
    return (
        f"to be read, {path.name} must have a name that begins with "
        f"inseminations, such as inseminations_{path.name}"
    )
