"""Find a queen, and see what her records say of her.

The page carries the list of courses; what is told of each queen lies in further files
that her browser loads when she is picked, so that 50,000 courses open at once.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.dashboard import queen_details, queen_files, queen_index
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings

STATIC = (
    "queens.css",
    "queens-data.js",
    "queens-words.js",
    "queens-table.js",
    "queens-marks.js",
    "queens-story.js",
    "queens-timeline.js",
    "queens-panel.js",
)
"""The page's own style and scripts."""


def show(store: Store, settings: Settings, as_of: dt.date) -> dict[str, Any]:
    """Give what the page `queens.html` shows, and the files it loads."""
    courses = store.frame(resources.read("sql", "10_pages", "queen_cards.sql"))
    answers = store.frame(resources.read("sql", "10_pages", "queen_answers.sql"))
    queens = courses["queen_id"].unique().sort().to_list()
    sources = words.source_names(store)
    listed = queen_index.index(courses, answers, queens, settings, as_of)
    listed["sources"] = sources
    listed["queens_a_file"] = queen_files.QUEENS_A_FILE
    told = queen_details.tables(store, courses, answers, settings, as_of)
    parts = queen_files.files(told, queens, sources, settings.outcomes.windows)
    rules = settings.outcomes
    return {
        "count": len(courses),
        "questions": rules.windows,
        "first_window": rules.laying_days[0],
        "first_answer": rules.laying_days[0] + rules.grace_days,
        "files": {
            "data/queens-list.js": _script("list", listed),
            **{
                f"data/queens-{number}.js": _script(number, part)
                for number, part in enumerate(parts)
            },
        },
        "charts": {},
    }


def _script(name: str | int, content: dict[str, Any]) -> str:
    """Give a script that hands its content over; a page from a disk may load no other."""
    return f"queens.take({words.script_json(name)}, {words.script_json(content)});\n"
