"""What figures mean: shares or per cent or scores, the units of spans, Fahrenheit."""

from __future__ import annotations

from collections.abc import Sequence

from queen_outcomes.facts.reading import FEWEST_SCORES, HIGHEST_SCORE
from queen_outcomes.records import numbers, suggested
from queen_outcomes.records.map.asked.questions import Question, question_id
from queen_outcomes.records.map.seen.contents import Contents
from queen_outcomes.records.map.seen.fits import SPANS, ours_of
from queen_outcomes.records.map.seen.station import Station

PER_CENT, SHARE, SCORE = "percent", "share", "score"
UNIT_OF = {PER_CENT: "%", SHARE: "share"}
"""The unit that an answer about percentages sets."""
_WARM = 40
"""Semen stored above so many degrees was measured in Fahrenheit; 40 C is the hard limit."""
_SHOWN = 5
_MAY_BE = {True: "the whole", False: "a score"}


def percentages(station: Station) -> list[Question]:
    """Ask about columns of per cent that may hold shares, or scores of the station's own."""
    questions = []
    for part in station.parts:
        for name in part.feed.columns:
            if ours_of(part.table, name).unit != "%":
                continue
            named, bare = _signed(part.contents(name))
            marks = [held for held in part.contents(name) if held.is_scores]
            asked = _marks(marks) if marks else _shares(named, bare) or _scores(named, bare)
            if asked:
                says, options = asked
                heading = part.feed.headings(name)[0]
                questions.append(
                    Question(
                        question_id("percent", part.source, part.table, name),
                        f'In "{part.source}", what are the marks under "{heading}" in per cent?'
                        if marks
                        else f'In "{part.source}", is 1 in "{heading}" one per cent or '
                        f"{_MAY_BE[SHARE in options]}?",
                        [says]
                        if marks
                        else [f"{says}: {', '.join(f'{n:g}' for n in bare[:_SHOWN])}"],
                        options,
                        sources=(part.source,),
                    )
                )
    return questions


def _signed(columns: Sequence[Contents]) -> tuple[list[float], list[float]]:
    """Part the figures of columns into those with a sign of their unit, and those without."""
    figures = [
        (number.value, bool(number.unit) or cell.kind == "percent")
        for held in columns
        for number, cell in zip(held.numbers, held.kept, strict=True)
        if number is not None
    ]
    return [n for n, sign in figures if sign], [n for n, sign in figures if not sign]


def _marks(columns: Sequence[Contents]) -> tuple[str, dict[str, str]]:
    """Say that marks are scores, such as "++" and "4/5", which only the station can explain."""
    texts = sorted({text for held in columns for text in held.texts})
    return f"marks stand there: {', '.join(texts[:_SHOWN])}", {
        SCORE: "a score: it stays unread until station.toml says what each is in per cent; "
        f"or a table such as {{ {suggested.key(texts[-1])} = 90 }}, of every mark"
    }


def _shares(named: list[float], bare: list[float]) -> tuple[str, dict[str, str]] | None:
    """Say why figures without a sign may be shares: none is above 1, and signed ones are."""
    if not bare or not 0 < max(bare) <= 1 or (named and max(named) <= 1):
        return None
    says = f"all {len(bare)} figures are at most 1"
    if named:
        says = (
            f"{len(bare)} figures without % are at most 1, beside {len(named)} with it "
            f"up to {max(named):g}"
        )
    return says, {
        SHARE: "a share: 0.85 is 85 per cent",
        PER_CENT: "per cent: 0.85 is 0.85 per cent",
    }


def _scores(named: list[float], bare: list[float]) -> tuple[str, dict[str, str]] | None:
    """Say why figures may be scores: whole numbers to ten at most, several of them."""
    whole = all(value.is_integer() for value in bare)  # no infinity is
    several = len(bare) >= FEWEST_SCORES and len(set(bare)) > 1
    if named or not several or not whole or max(bare) > HIGHEST_SCORE:
        return None
    return f"all {len(bare)} figures are whole and at most {max(bare):g}", {
        SCORE: "a score, such as 1 to 5: it is no per cent, and stays unread until "
        "station.toml says what each is in per cent",
        PER_CENT: "per cent: 4 is 4 per cent of the cells",
    }


def spans(station: Station) -> list[Question]:
    """Ask which two units a span such as 4:30 is in; hours too long to be have a default."""
    questions = []
    for part in station.parts:
        for name in part.feed.columns:
            if name not in SPANS:
                continue
            texts = [
                cell.text
                for held in part.contents(name)
                for cell, span in zip(held.kept, held.spans, strict=True)
                if span == "open"
            ]
            if not texts:
                continue
            hard = ours_of(part.table, name).hard
            longest = hard.high if hard and hard.high is not None else float("inf")
            hours = [
                60 * int(first) + int(second[:2])
                for first, _, second in (text.partition(":") for text in texts)
            ]
            too_long = min(hours) > longest
            questions.append(
                Question(
                    question_id("span", part.source, part.table, name),
                    f'In "{part.source}", is {texts[0]} in '
                    f'"{part.feed.headings(name)[0]}" minutes and seconds, or hours and '
                    "minutes?",
                    [f"{len(texts)} are written so"]
                    + [f"as hours all would be over {longest:g} minutes"] * too_long,
                    {numbers.MINUTES: "minutes and seconds", numbers.HOURS: "hours and minutes"},
                    default=numbers.MINUTES if too_long else None,
                    sources=(part.source,),
                )
            )
    return questions


def fahrenheit(station: Station) -> None:
    """Set the unit of temperatures that can only be Fahrenheit."""
    for part in station.parts:
        use = part.feed.uses.get("storage_c")
        if use and not use.unit:
            numbers = [n for h in part.contents("storage_c") for n in h.numbers if n]
            bare = [n.value for n in numbers if not n.unit]
            if bare and min(bare) > _WARM:
                use.unit = "F"
