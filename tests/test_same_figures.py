"""Two figures of one outcome, window, target and estimand never disagree, wherever they stand."""

from __future__ import annotations

import html
import json
import re
import shutil
from pathlib import Path

import pytest
from demo_station import run
from queen_outcomes.base.store import Store
from queen_outcomes.facts import dose_words, words
from queen_outcomes.facts.outcomes import OUTCOMES

pytestmark = pytest.mark.slow
TEXT = re.compile(r"<(script|style|svg).*?</\1>", re.S)
ENDS = re.compile(r"</(td|th|tr|p|li|h\d|dd|summary|caption)>")
LEAST = 40
"""Pairs that must be found, or the test has lost sight of what it looks at."""

Pair = tuple[str, object, object]
"""Where it stands, what stands there, and what should."""


def page(build: Path, name: str) -> str:
    """Give a page's words, cells parted by bars."""
    text = (build / "dashboard" / f"{name}.html").read_text(encoding="utf-8")
    return html.unescape(re.sub(r"<[^>]+>", "", ENDS.sub("|", TEXT.sub("", text))))


def holds(text: str, said: str) -> str:
    """Give what is looked for where a text has it, else what stands near its start."""
    at = text.find(said[:12])
    return said if said in text else text[at : at + len(said) + 40]


@pytest.fixture(scope="module")
def pairs(built_demo, tmp_path_factory) -> list[Pair]:
    """Give every pair of the invented station, from one build."""
    station = built_demo.parents[1]
    with Store(built_demo / "station.duckdb", read_only=True) as store:
        tables = Tables(store)
        found = [
            *headlines(tables, page(built_demo, "index")),
            *seasons(tables, page(built_demo, "index"), page(built_demo, "onset")),
            *models(tables),
            *operators(tables, page(built_demo, "operators")),
            *arms(tables, page(built_demo, "doses")),
        ]
    copy = tmp_path_factory.mktemp("same") / "station"
    shutil.copytree(station, copy, symlinks=True)
    return [*found, *commands(tables, copy)]


class Tables:
    """What the tables hold, kept so that the commands may be asked later."""

    def __init__(self, store: Store) -> None:
        for name in ("rates", "arms", "arm_contrasts", "arm_costs", "arm_exchange"):
            setattr(self, name, store.records(f"SELECT * FROM {name} ORDER BY ALL"))
        self.operators = store.records("SELECT * FROM operators ORDER BY ALL")
        self.attention = store.records("SELECT * FROM attention ORDER BY ALL")
        self.needs = store.records("SELECT * FROM arm_needs ORDER BY ALL")
        self.fits = store.records(
            "SELECT * FROM model_fits WHERE share IS NOT NULL ORDER BY ALL"
        )

    def rate(self, grouping: str, level: str, question=("laying", 21)) -> dict:
        """Give one row of the rates."""
        (row,) = (
            r
            for r in self.rates
            if (r["grouping"], r["level"]) == (grouping, level)
            and (r["outcome"], r["window_days"]) == question
        )
        return row

    def of_arm(self, table: str, arm: str) -> dict:
        """Give an arm's row."""
        return next(row for row in getattr(self, table) if row["arm"] == arm)


def shown(row: dict) -> str:
    """Write an estimate as the pages do."""
    limits = words.limits(row["estimate_low"], row["estimate_high"])
    return f"{words.percent(row['estimate'])} (95 % limits {limits})"


def headlines(tables: Tables, index: str):
    """The first page's estimates against the rates."""
    for row in tables.rates:
        if row["grouping"] == "all" and row["estimate"] is not None:
            asked = OUTCOMES[row["outcome"]]
            at = f"{asked.label}|{row['window_days']}|"
            cells = index.split(at, 1)[1].split("|")[:4]
            place = f"first page, {row['outcome']} by {row['window_days']}"
            yield place, cells[1], shown(row)
            yield f"{place}, closed", cells[2], str(row["closed"])


def seasons(tables: Tables, index: str, onset: str):
    """The season's share on the first page, in what needs attention, on the onset page."""
    now, before = (tables.rate("season", level) for level in ("2026", "2025"))
    share = words.percent(now["estimate"])
    limits = words.limits(now["estimate_low"], now["estimate_high"])
    said = f"Season 2026: {share} (95 % limits {limits})"
    yield "season's headline", holds(index, said), said
    title = f"Laying by day 21: {share} of the queens of season 2026"
    yield "title of the weeks", holds(index, title), title
    both = f"{share} in 2026 so far, {words.percent(before['estimate'])} in 2025"
    told = next(r["sentence"] for r in tables.attention if r["kind"] == "season")
    yield "attention", holds(told, both), both
    yield "lead of the first page", holds(index, both), both
    whole = f"{shown(tables.rate('all', 'all')).replace(' (', ' lay by day 21 (', 1)}"
    yield "onset page", holds(onset, whole), whole
    for level, row in (("2025", before), ("2026", now)):
        part = f"{words.percent(row['estimate'])} in {level}"
        yield f"onset page, {level}", holds(onset, part), part
    for row in tables.rates:
        if row["grouping"] == "protocol" and row["outcome"] == "laying":
            part = f"{words.percent(row['estimate'])} with {row['level']}"
            yield f"onset page, {row['level']}", holds(onset, part), part


def models(tables: Tables):
    """What factor models foretell on average against the headline."""
    for fit in tables.fits:
        question = (fit["outcome"], fit["window_days"])
        headline = tables.rate("all", "all", question)["estimate"]
        if headline is None:
            continue
        place = f"{fit['model']} model of {question[0]} by {question[1]}"
        yield f"{place}, fillings", fit["share"], pytest.approx(headline, abs=5e-4)
        off = pytest.approx(headline, abs=0.01)
        yield f"{place}, predicted", fit["predicted"], off
        yield f"{place}, shift", abs(fit["shift"]) <= 0.1, True


