"""Codes in the place of people's names, for what leaves the station.

A code is keyed by a secret that the station keeps in a file of its own, so that nobody
without it can try names out, and it depends on the name alone: rows that are added, or
another order of theirs, change none. Names are masked on finished rows, which are then
sorted anew, so figures stay what they are and no order by name tells who is who.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.outputs import write_files
from queen_outcomes.base.store import Store, literal, quote
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings

KEY_FILE = "pseudonyms.key"
"""In the station's folder, outside of what builds make and remove."""
PREFIX = "P-"
_HEXADECIMAL = str.maketrans("0123456789abcdef", "23456789bcdfghkm")
"""A code's digits are no vowels, so that none spells a word or a name."""
SIZES = (8, 16, 64)
"""Digits of a code: the first that keeps everybody apart."""
SUBSTRING = 5
"""A name of so many letters is found inside of a word too, as in a bench's label."""
PART = 3
"""So many letters make a capitalised part of a name, such as a surname, one of its own."""

PEOPLE = {"operator", "checker", "first_checker", "second_checker"}
"""Columns that hold a person's name and nothing else."""
MANY_PEOPLE = "operators"
FREE = {
    column.name
    for table in TABLES.values()
    for column in table.columns
    if column.kind == "text"
}
"""Columns of the records with free text: dropped."""
RECORDS = (*(f"accepted_{table}" for table in TABLES), "linked_checks", "doses_given")
"""Tables that hold the records' own columns."""
AS_WRITTEN = {"quarantine": ("value", "message", "row"), "listed": ("value", "message")}
AS_WRITTEN |= {"listed_records": AS_WRITTEN["listed"]}
"""Columns that quote cells of the records, and so may say anything: emptied."""
ROW = "row"
"""A quoted row as JSON: what is left of it is an object without a member."""
OURS = {
    *("outcome", "state", "was", "is", "grouping", "table", "column", "reason"),
    *("severity", "expectation", "kind", "measure", "series", "signal", "direction"),
    *("verdict", "flag", "event", "status", "look_for", "settles", "resource", "asked"),
    *(
        "end_reason",
        "exit_reason",
        "season",
        "iso_week",
        "month",
        "co2_schedule",
        "all",
    ),
    *("doses", "leak", "queen_cells", "drone_in_worker", "first_drone_in_worker"),
    *("second_drone_in_worker", "factor", "model", "term", "chosen_form", "scored_by"),
    *("sha256", "mark", "method"),
}
"""Columns whose words are ours whatever the records say, so that no name is masked there;
not in the records, where a name of these columns may be the station's."""
OUR_LEVELS = {
    *("all", "other", "not recorded", "(not recorded)"),
    "(gone before a later exposure)",
}
"""Levels of ours among the station's."""
SAID = {
    *("message", "what", "because", "why", "coefficient", "said", "note", "left_out"),
    *("factors", "apart_from", "assumptions", "risks", "name"),
}
"""Columns with sentences of ours that may quote a name: found as it is written only, so
that a name which is a common word too costs no other sentence its sense."""


# -- the secret


def station_key(station: Path) -> bytes:
    """Give the station's secret; made where there is none yet.

    Raises
    ------
    UsageError
        Its file holds something else.
    """
    path = station / KEY_FILE
    if not path.exists():
        write_key(station)
    lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    written = [line.strip() for line in lines if line.strip() and line[0] != "#"]
    if len(written) != 1 or not re.fullmatch(r"[0-9a-f]{64}", written[0]):
        raise UsageError(
            "the station's secret for pseudonyms cannot be read",
            where=str(path),
            expected="64 digits 0-9 and a-f on a line of their own",
            hint="put the file back from a copy; or remove it: a new one is made, and "
            "everybody gets another code",
        )
    return bytes.fromhex(written[0])


def write_key(station: Path, key: str = "") -> Path:
    """Write a secret, drawn unless it is given, so that its owner alone can read it."""
    path, key = station / KEY_FILE, key or secrets.token_hex(32)
    said = (
        "# The secret that pseudonyms are made with. Keep it, and keep it to yourself:\n"
        "# who has it can try names out; without it everybody gets another code.\n"
    )
    write_files({path: f"{said}{key}\n"}, mode=0o600)
    return path


