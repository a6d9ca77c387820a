"""Write the demo station's records: ``python demo/make.py [DEST]``."""

from __future__ import annotations

import sys
from pathlib import Path

import polars as pl

HERE = Path(__file__).resolve().parent
if str(HERE.parent) not in sys.path:  # run as a script from a checkout
    sys.path.insert(0, str(HERE.parent))

from demo import blemishes, sheets  # noqa: E402
from demo.generator import simulate  # noqa: E402
from demo.truth import Truth  # noqa: E402

SEED = 20250424
WORKBOOK = ("queens", "semen", "lab")


def texts() -> tuple[dict[str, pl.DataFrame], dict, pl.DataFrame]:
    """The spoilt text frames, the column types, and what was planted."""
    tables = simulate(Truth(), SEED)
    del tables["latent"]
    # nobody at this station keeps these two columns
    tables["inseminations"] = tables["inseminations"].drop("trial", "block")
    kinds = {name: dict(frame.schema) for name, frame in tables.items()}
    out = {name: sheets.as_text(name, frame) for name, frame in tables.items()}
    year = pl.col("checked_on").str.slice(0, 4)
    file = pl.format("checks_{}", year).alias("file")
    out["checks"] = out["checks"].with_columns(file)
    remark = pl.when(pl.int_range(pl.len()) % 119 == 5).then(pl.lit("à revoir"))
    out["exits"] = out["exits"].with_columns(remark.alias("Remarks"))
    out, planted = blemishes.plant(out)
    return out, kinds, planted


def build() -> tuple[dict[str, bytes], pl.DataFrame]:
    """Every file's bytes by name, and the table of planted blemishes."""
    frames, kinds, planted = texts()
    files: dict[str, bytes] = {}
    for table in ("inseminations", "placements", "co2"):
        text = blemishes.break_lines(table, sheets.csv_text(table, frames[table]))
        files[f"{table}.csv"] = text.encode("utf-8")
    for (name,), part in frames["checks"].group_by("file", maintain_order=True):
        text = sheets.csv_text("checks", part.drop("file"))
        if name == "checks_2026":
            text = blemishes.break_lines("checks", text)
        files[f"{name}.csv"] = text.encode("utf-8")
    text = sheets.csv_text("exits", frames["exits"], separator=";")
    files["exits.csv"] = text.encode("cp1252")
    book = {name: frames[name] for name in WORKBOOK}
    files["queens_and_semen.xlsx"] = sheets.workbook_bytes(book, kinds)
    return files, planted


def main(arguments: list[str]) -> int:
    """Write the files to the folder named, by default ``demo/records``."""
    folder = Path(arguments[0]) if arguments else HERE / "records"
    folder.mkdir(parents=True, exist_ok=True)
    files, planted = build()
    for name, content in sorted(files.items()):
        (folder / name).write_bytes(content)
        print(f"{name:24} {len(content):>9,} bytes")
    print(f"{len(planted)} blemishes of {planted['kind'].n_unique()} kinds planted")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
