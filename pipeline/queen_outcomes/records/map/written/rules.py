"""The making of a rule: one `[[read]]` of what a sheet holds of a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from queen_outcomes.facts import years
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import BLANK_NO, FINDINGS, MIXED, NOT_LOOKED
from queen_outcomes.records.map.asked import (
    co2,
    fates,
    figures,
    heading_days,
    several,
    ticks_and_marks,
    title_facts,
    wordlist,
)
from queen_outcomes.records.map.asked.proposal import Proposal
from queen_outcomes.records.map.asked.questions import LEAVE, NO, YES
from queen_outcomes.records.map.asked.wordlist import EXIT
from queen_outcomes.records.map.seen.contents import day_of, yes_or_no
from queen_outcomes.records.map.seen.feed import unit_of
from queen_outcomes.records.map.seen.fits import MAIN_DATE, ours_of
from queen_outcomes.records.map.seen.station import Part
from queen_outcomes.records.map.written.word_lists import (
    PerWord,
    by_letters,
    listed_meaning,
    meant,
)

_SHARED_KEYS = {"findings": "check", "checked_on": "date", "inseminated_at": "date"}


@dataclass
class NewRule:
    """One ``[[read]]`` of the settings."""

    sources: list[str]
    table: str
    columns: dict[str, Any] = field(default_factory=dict)
    each: list[Any] = field(default_factory=list)
    colours: dict[str, dict[str, str]] = field(default_factory=dict)
    only: dict[str, list[str]] = field(default_factory=dict)


def add(rules: list[NewRule], rule: NewRule) -> None:
    """Add a rule, or its sheets to one that says the same."""
    for one in rules:
        if replace(one, sources=[]) == replace(rule, sources=[]):
            one.sources += rule.sources
            return
    rules.append(rule)


def exits_at_looks(
    proposal: Proposal, part: Part, rule: NewRule, notes: list[str]
) -> NewRule | None:
    """Give the exits that words under a sheet's looks tell of, on the day of the look."""
    said: dict[str, list[str]] = {}
    for word in proposal.words if part.table == "checks" else ():
        means = meant(proposal, word, listed_meaning(proposal, word))
        fate = means.get(EXIT) if isinstance(means, dict) else None
        if fate and part.source in word.sources:
            said.setdefault(fate, []).append(word.text)
    look = rule.columns.get(FINDINGS)
    heading = look.get("from") if isinstance(look, dict) else look
    if said and (not isinstance(heading, str) or "queen_id" not in rule.columns):
        told = ", ".join(f'"{text}"' for own in said.values() for text in own)
        notes.append(
            f"{part.source}: no rule can read how queens went from {told}, since the words of a "
            "look stand under several headings there, or no queen beside them; write the exits"
        )
    if not said or not isinstance(heading, str) or "queen_id" not in rule.columns:
        return None
    columns = {
        "queen_id": rule.columns["queen_id"],
        "left_on": rule.columns["checked_on"],
        "reason": {"from": heading, "words": said},
    }
    texts = sorted((text for own in said.values() for text in own), key=by_letters)
    return NewRule(list(rule.sources), "exits", columns, rule.each, only={heading: texts})


def exits_in_remarks(proposal: Proposal, part: Part, rule: NewRule) -> list[NewRule]:
    """Give the exits, and the looks, that remarks beside a rule's queens tell of."""
    known = [
        replace(word, means=meant(proposal, word, listed_meaning(proposal, word)))
        for word in proposal.words
        if word.column in ("reason", FINDINGS)
    ]
    found = []
    for one in proposal.told_fates(part.source):
        if one.part is part and "queen_id" in rule.columns:
            found += [
                NewRule([part.source], table, columns, one.each, only={one.headings[1]: texts})
                for table, columns, texts in fates.rules(one, rule.columns["queen_id"], known)
            ]
    return found


