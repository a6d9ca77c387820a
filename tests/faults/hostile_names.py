"""Hostile names through every page, sheet, calendar, export and the terminal.

    python tests/faults/hostile_names.py [--keep DIR]

Makes a station whose queens, colonies, operators, lines, batches, protocols and notes bear
names that would break out of wherever they are shown: closed scripts, quotes, turned
writing, terminal codes, new lines, formulas, very long ones. Builds it and runs every
command. A row a way out: how many files or texts were looked at, and how many let
something through. Pages are opened in a Chromium where there is one: no script of ours to
find may have run, nothing may be asked for from outside. Ends with 1 when any failed.
"""

from __future__ import annotations

import argparse
import csv
import io
import re
import shutil
import subprocess
import sys
import tempfile
import unicodedata
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path

import campaign

BAD = "window.pwned=1"
NAMES = (
    f"</script><script>{BAD}</script>",
    f'"><img src=x onerror="{BAD}">',
    f"'><svg/onload={BAD}>",
    f"javascript:{BAD}",
    f"${{{BAD}}}", f"{{{{{BAD}}}}}", f"{{% {BAD} %}}", f"<!--<script>{BAD}//", f"]]><u>{BAD}",
    "\u202eevil\u202c", "\u2066x\u2069", "a\u2028b", "\u200fכ", "\x1b[31mred\x1b[0m",
    "\x1b]0;title\x07", "two\nlines", "tab\there", "BEGIN:VALARM\r\nEND:VALARM",
    "SUMMARY:x\nATTENDEE:mailto:a@example.org", "semi;colon,comma\\back", '=HYPERLINK("x")',
    "+1+1", "-1+1", "@SUM(1)", "'=1", "100%", "x" * 500, "\U0001f41d\U0001f451", "ı İ ß ﬁ e\u0301",
    "../../../etc", "CON", "a/b", "#anchor?x=1&y=2", "&lt;b&gt;", "__proto__", "constructor",
)  # fmt: skip


class Structure(HTMLParser):
    """What a page is made of, as a browser's reader takes it."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.wrong: list[str] = []

    def handle_starttag(self, tag, attrs):
        """Look at a tag: none of ours has a handler of events or leads to a script."""
        for name, value in attrs:
            if name.startswith("on") or (value or "").lower().startswith("javascript:"):
                self.wrong.append(f"<{tag} {name}={(value or '')[:40]}>")
        if tag in ("img", "u") and not dict(attrs).get("class"):
            self.wrong.append(f"<{tag}>")


def page_faults(path: Path) -> list[str]:
    """Look at a page's own structure."""
    seen = Structure()
    seen.feed(path.read_text(encoding="utf-8"))
    return seen.wrong


