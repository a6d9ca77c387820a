"""What a build writes down about itself: versions, settings, files.

The only part of a build's results that carries the clock.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import platform
from dataclasses import asdict
from importlib import metadata
from pathlib import Path
from typing import Any

from queen_outcomes import __version__
from queen_outcomes.base import folders
from queen_outcomes.base.console import plain
from queen_outcomes.facts.settings import Settings

JOURNALLED = ("polars", "duckdb", "great-expectations", "altair", "pyarrow")
"""Libraries whose version could change a result."""


def begin(
    station: Path, settings: Settings, day: dt.date, now: dt.datetime
) -> dict[str, Any]:
    """Give what is known of a build before its first step."""
    resolved = json.loads(json.dumps(asdict(settings), default=plain))
    text = json.dumps(resolved, sort_keys=True)
    return {
        "version": __version__,
        "as_of": day.isoformat(),
        "started": now.isoformat(timespec="seconds"),
        "python": platform.python_version(),
        "libraries": {name: metadata.version(name) for name in JOURNALLED},
        "settings_sha256": hashlib.sha256(text.encode()).hexdigest(),
        "settings": resolved,
        "files": folders.fingerprint(station),
    }
