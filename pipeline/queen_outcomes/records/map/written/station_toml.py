"""Write the mapping into `station.toml`, and keep everything that stands there.

Comments, order and blanks stay; lists are added to; a rule for a sheet that has one is
not written again. Questions left open become `# OPEN` lines at the end.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from typing import Any

import tomlkit

from queen_outcomes.records.map.asked.questions import (
    Question,
    open_line,
    refused_line,
    without_open_lines,
)
from queen_outcomes.records.map.written.mapping import Written
from queen_outcomes.records.map.written.sections import (
    ORDER_KEYS,
    put_file,
    put_records,
    put_rule,
    put_words,
    section_of,
    without_station,
)
from queen_outcomes.records.map.written.settled import settle


def put(
    text: str,
    written: Written,
    *,
    open_ones: Iterable[Question] = (),
    refused_ones: Iterable[Question] = (),
    answered: Iterable[Question] = (),
    everything: Written | None = None,
) -> str:
    """Put a mapping into the settings' text.

    Parameters
    ----------
    text : str
        The settings as they stand.
    written : Written
        Rules and habits of the new sheets.
    open_ones : iterable of Question
        Questions that stay open.
    refused_ones : iterable of Question
        Questions answered with no, of which no setting keeps a trace.
    answered : iterable of Question
        Earlier open questions that now have an answer; the rules they concern are
        changed in that place alone.
    everything : Written, optional
        The mapping of all sheets, from which those places are taken.

    Returns
    -------
    str
        Valid TOML.
    """
    document = tomlkit.parse(without_open_lines(text).rstrip("\n") + "\n")
    first_time = not document.get("read") and not document.get("tables")
    files = dict(written.files)
    if first_time:
        files = _of_the_station(
            document, files, [s for r in written.rules for s in r.sources]
        )
    put_records(document, written.records)
    put_words(document, written.words)
    for source, habits in files.items():
        put_file(document, source, without_station(document, habits))
    for rule in written.rules:
        put_rule(document, rule)
    if everything is not None:
        for question in answered:
            settle(document, question, everything)
    result = tomlkit.dumps(document).rstrip("\n") + "\n"
    lines = [refused_line(question) for question in refused_ones]
    lines += [open_line(question) for question in open_ones]
    if lines:
        result += "\n" + "\n".join(lines) + "\n"
    tomllib.loads(result)
    return result


def _of_the_station(
    document: tomlkit.TOMLDocument,
    files: Mapping[str, Mapping[str, Any]],
    sources: list[str],
) -> dict[str, dict[str, Any]]:
    """Move to the station what every file that says anything of it has alike."""
    left = {source: dict(habits) for source, habits in files.items()}
    for habit, (section, key) in ORDER_KEYS.items():
        values = {habits[habit] for habits in left.values() if habit in habits}
        silent = [s for s in sources if habit not in left.get(s, {})]
        # a file with decimal points among files with commas keeps its own
        if len(values) != 1 or key in document.get(section, {}):
            continue
        if habit == "decimal" and silent:
            continue
        section_of(document, section)[key] = values.pop()
        for habits in left.values():
            habits.pop(habit, None)
    return {source: habits for source, habits in left.items() if habits}
