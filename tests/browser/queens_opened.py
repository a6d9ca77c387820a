"""How the tests open a queen, and read what is shown of her."""

from __future__ import annotations

from queen_outcomes.dashboard import site

COUNT_OF = "document.querySelector('#found').textContent"


def open_queen(visit, base, course, **how):
    page = visit(f"{base}/queens.html#{course.replace('/', '%2F')}", **how)
    page.wait_for_selector(f"#panel[data-drawn='{course}']")
    page.wait_for_selector("#panel svg[role=img] .item", state="attached")
    return page


def some_courses(store, where, most=3):
    """Give a few courses of a kind, in order of their ids."""
    rows = store.rows(
        "SELECT course_id FROM courses LEFT JOIN ends USING (course_id) "
        f"LEFT JOIN onset USING (course_id) WHERE {where} ORDER BY course_id "
        f"LIMIT {most}"
    )
    assert rows, where
    return [course for (course,) in rows]


def table_of(page, caption):
    """Give the shown table of that caption as rows of texts."""
    table = page.locator("#panel table", has_text=caption)
    return table.locator("tbody tr").evaluate_all(
        "rows => rows.map(row => [...row.cells].map(cell => cell.textContent))"
    )


def draw(monkeypatch, store, settings, as_of, folder):
    """Draw the queens page alone."""
    alone = tuple(page for page in site.PAGES if page[0] == "queens")
    monkeypatch.setattr(site, "PAGES", alone)
    site.draw(store, settings, as_of, folder)
    return folder