def made(proposal: Proposal, part: Part, per_word: PerWord) -> NewRule:
    """Make the rule of what one sheet holds of one table."""
    rule = NewRule([part.source], part.table)
    roles = {name for slot in part.feed.slots.values() for name in slot}
    templates, rule.each = _each(proposal, part)
    for name in part.feed.columns:
        if is_left(proposal, part, name):
            continue
        if name in part.feed.uses and (value := part.feed.uses[name].value):
            rule.columns[name] = {"value": value}
            continue
        plain = templates[name] if name in roles else _plain(part.feed.uses[name].names)
        if name not in roles and (beside := _year_beside(proposal, part, name)):
            plain = [beside, *part.feed.uses[name].names]
        extra = _extra(proposal, part, name, per_word)
        rule.columns[name] = {"from": plain, **extra} if extra else plain
    if proposal.answered("filled", part.source, part.table, "marked") == YES:
        rule.columns["marked"] = _by_mark(proposal, part)
    rule.columns |= {
        fact.name: title_facts.spec(fact, proposal.titled, proposal.orders)
        for fact in proposal.titled
        if fact.part is part and _answer(proposal, fact.id) == YES
    }
    if part.feed.days:
        rule.columns["checked_on"] = {"value": "{day}"}
    rule.colours = _colours(proposal, part)
    rule.only = _only(proposal, part)
    if doubled := proposal.several_of(part.source):
        _one_after_the_other(rule, doubled)
    return rule


def _one_after_the_other(rule: NewRule, doubled: several.Several) -> None:
    """Read each of several values of a cell for a dose; another table takes the first."""
    number = f"1 of {doubled.most}"
    if rule.table == doubled.part.table:
        rule.each = [f"{n} of {doubled.most}" for n in range(1, doubled.most + 1)]
        number = "{}"
    for name, spec in rule.columns.items():
        theirs = spec.get("from") if isinstance(spec, Mapping) else spec
        if isinstance(theirs, str) and theirs in doubled.headings:
            one = doubled.heading(theirs, number)
            rule.columns[name] = {**spec, "from": one} if isinstance(spec, Mapping) else one


def _by_mark(proposal: Proposal, part: Part) -> dict[str, Any]:
    """Say that whoever has a mark is marked: next season's colour too.

    One rule for sheets alike, whatever says there that a queen has none.
    """
    alike = [
        held
        for other in proposal.station.of(part.table)
        if proposal.answered("filled", other.source, other.table, "marked") == YES
        and other.feed.headings("mark") == part.feed.headings("mark")
        for held in other.contents("mark")
    ]
    texts = {text for held in alike for text in held.texts}
    denied = sorted(filter(ticks_and_marks.is_unmarked, texts), key=by_letters)
    empty = sorted({text for held in alike for text in held.unknown})
    return {
        "from": _plain(part.feed.uses["mark"].names),
        "filled": YES,
        **({"words": {NO: denied}} if denied else {}),
        **({"empty": empty} if empty else {}),
    }


def _answer(proposal: Proposal, name: str) -> Any:
    return next((q.answer for q in proposal.questions if q.id == name), None)


def _only(proposal: Proposal, part: Part) -> dict[str, list[str]]:
    """Give the texts of a table's rows, those of the other diaries of that heading too.

    One rule then holds for all of them, also for the one that is begun next.
    """
    alike = {
        text.casefold(): text
        for other in reversed(proposal.station.of(part.table))
        for name, texts in other.feed.only.items()
        if name in part.feed.only
        for text in reversed(texts)
    }
    own = {name: list(alike.values())[::-1] for name in part.feed.only}
    return {name: sorted(texts, key=by_letters) for name, texts in own.items()}


def exposures(proposal: Proposal, part: Part) -> list[NewRule]:
    """Give the rules that read CO2 off words beside an insemination: one a day around it."""
    given = proposal.answered("exposures", part.source, "co2", "given_at")
    if part.table != "inseminations" or not isinstance(given, dict):
        return []
    columns = co2.exposure_columns(proposal.station, part)
    if not columns:
        return []
    heading = columns[0].name
    day = part.feed.headings(MAIN_DATE["inseminations"])[0]
    label = made(proposal, part, {}).columns["queen_id"]
    rules = []
    for offset in sorted({offset for days in given.values() for offset in days}):
        when = {"from": day, "days": offset} if offset else day
        texts = [text for text, days in given.items() if offset in days]
        rule = NewRule([part.source], "co2", {"queen_id": label, "given_at": when})
        rules.append(replace(rule, only={heading: texts}))
    return rules