def key_mark(key: bytes) -> str:
    """Name a secret without telling it: equal marks mean equal codes."""
    return hmac.new(key, b"", hashlib.sha256).hexdigest()[:16]


# -- texts


class Mask:
    """Puts codes in the place of names.

    Parameters
    ----------
    key : bytes
        The station's secret.
    people : iterable of str
        Everybody's name, as the records and the settings spell it.
    """

    def __init__(self, key: bytes, people: Iterable[str]) -> None:
        names = sorted({name for name in people if name and name.strip()})
        self._key = key
        self.codes = self._coded(names)
        known = {**self._parts(names), **self.codes}
        # two spellings of one name get their own codes; in a label the nearest counts
        self._folded = {_folded(name): code for name, code in reversed(known.items())}
        self.label: Callable[[str], str] = cache(self._masking(known, re.IGNORECASE))
        """Mask names in a label, a name of a file, or any text of the station's."""
        self.said: Callable[[str], str] = cache(self._masking(self.codes, 0))
        """Mask names in a sentence of ours: those of people, and not their parts."""

    def code(self, name: str) -> str:
        """Give a person's code."""
        return self.codes.get(name) or _code(self._key, name, SIZES[0])

    def quoting(self, labels: Mapping[str, str]) -> None:
        """Have sentences mask these labels too, which hold a name in another form."""
        other = {was: now for was, now in labels.items() if self.said(was) != now}
        self.said = cache(self._masking({**self.codes, **other}, 0))

    def row(self, row: Mapping[str, Any]) -> dict[str, Any]:
        """Mask a row of a table: each cell by its column."""
        masked = {name: self._cell(name, value) for name, value in row.items()}
        if row.get("grouping") == "operator" and row["level"] is not None:
            masked["level"] = self.code(row["level"])
        return masked

    def _cell(self, name: str, value: Any) -> Any:
        if name in OURS or value is None:
            return value
        if name in PEOPLE:
            return self.code(value)
        if name == MANY_PEOPLE and isinstance(value, list):
            return sorted(map(self.code, value))
        return self.said(value) if name in SAID and value else self.values(value)

    def values(self, value: Any) -> Any:
        """Mask all texts in lists and mappings, their keys too."""
        if isinstance(value, str):
            return self.label(value)
        if isinstance(value, Mapping):
            return {self.values(key): self.values(one) for key, one in value.items()}
        if isinstance(value, list | tuple):
            return type(value)(self.values(one) for one in value)
        return value

    def settings(self, settings: Settings) -> Settings:
        """Mask what pages show of the settings."""
        plan = settings.plan
        named = replace(
            plan,
            planned_cases=self.values(plan.planned_cases),
            planned_arms=self.values(plan.planned_arms),
        )
        return replace(
            settings,
            name=self.label(settings.name),
            prior_cases=self.values(settings.prior_cases),
            plan=named,
        )

    def _coded(self, names: list[str]) -> dict[str, str]:
        for size in SIZES:
            codes = {name: _code(self._key, name, size) for name in names}
            if len(set(codes.values())) == len(names):
                break
        return codes

    def _parts(self, names: list[str]) -> dict[str, str]:
        """Give first and last names a code of their own: several people may bear one."""
        parts = {part for name in names for part in re.findall(r"[^\W\d_]+", name)}
        return {
            part: _code(self._key, part, SIZES[0])
            for part in sorted(parts)
            if len(part) >= PART and part[0].isupper()
        }

    def _masking(
        self, known: Mapping[str, str], flags: re.RegexFlag | int
    ) -> Callable[[str], str]:
        if not any(map(_is_name, known)):
            return lambda text: text
        forms = {
            form: code
            for name, code in known.items()
            if _is_name(name)
            for form in (name, unicodedata.normalize("NFC", name), _taken_apart(name))
        }
        longest_first = sorted(forms, key=lambda name: (-len(name), name))
        pattern = re.compile("|".join(map(_pattern, longest_first)), flags)

        def code(found: re.Match[str]) -> str:
            # an i without its dot is found for i too, which folding keeps apart
            near = self._folded.get(_folded(found[0]))
            return forms.get(found[0]) or near or self.code(found[0])

        return lambda text: text if text in OUR_LEVELS else pattern.sub(code, text)