def terminal_faults(text: str) -> list[str]:
    """Look for signs that act on a terminal."""
    odd = {c for c in text if unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp") and c != "\n"}
    return [f"U+{ord(c):04X}" for c in sorted(odd)]


def calendar_faults(path: Path) -> list[str]:
    """Hold a calendar against RFC 5545: lines, folding, nesting, known properties."""
    content = path.read_bytes()
    wrong = []
    lines = content.split(b"\r\n")
    if b"\n" in content.replace(b"\r\n", b"") or lines[-1] != b"":
        wrong.append("line ends")
    wrong += ["a line of more than 75 octets" for line in lines if len(line) > 75][:1]
    text = content.replace(b"\r\n ", b"").decode()
    open_parts: list[str] = []
    for line in text.split("\r\n")[:-1]:
        found = re.match(r"([A-Z-]+)(?:;[^:\"]+(?:=\"[^\"]*\")?)*:(.*)", line)
        if found is None:
            wrong.append(f"no property: {line[:40]!r}")
            continue
        name, value = found.groups()
        if name == "BEGIN":
            open_parts.append(value)
        elif name == "END" and (not open_parts or open_parts.pop() != value):
            wrong.append("nesting")
        if name in ("ATTENDEE",) or value == "VALARM":
            wrong.append(f"{name} of a name")
        texts = ("SUMMARY", "DESCRIPTION", "LOCATION")
        if name in texts and re.search(r"(?<!\\)(?:\\\\)*[;,]", value):
            wrong.append(f"{name}: a sign that is not escaped")
    return wrong + (["not closed"] if open_parts else [])


def table_faults(path: Path) -> list[str]:
    """Look for cells that a spreadsheet would take for formulas."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.reader(file))
    wrong = [
        f"{path.name}: {cell[:30]!r}"
        for row in rows[1:]
        for cell in row
        if cell[:1] in ("=", "@", "\t", "\r") or re.match(r"[+-](?![\d.]+(e[+-]?\d+)?$)", cell)
    ]
    if len({len(row) for row in rows}) > 1:
        wrong.append(f"{path.name}: rows of different widths")
    return wrong


def write_station(place: Path) -> None:
    """Write the small station with hostile names in the place of its own."""
    campaign.write_station(place, grafts=5, each=8)
    names = {}

    def other(text: str, kind: str) -> str:
        known = names.setdefault(kind, {})
        if text not in known:
            known[text] = NAMES[len(known) % len(NAMES)] + f" {len(known)}"
        return known[text]

    kinds = {
        "queen_id": "queen", "graft_batch": "graft", "Hands": "who", "semen_batch": "semen",
        "Dose plan": "plan",
    }  # fmt: skip
    for path in sorted((place / "records").glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        for number, row in enumerate(rows):
            for column, kind in kinds.items():
                if row.get(column):
                    row[column] = other(row[column], kind)
            row["note"] = NAMES[number % len(NAMES)]
            if path.stem == "checks":
                row["checker"] = NAMES[(number + 3) % len(NAMES)]
            if path.stem == "queens":
                row["line"] = NAMES[(number + 5) % 9]
                row["mark"] = NAMES[(number + 7) % len(NAMES)]
            if path.stem == "inseminations":
                row["instrument"] = NAMES[(number + 9) % 5]
        out = io.StringIO()
        writer = csv.DictWriter(out, rows[0])
        writer.writeheader()
        writer.writerows(rows)
        path.write_text(out.getvalue(), encoding="utf-8", newline="")
    odd = place / "records" / f"checks {NAMES[9]} <b>.csv"
    odd.write_text("queen_id,checked_on\nnobody,2026-08-01\n", encoding="utf-8")


def browser_faults(pages: list[Path]) -> dict[str, list[str]] | None:
    """Open each page and ask whether anything of a name ran; None: no browser here."""
    sys.path.append(str(Path(__file__).resolve().parents[1] / "browser"))
    from chromium import CHROMIUM, QUIET

    if CHROMIUM is None:
        return None
    from playwright.sync_api import sync_playwright

    found = {}
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        for path in pages:
            page, asked = chromium.new_page(), []
            page.on("dialog", lambda dialog: dialog.dismiss())
            page.on("request", lambda request, asked=asked: asked.append(request.url))
            page.goto(path.as_uri())
            page.wait_for_timeout(500)
            page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
            page.wait_for_timeout(200)
            wrong = [url for url in asked if not url.startswith(("file:", "data:", "blob:"))]
            if page.evaluate("window.pwned !== undefined"):
                wrong.append("a script ran")
            if page.locator("img[src='x']").count():
                wrong.append("an image broke out")
            found[path.name] = wrong
            page.close()
        chromium.close()
    return found


def command_faults(name: str, words: list[str]) -> list[str]:
    """Run a command; look at its end and at what it tells the terminal."""
    done = subprocess.run(
        [campaign.TOOL, *words], capture_output=True, check=False,
        stdin=subprocess.DEVNULL, timeout=600,
    )  # fmt: skip
    said = (done.stdout + done.stderr).decode("utf-8", "replace")
    must = name in ("build", "export", "due", "explain", "sheets")
    allowed = (0, 1, 4) if must else (0, 1, 2, 4)
    if "Traceback" in said or done.returncode not in allowed:
        return [f"{name}: code {done.returncode}: {said[-300:]}"]
    return terminal_faults(said)


def main() -> int:
    """Send the names through everything and print the table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--keep", type=Path, help="leave the station here")
    given = asked.parse_args()
    tried: Counter[str] = Counter()
    failed: dict[str, Counter[str]] = {}

    def note(way: str, faults: list[str]) -> None:
        tried[way] += 1
        failed.setdefault(way, Counter()).update(faults[:1])

    with tempfile.TemporaryDirectory() as scratch:
        station, out = Path(scratch) / "station", Path(scratch) / "out"
        write_station(station)
        out.mkdir()
        queen = NAMES[0] + " 0"
        words = campaign.commands(station, out, queen)
        words["export"] += ["--format", "csv"]
        words["build"].append("--pdf")
        words["plan"] += ["--sheet", str(out / "plan.html"), "--name", NAMES[1]]
        words |= {f"{name} json": [*words[name], "--json"] for name in ("due", "explain", "audit")}
        words["audit operator"] = [*words["audit"], "--operator", NAMES[1] + " 1"]
        for name, each in words.items():
            note("terminal", command_faults(name, each))
        latest = (station / "build" / "latest").resolve()
        pages = sorted({*latest.rglob("*.html"), *out.rglob("*.html"), *station.glob("*/*.html")})
        for path in pages:
            note("pages and sheets", page_faults(path))
        for path in sorted({*out.rglob("*.csv"), *latest.rglob("*.csv")}):
            note("exported tables", table_faults(path))
        for path in out.glob("*.ics"):
            note("calendars", calendar_faults(path))
        for path in sorted({*latest.rglob("*.pdf"), *out.rglob("*.pdf")}):
            note("paper", [] if path.read_bytes().rstrip().endswith(b"%%EOF") else ["half a PDF"])
        opened = browser_faults(pages)
        if opened is None:
            print("no Chromium here: pages were not opened")
        for wrong in (opened or {}).values():
            note("pages in a browser", wrong)
        if given.keep:
            shutil.copytree(scratch, given.keep, symlinks=True)
    return campaign.tell("way out", tried, failed)


if __name__ == "__main__":
    sys.exit(main())