def _year_beside(proposal: Proposal, part: Part, name: str) -> str:
    """Give the heading of the year that tells labels apart which start again each year."""
    if proposal.answered("prefix", "*", "inseminations", name) != YES:
        return ""
    return proposal.yearly[name].years.get(part.source, "") if name in proposal.yearly else ""


def _plain(names: list[str]) -> Any:
    return names[0] if len(names) == 1 else list(names)


def is_left(proposal: Proposal, part: Part, name: str) -> bool:
    """Tell whether an answer leaves a column unread."""
    place = (part.source, part.table, name)
    letters = set(part.feed.headings(name)) & set(part.sheet.letters)
    if letters and proposal.answered("letters", part.source, part.table) == NO:
        return True
    return (
        proposal.answered("column", *place) == NO
        or proposal.answered("percent", *place) == figures.SCORE
        or proposal.answered("graft", *place) == YES
    )


def _extra(proposal: Proposal, part: Part, name: str, per_word: PerWord) -> dict[str, Any]:
    """Give what a column's rule says beside where it comes from."""
    extra: dict[str, Any] = {}
    place = (part.source, part.table, name)
    use = part.feed.uses.get(name)
    unit = use.unit if use else _slot_unit(part, name)
    meant = proposal.answered("percent", *place)
    if isinstance(meant, dict):  # what each score is, which says all that is read
        return {"scores": meant}
    unit = figures.UNIT_OF.get(meant, unit)
    unit = proposal.answered("span", *place) or unit
    if unit:
        extra["unit"] = unit
    if place in proposal.orders.by_column:
        extra["dates"] = proposal.orders.by_column[place]
    if proposal.answered("mixed", *place) == "swapped":
        extra["dates"] = MIXED + proposal.orders.turned[place]
    if undone := no_day(part, name):
        held = part.contents(name)
        words = undone | {text for one in held for text in one.unknown}
        extra["empty"] = sorted(words, key=by_letters)
    if name in ticks_and_marks.tick_columns(part):
        blank = proposal.answered("blank", part.source, part.table)
        if blank in (NO, LEAVE):
            extra["blank"] = BLANK_NO if blank == NO else NOT_LOOKED
    if words := _words(proposal, part, name, per_word):
        extra["words"] = words
    return extra


def _words(proposal: Proposal, part: Part, name: str, per_word: PerWord) -> dict[str, Any]:
    """Give the words that hold under a column's headings alone."""
    limited = ",".join(wordlist.limited_to(part, name))
    words = dict(per_word.get((name, limited), {})) if limited else {}
    for text, means in _crossed(proposal, part, name, per_word).items():
        words.setdefault(means, []).append(text)
    return words


def _crossed(proposal: Proposal, part: Part, name: str, per_word: PerWord) -> dict[str, str]:
    """Give what crosses mean under a heading, in all sheets of a book that have it.

    A card with a cross and no tick is of the same hand as the one with both: read as a tick
    there, its "x" said yes where the keeper had answered no.
    """
    book, headings = part.sheet.grid.file, part.feed.headings(name)
    found: dict[str, str] = {}
    for other in proposal.station.of(part.table):
        if other.sheet.grid.file == book and other.feed.headings(name) == headings:
            found |= per_word.get(("yes_no", f"{other.source},{name}"), {})
    return found


def no_day(part: Part, name: str) -> set[str]:
    """Give the words for no that stand among days: it was not done.

    The column says so for itself, since "no" means no in the sheet's other columns.
    """
    if ours_of(part.table, name).kind not in ("date", "datetime"):
        return set()
    return {text for text in part.texts(name) if yes_or_no(text) == NO and not text.isdigit()}


def _slot_unit(part: Part, name: str) -> str:
    units = {unit_of(column, part.table, name) for column in part.columns_of(name)}
    return units.pop() if len(units) == 1 else ""