def operators(tables: Tables, text: str):
    """Operators' failures add up to the headline's; the page says what the table has."""
    for question in {(r["outcome"], r["window_days"]) for r in tables.operators}:
        own = [
            r
            for r in tables.operators
            if (r["outcome"], r["window_days"]) == question
            and r["expected"] is not None
        ]
        headline = tables.rate("all", "all", question)["estimate"]
        everybody = sum(r["at_risk"] or 0 for r in own)
        if headline is None or len(own) < len(
            {r["operator"] for r in tables.operators}
        ):
            continue
        failed = headline if OUTCOMES[question[0]].fails == "yes" else 1 - headline
        filled = sum(r["filled"] for r in own)
        place = f"operators, {question[0]} by {question[1]}"
        yield f"{place}, share", filled / everybody, pytest.approx(failed, abs=0.002)
        expected = sum(r["expected"] for r in own)
        yield f"{place}, expected", expected, pytest.approx(filled, rel=0.003)
    for row in tables.operators:
        if row["outcome"] == "laying":
            said = f"{row['at_risk']:.0f}|{row['filled']:.1f}|{row['expected']:.1f}|"
            yield f"operators' page, {row['operator']}", holds(text, said), said


def arms(tables: Tables, text: str):
    """The doses page, the costs and the sentences against the table of arms."""
    for row in tables.arms:
        arm, ends = row["arm"], words.limits(row["adjusted_low"], row["adjusted_high"])
        said = f"{words.percent(row['adjusted'])} ({ends})"
        yield f"doses page, {arm}", holds(text, said), said
        queens = tables.of_arm("arm_costs", arm)["queens_per_success"]
        yield f"queens a success, {arm}", queens, pytest.approx(1 / row["adjusted"])
    for row in tables.arm_contrasts:
        if row["primary"] and row["outcome"] == "laying":
            place, other = f"{row['arm']} against {row['reference']}", row["reference"]
            one, two = (
                tables.of_arm("arms", x)["adjusted"] for x in (row["arm"], other)
            )
            yield f"{place}, shares", row["difference"], pytest.approx(one - two)
            said = f"{dose_words.points(row['difference'])} points"
            yield f"{place}, doses page", holds(text, said), said
            more = next(
                x["more"]
                for x in tables.arm_exchange
                if (x["arm"], x["resource"]) == (row["arm"], "queens")
            )
            yield f"{place}, queens", more, pytest.approx(1000 * (1 / one - 1 / two))
    for arm in ("single 8", "single 12"):
        by_arm, by_protocol = tables.of_arm("arms", arm), tables.rate("protocol", arm)
        for name in ("closed", "yes", "no"):
            yield f"{arm}, {name}", by_arm[name], by_protocol[name]


def commands(tables: Tables, station: Path):
    """What the commands tell against the tables of the build."""
    told = json.loads(run("audit", station, "--json").stdout)
    listed = {row["operator"]: row for row in told["operators"]}
    for row in tables.operators:
        if row["outcome"] != "laying":
            continue
        own, name = listed[row["operator"]], row["operator"]
        yield f"audit, {name}, filled in", own["filled_in"], round(row["filled"], 1)
        yield f"audit, {name}, expected", own["expected"], round(row["expected"], 1)
        share = words.percent(row["adjusted"])
        yield f"audit, {name}, adjusted", own["adjusted"], share
    told = json.loads(run("compare", station, "--json").stdout)
    for name, keys in (
        ("arms", ("closed", "yes", "adjusted")),
        ("arm_costs", ("queens_per_success", "drones_per_success")),
    ):
        for row in told[name]:
            kept = tables.of_arm(name, row["arm"])
            for key in keys:
                yield (
                    f"compare, {row['arm']}, {key}",
                    row[key],
                    pytest.approx(kept[key]),
                )
    asked = (
        "--arm",
        "single 12=12",
        "--arm",
        "single 8=8",
        "--margin",
        "0.1",
        "--json",
    )
    plan = json.loads(run("plan", station, *asked).stdout)
    share = plan["figures"]["share"]["value"]
    headline = tables.rate("all", "all")
    yield "plan, share", share, pytest.approx(headline["estimate"])
    (need,) = (row for row in tables.needs if row["margin"] == 0.1)
    closed = plan["size"]["alone"] / plan["figures"]["decided"]["value"]
    yield "plan, queens", need["queens_alone"], pytest.approx(closed, rel=0.02)


def wilson_width(p: float, n: float) -> float:
    """Give the width of Wilson's limits: Wilson EB. J Am Stat Assoc 1927;22:209-212."""
    z = 1.959964
    return 2 * z * (p * (1 - p) / n + z * z / (4 * n * n)) ** 0.5 / (1 + z * z / n)


def test_no_group_is_surer_than_if_all_its_courses_were_known(built_demo):
    with Store(built_demo / "station.duckdb", read_only=True) as store:
        rows = store.records("SELECT * FROM rates WHERE estimate IS NOT NULL")
    assert len(rows) > 500
    for row in rows:
        width = row["estimate_high"] - row["estimate_low"]
        known = wilson_width(row["estimate"], row["closed"])
        assert width >= known - 1e-6, (row["grouping"], row["level"], row["outcome"])


def test_no_two_figures_of_one_thing_disagree(pairs):
    assert len(pairs) >= LEAST
    assert len({place for place, *_ in pairs}) == len(pairs)
    apart = [f"{place}: {one}, not {two}" for place, one, two in pairs if one != two]
    assert apart == []
