"""Questions that `map` left open in `station.toml`, and that concern what is read.

A build does not guess: it stops while one stands there for a column in use.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from queen_outcomes.base.errors import UsageError, shorten
from queen_outcomes.records import suggested
from queen_outcomes.records.evidence import OpenQuestion, UnreadColumn, blank_answers
from queen_outcomes.records.mapping import SourceMapping

_ALIKE = {
    "dates": ("date_order", "order"),
    "mixed": ("turned_dates", "order"),
    "percent": ("shares", "scores"),
    "blank": ("blanks",),
}
"""A kind of question of `map` -> the kinds and causes that columns' evidence has for it."""
Shown = OpenQuestion | UnreadColumn
ANY = "*"


@dataclass(frozen=True)
class Unanswered:
    """A question that is still open, with what the columns show."""

    id: str
    text: str
    shown: tuple[Shown, ...] = ()
    """What the evidence of whole columns says of the same."""

    @property
    def is_word(self) -> bool:
        """Whether it asks what one word means; there may be many such."""
        return self.id.startswith("word:")

    @property
    def found(self) -> str:
        """The question and its evidence."""
        shown = [f"{_headings(one)}: {one.says}" for one in self.shown]
        return self.text + (f" ({shorten(shown)})" if shown else "")

    @property
    def settings(self) -> tuple[str, ...]:
        """What to write in its place, one for each answer; empty: `map` writes it."""
        blanks = [one for one in self.shown if _kind_of(one) == "blanks"]
        if blanks:
            return blank_answers(blanks)
        return self.shown[0].settings if len(self.shown) == 1 else ()

    @property
    def how(self) -> str:
        """How it is answered."""
        return (
            "answer it in `queen-outcomes map`, or by --answers FILE with "
            f'{suggested.toml(self.id)} = "..."; or set it by hand and take its line '
            "# OPEN out"
        )

    def error(self) -> UsageError:
        """Give the refusal of a build."""
        written = "\nor\n".join(self.settings)
        return UsageError(
            "a question about the records is still open",
            where=f"station.toml, # OPEN {suggested.toml(self.id)}",
            found=self.found,
            hint=self.how + (f":\n{written}" if written else ""),
        )


def unanswered(
    text: str, sources: Sequence[SourceMapping], shown: Sequence[Shown]
) -> list[Unanswered]:
    """Give the open questions that concern what is read, in the order of the settings.

    Parameters
    ----------
    text : str
        `station.toml` as it stands.
    sources : sequence of SourceMapping
        What is read.
    shown : sequence of evidence.OpenQuestion and evidence.UnreadColumn
        What whole columns leave open, or contradict.
    """
    if not stand_in(text):
        return []
    from queen_outcomes.records.map.asked.questions import open_questions, place_of

    used = {
        (source.name, source.table.name, column)
        for source in sources
        for slot in source.slots
        for name in slot.cells
        for column in (name, *_together(source, name))
    }
    found = []
    for one in open_questions(text):
        kind, *place = place_of(one.id)
        if any(_meets(place, each) for each in (_headings_of(sources) if kind == "which" else used)):
            alike = tuple(
                each
                for each in shown
                if _kind_of(each) in _ALIKE.get(kind, ())
                and _meets(
                    place,
                    (
                        each.used.source.name,
                        each.used.source.table.name,
                        each.used.name,
                    ),
                )
            )
            found.append(Unanswered(one.id, one.text, alike))
    return found


def _headings_of(sources: Sequence[SourceMapping]) -> set[tuple[str, str, str]]:
    """Give the headings that are read, as questions have them, with their sources and tables."""
    from queen_outcomes.records.map.seen.sheet import in_question

    return {
        (source.name, source.table.name, in_question(heading))
        for source in sources
        for slot in source.slots
        for cell in slot.cells.values()
        for heading in cell.columns
    }


def stand_in(text: str) -> bool:
    """Tell whether the settings hold an open question at all."""
    return "# OPEN " in text


def _headings(shown: Shown) -> str:
    return ", ".join(f'"{heading}"' for heading in shown.used.headings)


def _together(source: SourceMapping, name: str) -> tuple[str, ...]:
    """Give what stands in questions for all columns of a kind together."""
    kinds = {column.name: column.kind for column in source.table.columns}
    return ("yes_no",) if kinds.get(name) == "yes_no" else ()


def _kind_of(shown: Shown) -> str:
    return shown.cause if isinstance(shown, UnreadColumn) else shown.kind


def _meets(place: Iterable[str], used: Iterable[str]) -> bool:
    return all(a in (ANY, b) for a, b in zip(place, used, strict=True))
