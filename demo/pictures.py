"""Draw the README's pictures from the demo's pages: ``python demo/pictures.py DASHBOARD``.

DASHBOARD is the folder of a demo's finished pages. Beside each picture stands what can be
read on it, as a text: a test compares that with the pages of today, since the bytes of a
picture depend on the browser and its fonts.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent / "pictures"
WIDE, HIGH = 1280, 800
PICTURES = {
    "first_page": ("index.html", "body", HIGH),
    "operator_row": ("operators.html", ".rows", 0),
}
"""Of each: its page, what is pictured, and how many pixels of it (0: the whole)."""
ONE_ROW = """
document.querySelectorAll(".rows").forEach((table) => {
  const shown = table.querySelector("tr.out") ?? table.tBodies[0].rows[0];
  [...table.tBodies[0].rows].forEach((row) => { row.hidden = row !== shown; });
  table.caption.hidden = true;
});
"""
"""Of the operators' rows one is pictured: the first that stands out, else the first."""
READ = r"""
([selector, high]) => {
  const part = document.querySelector(selector);
  const edge = high || Infinity;
  const said = [...part.querySelectorAll("h1, h2, h3, p, li, td, summary")]
    .filter((one) => !one.closest(".chart, .tools") && one.getClientRects().length)
    .filter((one) => one.getBoundingClientRect().bottom <= edge)
    .map((one) => one.innerText.replace(/\s+/g, " ").trim())
    .filter(Boolean);
  return said.join("\n") + "\n";
}
"""


def opened(browser: Any, folder: Path, page: str) -> Any:
    """Open a page of the demo with its charts drawn."""
    tab = browser.new_page(viewport={"width": WIDE, "height": HIGH})
    tab.goto((folder.resolve() / page).as_uri())
    tab.wait_for_function(
        "[...document.querySelectorAll('.chart')].filter(p => p.clientWidth)"
        ".every(p => p.dataset.drawn === 'yes')"
    )
    tab.evaluate(ONE_ROW)
    return tab


def read(tab: Any, selector: str, high: int) -> str:
    """Give what can be read on a picture, a line a piece."""
    return tab.evaluate(READ, [selector, high])


def draw(browser: Any, folder: Path, dest: Path) -> list[Path]:
    """Draw every picture, and write down what can be read on it."""
    written = []
    for name, (page, selector, high) in PICTURES.items():
        tab = opened(browser, folder, page)
        picture = dest / f"{name}.png"
        if high:
            tab.screenshot(path=picture)
        else:
            tab.locator(selector).first.screenshot(path=picture)
        text = dest / f"{name}.txt"
        text.write_text(read(tab, selector, high), encoding="utf-8", newline="\n")
        written += [picture, text]
        tab.close()
    return written


def main(folder: Path) -> None:
    """Draw with the machine's own Chromium."""
    from playwright.sync_api import sync_playwright

    program = shutil.which("chromium") or shutil.which("google-chrome")
    HERE.mkdir(exist_ok=True)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=["--no-sandbox"])
        for path in draw(browser, folder, HERE):
            print(path)
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
