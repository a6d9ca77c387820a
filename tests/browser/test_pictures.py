"""The README's pictures show what the demo's pages say today."""

from __future__ import annotations

from pathlib import Path

import pytest
from chromium import MARKS

from demo import pictures

pytestmark = MARKS

ROOT = Path(__file__).resolve().parents[2]
MOST_BYTES = 200_000


@pytest.mark.parametrize("name", pictures.PICTURES)
def test_a_picture_says_what_its_page_says(browser, dashboard, name):
    page, selector, high = pictures.PICTURES[name]
    tab = pictures.opened(browser, dashboard, page)
    kept = (pictures.HERE / f"{name}.txt").read_text(encoding="utf-8")
    assert pictures.read(tab, selector, high) == kept, (
        "the pictures are of another day: python demo/pictures.py DASHBOARD"
    )
    tab.close()


@pytest.mark.parametrize("name", pictures.PICTURES)
def test_a_picture_is_small_and_stands_near_the_top_of_the_readme(name):
    assert (pictures.HERE / f"{name}.png").stat().st_size < MOST_BYTES
    top = (ROOT / "README.md").read_text(encoding="utf-8").split("## Your own")[0]
    assert f"demo/pictures/{name}.png" in top