def _each(proposal: Proposal, part: Part) -> tuple[dict[str, str], list[Any]]:
    """Write the slots: one text put for {}, or several named ones."""
    slots = part.feed.slots
    if not slots:
        return {}, []
    roles = list(next(iter(slots.values())))
    if part.feed.days:
        place = (part.source, part.table, MAIN_DATE[part.table])
        order = proposal.orders.by_column.get(place) or proposal.order_of(part.source)
        said = proposal.answered(heading_days.KIND, *place)
        meant = said if isinstance(said, dict) else {}
        each = [
            {
                "check": headings["findings"],
                "day": meant.get(text := part.feed.days[slot])
                or _day_of_week(text, part, proposal)
                or _iso(text, order, part, proposal),
            }
            for slot, headings in slots.items()
        ]
        if said:  # in the order of their days, so that `check` has nothing to tell of them
            each.sort(key=lambda slot: slot["day"])
        return {"findings": "{check}"}, each
    if len(roles) > 1:
        starts = {
            slot: _common_start(list(headings.values())).rstrip(" (")
            for slot, headings in slots.items()
        }
        for texts in (starts, {s: _shortest(starts[s]) for s in starts}):
            templates = _templates(slots, texts)
            if templates:
                return templates, list(texts.values())
    keys = {role: _SHARED_KEYS.get(role, role) for role in roles}
    each = [
        {keys[role]: headings[role] for role in roles} for headings in slots.values()
    ]
    return {role: f"{{{keys[role]}}}" for role in roles}, each


def _common_start(texts: list[str]) -> str:
    """Give what all texts begin with."""
    first, last = min(texts), max(texts)
    alike = [a == b for a, b in zip(first, last, strict=False)]
    return first[: alike.index(False) if False in alike else len(alike)]


def _shortest(start: str) -> str:
    """Give a slot's text without the word that a role's name began with."""
    return start.rpartition(" ")[0] or start


def _templates(
    slots: Mapping[str, Mapping[str, str]], texts: Mapping[str, str]
) -> dict[str, str] | None:
    if not all(texts.values()) or len(set(texts.values())) < len(texts):
        return None
    found: dict[str, str] = {}
    for slot, headings in slots.items():
        for role, heading in headings.items():
            if not heading.startswith(texts[slot]):
                return None
            template = "{}" + heading[len(texts[slot]) :]
            if found.setdefault(role, template) != template:
                return None
    return found


def _day_of_week(text: str, part: Part, proposal: Proposal) -> str:
    """Give the day of a heading that is a week, once it is known which; empty till then."""
    place = (part.source, part.table, MAIN_DATE[part.table])
    said = proposal.answered(heading_days.WEEKDAY, *place)
    day = heading_days.day_of_week(text, said, proposal.orders.year_of(part.source))
    return day.isoformat() if day else ""


def _iso(text: str, order: str | None, part: Part, proposal: Proposal) -> str:
    seen = day_of(text.split(" (", maxsplit=1)[0])
    if seen is None or not (seen.plain or order):
        return text  # open: as it stands it is refused, and asked about
    day = seen.on(order or "")
    if day is None:
        return text
    if seen and seen.yearless:
        named = proposal.orders.year_of(part.source)
        year = years.of_month(named, day.month) if named else None
        if year is None:
            return text  # of no year: left as it stands, it is refused and named
        day = day.replace(year=year)
    return day.isoformat()


def _colours(proposal: Proposal, part: Part) -> dict[str, dict[str, str]]:
    answer = proposal.answered("colours", part.source)
    if not isinstance(answer, dict):
        return {}
    found = {}
    for fill, sets in answer.items():
        kept = {n: str(v) for n, v in sets.items() if _sets_here(proposal, part, n)}
        if kept:
            found[fill] = kept
    return found


def _sets_here(proposal: Proposal, part: Part, name: str) -> bool:
    """Tell whether a rule is the first of its sheet that keeps a column."""
    keeping = [
        p
        for p in proposal.station.parts_of(part.source)
        if name in TABLES[p.table].names
    ]
    return bool(keeping) and keeping[0] is part
