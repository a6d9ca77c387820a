"""Many small files: each keeps its own place and reading, and together they cost little."""

import datetime as dt

import pytest
from queen_outcomes.base.store import Store
from queen_outcomes.records import evidence
from reading import stage

FILES = 130


@pytest.fixture
def folder(tmp_path):
    """Checks in as many files, of three forms: the last says yes by another word."""
    for number in range(FILES):
        day = dt.date(2025, 6, 1) + dt.timedelta(days=number % 30)
        if number % 3 == 0:
            text = f"queen_id,checked_on,eggs\nQ{number},{day},yes\n"
        elif number % 3 == 1:
            text = f"eggs;queen_id;checked_on\nno;Q{number};{day}\n;;\nyes;R{number};{day}\n"
        else:
            text = f"queen_id,checked_on,eggs\nQ{number},{day:%d.%m.%Y},oui\n"
        place = tmp_path / "records" / "checks"
        place.mkdir(parents=True, exist_ok=True)
        (place / f"{'odd' if number % 3 == 2 else 'part'}{number:03}.csv").write_text(text)
    return tmp_path / "records"


SETTINGS = {
    "words": {"yes": ["yes"]},
    "files": {"*odd*": {"dates": "dmy"}},
    "read": [
        {
            "from": "checks/odd*.csv",
            "table": "checks",
            "columns": {
                "queen_id": "queen_id",
                "checked_on": "checked_on",
                "eggs": {"from": "eggs", "words": {"yes": ["oui"]}},
            },
        }
    ],
}


def test_each_file_is_read_by_its_own_rules_and_keeps_its_lines(folder, monkeypatch):
    begun = []
    execute = Store.execute

    def counted(store, sql, parameters=None):
        begun.append(sql[:40])
        execute(store, sql, parameters)

    monkeypatch.setattr(Store, "execute", counted)
    store, staged = stage(folder, SETTINGS, checks__csv=None)
    rows = store.records(
        "SELECT s.source, c.source_line, c.queen_id, c.checked_on, c.eggs "
        "FROM staged_checks AS c JOIN sources_read AS s USING (source_no) ORDER BY ALL"
    )
    expected = []
    for number in range(FILES):
        day = dt.date(2025, 6, 1) + dt.timedelta(days=number % 30)
        name = f"checks/{'odd' if number % 3 == 2 else 'part'}{number:03}.csv"
        if number % 3 == 1:
            expected += [(name, 2, f"Q{number}", day, False), (name, 4, f"R{number}", day, True)]
        else:
            expected.append((name, 2, f"Q{number}", day, True))
    assert [tuple(row.values()) for row in rows] == sorted(expected)
    assert len(staged.sources) == FILES + 1
    # some at a time, and of those the ones that are read alike in one go
    assert sum(sql.startswith('INSERT INTO "staged_checks"') for sql in begun) == 3
    store.close()


def test_open_questions_are_asked_of_the_file_they_are_of(tmp_path):
    files = {
        f"checks_{number}__csv": "queen_id,checked_on,eggs\n"
        + f"Q{number},{'3.4.2025' if number == 7 else '2025-06-20'},"
        + ("x\n" if number == 5 else "yes\n")
        + ("3-Apr,2025-06-21,\n" if number == 5 else f"R{number},2025-06-21,no\n")
        for number in range(70)
    }
    settings = {"dates": {"order": "dmy"}}
    store, staged = stage(tmp_path, settings, checks__csv=None, **files)
    orders = evidence.OrdersSeen(store, staged.sources, _reading(settings))
    asked = evidence.open_questions(orders)
    store.close()
    told = {(question.kind, question.used.source.name) for question in asked}
    assert told == {
        ("date_order", "checks_7.csv"),
        ("id_dates", "checks_5.csv"),
        ("blanks", "checks_5.csv"),
    }


def _reading(settings):
    from queen_outcomes.facts.settings import parse

    return parse(settings).reading