def _code(key: bytes, name: str, size: int) -> str:
    said = unicodedata.normalize("NFC", name).encode("utf-8", "surrogatepass")
    digits = hmac.new(key, said, hashlib.sha256).hexdigest()[:size]
    return PREFIX + digits.translate(_HEXADECIMAL)


def _folded(name: str) -> str:
    return unicodedata.normalize("NFC", name).casefold()


def _taken_apart(name: str) -> str:
    return unicodedata.normalize("NFD", name)


def _is_name(name: str) -> bool:
    """Tell whether a name is looked for in other texts: a number or one letter is not.

    Else every id that begins with that letter would be taken for somebody's.
    """
    return _letters(name) > 1


def _letters(name: str) -> int:
    return sum(sign.isalpha() for sign in name)


def _pattern(name: str) -> str:
    """Give what finds a name: alone, and a long one inside of a word too."""
    if _letters(name) >= SUBSTRING:
        return re.escape(name)
    before, after = (
        r"\d" if end.isdigit() else r"[^\W\d_]" for end in (name[0], name[-1])
    )
    return rf"(?<!{before}){re.escape(name)}(?!{after})"


# -- a build's tables


def mask_of(store: Store, key: bytes, settings: Settings) -> Mask:
    """Give the codes of everybody whom a build or the settings name.

    Parameters
    ----------
    store : Store
        A build whose records are read.
    key : bytes
        See `station_key`.
    settings : Settings
    """
    people = _people_of(store, _tables(store))
    return Mask(key, {*people, *people_in(settings)})


def hide_names(store: Store, mask: Mask) -> None:
    """Put codes in the place of names in all that is read from now on.

    Parameters
    ----------
    store : Store
        A build whose figures are made. Its file is not changed: temporary tables of this
        connection hide those that hold a name or free text.
    mask : Mask
    """
    kinds = _tables(store)
    store.execute(
        "CREATE TEMP TABLE masked_texts (way VARCHAR, was VARCHAR, now VARCHAR)"
    )
    labels = _texts(store, kinds, is_said=False)
    changed = _changed(labels, mask.label)
    mask.quoting(changed)
    said = _changed(_texts(store, kinds, is_said=True), mask.said)
    _keep(store, "label", changed)
    _keep(store, "said", said)
    _keep(store, "person", mask.codes)
    ((file,),) = store.rows("SELECT current_database()")
    for table, columns in kinds.items():
        hidden = {
            name: text
            for name, kind in columns.items()
            if (text := _hidden(store, table, name, kind))
        }
        if hidden:
            shown = ", ".join(
                f"{text} AS {quote(name)}" for name, text in hidden.items()
            )
            store.execute(
                f"CREATE TEMP TABLE {quote(table)} AS SELECT * REPLACE ({shown}) "
                f"FROM {quote(file)}.main.{quote(table)} AS was_named"
            )
    if "checker_agreement" in kinds:
        store.execute(_PAIRS_IN_ORDER)


_PAIRS_IN_ORDER = """
    UPDATE temp.checker_agreement SET
        first_checker = second_checker, second_checker = first_checker,
        mean = 0.0 - mean,
        low = CASE WHEN mean IS NULL THEN low ELSE 0.0 - high END,
        high = CASE WHEN mean IS NULL THEN high ELSE 0.0 - low END
    WHERE first_checker > second_checker
"""
"""Pairs stood in the order of the names; a difference is of the first minus the second."""


def _tables(store: Store) -> dict[str, dict[str, str]]:
    """Give every table's columns and their types."""
    found = store.rows(
        "SELECT table_name FROM duckdb_tables() WHERE NOT temporary ORDER BY ALL"
    )
    return {table: store.columns(table) for (table,) in found}


def people_in(settings: Settings) -> set[str]:
    """Give the names that stand in the settings."""
    return {*settings.prior_cases, *settings.plan.planned_cases}


def _people_of(store: Store, kinds: Mapping[str, Mapping[str, str]]) -> set[str]:
    selects = [
        f"SELECT {quote(name)} FROM {quote(table)}"
        for table, columns in kinds.items()
        for name, kind in columns.items()
        if name in PEOPLE and kind == "VARCHAR"
    ]
    if not selects:
        return set()
    found = store.rows(" UNION ".join(selects))
    return {name for (name,) in found if name}


def _is_dropped(table: str, name: str) -> bool:
    return table in RECORDS and name in FREE


