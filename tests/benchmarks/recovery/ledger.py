"""The file of results: one line of JSON a station, so that a broken run goes on."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

Row = dict[str, Any]


class Ledger:
    """An open file of results; its first line says what every station has in common.

    Parameters
    ----------
    path : Path
        Made when absent. A last line that was cut off is left out.
    run : dict
        Seed and world.

    Raises
    ------
    SystemExit
        The file holds another run.
    """

    def __init__(self, path: Path, run: Row) -> None:
        self.path, self.run = path, run
        lines = read(path)
        held = next((line["run"] for line in lines if "run" in line), run)
        if held != run:
            raise SystemExit(
                f"{path} holds another run.\n  found: {held}\n  expected: {run}\n"
                "  give another --out, or the choices that it was begun with"
            )
        self.done = {line["station"] for line in lines if "station" in line}
        kept = [line for line in lines if "station" in line]
        fresh = path.with_name(path.name + ".part")  # a break here must lose nothing
        _write(fresh, "w", [{"run": run}, *kept])
        fresh.replace(path)

    def add(self, row: Row) -> None:
        """Write a station's line."""
        _write(self.path, "a", [row])
        self.done.add(row["station"])


def _write(path: Path, mode: str, rows: Iterable[Row]) -> None:
    with path.open(mode, encoding="utf-8") as file:
        file.writelines(json.dumps(row) + "\n" for row in rows)


def read(path: Path) -> list[Row]:
    """Give the lines that are whole."""
    rows = []
    if path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            try:
                rows.append(json.loads(line))
            except json.JSONDecodeError:
                continue
    return rows