def _is_masked(table: str, name: str) -> bool:
    """Tell whether names are looked for in a column's texts."""
    ours = OURS - {"method"} if table in RECORDS else OURS
    others = PEOPLE | ours | {MANY_PEOPLE}
    emptied = name in AS_WRITTEN.get(table, ()) or _is_dropped(table, name)
    return name not in others and not emptied


def _texts(
    store: Store, kinds: Mapping[str, Mapping[str, str]], *, is_said: bool
) -> list[str]:
    """Give all texts of the columns in which names are looked for, each once."""
    selects = [
        f"SELECT {quote(name)} FROM {quote(table)}"
        if kind == "VARCHAR"
        else f"SELECT unnest({quote(name)}) FROM {quote(table)}"
        for table, columns in kinds.items()
        for name, kind in columns.items()
        if kind in ("VARCHAR", "VARCHAR[]")
        and _is_masked(table, name)
        and (name in SAID) is is_said
    ]
    if not selects:
        return []
    found = store.rows(" UNION ".join(selects))
    return sorted(text for (text,) in found if text)


def _changed(texts: Iterable[str], way: Callable[[str], str]) -> dict[str, str]:
    return {text: masked for text in texts if (masked := way(text)) != text}


def _keep(store: Store, way: str, texts: Mapping[str, str]) -> None:
    if texts:
        rows = [(way, was, now) for was, now in texts.items()]
        for at in range(0, len(rows), 1000):
            values = ", ".join(
                f"({', '.join(literal(cell) for cell in row)})"
                for row in rows[at : at + 1000]
            )
            store.execute(f"INSERT INTO masked_texts VALUES {values}")


def _hidden(store: Store, table: str, name: str, kind: str) -> str:
    """Give what stands in the place of a column; empty: it stays as it is."""
    column = f"was_named.{quote(name)}"
    if name in AS_WRITTEN.get(table, ()):
        return "'{}'" if name == ROW else "''"
    if _is_dropped(table, name):
        return "CAST(NULL AS VARCHAR)"
    if name in PEOPLE and kind == "VARCHAR":
        return _looked_up("person", column)
    if name == MANY_PEOPLE and kind == "VARCHAR[]":  # elsewhere it is their number
        # put in order anew, since they stood in the order of the names
        return f"list_sort({_each_looked_up('person', column)})"
    return _masked(store, table, name, kind)


def _masked(store: Store, table: str, name: str, kind: str) -> str:
    """Give what stands in the place of a column's texts; empty: none holds a name."""
    column = f"was_named.{quote(name)}"
    way = "said" if name in SAID else "label"
    if not _is_masked(table, name) or not _concerns(store, table, name, kind, way):
        return ""
    look_up = _each_looked_up if kind == "VARCHAR[]" else _looked_up
    if name == "level" and "grouping" in store.columns(table):
        return (
            f"CASE WHEN was_named.\"grouping\" = 'operator' THEN "
            f"{_looked_up('person', column)} ELSE {look_up(way, column)} END"
        )
    return look_up(way, column)


def _concerns(store: Store, table: str, name: str, kind: str, way: str) -> bool:
    """Tell whether a column holds a text that is masked: most tables need no copy."""
    if kind not in ("VARCHAR", "VARCHAR[]"):
        return False
    texts = quote(name) if kind == "VARCHAR" else f"unnest({quote(name)})"
    found = store.rows(
        f"SELECT 1 FROM (SELECT {texts} AS was, {literal(way)} AS way "
        f"FROM {quote(table)}) AS written SEMI JOIN masked_texts USING (was, way) LIMIT 1"
    )
    return bool(found)


def _looked_up(way: str, column: str) -> str:
    return (
        "coalesce((SELECT masked_texts.now FROM masked_texts WHERE "
        f"masked_texts.way = {literal(way)} AND masked_texts.was = {column}), {column})"
    )


def _each_looked_up(way: str, column: str) -> str:
    """Look up every text of a list, its order kept; of an empty list nothing is left."""
    return (
        "coalesce((SELECT list(coalesce(masked_texts.now, one.text) ORDER BY one.place) FROM "
        f"(SELECT unnest({column}) AS text, generate_subscripts({column}, 1) AS place) "
        "AS one LEFT JOIN masked_texts ON masked_texts.was = one.text "
        f"AND masked_texts.way = {literal(way)}), {column})"
    )
